"""Verbs about the program itself: `diag places`, `diag completion`.

Each opens what it needs and hands over; errors are the caller's to turn into messages.
"""

from __future__ import annotations

import json
import os
import shutil
import textwrap
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

import click

from diag.teaching import Verb
from diag.texts import t

__all__ = ["completion", "environment", "places"]

_READ = {
    "DIAG_HOME": t("one folder for all that is kept, in place of the platform's several"),
    "DIAG_PACKS": t("`none`: the shipped rules alone"),
    "DIAG_ENGINE": t("`durable` or `plain`: which rule engine runs"),
    "DIAG_LANGUAGE": t("language of all texts, such as `de`, where there is a catalogue of it"),
    "DIAG_BROWSER": t("program that prints a PDF: a Chromium"),
}
_WIDEST = 80


def environment() -> dict[str, str]:
    """Every variable that the program reads and calls its own, and what it is for; those of settings last."""
    from diag.talk.settings import SETTINGS

    return _READ | {one.variable: f"{one.what}; {one.wanted}" for one in SETTINGS.values()}


class _Place(NamedTuple):
    """Something that is kept: its name, where, what it is for."""

    name: str
    path: Path
    what: str


def _kept() -> Iterator[_Place]:
    from diag.job.folder import away_folder, jobs_folder
    from diag.knowledge.folders import cache_folder, local_folder, packs_file, rules_folder
    from diag.knowledge.learned import learned_file
    from diag.talk.settings import settings_file
    from diag.texts import catalogue_folders

    yield _Place("jobs", jobs_folder(), t("a file a job, written after every answer"))
    yield _Place("jobs-away", away_folder(), t("jobs that were put away"))
    yield _Place("bundles", jobs_folder().parent / "bundles", t("bundles that were unpacked"))
    yield _Place("own-rules", local_folder(), t("rules, circuits and vehicles of your own"))
    yield _Place("learned", learned_file(), t("what closed jobs taught"))
    yield _Place("packs", packs_file(), t("the list of rule packs"))
    yield _Place("settings", settings_file(), t("what `diag settings` keeps"))
    yield _Place("languages", catalogue_folders()[0], t("texts in languages of your own"))
    yield _Place("tables", cache_folder(), t("what was computed; may be deleted, and is computed again"))
    yield _Place("shipped-rules", rules_folder(), t("come with the program; nothing is written there"))


@click.command(cls=Verb)
@click.option("--as", "form", type=click.Choice(["text", "json"]), default="text", show_default=True, help=t("Form."))
def places(form: str) -> None:
    """Tell where everything lives on this machine: jobs, rules of your own, the list of packs, computed tables.

    Each is where the platform expects it, or below the folder that DIAG_HOME names. Nothing else is written but
    the files that you name.

    \b
    diag places
    diag places --as json
    """
    kept = list(_kept())
    known = environment()
    given = {name: os.environ[name] for name in known if os.environ.get(name, "").strip()}
    if form == "json":
        there = {one.name: {"path": str(one.path.absolute()), "there": one.path.exists()} for one in kept}
        click.echo(json.dumps({"places": there, "environment": given}, indent=1))
        return
    columns = min(_WIDEST, shutil.get_terminal_size().columns)
    for one in kept:
        click.echo(
            _wrapped(f"{one.name}: {one.what}{('' if one.path.exists() else t(' (nothing there yet)'))}", columns)
        )
        click.echo(f"  {one.path.absolute()}")  # never broken: it is copied
    click.echo(t("\nEnvironment variables"))
    for name, meaning in known.items():
        click.echo(f"{name}: {given.get(name, t('not set'))}")  # nor is this
        click.echo(_wrapped(meaning, columns, "  "))


def _wrapped(text: str, columns: int, indent: str = "") -> str:
    return textwrap.fill(text, columns, initial_indent=indent, subsequent_indent=f"{indent}  ", break_on_hyphens=False)


@click.command(cls=Verb)
@click.argument("shell", type=click.Choice(["bash", "zsh", "fish"]))
def completion(shell: str) -> None:
    """Print what makes the shell complete: verbs, options, jobs, vehicles, faults, circuits, rules.

    Put it where the shell reads it at its start: the examples do, in this order for bash, zsh and fish. It
    counts in the next shell that is opened. Bash needs 4.4 or later.

    \b
    diag completion bash >> ~/.bashrc
    diag completion zsh >> ~/.zshrc
    diag completion fish > ~/.config/fish/completions/diag.fish
    """
    from click.shell_completion import get_completion_class

    found = get_completion_class(shell)
    assert found is not None
    names = {"complete_func": "_diag_completion", "complete_var": "_DIAG_COMPLETE", "prog_name": "diag"}
    click.echo(found.source_template % names)  # not `source()`, which would look for a bash of this machine first
