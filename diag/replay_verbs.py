"""The verb `diag replay`: recorded jobs against today's knowledge. Opens what it needs and hands over."""

from __future__ import annotations

import os
import shutil
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from diag.completing import vehicle_names
from diag.errors import DiagError
from diag.teaching import Verb
from diag.texts import t

if TYPE_CHECKING:
    from diag.replay.archive import Archive, Folder

__all__ = ["replay"]


@click.command(cls=Verb)
@click.argument("folder", required=False, type=click.Path())
@click.option("--jobs", "workers", type=click.IntRange(1), metavar="N", help=t("Processes; all cores where not given."))
@click.option(
    "--vehicle",
    metavar="NAME",
    shell_complete=vehicle_names,
    help=t("Only jobs of this vehicle: its id, or its file's name."),
)
@click.option("--since", metavar="DAY", help=t("Only jobs begun on or after it, e.g. 2026-03-01 (UTC)."))
@click.option("--remedy", metavar="ID", help=t("Only jobs in which this was carried out."))
@click.option("--list", "listing", is_flag=True, help=t("Say what is there; replay nothing."))
@click.option("--against", type=click.Path(path_type=Path), metavar="FILE", help=t("Compare with an earlier run."))
@click.option("--save", type=click.Path(path_type=Path), metavar="FILE", help=t("Keep this run, for --against."))
@click.option("--only-changed", is_flag=True, help=t("Tell no job that came out as before."))
@click.option(
    "--format", "form", type=click.Choice(["text", "json", "csv"]), default="text", show_default=True, help=t("Form.")
)
@click.option("--without-packs", is_flag=True, help=t("Today's knowledge without packs and rules of your own."))
@click.option("--afresh", is_flag=True, help=t("Work everything out, whatever was kept."))
def replay(
    folder: str | None,
    workers: int | None,
    vehicle: str | None,
    since: str | None,
    remedy: str | None,
    listing: bool,
    against: Path | None,
    save: Path | None,
    only_changed: bool,
    form: str,
    without_packs: bool,
    afresh: bool,
) -> None:
    """Live recorded jobs through again with what is known today, and tell what became different.

    FOLDER: any folder with NAME.jsonl in it or below it, or one such file; where none is named, the recorded jobs
    that come with the program, with rule packs and with rules of your own. Beside a job, NAME.expect.yaml may say
    what it must come to. Without --against a job is compared with that, or with what it was told at the time.

    \b
    diag replay --save before.json
    diag replay --against before.json --only-changed
    diag replay --vehicle demo-van --list
    diag replay transcripts --since 2026-03-01 --list

    Jobs that did not change since the last replay, under knowledge that did not change, are looked up. A file that
    is torn, foreign or newer is named and never stops the others.

    A shared folder is a folder. An address of an object storage (s3://...) is handed to DuckDB if its extension
    httpfs is installed there already; that way is not tried by our tests. Otherwise nothing goes over a network.

    Exit code: 0 nothing is worse; 1 something is: a right conclusion lost or another in its place, an answer that
    lost its meaning, a job that cannot be replayed any more; 2 bad input.
    """
    from diag.replay.archive import Wanted, read_archive
    from diag.replay.baseline import read_baseline, write_baseline
    from diag.replay.compare import compare
    from diag.replay.report import Report, as_csv, as_json, as_text
    from diag.replay.run import replay_archive
    from diag.replay.store import Store
    from diag.talk.opening import cache_folder

    earlier = read_baseline(against) if against is not None else None
    archive = read_archive(_folders(folder, not without_packs), Wanted(vehicle, since, remedy))
    if not archive.jobs:
        raise DiagError(
            t(
                "{folder}: found no job like that; expected NAME.jsonl in it or below.",
                folder=folder or t("the recorded jobs"),
            )
        )
    columns = shutil.get_terminal_size().columns
    if listing:
        click.echo(_overview(archive, columns), nl=False)
        return
    store = None if afresh else Store(cache_folder() / "outcomes")
    with _Bar(len(archive.jobs)) as telling:
        done = replay_archive(archive, workers or os.cpu_count() or 1, store, telling, packs=not without_packs)
    outcomes = tuple(one.now for one in done)
    differences = tuple(compare(one.then if earlier is None else earlier.get(one.name), one.now) for one in done)
    aside = (*archive.aside, *(message for one in done for message in one.messages))
    report = Report(differences, outcomes, aside, only_changed)
    text = {"json": as_json, "csv": as_csv}.get(form, lambda found: as_text(found, columns))(report)
    click.echo(text, nl=False)
    if save is not None:
        write_baseline(save, outcomes)
        click.echo(t("Saved: {save}", save=save), err=True)
    if report.worse:
        click.get_current_context().exit(1)


def _folders(folder: str | None, packs: bool) -> list[Folder]:
    """The one that is named, else the recorded jobs of every layer."""
    from diag.knowledge.layers import installed_layers
    from diag.replay.archive import Folder
    from diag.replay.jobs import job_folders

    if folder is not None:
        return [Folder(folder)]
    found = job_folders(installed_layers() if packs else ())
    return [Folder(str(where), f"{name}/") if name else Folder(str(where)) for name, where in found]


def _overview(archive: Archive, columns: int) -> str:
    """A line or two a job: when, vehicle, answers, what was carried out."""
    lines = []
    for filed in archive.jobs:
        head = f"{filed.opened_at[:10] or t('no date'):10}  {filed.name}"
        tail = t(
            "{vehicle}, {answers} answers; {remedies}",
            vehicle=filed.vehicle or t("no job"),
            answers=filed.answers,
            remedies=", ".join(filed.remedies) or t("no remedy"),
        )
        lines += [head[:columns], f"  {tail}"[:columns]]
    vehicles = {filed.vehicle_file for filed in archive.jobs if filed.vehicle_file}
    known = {filed.knowledge for filed in archive.jobs if filed.knowledge}
    lines.append(
        t(
            "{count} jobs, {count_2} vehicles, {count_3} states of knowledge",
            count=len(archive.jobs),
            count_2=len(vehicles),
            count_3=len(known),
        )
    )
    lines += [*archive.aside]
    return "".join("".join(c if c.isprintable() else "?" for c in line) + "\n" for line in lines)


class _Bar:
    """Progress on standard error, where that is a terminal."""

    def __init__(self, total: int) -> None:
        room = shutil.get_terminal_size().columns
        self._bar: Any = click.progressbar(
            length=total, label="Replaying", width=max(8, min(40, room - 26)), file=sys.stderr
        )

    def __enter__(self) -> _Bar:
        if sys.stderr.isatty():
            self._bar.__enter__()
        return self

    def __exit__(self, *error: object) -> None:
        if sys.stderr.isatty():
            self._bar.__exit__(None, None, None)

    def jobs(self, done: int, total: int) -> None:
        """So many are through."""
        if sys.stderr.isatty():
            self._bar.update(done - self._bar.pos)

    def table(self, share: float) -> None:
        """A vehicle's table is being computed."""
        if share == 1.0:
            self.note(t("A vehicle's table was worked out, and is kept for next time."))

    def note(self, text: str) -> None:
        """A line beside the bar."""
        click.echo(text, err=True)
