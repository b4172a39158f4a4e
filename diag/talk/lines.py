"""The conversation as JSON Lines: one object a line in, objects out. For other front ends and tests.

Knows lines and JSON; nothing of what is asked.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from typing import Any, TextIO

from diag.talk.conversation import Conversation
from diag.texts import t

__all__ = ["run_lines"]

_LONGEST_LINE = 1_000_000


def _out(stream: TextIO, found: dict[str, Any]) -> None:
    text = json.dumps(found, ensure_ascii=False, allow_nan=False)
    if not text.isprintable():  # signs that steer a terminal or turn text round, and halves: as JSON escapes them
        text = "".join(sign if sign.isprintable() else json.dumps(sign)[1:-1] for sign in text)
    stream.write(text + "\n")
    stream.flush()


def run_lines(conversation: Conversation, lines: Iterable[str], out: TextIO) -> None:
    """Say hello and the first ask, then take lines until they end. Every line gets one tell or error,
    then what comes next (after an error: the open ask again)."""
    _out(out, conversation.hello())
    for found in conversation.say():
        _out(out, found)
    for line in lines:
        _out(out, _taken(conversation, line))
        for found in conversation.say():
            _out(out, found)


def _taken(conversation: Conversation, line: str) -> dict[str, Any]:
    def refuse(code: str, text: str, found: str) -> dict[str, Any]:
        return {
            "type": "error",
            "code": code,
            "field": "",
            "text": text,
            "found": found[:80],
            "expected": t("one JSON object a line"),
        }

    if len(line) > _LONGEST_LINE:
        return refuse(
            "too-long",
            t("a line has at most {longest_line} characters", longest_line=_LONGEST_LINE),
            t("{count} characters", count=len(line)),
        )
    try:
        message = json.loads(line, parse_constant=_no_constant)
    except (ValueError, RecursionError):
        return refuse("not-json", t("this line is not JSON"), line.strip())
    try:
        return conversation.take(message)
    except RecursionError:  # read with the last bracket to spare, and too deep to be looked at
        return refuse("not-json", t("brackets are nested too deep"), line.strip())


def _no_constant(name: str) -> float:
    raise ValueError(t("{name} is not JSON", name=name))
