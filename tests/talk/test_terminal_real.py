"""The program itself on a pseudo terminal, as narrow as a phone: start, answer, quit, resume."""

from __future__ import annotations

import os
import re
import sys
from pathlib import Path

import pexpect
import pytest

ROOT = Path(__file__).parents[2]
COLOUR = re.compile(r"\x1b\[(?:\d+;)*(?:3[0-7]|9[0-7]|38;5;\d+)(?:;\d+)*m")


def spawn(columns: int, arguments: list[str], **more: str) -> pexpect.spawn:
    """The program on a terminal of this width."""
    env = {**os.environ, "TERM": "xterm-256color", "PYTHONPATH": str(ROOT), **more}
    return pexpect.spawn(
        sys.executable, ["-m", "diag", *arguments], env=env, dimensions=(20, columns), encoding="utf-8", timeout=90
    )


@pytest.mark.parametrize("columns", [40, 80])
def test_quit_and_resume_on_a_real_terminal(reasoner: object, columns: int) -> None:
    """The words on quitting are the command that really goes on."""
    program = spawn(columns, ["start"], NO_COLOR="1")
    program.expect("Number or words")
    program.send("turn lamps light but do not flash\r")
    program.expect("1 dark")
    program.send("2")
    program.expect("d done")
    drawn = program.before
    program.send("q")
    program.expect(r"diag resume (\S+)")
    job = program.match[1]
    program.expect(pexpect.EOF)
    program.close()
    assert program.exitstatus == 0
    assert not COLOUR.search(drawn)
    again = spawn(columns, ["resume", job])
    again.expect("2 answers")
    again.expect("d done")
    assert COLOUR.search(again.before), "the frame of a caution is coloured where that is wanted"
    again.send("\x04")
    again.expect("diag resume")
    again.expect(pexpect.EOF)
    again.close()
    assert again.exitstatus == 0


def test_a_dumb_terminal_gets_plain_lines(reasoner: object) -> None:
    """Serial consoles and editors' shells cannot draw; they can print."""
    program = spawn(80, ["start"], TERM="dumb")
    program.expect("name a circuit")
    program.sendline("turn lamps light but do not flash")
    program.expect("Watch: Turn tell-tale")
    program.sendline("quit")
    program.expect("diag resume")
    program.expect(pexpect.EOF)
    assert "\x1b" not in program.before
