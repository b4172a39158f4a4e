"""The page of a job: complete, harmless whatever was typed, readable by everybody, the same every time.

source of all expectations: common practice, no source; where a standard is meant, it is named at the test
"""

from __future__ import annotations

import base64
import hashlib
import re
from dataclasses import fields, is_dataclass
from pathlib import Path
from typing import Any

import pytest

from diag.circuit.predict import Predictor
from diag.log.export import open_job
from diag.log.replayed import Replayed
from diag.log.report import Report
from diag.log.words import strongest
from diag.paper.export import FORMS, Form, paper_bytes
from diag.paper.layout import PAPERS
from diag.paper.page import as_html
from diag.reason.engine import default_matcher
from diag.reason.operates import step_operates
from diag.reason.reasoner import Reasoner
from tests.knowledge.small import write_small
from tests.log.jobs import TRANSCRIPTS, ZONE, complaint, horn_sounds, write_job
from tests.paper.pages import Page, words

NASTY = "</style></title><script>alert(1)</script><img src=x onerror=alert(1)> \" ' & ]]> --> \x1b[31m\u202e {{ 7*7 }}"
SHOWN = "</style></title><script>alert(1)</script><img src=x onerror=alert(1)> \" ' & ]]> --> ?[31m? {{ 7*7 }}"
ADDRESS = re.compile(r"""(?:https?:)?//[a-z0-9]|url\(|@import|javascript:|data:""", re.IGNORECASE)
Opened = tuple[Replayed, Report]


@pytest.fixture(scope="module")
def page(double: Opened) -> Page:
    """Its page."""
    return Page(as_html(*double))


@pytest.fixture(scope="module")
def hostile(tmp_path_factory: pytest.TempPathFactory) -> Reasoner:
    """A small vehicle whose titles are written to break a page."""
    folder = tmp_path_factory.mktemp("hostile")
    bad = "'</svg><script>alert(2)</script><b onclick=x>&amp; \"lamp\"'"
    changes = {
        "circuits/lamp.yaml": [
            ("title: Work lamp,", f"title: {bad},"),
            ("title: Work lamp\n", f"title: {bad}\n"),
            ("title: Work lamp with the key on", f"title: {bad}"),
            ("because: Volts at its feed leave only the lamp and its earth.", f"because: {bad}"),
            ("title: Renew the work lamp", f"title: {bad}"),
            ("steps: [fit a new lamp]", f"steps: [{bad}]"),
            ("title: The work lamp does not light", f"title: {bad}"),
        ],
        "vehicles/small.yaml": [("title: A small invented vehicle", f"title: {bad}")],
    }
    small = write_small(folder)
    for name, pairs in changes.items():
        text = (small.rules / name).read_text(encoding="utf-8")
        for old, new in pairs:
            assert old in text, old
            text = text.replace(old, new)
        (small.rules / name).write_text(text, encoding="utf-8")
    knowledge = small.load()
    return Reasoner(knowledge, Predictor(knowledge, step_operates(knowledge)), default_matcher())


# ---------------------------------------------------------------- complete


def test_the_first_section_counts_and_names_what_was_found_done_proved_and_open(page: Page) -> None:
    """Whoever reads one page only has to know how it ended."""
    first = page.section("Summary")
    for count in ("2 found", "2 done", "2 proved of 2", "0 open"):
        assert count in first
    assert "Turn lamps lit steadily" in first and "unit makes contact and never opens" in first
    assert "Oil tell-tale to the sender (blue/green)" in first and "answers 11 to 14" in first
    assert "11 March 2026 11:39 XST (UTC+02:00)" in first and "11 March 2026 09:39 UTC" in first
    assert "knowledge hand-written" in first and "not the one the job began with" in first


def test_an_unproved_and_unfinished_job_says_so_first(reasoner: Reasoner, tmp_path: Path) -> None:
    """A summary that hides what is open sends a vehicle out that is not done."""
    path = write_job(tmp_path, complaint("horn-silent"), ("remedied", {"remedy": "fuse-horn.renew"}))
    first = Page(as_html(*open_job(path, reasoner=reasoner, zone=ZONE))).section("Summary")
    assert "1 done" in first and "0 proved of 1" in first and "Not proved: no check was made" in first
    assert "0 open" not in first and "not proved, no check was made after it: Renew" in first


def _texts(found: Any) -> list[str]:
    if is_dataclass(found) and not isinstance(found, type):
        return [text for field in fields(found) for text in _texts(getattr(found, field.name))]
    if isinstance(found, tuple | list):
        return [text for one in found for text in _texts(one)]
    return [found] if isinstance(found, str) and found else []


def test_the_page_holds_everything_that_the_markdown_log_tells(double: Opened, page: Page) -> None:
    """Two logs of one job that differ in what they hold would make either of them suspect."""
    lived, report = double
    held = [
        *((item.instruction, item.expected, item.found, item.text) for item in report.items),
        *((work.title, work.steps, work.cautions, work.unproved) for work in report.done),
        *((c.title, c.id) for stage in report.stages for one in stage.candidates for c in one.causes),
        *(one.title for stage in report.stages for one in stage.candidates),
        *((out.title, out.words) for stage in report.stages for out in stage.ruled_out),
        *((f.rule.id, f.rule.because, f.rule.source, f.rests_on, f.concludes) for s in report.stages for f in s.rules),
        *(row.finding for row in report.trail.rows),
        *(chance.percent for row in report.trail.rows for chance in row.chances),
        *(
            (line.finding, line.words, line.predicted, line.healthy)
            for stage in report.stages
            for one in stage.candidates
            for line in strongest(stage, one.id)
        ),
        (report.versions.tool, report.versions.engine, report.versions.knowledge, report.versions.changes),
        (report.versions.tool_now, report.versions.engine_now, report.versions.knowledge_now),
        [layer.called for layer in report.versions.layers_now],
        report.open_items,
        report.vehicle.alterations,
    ]
    told = [words(text) for text in _texts(held)]
    assert len(told) > 300
    for text in told:
        assert text in page.text, text


def test_an_answer_put_right_is_struck_out_and_told(reasoner: Reasoner, tmp_path: Path) -> None:
    """What was withdrawn stays to be seen, and counts for nothing."""
    path = write_job(tmp_path, complaint("horn-silent"), horn_sounds("weak"), horn_sounds("none", replaces=3))
    page = Page(as_html(*open_job(path, reasoner=reasoner, zone=ZONE)))
    assert [element.text for element in page.all("del")] == ["weak"]
    assert "corrected by record 4" in page.text and "corrects answer 3" in page.text


def test_readings_stand_against_their_limits(page: Page) -> None:
    """In words, for a colour alone is lost on paper and on one reader in twelve."""
    readings = page.section("Readings against limits")
    assert "17 Sender side of the oil tell-tale 12.44 V 0.02 V at most 0.3 V" in readings
    assert "OUTSIDE, not as on a healthy vehicle" in readings and "within" in readings


def test_a_job_that_has_not_begun_and_one_without_wiring_have_a_page(
    reasoner: Reasoner, rules_alone: Reasoner, tmp_path: Path
) -> None:
    """Nothing to draw or to plot is no reason to fail."""
    page = Page(as_html(*open_job(write_job(tmp_path), reasoner=reasoner, zone=ZONE)))
    assert "nothing was asked or answered yet" in page.text and not page.all("svg")
    bare = Page(as_html(*open_job(TRANSCRIPTS / "horn-fuse.jsonl", reasoner=rules_alone, zone=ZONE)))
    assert "loom of this vehicle is not described" in bare.text
    assert not [svg for svg in bare.all("svg") if svg.attributes.get("id", "").startswith("drawing")]


# ---------------------------------------------------------------- harmless


def _is_harmless(page: Page) -> None:
    allowed = {"html", "head", "meta", "title", "style", "body", "main", "section", "nav", "footer", "figure"}
    allowed |= {"figcaption", "div", "p", "span", "h1", "h2", "h3", "h4", "ul", "ol", "li", "dl", "dt", "dd", "b", "a"}
    allowed |= {"del", "details", "summary", "table", "caption", "colgroup", "col", "thead", "tbody", "tr", "th", "td"}
    allowed |= {"svg", "g", "path", "rect", "line", "circle", "text", "use", "defs"}
    for element in page.elements:
        assert element.tag in allowed, element.tag
        for name, value in element.attributes.items():
            assert not name.startswith("on") and name not in ("style", "src", "srcset", "action", "formaction"), element
            if name in ("href", "xlink:href"):
                assert value.startswith("#"), element
            if not name.startswith("xmlns") and name not in ("content", "aria-label"):
                assert not ADDRESS.search(value), element
    (style,) = page.all("style")
    assert not ADDRESS.search(style.text)


def test_nothing_in_the_page_runs_or_calls_outside(page: Page) -> None:
    """A log goes by mail to strangers and is opened where there is no network."""
    _is_harmless(page)


@pytest.mark.parametrize("paper", [None, *PAPERS])
def test_the_policy_allows_this_one_style_and_nothing_else(reasoner: Reasoner, tmp_path: Path, paper: Any) -> None:
    """Content Security Policy level 3 (W3C): the hash is SHA-256 of the style's own bytes, in base64.

    source: W3C, Content Security Policy Level 3, section 2.3.1 and 6.6.2
    """
    page = Page(as_html(*open_job(write_job(tmp_path), reasoner=reasoner, zone=ZONE), paper))
    (policy,) = [m.attributes["content"] for m in page.all("meta") if "http-equiv" in m.attributes]
    style = re.search(r"<style>(.*?)</style>", page.html, re.DOTALL)
    assert style is not None
    digest = base64.b64encode(hashlib.sha256(style[1].encode()).digest()).decode()
    assert policy.startswith("default-src 'none'; ") and f"style-src 'sha256-{digest}'" in policy
    assert "unsafe" not in policy and "script-src" not in policy
    assert (f"size: {'A4' if paper == 'a4' else 'letter'}" in style[1]) == (paper is not None)


def test_hostile_words_of_a_person_are_shown_as_typed(reasoner: Reasoner, tmp_path: Path) -> None:
    """A note may hold anything that a keyboard gives."""
    odd = ("answered", {"check": NASTY, "kind": "look", "operate": {NASTY: NASTY}, "target": NASTY, "value": NASTY})
    path = write_job(
        tmp_path,
        complaint("horn-silent"),
        ("noted", {"text": NASTY}),
        odd,
        horn_sounds("none"),
        ("changed", {"text": NASTY}),
        ("left-open", {"text": NASTY}),
        horn_sounds("none"),
        opened={"tool": NASTY, "engine": NASTY, "knowledge": NASTY},
    )
    forms: tuple[Form, ...] = ("html", "owner")
    for form in forms:
        page = Page(paper_bytes(path, form, reasoner=reasoner, zone=ZONE).decode())
        _is_harmless(page)
        assert SHOWN in page.text


def test_hostile_titles_of_a_vehicle_stay_words_in_page_and_drawing(hostile: Reasoner, tmp_path: Path) -> None:
    """A vehicle's file comes from a stranger; its words go into drawings too."""
    dark = {"check": "lamp-on", "kind": "look", "operate": {"ignition": "on"}, "target": "work-lamp"}
    volts = {"check": "lamp-volts", "kind": "measure", "operate": {"ignition": "on"}, "red": "work-lamp.55"}
    path = write_job(
        tmp_path,
        complaint("lamp-dead"),
        ("answered", {**dark, "value": {"light": "dark", "rhythm": "none"}}),
        ("answered", {**volts, "black": "body", "unit": "V", "value": 12.3}),
        ("remedied", {"remedy": "lamp-renew"}),
        ("answered", {**dark, "value": {"light": "normal", "rhythm": "steady"}}),
    )
    lived, report = open_job(path, reasoner=hostile, zone=ZONE)
    page = Page(as_html(lived, report))
    _is_harmless(page)
    assert "<script>alert(2)</script><b onclick=x>" in page.text
    (drawing,) = [svg for svg in page.all("svg") if svg.attributes.get("id") == "drawing-lamp"]
    assert "onclick" in drawing.text and "FAULT 1" in drawing.text


# ---------------------------------------------------------------- for everybody


def test_headings_come_in_order_under_one_title(page: Page) -> None:
    """A screen reader walks by headings; a level left out is a door without a room.

    source: W3C, Web Content Accessibility Guidelines 2.2, success criteria 1.3.1 and 2.4.6, technique H42
    """
    levels = [int(element.tag[1]) for element in page.all("h1", "h2", "h3", "h4")]
    assert levels[0] == 1 and levels.count(1) == 1
    assert all(b <= a + 1 for a, b in zip(levels, levels[1:], strict=False))
    assert page.all("html")[0].attributes["lang"] == "en" and len(page.all("main")) == 1


def test_tables_drawings_and_links_say_what_they_are(page: Page) -> None:
    """source: W3C, Web Content Accessibility Guidelines 2.2, success criteria 1.1.1, 1.3.1 and 2.1.1"""
    ids = [element.attributes["id"] for element in page.elements if "id" in element.attributes]
    assert len(ids) == len(set(ids))
    for element in page.all("a"):
        assert element.attributes["href"].removeprefix("#") in ids
    for element in page.all("section"):
        assert element.attributes["aria-labelledby"] in ids
    for element in page.all("th"):
        assert element.attributes["scope"] in ("col", "row")
    assert len(page.all("thead")) == len(page.all("table")) > 5
    named = {id(title.within[-1]): title.text for title in page.all("title") if title.within[-1].tag == "svg"}
    for svg in page.all("svg"):
        assert svg.hidden or (svg.attributes["role"] == "img" and len(named[id(svg)]) > 10), svg.attributes
    for element in page.elements:
        if "scroll" in element.attributes.get("class", "").split():  # to be scrolled by keys too
            assert element.attributes["tabindex"] == "0" and element.attributes["aria-label"]


def _luminance(colour: str) -> float:
    full = "".join(c * 2 for c in colour[1:]) if len(colour) == 4 else colour[1:]
    parts = [int(full[i : i + 2], 16) / 255 for i in (0, 2, 4)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def _contrast(one: str, other: str) -> float:
    high, low = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_light_dark_and_print_have_contrast_enough(page: Page) -> None:
    """Text 4.5 to 1 on page and on marked rows, lines of the plot 3 to 1.

    source: W3C, Web Content Accessibility Guidelines 2.2, success criteria 1.4.3 and 1.4.11
    """
    style = page.all("style")[0].text
    blocks = re.findall(r":root \{([^}]*)\}", style)
    assert len(blocks) == 3  # light, dark, print
    for block in blocks:
        colour = dict(re.findall(r"--([\w-]+): (#[0-9a-f]{3,6})\b", block))
        for ink in ("ink", "soft", "link"):
            for under in ("paper", "odd"):
                assert _contrast(colour[ink], colour[under]) >= 4.5, (ink, under, block)
        for line in [f"s{i}" for i in range(7)] + ["rule"]:
            assert _contrast(colour[line], colour["paper"]) >= 3, (line, block)


# ---------------------------------------------------------------- the same every time


def test_the_same_job_gives_the_same_bytes(reasoner: Reasoner) -> None:
    """A log that changes by itself cannot be compared with the one that was handed over."""
    one, other = (paper_bytes(TRANSCRIPTS / "horn-fuse.jsonl", "html", reasoner=reasoner, zone=ZONE) for _ in range(2))
    assert one == other and b"drawing-horn" in one


def test_a_form_that_there_is_not_is_refused_by_name(reasoner: Reasoner) -> None:
    """With those that there are."""
    from diag.errors import DiagError

    wrong: Form = "papyrus"  # type: ignore[assignment]
    with pytest.raises(DiagError) as caught:
        paper_bytes(TRANSCRIPTS / "horn-fuse.jsonl", wrong, reasoner=reasoner)
    assert "papyrus" in str(caught.value) and all(form in str(caught.value) for form in FORMS)
