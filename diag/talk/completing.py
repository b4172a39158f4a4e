"""What the last words typed can go on to: names of circuits, parts and terminals, inside a sentence of one's own.

Knows prompt_toolkit's completions; nothing of vehicles or jobs.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

from prompt_toolkit.completion import CompleteEvent, Completer, Completion
from prompt_toolkit.document import Document

__all__ = ["InsideCompleter", "going_on"]

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


class InsideCompleter(Completer):
    """Completes the end of what is typed before the cursor."""

    def __init__(self, names: Callable[[], Sequence[str]]) -> None:
        self._names = names

    def get_completions(self, document: Document, complete_event: CompleteEvent) -> Iterable[Completion]:
        """Each name in place of the words that it begins with."""
        end, found = going_on(document.text_before_cursor, self._names())
        for name in found:
            yield Completion(name, start_position=-len(end))
