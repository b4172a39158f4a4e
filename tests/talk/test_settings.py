"""Settings and manner: what is kept, what beats it, mistakes with their place; letters, big print, progress.

source of all expectations: common practice, no source, where none is named
"""

from __future__ import annotations

import io
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from diag.cli import main
from diag.errors import DiagError
from diag.talk.bigprint import big_lines, big_width, wide
from diag.talk.manner import charset, manner_of, spelt
from diag.talk.pages import _WARNINGS
from diag.talk.progress import progress
from diag.talk.screen import Line, framed, paragraph
from diag.talk.settings import SETTINGS, cleared, kept_settings, put, setting, settings_file


@pytest.fixture(autouse=True)
def _bare(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in (
        "NO_COLOR",
        "PYTHONIOENCODING",
        "PYTHONUTF8",
        "DIAG_VEHICLE",
        *(s.variable for s in SETTINGS.values()),
    ):
        monkeypatch.delenv(name, raising=False)


def write(text: str) -> None:
    settings_file().write_text(text, encoding="utf-8")


def test_the_command_line_beats_the_environment_beats_what_is_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    """Who types an option means it now; who sets a variable means this terminal."""
    assert setting("view").value == "screen" and setting("view").source == "usual"
    put("view", "lines")
    assert manner_of()[0].view == "lines"
    monkeypatch.setenv("DIAG_VIEW", "screen")
    assert manner_of()[0].view == "screen"
    assert manner_of({"view": "lines"})[0].view == "lines"
    monkeypatch.setenv("DIAG_VIEW", "sideways")
    with pytest.raises(DiagError, match="DIAG_VIEW: found `sideways`; expected screen, lines"):
        manner_of()


def test_no_color_of_the_environment_beats_what_is_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    """source: no-color.org: present and not empty means no colour; options and own settings of a program may beat it"""
    put("colours", "dark")
    monkeypatch.setenv("NO_COLOR", "")
    assert manner_of()[0].colours == "dark"
    monkeypatch.setenv("NO_COLOR", "1")
    assert manner_of()[0].colours == "none"
    assert manner_of({"colours": "light"})[0].colours == "light"


def test_mistakes_are_told_with_their_place_and_left_aside() -> None:
    """A slip in a settings file must not stand between anybody and the vehicle."""
    write("view: lines\nprnt: big\ncolours: [red, blue]\npaper: a3\ninstruments:\n  - meter\n  - helper\n")
    kept, problems = kept_settings()
    assert kept == {"view": "lines", "instruments": "meter,helper"}
    places = [(p.place.line, p.place.column, p.code) for p in problems]
    assert places == [(2, 1, "unknown-key"), (3, 10, "wrong-value"), (4, 8, "wrong-value")]
    assert "Did you mean `print`?" in str(problems[0]) and "a4, letter" in str(problems[2])
    manner, told = manner_of()
    assert manner.view == "lines" and len(told) == 3 and all(text.endswith("Left aside.") for text in told)
    result = CliRunner().invoke(main, ["settings"])
    assert (
        result.exit_code == 2 and f"{settings_file()}:2:1:" in result.stderr and "view: lines (kept)" in result.stdout
    )


@pytest.mark.parametrize("text", ["", "# nothing yet\n\n", "- view\n", "view: [\n", "\x00", "lines\n"])
def test_any_file_is_borne(text: str) -> None:
    """Empty, a list, no YAML at all: told or taken, never a crash."""
    write(text)
    kept, problems = kept_settings()
    assert kept == {} and bool(problems) == (not (text == "" or text.startswith("#")))


def test_keeping_one_leaves_the_other_lines_to_the_letter() -> None:
    """A person's own remarks in the file are theirs."""
    write("# mine\nview: screen   # for now\n# of the shop\npaper: letter\ninstruments:\n  - meter\n")
    put("view", "lines")
    put("aloud", "off")
    put("instruments", "meter, helper")
    text = settings_file().read_text(encoding="utf-8")
    assert text == "# mine\nview: lines\n# of the shop\npaper: letter\ninstruments: meter,helper\naloud: 'off'\n"
    cleared("paper")
    assert kept_settings() == ({"view": "lines", "aloud": "off", "instruments": "meter,helper"}, [])


def test_the_verb_shows_keeps_and_refuses(tmp_path: Path) -> None:
    """What it may be stands beside it; a vehicle that is not there is noticed now and not at the vehicle."""
    run = lambda *words: CliRunner().invoke(main, ["settings", *words])  # noqa: E731
    assert "print: usual (the usual)" in run().stdout
    assert run("print", "big").exit_code == 0 and "print: big (kept)" in run("print").stdout
    for words in (("print", "giant"), ("colour", "none"), ("vehicle", str(tmp_path / "none.yaml")), ("nothing",)):
        refused = run(*words)
        assert refused.exit_code == 2 and "found" in refused.stderr.casefold() and "expected" in refused.stderr
    assert run("--clear", "print").exit_code == 0 and "print: usual" in run("print").stdout
    bad = CliRunner().invoke(main, ["start", "--print", "giant"])
    assert bad.exit_code == 2 and "expected usual, big" in bad.stderr


@pytest.mark.parametrize(
    ("locale", "letters"),
    [("C", "ascii"), ("POSIX", "ascii"), ("C.UTF-8", "utf-8"), ("de_DE.UTF-8", "utf-8"),
     ("de_DE.ISO-8859-1@euro", "iso8859-1"), ("xx_XX.no-such", "ascii")],
)  # fmt: skip
def test_the_terminals_letters_follow_the_locale(monkeypatch: pytest.MonkeyPatch, locale: str, letters: str) -> None:
    """source: POSIX.1-2024, XBD 8.2: LC_ALL beats LC_CTYPE beats LANG"""
    monkeypatch.setattr(sys, "platform", "linux")
    monkeypatch.setenv("LANG", "C.UTF-8")
    monkeypatch.setenv("LC_ALL", locale)
    assert charset() == letters
    monkeypatch.delenv("LC_ALL")
    monkeypatch.delenv("LC_CTYPE", raising=False)
    assert charset() == "utf-8"


def test_a_locale_that_python_put_in_place_of_c_says_nothing_of_the_terminal() -> None:
    """source: PEP 538: with LANG=C, Python sets LC_CTYPE to C.UTF-8 for itself"""
    code = "from diag.talk.manner import charset; print(charset())"
    told = []
    for more in ({"LANG": "C"}, {"LANG": "C", "LC_CTYPE": "C.UTF-8"}, {}):
        env = {"PATH": os.environ["PATH"], "PYTHONPATH": str(Path(__file__).parents[2]), **more}
        told.append(
            subprocess.run([sys.executable, "-c", code], env=env, capture_output=True, text=True).stdout.strip()
        )
    assert told == (["ascii", "utf-8", "ascii"] if sys.platform == "linux" else ["utf-8"] * 3)


def test_letters_that_are_not_there_are_spelt() -> None:
    """A question mark in place of a unit would be a riddle."""
    text = "M\u00fcller \u2026 0.4 \u03a9, 5 \u00b5A, 20 \u00b0C \u2192 \u65e5"
    assert spelt(text, "ascii") == "Muller ... 0.4 ohm, 5 uA, 20 degC -> ?"
    assert spelt(text, "latin-1") == "M\u00fcller ... 0.4 ohm, 5 \u00b5A, 20 \u00b0C -> ?"
    assert spelt(text, "utf-8") == text


@pytest.mark.parametrize("letters", ["utf-8", "ascii"])
@pytest.mark.parametrize("columns", [34, 40, 80, 100])
def test_big_print_fits_and_says_all(columns: int, letters: str) -> None:
    """source: Unicode Standard Annex 11: the wide forms take two columns each"""
    from prompt_toolkit.utils import get_cwidth

    width = big_width(columns)
    page = [*framed("Keep clear of the fan.", width), *paragraph("Watch: Rear left turn lamp.", width, style="strong")]
    page += paragraph(
        "Renew the sender", width, "##........  22 %  ", indent=4, said="about 22 percent: Renew the sender"
    )
    page += [Line("1 dark"), Line("2 normal steady"), *paragraph("hidden under the carpet, left", width, "3 ")]
    shown = big_lines(page, width, letters)
    assert max(get_cwidth(line.text) for line in shown) <= columns
    flat = " ".join("".join(line.text for line in shown).split())
    for word in ("Watch:", "[1]", "[2]", "[3]", "carpet,", "percent:", "Renew", "sender"):
        assert wide(word, letters).strip() in flat
    assert any(not line.text.strip() for line in shown)


def _luminance(colour: str) -> float:
    """source: WCAG 2.1, relative luminance"""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


@pytest.mark.parametrize(("colours", "ground"), [("light", "#ffffff"), ("dark", "#000000"), ("auto", "")])
def test_a_cautions_colour_is_read_on_its_ground(colours: str, ground: str) -> None:
    """source: WCAG 2.1, success criterion 1.4.6: a contrast of 7 to 1"""
    letter, own = re.search(r"fg:(\S+)(?: bg:(\S+))?", _WARNINGS[colours]).groups()  # type: ignore[union-attr]
    bright, dim = sorted((_luminance(letter), _luminance(own or ground)), reverse=True)
    assert (bright + 0.05) / (dim + 0.05) >= 7


class _Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


@pytest.mark.parametrize(("term", "lines"), [("dumb", False), ("xterm", True)])
def test_progress_without_drawing_is_a_line_now_and_then(
    monkeypatch: pytest.MonkeyPatch, term: str, lines: bool
) -> None:
    """A bar that is drawn again and again is read out again and again."""
    out = _Terminal()
    monkeypatch.setattr(sys, "stderr", out)
    monkeypatch.setenv("TERM", term)
    with progress("Working:", lines) as tell:
        for step in range(1001):
            tell(step / 1000)
    assert out.getvalue().splitlines() == ["Working:", *(f"{n} percent" for n in range(10, 101, 10))]
    assert "\r" not in out.getvalue() and os.environ["TERM"] == term


def test_progress_away_from_a_terminal_is_one_line(monkeypatch: pytest.MonkeyPatch) -> None:
    """A log full of percents helps nobody."""
    out = io.StringIO()
    monkeypatch.setattr(sys, "stderr", out)
    with progress("Working:") as tell:
        tell(0.2)
        tell(1.0)
    assert out.getvalue() == "Working:\n"
    with progress("Not begun:"):
        pass
    assert "Not begun" not in out.getvalue()
