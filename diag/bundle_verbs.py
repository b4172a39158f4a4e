"""The verbs `diag bundle` and `diag unbundle`: a job as one file for another machine, and a job out of one.

Opens what it needs and hands over; errors are the caller's to turn into messages.
"""

from __future__ import annotations

from pathlib import Path

import click

from diag.completing import job_names, vehicle_names
from diag.teaching import Verb
from diag.texts import t

__all__ = ["bundle", "unbundle"]


@click.command(cls=Verb)
@click.argument("job", shell_complete=job_names)
@click.option("--out", type=click.Path(path_type=Path), help=t("Write to this file; JOB.zip here where none is given."))
@click.option(
    "--vehicle",
    metavar="FILE",
    shell_complete=vehicle_names,
    help=t("Vehicle file, where the one that the job names has gone."),
)
@click.option("--without-packs", is_flag=True, help=t("With the shipped rules alone."))
def bundle(job: str, out: Path | None, vehicle: str | None, without_packs: bool) -> None:
    """One file of a job: journal, log in every form, vehicle and rules as they are today.

    Any program that opens ZIP files can look into it years from now; `diag unbundle` goes on with the job on another
    machine, with the rules that came with it. Nothing is written over.

    \b
    diag bundle 2026-11-29-082509
    diag bundle 2026-11-29-082509 --out /media/stick/my-job.zip
    """
    from diag.bundle.make import bundle_bytes
    from diag.errors import DiagError
    from diag.given import packs_left_out_by
    from diag.job.folder import find_job
    from diag.knowledge.writer import put_new
    from diag.talk.opening import vehicle_file

    packs = not packs_left_out_by(without_packs)
    path = find_job(job)
    target = out or Path(f"{path.stem}.zip")
    made = bundle_bytes(path, vehicle_file(vehicle, packs) if vehicle else None, packs=packs)
    try:
        put_new(target, made, 0o600)
    except FileExistsError as error:
        raise DiagError(
            t("{target}: found a file of this name; expected a new one. Name another: --out FILE.", target=target)
        ) from error
    click.echo(t("Written: {target} ({count} kB)", target=target, count=len(made) // 1024 + 1))
    click.echo(t("It may hold names, places and notes: give it only to whom they concern."))


@click.command(cls=Verb)
@click.argument("file", type=click.Path(path_type=Path))
@click.option(
    "--into", type=click.Path(path_type=Path), help=t("Folder to unpack into; the platform's data folder if none.")
)
def unbundle(file: Path, into: Path | None) -> None:
    """Unpack a bundle: look at its log, or go on with the job, with the rules that came with it.

    Sizes, names and sums are checked before anything stands in its place. Unpacked twice, the first stays as it is.

    \b
    diag unbundle my-job.zip
    diag unbundle my-job.zip --into /tmp/looked-at
    """
    from diag.bundle.contents import LOG
    from diag.bundle.unpack import unpack
    from diag.job.folder import bundles_folder, find_job, from_bundle

    made = unpack(file, into if into is not None else bundles_folder())
    click.echo(f"{(t('Was unpacked before') if made.there else t('Unpacked'))}: {made.folder}")
    click.echo(
        t(
            "{vehicle}, last worked on {last} (UTC), written by {program}.",
            vehicle=made.listed.vehicle,
            last=made.listed.last,
            program=made.listed.program,
        )
    )
    click.echo(t("The log: {number}", number=made.folder / LOG / "log.html"))
    job = made.job.stem if from_bundle(made.job) and find_job(made.job.stem) == made.job else made.job
    click.echo(t("Go on with the rules that came with it (--today for this machine's):\n  diag resume {job}", job=job))
