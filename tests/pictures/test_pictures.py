"""The pictures of README show what the program shows."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET

import pytest

from tests.conftest import TABLES
from tests.pictures.drawing import draw, text_of
from tests.pictures.jobs import FOLDER, PICTURES
from tests.pictures.screen import Cell, Shown

ROOT = FOLDER.parents[1]


def _lasting(screens: list[str]) -> list[str]:
    """Without the minutes since the job began, which a slow machine may count."""
    return [re.sub(r"\b\d+ min\b", "N min", screen) for screen in screens]


def _shown(*lines: str) -> Shown:
    return Shown(tuple(tuple(Cell(letter) for letter in line.ljust(12)) for line in lines))


@pytest.mark.usefixtures("reasoner")
@pytest.mark.parametrize("name", PICTURES)
def test_the_picture_is_what_the_program_shows(name: str) -> None:
    """Key by key at the program itself; `python -m tests.pictures` draws it anew."""
    kept = (FOLDER / name).read_text(encoding="utf-8")
    assert _lasting(text_of(PICTURES[name](TABLES))) == _lasting(text_of(kept))
    assert len(text_of(kept)) == 4


def test_the_text_of_a_picture_is_that_of_its_screens() -> None:
    """Indents, empty lines, marks that XML takes for its own."""
    screens = ["one  <two>", "x", "a & b\n\n  c"]
    frames = [(f"{number} <here>", _shown(*screen.split("\n"))) for number, screen in enumerate(screens)]
    picture = draw("A & B", frames)
    assert text_of(picture) == screens
    assert picture == draw("A & B", frames)
    assert text_of(draw("", [("", _shown("other"))])) == ["other"]


@pytest.mark.parametrize("name", PICTURES)
def test_a_picture_asks_for_nothing_outside_and_can_be_read_aloud(name: str) -> None:
    """It is shown by a web page: no script, no address, text as text, a title and a description."""
    text = (FOLDER / name).read_text(encoding="utf-8")
    tags = [element.tag.rpartition("}")[2] for element in ET.fromstring(text).iter()]
    assert set(tags) <= {"svg", "title", "desc", "style", "rect", "text", "g"}
    assert tags.count("title") == tags.count("desc") == 1
    assert not re.search(r"href|url\(|@import|script", text)
    assert "prefers-color-scheme:dark" in text
    assert len(text) < 30_000
