"""Lamps with one filament and with two, LED substitutes, lamps of another voltage."""

from __future__ import annotations

from pathlib import Path

import pytest
from scipy.optimize import brentq  # type: ignore[import-untyped]

from tests.circuit.bench import filament_a, led_a
from tests.circuit.vehicles import Lab, vehicle, wires

P21_5W = {6: (6.75, 26.0, 6.0), 12: (13.5, 25.0, 6.0), 24: (28.0, 28.0, 10.0)}
"""System volts to test volts and objective watts of both filaments (Directive 97/24/EC, P21/5W; test volts
as in UN R37)."""

_REAR = """\
parts:
  rear: {{kind: two-filament-lamp, title: Rear lamp, place: bench, terminals: ["54", "58", "31"],
    test-w: [{0} W, {1} W], test-v: {2} V}}
  other: {{kind: lamp, title: Other tail, place: bench, terminals: ["58", "31"], test-w: {1} W, test-v: {2} V}}
  stop: {{kind: switch, title: Stop, place: bench, control: key, terminals: ["15", "54"],
    contacts: {{start: [["15", "54"]]}}}}
  light: {{kind: switch, title: Light, place: bench, control: lights, terminals: ["30", "58"],
    contacts: {{side: [["30", "58"]]}}}}
""" + wires(
    a=("feed.1", "stop.15"),
    b=("stop.54", "rear.54"),
    c=("feed.2", "light.30"),
    d=("light.58", "rear.58"),
    e=("light.58", "other.58"),
    f=("rear.31", "ground-2.31"),
    g=("other.31", "ground-2.31"),
).replace("{", "{{").replace("}", "}}")  # fmt: skip
_STOP, _SIDE = {"key": "start"}, {"lights": "side"}


def _rear(tmp_path: Path, system_v: int = 12, **how: object) -> Lab:
    test_v, major, minor = P21_5W[system_v]
    return vehicle(tmp_path, _REAR.format(major, minor, test_v), system_v=system_v, **how)


def test_a_lamp_with_two_filaments_is_two_lamps_that_meet_in_the_holder(tmp_path: Path) -> None:
    """Each answers to its own terminal; the contact of the holder is in the way of both."""
    lab = _rear(tmp_path)
    names = [lamp.id for lamp in lab.network.filaments]
    assert names[:2] == ["rear.54", "rear.58"]
    assert lab.network.has("rear.holder") and "rear.holder" not in lab.knowledge.terminals
    both = lab.solve(operate={**_STOP, **_SIDE})
    assert both.amps("rear:holder") == pytest.approx(
        filament_a(both.lamp_v("rear.54"), 13.5, 25) + filament_a(both.lamp_v("rear.58"), 13.5, 6), rel=1e-6
    )


@pytest.mark.parametrize("system_v", [6, 12, 24])
def test_its_filaments_draw_what_the_regulation_says(tmp_path: Path, system_v: int) -> None:
    """P21/5W at its test volts: 26 and 6 W on 6 V, 25 and 6 W on 12 V, 28 and 10 W on 24 V."""
    test_v, major, minor = P21_5W[system_v]
    lab = _rear(tmp_path, system_v)
    now = lab.solve(operate={**_STOP, **_SIDE}, emf={"battery": test_v * 1.03})
    for name, watts in (("rear.54", major), ("rear.58", minor)):
        volts = now.lamp_v(name)
        at = lab.network.filament(name)
        drawn = float(now.solution.lamp_a[0, at])
        assert drawn * volts == pytest.approx(watts * (volts / test_v) ** 1.55, rel=2e-3)  # I goes with V^0.55


@pytest.mark.parametrize(("mode", "dark"), [("open-54", "rear.54"), ("open-58", "rear.58")])
def test_a_broken_filament_leaves_the_other(tmp_path: Path, mode: str, dark: str) -> None:
    """The lamp looks whole from outside and does half its work."""
    lab = _rear(tmp_path)
    change = lab.change(f"rear.{mode}")
    assert change.scale == {lab.network.filament(dark): 0.0}
    now = lab.solve(f"rear.{mode}", {**_STOP, **_SIDE})
    assert float(now.solution.lamp_a[0, lab.network.filament(dark)]) == 0.0


def test_without_contact_in_the_holder_stop_feeds_back_to_the_tail_lamps(tmp_path: Path) -> None:
    """The pedal lights the side lamps: through both filaments in series, then the other lamp to body."""
    lab = _rear(tmp_path)
    now = lab.solve("rear.holder-open", _STOP)
    assert now.lamp_v("other") > 4
    assert now.lamp_v("rear.58") == pytest.approx(-now.lamp_v("other"), abs=0.2), "equal filaments in series"
    assert lab.solve(operate=_STOP).lamp_v("other") < 0.1


def test_a_broken_filament_on_its_neighbour_joins_both_feeds(tmp_path: Path) -> None:
    """Stop pressed, and the tail lamps burn with it."""
    lab = _rear(tmp_path)
    now = lab.solve("rear.bridged", _STOP)
    assert now.lamp_v("other") > 11
    assert now.lamp_v("rear.54") == pytest.approx(now.lamp_v("rear.58"), abs=0.3)


def test_a_lamp_put_in_the_wrong_way_round_changes_its_filaments_over(tmp_path: Path) -> None:
    """Bright tail lamp, weak stop lamp: each contact meets the other filament."""
    lab = _rear(tmp_path)
    stop, side = lab.solve("rear.turned", _STOP), lab.solve("rear.turned", _SIDE)
    assert stop.amps("b") == pytest.approx(lab.solve(operate=_SIDE).amps("d"), rel=0.02)
    assert side.amps("d") == pytest.approx(lab.solve(operate=_STOP).amps("b"), rel=0.02)


def test_a_cap_that_goes_in_one_way_only_is_never_turned(tmp_path: Path) -> None:
    """Main and dipped beam of one lamp are nearly alike and sit in a cap with three unequal lugs."""
    text = """\
parts:
  head: {kind: two-filament-lamp, title: Headlamp, place: bench, terminals: [56a, 56b, "31"], test-w: [75 W, 68 W],
    test-v: 13.2 V}
"""
    lab = vehicle(
        tmp_path, text + wires(a=("feed.1", "head.56a"), b=("feed.2", "head.56b"), c=("head.31", "ground.31"))
    )
    assert "turned" not in lab.of("head")
    assert {"swapped-56a-56b", "swapped-56a-31", "swapped-56b-31"} < lab.of("head")


def test_swapping_feed_and_earth_of_two_filaments_lights_the_tail_lamps_with_the_pedal(tmp_path: Path) -> None:
    """58 and 31 changed over: the common contact finds body only through the other tail lamp."""
    lab = _rear(tmp_path)
    now = lab.solve("rear.swapped-58-31", _STOP)
    assert now.lamp_v("other") > 4
    assert now.lamp_v("rear.54") < 8


@pytest.mark.parametrize("watts", [25, 3])
def test_only_lamps_whose_cap_takes_others_are_of_the_wrong_wattage(tmp_path: Path, watts: int) -> None:
    """A 5 W lamp fits where a 21 W one belongs; small caps take one size."""
    lab = vehicle(tmp_path, _ONE.format(watts, 13.5))
    assert ("wrong-wattage" in lab.of("lamp")) == (watts >= 15)


_ONE = """\
parts:
  lamp: {{kind: lamp, title: Lamp, place: bench, terminals: ["58", "31"], test-w: {} W, test-v: {} V}}
""" + wires(a=("feed.1", "lamp.58"), b=("lamp.31", "ground-2.31")).replace("{", "{{").replace("}", "}}")


def test_an_led_lamp_draws_a_sixth_and_nothing_the_wrong_way_round(tmp_path: Path) -> None:
    """0.15 of the filament's current at its test volts, none below 55 % of them; current found here by hand."""
    lab = vehicle(tmp_path, _ONE.format(25, 13.5))
    ohm = (12.6 - lab.solve().lamp_v("lamp")) / lab.solve().drawn()
    rated = 0.15 * 25 / 13.5
    across = brentq(lambda v: (12.6 - v) / ohm - led_a(v, 13.5, rated, 1.0), 0.0, 12.6, xtol=1e-12)
    assert lab.solve("lamp.led").drawn() == pytest.approx(led_a(across, 13.5, rated, 1.0), rel=1e-3)
    assert 0.1 < lab.solve("lamp.led").drawn() / lab.solve().drawn() < 0.16
    assert lab.solve("lamp.led-reversed").drawn() < 1e-4


@pytest.mark.parametrize(("earth", "way"), [("negative", 1.0), ("positive", -1.0)])
def test_the_right_way_round_for_an_led_depends_on_the_vehicles_earth(tmp_path: Path, earth: str, way: float) -> None:
    """A lamp made for negative earth stays dark on positive earth; the right one lights."""
    lab = vehicle(tmp_path, _ONE.format(25, 13.5), earth=earth)
    assert lab.change("lamp.led").led == {0: way}
    assert lab.change("lamp.led-reversed").led == {0: -way}
    assert abs(lab.solve("lamp.led").drawn()) > 0.2
    assert abs(lab.solve("lamp.led-reversed").drawn()) < 1e-4


def test_a_six_volt_lamp_on_twelve_volts_is_brilliant_and_draws_like_it(tmp_path: Path) -> None:
    """After a change to 12 V one old lamp is easily left: 1.85 times its volts, some eight times its light."""
    lab = vehicle(tmp_path, _ONE.format(26, 6.75))
    now = lab.solve()
    ratio = now.lamp_v("lamp") / 6.75
    assert ratio > 1.8
    assert now.drawn() == pytest.approx(26 / 6.75 * ratio**0.55, rel=1e-3)
    assert ratio**3.4 > 7.5


def test_the_flasher_unit_is_a_contact_a_winding_and_a_tell_tale_contact(tmp_path: Path) -> None:
    """49 to 49a, 49 to C, and what the unit itself draws from 49 to 31."""
    text = """\
parts:
  unit: {kind: flasher-unit, title: Unit, place: bench, technique: thermal, rated-w: 42 W, coil-ohm: 60 ohm}
""" + wires(a=("feed.1", "unit.49"), b=("unit.31", "ground-2.31"))
    lab = vehicle(tmp_path, text)
    now = lab.solve()
    assert now.volts("unit.49a") > 12.5 and now.volts("unit.C") > 12.5
    assert now.amps("unit:coil") == pytest.approx(12.6 / 60, rel=0.01)
    for mode in ("never-opens", "never-closes", "tell-tale-contact-open", "wrong-rating"):
        assert lab.change(f"unit.{mode}").flags == {f"unit:{mode}"}
    assert {"at-49a", "at-C"} < lab.of("a")
