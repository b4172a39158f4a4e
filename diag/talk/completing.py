"""What the last words typed can go on to: names of circuits, parts and terminals, inside a sentence of one's own.

Knows nothing of vehicles, jobs or screens.
"""

from __future__ import annotations

from collections.abc import Sequence

__all__ = ["Going", "going_on"]

_LONGEST = 5
"""Words at the end of what is typed that may be the beginning of a name."""
_MOST = 30


def going_on(text: str, names: Sequence[str]) -> tuple[str, list[str]]:
    """The end of a text that names begin with (as many words as any does), and those names; else the last word and
    the names that have it in them. Nothing typed goes on to nothing."""
    words = text.split(" ")
    for count in range(min(_LONGEST, len(words)), 0, -1):
        end = " ".join(words[-count:])
        found = [name for name in names if end.strip() and name.casefold().startswith(end.casefold())]
        if found:
            return end, found[:_MOST]
    last = words[-1]
    return last, [name for name in names if last and last.casefold() in name.casefold()][:_MOST]


class Going:
    """One name after the other in place of the end of what is typed, the text as it was at last."""

    def __init__(self) -> None:
        self._texts: list[str] = []
        self._at = 0

    def next(self, text: str, names: Sequence[str]) -> tuple[str, int, int]:
        """The text with the next name; which it is, and of how many. Nothing fits: the text as it is, 0 of 0."""
        if not self._texts or self._texts[self._at] != text:
            end, found = going_on(text, names)
            begun = text[: len(text) - len(end)]
            self._texts, self._at = [begun + name for name in found], -1
        if not self._texts:
            return text, 0, 0
        self._at = (self._at + 1) % len(self._texts)
        return self._texts[self._at], self._at + 1, len(self._texts)
