"""Puts one question after the other to a person at a terminal, or to a pipe that gives one answer a line.

Knows how questions look and which keys do what; what an answer means is for others.
"""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Iterator

from diag.fit.interview import Answers, Asked, next_asked, path, read_answer
from diag.fit.questions import Catalogue

__all__ = ["BACK", "STOP", "Read", "ask_all", "page"]

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
    while True:
        asked = next_asked(catalogue, answers)
        if asked is None:
            say("\nAll answered. Enter writes the file, u goes back, q keeps the answers for later.")
            typed = (read(True) or "").strip().lower()
            if typed == STOP:
                return False
            if typed != BACK:
                return True
            _back(catalogue, answers, None, say)
            keep(answers)
            continue
        say(page(asked, *_progress(catalogue, answers, asked), columns))
        typed_now = read(bool(asked.choices))
        if typed_now is None or typed_now.strip().lower() == STOP:
            return False
        if typed_now.strip().lower() == BACK:
            _back(catalogue, answers, asked, say)
        else:
            try:
                answers[asked.id] = read_answer(asked, typed_now)
            except ValueError as error:
                say(f"Found `{typed_now.strip()[:40]}`; {error}.")
                continue
            say(f"  {asked.choices.get(answers[asked.id], answers[asked.id])}")
        keep(answers)


def _back(catalogue: Catalogue, answers: dict[str, str], asked: Asked | None, say: Say) -> None:
    """Take back the answer before this question; none for the end."""
    before = []
    for one in path(catalogue, answers):
        if asked is not None and one.id == asked.id:
            break
        if one.id in answers:
            before.append(one.id)
    if before:
        del answers[before[-1]]
    else:
        say("Nothing stands before this.")


def _progress(catalogue: Catalogue, answers: Answers, asked: Asked) -> tuple[int, int]:
    ids = [one.id for one in path(catalogue, answers)]
    return ids.index(asked.id) + 1, len(ids)


def page(asked: Asked, number: int, of: int, columns: int) -> str:
    """A question as it is shown, in lines of at most `columns`."""
    return "\n".join(_lines(asked, number, of, columns))


def _lines(asked: Asked, number: int, of: int, columns: int) -> Iterator[str]:
    def wrapped(text: str, first: str = "", then: str = "") -> list[str]:
        return textwrap.wrap(text, columns, initial_indent=first, subsequent_indent=then)

    yield ""
    if asked.above:
        yield from wrapped(asked.above)
    yield from wrapped(f"{number}/{of} {asked.text}")
    if asked.note:
        yield from wrapped(asked.note, "  ", "  ")
    for key, (value, label) in enumerate(asked.choices.items(), start=1):
        yield from wrapped(f"{key} {label}{' (Enter)' if value == asked.typical else ''}", "  ", "    ")
    if not asked.choices:
        span = f", {asked.least:g} to {asked.most:g} {asked.unit}" if asked.unit else ""
        yield from wrapped(f"Enter: {asked.typical}{span}", "  ", "  ")
    if number == 1:
        yield from wrapped("u back, q stop and keep", "  ", "  ")
