"""What a look or a listen is aimed at: a part, or one filament of a lamp that has two.

Only names and words; must not know of checks, networks or screens.
"""

from __future__ import annotations

from diag.knowledge import schema
from diag.knowledge.assemble import AnyPart, Knowledge
from diag.texts import t

__all__ = ["filaments_of", "part_of_target", "target_title", "targets"]

_FILAMENTS = {
    "54": t("stop lamp"),
    "56a": t("main beam"),
    "56b": t("dipped beam"),
    "57": t("parking lamp"),
    "58": t("side or tail lamp"),
    "58L": t("side or tail lamp"),
    "58R": t("side or tail lamp"),
    "L": t("turn lamp"),
    "R": t("turn lamp"),
}
"""What the filament on a terminal is called (DIN 72552)."""


def filaments_of(name: str, part: AnyPart) -> tuple[str, ...]:
    """Target ids of the filaments of a lamp that has two, first one first; none for any other part."""
    if not isinstance(part, schema.TwoFilamentPart):
        return ()
    return tuple(f"{name}.{terminal}" for terminal in part.terminals[:2])


def part_of_target(knowledge: Knowledge, target: str | None) -> AnyPart | None:
    """The part that a target is or belongs to; None where there is no such target.

    A lamp with two filaments is no target itself: what it shows depends on which of them is meant.
    """
    name, _, _ = (target or "").partition(".")
    part = knowledge.parts.get(name)
    if part is None:
        return None
    filaments = filaments_of(name, part)
    return part if target in (filaments or (name,)) else None


def target_title(knowledge: Knowledge, target: str) -> str:
    """A target in words, such as `Left headlamp, main beam`; the id itself where nothing has it."""
    part = part_of_target(knowledge, target)
    if part is None:
        return target
    _, _, terminal = target.partition(".")
    return part.title if not terminal else f"{part.title}, {_FILAMENTS.get(terminal, f'filament {terminal}')}"


def targets(knowledge: Knowledge) -> tuple[str, ...]:
    """Every part in the order of the files, and after a lamp with two filaments each of them."""
    return tuple(one for name, part in knowledge.parts.items() for one in (name, *filaments_of(name, part)))
