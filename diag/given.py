"""What options that several verbs share mean, once they are read from the command line."""

from __future__ import annotations

from diag.errors import DiagError
from diag.texts import t

__all__ = ["halves_left_out", "instruments_given", "packs_left_out_by"]


def instruments_given(text: str | None) -> tuple[str, ...] | None:
    """The instruments of a list with commas, None where none was given. Raises DiagError for a word that is none."""
    from diag.talk.settings import INSTRUMENTS

    if text is None:
        return None
    names = tuple(name.strip() for name in text.split(",") if name.strip())
    for name in names:
        if name not in INSTRUMENTS:
            raise DiagError(
                t(
                    "--instruments: found `{name}`; expected some of {known}, separated by commas.",
                    name=name,
                    known=", ".join(INSTRUMENTS),
                )
            )
    return names


def packs_left_out_by(without_packs: bool) -> bool:
    """Whether rule packs do not count: by the option, or by DIAG_PACKS. Raises KnowledgeError for a word of that."""
    from diag.knowledge.folders import packs_left_out

    return without_packs or packs_left_out()


def halves_left_out(without_wiring: bool, without_rules: bool, without_packs: bool) -> frozenset[str]:
    """What is not to be reasoned with: some of wiring, rules, packs."""
    out = (("wiring", without_wiring), ("rules", without_rules), ("packs", packs_left_out_by(without_packs)))
    return frozenset(name for name, left in out if left)
