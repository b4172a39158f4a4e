"""The conversation for a reader of single lines, such as a screen reader or a Braille line: nothing is drawn again,
nothing is framed, each question has its numbered answers one a line, a caution begins with that word.

The same words and commands as the plain lines; must not know how an answer is weighed.
"""

from __future__ import annotations

import contextlib
import os
import re
import signal
import sys
import textwrap
import threading
from collections.abc import Iterable, Iterator
from types import FrameType
from typing import Any, TextIO

from diag.talk.conversation import Conversation
from diag.talk.plain import Plain
from diag.talk.screen import Line, paragraph
from diag.talk.speech import Speaker
from diag.talk.spoken import said_lines, where_said
from diag.talk.standing import error_words
from diag.talk.typed import FIRST_LOOKS, numbered
from diag.texts import t

__all__ = ["Linear", "typed_lines"]

Object = dict[str, Any]
_LONG_LIST = 12
_PROMPT = "Answer: "
_QUOTED = re.compile(r"`([^`]*)`")


class Linear(Plain):
    """One sitting for a reader of lines."""

    def __init__(self, conversation: Conversation, out: TextIO, speaker: Speaker | None = None) -> None:
        super().__init__(conversation, out, speaker)
        self._columns, self.width = self.width, 10_000  # a paragraph a line, wrapped here and never in a word
        self._where_said = ""

    def _print(self, lines: Iterable[Line]) -> None:
        kept: list[Line] = []
        for line in lines:
            where = where_said(line)
            if where and where == self._where_said:
                continue
            self._where_said = where or self._where_said
            kept.append(Line(where, line.style) if where else line)
        self._aloud += kept
        for text in said_lines(kept):
            words = _QUOTED.sub(r'"\1"', text)
            self.out.write("\n".join(textwrap.wrap(words, self._columns, break_on_hyphens=False)) + "\n")
        self.out.flush()

    def _wrong(self, text: str) -> None:
        self._print(paragraph(t("Not taken. {text}", text=text), self.width))
        self._print([Line(t('Type "again" for the question again.'))])

    def _refused(self, told: Object) -> None:
        if told["code"] == "unclear":
            super()._refused(told)
            return
        self._wrong(error_words(told))
        self.said = self.conversation.say()

    def _line(self, line: str) -> bool:
        word = line.casefold()
        if word == "again":
            self._show()
        elif word == "picture":
            self._print([Line(t("The picture is for the eye. The question names every point that it marks."))])
        elif word == "list" and self._ask is not None and numbered(self._ask):
            self._print(_cells(self._ask))
        else:
            return super()._line(line)
        return False

    def _answers(self, ask: Object) -> None:
        """One answer a line; of many the first few, or none where words of one's own are the shorter way."""
        cells = _cells(ask)
        if ask["kind"] == "look" and not ask["choices"]:
            self._print(cells[:FIRST_LOOKS])
            self._print([Line(t('Type "list" for {count} answers in all.', count=len(cells)))])
        elif len(cells) > _LONG_LIST:
            self._print([Line(t('Type "list" for a list of {count}, then a number of it.', count=len(cells)))])
        else:
            self._print(cells)


def _cells(ask: Object) -> list[Line]:
    return [Line(f"{number} {words}") for number, (_, words) in enumerate(numbered(ask), 1)]


def typed_lines(lines: TextIO, out: TextIO) -> Iterator[str]:
    """What is typed, a line at a time, until the end: with editing on a terminal, from a pipe as it comes."""
    if not (lines.isatty() and out.isatty()):
        yield from lines
        return
    _editing()
    waiting = threading.Event()
    with _back_from_stop(waiting):
        while True:
            try:
                waiting.set()
                typed = input(_PROMPT)
            except _StoppedError:
                continue
            except EOFError:
                out.write("\n")
                return
            finally:
                waiting.clear()
            yield typed


class _StoppedError(Exception):
    """The program was stopped by the shell and goes on."""


@contextlib.contextmanager
def _back_from_stop(waiting: threading.Event) -> Iterator[None]:
    """After Ctrl-Z and `fg` a line that is `waiting` begins anew: what edits it does not know what the shell did to
    the terminal."""
    if not hasattr(signal, "SIGCONT") or threading.current_thread() is not threading.main_thread():
        yield
        return

    def goes_on(number: int, frame: FrameType | None) -> None:
        if waiting.is_set():
            raise _StoppedError

    before = signal.signal(signal.SIGCONT, goes_on)
    try:
        yield
    finally:
        signal.signal(signal.SIGCONT, before)


def _editing() -> None:
    """The platform's own editing of a line, without its marks for pasting; a terminal that only prints has its own."""
    if os.environ.get("TERM", "dumb") in ("dumb", "") or sys.platform == "win32":
        return
    with contextlib.suppress(ImportError):
        import readline

        readline.set_auto_history(False)
        readline.parse_and_bind("set enable-bracketed-paste off")
