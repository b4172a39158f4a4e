"""What cannot be taken in, and how the controls of a finding are read.

Becomes one error object each; knows nothing of records or of what is asked.
"""

from __future__ import annotations

from diag.errors import DiagError
from diag.knowledge.assemble import Knowledge
from diag.knowledge.bridging import BRIDGED, UNPLUGGED, spelt
from diag.texts import t

__all__ = ["RefusedError", "operate_of", "short"]

_LISTED = 20


class RefusedError(DiagError):
    """An input that cannot be taken. `code` for programs, `field` is the key that is wrong."""

    def __init__(self, code: str, field: str, text: str, found: str = "", expected: str = "") -> None:
        self.code, self.field, self.found, self.expected = code, field, found, expected
        super().__init__(text)


def short(found: object) -> str:
    """What was found, cut to a readable length."""
    text = repr(found)
    return text if len(text) <= 80 else text[:77] + "..."


def operate_of(knowledge: Knowledge, operate: object) -> dict[str, str]:
    """The controls that are not at rest, a jumper in its one spelling.

    Raises RefusedError for a control or position that the vehicle does not have.
    """
    if not isinstance(operate, dict):
        raise _refused(t("operate says how the controls stand"), operate, t("an object"))
    known = {**knowledge.controls, UNPLUGGED: knowledge.terminals, BRIDGED: ()}
    for control, position in operate.items():
        if control not in known:
            raise _refused(t("no such control"), control, ", ".join(map(str, known)))
        if control == BRIDGED and isinstance(position, str):
            problem = knowledge.bridge_problem(position)
            if problem is not None:
                both = t("part.terminal+part.terminal or part.terminal+body")
                raise _refused(f"{control}: {'. '.join(filter(None, problem))}", position, both)
        elif not isinstance(position, str) or position not in known[control]:
            raise _refused(
                t("{control} has no such position", control=control),
                position,
                ", ".join(list(known[control])[:_LISTED]),
            )
    moved = {c: p for c, p in operate.items() if p != knowledge.controls.get(c, ("",))[0]}
    return spelt(moved, knowledge.terminals)


def _refused(text: str, found: object, expected: str) -> RefusedError:
    return RefusedError("unknown-operate", "operate", text, short(found), expected)
