"""The owner's sheet and the parts list: plain, complete, harmless.

source of all expectations: common practice, no source
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from diag.log.export import open_job
from diag.log.replayed import Replayed
from diag.log.report import Report
from diag.paper.owner import as_owner
from diag.paper.parts import as_parts
from diag.reason.reasoner import Reasoner
from tests.log.jobs import TRANSCRIPTS, ZONE, complaint, horn_sounds, write_job
from tests.paper.pages import Page

FUSE = ("remedied", {"remedy": "fuse-horn.renew"})


def owner(reasoner: Reasoner, path: Path) -> Page:
    """The owner's sheet as read back."""
    return Page(as_owner(*open_job(path, reasoner=reasoner, zone=ZONE)))


def parts(reasoner: Reasoner, path: Path) -> str:
    """The parts list."""
    return as_parts(*open_job(path, reasoner=reasoner, zone=ZONE))


def test_the_owner_reads_what_was_wrong_done_open_and_what_to_watch(double: tuple[Replayed, Report]) -> None:
    """In this order, and in words that need no wiring diagram."""
    page = Page(as_owner(*double))
    heads = [element.text.strip() for element in page.all("h2")]
    assert heads == ["What was wrong", "What was done", "What is still open", "What to watch"]
    assert "Words on this sheet." in page.text
    assert "A small lamp before the driver" in page.text and "solenoid" not in page.text
    assert "You told us: Turn lamps lit steadily, no flashing." in page.text
    assert "Flasher unit: unit makes contact and never opens." in page.text
    assert "Make good both ends of Oil tell-tale to the sender. Tried afterwards and right:" in page.text
    assert "No work is open, but 4 points are to be told." in page.text and "Nothing is open." not in page.text
    assert "mended and not tried again: Sound of the flasher unit with hazard and key off (it was: buzz)." in page.text
    assert "Not what this job was about: a fuse larger than is best: Hazard fuse 16 A on 0.75 mm²" in page.text
    assert "Foreseen for it, used or not: crimp terminals to fit." in page.text
    assert "if it has to be renewed" not in page.text, "nobody knows that it was"
    for jargon in ("oil-sender", "terminal G", "×", "likel", "blue/green, from", "weight"):
        assert jargon not in page.text, jargon


def test_the_owner_is_told_what_is_not_proved(reasoner: Reasoner, tmp_path: Path) -> None:
    """Who drives off in the belief that it is mended must be right in it."""
    job = (complaint("horn-silent"), horn_sounds("none"), FUSE)
    page = owner(reasoner, write_job(tmp_path, *job))
    assert "NOT tried afterwards. Have it tried before you rely on it." in page.text
    assert "Do not rely on this yet: Renew Horn fuse." in page.text and "still open; see below" in page.text
    page = owner(reasoner, write_job(tmp_path, *job, horn_sounds("none")))
    assert "Tried afterwards, and still wrong: horn with button pressed." in page.text
    page = owner(reasoner, write_job(tmp_path, *job, horn_sounds("sound")))
    assert "Tried afterwards and right: horn with button pressed." in page.text
    assert "Do not rely" not in page.text


def test_what_was_wrong_and_not_tried_again_is_not_called_right(reasoner: Reasoner, tmp_path: Path) -> None:
    """Counts that only look good help nobody."""
    flat = {"check": "horn-sound", "kind": "listen", "operate": {"horn-button": "pressed"}, "target": "horn"}
    path = write_job(tmp_path, complaint("horn-silent"), ("answered", {**flat, "value": "none"}), FUSE)
    rows = [element.text for element in owner(reasoner, path).all("tr")]
    (horn,) = [row.split() for row in rows if row.startswith("Horn")]
    assert horn == ["Horn", "1", "0", "1", "0"]


def test_dangers_are_named_for_what_the_vehicle_has(reasoner: Reasoner, tmp_path: Path) -> None:
    """Oil and charge tell-tales, fuses, smoke; and who decides what may go on a road."""
    page = owner(reasoner, write_job(tmp_path, complaint("horn-silent"), horn_sounds("none")))
    for words in ("stop the engine at once", "battery runs down", "never a bigger one", "isolator", "local rules"):
        assert words in page.text
    assert "earth clamp comes off" in page.text


def test_the_parts_list_names_what_each_work_calls_for(double: tuple[Replayed, Report]) -> None:
    """And says so where nobody wrote down what a work needs, with what the work is on."""
    text = as_parts(*double)
    done = text[text.index("## For what was carried out") : text.index("## To order")]
    assert "Renew the flasher unit" in done and "which is on: Flasher unit" in done
    assert re.search(r"  - \[ \] 2: crimp terminals, for 0\.75 mm² \(.*blade", done)
    assert re.search(
        r"- \[ \] [\d.]+ m at most, if it has to be renewed: wire, 0\.75 mm², blue/green$", done, re.MULTILINE
    )
    assert text[text.index("## To order") :].count("- Nothing.") == 1


def test_what_is_suspected_strongly_or_not_proved_is_ordered(reasoner: Reasoner, tmp_path: Path) -> None:
    """Once for each part, with its reason."""
    job = write_job(tmp_path, complaint("horn-silent"), horn_sounds("none"), FUSE)
    order = parts(reasoner, job).partition("## To order")[2]
    assert "| 1 | torpedo fuse | 8 A |  | Renew Horn fuse | carried out, not proved |" in order
    cut = tmp_path / "cut.jsonl"
    lines = (TRANSCRIPTS / "horn-fuse.jsonl").read_text(encoding="utf-8").splitlines()
    upto = next(n for n, line in enumerate(lines) if '"remedied"' in line)
    cut.write_text("\n".join(lines[:upto]) + "\n", encoding="utf-8")
    order = parts(reasoner, cut).partition("## To order")[2]
    assert re.search(r"\| 1 \| torpedo fuse \| 8 A \|  \| Renew Horn fuse \| suspected, \d+% \|", order)


@pytest.mark.parametrize(
    ("word", "shown"),
    [
        ("<b>x</b>", "&lt;b&gt;x&lt;/b&gt;"),
        ("| a | b |", r"\| a \| b \|"),
        ("# head", r"\# head"),
        ("[x](javascript:y)", r"\[x\](javascript:y)"),
    ],
)
def test_typed_words_stay_words_in_the_parts_list(reasoner: Reasoner, tmp_path: Path, word: str, shown: str) -> None:
    """A change in somebody's own words is a title here."""
    text = parts(reasoner, write_job(tmp_path, complaint("horn-silent"), ("changed", {"text": word})))
    assert f"- **{shown}** (record 3)" in text.splitlines()


def test_both_are_the_same_every_time(reasoner: Reasoner) -> None:
    """Byte by byte."""
    path = TRANSCRIPTS / "horn-fuse.jsonl"
    assert as_owner(*open_job(path, reasoner=reasoner, zone=ZONE)) == as_owner(
        *open_job(path, reasoner=reasoner, zone=ZONE)
    )
    assert parts(reasoner, path) == parts(reasoner, path)
