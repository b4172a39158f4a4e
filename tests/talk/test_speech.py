"""Reading aloud: what is said, by whom, and that it never stands in the way.

source of all expectations: common practice, no source
"""

from __future__ import annotations

import os
import stat
import time
from pathlib import Path

import pytest

from diag.talk.screen import Line, framed, head, paragraph
from diag.talk.speech import Speaker, command_of, speaker_of
from diag.talk.spoken import page_aloud, said_lines, voiced
from tests.talk.teletype import Tty

FAKE = """#!/bin/sh
echo begin $$ >> "$SPOKEN"
cat >> "$SPOKEN"
echo >> "$SPOKEN"
exec sleep 600
"""


@pytest.fixture
def spoken(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A speech program that writes down what it is given and then speaks for ten minutes; its notes."""
    program = tmp_path / "bin" / "espeak-ng"
    program.parent.mkdir()
    program.write_text(FAKE)
    program.chmod(program.stat().st_mode | stat.S_IXUSR)
    monkeypatch.setenv("PATH", f"{program.parent}:/usr/bin:/bin")
    monkeypatch.setenv("SPOKEN", str(tmp_path / "spoken"))
    return tmp_path / "spoken"


def until(file: Path, words: str) -> str:
    """Wait for words in a file."""
    for _ in range(600):
        text = file.read_text() if file.exists() else ""
        if words in text:
            return text
        time.sleep(0.05)
    raise AssertionError(f"never said: {words}; said: {text}")


def alive(pid: int) -> bool:
    """Whether a process is there and has not ended."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except FileNotFoundError:
        return False


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("12.4 V at terminal 49a", "12.4 volts at terminal 49 a"),
        ("1 A, 350 mA", "1 amp, 350 milliamps"),
        ("0.4 ohm, or OL", "0.4 ohms, or O L"),
        ("red on B+, black on D-.", "red on B plus, black on D minus."),
        ("1.5 mm2, 3 min, 36 %, >99 %", "1.5 square millimetres, 3 minutes, 36 percent, over 99 percent"),
        ("`done` when it is seen to", "done when it is seen to"),
        ("at the front | in 2010 | Main beam", "at the front, in 2010, Main beam"),
    ],
)
def test_units_and_signs_are_said_in_words(text: str, said: str) -> None:
    """A voice spells what it does not know: `V` becomes a letter, `49a` a number of forty-nine amperes."""
    assert voiced(text) == said


def test_a_caution_is_said_first_and_where_we_are_only_once() -> None:
    """What can hurt comes before all else; what was said a question ago is not said again."""
    page = [*head("Horn | at the front | 3 min | 2 answers", "Kept: horn: none", 40), Line()]
    page += [*paragraph("Press the horn button and listen for a click of the relay.", 20, style="strong")]
    page += framed("Keep clear of the fan.", 30, "MIND")
    words, where = page_aloud(page)
    assert words.startswith("Caution: Keep clear of the fan. Horn, at the front. Kept: horn: none. Press the horn")
    assert words.endswith("a click of the relay.") and "!" not in words and "answers" not in words
    again, _ = page_aloud(page, where)
    assert "at the front" not in again and again.startswith("Caution")


def test_a_line_says_a_paragraph_whole_and_no_frame() -> None:
    """Half sentences and rows of signs are what makes a page useless to a reader."""
    lines = [*framed("Keep clear of the fan that starts by itself.", 20), *paragraph("-0.3 V was read", 9, "- ")]
    assert said_lines(lines) == ["Caution: Keep clear of the fan that starts by itself.", "-0.3 V was read"]


@pytest.mark.parametrize("name", ["spd-say", "espeak-ng", "espeak", "say", "powershell"])
def test_no_text_becomes_an_option(name: str) -> None:
    """A note of somebody else may begin with a dash."""
    evil = "--version; $(reboot)"
    arguments, given = command_of(name, "/usr/bin/x", evil)
    assert evil not in arguments or arguments[arguments.index(evil) - 1] == "--"
    assert (evil in arguments) != (evil.encode() in given)


def test_the_next_text_ends_the_one_before(spoken: Path) -> None:
    """Nobody listens to the last page while looking at this one; and no voice is left behind."""
    speaker, missing = speaker_of("on")
    assert speaker is not None and not missing
    speaker.speak("first - page")
    first = int(until(spoken, "first - page").split()[1])
    assert alive(first)
    speaker.speak("second page")
    second = int(until(spoken, "second page").split("begin")[2].split()[0])
    assert not alive(first) and alive(second)
    speaker.close()
    assert not alive(second)


def test_a_voice_that_is_not_there_or_breaks_is_told_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The job goes on in silence."""
    monkeypatch.setenv("PATH", str(tmp_path))
    speaker, missing = speaker_of("espeak-ng")
    assert speaker is None and "`espeak-ng`" in missing and "settings aloud off" in missing
    assert speaker_of("off") == (None, "")
    broken = tmp_path / "espeak"
    broken.write_text("#!/bin/sh\nexit 3\n")
    broken.chmod(0o755)
    speaker = Speaker("espeak", str(broken))
    told: list[str] = []
    for _ in range(200):
        speaker.speak("page")
        told += [trouble] if (trouble := speaker.trouble()) else []
        if told:
            break
        time.sleep(0.05)
    assert told == ["Reading aloud ended: espeak ended with code 3."]
    assert speaker.trouble() == ""
    speaker.close()


def test_pages_are_read_on_a_real_terminal(reasoner: object, spoken: Path) -> None:
    """Question by question, without waiting for the voice; silence at the end."""
    with Tty(60, 20, ["start", "--without-wiring", "--aloud", "espeak-ng"], PATH=os.environ["PATH"]) as tty:
        tty.until("Number or words:")
        until(spoken, "What is wrong?")
        tty.type("oil tell-tale stays lit with engine running\r", "CAUTION", "d done")
        text = until(spoken, "Caution: ")
        assert "!!" not in text
        tty.type("\x12")
        for _ in range(200):
            if spoken.read_text().count("Caution: ") == 2:
                break
            time.sleep(0.05)
        tty.type("q", "Go on with")
        assert tty.ended() == 0
    said = spoken.read_text()
    assert said.count("Caution: ") == 2
    assert not any(alive(int(part.split()[0])) for part in said.split("begin")[1:])
