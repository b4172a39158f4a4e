"""Verbs of the command line, nothing else: each opens what it needs and hands over.

Exit codes: 0 done or kept, 1 work that could not be done, 2 bad input.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager, suppress
from pathlib import Path
from typing import Any, Literal, cast

import click

from diag import __version__
from diag.bundle_verbs import bundle, unbundle
from diag.calc_verbs import calc
from diag.completing import causes, job_names, vehicle_names
from diag.completing import instruments as instrument_names
from diag.desk_verbs import completion, places
from diag.errors import DiagError, harmless
from diag.given import halves_left_out, instruments_given, packs_left_out_by
from diag.help_words import speak
from diag.jobs_verbs import jobs
from diag.replay_verbs import replay
from diag.rules_verbs import rules
from diag.serve_verbs import serve
from diag.settings_verbs import manner_options, settings
from diag.talk.progress import progress
from diag.teaching import Group
from diag.texts import t
from diag.vehicle_verbs import vehicle

__all__ = ["main"]

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # the matrices are small: threads only wait for each other


def _version_line() -> str:
    from diag.reason.engine import default_matcher

    return t("diag {version}, rules by {name}", version=__version__, name=default_matcher().name)


def _progress(lines: bool = False) -> AbstractContextManager[Callable[[float], None]]:
    """A bar while tables are computed, or `lines`; nothing where they are already there."""
    return progress(t("Working out what each fault shows (kept for next time):"), lines)


def _tell(text: str) -> None:
    """On standard error, where there still is one: a terminal that is gone hears nothing. One that a killed page left
    cutting long lines off wraps them again (DECAWM, from memory): of a message every word counts."""
    with suppress(OSError, ValueError):
        if os.name == "posix" and sys.stderr.isatty() and os.environ.get("TERM", "dumb") != "dumb":
            sys.stderr.write("\x1b[?7h")
        click.echo(harmless(text), err=True)


class _Verbs(Group):
    """Turns our errors into one message and an exit code; no traceback reaches a user."""

    def invoke(self, ctx: click.Context) -> Any:
        try:
            return super().invoke(ctx)
        except DiagError as error:
            _tell(str(error))
            ctx.exit(error.exit_code)
        except BrokenPipeError:
            sys.stderr.close()
            ctx.exit(0)
        except RuntimeError as error:  # what Python 3.11 and 3.12 make of a link that leads to itself
            if not str(error).startswith("Symlink loop"):
                raise
            _tell(t("{error}: expected a file or folder. Name the one that is meant.", error=error))
            ctx.exit(2)
        except OSError as error:
            _tell(
                t(
                    "{filename}: {strerror}. Nothing else was changed.",
                    filename=error.filename or t("a file"),
                    strerror=error.strerror or error,
                )
            )
            ctx.exit(1)


def _show_version(ctx: click.Context, _: click.Parameter, wanted: bool) -> None:
    if wanted:
        try:
            click.echo(_version_line())
        except DiagError as error:  # options are read before the verbs' own net is spread
            _tell(str(error))
            ctx.exit(error.exit_code)
        ctx.exit(0)


_vehicle = click.option(
    "--vehicle",
    metavar="FILE",
    shell_complete=vehicle_names,
    help=t("Vehicle file; that of DIAG_VEHICLE, or the demo pickup, where none is given."),
)
_job = click.option("--job", type=click.Path(path_type=Path), help=t("Where to keep the job; an existing one goes on."))
_at_hand = click.option(
    "--instruments",
    metavar="LIST",
    shell_complete=instrument_names,
    help=t("What is at hand: test-lamp,meter,jumper,helper."),
)
_no_wiring = click.option(
    "--without-wiring", is_flag=True, help=t("Rules alone, for a loom that nobody has described.")
)
_no_rules = click.option("--without-rules", is_flag=True, help=t("The computed network alone."))


_no_packs = click.option(
    "--without-packs",
    is_flag=True,
    help=t("The shipped rules alone, without rule packs and rules of your own; DIAG_PACKS=none does the same."),
)


_today = click.option(
    "--today", is_flag=True, help=t("A job out of a bundle: by this machine's rules, not by those that came with it.")
)


_SECTIONS = {
    t("At the vehicle"): ("demo", "start", "resume", "jobs", "export", "bundle", "unbundle"),
    t("At the desk"): ("vehicle", "calc", "rules", "replay"),
    t("The program itself"): ("places", "settings", "completion", "talk", "serve"),
}


@click.group(
    "diag",
    cls=_Verbs,
    sections=_SECTIONS,
    invoke_without_command=True,
    context_settings={"help_option_names": ["-h", "--help"]},
    epilog=t(
        "Begin with `diag demo`, then `diag start` at your own vehicle. `diag VERB --help` has "
        "examples of each. Exit codes: 0 done or kept, 1 work that could not be done, 2 bad input."
    ),
)
@click.option(
    "--version",
    is_flag=True,
    is_eager=True,
    expose_value=False,
    callback=_show_version,
    help=t("Version, and which rule engine runs."),
)
@click.pass_context
def main(ctx: click.Context) -> None:
    """Proves every circuit of an older road vehicle after a rewire, and finds what does not work."""
    if ctx.invoked_subcommand is None:
        _how_to_begin()


_FIRST_STEPS = (
    ("diag demo", t("one whole job, played by itself")),
    ("diag start", t("at your own vehicle")),
    ("diag vehicle new", t("describe it first")),
    ("diag resume", t("go on with the newest job")),
    ("diag --help", t("all verbs")),
    ("diag start --help", t("one verb, with examples")),
)


def _how_to_begin() -> None:
    import shutil
    import textwrap

    columns = min(80, shutil.get_terminal_size().columns)
    click.echo(textwrap.fill(t("diag: {help}", help=main.help), columns))
    click.echo("")
    for typed, meaning in _FIRST_STEPS:
        click.echo(f"  {typed:20}{meaning}" if columns >= 60 else f"  {typed}\n      {meaning}")


main.add_command(vehicle)
main.add_command(calc)
main.add_command(rules)
main.add_command(replay)
main.add_command(serve)
main.add_command(bundle)
main.add_command(unbundle)
main.add_command(jobs)
main.add_command(places)
main.add_command(completion)
main.add_command(settings)


@contextmanager
def _conversation(
    vehicle: str | None,
    job: Path | None,
    instruments: str | None,
    without: frozenset[str],
    today: bool = False,
    lines: bool = False,
) -> Iterator[tuple[Any, list[str]]]:
    """A new job, or an old one where `job` exists; its journal is closed at the end. `lines`: progress as lines."""
    from diag.job.journal import is_blank
    from diag.talk.opening import new_job, open_reasoner, resume_job, vehicle_file
    from diag.talk.settings import setting

    have = instruments_given(instruments)
    messages: list[str] = []
    packs = "packs" not in without
    if job is not None and job.exists() and not is_blank(job):
        file = vehicle_file(vehicle, packs) if vehicle else None
        with _progress(lines) as tell:
            conversation, journal, messages = resume_job(job, file, tell, have, packs, today)
    else:
        file = vehicle_file(vehicle, packs)
        at_hand = instruments_given(setting("instruments").value) or () if have is None else have
        with _progress(lines) as tell:
            reasoner = open_reasoner(file, without, tell)
        conversation, journal = new_job(reasoner, file, job, at_hand, without)
        messages = list(journal.messages)
    with journal:
        yield conversation, messages


def _shown(
    vehicle: str | None,
    job: Path | None,
    instruments: str | None,
    without: frozenset[str],
    how: dict[str, str | None],
    today: bool = False,
) -> None:
    """The conversation with a person, in the manner that options, environment and settings ask for."""
    from diag.talk.front import talk
    from diag.talk.manner import manner_of

    manner, mistakes = manner_of(how)
    lines = manner.view == "lines"
    with _conversation(vehicle, job, instruments, without, today, lines) as (conversation, messages):
        talk(conversation, [*mistakes, *messages], manner)


@main.command()
@_vehicle
@_job
@_at_hand
@_no_wiring
@_no_rules
@_no_packs
@manner_options
def start(
    vehicle: str | None,
    job: Path | None,
    instruments: str | None,
    without_wiring: bool,
    without_rules: bool,
    without_packs: bool,
    **how: str | None,
) -> None:
    """Begin a job: say what is wrong, check a whole circuit, or prove the whole vehicle.

    At any question the last line of the screen says which keys there are. Without a terminal it reads one answer
    a line.

    \b
    diag start
    diag start --vehicle demo-van.yaml
    diag start --vehicle my-van.yaml --instruments test-lamp,meter
    diag start --without-wiring
    """
    _shown(vehicle, job, instruments, halves_left_out(without_wiring, without_rules, without_packs), how)


@main.command()
@click.argument("job", required=False, shell_complete=job_names)
@_vehicle
@_at_hand
@_no_packs
@click.option("--mend", is_flag=True, help=t("Mend a damaged job first: a copy is kept, and what is good goes on."))
@_today
@manner_options
def resume(
    job: str | None,
    vehicle: str | None,
    instruments: str | None,
    without_packs: bool,
    mend: bool,
    today: bool,
    **how: str | None,
) -> None:
    """Go on with a job: the newest in which anything was answered, or the one that is named.

    JOB: its file, its name in `diag jobs`, the beginning of that, or any piece of it that only one job has.

    \b
    diag resume
    diag resume 2026-11-29-082509
    diag resume --instruments test-lamp,meter,jumper
    """
    without, path = halves_left_out(False, False, without_packs), _job_path(job)
    if mend:
        from diag.job.mend import mend_journal

        for message in mend_journal(path) or (t("{path}: nothing to mend.", path=path),):
            _tell(message)
    _shown(vehicle, path, instruments, without, how, today)


@main.command()
@_vehicle
@_job
@_at_hand
@_no_wiring
@_no_rules
@_no_packs
def talk(
    vehicle: str | None,
    job: Path | None,
    instruments: str | None,
    without_wiring: bool,
    without_rules: bool,
    without_packs: bool,
) -> None:
    """The same conversation as JSON Lines, for other front ends.

    One object a line each way. The first one out, `hello`, tells what may be said.

    \b
    diag talk --vehicle demo-van.yaml
    diag talk --vehicle demo-pickup.yaml --job horn.jsonl < answers.jsonl
    """
    from diag.talk.lines import run_lines

    sys.stdin.reconfigure(encoding="utf-8", errors="replace")  # type: ignore[union-attr]
    sys.stdout.reconfigure(encoding="utf-8")  # type: ignore[union-attr]
    without = halves_left_out(without_wiring, without_rules, without_packs)
    with _conversation(vehicle, job, instruments, without) as (conversation, messages):
        for message in messages:
            _tell(message)
        run_lines(conversation, sys.stdin, sys.stdout)


def _job_path(name: str | None) -> Path:
    """A job by its file, or by its name in the jobs folder or a piece of it; the newest in which anything was
    answered for None."""
    from diag.job.folder import find_job, list_jobs, unpacked_jobs
    from diag.job.glance import glance

    if name is not None:
        return find_job(name)
    found = [*list_jobs(), *unpacked_jobs()]
    if not found:
        raise DiagError(t("there is no job to go on with; `diag start` begins one."))
    return next((path for path in found if not glance(path).empty), found[0])


@main.command()
@click.argument("job", shell_complete=job_names)
@click.option(
    "--as",
    "form",
    type=click.Choice(["markdown", "html", "pdf", "json", "csv", "handover", "owner", "parts"]),
    default="markdown",
    show_default=True,
    help=t(
        "Form of the log. html: a page to look at and to print, with drawings; pdf: the same, "
        "printed (by Chromium); handover: a sheet for the fitter to print and sign; owner: one for "
        "the owner; parts: what to have and to order."
    ),
)
@click.option("--out", type=click.Path(path_type=Path), help=t("Write to this file instead of the screen."))
@click.option("--replace", "over", is_flag=True, help=t("Write over a file that is there."))
@click.option(
    "--paper", type=click.Choice(["a4", "letter"]), help=t("Size of paper of a PDF; a4, or what `diag settings` keeps.")
)
@_vehicle
@_no_packs
@_today
def export(
    job: str,
    form: str,
    out: Path | None,
    over: bool,
    paper: Literal["a4", "letter"] | None,
    vehicle: str | None,
    without_packs: bool,
    today: bool,
) -> None:
    """Write the log of a job: what was found, why, what was done, what is open.

    JOB is named as for `diag resume`. A file that is there is not written over unless --replace says so.

    \b
    diag export 2026-11-29-082509
    diag export 2026-11-29-082509 --as html --out log.html
    diag export 2026-11-29-082509 --as pdf --paper letter --out log.pdf
    diag export 2026-11-29-082509 --as owner --out for-the-owner.html
    """
    from diag.putting import put, refuse_over
    from diag.talk.opening import vehicle_file

    packs = not packs_left_out_by(without_packs)
    path, file = _job_path(job), vehicle_file(vehicle, packs) if vehicle else None
    refuse_over(out, over, path)
    if form == "pdf" and out is None and sys.stdout.isatty():
        raise DiagError(t("--as pdf: a PDF cannot be shown on the screen; expected a file, e.g. --out job.pdf."))
    if form in ("html", "owner") and out is None and sys.stdout.isatty():
        raise DiagError(
            t("--as {form}: a page cannot be read on the screen; expected a file, e.g. --out job.html.", form=form)
        )
    if form in ("html", "pdf", "owner", "parts"):
        from diag.paper.export import paper_bytes
        from diag.talk.settings import setting

        size = cast("Literal['a4', 'letter']", setting("paper", paper).value)
        made = paper_bytes(path, cast("Any", form), file, out=out, paper=size, packs=packs, today=today)
    else:
        from diag.log.export import export_job

        made = export_job(path, cast("Any", form), file, packs=packs, today=today).encode()
    if out is not None:
        put(out, made, over)
    elif form == "pdf":
        sys.stdout.buffer.write(made)
        sys.stdout.buffer.flush()
    else:
        text = made.decode()
        click.echo(text, nl=not text.endswith("\n"))


@main.command()
@_vehicle
@click.option(
    "--fault",
    metavar="ID",
    shell_complete=causes,
    help=t("Hidden fault; `list` shows all. A flasher unit that never opens where none is given."),
)
@click.option("--job", type=click.Path(path_type=Path), help=t("Where to keep the job."))
def demo(vehicle: str | None, fault: str | None, job: Path | None) -> None:
    """Play a whole job by itself: a hidden fault, a simulated fitter, the conversation, the log.

    \b
    diag demo
    diag demo --fault fuse-horn.blown
    diag demo --fault list
    diag demo --vehicle demo-motorcycle.yaml
    """
    from diag.talk.demo import list_faults, play
    from diag.talk.opening import new_job, open_reasoner, vehicle_file

    if job is not None and job.with_suffix(".md").exists():
        raise DiagError(
            t(
                "{with_suffix}: there is such a file already; expected room for the log beside the "
                "job. Choose another --job.",
                with_suffix=job.with_suffix(".md"),
            )
        )
    file = vehicle_file(vehicle)
    with _progress() as tell:
        reasoner = open_reasoner(file, progress=tell)
    if fault == "list":
        list_faults(reasoner, click.echo)
        return
    with_job = play(
        reasoner, fault, lambda: new_job(reasoner, file, job, ("test-lamp", "meter"), frozenset(), True), click.echo
    )
    from diag.log.export import export_job

    log = with_job.with_suffix(".md")
    log.write_text(export_job(with_job, "markdown", file, reasoner=reasoner), encoding="utf-8")
    click.echo(t("\nLog written: {log}\nAt a real vehicle: diag start", log=log))


speak(main)

if __name__ == "__main__":
    main()
