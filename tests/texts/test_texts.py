"""A text is looked up, then filled; a catalogue that says something else than the English may says nothing at all.

source of all expectations: common practice, no source
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
from babel.messages.catalog import Catalog
from babel.messages.mofile import write_mo

from diag import texts

FUSE = "The fuse {name} is blown."
LOST = "{lost:.2f} V lost in {length:g} m"
HOSTILE = {
    "an attribute": "Die Sicherung {name.__class__}.",
    "an entry": "Die Sicherung {name[0]}.",
    "a place": "Die Sicherung {0}.",
    "a field inside a format": "Die Sicherung {name:{name}}.",
    "a format of its own": "Die Sicherung {name:999999999}.",
    "a conversion of its own": "Die Sicherung {name!r}.",
    "an unknown field": "Die Sicherung {name} {number}.",
    "no field": "Die Sicherung.",
    "an open brace": "Die Sicherung {name.",
}


@pytest.fixture
def anew(monkeypatch: pytest.MonkeyPatch) -> pytest.MonkeyPatch:
    """As in a new process: nothing looked up yet."""
    monkeypatch.setattr(texts, "_CATALOGUE", texts._Catalogue())
    monkeypatch.setattr(texts, "_SAID", texts._Said())
    monkeypatch.setattr(texts, "_COUNTED", texts._Counted())
    monkeypatch.setenv("DIAG_LANGUAGE", "de")
    return monkeypatch


def put(folder: Path, said: dict[str | tuple[str, str], str | tuple[str, ...]], language: str = "de") -> None:
    """A catalogue in a folder of catalogues."""
    made = Catalog(language)
    for message, text in said.items():
        made.add(message, text)
    file = folder / language / "LC_MESSAGES" / "diag.mo"
    file.parent.mkdir(parents=True, exist_ok=True)
    with file.open("wb") as out:
        write_mo(out, made)


@pytest.fixture
def home(tmp_path: Path, anew: pytest.MonkeyPatch) -> Path:
    """The user's own folder of catalogues."""
    anew.setenv("DIAG_HOME", str(tmp_path))
    return tmp_path / "locale"


def test_without_a_catalogue_the_english_stands(home: Path) -> None:
    assert texts.t(FUSE, name="F3") == "The fuse F3 is blown."
    assert texts.t("{not a field}") == "{not a field}"
    assert texts.tn("{n} answer", "{n} answers", 1) == "1 answer"
    assert texts.tn("{n} answer in {where}", "{n} answers in {where}", 0, where="all") == "0 answers in all"
    assert texts.speaks() == ""


def test_a_catalogue_says_it_with_the_formats_of_the_english(home: Path) -> None:
    put(home, {FUSE: "Sicherung {name} ist durchgebrannt.", LOST: "auf {length:g} m gehen {lost:.2f} V verloren"})
    assert texts.t(FUSE, name="F3") == "Sicherung F3 ist durchgebrannt."
    assert texts.t(LOST, lost=0.4999, length=3.0) == "auf 3 m gehen 0.50 V verloren"
    assert texts.t("Not in it.") == "Not in it."
    assert texts.speaks() == "de"


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE)
def test_a_catalogue_cannot_reach_into_what_is_filled_in(home: Path, text: str) -> None:
    """Catalogues come from strangers, and `format` follows attributes: such a text is left aside."""
    put(home, {FUSE: text})
    assert texts.t(FUSE, name="F3") == "The fuse F3 is blown."


def test_a_field_that_the_english_lacks_is_not_filled_though_it_is_given(home: Path) -> None:
    put(home, {"No fields.": "{given.__class__}"})
    assert texts.t("No fields.", given="x") == "No fields."


@pytest.mark.parametrize(
    ("count", "said"), [(1, "одна запись"), (3, "3 записи"), (5, "5 записей"), (21, "одна запись"), (2.5, "2.5 записи")]
)
def test_number_chooses_among_the_forms_of_the_language(
    home: Path, anew: pytest.MonkeyPatch, count: float, said: str
) -> None:
    """source: the CLDR plural rules of Russian: one, few, many; a form may leave the number out."""
    anew.setenv("DIAG_LANGUAGE", "ru")
    put(home, {("{n} record", "{n} records"): ("одна запись", "{n} записи", "{n} записей")}, "ru")
    assert texts.tn("{n} record", "{n} records", count) == said


def test_forms_with_a_strange_field_are_left_aside(home: Path) -> None:
    put(home, {("{n} record", "{n} records"): ("{n.real} Eintrag", "{n} Einträge")})
    assert texts.tn("{n} record", "{n} records", 1) == "1 record"
    assert texts.tn("{n} record", "{n} records", 2) == "2 Einträge"


def test_the_users_own_catalogue_lies_over_the_shipped_one(
    home: Path, anew: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    anew.setattr(texts, "LOCALES", tmp_path / "shipped")
    put(tmp_path / "shipped", {"one": "eins", "two": "zwei"})
    put(home, {"one": "a"})
    assert (texts.t("one"), texts.t("two")) == ("a", "zwei")


def test_a_catalogue_that_cannot_be_read_leaves_the_english(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    put(home, {})
    file = home / "de" / "LC_MESSAGES" / "diag.mo"
    file.write_bytes(b"no catalogue")
    assert texts.t("one") == "one"
    assert str(file) in capsys.readouterr().err


@pytest.mark.parametrize(
    ("environment", "wished"),
    [
        ({"DIAG_LANGUAGE": "pt_BR"}, ("pt_BR", "pt")),
        ({"LANG": "de_AT.UTF-8"}, ("de_AT", "de")),
        ({"LANG": "sr_RS@latin"}, ("sr_RS", "sr")),
        ({"LANG": "de_DE.UTF-8", "LC_ALL": "C"}, ()),
        ({"LANG": "de_DE.UTF-8", "LC_MESSAGES": "fr_FR"}, ("fr_FR", "fr")),
        ({"LANG": "de_DE", "DIAG_LANGUAGE": "en"}, ()),
        ({"LANGUAGE": "sv:en:de", "LANG": "de_DE"}, ("sv",)),
        ({"LANGUAGE": "", "LANG": "C.UTF-8"}, ()),
        ({"DIAG_LANGUAGE": "../../etc"}, ()),
        ({}, ()),
    ],
)
def test_language_is_that_of_the_environment(
    monkeypatch: pytest.MonkeyPatch, environment: dict[str, str], wished: tuple[str, ...]
) -> None:
    """source: GNU gettext manual, 2.3 'Setting the Locale through Environment Variables', for the order."""
    for name in ("DIAG_LANGUAGE", "LANGUAGE", "LC_ALL", "LC_MESSAGES", "LANG"):
        monkeypatch.delenv(name, raising=False)
    for name, value in environment.items():
        monkeypatch.setenv(name, value)
    assert texts.languages() == wished


def test_english_opens_no_catalogue_at_the_start() -> None:
    """A start in English must cost nothing: neither gettext nor the folders are looked at before a text asks."""
    code = "import sys, diag.texts; diag.texts.t('one'); print('gettext' in sys.modules, 'platformdirs' in sys.modules)"
    found = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert found.stdout.split() == ["False", "False"]
