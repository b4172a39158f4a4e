"""Help of the verbs in the language of the process: what click reads from docstrings is put over before it is shown.

Knows click's own words too (`Usage:`, `Options`); knows nothing of what a verb does.
"""

from __future__ import annotations

import inspect
import sys
from collections.abc import Iterator

import click

from diag.texts import speaks, t

__all__ = ["help_messages", "speak"]

_AS_IT_STANDS = "\b"
"""Before a paragraph whose lines click leaves alone."""


def help_messages(text: str) -> Iterator[str]:
    """The paragraphs of a verb's help that have words to be put over, each on one line; lines of calls have none."""
    for paragraph in inspect.cleandoc(text).split("\n\n"):
        if not _calls(paragraph):
            yield _message(paragraph)


def speak(command: click.Command) -> None:
    """Put the help of a command and of all below it into the language of the process; English stays untouched."""
    if speaks():
        _click_speaks()
        _put_over(command)


def _put_over(command: click.Command) -> None:
    if command.help:
        text = inspect.cleandoc(command.help)
        command.help = "\n\n".join(one if _calls(one) else _said(one) for one in text.split("\n\n"))
    if isinstance(command, click.Group):
        for below in command.commands.values():
            _put_over(below)


def _calls(paragraph: str) -> bool:
    lines = paragraph.strip().splitlines()
    return lines[0] == _AS_IT_STANDS and lines[1:2] != [] and lines[1].startswith("diag")


def _message(paragraph: str) -> str:
    if paragraph.startswith(_AS_IT_STANDS):
        return paragraph.removeprefix(_AS_IT_STANDS).strip("\n")
    return " ".join(paragraph.split())


def _said(paragraph: str) -> str:
    text = _look_up(_message(paragraph))
    return f"{_AS_IT_STANDS}\n{text}" if paragraph.startswith(_AS_IT_STANDS) else text


_look_up = t
"""Under another name, for what is looked up is not written here but in the docstrings."""


def _click_speaks() -> None:
    """Click's own words are looked up as ours are, with the same check of what a catalogue says."""
    for name in ("core", "decorators", "exceptions", "formatting", "parser", "termui", "types"):
        module = sys.modules.get(f"click.{name}")
        if hasattr(module, "_"):
            vars(module)["_"] = _look_up
        if hasattr(module, "ngettext"):
            vars(module)["ngettext"] = _by_number


def _by_number(one: str, many: str, number: int) -> str:
    return _look_up(one if number == 1 else many)


def _words_of_click() -> tuple[str, ...]:
    """The words of click that a person meets, so that they stand in the catalogue."""
    return (
        t("Usage:"),
        t("Options"),
        t("Commands"),
        t("Arguments"),
        t("Show this message and exit."),
        t("Error: {message}"),
        t("Error"),
        t("Try '{command} {option}' for help."),
        t("Missing command."),
        t("Missing argument"),
        t("Missing option"),
        t("Missing parameter"),
        t("No such command {name!r}."),
        t("No such option {name!r}."),
        t("Did you mean {possibility}?"),
        t("(Did you mean one of: {possibilities}?)"),
        t("Got unexpected extra argument ({args})"),
        t("Got unexpected extra arguments ({args})"),
        t("Invalid value: {message}"),
        t("Invalid value for {param_hint}: {message}"),
        t("Option {name!r} requires an argument."),
        t("Option {name!r} does not take a value."),
        t("{value!r} is not {choice}."),
        t("{value!r} is not one of {choices}."),
        t("{value!r} is not a valid {number_type}."),
        t("{name} {filename!r} does not exist."),
        t("default: {default}"),
        t("required"),
        t("Aborted!"),
        t("file"),
        t("directory"),
        t("path"),
    )
