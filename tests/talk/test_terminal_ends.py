"""Whatever ends or stops the program loses no answer that was acknowledged, and leaves the terminal as it was.

source of all expectations: common practice, no source
"""

from __future__ import annotations

import json
import os
import signal
import sys
import termios
from pathlib import Path

import pytest

from tests.talk.teletype import Tty

HORN = "horn silent with button pressed\r"
ALTERNATE_OFF = b"\x1b[?1049l"


def kept() -> list[str]:
    """The notes on disk of the one job of this test's home."""
    (path,) = Path(os.environ["DIAG_HOME"], "jobs").glob("*.jsonl")
    told = [json.loads(line) for line in path.read_text(encoding="utf-8").splitlines()]
    return [record["text"] for record in told if record["event"] == "noted"]


def cooked(tty: Tty) -> bool:
    """Whether the terminal echoes and gives whole lines, as a shell expects it."""
    modes = termios.tcgetattr(tty.child.child_fd)[3]
    return bool(modes & termios.ICANON) and bool(modes & termios.ECHO)


def note_on_page(tty: Tty, text: str) -> None:
    """A note that the page acknowledges; then a page with half a line typed."""
    tty.type("a", "What should be noted?")
    tty.type(f"{text}\r", "Kept: note added")
    tty.type("a", "What should be noted?")
    tty.type("half a li", "half a li")


def test_a_page_that_is_ended_from_outside_keeps_what_it_acknowledged(reasoner: object) -> None:
    """Killed at once, told to end, its window closed: the next sitting has all that was acknowledged, and is not
    locked out by the one before."""
    with Tty(60, 24, ["start", "--without-wiring"]) as tty:
        tty.until("Number or words:")
        tty.type(HORN, "Kept: ")
        note_on_page(tty, "one")
        tty.kill(signal.SIGKILL)
        assert tty.ended() == -signal.SIGKILL
    assert kept() == ["one"]
    with Tty(60, 24, ["resume"]) as tty:
        tty.until("h help", "q quit")
        assert not cooked(tty)
        note_on_page(tty, "two")
        tty.kill(signal.SIGTERM)
        assert tty.ended() == 128 + signal.SIGTERM
        assert ALTERNATE_OFF in tty.raw
        assert "Traceback" not in tty.text
    assert kept() == ["one", "two"]
    with Tty(60, 24, ["resume"]) as tty:
        tty.until("h help", "q quit")
        note_on_page(tty, "three")
        tty.hung_up()
        assert tty.reaped() == 128 + signal.SIGHUP
    assert kept() == ["one", "two", "three"]


def test_lines_that_are_ended_from_outside_keep_what_they_acknowledged(reasoner: object) -> None:
    """The same for a reader of lines."""
    with Tty(60, 24, ["start", "--without-wiring", "--lines"]) as tty:
        tty.until("Answer:")
        tty.type(HORN, "Kept: complaint", "Answer:")
        tty.type("note one\r", "Kept: note added")
        tty.type("half a li", "half a li")
        tty.kill(signal.SIGTERM)
        assert tty.ended() == 128 + signal.SIGTERM
        assert "Traceback" not in tty.text
    with Tty(60, 24, ["resume", "--lines"]) as tty:
        tty.until("Answer:")
        tty.type("note two\r", "Kept: note added")
        tty.hung_up()
        assert tty.reaped() == 128 + signal.SIGHUP
    assert kept() == ["one", "two"]


@pytest.mark.parametrize("view", ["--screen", "--lines"])
def test_stopped_by_the_shell_it_goes_on_where_it_was(reasoner: object, view: str) -> None:
    """Ctrl-Z to look something up, `fg` to go on: the shell finds its terminal in order, and so does the program.
    Ctrl-C and Ctrl-D are ends in order."""
    command = f"{sys.executable} -m diag start --without-wiring {view}"
    with Tty(60, 24, ["--norc", "-i"], program="/bin/bash", PS1="shell> ", HISTFILE="") as tty:
        tty.until("shell>")
        tty.type(f"{command}\r", "Number or words:" if view == "--screen" else "Answer:")
        tty.type(HORN, "Kept: ")
        tty.type("\x1a", "Stopped")
        tty.type("echo in$((1))order\r", "in1order")
        tty.type("fg\r", "Kept: " if view == "--screen" else "Answer:")
        if view == "--screen":
            note_on_page(tty, "after")
            tty.type("\x03", "Go on with")
        else:
            tty.type("note afterr\x7f\r", "Kept: note added")
            tty.type("\x04", "Go on with")
        tty.type("exit\r")
        tty.ended()
    assert kept() == ["after"]
