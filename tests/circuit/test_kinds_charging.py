"""Dynamo, regulator and alternator in either polarity: what makes volts, and how it fails."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import pytest

from diag.circuit.network import Change
from tests.circuit.vehicles import Lab, Now, vehicle, wires

_DYNAMO = """\
parts:
  dynamo: {kind: dynamo, title: Dynamo, place: bench, emf-v: 16 V}
  box: {kind: regulator, title: Regulator, place: bench}
  lamp: {kind: lamp, title: Tell-tale, place: bench, terminals: ["15", "61"], test-w: 2 W, colour: red,
    tell-tale: true}
""" + wires(
    a=("dynamo.D+", "box.D+"),
    b=("dynamo.DF", "box.DF"),
    c=("box.B+", "feed.1"),
    d=("box.61", "lamp.61"),
    e=("lamp.15", "feed.2"),
    f=("box.31", "ground-2.31"),
)
_STANDING = ("box:cut-out",)


@pytest.mark.parametrize(("earth", "sign"), [("negative", 1.0), ("positive", -1.0)])
def test_a_dynamo_charges_either_polarity(tmp_path: Path, earth: str, sign: float) -> None:
    """On positive earth D+ is below body, and current into the battery is still counted as charging."""
    lab = vehicle(tmp_path, _DYNAMO, earth=earth)
    still = lab.solve(off=_STANDING, emf={"dynamo": 0.0})
    assert abs(still.volts("box.61")) < 2 < sign * still.lamp_v("lamp")
    turning = lab.solve(emf={"dynamo": 16.0})
    assert sign * turning.volts("dynamo.D+") > 13
    assert turning.amps("box:cut-out") > 5
    assert turning.drawn() < -5, "into the battery"
    assert sign * turning.amps("dynamo:field") > 1


def test_faults_of_a_dynamo_leave_it_without_armature_or_field(tmp_path: Path) -> None:
    """Worn brushes: nothing at D+ and the tell-tale has no way to body but the field and the regulator."""
    lab = vehicle(tmp_path, _DYNAMO)
    assert lab.change("dynamo.no-output").flags == {"dynamo:no-output"}
    worn = lab.solve("dynamo.armature-open", off=_STANDING)
    sound = lab.solve(off=_STANDING, emf={"dynamo": 0.0})
    assert worn.volts("box.61") > 0.5 > sound.volts("box.61")
    assert lab.solve("dynamo.field-open", emf={"dynamo": 16.0}).amps("dynamo:field") == 0


def test_faults_of_a_regulator(tmp_path: Path) -> None:
    """A welded cut-out feeds the armature from the battery at rest; a dirty field contact leaves no field."""
    lab = vehicle(tmp_path, _DYNAMO)
    welded = lab.solve("box.cut-out-stuck", emf={"dynamo": 0.0})
    assert welded.drawn() > 50
    assert lab.change("box.cut-out-stuck").flags == {"box:cut-out-stuck"}
    assert lab.change("box.cut-out-open").flags == {"box:cut-out-open"}
    assert lab.change("box.set-too-high").flags == {"box:set-too-high"}
    assert lab.solve("box.field-contact-open", emf={"dynamo": 16.0}).amps("dynamo:field") == pytest.approx(0, abs=1e-4)


_ALTERNATOR = """\
parts:
  alternator: {kind: alternator, title: Alternator, place: bench, regulated-v: 14.2 V, inner-ohm: 0.03 ohm}
  lamp: {kind: lamp, title: Tell-tale, place: bench, terminals: ["15", "61"], test-w: 2 W, colour: red,
    tell-tale: true}
""" + wires(a=("alternator.B+", "feed.1"), b=("alternator.D+", "lamp.61"), c=("lamp.15", "feed.2"))


def _still(lab: Lab, cause: str | None = None) -> Now:
    """Engine standing: diodes hold the machine off the battery, and the exciter off it."""
    change = Change() if cause is None else lab.change(cause)
    held = replace(change, emf={lab.network.source("alternator"): (0.0, math.inf)})
    off = () if lab.network.branch("alternator:lamp-diode") in change.closed else ("alternator:lamp-diode",)
    return lab.solve(held, off=off)


def test_the_charge_lamp_of_an_alternator_feeds_its_field(tmp_path: Path) -> None:
    """Standing: the lamp is lit through the field. Charging: D+ is at B+ and the lamp is out."""
    lab = vehicle(tmp_path, _ALTERNATOR)
    still, running = _still(lab), lab.solve()
    assert still.lamp_v("lamp") > 10 and 0.1 < still.amps("alternator:field") < 0.2
    assert running.volts("feed.1") > 12.9
    assert abs(running.lamp_v("lamp")) < 0.5
    assert running.drawn() < -10
    link = lab.network.branches[lab.network.branch("alternator:lamp-diode")]
    assert link.role == "excited"
    assert [lab.network.nodes[end] for end in (link.a, link.b)] == ["alternator.B+", "alternator.D+"]


def test_an_alternator_on_positive_earth_charges_downwards(tmp_path: Path) -> None:
    """Its plus is its case."""
    lab = vehicle(tmp_path, _ALTERNATOR, earth="positive")
    assert lab.solve().volts("feed.1") < -12.9
    assert lab.solve().drawn() < -10


def test_a_shorted_diode_keeps_d_plus_alive_at_rest(tmp_path: Path) -> None:
    """The battery reaches the field through the short: tell-tale dark with the key on, battery empty by morning."""
    lab = vehicle(tmp_path, _ALTERNATOR)
    found = _still(lab, "alternator.diode-short")
    assert found.volts("alternator.D+") > 12
    assert abs(found.lamp_v("lamp")) < 0.2
    assert found.drawn() > 2.5
    assert lab.change("alternator.diode-short").flags == {"alternator:diode-short"}


def test_the_other_faults_of_an_alternator_are_left_to_its_behaviour(tmp_path: Path) -> None:
    """Output, setting and diodes are words for what it does while it turns; the exciter's link is open as well."""
    lab = vehicle(tmp_path, _ALTERNATOR)
    for mode in ("no-output", "set-too-high", "diode-open", "exciter-open"):
        assert f"alternator:{mode}" in lab.change(f"alternator.{mode}").flags
    gone = lab.change("alternator.exciter-open").added_ohm
    assert gone == {lab.network.branch("alternator:lamp-diode"): float("inf")}
    assert "swapped-B+-D+" in lab.of("alternator")


def test_a_field_winding_warms_with_the_engine_bay(tmp_path: Path) -> None:
    """4 ohm at 20 °C are 4.94 at 80 °C (IEC 60028), and so the tell-tale's way is a little longer."""
    warm = vehicle(tmp_path / "warm", _ALTERNATOR, more="ambient-c: 80 degC")
    cold = vehicle(tmp_path / "cold", _ALTERNATOR, more="ambient-c: -20 degC")
    at = warm.network.branch("alternator:field")
    assert warm.network.branches[at].ohm == pytest.approx(4 * (1 + 0.00393 * 60))
    assert cold.network.branches[at].ohm == pytest.approx(4 * (1 - 0.00393 * 40))
