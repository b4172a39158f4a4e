"""Which front end serves a person: the page, lines for a reader, or plain lines where there is no terminal; and how
it ends when the terminal goes away or the machine shuts down."""

from __future__ import annotations

import os
import signal
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from types import FrameType
from typing import Any

from diag.talk.conversation import Conversation
from diag.talk.manner import Manner, is_dumb
from diag.talk.speech import Speaker, speaker_of

__all__ = ["talk"]


def talk(conversation: Conversation, messages: list[str], manner: Manner | None = None) -> None:
    """Hold the conversation on this terminal, or line by line where input or output is not one.

    Every answer is on disk before the next question is asked, so that whatever ends this loses none. Raises
    DiagError where the rules or the journal fail; SystemExit, with 128 and the number of the signal, where the
    machine or the terminal ends the program.
    """
    manner = manner or Manner()
    terminal = sys.stdin.isatty() and sys.stdout.isatty()
    speaker, missing = speaker_of(manner.aloud) if sys.stdout.isatty() else (None, "")
    messages = [*messages, *([missing] if missing else [])]
    try:
        with _ended_by_signals(speaker):
            if terminal and manner.view == "screen" and not is_dumb():
                from diag.talk.pages import EndedError
                from diag.talk.terminal import run_terminal

                try:
                    run_terminal(conversation, messages, manner, speaker)
                except EndedError as error:
                    raise SystemExit(128 + error.number if error.number else 1) from None
                return
            _lines(conversation, messages, manner, speaker)
    finally:
        if speaker is not None:
            speaker.close()


def _lines(conversation: Conversation, messages: list[str], manner: Manner, speaker: Speaker | None) -> None:
    from diag.talk.linear import Linear, typed_lines
    from diag.talk.plain import Plain

    _settled(sys.stdin, errors="surrogateescape")
    if sys.stdout.isatty():
        _settled(sys.stdout, encoding=manner.letters, errors="diag-spelt")
    else:
        _settled(sys.stdout, errors="diag-spelt")
    if manner.view == "lines":
        Linear(conversation, sys.stdout, speaker).run(typed_lines(sys.stdin, sys.stdout), messages)
    else:
        Plain(conversation, sys.stdout, speaker).run(sys.stdin, messages)


def _settled(stream: Any, **how: str) -> None:
    with suppress(AttributeError):  # a stream that tests put in its place
        stream.reconfigure(**how)


@contextmanager
def _ended_by_signals(speaker: Speaker | None) -> Iterator[None]:
    """SIGTERM and a closed terminal end the program in order: what it holds is let go, the terminal is as before."""

    def ended(number: int, _: FrameType | None) -> None:
        if number == getattr(signal, "SIGHUP", None):
            if speaker is not None:
                speaker.close()
            os._exit(128 + number)  # nobody is there to read, and writing to a terminal that is gone fails
        raise SystemExit(128 + number)

    names = [name for name in ("SIGTERM", "SIGHUP") if hasattr(signal, name)]
    before = {}
    for name in names:
        with suppress(ValueError):  # not the main thread
            before[name] = signal.signal(getattr(signal, name), ended)
    try:
        yield
    finally:
        for name, old in before.items():
            signal.signal(getattr(signal, name), old)
