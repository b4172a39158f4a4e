"""`diag rules add`: what today's fault taught, asked key by key, tried on recorded jobs, kept as rules of one's own."""

from __future__ import annotations

import contextlib
import shutil
import textwrap
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from diag.completing import circuits, job_names, vehicle_names
from diag.errors import DiagError
from diag.talk.progress import progress
from diag.teaching import Verb
from diag.texts import t

if TYPE_CHECKING:
    from diag.author.adding import Adding, Tried
    from diag.fit.asking import Read

__all__ = ["add"]

_WIDEST = 80
_LISTED = 8


@click.command(cls=Verb)
@click.argument("job", required=False, shell_complete=job_names)
@click.option("--from-nothing", is_flag=True, help=t("No job: say what is seen, what was wrong, what cures it."))
@click.option(
    "--vehicle",
    metavar="FILE",
    shell_complete=vehicle_names,
    help=t("Vehicle to try it on; that of the job where none is given."),
)
@click.option(
    "--answers",
    "answered",
    type=click.Path(path_type=Path),
    help=t(
        "Ask nothing: take the answers from this file, what is proposed where it has none, and save if all is well."
    ),
)
@click.option("--anew", is_flag=True, help=t("Begin again, though answers were kept."))
@click.option(
    "--whole", is_flag=True, help=t("Try it on earlier jobs' whole vehicles, not only the circuits concerned.")
)
@click.option(
    "--template",
    metavar="CIRCUIT",
    shell_complete=circuits,
    help=t("Print a file to be filled in by hand in an editor."),
)
def add(
    job: str | None,
    from_nothing: bool,
    vehicle: str | None,
    answered: Path | None,
    anew: bool,
    whole: bool,
    template: str | None,
) -> None:
    """Add to the rules what a closed job taught.

    One key an answer, Enter for what is proposed, u one back, q to stop and go on later. Before anything is
    written you see it, and what it would change in earlier recorded jobs. It goes into a folder of your own;
    the installed rules stay as they are. Exit code 1 where it was not saved because something would be worse.

    \b
    diag rules add
    diag rules add 2026-11-29-082509
    diag rules add --from-nothing
    diag rules add --template horn > horn.yaml
    """
    from diag.author.adding import Adding
    from diag.job.folder import find_job
    from diag.talk.opening import vehicle_file

    if template is not None:
        _print_template(template, vehicle)
        return
    if job is not None and from_nothing:
        raise DiagError(t("found a job and --from-nothing; expected one of them."))
    path = find_job(job) if job is not None else None
    if path is None and not from_nothing:
        path = _chosen_job()
    with progress(t("Opening the vehicle:")) as share:
        adding = Adding(
            path,
            vehicle_file(vehicle) if vehicle is not None or path is None else None,
            share,
            date.today(),
        )
    if answered is not None:
        _from_file(adding, answered, whole)
    else:
        _by_asking(adding, anew, whole)


def _columns() -> int:
    return max(20, min(_WIDEST, shutil.get_terminal_size().columns))


# ---------------------------------------------------------------- which job


def _chosen_job() -> Path | None:
    """A closed job, the newest first; None for from nothing."""
    from diag.fit.asking import page
    from diag.fit.interview import Asked, read_answer
    from diag.fit.keys import reader
    from diag.job.folder import list_jobs
    from diag.log.listing import job_line

    jobs = [path for path in list_jobs() if _worked_on(path)][:_LISTED]
    if not jobs:
        click.echo(t("No job was worked on yet: asked from nothing."))
        return None
    choices = {str(path): job_line(path) for path in jobs} | {"-": t("none of these: from nothing")}
    asked = Asked("job", t("Which job taught something?"), str(jobs[0]), choices)
    read = reader()
    while True:
        click.echo(page(asked, 1, 1, _columns()))
        typed = read(True)
        if typed is None or typed.strip().lower() == "q":
            raise click.exceptions.Exit(0)
        try:
            chosen = read_answer(asked, typed)
        except ValueError as error:
            click.echo(t("Found `{typed}`; {error}.", typed=typed.strip()[:40], error=error))
            continue
        return None if chosen == "-" else Path(chosen)


def _worked_on(path: Path) -> bool:
    from diag.job.journal import read_journal

    with contextlib.suppress(DiagError, OSError):
        records, _ = read_journal(path)
        return any(record.event in ("remedied", "changed", "noted") for record in records)
    return False


# ---------------------------------------------------------------- asking


def _by_asking(adding: Adding, anew: bool, whole: bool) -> None:
    from diag.author.layering import draft_file
    from diag.author.telling import effects_text, entries_text, own_text
    from diag.fit.asking import BACK, STOP, Asking
    from diag.fit.keeping import keep_draft
    from diag.fit.keys import reader

    kept = draft_file(adding.folder, adding.job.stem if adding.job is not None else "from-nothing")
    call = f"diag rules add {adding.job.stem if adding.job is not None else '--from-nothing'}"
    answers: dict[str, str] = {}
    if kept.exists() and not anew:
        answers = _kept_answers(adding, kept)
        click.echo(
            t("Going on with {count} answers kept in {kept}; --anew begins again.", count=len(answers), kept=kept)
        )

    def keep(found: Any) -> None:
        kept.parent.mkdir(parents=True, exist_ok=True)
        keep_draft(kept, found, call)

    columns, read = _columns(), reader()
    found: Tried | None = None
    tried_with: dict[str, str] | None = None
    asking = Asking(adding.guide.path, answers, read, click.echo, keep, columns)
    while True:
        if not asking.ask():
            if answers:
                click.echo(
                    t(
                        "\nNothing is written. Kept: {count} answers.\n`{call}` goes on with them.",
                        count=len(answers),
                        call=call,
                    )
                )
            return
        if tried_with != answers:  # not again with the same answers
            found, tried_with = _try(adding, answers, whole), dict(answers)
        if found is None:
            asking.back(None)
            keep(answers)
            continue
        click.echo(t("\nTo be written:\n{entries_text}\n", entries_text=entries_text(found.draft, columns)))
        click.echo(effects_text(found.effects, columns))
        own = own_text(found.effects, found.draft, columns)
        click.echo(own, nl=bool(own))
        typed = _ask_save(found, read)
        if typed == BACK:
            asking.back(None)
            keep(answers)
        elif typed == STOP:
            click.echo(t("Nothing is written. `{call}` goes on with the answers.", call=call))
            return
        else:
            _save(adding, found)
            kept.unlink(missing_ok=True)
            return


def _ask_save(found: Tried, read: Read) -> str:
    """`y`, BACK or STOP; Enter saves only where all is well."""
    from diag.fit.asking import BACK, STOP

    if found.good:
        words = t("Enter saves it, u changes an answer, q leaves it.")
    elif found.effects.worse:
        words = t(
            "Something is WORSE with it. Enter or q leaves it, u changes an answer, y saves it as a draft anyway."
        )
    else:
        words = t("Enter or u changes an answer, q leaves it, y saves it as a draft anyway.")
    click.echo("\n" + textwrap.fill(words, _columns()))
    while True:
        typed = read(True)
        word = (typed or "").strip().lower() if typed is not None else STOP
        if word in (BACK, STOP):
            return word
        if word in ("y", "yes"):
            return "y"
        if not word:
            return "y" if found.good else STOP if found.effects.worse else BACK
        click.echo(t("Found `{word}`; expected y, u or q.", word=word[:20]))


def _try(adding: Adding, answers: dict[str, str], whole: bool) -> Tried | None:
    """The addition on trial; None where the answers make nothing that loads, which is told."""
    try:
        with progress(t("Trying it on recorded jobs:")) as share:
            return adding.tried(answers, share, whole=whole)
    except ValueError as error:
        click.echo(t("\nThis cannot be added: {error}. Change an answer.", error=error))
    except DiagError as error:
        click.echo(t("\nThis cannot be added:\n{error}\nChange an answer.", error=error))
    return None


def _save(adding: Adding, found: Tried) -> None:
    files = adding.save(found)
    click.echo(t("\nSaved as a draft in {folder}:", folder=adding.folder))
    for file in files:
        click.echo(f"  {file.relative_to(adding.folder).as_posix()}")
    if found.copy and not found.ends:
        click.echo(textwrap.fill(t("The job is not kept as a proof, for it does not end there yet."), _columns()))
    click.echo(t("Look it over: diag rules check"))


# ---------------------------------------------------------------- from a file


def _from_file(adding: Adding, file: Path, whole: bool) -> None:
    from diag.author.telling import effects_text, entries_text, own_text

    given = _read_file(file)
    anyway = given.pop("save", "yes")
    if anyway not in ("yes", "no", "anyway"):
        raise DiagError(t("{file}: `save`: found `{anyway}`; expected yes, no or anyway.", file=file, anyway=anyway))
    answers, idle = _given(adding, given, file)
    for name in idle:
        click.echo(t("Not used, for the other answers leave no room for it: {name}", name=name), err=True)
    columns = _columns()
    with progress(t("Trying it on recorded jobs:")) as share:
        try:
            found = adding.tried(answers, share, whole=whole)
        except ValueError as error:
            raise DiagError(t("{file}: {error}; expected other answers.", file=file, error=error)) from error
    click.echo(entries_text(found.draft, columns))
    click.echo("")
    click.echo(effects_text(found.effects, columns))
    own = own_text(found.effects, found.draft, columns)
    click.echo(own, nl=bool(own))
    if anyway == "no":
        click.echo(t("Nothing is written, as the answers say."))
    elif found.good or anyway == "anyway":
        _save(adding, found)
    else:
        click.echo(t("Nothing is written; `save: anyway` in the answers saves it as a draft all the same."))
        raise click.exceptions.Exit(1)


def _read_file(file: Path) -> dict[str, str]:
    from diag.errors import KnowledgeError, Problem
    from diag.knowledge.names import shown
    from diag.knowledge.reader import read_yaml

    marked = read_yaml(file)
    if not isinstance(marked.data, dict):
        raise DiagError(
            t(
                "{file}:1:1: found {shown}; expected `question: answer`, one a line.",
                file=file,
                shown=shown(marked.data),
            )
        )
    problems = [
        Problem(marked.place((name,)), t("`{name}` has no single answer", name=name), shown(value), t("one text"))
        for name, value in marked.data.items()
        if not isinstance(value, str)
    ]
    if problems:
        raise KnowledgeError(problems)
    return dict(marked.data)


def _given(adding: Adding, given: dict[str, str], file: Path) -> tuple[dict[str, str], list[str]]:
    from diag.author.guide import given_answers

    try:
        return given_answers(adding.guide, given)
    except ValueError as error:
        raise DiagError(f"{file}: {error}.") from error


def _kept_answers(adding: Adding, kept: Path) -> dict[str, str]:
    """Kept answers as far as they still fit: rules may have changed since."""
    from diag.fit.interview import read_answer

    given, answers = _read_file(kept), dict[str, str]()
    while True:
        asked = next((one for one in adding.guide.path(answers) if one.id in given and one.id not in answers), None)
        if asked is None:
            return answers
        try:
            answers[asked.id] = read_answer(asked, given.pop(asked.id))
        except ValueError:
            continue  # it is asked again


# ---------------------------------------------------------------- by hand


def _print_template(circuit: str, vehicle: str | None) -> None:
    from diag.author.skeleton import skeleton
    from diag.knowledge.layers import local_folder
    from diag.knowledge.load import load_knowledge
    from diag.talk.opening import vehicle_file

    knowledge = load_knowledge(vehicle_file(vehicle))
    try:
        text = skeleton(knowledge, circuit, str(local_folder()), date.today().isoformat())
    except ValueError as error:
        raise DiagError(t("--template: {error}", error=error)) from error
    click.echo(text, nl=False)
