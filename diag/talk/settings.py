"""Settings of a person and a terminal: what is kept in a file, what the environment says, what each may be.

The command line beats the environment, which beats the file. Knows words and places of mistakes; nothing of what is
done with a setting.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

import yaml

from diag.errors import DiagError, KnowledgeError, Place, Problem
from diag.knowledge.folders import settings_file
from diag.knowledge.names import nearest, quoted
from diag.knowledge.reader import Marked, read_yaml
from diag.knowledge.writer import put_new, replaced
from diag.texts import t

__all__ = [
    "INSTRUMENTS",
    "SETTINGS",
    "Chosen",
    "Setting",
    "VOICES",
    "cleared",
    "kept_settings",
    "named",
    "put",
    "setting",
    "settings_file",
]

INSTRUMENTS = ("test-lamp", "meter", "jumper", "helper")
VOICES = ("spd-say", "espeak-ng", "espeak", "say", "powershell")
"""Programs that read aloud, in the order in which they are looked for."""


@dataclass(frozen=True)
class Setting:
    """One setting. `words`: all it may be, empty for free text that `check` judges; `usual`: where nothing is said."""

    name: str
    what: str
    usual: str
    words: tuple[str, ...] = ()
    expected: str = ""
    check: Callable[[str], str | None] | None = None

    @property
    def variable(self) -> str:
        """Its environment variable."""
        return f"DIAG_{self.name.upper()}"

    @property
    def wanted(self) -> str:
        """What it may be, in words."""
        return self.expected or ", ".join(self.words)

    def read(self, text: str) -> str | None:
        """The value that a text gives, None where it gives none."""
        clean = text.strip()
        if self.check is not None:
            return self.check(clean)
        return clean.casefold() if clean.casefold() in self.words else None


def _listed(text: str) -> str | None:
    names = [name.strip() for name in text.split(",") if name.strip()]
    return ",".join(names) if all(name in INSTRUMENTS for name in names) else None


def _path(text: str) -> str | None:
    return text if text and text.isprintable() else None


SETTINGS: Mapping[str, Setting] = {
    one.name: one
    for one in (
        Setting("view", t("how the conversation is shown: a page a question, or lines for a reader"), "screen",
                ("screen", "lines")),
        Setting("print", t("size of print on the screen"), "usual", ("usual", "big")),
        Setting("aloud", t("read aloud, by the first program found or by this one"), "off", ("off", "on", *VOICES)),
        Setting("colours", t("colours of a caution: none, or for a light or a dark terminal"), "auto",
                ("auto", "none", "light", "dark")),
        Setting("instruments", t("what is at hand"), "test-lamp,meter", (),
                t("some of {instruments}, parted by commas", instruments=', '.join(INSTRUMENTS)), _listed),
        Setting("vehicle", t("vehicle file where none is given"), "", (), t("a file, or the name of a vehicle"), _path),
        Setting("paper", t("size of paper of a PDF"), "a4", ("a4", "letter")),
    )
}  # fmt: skip


@dataclass(frozen=True)
class Chosen:
    """A value and where it comes from: `given`, `environment`, `kept` or `usual`."""

    value: str
    source: str


def kept_settings() -> tuple[dict[str, str], list[Problem]]:
    """What the file says, and every mistake in it; what is mistaken is left out."""
    try:
        marked = _marked()
    except KnowledgeError as error:
        return {}, list(error.problems)
    if marked is None or marked.data in (None, ""):
        return {}, []
    if not isinstance(marked.data, dict):
        found = t("a list") if isinstance(marked.data, list) else t("a text")
        return {}, [
            Problem(marked.place(), t("settings are names with values"), found, "`view: lines`", "", "wrong-value")
        ]
    kept: dict[str, str] = {}
    problems: list[Problem] = []
    for key, value in marked.data.items():
        one = SETTINGS.get(key)
        if one is None:
            problems.append(_unknown(key, marked.place((key,), key=True)))
            continue
        listed = isinstance(value, list) and all(isinstance(item, str) for item in value)
        text = ",".join(value) if listed else value
        read = one.read(text) if isinstance(text, str) else None
        if read is None:
            found = quoted(text) if isinstance(text, str) else t("something else than words")
            what = t("`{key}` has a value that it cannot have", key=key)
            problems.append(
                Problem(
                    marked.place((key,)),
                    what,
                    found,
                    one.wanted,
                    t("Or: diag settings {key} VALUE.", key=key),
                    "wrong-value",
                )
            )
        else:
            kept[key] = read
    return kept, problems


def _unknown(name: str, place: Place) -> Problem:
    mend = nearest(name, SETTINGS) or t("Take it out.")
    return Problem(place, t("there is no such setting"), quoted(name), ", ".join(SETTINGS), mend, "unknown-key")


def _marked() -> Marked | None:
    """The file as read, None where nothing is set in it."""
    path = settings_file()
    with suppress(OSError, UnicodeDecodeError):  # which reading tells of, with its place
        if all(line.lstrip()[:1] in ("", "#") for line in path.read_text(encoding="utf-8").splitlines()):
            return None
    return read_yaml(path) if path.exists() else None


def setting(name: str, given: str | None = None, kept: Mapping[str, str] | None = None) -> Chosen:
    """What holds now: what is `given` on the command line, else the environment, else the file (`kept`, where it is
    read already), else the usual. Raises DiagError for a word in the environment that it cannot be."""
    one = SETTINGS[name]
    if given is not None:
        return Chosen(given, "given")
    said = os.environ.get(one.variable, "").strip()
    if said:
        value = one.read(said)
        if value is None:
            raise DiagError(
                t(
                    "{variable}: found {said}; expected {wanted}. Correct it, or unset it.",
                    variable=one.variable,
                    said=quoted(said),
                    wanted=one.wanted,
                )
            )
        return Chosen(value, "environment")
    value = (kept if kept is not None else kept_settings()[0]).get(name)
    return Chosen(one.usual, "usual") if value is None else Chosen(value, "kept")


def put(name: str, text: str) -> str:
    """Keep a setting; gives the value. The other lines of the file stay. Raises DiagError for a name or value that
    there is not, KnowledgeError where the file cannot be read, OSError where it cannot be written."""
    one = named(name)
    value = one.read(text)
    if value is None:
        raise DiagError(t("{name}: found {text}; expected {wanted}.", name=name, text=quoted(text), wanted=one.wanted))
    if name == "vehicle" and Path(value).exists():
        value = str(Path(value).resolve())  # wherever the program is called next time
    line = yaml.safe_dump({name: value}, allow_unicode=True, width=10_000)
    _rewritten(name, line)
    return value


def cleared(name: str) -> None:
    """Take a setting out of the file, so that the usual holds again. Raises as `put`."""
    _rewritten(named(name).name, "")


def named(name: str) -> Setting:
    """The setting of this name. Raises DiagError where there is none."""
    if name not in SETTINGS:
        raise DiagError(
            t(
                "Found {name}; expected one of {settings}. {nearest}",
                name=quoted(name),
                settings=", ".join(SETTINGS),
                nearest=nearest(name, SETTINGS),
            ).rstrip()
        )
    return SETTINGS[name]


def _rewritten(name: str, line: str) -> None:
    path = settings_file()
    marked = _marked()
    there = path.exists()
    old = path.read_text(encoding="utf-8").splitlines(keepends=True) if there else []
    if old and not old[-1].endswith("\n"):
        old[-1] += "\n"
    places = marked.key_places if marked is not None and isinstance(marked.data, dict) else {}
    if marked is not None and marked.data not in (None, "") and not isinstance(marked.data, dict):
        raise KnowledgeError([Problem(marked.place(), t("settings are names with values"), "", "`view: lines`")])
    starts = sorted(place.line - 1 for loc, place in places.items() if len(loc) == 1)
    at = next((place.line - 1 for loc, place in places.items() if loc == (name,)), None)
    if at is None:
        new = [*old, line]
    else:
        end = next((start for start in starts if start > at), len(old))
        while end - 1 > at and old[end - 1].lstrip()[:1] in ("", "#"):
            end -= 1  # a remark above the next setting is that one's
        new = [*old[:at], line, *old[end:]]
    content = "".join(new).encode()
    if not (there or content):
        return
    path.parent.mkdir(parents=True, exist_ok=True)
    if there:
        replaced(path, content)
    else:
        put_new(path, content, 0o600)
