"""The program itself on pseudo terminals: whole jobs as a page and as lines, at the width of a phone and of a desk.

source of all expectations: common practice, no source
"""

from __future__ import annotations

import json
import os
import re
from pathlib import Path
from typing import Any

from tests.talk.teletype import Tty

COLOUR = re.compile(rb"\x1b\[(?:\d+;)*(?:[34]8;[25];[\d;]+|3[0-7]|4[0-7]|9[0-7]|10[0-7])(?:;\d+)*m")
WARNS = "Charge tell-tale lit with engine running"


def records() -> list[dict[str, Any]]:
    """What stands on disk of the one job of this test's home."""
    (path,) = Path(os.environ["DIAG_HOME"], "jobs").glob("*.jsonl")
    return [json.loads(line) for line in path.read_text(encoding="utf-8").splitlines()]


def answers() -> list[object]:
    """Values of the answers that were kept, undone ones too."""
    return [record["value"] for record in records() if record["event"] in ("answered", "found")]


def test_a_whole_job_on_a_phone_and_then_at_a_desk(reasoner: object) -> None:
    """Wrong key, undo, unit, out of reach, note, quit and resume: nothing of it is lost, nothing is cut off, and
    without colours all of it can be read."""
    with Tty(40, 20, ["start"], NO_COLOR="1") as phone:
        phone.until("Number or words:")
        phone.type(f"{WARNS.lower()}\r", "CAUTION", "d done")
        phone.type("z", "Key z does nothing here")
        phone.done("Reading (11.8 V)", "Caution as read before")
        phone.type("p", "The way from battery to body", "R> red")
        phone.type("\r", "Reading (11.8 V)")
        phone.type("12,6 bananas\r", "expected")
        phone.type("\x7f" * 8 + " V\r", "Kept: ")
        phone.type("u", "Undone: ", "Reading (11.8 V)")
        phone.type("12600 mV\r", "Kept: ")
        phone.type("a", "What should be noted?")
        phone.type("earth strap is green\r", "Kept: note added")
        for line in phone.screen.display:
            assert len(line) == 40
        phone.type("x", "Kept: can't reach")
        phone.type("q", "Go on with")
        assert phone.ended() == 0
        assert not COLOUR.search(phone.raw)
    assert answers() == ["charge-tell-tale-lit-running", 12.6, 12.6]
    with Tty(100, 30, ["resume"]) as desk:
        desk.until("answers", "q quit")
        seen = desk.flat
        desk.type("r", "Record so far", "[undone]", "note: earth strap is green")
        desk.type("\r", "q quit")
        desk.type("b", "Likely so far", "#")
        desk.type("\r", "q quit")
        desk.resized(40, 20)
        desk.until("q quit")
        desk.type("h", "more lines")
        desk.type("\r", "h help")
        desk.resized(100, 30)
        desk.type("g", "What was changed at the vehicle?")
        desk.type("\x1b", "q quit")
        desk.type("\x04", "Go on with")
        assert desk.ended() == 0
    assert answers() == ["charge-tell-tale-lit-running", 12.6, 12.6]
    assert "3 answers" not in seen and "2 answers" in seen  # the one that was undone does not count


def test_a_caution_brings_its_own_ground(reasoner: object) -> None:
    """Letters in a colour alone vanish on one terminal or the other; with their own ground they stand on both."""
    with Tty(60, 20, ["start", "--without-wiring"]) as tty:
        tty.until("Number or words:")
        tty.type("oil tell-tale stays lit with engine running\r", "!! CAUTION", "d done")
        row = next(n for n, line in enumerate(tty.screen.display) if "!! CAUTION" in line)
        cell = tty.screen.buffer[row][0]
        assert cell.bold and "default" not in (cell.fg, cell.bg)
        tty.type("\x03", "Go on with")
        assert tty.ended() == 0
        assert COLOUR.search(tty.raw)


def test_a_whole_job_in_lines_for_a_reader(reasoner: object) -> None:
    """A screen reader gets each thing once, in whole words: nothing is drawn again, no frame is spelt out."""
    with Tty(40, 60, ["start", "--lines"], NO_COLOR="1") as tty:
        tty.until("What is wrong?", 'Type "list"', "Answer:")
        tty.type("charge tell-tale lit with engine runinng\r", "Kept: complaint", "Caution: ")
        tty.type("done\r", "caution read and done", "Type the reading with its unit.")
        tty.type("12.6 bananas\r", "Not taken.", 'Type "again"')
        tty.type("12.7\x1b[D\x7f.\x1b[C\x7f6 V\r", "Kept: ")  # moved about in the line and mended: 12.6 V
        tty.type("undo\r", "Undone: ")
        tty.type("again\r", "Type the reading")
        tty.type("12600 mV\r", "Kept: Battery")
        tty.type("note earth strap is green\r", "Kept: note added")
        tty.type("can't reach\r", "can't reach: ")
        tty.type("causes\r", " percent: ")
        tty.type("record\r", "note: earth strap is green")
        tty.type("picture\r", "for the eye")
        tty.type("quit\r", "diag resume ")
        assert tty.ended() == 0
        words = tty.raw.decode()
        assert not re.search(r"!!|##|==|--|\x1b\[[\d;]*[mHJ]|\x1b\[\?", words)
        assert max(len(line) for line in tty.screen.display) <= 40
    assert answers() == ["charge-tell-tale-lit-running", 12.6, 12.6]


def test_a_dumb_terminal_gets_plain_lines(reasoner: object) -> None:
    """Serial consoles and editors' shells cannot draw; they can print."""
    with Tty(80, 60, ["start", "--without-wiring"], TERM="dumb") as tty:
        tty.until("name a circuit")
        tty.type("turn lamps light but do not flash\r", "Kept: complaint")
        tty.type("quit\r", "diag resume")
        assert tty.ended() == 0
        assert b"\x1b" not in tty.raw


def test_big_print_turns_pages_and_loses_nothing(reasoner: object) -> None:
    """Letters twice as wide leave less room: every answer is still reached, and typed letters are as wide."""
    with Tty(80, 24, ["start", "--print", "big"]) as tty:
        tty.until(wide("What is wrong?"), wide("more: Enter"))
        tty.type("turn lamps light but do not flash", wide("not flash"))
        tty.type("\r", wide("[1] dark"), wide("more: Space"))
        first = tty.flat
        tty.type(" ", wide("[0] something else"))
        assert all(wide(f"[{n}]") in first + tty.flat for n in range(10))
        tty.type("2", wide("Kept:"))
        tty.type("q", "Go on with")
        assert tty.ended() == 0
    assert {"light": "normal", "rhythm": "steady"} in answers()


def wide(text: str) -> str:
    """As the screen is read: pyte leaves an empty cell behind a wide letter."""
    from diag.talk.bigprint import wide as widened

    return " ".join(widened(text).split())


def test_other_letters_than_utf_8_neither_fail_nor_garble(reasoner: object) -> None:
    """Old consoles show bytes: what they have no letter for is spelt, what is typed in theirs is kept."""
    with Tty(60, 40, ["start", "--lines", "--without-wiring"], LC_ALL="en_US.ISO-8859-1") as tty:
        tty.until("Answer:")
        tty.child.send(b"horn silent\r")
        tty.until("Kept: complaint")
        tty.child.send(b"note earth at M\xfcller\r")
        tty.until("Kept: note added")
        tty.type("quit\r", "diag resume")
        assert tty.ended() == 0
    assert "Traceback" not in tty.text
    assert records()[-1]["text"] == "earth at M\u00fcller"
