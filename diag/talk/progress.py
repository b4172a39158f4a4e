"""How far something long is, on standard error: a bar, or lines where nothing can be drawn again. Knows nothing of
what it is."""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import click

from diag.texts import t

__all__ = ["progress"]

_STEP = 10
"""Percent between two lines where there is no bar: each is heard by whoever has them read."""


@contextmanager
def progress(label: str, lines: bool = False) -> Iterator[Callable[[float], None]]:
    """A bar that appears with the first share (0 to 1) that is told; nothing where the work is done at once.

    `lines`: a line every few percent in its place, as on a terminal that only prints. Away from a terminal the label
    alone.
    """
    bar: Any = None
    begun, next_line = False, _STEP
    shown = sys.stderr.isatty()
    lines = lines or os.environ.get("TERM", "dumb") in ("dumb", "")

    def tell(share: float) -> None:
        nonlocal bar, begun, next_line
        if not begun:
            begun = True
            click.echo(label, err=True)
            if shown and not lines:
                width = max(8, min(50, shutil.get_terminal_size().columns - 12))
                bar = click.progressbar(length=100, width=width, show_eta=False, file=sys.stderr)
                bar.__enter__()
        percent = round(100 * share)
        if bar is not None:
            bar.update(max(0, percent - bar.pos))
        elif shown and percent >= next_line:
            click.echo(t("{percent} percent", percent=percent), err=True)
            next_line = percent - percent % _STEP + _STEP

    try:
        yield tell
    finally:
        if bar is not None:
            bar.__exit__(None, None, None)
