"""The program on a pseudo terminal whose screen is read as a person sees it."""

from __future__ import annotations

import os
import signal
import sys
import time
from pathlib import Path
from types import TracebackType

import pexpect
import pyte

ROOT = Path(__file__).parents[2]
_LOCALE = ("LC_ALL", "LC_CTYPE", "LANG", "NO_COLOR", "COLORFGBG")
_PATIENCE_S = 60.0
_A_MOMENT_S = 0.3
"""Longer than a page must stand before its `d` counts."""


class Tty:
    """One program on one terminal. `raw`: all that was sent to it; `screen`: what stands there now."""

    def __init__(
        self, columns: int, rows: int, arguments: list[str], *, program: str = sys.executable, **more: str
    ) -> None:
        env = {name: value for name, value in os.environ.items() if name not in _LOCALE and "DIAG_VIEW" not in name}
        env |= {"TERM": "xterm-256color", "LANG": "C.UTF-8", "PYTHONPATH": str(ROOT), **more}
        given = ["-m", "diag", *arguments] if program == sys.executable else arguments
        self.child = pexpect.spawn(program, given, env=env, dimensions=(rows, columns), timeout=_PATIENCE_S)
        self.screen = pyte.Screen(columns, rows)
        self._stream = pyte.ByteStream(self.screen)
        self.raw = b""
        self._gone = False

    def __enter__(self) -> Tty:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        if kind is not None:
            print(f"--- on the terminal:\n{self.text}\n---")
        if not self._gone:
            self.child.close(force=True)

    @property
    def text(self) -> str:
        """The screen as lines."""
        return "\n".join(line.rstrip() for line in self.screen.display)

    @property
    def flat(self) -> str:
        """The screen as one line of words, however they are wrapped."""
        return " ".join(self.text.split())

    def read(self, seconds: float = 0.05) -> bool:
        """Take what was sent meanwhile. False where the program has ended."""
        try:
            sent = self.child.read_nonblocking(65536, timeout=seconds)
        except pexpect.TIMEOUT:
            return True
        except pexpect.EOF:
            return False
        self.raw += sent
        self._stream.feed(sent)
        return True

    def until(self, *wanted: str) -> str:
        """Wait until all these words stand on the screen; gives the screen as one line."""
        ends = time.monotonic() + _PATIENCE_S
        while not all(words in self.flat for words in wanted):
            alive = self.read()
            if not alive and not all(words in self.flat for words in wanted):
                raise AssertionError(f"the program ended without {wanted}:\n{self.text}")
            if time.monotonic() > ends:
                raise AssertionError(f"no {wanted} on the screen:\n{self.text}")
        self.read()
        return self.flat

    def type(self, keys: str, *wanted: str) -> str:
        """Press keys, then wait for these words."""
        self.child.send(keys.encode())
        return self.until(*wanted)

    def done(self, *wanted: str) -> str:
        """Read the page to its end, a moment at least, and press `d`; then wait for these words."""
        while "more lines: Space" in self.flat:
            self.child.send(b" ")
            self.read(0.3)
        ends = time.monotonic() + _A_MOMENT_S
        while time.monotonic() < ends:
            self.read()
        return self.type("d", *wanted)

    def ended(self) -> int:
        """Wait until the program has ended; its exit code, or minus the signal that ended it."""
        while self.read(1):
            pass
        self.child.wait()
        return self.child.exitstatus if self.child.exitstatus is not None else -int(self.child.signalstatus or 0)

    def resized(self, columns: int, rows: int) -> None:
        """The window is drawn to another size."""
        self.screen.resize(rows, columns)
        self.child.setwinsize(rows, columns)

    def kill(self, number: signal.Signals) -> None:
        """Send a signal to the program."""
        os.kill(self.child.pid, number)

    def hung_up(self) -> None:
        """The window is closed: nobody reads or writes there any more."""
        self._gone = True
        self.child.ptyproc.fileobj.close()

    def reaped(self) -> int:
        """The same as `ended`, where there is no terminal left to read."""
        return os.waitstatus_to_exitcode(os.waitpid(self.child.pid, 0)[1])
