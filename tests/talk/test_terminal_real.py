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
    env = {
        **{k: v for k, v in os.environ.items() if k != "NO_COLOR"},
        "TERM": "xterm-256color",
        "PYTHONPATH": str(ROOT),
        **more,
    }
    return pexpect.spawn(
        sys.executable, ["-m", "diag", *arguments], env=env, dimensions=(20, columns), encoding="utf-8", timeout=60
    )


GAP = r"(?: |\x1b\[C)"
"""A space, or the step over it."""


@pytest.mark.parametrize("columns", [40])
def test_quit_and_resume_on_a_real_terminal(reasoner: object, columns: int) -> None:
    """The words on quitting are the command that really goes on; colour is an extra that can be turned off."""
    program = spawn(columns, ["start"])
    program.expect(f"Number{GAP}or{GAP}words")
    program.send("oil tell-tale stays lit with engine running\rq")  # its first page is a caution
    program.expect(r"diag resume (\S+)")
    job = program.match[1]
    program.expect(pexpect.EOF)
    program.close()
    assert program.exitstatus == 0
    for leave, more in (("\x03", {"NO_COLOR": "1"}), ("\x04", {})):
        again = spawn(columns, ["resume", job], **more)
        again.expect(f"1{GAP}answer")
        again.expect(f"quit,{GAP}keep")
        drawn = again.before
        again.send(leave)
        again.expect("diag resume")
        again.expect(pexpect.EOF)
        again.close()
        assert again.exitstatus == 0
        assert "CAUTION" in drawn
        assert bool(COLOUR.search(drawn)) == (not more)


def test_a_dumb_terminal_gets_plain_lines(reasoner: object) -> None:
    """Serial consoles and editors' shells cannot draw; they can print."""
    program = spawn(80, ["start"], TERM="dumb")
    program.expect("name a circuit")
    program.sendline("turn lamps light but do not flash")
    program.expect("(Watch|Listen to): ")
    program.sendline("quit")
    program.expect("diag resume")
    program.expect(pexpect.EOF)
    assert "\x1b" not in program.before
