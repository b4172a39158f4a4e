"""Puts one question after the other to a person at a terminal, or to a pipe that gives one answer a line.

Knows how questions look and which keys do what; what an answer means is for others.
"""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Iterable, Iterator

from diag.fit.interview import Answers, Asked, path, read_answer
from diag.fit.questions import Catalogue
from diag.texts import t

__all__ = ["BACK", "STOP", "Asking", "Read", "Say", "ask_all", "page"]

BACK, STOP = "u", "q"
"""Typed in place of an answer: one question back; stop and keep."""
Read = Callable[[bool], str | None]
"""What is typed next: a line, or one key where it is called with True; None at the end of input."""
Say = Callable[[str], None]


def ask_all(
    catalogue: Catalogue, answers: dict[str, str], read: Read, say: Say, keep: Callable[[Answers], None], columns: int
) -> bool:
    """Fill `answers` in place until none is missing; `keep` is called after each change. False where the
    person stopped, or where input ended before the last question."""
    ask_at = Asking(lambda given: path(catalogue, given), answers, read, say, keep, columns)
    while ask_at.ask():
        say(t("\nAll answered. Enter writes the file, u goes back, q keeps the answers for later."))
        typed = (read(True) or "").strip().lower()
        if typed == STOP:
            return False
        if typed != BACK:
            return True
        ask_at.back(None)
        keep(answers)
    return False


class Asking:
    """Questions of any path put to somebody. `path`: all questions in their order, from the answers so far;
    `answers` is filled in place, and `keep` is called after each change."""

    def __init__(
        self,
        path: Callable[[Answers], Iterable[Asked]],
        answers: dict[str, str],
        read: Read,
        say: Say,
        keep: Callable[[Answers], None],
        columns: int,
    ) -> None:
        self.path, self.answers, self.read, self.say, self.keep = path, answers, read, say, keep
        self.columns = columns

    def ask(self) -> bool:
        """Until none is missing. False where the person stopped, or where input ended before the last question."""
        while True:
            whole = list(self.path(self.answers))
            asked = next((one for one in whole if one.id not in self.answers), None)
            if asked is None:
                return True
            self.say(page(asked, whole.index(asked) + 1, len(whole), self.columns))
            typed = self.read(bool(asked.choices))
            if typed is None or typed.strip().lower() == STOP:
                return False
            if typed.strip().lower() == BACK:
                self.back(asked)
            else:
                try:
                    self.answers[asked.id] = read_answer(asked, typed)
                except ValueError as error:
                    self.say(
                        _wrapped(t("Found `{typed}`; {error}.", typed=typed.strip()[:40], error=error), self.columns)
                    )
                    continue
                self.say(_wrapped(asked.told(self.answers[asked.id]), self.columns, "  "))
            self.keep(self.answers)

    def back(self, asked: Asked | None) -> None:
        """Take back the answer before this question; none for the end."""
        before = []
        for one in self.path(self.answers):
            if asked is not None and one.id == asked.id:
                break
            if one.id in self.answers:
                before.append(one.id)
        if before:
            del self.answers[before[-1]]
        else:
            self.say(t("Nothing stands before this."))


def _wrapped(text: str, columns: int, indent: str = "") -> str:
    return textwrap.fill(text, columns, initial_indent=indent, subsequent_indent=indent)


def page(asked: Asked, number: int, of: int, columns: int) -> str:
    """A question as it is shown, in lines of at most `columns`."""
    return "\n".join(_lines(asked, number, of, columns))


def _lines(asked: Asked, number: int, of: int, columns: int) -> Iterator[str]:
    def wrapped(text: str, first: str = "", then: str = "") -> list[str]:
        return textwrap.wrap(text, columns, initial_indent=first, subsequent_indent=then)

    yield ""
    if asked.above:
        for line in asked.above.splitlines():
            yield from wrapped(line)
    yield from wrapped(f"{number}/{of} {asked.text}")
    if asked.note:
        yield from wrapped(asked.note, "  ", "  ")
    for key, (value, label) in enumerate(asked.choices.items(), start=1):
        yield from wrapped(f"{key} {label}{' (Enter)' if value == asked.typical else ''}", "  ", "    ")
    if not asked.choices:
        span = (
            t(", {least:g} to {most:g} {unit}", least=asked.least, most=asked.most, unit=asked.unit)
            if asked.unit
            else ""
        )
        if asked.typical or span:
            yield from wrapped(t("Enter: {typical}{span}", typical=asked.typical, span=span), "  ", "  ")
    if number == 1:
        yield from wrapped(t("u back, q stop and keep"), "  ", "  ")
