"""Whatever somebody typed stays words in every form of the log: no tag, no formula, no sign that steers a terminal.

source of all expectations: common practice, no source
"""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from diag.log.export import open_job
from diag.log.forms import as_csv, as_json
from diag.log.handover import as_handover
from diag.log.markdown import as_markdown
from diag.paper.owner import as_owner
from diag.paper.page import as_html
from diag.paper.parts import as_parts
from diag.reason.reasoner import Reasoner
from diag.sheet.escape import cell, inline
from tests.log.jobs import ZONE, complaint, horn_sounds, write_job
from tests.paper.pages import Page

SIGNS = "<>&\"'`*_[]()|~$#=+-@!\\/{}%;:,.\t\r\n\x07\x1b\u200b\u202e\u2066\ufeff\uff1d1aW"
TYPED = st.text(st.one_of(st.sampled_from(SIGNS), st.characters(exclude_categories=["Cs"])), min_size=1, max_size=40)
FORMULA = ("=", "+", "-", "@", "\uff1d", "\uff0b", "\uff0d", "\uff20", "\t", "\r")


def forms_of(reasoner: Reasoner, folder: Path, typed: str) -> dict[str, str]:
    """A job with the text as note, change, reason and answer, in every form but PDF, which is printed from a page."""
    asked = {"check": typed, "kind": "choose", "operate": {typed: typed}, "target": typed, "value": typed}
    events: tuple[tuple[str, dict[str, Any]], ...] = (
        complaint("horn-silent"),
        ("noted", {"text": typed}),
        ("answered", asked),
        ("changed", {"text": typed}),
        ("left-open", {"text": typed}),
        horn_sounds("none"),
    )
    path = write_job(folder, *events, opened={"tool": typed, "engine": typed, "knowledge": typed})
    job, report = open_job(path, reasoner=reasoner, zone=ZONE)
    return {
        "html": as_html(job, report),
        "owner": as_owner(job, report),
        "parts": as_parts(job, report),
        "markdown": as_markdown(report),
        "handover": as_handover(job, report),
        "csv": as_csv(report),
        "json": as_json(report),
    }


@pytest.fixture(scope="module")
def harmless(reasoner: Reasoner, tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """The same job with a plain word."""
    return forms_of(reasoner, tmp_path_factory.mktemp("harmless"), "word")


def shape(page: str) -> list[tuple[str, tuple[str, ...]]]:
    """Tags with the names of their attributes, in order."""
    return [(element.tag, tuple(element.attributes)) for element in Page(page).elements]


@settings(max_examples=6, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(typed=TYPED.filter(lambda text: text.strip() != ""))
@example(typed='=HYPERLINK("http://x","y")')
@example(typed="</td></tr></table><script>alert(1)</script>")
@example(typed="| a | b |\n# head\n- [x](javascript:y)\n```")
@example(typed="\x1b[2J\u202eabc\u2066")
def test_no_form_obeys_what_was_typed(reasoner: Reasoner, harmless: dict[str, str], tmp_path: Path, typed: str) -> None:
    """Page and sheet have the tags of the harmless job, Markdown its lines; every sign is printed; cells are words."""
    made = forms_of(reasoner, tmp_path, typed)
    for form in ("html", "owner"):
        assert shape(made[form]) == shape(harmless[form]), form
    for form in ("markdown", "handover", "parts"):
        assert made[form].count("\n") == harmless[form].count("\n"), form
    for form, text in made.items():
        allowed = "\r\n" if form == "csv" else "\n"
        assert all(sign.isprintable() or sign in allowed for sign in text), form
    rows = list(csv.reader(io.StringIO(made["csv"])))
    assert {len(row) for row in rows} == {len(rows[0])}
    assert not [found for row in rows for found in row if found.lstrip().startswith(FORMULA) and not _number(found)]
    assert made["json"].isascii()
    assert [item["text"] for item in json.loads(made["json"])["items"] if item["event"] == "noted"] == [typed]


def _number(found: str) -> bool:
    try:
        float(found)
    except ValueError:
        return False
    return True


@settings(max_examples=200, deadline=None, derandomize=True)
@given(typed=TYPED)
def test_single_words_are_harmless_in_a_table_and_in_a_cell(typed: str) -> None:
    """What Markdown or a spreadsheet would take for its own is escaped wherever it stands."""
    shown = inline(typed)
    assert "<" not in shown and ">" not in shown and "\n" not in shown
    for sign in "`*_[]|~$":
        assert shown.count(sign) == shown.count(f"\\{sign}"), sign
    assert not cell(typed).lstrip().startswith(FORMULA)
    assert all(sign.isprintable() for sign in shown + cell(typed))
