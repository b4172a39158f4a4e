"""Wires: warm and cold, rubbed through to body or to their neighbour, and on terminals that are not theirs."""

from __future__ import annotations

from pathlib import Path

import pytest

from diag.calc.copper import wire_ohm
from diag.circuit.network import Change
from tests.circuit.vehicles import Lab, vehicle, wire

_LOOM = """\
parts:
  stop-switch: {kind: switch, title: Stop switch, place: bench, control: key, terminals: ["15", "54"],
    contacts: {start: [["15", "54"]]}}
  light-switch: {kind: switch, title: Light switch, place: bench, control: lights, terminals: ["30", "58", "56"],
    contacts: {side: [["30", "58"]], dip: [["30", "58"], ["30", "56"]]}}
  stop: {kind: lamp, title: Stop, place: bench, terminals: ["54", "31"], test-w: 25 W}
  tail: {kind: lamp, title: Tail, place: bench, terminals: ["58", "31"], test-w: 6 W}
wires:
""" + "".join(
    (
        wire("stop-feed", "feed.1", "stop-switch.15"),
        wire("light-feed", "feed.2", "light-switch.30"),
        wire("stop-wire", "stop-switch.54", "stop.54", "length-m: 4 m, bundle: rear"),
        wire("tail-wire", "light-switch.58", "tail.58", "length-m: 4 m, bundle: rear, section-mm2: 0.75 mm2"),
        wire("stop-earth", "stop.31", "ground-2.31", "bundle: earths"),
        wire("tail-earth", "tail.31", "ground.31", "bundle: earths"),
    )
)
_STOP, _SIDE = {"key": "start"}, {"lights": "side"}


@pytest.fixture
def lab(tmp_path: Path) -> Lab:
    return vehicle(tmp_path, _LOOM)


@pytest.mark.parametrize("warm_c", [-20, 20, 60, 120])
def test_a_wire_has_the_ohms_of_its_temperature(tmp_path: Path, warm_c: int) -> None:
    """R = R20 · (1 + 0.00393 · (T - 20)) (IEC 60028); 1.5 mm² have 13.3 milliohm a metre at 20 °C (IEC 60228)."""
    lab = vehicle(tmp_path, _LOOM, more=f"ambient-c: {warm_c} degC")
    found = lab.network.branches[lab.network.branch("stop-wire")].ohm
    assert found == pytest.approx(4 * 0.0133 * (1 + 0.00393 * (warm_c - 20)))
    assert found == pytest.approx(wire_ohm(1.5, 4.0, float(warm_c)))


def test_a_vehicle_that_does_not_say_is_at_twenty_degrees(lab: Lab) -> None:
    """Published resistances are at 20 °C."""
    assert lab.network.branches[lab.network.branch("stop-wire")].ohm == pytest.approx(4 * 0.0133)


def test_wires_of_a_bundle_may_touch_the_next_one_only(lab: Lab) -> None:
    """Side by side in the order of the file; a wire outside any bundle touches no other."""
    assert "to-wire-tail-wire" in lab.of("stop-wire")
    for other in ("tail-wire", "stop-feed", "light-feed", "tail-earth"):
        assert not [mode for mode in lab.of(other) if mode.startswith("to-wire")]


def test_wires_that_carry_the_same_volts_anyway_are_not_told_apart(lab: Lab) -> None:
    """Two earth wires rubbed together, or two feeds of one bar, show nothing and so are no cause."""
    assert not [mode for mode in lab.of("stop-earth") if mode.startswith("to-wire")]


def test_two_wires_that_touch_light_each_others_lamps(lab: Lab) -> None:
    """Side lamps on: the stop lamp burns. Stop pressed: the tail lamp burns."""
    assert lab.solve(operate=_SIDE).lamp_v("stop") < 0.05
    assert lab.solve("stop-wire.to-wire-tail-wire", _SIDE).lamp_v("stop") > 11.5
    assert lab.solve("stop-wire.to-wire-tail-wire", _STOP).lamp_v("tail") > 11.5


def test_where_two_wires_touch_halfway_half_of_each_is_in_the_way(lab: Lab) -> None:
    """From the light switch over half of one wire, the touch and half of the other to the stop lamp.

    By hand 26 + 104/2 milliohm and the touch of 20; the two links come within a few milliohm of it.
    """
    now = lab.solve("stop-wire.to-wire-tail-wire", _SIDE)
    tail_a, stop_a = (float(now.solution.lamp_a[0, lab.network.filament(name)]) for name in ("tail", "stop"))
    lost = now.volts("light-switch.58", "stop.54")
    to_touch, onward = 0.104 / 2 * (stop_a + tail_a), (0.0532 / 2 + 0.02) * stop_a
    assert lost == pytest.approx(to_touch + onward, rel=0.25)


@pytest.mark.parametrize("end", ["stop-switch.54", "stop.54", "light-switch.58", "tail.58"])
def test_taking_one_end_off_leaves_the_two_wires_touching(lab: Lab, end: str) -> None:
    """What a person sees when he takes wires off to part the bundle: the touch stays, the end is dead or live."""
    cause = "stop-wire.to-wire-tail-wire"
    found = lab.solve(cause, _SIDE, unplugged=end)
    fed = end != "light-switch.58"
    assert (found.lamp_v("stop") > 11) == (fed and end != "stop.54")
    assert (found.lamp_v("tail") > 11) == (fed and end != "tail.58")
    live = {"stop-switch.54": 0, "stop.54": 0, "light-switch.58": 12, "tail.58": 0}[end]
    assert found.volts(end) == pytest.approx(live, abs=0.6), "the bare terminal is apart from both wires"


@pytest.mark.parametrize(("end", "drawn"), [("tail.58", True), ("light-switch.58", False)])
def test_a_wire_on_body_stays_so_from_the_end_that_is_fed(lab: Lab, end: str, drawn: bool) -> None:
    """The fuse goes on blowing with the lamp off, and no longer with the switch off."""
    assert (lab.solve("tail-wire.to-body", _SIDE, unplugged=end).drawn() > 50) == drawn


def test_an_end_may_sit_on_any_free_terminal_of_a_part_with_several(lab: Lab) -> None:
    """56 of the light switch is free: its feed or its tail wire may be there; lamps and bars are not mistaken."""
    assert [mode for mode in lab.of("tail-wire") if mode.startswith("at-")] == ["at-56"]
    assert [mode for mode in lab.of("light-feed") if mode.startswith("at-")] == ["at-56"]
    for other in ("stop-wire", "stop-feed", "stop-earth"):
        assert not [mode for mode in lab.of(other) if mode.startswith("at-")]


def test_a_tail_wire_on_the_headlamp_terminal_burns_with_the_headlamps_only(lab: Lab) -> None:
    """Side: dark; dipped: lit. The wire itself is whole."""
    assert lab.solve("tail-wire.at-56", _SIDE).lamp_v("tail") < 0.01
    assert lab.solve("tail-wire.at-56", {"lights": "dip"}).lamp_v("tail") > 12
    wire_at = lab.network.branch("tail-wire")
    ends = lab.network.node("light-switch.56"), lab.network.node("tail.58")
    assert lab.change("tail-wire.at-56") == Change(moved={wire_at: ends})


def test_free_terminals_share_the_frequency_of_the_wire(tmp_path: Path) -> None:
    """A wire between two parts with many free terminals is no likelier to be misplaced than another."""
    text = """\
parts:
  unit: {kind: flasher-unit, title: Unit, place: bench, rated-w: 42 W}
  turn: {kind: switch, title: Turn switch, place: bench, control: lights, terminals: [49a, L, R, C],
    contacts: {side: [[49a, L]], dip: [[49a, R]]}}
wires:
""" + wire("flash", "unit.49a", "turn.49a")
    lab = vehicle(tmp_path, text)
    found = {
        mode: cause for mode, cause in ((c.id.split(".")[1], c) for c in lab.causes.values()) if mode.startswith("at-")
    }
    assert set(found) == {"at-49", "at-C", "at-31", "at-L", "at-R", "at-turn-C"}
    assert sum(cause.frequency for cause in found.values()) == pytest.approx(0.1)
    assert lab.change("flash.at-C").moved != lab.change("flash.at-turn-C").moved
    assert "Turn switch" in found["at-turn-C"].title and "put-where-it-belongs" in found["at-C"].remedy


def test_a_title_names_the_other_wire(lab: Lab) -> None:
    """The person looks for two wires, so both are named."""
    cause = lab.causes["stop-wire.to-wire-tail-wire"]
    assert cause.title == (
        "Wire from Stop switch, 54 to Stop, 54 (red): wire rubbed through to its neighbour, "
        "Wire from Light switch, 58 to Tail, 58 (red)"
    )
    assert cause.remedy == "stop-wire.part-wires"
