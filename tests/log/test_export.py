"""The three forms of the log: complete, harmless whatever was typed, and the same every time."""

from __future__ import annotations

import csv
import io
import json
import re
from pathlib import Path
from typing import Any

import pytest

from diag.errors import DiagError
from diag.job.records import JournalError
from diag.log.export import FORMS, Form, export_job
from diag.log.forms import COLUMNS
from diag.reason.reasoner import Reasoner
from diag.sheet.escape import Ready, cell, code, inline, plain
from tests.log.jobs import TRANSCRIPTS, ZONE, complaint, horn_sounds, write_job

NASTY = "# <img src=x onerror=alert(1)> | cell | `code` [link](javascript:x) **bold** \x1b[31m\u202e\n- item\n| --- |"


def _export(reasoner: Reasoner, path: Path, form: Form) -> str:
    return export_job(path, form, reasoner=reasoner, zone=ZONE)


def _section(text: str, title: str) -> str:
    found = re.search(rf"^(#+) {re.escape(title)}$(.*?)(?=^#|\Z)", text, re.MULTILINE | re.DOTALL)
    assert found is not None, f"no section {title}"
    return found[2]


def _rows(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text, newline="")))


# ---------------------------------------------------------------- markdown


def test_the_summary_tells_fault_work_and_proof(reasoner: Reasoner) -> None:
    """A stranger reads the first page only."""
    text = _export(reasoner, TRANSCRIPTS / "horn-fuse.jsonl", "markdown")
    assert "Horn silent with button pressed" in _section(text, "Summary")
    assert "Horn fuse" in _section(text, "What was found") and "%" in _section(text, "What was found")
    done = _section(text, "What was done, and what proved it")
    assert "Proved:" in done and "(answer 10)" in done and "**sound**" in done
    assert "more would have been asked" in _section(text, "What is still open")


def test_a_double_fault_is_told_in_the_order_of_its_work(reasoner: Reasoner) -> None:
    """Two remedies, each with its own proof and its own reasons."""
    text = _export(reasoner, TRANSCRIPTS / "double-fault.jsonl", "markdown")
    places = [
        text.index(words)
        for words in ("### After record 9,", "### After record 19,", "### Before record 9:", "### Before record 19:")
    ]
    assert places == sorted(places)
    done = _section(text, "What was done, and what proved it")
    assert done.index("Renew the flasher unit") < done.index("Oil tell-tale to the sender")
    reasons = text[places[2] : places[3]]
    held_against = [row for row in reasons.split("\n") if row.startswith("|") and "against it" in row]
    assert not held_against, "what the other fault explains is not held against the first"
    assert _section(text, "What is still open").strip() == "- No work."
    told = _section(text, "To be told")
    assert told.count("mended and not tried again: ") == 3 and told.count("LARGE: Hazard fuse") == 1


def test_every_table_row_has_as_many_cells_as_its_head(reasoner: Reasoner, tmp_path: Path) -> None:
    """One stray bar shifts all that follows it, and a reader takes the wrong reading for the right one."""
    odd = ("answered", {"check": NASTY, "kind": "look", "operate": {NASTY: NASTY}, "target": NASTY, "value": NASTY})
    noted, changed = ("noted", {"text": NASTY}), ("changed", {"text": NASTY})
    path = write_job(tmp_path, complaint("horn-silent"), noted, odd, changed, horn_sounds("none"))
    checked = 0
    for journal in (path, TRANSCRIPTS / "double-fault.jsonl"):
        width = 0
        for line in _export(reasoner, journal, "markdown").splitlines():
            if not line.startswith("|"):
                width = 0
                continue
            cells = len(re.findall(r"(?<!\\)\|", line))
            width = width or cells
            assert cells == width, line
            checked += 1
    assert checked > 40


def test_typed_text_cannot_become_markup(reasoner: Reasoner, tmp_path: Path) -> None:
    """A note is shown as it was typed: no tag, link, heading, or sign that steers a terminal."""
    left = ("left-open", {"text": NASTY})
    changed = ("changed", {"text": NASTY})
    path = write_job(
        tmp_path, ("noted", {"text": NASTY}), changed, left, opened={"vehicle": NASTY, "tool": NASTY, "engine": NASTY}
    )
    text = _export(reasoner, path, "markdown")
    assert text.count("&lt;img src=x") >= 5
    assert "<" not in re.sub(r"`[^`]*`", "", text)
    assert not re.search(r"(?<!\\)\]\(", text)
    assert not re.search(r"^\s*(- |\d+\. )?# <|^- item", text, re.MULTILINE)
    assert all(sign.isprintable() or sign == "\n" for sign in text)


@pytest.mark.parametrize(
    ("typed", "shown"),
    [
        ("# head", r"\# head"),
        ("- item", r"\- item"),
        ("1. first", r"1\. first"),
        ("12.44 V", "12.44 V"),
        ("a|b", r"a\|b"),
        ("<b>&", "&lt;b&gt;&amp;"),
        ("two\nlines\t here", "two lines here"),
        ("bell\x07", "bell?"),
        (r"back\slash_", r"back\\slash\_"),
    ],
)
def test_inline_escapes_what_markdown_would_take_for_its_own(typed: str, shown: str) -> None:
    """And nothing else: readings must stay readable in the raw text."""
    assert inline(typed) == shown
    assert isinstance(inline(typed), Ready)


def test_a_code_span_cannot_be_left() -> None:
    """Ids come from files that anybody may have written."""
    assert code("flasher-unit.never-opens") == "`flasher-unit.never-opens`"
    assert code("a`b|c") == r"a\`b\|c"
    assert plain("\u202eabc") == "?abc"


# ---------------------------------------------------------------- json and csv


def test_json_holds_the_whole_report_in_hyphened_keys(reasoner: Reasoner) -> None:
    """Other programs read it; OL is the only value that is neither number nor word of ours."""
    found = json.loads(_export(reasoner, TRANSCRIPTS / "low-battery.jsonl", "json"))
    assert found["format"] == 1 and found["done"][0]["remedy"] == "battery.charge"
    assert found["versions"]["knowledge-differs"] is True

    def keys(one: Any) -> list[str]:
        if isinstance(one, dict):
            return [*one, *(key for inner in one.values() for key in keys(inner))]
        return [key for inner in one for key in keys(inner)] if isinstance(one, list) else []

    assert len(keys(found)) > 100 and not [key for key in keys(found) if "_" in key]


def test_json_is_plain_ascii_whatever_was_typed(reasoner: Reasoner, tmp_path: Path) -> None:
    """A control sign in a note must not reach the terminal that shows the file."""
    text = _export(reasoner, write_job(tmp_path, ("noted", {"text": NASTY})), "json")
    assert text.isascii() and "\x1b" not in text
    assert json.loads(text)["items"][0]["text"] == NASTY


def test_csv_has_one_row_an_answer_also_withdrawn_ones(reasoner: Reasoner, tmp_path: Path) -> None:
    """Notes and cautions are not answers; a withdrawn answer is one, and marked."""
    path = write_job(
        tmp_path,
        complaint("horn-silent"),
        ("noted", {"text": "a note"}),
        horn_sounds("click"),
        ("undone", {"target": 4}),
        horn_sounds("none"),
    )
    rows = _rows(_export(reasoner, path, "csv"))
    assert [(row["number"], row["status"]) for row in rows] == [
        ("2", "standing"),
        ("4", "withdrawn"),
        ("6", "standing"),
    ]
    assert tuple(rows[0]) == COLUMNS
    assert (rows[2]["expected"], rows[2]["found"], rows[2]["as-sound"]) == ("sound", "none", "no")


def test_csv_keeps_readings_as_numbers_with_unit_and_limits(reasoner: Reasoner) -> None:
    """A reading is there to be reckoned with."""
    rows = {row["number"]: row for row in _rows(_export(reasoner, TRANSCRIPTS / "low-battery.jsonl", "csv"))}
    assert (float(rows["5"]["value"]), rows["5"]["unit"], rows["5"]["within-limits"]) == (11.24, "V", "no")
    assert float(rows["5"]["limit-min"]) > 11.24 and rows["5"]["limit-source"]


@pytest.mark.parametrize("lead", ["=", "+", "-", "@", "\t=", "\r=", "\uff1d", "  ="])
def test_csv_text_is_never_a_formula(reasoner: Reasoner, tmp_path: Path, lead: str) -> None:
    """A spreadsheet runs a cell that begins with such a sign when the file is opened."""
    typed = f'{lead}HYPERLINK("http://x","y")'
    odd = ("answered", {"check": typed, "kind": "choose", "operate": {typed: typed}, "target": typed, "value": typed})
    (row,) = _rows(_export(reasoner, write_job(tmp_path, odd), "csv"))
    assert row["value"].startswith("'") and row["check"].startswith("'") and row["found"].startswith("'")
    for found in row.values():
        assert not found.lstrip().startswith(("=", "+", "-", "@", "\uff1d")), found


def test_a_word_that_only_holds_such_a_sign_is_left_alone() -> None:
    """Quotes everywhere would spoil the columns."""
    assert cell("test-lamp = good") == "test-lamp = good"


# ---------------------------------------------------------------- all forms


@pytest.mark.parametrize("form", FORMS)
def test_the_same_job_gives_the_same_text(reasoner: Reasoner, form: Form) -> None:
    """An export is a pure function of journal and knowledge, so two can be compared line by line."""
    path = TRANSCRIPTS / "horn-fuse.jsonl"
    before = path.read_bytes()
    assert _export(reasoner, path, form) == _export(reasoner, path, form)
    assert path.read_bytes() == before and not path.with_name(f"{path.name}.lock").exists()


@pytest.mark.parametrize("form", FORMS)
def test_an_empty_job_can_be_exported(reasoner: Reasoner, tmp_path: Path, form: Form) -> None:
    """Somebody opened it and was called away."""
    text = _export(reasoner, write_job(tmp_path), form)
    begun = {"markdown": "nothing was asked", "json": '"not-begun"', "csv": '"number"', "handover": "nothing was asked"}
    assert begun[form] in text


def test_the_vehicle_is_found_by_the_name_in_the_job(reasoners: Any) -> None:
    """Without a reasoner the log opens the job's own knowledge, by the file it names."""
    path = TRANSCRIPTS / "motorcycle-headlamp-earth.jsonl"
    assert export_job(path, "json", zone=ZONE) == _export(reasoners.whole("demo-motorcycle.yaml"), path, "json")


def test_what_is_no_job_is_refused_with_a_way_out(reasoner: Reasoner, tmp_path: Path) -> None:
    """No traceback reaches a user."""
    with pytest.raises(JournalError, match="found no such file"):
        _export(reasoner, tmp_path / "none.jsonl", "json")
    empty = tmp_path / "empty.jsonl"
    empty.write_text("")
    with pytest.raises(DiagError, match="journal is empty"):
        _export(reasoner, empty, "markdown")
    headless = tmp_path / "headless.jsonl"
    headless.write_text('{"v":1,"seq":1,"at":"2026-04-01T08:00:00Z","event":"noted","text":"x"}\n')
    with pytest.raises(DiagError, match="opened"):
        _export(reasoner, headless, "csv")
    with pytest.raises(DiagError, match="markdown, json, csv"):
        _export(reasoner, TRANSCRIPTS / "belt-off.jsonl", "html")  # type: ignore[arg-type]


def test_a_torn_last_line_is_told(reasoner: Reasoner, tmp_path: Path) -> None:
    """The reader must know that the last answer may be missing."""
    path = write_job(tmp_path, complaint("horn-silent"))
    path.write_bytes(path.read_bytes() + b'{"v":1,"seq":3,')
    text = _export(reasoner, path, "markdown")
    assert "On the file: job.jsonl: the last line was cut short" in text and str(tmp_path) not in text
