"""Which front end serves a person: the terminal, or plain lines where there is none."""

from __future__ import annotations

import os
import sys

from diag.talk.conversation import Conversation

__all__ = ["talk"]


def talk(conversation: Conversation, messages: list[str]) -> None:
    """Hold the conversation on this terminal, or line by line where input or output is not one."""
    if sys.stdin.isatty() and sys.stdout.isatty() and os.environ.get("TERM", "dumb") != "dumb":
        from diag.talk.terminal import run_terminal

        run_terminal(conversation, messages)
    else:
        from diag.talk.plain import run_plain

        run_plain(conversation, sys.stdin, sys.stdout, messages)
