"""What is typed: one key or a line at a terminal, one line an answer from a pipe. Knows nothing of questions."""

from __future__ import annotations

import contextlib
import io
import sys

import click

from diag.fit.asking import Read

__all__ = ["reader"]


def reader() -> Read:
    """Reads from where standard input comes."""
    if sys.stdin.isatty():
        return _at_terminal
    with contextlib.suppress(AttributeError, io.UnsupportedOperation):  # another stream, or one that was read already
        sys.stdin.reconfigure(encoding="utf-8", errors="replace")  # type: ignore[union-attr]
    return _from_pipe


def _at_terminal(one_key: bool) -> str | None:
    try:
        if not one_key:
            return input("> ")
        key = click.getchar()
        return "" if key in ("\r", "\n") else key
    except (EOFError, KeyboardInterrupt):
        return None


def _from_pipe(one_key: bool) -> str | None:
    line = sys.stdin.readline()
    return line.rstrip("\r\n") if line else None
