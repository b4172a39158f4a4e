"""A bar on standard error while something long is worked out. Knows nothing of what it is."""

from __future__ import annotations

import shutil
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import click

__all__ = ["progress"]


@contextmanager
def progress(label: str) -> Iterator[Callable[[float], None]]:
    """A bar that appears with the first share (0 to 1) that is told; nothing where the work is done at once."""
    bar: Any = None

    def tell(share: float) -> None:
        nonlocal bar
        if bar is None:
            click.echo(label, err=True)
            width = max(8, min(50, shutil.get_terminal_size().columns - 12))
            bar = click.progressbar(length=100, width=width, show_eta=False, file=sys.stderr)
            bar.__enter__()
        bar.update(max(0, round(100 * share) - bar.pos))

    try:
        yield tell
    finally:
        if bar is not None:
            bar.__exit__(None, None, None)
