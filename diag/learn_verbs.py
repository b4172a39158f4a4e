"""The verb `diag rules learn`: shows what closed jobs would teach, keeps it when told to, takes it back.

Opens what it needs and hands over; errors are the caller's to turn into messages.
"""

from __future__ import annotations

import datetime
import shutil
import sys
import textwrap
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

from diag.errors import DiagError, harmless
from diag.teaching import Verb
from diag.texts import t, tn

if TYPE_CHECKING:
    from diag.knowledge.learned import Learned
    from diag.learn.gather import Aside, Gathered
    from diag.learn.lesson import Lesson
    from diag.learn.rows import Row
    from diag.replay.compare import Difference

__all__ = ["learn"]

_MOST, _WIDE = 8, 78
"""Rows of a section that are shown without --all; columns at most."""


class _NothingToLearnError(DiagError):
    exit_code = 1


@click.command(cls=Verb)
@click.option(
    "--from", "folder", metavar="FOLDER", type=click.Path(path_type=Path), help=t("Jobs in this folder, not your own.")
)
@click.option("--apply", "apply_", is_flag=True, help=t("Learn it without being asked."))
@click.option("--show", is_flag=True, help=t("Show what was learned and is kept; count nothing."))
@click.option("--off", is_flag=True, help=t("Use it no longer; it is kept."))
@click.option("--on", is_flag=True, help=t("Use it again."))
@click.option("--forget", is_flag=True, help=t("Take it away; a copy is kept beside it."))
@click.option("--all", "every", is_flag=True, help=t("All rows and jobs, not only those that move most."))
def learn(folder: Path | None, apply_: bool, show: bool, off: bool, on: bool, forget: bool, every: bool) -> None:
    """Learn from closed jobs how often each fault is met, and which words are misjudged.

    Shows what would change, and in which recorded jobs, then asks; nothing is learned unasked. A remedy counts
    when it was carried out, proved good, and nothing was left wrong.

    Exit codes: 0 done or shown, 1 nothing to learn or nothing learned yet, 2 bad input.

    \b
    diag rules learn
    diag rules learn --from /shared/jobs --apply
    diag rules learn --off
    """
    asked = [name for name, given in (("--show", show), ("--off", off), ("--on", on), ("--forget", forget)) if given]
    counting = ["--from"] * (folder is not None) + ["--apply"] * apply_
    if len(asked) > 1 or (asked and counting):
        raise DiagError(t("found {asked}; expected one of them at a time.", asked=t(" and ").join([*asked, *counting])))
    if show:
        _show(every)
    elif off or on:
        _switch(on)
    elif forget:
        from diag.learn.written import forget as take_away

        click.echo(t("Forgotten. A copy is kept: {take_away}", take_away=take_away()))
    else:
        _learn(folder, apply_, every)


# ---------------------------------------------------------------- what is kept


def _switch(used: bool) -> None:
    from diag.learn.written import switch

    was = switch(used)
    if was.used == used:
        click.echo(t("It is in use already.") if used else t("It is out of use already."))
    else:
        click.echo(t("In use from now on.") if used else t("Out of use; kept for `diag rules learn --on`."))


def _show(every: bool) -> None:
    from diag.knowledge.learned import learned_file, weight
    from diag.learn.written import learned_here, percent, times_words

    learned = learned_here()
    levels = learned.strength
    click.echo(f"{learned_file()}: {(t('in use') if learned.used else t('out of use'))}")
    click.echo(t("Learned on {date}: {counted}.", date=learned.date, counted=_counted(learned)))
    sections = [
        (t("Kinds of faults"), learned.kinds, learned.faults, levels.kind),
        (t("Parts and wires of circuits"), learned.circuits, learned.faults, levels.circuit),
        *((name, {"": own.causes}, own.faults, levels.vehicle) for name, own in learned.vehicles.items()),
    ]
    for title, found, total, level in sections:
        lines = [
            (met.n, f"{outer}{': ' if outer else ''}{name}", met)
            for outer, inner in found.items()
            for name, met in inner.items()
        ]
        lines.sort(key=lambda line: (-line[0], line[1]))
        click.echo(f"\n{title}")
        for n, name, met in lines if every else lines[:_MOST]:
            times = times_words(weight(n, met.share, total, level.strength, level.least))
            click.echo(_wrapped(name, "  "))
            click.echo(
                t(
                    "    {number:g} of {total:g}, published {percent}: {times}",
                    number=round(n, 1),
                    total=total,
                    percent=percent(met.share),
                    times=times,
                )
            )
        _rest(len(lines), every)
    if every and learned.counted:
        click.echo(t("\nJobs counted"))
        for job in learned.counted:
            click.echo(harmless(f"  {job.job} ({job.hash})"))


# ---------------------------------------------------------------- counting


def _learn(folder: Path | None, apply_: bool, every: bool) -> None:
    from diag.errors import KnowledgeError
    from diag.job.folder import jobs_folder
    from diag.knowledge.learned import learning, read_learned
    from diag.learn.gather import gather
    from diag.learn.lesson import lesson_of
    from diag.learn.written import keep

    if folder is None and not jobs_folder().is_dir():
        raise _NothingToLearnError(t("No jobs yet. `diag start` begins one."))
    gathered = gather(folder or jobs_folder())
    with _progress(t("Counting the jobs")) as tell:
        lesson = lesson_of(gathered, learning(), datetime.date.today().isoformat(), tell)
    if not lesson.learned.counted:
        _tell_aside(lesson.aside, lesson.notes, every)
        raise _NothingToLearnError(t("There is nothing to learn: no closed job has a confirmed remedy."))
    try:
        now = read_learned()
    except KnowledgeError as error:
        click.echo(f"{error}\n", err=True)
        now = None
    _tell_lesson(lesson, every)
    if now is not None and now.used and now.digest == lesson.learned.digest:
        click.echo(t("\nAll this is learned already."))
        return
    used = now if now is not None and now.used else None
    with _progress(t("Replaying recorded jobs")) as tell:
        found = _changes(gathered, lesson, used, tell)
    _tell_changes(found, every)
    if not apply_ and not _agreed():
        click.echo(t("Nothing was learned."))
        return
    click.echo(t("Learned: {keep}\nBack again: `diag rules learn --off`, or `--forget`.", keep=keep(lesson.learned)))


def _agreed() -> bool:
    if not sys.stdin.isatty():
        click.echo(t("\nTo learn it: add --apply."))
        return False
    return click.confirm(t("\nLearn this?"), default=False)


def _changes(
    gathered: Gathered, lesson: Lesson, used: Learned | None, tell: Callable[[float], None]
) -> list[Difference]:
    """Recorded jobs of the vehicles counted: the jobs themselves, those shipped and those of packs and one's own
    rules."""
    from diag.knowledge.layers import found_layers
    from diag.learn.conclusions import changes, recorded_on
    from diag.learn.lesson import groups_of
    from diag.replay.jobs import job_folders

    own = {job.hash for job in lesson.learned.counted}
    groups = [g for g in groups_of(gathered) if not g.without and any(job.hash in own for job in g.jobs)]
    folders = [folder for _, folder in job_folders(found_layers()[0])]
    jobs = recorded_on([group.file for group in groups], folders)
    for group in groups:
        for job in group.jobs:
            jobs[group.file].setdefault(job.name, job.records)
    return changes(jobs, used, lesson.learned, tell)


# ---------------------------------------------------------------- telling


def _counted(learned: Learned) -> str:
    faults, jobs = learned.faults, len(learned.counted)
    told = tn("{n:g} fault", "{n:g} faults", faults)
    return t("{faults} in {jobs}", faults=told, jobs=tn("{n} job", "{n} jobs", jobs))


def _tell_lesson(lesson: Lesson, every: bool) -> None:
    from diag.learn.rows import misread_rows, off_words, rows_of

    click.echo(t("Confirmed: {counted}.", counted=_counted(lesson.learned)))
    rows = rows_of(lesson.learned, lesson.causes, lesson.names)
    _tell_rows(rows, every)
    _tell_rows(misread_rows(lesson.learned, lesson.misread), every)
    offs = off_words(lesson.offs)
    if offs:
        click.echo(t("\nReadings (told only)"))
        for line in offs:
            click.echo(_wrapped(line, "  "))
    _tell_aside(lesson.aside, lesson.notes, every)


def _tell_rows(rows: Sequence[Row], every: bool) -> None:
    for section in dict.fromkeys(row.section for row in rows):
        mine = [row for row in rows if row.section == section]
        click.echo(f"\n{_wrapped(section)}")
        for row in mine if every else mine[:_MOST]:
            click.echo(_wrapped(row.title, "  "))
            click.echo(_wrapped(row.words, "    "))
        _rest(len(mine), every)


def _rest(count: int, every: bool) -> None:
    if count > _MOST and not every:
        click.echo(t("  and {number} more (--all)", number=count - _MOST))


def _tell_aside(aside: Sequence[Aside], notes: Sequence[tuple[str, str]], every: bool) -> None:
    odd = [one for one in aside if one.odd]
    plain = [one for one in aside if not one.odd]
    if odd:
        click.echo(t("\nSet aside, look at these"))
        for one in odd:
            click.echo(_wrapped(f"{one.name}: {one.reason}", "  "))
    if plain:
        click.echo(tn("\nNot counted: {n} job", "\nNot counted: {n} jobs", len(plain)))
        for one in plain if every else plain[:_MOST]:
            click.echo(_wrapped(f"{one.name}: {one.reason}", "  "))
        _rest(len(plain), every)
    if notes:
        click.echo(t("\nCounted in part"))
        for name, words in notes if every else notes[:_MOST]:
            click.echo(_wrapped(f"{name}: {words}", "  "))
        _rest(len(notes), every)


def _tell_changes(found: Sequence[Difference], every: bool) -> None:
    from diag.replay.compare import VERDICTS

    changed = [one for one in found if one.verdict != "same" or one.worse]
    moved = [one for one in found if one.changed and one not in changed]
    click.echo(t("\nRecorded jobs replayed: {count}", count=len(found)))
    click.echo(
        _wrapped(
            t("another conclusion in {count}, other chances in {count_2}", count=len(changed), count_2=len(moved)), "  "
        )
    )
    for one in changed:
        mark = "WORSE: " if one.worse else ""
        click.echo(_wrapped(f"{mark}{one.job}: {VERDICTS[one.verdict]}{_from_to(one)}", "  "))
    for one in moved if every else moved[:_MOST]:
        click.echo(_wrapped(f"{one.job}: {_moved_words(one)}", "  "))
    _rest(len(moved), every)


def _from_to(one: Difference) -> str:
    was, now = (", ".join(name or t("nothing clear") for name in side) for side in (one.was, one.now))
    return f", {was} -> {now}" if was != now else ""


def _moved_words(one: Difference) -> str:
    parts = [
        f"{remedy} {100 * a:.0f} % -> {100 * b:.0f} %"
        for remedy, a, b in one.chances
        if a is not None and b is not None and abs(a - b) >= 0.01
    ]
    if one.sooner:
        parts.append(one.sooner_words)
    return ", ".join(parts) or t("answers that mean nothing now")


def _wrapped(text: str, indent: str = "") -> str:
    width = min(_WIDE, shutil.get_terminal_size().columns)
    return textwrap.fill(
        harmless(text), width, initial_indent=indent, subsequent_indent=indent + "  ", break_on_hyphens=False
    )


@contextmanager
def _progress(words: str) -> Iterator[Callable[[float], None]]:
    """A bar on standard error where a person looks at it."""
    if not sys.stderr.isatty():
        yield lambda share: None
        return
    width = max(8, min(40, shutil.get_terminal_size().columns - len(words) - 14))
    with click.progressbar(length=100, label=words, width=width, file=sys.stderr) as bar:
        yield lambda share: bar.update(max(0, round(100 * share) - bar.pos))
