"""Other consumers and what stands in their lines: horn, coil, heater, valve, radio, gauge, resistor, diode."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from diag.circuit.kinds.base import TOUCH_OHM, Case, Fault, Kind, Site
from diag.circuit.network import Change, Diode, Needle
from diag.knowledge import schema

__all__ = ["KINDS"]

# ---------------------------------------------------------------- horn


def _horn(site: Site, part: schema.HornPart) -> None:
    site.link("coil", "71", "31b", site.system_v / part.current_a * site.copper, "horn")


def _horn_faults(case: Case, part: schema.HornPart) -> Iterator[Fault]:
    yield case.opens("open", "coil")
    yield case.flagged("seized")
    yield case.bridges("case-earthed", "31b", "body", case.ohm("case-earthed", TOUCH_OHM))


# ---------------------------------------------------------------- ignition coil


def _coil(site: Site, part: schema.CoilPart) -> None:
    site.link("primary", "15", "1", part.primary_ohm * site.copper)


def _coil_faults(case: Case, part: schema.CoilPart) -> Iterator[Fault]:
    yield case.opens("open", "primary")
    # what is left of the winding, as a link beside the whole of it
    left = min(case.factor("shorted-turns", 0.4), 0.99)
    whole = case.network.branches[case.branch("primary")].ohm
    yield case.bridges("shorted-turns", "15", "1", whole * left / (1 - left))


# ---------------------------------------------------------------- plain resistances


def _load(site: Site, part: schema.LoadPart) -> None:
    wound = site.copper if part.kind == "valve" else 1.0  # heater wire hardly changes, electronics not at all
    site.link("load", *part.terminals, site.system_v / part.current_a * wound)


def _load_faults(case: Case, part: schema.LoadPart) -> Iterator[Fault]:
    yield case.opens("open", "load")
    yield case.bridges("shorted", *part.terminals, case.ohm("shorted", TOUCH_OHM))


def _resistor(site: Site, part: schema.ResistorPart) -> None:
    site.link("load", *part.terminals, part.ohm)


def _resistor_faults(case: Case, part: schema.ResistorPart) -> Iterator[Fault]:
    yield case.opens("open", "load")
    yield case.bridges("bridged", *part.terminals, case.ohm("bridged", TOUCH_OHM))


def _gauge(site: Site, part: schema.GaugePart) -> None:
    branch = site.link("load", "15", "G", part.coil_ohm * site.copper)
    low, high = (site.system_v / (part.coil_ohm + ohm) for ohm in (part.low_ohm, part.high_ohm))
    site.builder.needles.append(Needle(site.part_id, branch, low, high))


def _gauge_faults(case: Case, part: schema.GaugePart) -> Iterator[Fault]:
    yield case.opens("open", "load")


# ---------------------------------------------------------------- diode


def _diode(site: Site, part: schema.DiodePart) -> None:
    site.builder.diodes.append(Diode(site.part_id, site.node("A"), site.node("K"), part.on_v, part.ohm))


def _diode_faults(case: Case, part: schema.DiodePart) -> Iterator[Fault]:
    diode = next(i for i, valve in enumerate(case.network.diodes) if valve.id == case.part_id)
    yield Fault("open", "open", Change(diode={diode: 0.0}))
    yield case.bridges("shorted", "A", "K", case.ohm("shorted", TOUCH_OHM))
    yield Fault("reversed", "reversed", Change(diode={diode: -1.0}))


KINDS: Mapping[type[Any], Kind[Any]] = {
    schema.HornPart: Kind(_horn, _horn_faults),
    schema.CoilPart: Kind(_coil, _coil_faults),
    schema.LoadPart: Kind(_load, _load_faults),
    schema.ResistorPart: Kind(_resistor, _resistor_faults),
    schema.GaugePart: Kind(_gauge, _gauge_faults),
    schema.DiodePart: Kind(_diode, _diode_faults),
}
