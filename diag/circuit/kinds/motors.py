"""Whatever turns: starter with its solenoid, wiper motor with its park switch, blower and pump.

A motor is the resistance it has while it runs; one that is held draws more, which a link beside it adds.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Any

from diag.circuit.kinds.base import Case, Fault, Kind, Site, always
from diag.circuit.network import Change, Motor, Relay
from diag.knowledge import schema

__all__ = ["KINDS"]

_INNER = "motor"
"""Point of a starter between its solenoid's contact and its winding."""
_CRANKING = 0.8
"""Share of the system volts that is left to a starter that turns an engine (common practice, no source)."""
_BYPASS_OHM = 0.02
"""Small contact beside the solenoid's large one (common practice, no source)."""
_STALLED = 4.0
"""Current of a motor that is held against one that runs, where kinds.yaml does not say."""


def _held(case: Case, *ways: tuple[str, str, str]) -> Change:
    """More current from each (branch, terminal, terminal), and the flag that nothing turns."""
    more = case.factor("seized", _STALLED) - 1.0
    links = tuple(case.inside(a, b, case.network.branches[case.branch(what)].ohm / more) for what, a, b in ways)
    return Change(extra=links, flags=frozenset({case.flag("seized")}))


# ---------------------------------------------------------------- starter


def _starter(site: Site, part: schema.StarterPart) -> None:
    coil = site.link("solenoid", "50", part.case, part.solenoid_ohm * site.copper)
    contacts = [site.link("contact", "30", _INNER, part.contact_ohm, "relay")]
    motor = site.link("motor", _INNER, part.case, part.motor_ohm * site.copper, "motor")
    if part.case != "body":
        site.link("stray", part.case, "body", part.stray_ohm)
    if part.bypass:
        contacts.append(site.link("bypass", "30", "15a", _BYPASS_OHM, "relay"))
    works = part.pull_in * site.system_v, part.drop_out * site.system_v
    site.builder.relays.append(Relay(site.part_id, coil, tuple((contact, True) for contact in contacts), *works))
    site.builder.motors.append(Motor(site.part_id, _CRANKING * site.system_v, motor))


def _starter_faults(case: Case, part: schema.StarterPart) -> Iterator[Fault]:
    yield case.opens("solenoid-open", "solenoid")
    yield case.adds("contact-burnt", "contact", default=0.05)
    welded = case.closes("contact-stuck", "contact")
    yield replace(welded, change=replace(welded.change, flags=frozenset({case.flag("contact-stuck")})))
    yield case.opens("motor-open", "motor")
    yield Fault("seized", "seized", _held(case, ("motor", _INNER, part.case)))
    if part.bypass:
        yield case.opens("bypass-open", "bypass")


def _starter_swaps(part: schema.StarterPart, a: str, b: str) -> bool:
    """Nobody puts the strap of the engine on a stud of the solenoid."""
    return "31" not in (a, b)


# ---------------------------------------------------------------- motor with two terminals


def _motor(site: Site, part: schema.MotorPart) -> None:
    branch = site.link("motor", *part.terminals, site.system_v / part.current_a * site.copper, "motor")
    site.builder.motors.append(Motor(site.part_id, site.system_v, branch))


def _motor_faults(case: Case, part: schema.MotorPart) -> Iterator[Fault]:
    yield case.opens("open", "motor")
    yield Fault("seized", "seized", _held(case, ("motor", *part.terminals)))


# ---------------------------------------------------------------- wiper motor


def _wiper(site: Site, part: schema.WiperMotorPart) -> None:
    slow = site.link("slow", "53", "31", site.system_v / part.slow_a * site.copper, "motor")
    fast = site.link("fast", "53b", "31", site.system_v / part.fast_a * site.copper, "motor")
    run = site.link("run", "53a", "53e", part.contact_ohm, "park")
    rest = site.link("rest", "53e", "31", part.contact_ohm, "park")
    site.builder.motors.append(Motor(site.part_id, site.system_v, slow, fast, (run, rest)))


def _wiper_faults(case: Case, part: schema.WiperMotorPart) -> Iterator[Fault]:
    yield case.opens("slow-open", "slow")
    yield case.opens("fast-open", "fast")
    yield case.opens("park-feed-open", "run")
    yield case.opens("park-earth-open", "rest")
    yield case.flagged("park-stuck")
    yield Fault("seized", "seized", _held(case, ("slow", "53", "31"), ("fast", "53b", "31")))


KINDS: Mapping[type[Any], Kind[Any]] = {
    schema.StarterPart: Kind(_starter, _starter_faults, _starter_swaps),
    schema.MotorPart: Kind(_motor, _motor_faults),
    schema.WiperMotorPart: Kind(_wiper, _wiper_faults, always),
}
