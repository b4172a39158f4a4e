"""Charging volts of the demo vehicle and of the kinds' own figures against published windows.

Windows at the battery, fast idle to 2000 rpm, about 20 °C; all from memory unless a line says more.
"""

from __future__ import annotations

import pytest

from diag.circuit.behaviour import Bench
from diag.circuit.charging import CUT_IN
from diag.circuit.network import Change
from diag.knowledge import schema
from tests.circuit.demo import CHARGING, KEY, REST, Demo

_DYNAMO_V = (13.5, 15.0)
"""Vibrating-contact regulator, battery charged."""
_OPEN_CIRCUIT_V = (14.2, 16.2)
"""The same with no battery current, by type and temperature."""
_CUT_IN_V = (12.7, 13.3)
_RISE_V = 0.5
"""From rest to running, or it does not charge (common practice, no source)."""
_ALTERNATOR_V = (13.8, 14.8)


def test_the_demo_vehicle_charges_within_the_window(demo: Demo) -> None:
    """With and without lights; and by half a volt at least over the rested battery."""
    for operate in (CHARGING, {**CHARGING, "lights": "head"}):
        volts = demo.volts("battery.B+", operate, black="battery.B-")
        assert _DYNAMO_V[0] < volts < _DYNAMO_V[1]
        assert volts - demo.volts("battery.B+", REST, black="battery.B-") > _RISE_V


def test_its_dynamo_is_within_the_open_circuit_window_when_nothing_draws(demo: Demo) -> None:
    """Cut-out open: what the regulator holds by itself."""
    assert _OPEN_CIRCUIT_V[0] < demo.volts("dynamo.D+", CHARGING, "regulator.cut-out-open") < _OPEN_CIRCUIT_V[1]


def test_the_cut_out_closes_where_it_should(demo: Demo) -> None:
    """12.7 to 13.3 V on D+, by the share of the dynamo's own volts at which the program closes it."""
    whole = demo.knowledge.parts["dynamo"]
    assert isinstance(whole, schema.DynamoPart)
    assert _CUT_IN_V[0] < CUT_IN * whole.emf_v < _CUT_IN_V[1]


@pytest.mark.parametrize("cause", ["regulator.set-too-high", "regulator-earth-wire.open", "earth-regulator.open"])
def test_what_overcharges_goes_past_every_window(demo: Demo, cause: str) -> None:
    """A person must be able to tell it by a meter."""
    volts = demo.volts("battery.B+", CHARGING, cause, "battery.B-")
    assert volts > _DYNAMO_V[1] + 0.1


@pytest.mark.parametrize(
    "cause",
    [
        "dynamo.no-output",
        "dynamo.field-open",
        "dynamo-field-wire.open",
        "dynamo-main-wire.open",
        "regulator.field-contact-open",
        "regulator.cut-out-open",
        "dynamo.swapped-D+-DF",
        "regulator.swapped-D+-DF",
    ],
)
def test_what_does_not_charge_leaves_the_battery_where_it_was(demo: Demo, cause: str) -> None:
    """No rise of half a volt."""
    rise = demo.volts("battery.B+", CHARGING, cause, "battery.B-") - demo.volts("battery.B+", REST, black="battery.B-")
    assert rise < 0.1


def test_reverse_feed_through_a_welded_cut_out_lights_the_lamp_with_the_key_off(demo: Demo) -> None:
    """61 lies at the dynamo's volts and 15 hangs on whatever else the key feeds."""
    assert demo.look("charge-lamp", REST) == "dark/none"
    assert demo.look("charge-lamp", REST, "regulator.cut-out-stuck") == "glow/steady"
    assert demo.volts("battery.B+", REST, "regulator.cut-out-stuck", "battery.B-") < 11.0, "tens of amps"
    assert demo.volts("dynamo.D+", KEY, "regulator.cut-out-stuck") > 3.0


def test_default_alternator_lies_within_its_window() -> None:
    """What the kinds give where a file says nothing; with 0.02 ohm of battery and no loads."""
    part = schema.AlternatorPart(kind="alternator", title="Alternator", place="bench")
    assert _ALTERNATOR_V[0] < part.regulated_v < _ALTERNATOR_V[1]


def test_a_bench_without_machines_charges_nothing(demo: Demo) -> None:
    """The engine running is no source by itself."""
    net = demo.network
    bare = type(net)(
        net.nodes,
        tuple(b for b in net.branches if b.role not in ("cut-out", "field")),
        net.filaments,
        tuple(s for s in net.sources if s.kind == "battery"),
    )
    shown, _ = Bench(bare, demo.predictor.rest, {}, {}, demo.predictor.bench.flashers, {}).operate(CHARGING, [Change()])
    plus, minus = net.node("battery.B+"), net.node("battery.B-")
    assert shown.volts[0, plus] - shown.volts[0, minus] < 12.7
