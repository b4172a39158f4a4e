"""The PDF: through a browser that is there, on A4 and on US Letter, with nothing cut; a clear word where none is.

source of all expectations: common practice, no source; sizes of paper: ISO 216 (A4) and ANSI/ASME Y14.1 (A, Letter)
"""

from __future__ import annotations

import re
import shutil
import stat
import subprocess
from html import unescape
from pathlib import Path

import pytest
from click.testing import CliRunner

from diag.cli import main
from diag.errors import DiagError
from diag.log.export import open_job
from diag.paper.browser import BROWSER, find_browser, print_pdf
from diag.paper.layout import PAPERS, Paper
from diag.paper.page import as_html
from diag.reason.reasoner import Reasoner
from tests.log.jobs import TRANSCRIPTS, ZONE, complaint, horn_sounds, write_job
from tests.paper.pages import Page

POINTS = {"a4": (595.0, 842.0), "letter": (612.0, 792.0)}
LONG = "Q" * 480
"""A word that no line can hold; no other word has its letter."""


def _there() -> bool:
    try:
        find_browser()
    except DiagError:
        return False
    return True


browser = pytest.mark.skipif(not _there(), reason="no Chromium browser on this machine")
poppler = pytest.mark.skipif(shutil.which("pdftotext") is None, reason="no pdftotext to read a PDF with")


@pytest.fixture(scope="module")
def pages(reasoner: Reasoner, tmp_path_factory: pytest.TempPathFactory) -> dict[Paper, str]:
    """A job with a large drawing, tables, and words without an end, for both sizes of paper."""
    text = (TRANSCRIPTS / "double-fault.jsonl").read_text(encoding="utf-8")
    last = text.rstrip().splitlines()[-1]
    seq = int(re.search(r'"seq": ?(\d+)', last)[1])  # type: ignore[index]
    note = f'{{"v": 1, "seq": {seq + 1}, "at": "2026-03-11T10:30:00Z", "event": "noted", "text": "{LONG}"}}'
    path = tmp_path_factory.mktemp("job") / "double.jsonl"
    path.write_text(f"{text.rstrip()}\n{note}\n", encoding="utf-8")
    opened = open_job(path, reasoner=reasoner, zone=ZONE)
    return {paper: as_html(*opened, paper) for paper in PAPERS}


def _read(pdf: bytes, folder: Path, *options: str) -> str:
    file = folder / "read.pdf"
    file.write_bytes(pdf)
    ran = subprocess.run(["pdftotext", *options, str(file), "-"], capture_output=True, check=True)
    return ran.stdout.decode("utf-8")


@browser
@poppler
@pytest.mark.parametrize("paper", PAPERS)
def test_nothing_is_cut_on_either_paper(pages: dict[Paper, str], paper: Paper, tmp_path: Path) -> None:
    """Every word of log and drawings is on the sheet, inside the margins that printers need."""
    page = Page(pages[paper])
    pdf = print_pdf(page.html, "2026-03-11T10:30:00Z")
    boxes = _read(pdf, tmp_path, "-bbox")
    sheets = re.findall(r'<page width="([\d.]+)" height="([\d.]+)">(.*?)</page>', boxes, re.DOTALL)
    assert 8 < len(sheets) < 20
    wide, high = POINTS[paper]
    margin = 10 / 25.4 * 72
    words: list[str] = []
    for width, height, body in sheets:
        assert abs(float(width) - wide) < 1 and abs(float(height) - high) < 1
        found = re.findall(r'<word xMin="([-\d.]+)" yMin="([-\d.]+)" xMax="([-\d.]+)" yMax="([-\d.]+)">([^<]*)', body)
        assert len(found) > 8
        for left, top, right, foot, word in found:
            words.append(unescape(word))
            assert float(left) >= margin and float(right) <= wide - margin, (word, left, right)
            assert float(top) >= 0 and float(foot) <= high, (word, top, foot)
    printed = "".join(words)
    assert printed.count("Q") == len(LONG)
    hidden = (*page.all("nav"), *(one for one in page.all("style", "title")))
    wanted = set(page.text.split()) - {word for one in hidden for word in one.text.split()} - {LONG}
    assert len(wanted) > 400
    missing = {word for word in wanted if word not in printed}
    assert not missing


@browser
def test_the_same_page_prints_the_same_bytes_and_bears_the_time_of_the_job(pages: dict[Paper, str]) -> None:
    """Two prints of one log can be compared; the clock of the machine says nothing of the job."""
    one, other = (print_pdf("<!DOCTYPE html><title>x</title><p>once</p>", "2026-03-11T10:30:05Z") for _ in range(2))
    assert one == other and one.startswith(b"%PDF-")
    dates = re.findall(rb"\((D:\d+)", one)
    assert dates and set(dates) == {b"D:20260311103005"}


@browser
def test_the_owners_sheet_becomes_a_pdf_by_its_name(
    reasoner: Reasoner, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A name that ends in .pdf says what is wanted."""
    monkeypatch.setattr("diag.log.export.reasoner_for", lambda *_, **__: reasoner)
    job = write_job(tmp_path, complaint("horn-silent"), horn_sounds("none"))
    for name, begins in (("owner.pdf", b"%PDF-"), ("owner.html", b"<!DOCTYPE html>")):
        out = tmp_path / name
        ran = CliRunner().invoke(main, ["export", str(job), "--as", "owner", "--paper", "letter", "--out", str(out)])
        assert ran.exit_code == 0, ran.output
        assert out.read_bytes().startswith(begins)


# ---------------------------------------------------------------- where there is none, or it fails


def test_no_browser_is_said_with_what_to_do_instead(tmp_path: Path) -> None:
    """The page prints from any browser; that is the way out, and it is told."""
    with pytest.raises(DiagError) as caught:
        find_browser({"PATH": str(tmp_path)})
    said = str(caught.value)
    assert "No browser was found" in said and "--as html" in said and BROWSER in said and "A4 and US Letter" in said


def test_a_browser_that_is_named_and_not_there_is_told_by_its_name(tmp_path: Path) -> None:
    """Nobody looks for a slip in a variable set long ago."""
    with pytest.raises(DiagError, match="no-such-browser"):
        find_browser({"PATH": str(tmp_path), BROWSER: "no-such-browser"})


def _program(folder: Path, name: str, script: str) -> str:
    path = folder / name
    path.write_text(f"#!/bin/sh\n{script}\n", encoding="utf-8")
    path.chmod(path.stat().st_mode | stat.S_IXUSR)
    return str(path)


def test_a_browser_is_found_by_name_on_the_path(tmp_path: Path) -> None:
    """The first of the names that is there; one named by the user goes before all."""
    found = _program(tmp_path, "chromium", "exit 0")
    own = _program(tmp_path, "my-own", "exit 0")
    assert find_browser({"PATH": str(tmp_path)}) == found
    assert find_browser({"PATH": str(tmp_path), BROWSER: own}) == own


@pytest.mark.parametrize("script", ["echo 'no display' >&2; exit 1", "exit 0"])
def test_a_browser_that_prints_nothing_is_an_error_with_its_own_words(tmp_path: Path, script: str) -> None:
    """An empty file in the owner's hands would be found too late."""
    with pytest.raises(DiagError) as caught:
        print_pdf("<p>x</p>", "2026-03-11T10:30:00Z", _program(tmp_path, "chromium", script))
    said = str(caught.value)
    assert "did not print" in said and "--as html" in said
    assert ("no display" in said) == ("display" in script)


def test_the_browser_is_run_apart_from_the_users_own(tmp_path: Path) -> None:
    """No profile, no network services, no window."""
    program = _program(tmp_path, "chromium", f'for a in "$@"; do echo "$a"; done > {tmp_path}/args')
    with pytest.raises(DiagError):
        print_pdf("<p>x</p>", "2026-03-11T10:30:00Z", program)
    given = (tmp_path / "args").read_text(encoding="utf-8").split()
    assert {"--headless", "--disable-background-networking", "--disable-sync", "--no-first-run"} <= set(given)
    (profile,) = [a for a in given if a.startswith("--user-data-dir=")]
    assert "diag-print-" in profile and not Path(profile.partition("=")[2]).exists()
    assert given[-1].startswith("file:///")


# ---------------------------------------------------------------- the verb


def test_the_verb_writes_every_form(reasoner: Reasoner, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """To the screen, or to a file with a word that it is there."""
    monkeypatch.setattr("diag.log.export.reasoner_for", lambda *_, **__: reasoner)
    job = write_job(tmp_path, complaint("horn-silent"), horn_sounds("none"))
    begins = {
        "html": "<!DOCTYPE html>",
        "owner": "<!DOCTYPE html>",
        "parts": "# Parts:",
        "handover": "# Handover:",
        "markdown": "# Job log:",
        "json": "{",
        "csv": '"number"',
    }
    for form, first in begins.items():
        out = tmp_path / f"log.{form}"
        written = CliRunner().invoke(main, ["export", str(job), "--as", form, "--out", str(out)])
        assert written.output == f"Written: {out}\n", form
        assert out.read_bytes().decode("utf-8").startswith(first), form
    shown = CliRunner().invoke(main, ["export", str(job), "--as", "html"])
    assert shown.exit_code == 0 and shown.stdout_bytes == (tmp_path / "log.html").read_bytes()


def test_a_pdf_without_a_browser_fails_before_any_work_with_one_message(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nobody waits a minute for a refusal."""
    monkeypatch.setenv(BROWSER, "no-such-browser")
    monkeypatch.setattr("diag.log.export.reasoner_for", lambda *_, **__: pytest.fail("work was begun"))
    job = write_job(tmp_path, complaint("horn-silent"))
    out = tmp_path / "log.pdf"
    ran = CliRunner().invoke(main, ["export", str(job), "--as", "pdf", "--out", str(out)])
    assert ran.exit_code != 0 and "no-such-browser" in ran.output and "--as html" in ran.output
    assert not out.exists() and "Traceback" not in ran.output
