"""Verbs that tell of a vehicle as it is described: `diag vehicle show`, `diag vehicle netlist`; `new` and
`check` join them from `fit_verbs`.

Each opens what it needs and hands over; errors are the caller's to turn into messages.
"""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

import click

from diag import alter_verbs, fit_verbs
from diag.completing import causes, circuits, operates, vehicle_names
from diag.errors import DiagError
from diag.putting import put, refuse_over
from diag.teaching import Group
from diag.texts import t

__all__ = ["file_argument", "operate_option", "vehicle"]

_DRAWN = (".svg", ".html")
_FORMS = (*_DRAWN, ".md", ".txt")

Decorator = Callable[[Callable[..., Any]], Callable[..., Any]]

file_argument: Decorator = click.argument("file", required=False, shell_complete=vehicle_names)
operate_option: Decorator = click.option(
    "--operate",
    "operate",
    metavar="CONTROL=POSITION",
    multiple=True,
    shell_complete=operates,
    help=t(
        "Position of one control, e.g. turn=left; again for more. What is not named is at rest; "
        "unplugged=part.terminal takes wires off, bridged=part.terminal+part.terminal (or +body) "
        "joins them by a fused jumper."
    ),
)

_fault: Decorator = click.option(
    "--fault",
    metavar="ID",
    shell_complete=causes,
    help=t("With this fault, or several parted by commas; `list` shows all."),
)
_replace: Decorator = click.option("--replace", "over", is_flag=True, help=t("Write over a file that is there."))


@click.group(cls=Group)
def vehicle() -> None:
    """Describe a vehicle of your own, and tell what a vehicle must show.

    FILE, of every verb: a path, or the name of one that comes with the program, a rule pack or your own rules; that
    of DIAG_VEHICLE, or the demo pickup, where none is given.

    \b
    diag vehicle new --out my-van.yaml
    diag vehicle check demo-van.yaml
    diag vehicle show --operate turn=left
    """


vehicle.add_command(fit_verbs.new)
vehicle.add_command(fit_verbs.check)
vehicle.add_command(alter_verbs.alter)


@vehicle.command()
@file_argument
@operate_option
@_fault
@click.option("--circuit", metavar="ID", shell_complete=circuits, help=t("One circuit only."))
@click.option("--narrow", is_flag=True, help=t("Forty columns, for a phone or a strip of paper."))
@click.option(
    "--plain",
    is_flag=True,
    help=t("The wiring alone, to hang up: no volts, amps or lit lamps; .svg or .html."),
)
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    help=t("Write to this file: .svg the drawing, .html drawing and table, .md or .txt the table."),
)
@_replace
def show(
    file: str | None,
    operate: tuple[str, ...],
    fault: str | None,
    circuit: str | None,
    narrow: bool,
    plain: bool,
    out: Path | None,
    over: bool,
) -> None:
    """What each lamp, sound, fuse, wire and terminal shows under one operate, sound or with a fault.

    \b
    diag vehicle show --operate ignition=on --operate turn=left
    diag vehicle show demo-van.yaml --circuit horn --operate horn-button=pressed --narrow
    diag vehicle show --operate lights=side --fault earth-rear-left.open --out rear.html
    diag vehicle show --plain --out wiring.html
    """
    from diag.circuit.predict import Predictor
    from diag.knowledge.load import load_knowledge
    from diag.sheet.asked import causes_of, circuit_of, operate_of
    from diag.sheet.figures import Figures
    from diag.talk.opening import vehicle_file

    refuse_over(out, over)
    if out is not None and out.suffix.lower() not in _FORMS:
        raise DiagError(
            t(
                "--out: found `{out}`; expected a name that ends in one of {forms}.",
                out=out.name,
                forms=", ".join(_FORMS),
            )
        )
    if plain and (out is None or out.suffix.lower() not in _DRAWN):
        found = f"`--out {out.name}`" if out is not None else "no --out"
        raise DiagError(
            t("--plain draws the wiring: found {found}; expected --out with a name in .svg or .html.", found=found)
        )
    if plain and fault is not None:
        raise DiagError(t("--plain shows no state: found `--fault {fault}`; leave one of the two away.", fault=fault))
    knowledge = load_knowledge(vehicle_file(file))
    positions = operate_of(knowledge, operate)
    wanted = circuit_of(knowledge, circuit)
    predictor = Predictor(knowledge, ())
    if fault == "list":
        _list_faults(predictor.causes)
        return
    figures = Figures.of(predictor, positions, causes_of(predictor.causes, fault))
    form = out.suffix.lower() if out is not None else ".txt"
    _hand_over(_in_form(figures, wanted, form, narrow, plain), out, over)


@vehicle.command()
@file_argument
@operate_option
@_fault
@click.option(
    "--phase",
    type=click.Choice(["closed", "open"]),
    default="closed",
    show_default=True,
    help=t("Contact of the flasher unit."),
)
@click.option("--out", type=click.Path(path_type=Path), help=t("Write to this file instead of the screen."))
@_replace
def netlist(
    file: str | None, operate: tuple[str, ...], fault: str | None, phase: str, out: Path | None, over: bool
) -> None:
    """The electrical state under one operate as a SPICE netlist, for any circuit simulator.

    \b
    diag vehicle netlist --operate ignition=on --operate turn=left --out turn.cir
    diag vehicle netlist --operate lights=side --fault earth-rear-left.open
    """
    from diag.circuit.netlist import settled_netlist
    from diag.circuit.predict import Predictor
    from diag.knowledge.load import load_knowledge
    from diag.sheet.asked import causes_of, operate_of
    from diag.talk.opening import vehicle_file

    refuse_over(out, over)
    knowledge = load_knowledge(vehicle_file(file))
    positions = operate_of(knowledge, operate)
    predictor = Predictor(knowledge, ())
    if fault == "list":
        _list_faults(predictor.causes)
        return
    text = settled_netlist(predictor, positions, causes_of(predictor.causes, fault), phase)
    _hand_over(text, out, over)


def _list_faults(causes: Iterable[Any]) -> None:
    for cause in causes:
        click.echo(f"{cause.id:42} {cause.title}")


def _hand_over(text: str, out: Path | None, over: bool) -> None:
    """To the screen, or to a file with a word that it is there."""
    if out is None:
        click.echo(text, nl=False)
    else:
        put(out, text.encode("utf-8"), over)


def _in_form(figures: Any, circuits: tuple[str, ...], form: str, narrow: bool, plain: bool) -> str:
    from diag.sheet.table import make_sheet
    from diag.sheet.ways import Ways

    ways = Ways.of(figures.knowledge, figures.network)
    if form == ".txt":
        from diag.sheet.text import NARROW, WIDE, as_text

        columns = NARROW if narrow else min(WIDE, shutil.get_terminal_size().columns)
        return as_text(make_sheet(figures, ways, circuits), columns)
    if form == ".md":
        from diag.sheet.pages import as_markdown

        return as_markdown(make_sheet(figures, ways, circuits))
    from diag.sheet.drawing import draw

    if form == ".svg":
        return draw(figures, ways, circuits, plain=plain)
    from diag.sheet.index import index_of
    from diag.sheet.pages import as_html

    drawings = {circuit: draw(figures, ways, (circuit,), plain=plain) for circuit in circuits}
    index = index_of(figures.knowledge, ways, circuits)
    return as_html(make_sheet(figures, ways, circuits), drawings, index, plain=plain)
