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
from diag.texts import t

if TYPE_CHECKING:
    from diag.fit.questions import Catalogue

__all__ = ["check", "new"]

_WIDEST = 80
_UNNAMED_DRAFT = "vehicle-new.draft"


@click.command(cls=Verb)
@click.option(
    "--out", type=click.Path(path_type=Path), help=t("Write to this file; named after the vehicle without it.")
)
@click.option(
    "--answers",
    "answered",
    type=click.Path(path_type=Path),
    help=t("Ask nothing: take the answers from this file, and the usual ones where it has none."),
)
@click.option("--replace", is_flag=True, help=t("Put the new file in place of one that is there."))
@click.option("--anew", is_flag=True, help=t("Begin again, though answers were kept."))
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
        raise DiagError(
            t("{out}: there is such a file already; expected a new name. Give another, or --replace.", out=out)
        )
    if out is not None and not out.parent.is_dir():
        raise DiagError(
            t(
                "{out}: there is no folder `{parent}`; expected one that exists. Make it first.",
                out=out,
                parent=out.parent,
            )
        )
    catalogue = Catalogue.read()
    draft = Path(_UNNAMED_DRAFT) if out is None else draft_of(out)
    if answered is not None:
        answers, idle = read_answers(catalogue, answered)
        for name in idle:
            click.echo(t("Not used, for the other answers leave no room for it: {name}", name=name), err=True)
    else:
        answers = {}
        if draft.exists() and not anew:
            answers, _ = read_answers(catalogue, draft)
            click.echo(
                t(
                    "Going on with {count} answers kept in {draft}; --anew begins again.",
                    count=len(answers),
                    draft=draft,
                )
            )
        if not _ask(catalogue, answers, draft):
            again = "diag vehicle new" + (t(" --out {out}", out=out) if out is not None else "")
            if answers:
                click.echo(
                    t(
                        "\nKept in {draft}: {count} answers. `{again}` goes on with them.",
                        draft=draft,
                        count=len(answers),
                        again=again,
                    )
                )
            return
    click.echo(t("\nWorking out how much the length of each wire matters ..."), err=True)
    made = make_vehicle(catalogue, answers)
    file = out if out is not None else _free(vehicle_id(made.knowledge.vehicle.title))
    old = write_new(file, made.text, replace=replace)
    if answered is None:
        draft.unlink(missing_ok=True)
    _tell(made.told)
    click.echo(
        t(
            "\n{what}: {file}\nGo on: diag start --vehicle {file}",
            what=t("Replaced") if old else t("Written"),
            file=file,
        )
    )


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
    click.echo(
        t(
            "{vehicle}: {count} parts, {count_2} wires, nothing wrong.",
            vehicle=vehicle.title,
            count=len(knowledge.parts),
            count_2=len(knowledge.wires),
        )
    )
    _tell(importance(knowledge))
    if slips:
        click.echo(t("\nLeft as they are, but look at them:"))
        for slip in slips:
            click.echo(textwrap.fill(str(slip), _WIDEST, subsequent_indent="  ", break_on_hyphens=False))
