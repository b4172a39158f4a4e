"""Contacts worked by hand, by the engine or by a coil: switches, senders, breakers, dimmers, relays."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from itertools import combinations
from typing import Any

from diag.circuit.kinds.base import OPEN, TOUCH_OHM, Case, Fault, Kind, Site, always
from diag.circuit.network import BODY, Change, Diode, Relay
from diag.knowledge import schema
from diag.texts import t

__all__ = ["KINDS", "contact_positions"]

_COIL_DIODE_V, _COIL_DIODE_OHM = 0.7, 0.05
"""Diode across a relay's coil (common practice, no source)."""

_OTHER_RANGE = 2.5
"""Senders of gauges are made for about 70, 180 or 250 ohm at one end (common practice, no source)."""

# ---------------------------------------------------------------- switch


def contact_positions(part: schema.SwitchPart) -> dict[tuple[str, str], frozenset[str]]:
    """Each contact pair of a switch, in the order of the file, and the positions that close it."""
    found: dict[tuple[str, str], set[str]] = {}
    for position, pairs in part.contacts.items():
        for pair in pairs:
            found.setdefault(pair, set()).add(position)
    return {pair: frozenset(positions) for pair, positions in found.items()}


def _switch(site: Site, part: schema.SwitchPart) -> None:
    for (a, b), positions in contact_positions(part).items():
        site.link(f"{a}-{b}", a, b, part.contact_ohm, "contact", (part.control, positions))


def _switch_faults(case: Case, part: schema.SwitchPart) -> Iterator[Fault]:
    contacts, everywhere = contact_positions(part), frozenset(case.controls[part.control])
    for (a, b), positions in contacts.items():
        pair, detail = f"{a}-{b}", t(" {a} to {b}", a=a, b=b)
        yield case.opens("open", pair, name=f"open-{pair}", detail=detail)
        yield case.adds("resistive", pair, name=f"resistive-{pair}", detail=detail)
        if positions != everywhere:
            yield case.closes("stuck", pair, name=f"stuck-{pair}", detail=detail)
    for a, b in _outputs(contacts):
        ohm = case.ohm("bridged", TOUCH_OHM)
        yield case.bridges("bridged", a, b, ohm, name=f"bridged-{a}-{b}", detail=t(" {a} and {b}", a=a, b=b))


def _outputs(contacts: Mapping[tuple[str, str], frozenset[str]]) -> list[tuple[str, str]]:
    """Pairs of outputs (second in their contact) of one feed that some position tells apart."""
    found: dict[tuple[str, str], None] = {}
    for (first, positions), (second, others) in combinations(contacts.items(), 2):
        a, b = first[1], second[1]
        joined = (a, b) in contacts or (b, a) in contacts or a == b
        if first[0] == second[0] and BODY not in (a, b, first[0]) and positions != others and not joined:
            found[a, b] = None
    return list(found)


# ---------------------------------------------------------------- contacts of the engine, senders of gauges


def _sender(site: Site, part: schema.SenderPart) -> None:
    site.link("G", "G", BODY, part.contact_ohm, "contact", ("engine", frozenset(part.closed_when)))


def _sender_faults(case: Case, part: schema.SenderPart) -> Iterator[Fault]:
    yield case.opens("stuck-open", "G")
    yield case.closes("stuck-closed", "G")


def _breaker(site: Site, part: schema.BreakerPart) -> None:
    site.link("contact", "1", BODY, part.contact_ohm, "contact", (part.control, frozenset(part.closed_when)))


def _breaker_faults(case: Case, part: schema.BreakerPart) -> Iterator[Fault]:
    yield case.opens("stuck-open", "contact")
    yield case.closes("stuck-closed", "contact")


def _level_sender(site: Site, part: schema.LevelSenderPart) -> None:
    for position, ohm in part.positions.items():
        site.link(position, "G", BODY, ohm, "contact", (part.control, frozenset({position})))


def _level_sender_faults(case: Case, part: schema.LevelSenderPart) -> Iterator[Fault]:
    yield case.opens("open", *part.positions)
    yield case.bridges("shorted", "G", BODY, case.ohm("shorted", TOUCH_OHM))
    # one made for another gauge: all its positions so many times more ohms, or fewer
    more = case.factor("wrong-range", _OTHER_RANGE) - 1.0
    change = Change(added_ohm={case.branch(position): more * ohm for position, ohm in part.positions.items()})
    yield Fault("wrong-range", "wrong-range", change)


# ---------------------------------------------------------------- dimmer


def _rheostat(site: Site, part: schema.RheostatPart) -> None:
    for position, ohm in part.positions.items():
        site.link(position, *part.terminals, ohm, "contact", (part.control, frozenset({position})))


def _rheostat_faults(case: Case, part: schema.RheostatPart) -> Iterator[Fault]:
    yield case.opens("open", *part.positions)
    yield case.adds("worn", *part.positions, default=10.0)
    yield case.bridges("bypassed", *part.terminals, case.ohm("bypassed", TOUCH_OHM))


# ---------------------------------------------------------------- relay


def _relay(site: Site, part: schema.RelayPart) -> None:
    coil = site.link("coil", "86", "85", part.coil_ohm * site.copper)
    contacts = [(site.link("87", "30", "87", part.contact_ohm, "relay"), True)]
    if part.change_over:
        contacts.append((site.link("87a", "30", "87a", part.contact_ohm, "relay"), False))
    if part.diode:
        ends = site.node("85"), site.node("86")
        site.builder.diodes.append(Diode(f"{site.part_id}:diode", *ends, _COIL_DIODE_V, _COIL_DIODE_OHM))
    site.builder.relays.append(
        Relay(site.part_id, coil, tuple(contacts), part.pull_in * site.system_v, part.drop_out * site.system_v)
    )


def _relay_faults(case: Case, part: schema.RelayPart) -> Iterator[Fault]:
    yield case.opens("coil-open", "coil")
    yield case.opens("contact-open", "87")
    yield case.adds("contact-burnt", "87", default=0.5)
    welded = case.closes("stuck", "87")
    # a welded make contact holds the armature off its break contact
    away = {case.branch("87a"): OPEN} if part.change_over else {}
    yield replace(welded, change=replace(welded.change, flags=frozenset({case.flag("stuck")}), added_ohm=away))
    if part.change_over:
        yield case.opens("break-contact-open", "87a")


def _relay_swaps(part: schema.RelayPart, a: str, b: str) -> bool:
    """A plain coil and a lone make contact do not mind which way round they are."""
    if {a, b} == {"85", "86"}:
        return part.diode
    return {a, b} != {"30", "87"} or part.change_over


KINDS: Mapping[type[Any], Kind[Any]] = {
    schema.SwitchPart: Kind(_switch, _switch_faults, always),
    schema.SenderPart: Kind(_sender, _sender_faults),
    schema.BreakerPart: Kind(_breaker, _breaker_faults),
    schema.LevelSenderPart: Kind(_level_sender, _level_sender_faults),
    schema.RheostatPart: Kind(_rheostat, _rheostat_faults),
    schema.RelayPart: Kind(_relay, _relay_faults, _relay_swaps),
}
