"""What a bench formula answers, as text: result, formula in words and symbols, values put in, source.

Knows columns only.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from dataclasses import dataclass

from diag.texts import t

__all__ = ["NARROWEST", "Answer", "as_text"]

NARROWEST = 40
_INDENT = "  "


@dataclass(frozen=True)
class Answer:
    """One worked formula.

    `result`: lines, the first the answer itself. `put_in`: name and value. `words`, `symbols`: the formula both
    ways; `worked`: with its numbers. `notes`: what it leaves out. `cautions` come before all else.
    """

    result: tuple[str, ...]
    put_in: tuple[tuple[str, str], ...]
    words: str
    symbols: str
    worked: str
    sources: tuple[str, ...]
    notes: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()


def as_text(answer: Answer, columns: int) -> str:
    """The answer in lines no longer than `columns` (at least NARROWEST)."""
    return "\n".join(_lines(answer, max(columns, NARROWEST))) + "\n"


def _lines(answer: Answer, columns: int) -> Iterator[str]:
    for text in answer.cautions:
        yield from _wrapped(t("CAUTION: {text}", text=text), columns, "")
    if answer.cautions:
        yield ""
    for text in answer.result:
        yield from _wrapped(text, columns, "")
    widest = max(len(name) for name, _ in answer.put_in)
    yield from _headed(t("Put in"), [f"{name:<{widest}}  {found}" for name, found in answer.put_in], columns)
    yield from _headed(t("Formula"), [answer.words, answer.symbols, answer.worked], columns)
    if answer.notes:
        yield from _headed(t("Mind"), answer.notes, columns)
    yield from _headed(t("Source"), answer.sources, columns)


def _headed(heading: str, texts: list[str] | tuple[str, ...], columns: int) -> Iterator[str]:
    yield ""
    yield heading
    for text in texts:
        yield from _wrapped(text, columns, _INDENT)


def _wrapped(text: str, columns: int, indent: str) -> list[str]:
    return textwrap.wrap(
        text, columns, initial_indent=indent, subsequent_indent=indent + _INDENT, break_on_hyphens=False
    )
