"""The real program in a pseudo terminal, and what stands on its screen after each key."""

from __future__ import annotations

import os
import re
import sys
import time
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import pexpect
import pyte

__all__ = ["Cell", "Screen", "Shown"]

ROOT = Path(__file__).parents[2]
_QUIET_S, _LONGEST_S = 0.25, 120.0
"""A screen that did not change for so long is drawn; and how long it may take to show what is waited for."""


@dataclass(frozen=True)
class Cell:
    """One character and how it is shown. `colour`: a terminal's name for it, or `default`."""

    letter: str
    bold: bool = False
    reverse: bool = False
    underlined: bool = False
    colour: str = "default"


@dataclass(frozen=True)
class Shown:
    """A screen as it stood: rows of cells."""

    rows: tuple[tuple[Cell, ...], ...]

    @property
    def text(self) -> str:
        """Its letters alone, without blanks at the ends."""
        return "\n".join("".join(cell.letter for cell in row).rstrip() for row in self.rows).rstrip()


class Screen:
    """The program on a terminal of so many columns and rows; a context that ends it."""

    def __init__(self, columns: int, rows: int, arguments: list[str], env: Mapping[str, str]) -> None:
        self._screen = pyte.Screen(columns, rows)
        self._stream = pyte.ByteStream(self._screen)
        kept = {k: v for k, v in os.environ.items() if k not in ("NO_COLOR", "COLUMNS", "LINES")}
        kept = {k: v for k, v in kept.items() if not k.startswith("DIAG_")}
        self._program = pexpect.spawn(
            sys.executable,
            ["-m", "diag", *arguments],
            env={**kept, "TERM": "xterm-256color", "PYTHONPATH": str(ROOT), "LANG": "C.UTF-8", **env},
            dimensions=(rows, columns),
        )

    def __enter__(self) -> Screen:
        return self

    def __exit__(self, *error: object) -> None:
        self._program.close(force=True)

    def send(self, keys: str) -> None:
        """Types them."""
        self._program.send(keys)

    def shown(self, awaited: str) -> Shown:
        """The screen once it shows this (a pattern) and has come to rest. Raises TimeoutError where it never does."""
        until = time.monotonic() + _LONGEST_S
        while time.monotonic() < until:
            try:
                self._stream.feed(self._program.read_nonblocking(65536, _QUIET_S))
            except pexpect.TIMEOUT:
                found = self._cells()
                if re.search(awaited, found.text):
                    return found
            except pexpect.EOF:
                found = self._cells()
                if re.search(awaited, found.text):
                    return found
                break
        raise TimeoutError(f"the screen never showed {awaited!r}; it shows:\n{self._cells().text}")

    def _cells(self) -> Shown:
        rows = []
        for y in range(self._screen.lines):
            line = self._screen.buffer[y]
            cells = (line[x] for x in range(self._screen.columns))
            rows.append(tuple(Cell(c.data, c.bold, c.reverse, c.underscore, c.fg) for c in cells))
        return Shown(tuple(rows))
