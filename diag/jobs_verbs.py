"""The verb `diag jobs`: lists the jobs of this machine, looks for some of them, opens one, puts one away.

Opens what it needs and hands over; errors are the caller's to turn into messages.
"""

from __future__ import annotations

import json
import shutil
import sys
from collections.abc import Callable, Iterator
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from diag.completing import away_jobs, job_names, vehicle_names
from diag.errors import DiagError
from diag.teaching import Verb
from diag.texts import t

if TYPE_CHECKING:
    from diag.job.glance import Glance

__all__ = ["jobs", "pick"]

_FIRST = 30
"""Jobs told where nobody asks for more."""
_DIGITS = 9
_WIDEST = 80


@click.command(cls=Verb)
@click.argument("words", nargs=-1)
@click.option("--since", metavar="DAY", help=t("Only jobs begun on or after it, e.g. 2026-03-01 (your own time zone)."))
@click.option("--vehicle", metavar="NAME", shell_complete=vehicle_names,
              help=t("Only jobs of this vehicle: its id, or its file's name."))  # fmt: skip
@click.option("--open", "unfinished", is_flag=True, help=t("Only jobs that are not finished."))
@click.option("--closed", is_flag=True, help=t("Only jobs that came to their end."))
@click.option("--all", "every", is_flag=True, help=t("Older ones too, and those in which nothing was answered."))
@click.option("--pick", "picking", is_flag=True, help=t("Choose one of them by a digit, and go on with it."))
@click.option("--put-away", "put", metavar="NAME", shell_complete=job_names,
              help=t("Take a job out of every list and count; nothing is deleted."))  # fmt: skip
@click.option("--away", is_flag=True, help=t("List those that were put away."))
@click.option("--bring-back", "back", metavar="NAME", shell_complete=away_jobs, help=t("Take one of them in again."))
@click.option("--as", "form", type=click.Choice(["text", "json"]), default="text", show_default=True, help=t("Form."))
def jobs(
    words: tuple[str, ...],
    since: str | None,
    vehicle: str | None,
    unfinished: bool,
    closed: bool,
    every: bool,
    picking: bool,
    put: str | None,
    away: bool,
    back: str | None,
    form: str,
) -> None:
    """List the jobs kept on this machine, newest first, or look for some of them.

    WORDS: each must begin a word of the job: of its vehicle, what was complained of, found, noted or done. Without
    any, the newest are listed, unpacked bundles among them. `diag resume` and `diag export` take a name, its
    beginning, or any piece of it that only one job has. On a screen a job takes a few short lines;
    into a pipe or a file, one.

    \b
    diag jobs
    diag jobs horn fuse --since 2026-03-01
    diag jobs --open --pick
    diag jobs --put-away 2026-11-29-082509
    """
    deeds = [name for name, given in (("--put-away", put), ("--bring-back", back)) if given is not None]
    filters = bool(words or since or vehicle or unfinished or closed or every or picking or away)
    if len(deeds) + filters > 1:
        raise DiagError(
            t("found {deeds} beside something else; expected it by itself. Do one after the other.", deeds=deeds[0])
        )
    if unfinished and closed:
        raise DiagError(t("found --open and --closed; expected one of them."))
    if picking and (away or form != "text"):
        raise DiagError(t("found --pick with --away or --as json; expected it with neither. Bring a job back first."))
    if put is not None:
        _put_away(put)
        return
    if back is not None:
        _bring_back(back)
        return
    wanted = _wanted(words, since, vehicle, unfinished, closed)
    whole = every or form == "json" or wanted is not None or not sys.stdout.isatty()
    listing = _Listing(away, every, wanted, None if whole else _FIRST)
    if picking:
        _resume(pick(listing.jobs()))
    elif form == "json":
        from diag.log.listing import job_values

        click.echo(json.dumps([job_values(job) for job in listing.jobs()], indent=1))
    else:
        _tell(listing)


class _Listing:
    """Jobs read one by one, newest first, and what was not told of them."""

    def __init__(self, away: bool, empty: bool, wanted: Callable[[Glance], bool] | None, most: int | None) -> None:
        from diag.job.folder import away_folder, list_jobs, unpacked_jobs

        every = list_jobs(away_folder()) if away else [*list_jobs(), *unpacked_jobs()]
        self.paths = sorted(every, key=lambda path: path.name, reverse=True)
        self.away, self.told, self.read, self.empty, self.damaged = away, 0, 0, 0, 0
        self._with_empty, self._wanted, self._most = empty, wanted, most

    def jobs(self) -> Iterator[Glance]:
        """Those to be told. A damaged one is always among them: nobody knows what stands in it."""
        from diag.job.glance import glance

        for path in self.paths:
            if self._most is not None and self.told == self._most:
                return
            job = glance(path)
            self.read += 1
            if job.problem is not None:
                self.damaged += 1
            elif self._wanted is not None and not self._wanted(job):
                continue
            elif job.empty and not self._with_empty:
                self.empty += 1
                continue
            self.told += 1
            yield job


def _wanted(
    words: tuple[str, ...], since: str | None, vehicle: str | None, unfinished: bool, closed: bool
) -> Callable[[Glance], bool] | None:
    """What is looked for, or None for anything."""
    day = _day(since) if since is not None else None
    if not (words or day or vehicle or unfinished or closed):
        return None
    from diag.log.listing import Titles, says

    titles = Titles()

    def wanted(job: Glance) -> bool:
        named = (job.vehicle, job.vehicle_file, Path(job.vehicle_file).name, Path(job.vehicle_file).stem)
        return (
            (day is None or job.begun.astimezone().date() >= day)
            and (vehicle is None or vehicle.casefold() in [name.casefold() for name in named])
            and not (unfinished and job.ended)
            and not (closed and not job.ended)
            and says(job, words, titles.of)
        )

    return wanted


def _day(text: str) -> date:
    try:
        return datetime.strptime(text, "%Y-%m-%d").date()
    except ValueError:
        raise DiagError(t("--since: found `{text}`; expected a day such as 2026-03-01.", text=text)) from None


def _columns() -> int:
    return min(_WIDEST, shutil.get_terminal_size().columns)


def _tell(listing: _Listing) -> None:
    from diag.log.listing import job_block, told

    screen = sys.stdout.isatty()
    for job in listing.jobs():
        click.echo("\n".join(job_block(job, _columns())) if screen else told(job))
    if not listing.paths:
        click.echo(t("No job was put away.") if listing.away else t("No jobs yet. `diag start` begins one."))
        return
    left = len(listing.paths) - listing.read
    rest = [t("{empty} with nothing answered", empty=listing.empty)] * bool(listing.empty) + [
        t("{left} older", left=left)
    ] * bool(left)
    if not listing.told:
        click.echo(t("None of the jobs is like that.") if not rest else t("No job in which anything was answered."))
    if rest:  # beside the list, so that a pipe gets nothing but jobs
        click.echo(t("Not shown: {rest}. --all shows them.", rest=", ".join(rest)), err=not screen)


# ---------------------------------------------------------------- deeds


def pick(found: Iterator[Glance]) -> Path:
    """One of the newest nine, chosen by a digit; the only one without being asked. Raises DiagError where there is
    none, and leaves by `q`."""
    from diag.fit.keys import reader
    from diag.log.listing import job_block

    shown = [job for job in found if job.problem is None][: _DIGITS + 1]
    if not shown:
        raise DiagError(t("there is no job like that to go on with; `diag jobs` lists them all."))
    if len(shown) == 1:
        return shown[0].path
    for number, job in enumerate(shown[:_DIGITS], start=1):
        first, *more = job_block(job, _columns() - 2)
        click.echo("\n".join([f"{number} {first}", *(f"  {line}" for line in more)]))
    if len(shown) > _DIGITS:
        click.echo(t("There are older ones: more words narrow it."))
    read = reader()
    while True:
        click.echo(t("Which one? 1 to {count}, q for none.", count=min(len(shown), _DIGITS)))
        typed = read(True)
        word = (typed or "").strip().lower() if typed is not None else "q"
        if word == "q":
            raise click.exceptions.Exit(0)
        if word.isascii() and word.isdigit() and 1 <= int(word) <= min(len(shown), _DIGITS):
            return shown[int(word) - 1].path


def _resume(path: Path) -> None:
    from diag.cli import resume

    context = click.get_current_context()
    context.invoke(resume, job=str(path))


def _put_away(name: str) -> None:
    from diag.job.away import put_away
    from diag.job.folder import find_job, from_bundle

    job = find_job(name)
    if from_bundle(job):
        raise DiagError(
            t(
                "{stem}: found a job out of a bundle; expected one begun here. It lies in a folder of its own, which "
                "may be moved: {folder}",
                stem=job.stem,
                folder=job.parent,
            )
        )
    target = put_away(job)
    click.echo(
        t("Put away: {target}\n`diag jobs --bring-back {stem}` takes it in again.", target=target, stem=target.stem)
    )


def _bring_back(name: str) -> None:
    from diag.job.away import bring_back
    from diag.job.folder import away_folder, find_job

    click.echo(t("It is back: {bring_back}", bring_back=bring_back(find_job(name, away_folder()))))
