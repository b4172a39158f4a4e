"""Every text that a person reads goes through here: `t("The fuse {name} is blown.", name=…)`. English is the message
id; a catalogue (gettext, `locale/LANGUAGE/LC_MESSAGES/diag.mo`) is looked for in the user's own folder and beside this
file; without one the English stands. Knows of no room and of no text.

A catalogue may come from a stranger: of its texts only plain fields that the English has too are filled, each with the
English format; any other text is left aside and the English stands. Nothing of a catalogue is ever run or looked up in
an object.
"""

from __future__ import annotations

import os
import string
import sys
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from gettext import GNUTranslations, NullTranslations

__all__ = [
    "DOMAIN",
    "FIELD",
    "LOCALES",
    "before_field",
    "catalogue_folders",
    "languages",
    "same_fields",
    "speaks",
    "t",
    "tn",
]

DOMAIN = "diag"
LOCALES = Path(__file__).resolve().parent / "locale"
"""Catalogues that come with the program, and the template `diag.pot` of all messages."""
FIELD = "\ue000"
"""Stands where a field would be, for whoever must know a text again that was said elsewhere: no text holds it."""
_ENGLISH = ("c", "posix", "en")
_ENVIRONMENT = ("DIAG_LANGUAGE", "LANGUAGE", "LC_ALL", "LC_MESSAGES", "LANG")
_FORMATTER = string.Formatter()


def t(message: str, /, **fields: object) -> str:
    """A text in the language of the process; `{name}` is filled from `fields` after the look-up.

    `message` is the whole English text, never put together beforehand. Without fields it is taken as it stands, braces
    too; with fields a brace is doubled.
    """
    text = _SAID[message]
    return text.format(**fields) if fields else text


def tn(one: str, many: str, n: float, /, **fields: object) -> str:
    """A text that goes by a number: `tn("{n} answer", "{n} answers", count)`; `n` is a field without being given."""
    forms = _COUNTED[one, many]
    text = (one if n == 1 else many) if forms is None else forms(n)
    return text.format(n=n, **fields)


def languages() -> tuple[str, ...]:
    """Languages that are wished for, the best first, as in `("pt_BR", "pt")`; empty where English is.

    DIAG_LANGUAGE, else LANGUAGE, LC_ALL, LC_MESSAGES or LANG, whichever of them is set first.
    """
    wished = next((found for name in _ENVIRONMENT if (found := os.environ.get(name, "").strip())), "")
    out: list[str] = []
    for name in wished.split(":"):
        whole = name.split(".")[0].split("@")[0].replace("-", "_")
        base = whole.split("_")[0].lower()
        if base in _ENGLISH:
            break
        if base.isalpha() and whole.replace("_", "").isalnum():
            out += [part for part in dict.fromkeys((whole, base)) if part not in out]
    return tuple(out)


def catalogue_folders() -> tuple[Path, ...]:
    """Where catalogues are looked for: the user's own `locale` folder first (under DIAG_HOME, or under the platform's
    data folder), then the program's."""
    home = os.environ.get("DIAG_HOME", "").strip()
    if home:
        return Path(home).expanduser() / "locale", LOCALES
    import platformdirs  # only where a language other than English is wished for

    return Path(platformdirs.user_data_dir("diag", appauthor=False)) / "locale", LOCALES


def before_field(said: str, field: str = FIELD) -> str:
    """How a text begins, up to the first field that was filled with `field`."""
    return said.partition(field)[0]


def speaks() -> str:
    """The language whose catalogue is used, or an empty text for English."""
    return _CATALOGUE.language()


def same_fields(text: str, english: Iterable[str], needed: bool = True) -> bool:
    """Whether a catalogue's text may be filled: plain names, each with the conversion and the format that an English
    text gives it; with `needed` also none left out. Never raises."""
    try:
        wanted = {field for one in english for field in _fields(one)}
        found = set(_fields(text))
    except ValueError:  # braces that do not pair
        return False
    plain = all(name.isidentifier() and "{" not in spec for name, _, spec in found)
    return plain and (found == wanted if needed else found <= wanted)


def _fillable(message: str) -> bool:
    """Whether a message has fields at all: an example with braces in it is never filled."""
    try:
        return all(name.isidentifier() for name, _, _ in _fields(message))
    except ValueError:
        return False


def _fields(text: str) -> list[tuple[str, str, str]]:
    """Name, conversion and format of each field; raises ValueError for braces that do not pair."""
    return [
        (name, conversion or "", spec or "") for _, name, spec, conversion in _FORMATTER.parse(text) if name is not None
    ]


class _Catalogue:
    """The catalogues of one language, the user's own before the program's; opened when the first text is said."""

    def __init__(self) -> None:
        self._opened: NullTranslations | None = None
        self._language = ""
        self._looked = False

    def language(self) -> str:
        self.opened()
        return self._language

    def opened(self) -> NullTranslations | None:
        """The catalogue, or None where the English stands."""
        if not self._looked:
            self._looked = True
            for language in languages():
                found = [one for folder in catalogue_folders() if (one := _read(folder, language)) is not None]
                if found:
                    for first, second in zip(found, found[1:], strict=False):
                        first.add_fallback(second)
                    self._opened, self._language = found[0], language
                    break
        return self._opened


def _read(folder: Path, language: str) -> GNUTranslations | None:
    file = folder / language / "LC_MESSAGES" / f"{DOMAIN}.mo"
    if not file.is_file():
        return None
    from gettext import GNUTranslations

    try:
        with file.open("rb") as opened:
            return GNUTranslations(opened)
    except Exception as error:  # whatever is wrong with the file: work must be able to go on
        print(f"{file}: not a catalogue that can be read ({error}). The text is English.", file=sys.stderr)
        return None


class _Said(dict[str, str]):
    """Messages as they are said, each looked up and judged once."""

    def __missing__(self, message: str) -> str:
        catalogue, text = _CATALOGUE.opened(), message
        if catalogue is not None and message:
            found = catalogue.gettext(message)
            plain = "{" not in found and "{" not in message
            text = found if plain or same_fields(found, (message,)) or not _fillable(message) else message
        self[message] = text
        return text


class _Forms:
    """The forms of a message that goes by a number."""

    def __init__(self, catalogue: NullTranslations, one: str, many: str) -> None:
        self._catalogue, self._english = catalogue, (one, many)
        self._judged: dict[str, bool] = {}

    def __call__(self, n: float) -> str:
        one, many = self._english
        whole = int(n) if n % 1 == 0 else 2  # a part of one is told as several, as in English
        try:
            text = self._catalogue.ngettext(one, many, whole)
        except ArithmeticError:  # a formula of the catalogue's own that divides by nothing
            text = ""
        if text not in self._judged:
            self._judged[text] = bool(text) and same_fields(text, self._english, needed=False)
        return text if self._judged[text] else (one if n == 1 else many)


class _Counted(dict[tuple[str, str], "_Forms | None"]):
    """Messages that go by a number, by their two English forms."""

    def __missing__(self, english: tuple[str, str]) -> _Forms | None:
        catalogue = _CATALOGUE.opened()
        self[english] = None if catalogue is None else _Forms(catalogue, *english)
        return self[english]


_CATALOGUE = _Catalogue()
_SAID = _Said()
_COUNTED = _Counted()
