"""How the conversation is shown to this person on this terminal: view, print, voice, colours, letters.

Reads settings and the environment; must not know what is shown.
"""

from __future__ import annotations

import codecs
import os
import sys
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from diag.talk.settings import kept_settings, setting
from diag.texts import t

__all__ = ["Manner", "charset", "is_dumb", "manner_of", "spelt"]


@dataclass(frozen=True)
class Manner:
    """`view`: screen or lines; `big`: print for arm's length; `aloud`: off, on, or a program; `colours`: auto,
    none, light or dark; `letters`: the encoding that the terminal shows."""

    view: str = "screen"
    big: bool = False
    aloud: str = "off"
    colours: str = "auto"
    letters: str = "utf-8"


def manner_of(given: Mapping[str, str | None] | None = None) -> tuple[Manner, list[str]]:
    """What holds now, and what is wrong in the settings file, which is left aside. `given`: from the command line,
    by the name of the setting. Raises DiagError for a word in the environment that it cannot be."""
    said = given or {}
    kept, problems = kept_settings()
    colours = setting("colours", said.get("colours"), kept)
    no_colour = os.environ.get("NO_COLOR") and colours.source in ("kept", "usual")
    manner = Manner(
        setting("view", said.get("view"), kept).value,
        setting("print", said.get("print"), kept).value == "big",
        setting("aloud", said.get("aloud"), kept).value,
        "none" if no_colour else colours.value,
        charset(),
    )
    return manner, [t("{problem} Left aside.", problem=problem) for problem in problems]


def is_dumb() -> bool:
    """Whether the terminal only prints: nothing can be drawn again."""
    return os.environ.get("TERM", "dumb") in ("dumb", "")


def charset() -> str:
    """The encoding that the terminal shows, by what the environment says of it.

    Python itself takes UTF-8 where the locale is C, which a terminal that is set so may not show.
    """
    told = os.environ.get("PYTHONIOENCODING", "").partition(":")[0]
    if told or os.environ.get("PYTHONUTF8") == "1" or sys.platform in ("win32", "darwin"):
        return _known(told or "utf-8")
    name, _, code = _locale().partition("@")[0].partition(".")
    if code:
        return _known(code)
    return "ascii" if name in ("C", "POSIX") else _known(getattr(sys.stdout, "encoding", None) or "ascii")


def _locale() -> str:
    """The locale of letters that the program was started with. Where that was C, Python has put another in its place
    (PEP 538), which says nothing of the terminal."""
    told = dict(os.environ)
    if not told.get("LC_ALL") and told.get("LC_CTYPE") in ("C.UTF-8", "C.utf8", "UTF-8"):
        try:
            at_first = Path("/proc/self/environ").read_bytes()
        except OSError:
            at_first = b""
        if b"\0LC_CTYPE=" not in b"\0" + at_first:
            del told["LC_CTYPE"]
    return next((told[name] for name in ("LC_ALL", "LC_CTYPE", "LANG") if told.get(name)), "C")


def _known(name: str) -> str:
    try:
        return codecs.lookup(name).name
    except LookupError:
        return "ascii"


_SPELT = {
    "\u03a9": "ohm", "\u2126": "ohm", "\u00b5": "u", "\u03bc": "u", "\u00b0": "deg", "\u00b2": "2", "\u00b3": "3",
    "\u00d7": "x", "\u2212": "-", "\u2013": "-", "\u2014": "-", "\u2026": "...", "\u2192": "->", "\u2190": "<-",
    "\u2018": "'", "\u2019": "'", "\u201c": '"', "\u201d": '"', "\u00df": "ss", "\u00e6": "ae", "\u00f8": "o",
    "\u2264": "<=", "\u2265": ">=", "\u00b7": ".", "\u2022": "-", "\u00b1": "+/-", "\u20ac": "EUR", "\u00a0": " ",
    "\u2500": "-", "\u2502": "|", "\u250c": "+", "\u2510": "+", "\u2514": "+", "\u2518": "+",
}  # fmt: skip


def _stand_in(error: UnicodeError) -> tuple[str, int]:
    """Letters that the encoding has in place of those that it does not have."""
    if not isinstance(error, UnicodeEncodeError):
        raise error
    out = ""
    for letter in error.object[error.start : error.end]:
        near = _SPELT.get(letter) or unicodedata.normalize("NFKD", letter).encode("ascii", "ignore").decode()
        out += near or "?"
    return out, error.end


codecs.register_error("diag-spelt", _stand_in)


def spelt(text: str, letters: str) -> str:
    """The text in letters of an encoding: what it does not have is spelt in plain ones, nothing fails."""
    return text if text.isascii() else text.encode(letters, "diag-spelt").decode(letters)
