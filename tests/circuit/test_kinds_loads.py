"""Coil and ballast, heater, valve, radio, diode: what they draw, warm and cold, and how they fail."""

from __future__ import annotations

from pathlib import Path

import pytest

from diag.circuit.network import Change
from tests.circuit.bench import diode_a
from tests.circuit.vehicles import vehicle, wires

_COIL = """\
parts:
  ballast: {kind: resistor, title: Ballast, place: bench, terminals: ["15", 15a], ohm: 1.5 ohm}
  coil: {kind: ignition-coil, title: Coil, place: bench, primary-ohm: 1.5 ohm}
""" + wires(a=("feed.1", "ballast.15"), b=("ballast.15a", "coil.15"), c=("coil.1", "ground-2.31"))


def test_a_ballast_takes_its_share_of_the_coils_volts(tmp_path: Path) -> None:
    """Two equal resistances halve 12.6 V; a bridged ballast doubles the coil's current."""
    lab = vehicle(tmp_path, _COIL)
    now = lab.solve()
    assert now.volts("coil.15", "coil.1") == pytest.approx(now.volts("ballast.15", "ballast.15a"), rel=1e-6)
    assert now.amps("coil:primary") == pytest.approx(12.6 / 3, rel=0.03)
    assert lab.solve("ballast.bridged").amps("coil:primary") == pytest.approx(12.6 / 1.52, rel=0.06)
    assert lab.solve("ballast.open").volts("coil.15") < 0.01
    assert lab.solve("coil.open").volts("coil.15") > 12.5


def test_shorted_turns_leave_two_fifths_of_the_primary(tmp_path: Path) -> None:
    """The coil draws more, gets hot and sparks poorly; an ohmmeter shows it."""
    lab = vehicle(tmp_path, _COIL)
    now = lab.solve("coil.shorted-turns")
    across = now.volts("coil.15", "coil.1")
    assert across / now.amps("ballast:load") == pytest.approx(0.4 * 1.5, rel=1e-4)


_LOADS = """\
parts:
  heater: {kind: heater, title: Heater, place: bench, terminals: ["15", "31"], current-a: 5 A}
  valve: {kind: valve, title: Valve, place: bench, terminals: ["15", "31"], current-a: 0.5 A}
  radio: {kind: accessory, title: Radio, place: bench, terminals: ["75", "31"], current-a: 1 A}
""" + wires(
    a=("feed.1", "heater.15"),
    b=("feed.2", "valve.15"),
    c=("feed.3", "radio.75"),
    d=("heater.31", "ground-2.31"),
    e=("valve.31", "ground-2.31"),
    f=("radio.31", "ground-2.31"),
)


@pytest.mark.parametrize(("load", "amps"), [("heater", 5.0), ("valve", 0.5), ("radio", 1.0)])
def test_a_load_draws_its_current_fails_open_and_fails_short(tmp_path: Path, load: str, amps: float) -> None:
    """At 12 V what the file says; open nothing; shorted all that the wires let through."""
    lab = vehicle(tmp_path, _LOADS)
    now = lab.solve()
    across = now.volts(f"{load}.{'75' if load == 'radio' else '15'}", f"{load}.31")
    assert now.amps(f"{load}:load") == pytest.approx(amps * across / 12, rel=1e-9)
    assert lab.solve(f"{load}.open").amps(f"{load}:load") == 0
    assert lab.solve(f"{load}.shorted").drawn() > 100


def test_windings_gain_with_warmth_and_heater_wire_does_not(tmp_path: Path) -> None:
    """IEC 60028: copper gains 0.393 % a kelvin from 20 °C; ballasts and heaters are of other metal."""
    factor = 1 + 0.00393 * (60 - 20)
    for text, wound, plain in (
        (_LOADS, {"valve:load": 24.0}, {"heater:load": 2.4, "radio:load": 12.0}),
        (_COIL, {"coil:primary": 1.5}, {"ballast:load": 1.5}),
    ):
        lab = vehicle(tmp_path / str(len(text)), text, more="ambient-c: 60 degC")
        ohms = {branch.id: branch.ohm for branch in lab.network.branches}
        for name, ohm in wound.items():
            assert ohms[name] == pytest.approx(ohm * factor)
        for name, ohm in plain.items():
            assert ohms[name] == pytest.approx(ohm)


_DIODE = """\
parts:
  diode: {kind: diode, title: Diode, place: bench, on-v: 0.7 V, ohm: 0.1 ohm}
  load: {kind: accessory, title: Load, place: bench, terminals: ["15", "31"], current-a: 2 A}
""" + wires(a=("%s", "%s"), b=("%s", "load.15"), c=("load.31", "ground-2.31"))
_FORWARD = _DIODE % ("feed.1", "diode.A", "diode.K")
_BACKWARD = _DIODE % ("feed.1", "diode.K", "diode.A")


def test_a_diode_passes_one_way_and_costs_its_knee(tmp_path: Path) -> None:
    """Some 0.9 V at 2 A: its current is that of its law at the volts it has, written out a second time."""
    lab = vehicle(tmp_path / "there", _FORWARD)
    now = lab.solve()
    lost = now.volts("diode.A", "diode.K")
    assert 0.8 < lost < 1.0
    assert now.amps("load:load") == pytest.approx(diode_a(lost, 0.7, 0.1), rel=1e-4)
    back = vehicle(tmp_path / "back", _BACKWARD)
    assert back.solve().amps("load:load") < 1e-4
    assert back.solve("diode.reversed").amps("load:load") > 1.8


def test_faults_of_a_diode(tmp_path: Path) -> None:
    """Open: nothing passes. Reversed: nothing passes this way. Shorted: the knee is gone."""
    lab = vehicle(tmp_path, _FORWARD)
    assert lab.change("diode.open") == Change(diode={0: 0.0})
    assert lab.change("diode.reversed") == Change(diode={0: -1.0})
    for mode in ("open", "reversed"):
        assert lab.solve(f"diode.{mode}").amps("load:load") < 1e-4
    assert lab.solve("diode.shorted").volts("diode.A", "diode.K") < 0.1
    assert lab.causes["diode.reversed"].remedy == "diode.turn-round"
