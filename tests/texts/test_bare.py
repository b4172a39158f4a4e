"""In a made-up language that puts every message in marks, nothing is said outside the marks but data.

A text that is put together in the source, or said without being looked up, is found here by its words.

source of all expectations: common practice, no source
"""

from __future__ import annotations

import html
import json
import os
import re
import subprocess
import sys
from pathlib import Path

import click
import pytest

from diag.cli import main
from diag.review.codes import CODES
from tests.conftest import TABLES
from tests.texts.data import Phrases
from tests.texts.pseudo import LANGUAGE, marked, outside, write_pseudo
from tests.vehicles import SIX

TOP = Path(__file__).parents[2]
TAGS = re.compile(r"<style.*?</style>|<[^>]*>", re.DOTALL)
NO_TEXT = re.compile(
    r"`[^`]*`"  # names, commands and what was typed, as quoted
    r"|--[a-z-]+|\[[^\]]*\]"  # options, and the choices of one
    r"|\S*/\S+|[\w-]*\.(?:jsonl|yaml|html|md|pdf|cir|zip|json)\b"  # paths
    r"|\b[0-9a-f]{12,}\b"  # hashes
)
EXAMPLE = re.compile(r"^ +diag [^⟦\n]*$", re.MULTILINE)
"""What is no text, beside what stands in the knowledge."""
NAMES = {
    "diag": "the program",
    "durable": "the rule engine",
    "shipped": "the name of a layer",
    "mm²": "a unit",
    "mm2": "a unit",
    "degc": "a unit",
    "ah": "a unit",
    "ok": "a letter of the plot",
    "isolator": "a word that is explained",
    "dusty": "typed by the fitter",
    "hron": "typed by the fitter",
    "strat": "typed by the fitter",
    "opne": "a slip in a file",
    "kg": "typed by the fitter",
    "60degc": "typed by the fitter",
    "utc": "a clock",
    "xx": "the made-up language",
    "mohm": "a unit",
    "ma": "a unit",
    "test": "test-lamp, as an instrument is named",
}
"""Words outside the marks and outside the knowledge, with what they are."""
SETTINGS_WORDS = (
    "view screen lines print big aloud colours auto instruments jumper paper letter language browser home "
    "spd say espeak ng powershell bundles away learned languages tables"
)
"""Names and values of settings, folders by their names, and programs that read aloud."""
VERBS = {
    command.name or "": command
    for group in (main, *(one for one in main.commands.values() if isinstance(one, click.Group)))
    for command in group.commands.values()
}
METAVARS = (
    "day file folder job json list media my name path position size stick verb word yyyy mm dd codes float range nxw "
    "bash zsh fish integer ip"
)
"""What stands for a value in the first line of a help."""


@pytest.fixture(scope="module")
def said(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """What the program says in the made-up language, in a process of its own: a language is that of a process."""
    home, work = tmp_path_factory.mktemp("home"), tmp_path_factory.mktemp("work")
    write_pseudo(home / "locale")
    TABLES.mkdir(mode=0o700, exist_ok=True)
    (home / "cache").symlink_to(TABLES)
    environment = {**os.environ, "DIAG_HOME": str(home), "DIAG_LANGUAGE": LANGUAGE, "COLUMNS": "200"}
    ran = subprocess.run(
        [sys.executable, "-m", "tests.texts.said", str(work)], cwd=TOP, env=environment, capture_output=True, text=True
    )
    assert ran.returncode == 0, ran.stderr[-2000:]
    found: dict[str, str] = json.loads(ran.stdout)
    return found


@pytest.fixture(scope="module")
def phrases() -> Phrases:
    known = Phrases([*sorted((TOP / "rules").rglob("*.yaml")), SIX])
    for word in (*CODES, *NAMES, *VERBS, *METAVARS.split(), *SETTINGS_WORDS.split()):
        known.add(word)
    return known


def bare(phrases: Phrases, text: str) -> list[str]:
    """Words outside the marks that are no data."""
    said = outside(html.unescape(TAGS.sub(" ", EXAMPLE.sub(" ", text))))
    left = phrases.left(NO_TEXT.sub(" ", said))
    return [word for word in left if re.search(r"[a-z]{2}", word)]


def test_nothing_is_said_that_did_not_go_through_the_catalogue(said: dict[str, str], phrases: Phrases) -> None:
    """Help of every verb, a job in plain lines, its logs and sheets, a drawing's table, mistakes of many sorts."""
    found = {name: words for name, text in said.items() if (words := bare(phrases, text))}
    assert not found, f"say it by t(...) of diag/texts.py: {found}"


def test_much_was_said(said: dict[str, str]) -> None:
    """An empty screen has no bare words either."""
    assert len([name for name in said if name.endswith("--help")]) >= len(VERBS)
    for name, least in {"job in plain lines": 200, "log as a page": 150, "rules check": 30}.items():
        assert said[name].count("⟦") >= least, name
    assert "⟦Usage:⟧" in said["diag --help"]


@pytest.mark.parametrize(
    "text",
    [
        "⟦Kept:⟧ nothing was written",
        "Undone: ⟦turn switch⟧ left",
        "Stage 3 of 7: ⟦what comes now⟧",
        "⟦{count}⟧ answers in all",
        "<p class='x'>Nothing is open.</p>",
        "`diag jobs` lists them",
    ],
)
def test_a_bare_text_is_found(phrases: Phrases, text: str) -> None:
    assert bare(phrases, text)


def test_marks_stand_round_words_only() -> None:
    assert marked("The {name} is {p:.0%}, ") == "⟦The⟧ {name} ⟦is⟧ {p:.0%}, "
    assert marked("No fields { here.") == "⟦No fields { here.⟧"
    assert outside("⟦The⟧ fuse ⟦is\nblown⟧.") == "fuse ."
