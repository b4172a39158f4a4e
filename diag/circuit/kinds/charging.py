"""Dynamo with its regulator, and alternator: what makes volts while the engine runs.

On a vehicle whose body is plus they make them below body. Whether they charge is behaviour's to say.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Any

from diag.circuit.kinds.base import OPEN, Case, Fault, Kind, Site, always
from diag.circuit.network import Change
from diag.knowledge import schema

__all__ = ["KINDS"]

_LINK_OHM = 0.001

# ---------------------------------------------------------------- dynamo


def _dynamo(site: Site, part: schema.DynamoPart) -> None:
    site.generator("D+", 0.0, part.armature_ohm, "dynamo")
    other = "body" if part.field == "to-earth" else "D+"
    site.link("field", "DF", other, part.field_ohm * site.copper, "field")


def _dynamo_faults(case: Case, part: schema.DynamoPart) -> Iterator[Fault]:
    dead = frozenset({case.flag("no-output")})
    source = case.network.source(case.part_id)
    yield Fault("armature-open", "armature-open", Change(emf={source: (0.0, OPEN)}, flags=dead))
    yield case.opens("field-open", "field")
    yield case.flagged("no-output")


# ---------------------------------------------------------------- regulator


def _regulator(site: Site, part: schema.RegulatorPart) -> None:
    site.link("61", "D+", "61", _LINK_OHM)
    # from the machine to the battery, so that charging is a positive current in either polarity
    out = ("B+", "D+") if site.positive else ("D+", "B+")
    site.link("cut-out", *out, part.contact_ohm, "cut-out")
    contact = ("D+", "DF") if part.field == "to-earth" else ("DF", "31")
    site.link("field-contact", *contact, part.contact_ohm)
    site.link("winding", "D+", "31", part.winding_ohm * site.copper)


def _regulator_faults(case: Case, part: schema.RegulatorPart) -> Iterator[Fault]:
    yield case.flagged("cut-out-open")
    welded = case.closes("cut-out-stuck", "cut-out")
    yield replace(welded, change=replace(welded.change, flags=frozenset({case.flag("cut-out-stuck")})))
    yield case.opens("field-contact-open", "field-contact")
    yield case.flagged("set-too-high")


# ---------------------------------------------------------------- alternator


def _alternator(site: Site, part: schema.AlternatorPart) -> None:
    site.generator("B+", part.regulated_v, part.inner_ohm, "alternator")
    site.link("field", "D+", "body", part.field_ohm * site.copper, "field")
    site.link("lamp-diode", "B+", "D+", _LINK_OHM, "excited")


def _alternator_faults(case: Case, part: schema.AlternatorPart) -> Iterator[Fault]:
    yield case.flagged("no-output")
    yield case.flagged("set-too-high")
    yield case.flagged("diode-open")
    # through a shorted output diode and the winding the battery reaches D+ by way of the exciter diodes
    shorted = case.closes("diode-short", "lamp-diode")
    yield replace(shorted, change=replace(shorted.change, flags=frozenset({case.flag("diode-short")})))
    gone = case.opens("exciter-open", "lamp-diode")
    yield replace(gone, change=replace(gone.change, flags=frozenset({case.flag("exciter-open")})))


KINDS: Mapping[type[Any], Kind[Any]] = {
    schema.DynamoPart: Kind(_dynamo, _dynamo_faults, always),
    schema.RegulatorPart: Kind(_regulator, _regulator_faults, always),
    schema.AlternatorPart: Kind(_alternator, _alternator_faults, always),
}
