"""Names: from a person's words to a part, wire, check or circuit, and ids that nothing has yet.

Knows titles and ids; nothing of chances.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping

from rapidfuzz import fuzz, utils

from diag.knowledge.assemble import Knowledge
from diag.knowledge.bridging import BRIDGED, UNPLUGGED
from diag.knowledge.names import words
from diag.texts import t

__all__ = ["free_id", "named_like", "near_names", "operate_read", "slug", "subjects"]

_LIKE_ENOUGH = 50.0
_MOST_NEAR = 3


def slug(text: str, longest: int = 44) -> str:
    """An id from words: lower case letters, digits and hyphens, cut at a word."""
    out = re.sub(r"[^a-z0-9]+", "-", text.lower().replace("'", "")).strip("-")
    if len(out) > longest:
        out = out[: longest + 1].rpartition("-")[0] or out[:longest]
    return out.strip("-") or "added"


def free_id(wanted: str, taken: Collection[str]) -> str:
    """The id, or with a number behind it the first that nothing has."""
    number, out = 1, wanted
    while out in taken:
        number += 1
        out = f"{wanted}-{number}"
    return out


def subjects(knowledge: Knowledge) -> dict[str, str]:
    """Parts and wires by id, with their titles."""
    found = {name: part.title for name, part in knowledge.parts.items()}
    found |= {name: f"{wire.title or name.replace('-', ' ')} ({wire.colour})" for name, wire in knowledge.wires.items()}
    return found


def near_names(text: str, labels: Mapping[str, str], most: int) -> list[str]:
    """Ids whose label or own name is like a text, best first: the same words in any order, few others, small slips."""
    typed = utils.default_process(text)
    scored = []
    for name, label in labels.items():
        said = utils.default_process(f"{label} {name.replace('-', ' ')}")
        score = 0.4 * fuzz.token_set_ratio(typed, said) + 0.3 * fuzz.WRatio(typed, said)
        score += 0.3 * fuzz.token_sort_ratio(typed, utils.default_process(label))
        if score >= _LIKE_ENOUGH:
            scored.append((-score, name))
    return [name for _, name in sorted(scored)[:most]]


def named_like(text: str, labels: Mapping[str, str]) -> str:
    """The id that a text means: itself, its label, or what is most like it. Raises ValueError naming some."""
    plain = text.strip().lower()
    for name, label in labels.items():
        if plain in (name.lower(), label.lower()):
            return name
    near = near_names(text, labels, 1) if plain else []
    if near:
        return near[0]
    raise ValueError(
        t("expected words of one of {labels}, or others", labels=words(list(labels.values())[:_MOST_NEAR]))
    )


def operate_read(text: str, knowledge: Knowledge, added: Mapping[str, tuple[str, ...]]) -> str:
    """Controls and positions, `lights side, door-left open`, as typed or nearly so; `-` for none. Raises ValueError."""
    plain = text.strip().lower()
    if plain in ("", "-", "none"):
        return "-"
    controls = {**{c: tuple(p) for c, p in knowledge.controls.items()}, **added}
    out = []
    for piece in re.split(r"[,;]", plain):
        control, _, position = piece.replace("=", " ").strip().rpartition(" ")
        control = control.strip().replace(" ", "-")
        if control in (UNPLUGGED, BRIDGED):
            raise ValueError(t("expected controls only; wires off and jumpers are written in the file by hand"))
        if control not in controls:
            near = near_names(control, {name: name.replace("-", " ") for name in controls}, 1)
            if not near:
                raise ValueError(
                    t("expected a control and its position; controls are {controls}", controls=words(controls))
                )
            control = near[0]
        if position not in controls[control]:
            raise ValueError(
                t("expected for {control} one of {controls}", control=control, controls=words(controls[control]))
            )
        if position != controls[control][0]:  # at rest goes without saying
            out.append(f"{control}={position}")
    return ",".join(dict.fromkeys(out)) or "-"
