"""Verbs for a vehicle of one's own: `diag vehicle new`, `diag vehicle check`.

Each opens what it needs and hands over; errors are the caller's to turn into messages.
"""

from __future__ import annotations

import shutil
import textwrap
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING

import click

from diag.completing import vehicle_names
from diag.errors import DiagError
from diag.teaching import Verb

if TYPE_CHECKING:
    from diag.fit.questions import Catalogue

__all__ = ["check", "new"]

_WIDEST = 80
_UNNAMED_DRAFT = "vehicle-new.draft"


@click.command(cls=Verb)
@click.option("--out", type=click.Path(path_type=Path), help="Write to this file; named after the vehicle without it.")
@click.option(
    "--answers",
    "answered",
    type=click.Path(path_type=Path),
    help="Ask nothing: take the answers from this file, and the usual ones where it has none.",
)
@click.option("--replace", is_flag=True, help="Put the new file in place of one that is there.")
@click.option("--anew", is_flag=True, help="Begin again, though answers were kept.")
def new(out: Path | None, answered: Path | None, replace: bool, anew: bool) -> None:
    """Describe your own vehicle by answering what is fitted; writes its file.

    One key an answer, Enter for the usual one, u one back, q to stop and go on later. Without a terminal it
    reads one answer a line.

    \b
    diag vehicle new
    diag vehicle new --out my-van.yaml
    diag vehicle new --out my-van.yaml --answers fitted.yaml
    """
    from diag.fit.compose import make_vehicle, vehicle_id
    from diag.fit.keeping import draft_of, read_answers, write_new
    from diag.fit.questions import Catalogue

    if out is not None and out.exists() and not replace:
        raise DiagError(f"{out}: there is such a file already; expected a new name. Give another, or --replace.")
    if out is not None and not out.parent.is_dir():
        raise DiagError(f"{out}: there is no folder `{out.parent}`; expected one that exists. Make it first.")
    catalogue = Catalogue.read()
    draft = Path(_UNNAMED_DRAFT) if out is None else draft_of(out)
    if answered is not None:
        answers, idle = read_answers(catalogue, answered)
        for name in idle:
            click.echo(f"Not used, for the other answers leave no room for it: {name}", err=True)
    else:
        answers = {}
        if draft.exists() and not anew:
            answers, _ = read_answers(catalogue, draft)
            click.echo(f"Going on with {len(answers)} answers kept in {draft}; --anew begins again.")
        if not _ask(catalogue, answers, draft):
            again = "diag vehicle new" + (f" --out {out}" if out is not None else "")
            if answers:
                click.echo(f"\nKept in {draft}: {len(answers)} answers. `{again}` goes on with them.")
            return
    click.echo("\nWorking out how much the length of each wire matters ...", err=True)
    made = make_vehicle(catalogue, answers)
    file = out if out is not None else _free(vehicle_id(made.knowledge.vehicle.title))
    old = write_new(file, made.text, replace=replace)
    if answered is None:
        draft.unlink(missing_ok=True)
    _tell(made.told)
    click.echo(f"\n{'Replaced' if old else 'Written'}: {file}\nGo on: diag start --vehicle {file}")


def _ask(catalogue: Catalogue, answers: dict[str, str], draft: Path) -> bool:
    from diag.fit.asking import ask_all
    from diag.fit.keeping import keep_draft
    from diag.fit.keys import reader

    columns = min(_WIDEST, shutil.get_terminal_size().columns)
    return ask_all(catalogue, answers, reader(), click.echo, lambda kept: keep_draft(draft, kept), columns)


def _free(name: str) -> Path:
    """A file in this folder that is not there yet."""
    number = 1
    while (file := Path(f"{name}.yaml" if number == 1 else f"{name}-{number}.yaml")).exists():
        number += 1
    return file


def _tell(lines: Iterable[str]) -> None:
    columns = min(_WIDEST, shutil.get_terminal_size().columns)
    click.echo("")
    for line in lines:
        click.echo(textwrap.fill(line, columns, subsequent_indent="  "))


@click.command(cls=Verb)
@click.argument("file", required=False, shell_complete=vehicle_names)
def check(file: str | None) -> None:
    """Read a vehicle's file: every mistake in it, what may be a slip, and how much each assumed length matters.

    \b
    diag vehicle check demo-van.yaml
    diag vehicle check my-van.yaml
    """
    from diag.errors import KnowledgeError
    from diag.fit.checking import doubts, importance
    from diag.knowledge.load import load_knowledge
    from diag.talk.opening import vehicle_file

    knowledge = load_knowledge(vehicle_file(file))
    problems, slips = doubts(knowledge)
    if problems:
        raise KnowledgeError(problems)
    vehicle = knowledge.vehicle
    click.echo(f"{vehicle.title}: {len(knowledge.parts)} parts, {len(knowledge.wires)} wires, nothing wrong.")
    _tell(importance(knowledge))
    if slips:
        click.echo("\nLeft as they are, but look at them:")
        for slip in slips:
            click.echo(textwrap.fill(str(slip), _WIDEST, subsequent_indent="  ", break_on_hyphens=False))
