"""A whole job over the real verb in forks of this process, with system calls that kill or fail at a chosen one.

Knows the protocol and the names of system calls; nothing of journals' content.
"""

from __future__ import annotations

import io
import json
import os
import signal
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, NamedTuple, NoReturn

import pytest

from diag.cli import main
from diag.reason.reasoner import Reasoner
from diag.talk import opening
from diag.talk.conversation import Conversation
from diag.talk.rehearsal import SimulatedFitter

__all__ = ["FAULT", "FAULTY_CALLS", "Sitting", "failing_at", "finished", "killed_at", "script", "talk_in_fork", "warm"]

FAULT = "fuse-horn.blown"
FAULTY_CALLS = ("write", "fsync", "ftruncate", "replace", "link", "unlink", "mkdir")
Object = dict[str, Any]


@contextmanager
def warm(reasoner: Reasoner) -> Iterator[None]:
    """Whoever opens a vehicle gets this reasoner."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(opening, "open_reasoner", lambda *_, **__: reasoner)
        yield


def reply(fitter: SimulatedFitter, said: Object) -> Object:
    """What the fitter says to an ask or a conclusion."""
    if said["type"] == "conclude":
        return {"remedied": said["remedies"][0]["id"]}
    if said["check"] == "start":
        return {"answer": said["id"], "value": "horn-silent"}
    return fitter.answer(said)


def finished(reasoner: Reasoner, conversation: Conversation, most: int = 60) -> tuple[list[Object], list[str]]:
    """Goes on as the fitter at the one fault would, to the end; what was said to the program, and the remedies of
    the whole job."""
    fitter = SimulatedFitter(reasoner, [FAULT])
    for entry in conversation.state.standing("remedied"):
        fitter.remedy(str(entry.fields["remedy"]))
    lines: list[Object] = []
    for _ in range(most):
        last = conversation.say()[-1]
        if last["type"] == "end":
            remedies = [str(entry.fields["remedy"]) for entry in conversation.state.standing("remedied")]
            assert fitter.cured
            return lines, remedies
        lines.append(reply(fitter, last))
        if "remedied" in lines[-1]:
            fitter.remedy(lines[-1]["remedied"])
        told = conversation.take(lines[-1])
        assert told["type"] == "tell", told
    raise AssertionError("the job came to no end")


def script(reasoner: Reasoner) -> tuple[bytes, list[str]]:
    """All lines of a whole job, as somebody pipes them in, and its remedies; with a note and an undo."""
    conversation = Conversation(reasoner, opening.Rehearsed.opened(reasoner), "job")
    lines: list[Object] = []
    for extra in ({"note": "one of two"}, {"note": "two of two"}, {"undo": True}):
        conversation.say()
        assert conversation.take(extra)["type"] == "tell"
        lines.append(extra)
    rest, remedies = finished(reasoner, conversation)
    return b"".join(json.dumps(line).encode() + b"\n" for line in [*lines, *rest]), remedies


class Sitting(NamedTuple):
    """One run of the program: how it ended, and every whole line that it said."""

    status: int
    heard: list[Object]
    errors: str

    @property
    def killed(self) -> bool:
        """By the pulled plug."""
        return os.WIFSIGNALED(self.status) and os.WTERMSIG(self.status) == signal.SIGKILL

    @property
    def code(self) -> int:
        """Its exit code."""
        return os.waitstatus_to_exitcode(self.status)

    @property
    def acknowledged(self) -> dict[int, str]:
        """Event by seq of what the person was told is kept."""
        return {one["seq"]: one["ack"] for one in self.heard if one["type"] == "tell" and one["stored"]}


def talk_in_fork(folder: Path, lines: bytes, arguments: list[str], fault: Callable[[], None]) -> Sitting:
    """`diag talk` in a fork, which does `fault` to itself first."""
    (folder / "in").write_bytes(lines)
    child = os.fork()
    if child == 0:
        _be_the_program(folder, arguments, fault)
    _, status = os.waitpid(child, 0)
    heard = (folder / "out").read_bytes()
    whole = heard[: heard.rfind(b"\n") + 1]
    errors = (folder / "errors").read_text(encoding="utf-8")
    return Sitting(status, [json.loads(line) for line in whole.splitlines()], errors)


def _be_the_program(folder: Path, arguments: list[str], fault: Callable[[], None]) -> NoReturn:
    import sys

    code = 70
    try:
        sys.stdin = io.TextIOWrapper((folder / "in").open("rb"))
        sys.stdout = io.TextIOWrapper((folder / "out").open("wb"))
        sys.stderr = (folder / "errors").open("w", encoding="utf-8", buffering=1)
        fault()
        code = main(["talk", *arguments], standalone_mode=False) or 0
    except SystemExit as error:
        code = error.code if isinstance(error.code, int) else 70
    except BaseException as error:
        print("Traceback", repr(error), file=sys.stderr)
    finally:
        os._exit(code)


def killed_at(number: int, half: bool) -> Callable[[], None]:
    """Pulls the plug at that call of those that reach the disk, before it; or in the middle of that write."""
    left = [number]

    def wrapped(real: Callable[..., Any]) -> Callable[..., Any]:
        def call(*given: Any, **named: Any) -> Any:
            left[0] -= 1
            if left[0] == 0:
                if half:
                    real(given[0], bytes(given[1])[: len(given[1]) // 2])
                os.kill(os.getpid(), signal.SIGKILL)
            return real(*given, **named)

        return call

    def strike() -> None:
        for name in ("write",) if half else FAULTY_CALLS:
            setattr(os, name, wrapped(getattr(os, name)))

    return strike


def failing_at(number: int, name: str, code: int, times: int = 1, part: bool = False) -> Callable[[], None]:
    """That call of os.NAME and those after it, `times` in all, are refused by the system with that errno; a write
    takes half of its text first where `part`."""
    left = [number]

    def strike() -> None:
        real = getattr(os, name)

        def call(*given: Any, **named: Any) -> Any:
            left[0] -= 1
            if -times < left[0] <= 0:
                if part and name == "write" and left[0] == 0:
                    return real(given[0], bytes(given[1])[: len(given[1]) // 2])
                raise OSError(code, os.strerror(code))
            return real(*given, **named)

        setattr(os, name, call)

    return strike
