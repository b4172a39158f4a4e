"""The verb `diag serve`: the conversation as pages for a phone or tablet. Opens what it needs and hands over."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import click

from diag.completing import instruments as instrument_names
from diag.completing import job_names, vehicle_names
from diag.errors import DiagError
from diag.teaching import Verb

__all__ = ["serve"]


@click.command(cls=Verb)
@click.option(
    "--job",
    type=click.Path(path_type=Path),
    shell_complete=job_names,
    help="The job to go on with: its file or name; else begun so.",
)
@click.option("--vehicle", metavar="FILE", shell_complete=vehicle_names, help="Vehicle file that is offered first.")
@click.option(
    "--instruments",
    metavar="LIST",
    shell_complete=instrument_names,
    help="What is at hand: test-lamp,meter,jumper,helper.",
)
@click.option("--port", type=click.IntRange(1, 65535), help="Port; 8765 or the next free one where none is given.")
@click.option("--network", is_flag=True, help="Let devices on this machine's network in, each with a key of its own.")
@click.option("--address", metavar="IP", help="With --network: which of this machine's addresses.")
@click.option("--without-wiring", is_flag=True, help="Rules alone, for a loom that nobody has described.")
@click.option("--without-rules", is_flag=True, help="The computed network alone.")
@click.option("--without-packs", is_flag=True, help="The shipped rules alone, without rule packs and your own.")
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
    from diag.knowledge.folders import packs_left_out
    from diag.serve.app import make_app
    from diag.serve.doors import Doors
    from diag.serve.host import LOOPBACK, hosts_of, keep_giving_keys, listen, network_address, serve_until_stopped
    from diag.serve.shelf import Options, Shelf, named_job
    from diag.serve.telling import Telling, sessions_file
    from diag.talk.opening import vehicle_file

    if address is not None and not network:
        raise DiagError("--address: expected --network beside it; without, only this machine itself is let in.")
    packs = not (without_packs or packs_left_out())
    out = (("wiring", without_wiring), ("rules", without_rules), ("packs", not packs))
    without = frozenset(name for name, left in out if left)
    if without >= {"wiring", "rules"}:
        raise DiagError("without wiring and without rules nothing is left to reason with; leave one of them in")
    given = vehicle_file(vehicle, packs) if vehicle else None
    if given is not None and not given.is_file():
        raise DiagError(f"--vehicle: found no file `{vehicle}`; expected the file of a vehicle.")
    where = named_job(job) if job is not None else None
    options = Options(where, given, _instruments(instruments), without)
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


def _instruments(text: str | None) -> tuple[str, ...] | None:
    from diag.talk.opening import INSTRUMENTS

    if text is None:
        return None
    names = tuple(name.strip() for name in text.split(",") if name.strip())
    for name in names:
        if name not in INSTRUMENTS:
            known = ", ".join(INSTRUMENTS)
            raise DiagError(f"--instruments: found `{name}`; expected some of {known}, separated by commas.")
    return names
