"""Starter, wiper and plain motors, and the horn: windings, park switch, solenoid, and each of their faults."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.circuit.vehicles import Lab, vehicle, wires

# ---------------------------------------------------------------- starter

_START = """\
parts:
  starter: {kind: starter, title: Starter, place: bench}
  key: {kind: switch, title: Key, place: bench, control: key, terminals: ["30", "50"],
    contacts: {start: [["30", "50"]]}}
wires:
  cable: {from: feed.1, to: starter.30, colour: black, section-mm2: 35 mm2, length-m: 1.2 m}
  key-feed: {from: feed.2, to: key.30, colour: red, section-mm2: 4 mm2, length-m: 1 m}
  wire-50: {from: key.50, to: starter.50, colour: red, section-mm2: 2.5 mm2, length-m: 1 m}
"""
_CRANK = {"key": "start"}
_OPEN = ("starter:contact",)


def test_a_starter_is_a_solenoid_that_works_the_contact_of_its_motor(tmp_path: Path) -> None:
    """50 to the case, 30 through the contact to the winding and the case."""
    lab = vehicle(tmp_path, _START)
    (relay,), (motor,) = lab.network.relays, lab.network.motors
    assert relay.id == motor.id == "starter"
    assert relay.coil == lab.network.branch("starter:solenoid")
    assert relay.contacts == ((lab.network.branch("starter:contact"), True),)
    assert motor.slow == lab.network.branch("starter:motor") and motor.park is None
    held = lab.solve(operate=_CRANK, off=_OPEN)
    assert 8 < held.amps("starter:solenoid") < 11 and held.amps("starter:motor") == pytest.approx(0, abs=1e-4)
    cranking = lab.solve(operate=_CRANK)
    assert 100 < cranking.amps("starter:motor") < 250, "what a 12 V starter draws (common practice, no source)"
    assert lab.solve(off=_OPEN).drawn() < 0.01


def test_each_fault_of_a_starter_stops_or_slows_it(tmp_path: Path) -> None:
    """Silent: solenoid; clicks: brushes; turns slowly: burnt contact; turns on with the key released: welded."""
    lab = vehicle(tmp_path, _START)
    healthy = lab.solve(operate=_CRANK).amps("starter:motor")
    assert lab.solve("starter.solenoid-open", _CRANK, off=_OPEN).drawn() < 0.01
    assert lab.solve("starter.motor-open", _CRANK).amps("starter:motor") == 0
    assert lab.solve("starter.motor-open", _CRANK).amps("starter:solenoid") > 8
    burnt = lab.solve("starter.contact-burnt", _CRANK).amps("starter:motor")
    assert 0.4 * healthy < burnt < 0.7 * healthy
    assert lab.change("starter.contact-stuck").flags == {"starter:contact-stuck"}
    assert lab.solve("starter.contact-stuck", off=_OPEN).amps("starter:motor") > 0.9 * healthy


def test_a_starter_with_its_thin_and_thick_wire_changed_over_cranks_at_once(tmp_path: Path) -> None:
    """Nobody does it twice."""
    lab = vehicle(tmp_path, _START)
    assert lab.solve("starter.swapped-30-50", off=_OPEN).amps("starter:solenoid") > 8


# ---------------------------------------------------------------- plain motor

_BLOWER = """\
parts:
  blower: {kind: motor, title: Blower, place: bench, terminals: ["+", "-"], current-a: %s A}
""" + wires(a=("feed.1", "blower.+"), b=("blower.-", "ground-2.31"))


@pytest.mark.parametrize(("system_v", "current_a"), [(6, 12), (12, 6), (24, 3)])
def test_a_motor_draws_its_current_at_the_system_volts(tmp_path: Path, system_v: int, current_a: int) -> None:
    """As its file says: here each file is written for the volts of its vehicle."""
    lab = vehicle(tmp_path, _BLOWER % current_a, system_v=system_v)
    now = lab.solve(emf={"battery": system_v})
    across = now.volts("blower.+", "blower.-")
    assert now.amps("blower:motor") == pytest.approx(current_a * across / system_v, rel=1e-6)
    assert across > 0.9 * system_v
    assert [motor.id for motor in lab.network.motors] == ["blower"]


def test_a_motor_that_is_held_draws_four_times_as_much(tmp_path: Path) -> None:
    """No counter volts: the fuse goes, or the loom gets warm. Brushes worn out draw nothing."""
    lab = vehicle(tmp_path, _BLOWER % 6)
    now = lab.solve("blower.seized")
    assert now.drawn() == pytest.approx(4 * 6 * now.volts("blower.+", "blower.-") / 12, rel=1e-6)
    assert lab.change("blower.seized").flags == {"blower:seized"}
    assert lab.solve("blower.open").drawn() < 1e-4


def test_a_held_motor_stays_so_with_its_wire_off(tmp_path: Path) -> None:
    """With its feed off neither a held motor nor a running one draws anything."""
    lab = vehicle(tmp_path, _BLOWER % 6)
    assert abs(lab.solve("blower.seized", unplugged="blower.+").drawn()) < 1e-4


# ---------------------------------------------------------------- wiper

_WIPER = """\
parts:
  wiper: {kind: wiper-motor, title: Wiper, place: bench, slow-a: 2.5 A, fast-a: 3.5 A}
  switch: {kind: switch, title: Wiper switch, place: bench, control: wiper, terminals: ["15", "53", 53b, 53e],
    contacts: {"off": [["53", 53e]], slow: [["15", "53"]], fast: [["15", 53b]]}}
""" + wires(
    a=("feed.1", "switch.15"),
    b=("switch.53", "wiper.53"),
    c=("switch.53b", "wiper.53b"),
    d=("switch.53e", "wiper.53e"),
    e=("feed.2", "wiper.53a"),
    f=("wiper.31", "ground-2.31"),
)
_AWAY, _HOME = ("wiper:rest",), ("wiper:run",)
_SLOW, _FAST = {"wiper": "slow"}, {"wiper": "fast"}


def _wiper(tmp_path: Path) -> Lab:
    return vehicle(tmp_path, _WIPER)


def test_a_wiper_motor_has_two_speeds_and_a_park_switch(tmp_path: Path) -> None:
    """53 slow, 53b fast; away from rest 53e is fed by 53a, at rest it is earthed and brakes the motor."""
    lab = _wiper(tmp_path)
    (motor,) = lab.network.motors
    at = lab.network.branch
    assert (motor.slow, motor.fast, motor.park) == (
        at("wiper:slow"),
        at("wiper:fast"),
        (at("wiper:run"), at("wiper:rest")),
    )
    assert lab.solve(operate=_SLOW, off=_HOME).amps("wiper:slow") == pytest.approx(2.5, rel=0.1)
    assert lab.solve(operate=_FAST, off=_HOME).amps("wiper:fast") == pytest.approx(3.5, rel=0.1)
    parking, parked = lab.solve(off=_AWAY), lab.solve(off=_HOME)
    assert parking.amps("wiper:slow") > 2
    assert abs(parked.volts("wiper.53")) < 0.01 and parked.drawn() < 0.001


@pytest.mark.parametrize(
    ("mode", "operate", "branch"),
    [("slow-open", _SLOW, "wiper:slow"), ("fast-open", _FAST, "wiper:fast")],
)
def test_an_open_winding_of_a_wiper_stops_its_own_speed_only(
    tmp_path: Path, mode: str, operate: dict[str, str], branch: str
) -> None:
    """Fast dead and slow alive is a winding, brush or wire of 53b."""
    lab = _wiper(tmp_path)
    assert lab.solve(f"wiper.{mode}", operate, off=_HOME).amps(branch) == 0
    other, its = (_FAST, "wiper:fast") if operate is _SLOW else (_SLOW, "wiper:slow")
    assert lab.solve(f"wiper.{mode}", other, off=_HOME).amps(its) > 2


def test_faults_of_the_park_switch_show_when_it_is_switched_off(tmp_path: Path) -> None:
    """No feed from 53a: it stops where it is. No earth at rest: nothing brakes it. Not moving over: a flag."""
    lab = _wiper(tmp_path)
    assert abs(lab.solve("wiper.park-feed-open", off=_AWAY).amps("wiper:slow")) < 1e-4
    assert lab.solve("wiper.park-earth-open", off=_HOME).amps("wiper:rest") == 0
    healthy_ohm = lab.solve(off=_HOME).solution.inner_ohm[0, lab.network.node("wiper.53e")]
    open_ohm = lab.solve("wiper.park-earth-open", off=_HOME).solution.inner_ohm[0, lab.network.node("wiper.53e")]
    assert healthy_ohm < 0.1 < 4 < open_ohm
    assert lab.change("wiper.park-stuck").flags == {"wiper:park-stuck"}


def test_a_seized_wiper_draws_four_times_as_much_at_either_speed(tmp_path: Path) -> None:
    """Frozen to the glass: fuse or motor goes."""
    lab = _wiper(tmp_path)
    for operate, amps in ((_SLOW, 2.5), (_FAST, 3.5)):
        now = lab.solve("wiper.seized", operate, off=_HOME)
        assert now.drawn() == pytest.approx(4 * amps, rel=0.1)
    assert lab.change("wiper.seized").flags == {"wiper:seized"}


def test_a_wiper_may_have_any_two_of_its_wires_changed_over(tmp_path: Path) -> None:
    """Ten pairs of five terminals share one frequency; 53 and 53b changed over make slow fast."""
    lab = _wiper(tmp_path)
    swapped = [cause for cause in lab.causes.values() if cause.subject == "wiper" and cause.mode == "swapped"]
    assert len(swapped) == 10
    assert sum(cause.frequency for cause in swapped) == pytest.approx(0.2)
    assert lab.solve("wiper.swapped-53-53b", _SLOW, off=_HOME).amps("wiper:fast") > 3


# ---------------------------------------------------------------- horn


def test_a_horn_keeps_its_faults(tmp_path: Path) -> None:
    """Open: no current; 31b on the case: it sounds with its wire off."""
    text = """\
parts:
  horn: {kind: horn, title: Horn, place: bench, current-a: 4 A}
  button: {kind: switch, title: Button, place: bench, control: key, terminals: [31b],
    contacts: {start: [[31b, body]]}}
""" + wires(a=("feed.1", "horn.71"), b=("horn.31b", "button.31b"))
    lab = vehicle(tmp_path, text)
    assert lab.solve().drawn() < 1e-4
    assert lab.solve(operate=_CRANK).amps("horn:coil") == pytest.approx(4, rel=0.1)
    assert lab.solve("horn.open", _CRANK).drawn() < 1e-4
    assert lab.solve("horn.case-earthed", unplugged="horn.31b").amps("horn:coil") > 3.5
    assert lab.change("horn.seized").flags == {"horn:seized"}
