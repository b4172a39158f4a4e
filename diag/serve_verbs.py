"""The verb `diag serve`: the conversation as pages for a phone or tablet. Opens what it needs and hands over."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import click

from diag.completing import instruments as instrument_names
from diag.completing import job_names, vehicle_names
from diag.errors import DiagError
from diag.given import halves_left_out, instruments_given
from diag.teaching import Verb
from diag.texts import t

__all__ = ["serve"]


@click.command(cls=Verb)
@click.option(
    "--job",
    type=click.Path(path_type=Path),
    shell_complete=job_names,
    help=t("The job to go on with: its file or name; else begun so."),
)
@click.option("--vehicle", metavar="FILE", shell_complete=vehicle_names, help=t("Vehicle file that is offered first."))
@click.option(
    "--instruments",
    metavar="LIST",
    shell_complete=instrument_names,
    help=t("What is at hand: test-lamp,meter,jumper,helper."),
)
@click.option("--port", type=click.IntRange(1, 65535), help=t("Port; 8765 or the next free one where none is given."))
@click.option(
    "--network", is_flag=True, help=t("Let devices on this machine's network in, each with a key of its own.")
)
@click.option("--address", metavar="IP", help=t("With --network: which of this machine's addresses."))
@click.option("--without-wiring", is_flag=True, help=t("Rules alone, for a loom that nobody has described."))
@click.option("--without-rules", is_flag=True, help=t("The computed network alone."))
@click.option("--without-packs", is_flag=True, help=t("The shipped rules alone, without rule packs and your own."))
def serve(
    job: Path | None,
    vehicle: str | None,
    instruments: str | None,
    port: int | None,
    network: bool,
    address: str | None,
    without_wiring: bool,
    without_rules: bool,
    without_packs: bool,
) -> None:
    """The same conversation on a phone or tablet that lies on the wing: pages served from this machine.

    \b
    diag serve  # on this machine only: open the address that it prints
    diag serve --job my-job  # straight into one job, new or old
    diag serve --network  # for a phone on the same network: scan the code
    diag serve --network --port 9000 --vehicle my-van.yaml

    With --network it prints an address with a key. The first device that opens it is let in for twelve hours, and
    the key is spent; press Enter in the terminal for the next device's. Nothing is encrypted: whoever can listen on
    that network can read along, so use one that you trust.

    Every answer is on the disk before the next question is shown. After a crash or a flat battery start it again the
    same way, and the page on the phone goes on. A job that is open in a terminal is not opened here, nor the other
    way round. Ctrl-C ends it; everything is kept.
    """
    from diag.serve.app import make_app
    from diag.serve.doors import Doors
    from diag.serve.host import LOOPBACK, hosts_of, keep_giving_keys, listen, network_address, serve_until_stopped
    from diag.serve.shelf import Options, Shelf, named_job
    from diag.serve.telling import Telling, sessions_file
    from diag.talk.opening import vehicle_file

    if address is not None and not network:
        raise DiagError(t("--address: expected --network beside it; without, only this machine itself is let in."))
    without = halves_left_out(without_wiring, without_rules, without_packs)
    packs = "packs" not in without
    if without >= {"wiring", "rules"}:
        raise DiagError(t("without wiring and without rules nothing is left to reason with; leave one of them in"))
    given = vehicle_file(vehicle, packs) if vehicle else None
    if given is not None and not given.is_file():
        raise DiagError(t("--vehicle: found no file `{vehicle}`; expected the file of a vehicle.", vehicle=vehicle))
    where = named_job(job) if job is not None else None
    options = Options(where, given, instruments_given(instruments), without)
    shelf = Shelf(options, vehicle_file(None, packs))
    sock = listen(network_address(address) if network else LOOPBACK, port)
    host, number = sock.getsockname()[:2]
    doors = Doors(sessions_file(number)) if network else None
    telling = Telling(f"http://{host}:{number}", doors, sys.stdout, shelf.begin_named())
    app = make_app(shelf, hosts_of(host, number), f"diag-{number}", doors)

    def ready() -> None:
        telling.tell()
        if doors is not None:
            doors.told = telling.door
            keep_giving_keys(doors, telling.key, sys.stdin)

    try:
        serve_until_stopped(app, sock, ready)
    finally:
        sock.close()
        shelf.close()
        if doors is not None:
            doors.forget()
    telling.end(shelf.options.job)
    sys.stdout.flush()
    os._exit(0)  # what a worker is still at must not hold the program up; all that counts is on the disk
