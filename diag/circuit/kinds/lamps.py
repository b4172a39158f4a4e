"""Lamps with one filament or two, and the unit that makes them flash."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from diag.circuit.kinds.base import TOUCH_OHM, Case, Fault, Kind, Site, always
from diag.circuit.network import Change
from diag.knowledge import schema

__all__ = ["HOLDER", "KINDS", "filament_ids"]

HOLDER = "holder"
"""Inner point of a lamp with two filaments, where both meet the contact of the holder."""
_MISTAKEN_FROM_W = 15.0
"""Lamps of fewer watts have caps that hardly take another wattage."""
_UNLIKE = 1.5
"""Two filaments nearer to each other than this ratio of watts sit in caps that go in one way only."""

# ---------------------------------------------------------------- one filament


def _lamp(site: Site, part: schema.LampPart) -> None:
    site.filament(site.part_id, *part.terminals, part.test_v, part.test_w)


def _lamp_faults(case: Case, part: schema.LampPart) -> Iterator[Fault]:
    lamp = case.network.filament(case.part_id)
    yield Fault("open", "open", Change(scale={lamp: 0.0}))
    other = Change(scale={lamp: case.factor("wrong-wattage", 0.2)})
    yield Fault("wrong-wattage", "wrong-wattage", other, asked=part.test_w < _MISTAKEN_FROM_W)
    # what is the right way round depends on which end of the line is plus
    right = -1.0 if case.positive else 1.0
    for mode, way in (("led", right), ("led-reversed", -right)):
        yield Fault(mode, mode, Change(led={lamp: way}, scale={lamp: case.factor(mode, 0.15)}))


# ---------------------------------------------------------------- two filaments


def filament_ids(part_id: str, part: schema.TwoFilamentPart) -> tuple[str, str]:
    """Ids of the two filaments: `part.terminal`."""
    first, second, _ = part.terminals
    return f"{part_id}.{first}", f"{part_id}.{second}"


def _two(site: Site, part: schema.TwoFilamentPart) -> None:
    for name, terminal, watts in zip(filament_ids(site.part_id, part), part.terminals[:2], part.test_w, strict=True):
        site.filament(name, terminal, HOLDER, part.test_v, watts)
    site.link(HOLDER, HOLDER, part.terminals[2], part.holder_ohm)


def _two_faults(case: Case, part: schema.TwoFilamentPart) -> Iterator[Fault]:
    first, second = (case.network.filament(name) for name in filament_ids(case.part_id, part))
    a, b, _ = part.terminals
    for terminal, filament in ((a, first), (b, second)):
        yield Fault(f"open-{terminal}", "open", Change(scale={filament: 0.0}), f" {terminal}")
    yield case.bridges("bridged", a, b, case.ohm("bridged", TOUCH_OHM))
    ratio = part.test_w[1] / part.test_w[0]
    if max(ratio, 1 / ratio) >= _UNLIKE:
        yield Fault("turned", "turned", Change(scale={first: ratio, second: 1 / ratio}))
    factor = case.factor("wrong-wattage", 0.5)
    other = Change(scale={first: factor, second: factor})
    yield Fault("wrong-wattage", "wrong-wattage", other, asked=max(part.test_w) < _MISTAKEN_FROM_W)
    yield case.opens("holder-open", HOLDER)


# ---------------------------------------------------------------- flasher unit


def _flasher(site: Site, part: schema.FlasherPart) -> None:
    site.link("contact", "49", "49a", part.contact_ohm, "flasher")
    if "C" in part.terminals:
        site.link("tell-tale", "49", "C", part.contact_ohm, "tell-tale")
    if "31" in part.terminals:
        site.link("coil", "49", "31", part.coil_ohm)


def _flasher_faults(case: Case, part: schema.FlasherPart) -> Iterator[Fault]:
    for mode in ("never-opens", "never-closes", "wrong-rating"):
        yield case.flagged(mode)
    if "C" in part.terminals:
        yield case.flagged("tell-tale-contact-open")


KINDS: Mapping[type[Any], Kind[Any]] = {
    schema.LampPart: Kind(_lamp, _lamp_faults),
    schema.TwoFilamentPart: Kind(_two, _two_faults, always),
    schema.FlasherPart: Kind(_flasher, _flasher_faults, always),
}
