"""Someone who knows only the protocol of the JSON Lines conversation: writes a line, reads what comes back.

Drives the real program in a process of its own; knows nothing of its modules.
"""

from __future__ import annotations

import contextlib
import json
import os
import subprocess
import sys
import tempfile
import threading
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Self

__all__ = ["ROOT", "Outsider", "healthy", "home"]

ROOT = Path(__file__).parents[2]
_GIVES_UP_S = 300.0
"""A program that never answers is killed, so that a test fails instead of hanging."""
Object = dict[str, Any]


class Outsider:
    """A conversation with `diag talk` in a process of its own.

    `last` is what the program waits with: an ask, a conclusion with remedies, or the end. `heard` is
    everything it said, in order.
    """

    def __init__(self, *arguments: str, env: Mapping[str, str] | None = None, preexec: Any = None) -> None:
        self.process = subprocess.Popen(
            [sys.executable, "-m", "diag", "talk", *arguments],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            cwd=ROOT,
            env={**os.environ, **(env or {})},
            preexec_fn=preexec,
        )
        self.heard: list[Object] = []
        self._watch = threading.Timer(_GIVES_UP_S, self.process.kill)
        self._watch.daemon = True
        self._watch.start()
        self.hello = self._line()
        assert self.hello["type"] == "hello", self.hello
        self.last = self._rest()

    # ------------------------------------------------------------ reading

    def _line(self) -> Object:
        assert self.process.stdout is not None and self.process.stderr is not None
        line = self.process.stdout.readline()
        if not line.endswith(b"\n"):
            self.process.wait()
            raise AssertionError(f"the program ended: {line!r} {self.process.stderr.read().decode()}")
        found = json.loads(line.decode("utf-8"))
        assert isinstance(found, dict)
        self.heard.append(found)
        return found

    def _rest(self) -> Object:
        """Reads on to where the program waits."""
        while True:
            found = self._line()
            assert found["type"] in ("ask", "conclude", "end"), found
            if found["type"] != "conclude" or found["remedies"]:
                return found

    # ------------------------------------------------------------ speaking

    def say(self, line: object) -> Object:
        """Send one object (or raw text, or raw bytes) as a line; returns the one reply, and leaves what came
        after it in `last`."""
        raw = line if isinstance(line, bytes) else (line if isinstance(line, str) else json.dumps(line)).encode("utf-8")
        assert self.process.stdin is not None
        self.process.stdin.write(raw + b"\n")
        self.process.stdin.flush()
        reply = self._line()
        assert reply["type"] in ("tell", "error"), reply
        self.last = self._rest()
        return reply

    def told(self, line: object) -> Object:
        """The same where it must be taken."""
        reply = self.say(line)
        assert reply["type"] == "tell", (line, reply)
        return reply

    def refused(self, line: object) -> Object:
        """The same where it must be refused."""
        reply = self.say(line)
        assert reply["type"] == "error", (line, reply)
        return reply

    def answer(self, value: object) -> Object:
        """Answer the open ask."""
        assert self.last["type"] == "ask", self.last
        return self.told({"answer": self.last["id"], "value": value})

    def until(self, check: str, most: int = 60) -> Object:
        """Answer as a sound vehicle would until `check` is asked as a question of its own."""
        for _ in range(most):
            if self.last["type"] == "ask" and self.last["check"] == check and self.last["kind"] != "do":
                return self.last
            self.answer(healthy(self.last))
        raise AssertionError(f"{check} was never asked")

    # ------------------------------------------------------------ leaving

    def leave(self) -> int:
        """End the input; returns the exit code. Nothing more may be said."""
        assert self.process.stdin is not None and self.process.stdout is not None
        self.process.stdin.close()
        rest = self.process.stdout.read()
        code = self.process.wait()
        self._watch.cancel()
        assert rest == b"", rest
        return code

    def errors(self) -> str:
        """What stands on standard error; only after the end."""
        assert self.process.stderr is not None
        return self.process.stderr.read().decode("utf-8")

    def kill(self) -> None:
        """Pull the plug."""
        self.process.kill()
        self.process.wait()
        self._watch.cancel()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.kill()
        for stream in (self.process.stdin, self.process.stdout, self.process.stderr):
            if stream is not None:
                with contextlib.suppress(BrokenPipeError):
                    stream.close()


def home(folder: Path) -> dict[str, str]:
    """An environment with a home of its own below `folder`, and the computed tables that all tests share."""
    tables = Path(tempfile.gettempdir()) / f"diag-tests-{os.getuid()}"
    tables.mkdir(mode=0o700, exist_ok=True)
    folder.mkdir(exist_ok=True)
    (folder / "cache").symlink_to(tables)
    return {"DIAG_HOME": str(folder)}


def healthy(ask: Object) -> Any:
    """What someone at a sound vehicle answers, by the ask alone."""
    if ask["kind"] == "do":
        return "done"
    if ask["expected"] is not None:
        return ask["expected"]
    return ask["choices"][0]["value"] if ask["choices"] else "not-sure"
