"""Answers so far with what is proposed for the rest, and the few sorts of question that a rule needs.

Knows how an answer is read; nothing of what it is about.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from diag.fit.interview import Answers, Asked, read_answer
from diag.knowledge.units import UnitError, parse_quantity
from diag.texts import t

__all__ = ["LONGEST", "Filled", "numbered", "numbers_of", "reading", "text_asked"]

LONGEST = 400
"""Letters of a text that is typed: what a file takes, less what is put around it."""


class Filled:
    """What was answered, else what would be by Enter."""

    def __init__(self, given: Answers) -> None:
        self.given = given
        self.values: dict[str, str] = {}

    def put(self, asked: Asked) -> Asked:
        """Take note of a question; its answer is in `values` from then on."""
        found = self.given.get(asked.id)
        if found is None or (asked.choices and found not in asked.choices):
            try:
                found = read_answer(asked, "")
            except ValueError:
                found = ""
        self.values[asked.id] = found
        return asked

    def __getitem__(self, name: str) -> str:
        return self.values[name]


def text_asked(
    name: str,
    text: str,
    typical: str = "",
    *,
    above: str | None = None,
    note: str | None = None,
    accept: Callable[[str], str] | None = None,
    labels: Mapping[str, str] | None = None,
) -> Asked:
    """A question for words; without `accept` any plain ones, but not none."""
    return Asked(name, text, typical, {}, note, above, accept=accept or _words, labels=labels or {})


def _words(typed: str) -> str:
    line = " ".join(typed.split())
    if not line:
        raise ValueError(t("expected a few words"))
    if len(line) > LONGEST or not line.isprintable():
        raise ValueError(t("expected at most {longest} plain letters, digits and signs", longest=LONGEST))
    return line


def numbered(name: str, text: str, typical: Sequence[int], lines: Sequence[str], *, none: bool = False) -> Asked:
    """A question for some of the lines shown above it, by their numbers from 1. `none`: it may be none, `-`."""
    above = "\n".join(f"{i} {line}" for i, line in enumerate(lines, start=1))

    def accept(typed: str) -> str:
        if typed.strip() in ("-", "none") and none:
            return "-"
        try:
            found = sorted({int(word) for word in typed.replace(",", " ").split()})
        except ValueError:
            found = []
        if not found or found[0] < 1 or found[-1] > len(lines):
            raise ValueError(
                t(
                    "expected numbers from 1 to {count} with blanks between{what}",
                    count=len(lines),
                    what=t(", or -") if none else "",
                )
            )
        return " ".join(map(str, found))

    usual = " ".join(str(i + 1) for i in typical) or ("-" if none else "1")
    return text_asked(name, text, usual, above=above, accept=accept)


def numbers_of(answer: str) -> list[int]:
    """Places from 0 of what a numbered question was answered with."""
    return [int(word) - 1 for word in answer.split() if word.isdigit()]


def reading(unit: str) -> Callable[[str], str]:
    """Reads a number of a unit, or `OL` where that is ohms."""

    def accept(typed: str) -> str:
        if unit == "ohm" and typed.strip().upper() == "OL":
            return "OL"
        try:
            return f"{parse_quantity(typed, unit, bare=True):g}"
        except UnitError as error:
            raise ValueError(str(error)) from None

    return accept
