"""Battery, fuse, earth, joint and trailer socket: what each is in the network, and what each fault makes of it."""

from __future__ import annotations

from pathlib import Path

import pytest

from diag.calc.battery import CELL_V
from diag.circuit.network import Change
from tests.circuit.bench import filament_a
from tests.circuit.vehicles import vehicle, wires

_LAMP = """\
parts:
  lamp: {kind: lamp, title: Lamp, place: bench, terminals: ["58", "31"], test-w: 25 W, test-v: %s V}
fuses:
  fuse: {title: Fuse, place: bench, rating-a: 8 A}
""" + wires(a=("feed.1", "fuse.in"), b=("fuse.out", "lamp.58"), c=("lamp.31", "ground-2.31"))


@pytest.mark.parametrize(
    ("system_v", "cells", "test_v"), [(6, 3, 6.75), (12, 6, 13.5), (24, 12, 28.0)], ids=["6-V", "12-V", "24-V"]
)
def test_a_dead_cell_costs_its_share_of_the_volts(tmp_path: Path, system_v: int, cells: int, test_v: float) -> None:
    """A full lead-acid cell rests at 2.1 V (published rest volts: 12.65 V over six, 6.33 V over three)."""
    assert abs(12.65 / 6 - CELL_V) < 0.01 and abs(6.33 / 3 - CELL_V) < 0.02
    lab = vehicle(tmp_path, _LAMP % test_v, system_v=system_v)
    sound, poor = lab.solve(), lab.solve("battery.cell-dead")
    whole = 12.6 * system_v / 12
    ((emf_v, ohm),) = lab.change("battery.cell-dead").emf.values()
    assert emf_v == pytest.approx(whole - 2.1, abs=1e-9) == pytest.approx(whole * (cells - 1) / cells)
    assert ohm == pytest.approx(0.01 + 0.1)
    assert sound.volts("battery.B+", "battery.B-") - poor.volts("battery.B+", "battery.B-") > 2.1


@pytest.mark.parametrize(("system_v", "flat_v"), [(6, 5.6), (12, 11.2), (24, 22.4)])
def test_a_flat_battery_is_flat_for_its_own_system(tmp_path: Path, system_v: int, flat_v: float) -> None:
    """11.2 V are flat on 12 V; on 6 V the same battery would be brilliant."""
    lab = vehicle(tmp_path, _LAMP % 13.5, system_v=system_v)
    ((emf_v, _),) = lab.change("battery.flat").emf.values()
    assert emf_v == pytest.approx(flat_v)


def test_a_battery_the_wrong_way_round_turns_every_sign(tmp_path: Path) -> None:
    """A filament lights as before; every meter reads backwards."""
    lab = vehicle(tmp_path, _LAMP % 13.5)
    sound, turned = lab.solve(), lab.solve("battery.reversed")
    for terminal in ("feed.1", "lamp.58", "fuse.out"):
        assert turned.volts(terminal) == pytest.approx(-sound.volts(terminal), abs=1e-6)
        assert sound.volts(terminal) > 12
    assert abs(turned.lamp_v("lamp")) == pytest.approx(sound.lamp_v("lamp"))


@pytest.mark.parametrize("cause", ["fuse.blown", "battery.post-loose", "ground-2.open", "b.open"])
def test_what_is_in_the_lamps_way_dims_or_darkens_it(tmp_path: Path, cause: str) -> None:
    """The plain faults of every circuit."""
    lab = vehicle(tmp_path, _LAMP % 13.5)
    assert lab.solve(cause).lamp_v("lamp") < lab.solve().lamp_v("lamp") - 0.3
    if not cause.endswith("loose"):
        assert lab.solve(cause).lamp_v("lamp") < 0.01


def test_a_wrong_fuse_changes_nothing_but_when_it_goes(tmp_path: Path) -> None:
    """Too small a fuse goes in normal use, too large a one lets the wire burn: only its limit differs."""
    lab = vehicle(tmp_path, _LAMP % 13.5)
    fuse = lab.network.branch("fuse")
    assert lab.change("fuse.too-small") == Change(limit={fuse: 0.4})
    assert lab.change("fuse.too-large") == Change(limit={fuse: 2.5})
    assert lab.causes["fuse.too-large"].remedy == "fuse.renew"


def test_a_loose_fuse_clip_and_a_lossy_earth_cost_what_ohms_law_says(tmp_path: Path) -> None:
    """0.8 and 2 ohm in series with a 25 W lamp, solved here from the lamp's side."""
    from scipy.optimize import brentq  # type: ignore[import-untyped]

    lab = vehicle(tmp_path, _LAMP % 13.5)
    sound = lab.solve()
    inner = (sound.volts("battery.B+", "battery.B-") - 12.6) / -sound.drawn()
    wiring = (12.6 - sound.lamp_v("lamp")) / sound.drawn()
    assert inner == pytest.approx(0.01, rel=1e-3)
    for cause, ohm in (("fuse.resistive", 0.8), ("ground-2.resistive", 2.0)):
        lamp_v = brentq(lambda v, more=ohm: 12.6 - v - (wiring + more) * filament_a(v, 13.5, 25.0), 0.1, 12.6)
        assert lab.solve(cause).lamp_v("lamp") == pytest.approx(lamp_v, abs=1e-3)


# ---------------------------------------------------------------- positive earth


def test_on_a_positive_earth_vehicle_the_feed_is_below_body(tmp_path: Path) -> None:
    """Body stays the reference: the meter shows minus at every feed, and lamps light all the same."""
    plus = vehicle(tmp_path / "plus", _LAMP % 13.5, earth="positive")
    minus = vehicle(tmp_path / "minus", _LAMP % 13.5)
    assert plus.solve().volts("feed.1") < -12
    assert plus.solve().lamp_v("lamp") == pytest.approx(-minus.solve().lamp_v("lamp"), abs=1e-6)
    assert plus.of("lamp") == minus.of("lamp")


# ---------------------------------------------------------------- joint and plug

_RING = """\
parts:
  ring: {kind: joint, title: Ring, place: bench, terminals: ["1", "2", "3"], breakable: true}
  bar: {kind: joint, title: Bar, place: bench, terminals: ["1", "2"]}
  left: {kind: lamp, title: Left, place: bench, terminals: ["58", "31"], test-w: 6 W}
  right: {kind: lamp, title: Right, place: bench, terminals: ["58", "31"], test-w: 6 W}
""" + wires(
    a=("feed.1", "bar.1"),
    b=("bar.2", "ring.1"),
    c=("ring.2", "left.58"),
    d=("ring.3", "right.58"),
    e=("left.31", "ground.31"),
    f=("right.31", "ground.31"),
)


def test_a_joint_that_can_break_takes_all_it_feeds_with_it(tmp_path: Path) -> None:
    """A bus bar does not fail; a slip ring does."""
    lab = vehicle(tmp_path, _RING)
    assert lab.of("bar") == set()
    broken, worn = lab.solve("ring.open"), lab.solve("ring.resistive")
    for lamp in ("left", "right"):
        assert lab.solve().lamp_v(lamp) > 12
        assert broken.lamp_v(lamp) < 0.01
        assert 8 < worn.lamp_v(lamp) < 12.2


ISO_1724 = ("L", "54g", "31", "R", "58R", "54", "58L")
"""Marks of pins 1 to 7 of a 12 V trailer socket (ISO 1724)."""

_TRAILER = """\
parts:
  socket: {kind: plug, title: Socket, place: bench, pins: [L, 54g, "31", R, 58R, "54", 58L],
    control: trailer, joined-when: [hitched]}
  stop: {kind: lamp, title: Trailer stop, place: bench, terminals: ["54", "31"], test-w: 25 W}
  tail: {kind: lamp, title: Trailer tail, place: bench, terminals: [58L, "31"], test-w: 6 W}
""" + wires(
    a=("feed.1", "socket.54"),
    b=("socket.31", "ground.31"),
    c=("socket.54-t", "stop.54"),
    d=("stop.31", "socket.31-t"),
    e=("tail.31", "socket.31-t"),
    f=("tail.58L", "socket.58L-t"),
    g=("socket.58L", "ground-2.31"),
)
_HITCHED = {"trailer": "hitched"}


def test_a_trailer_socket_joins_each_pin_when_it_is_plugged_in(tmp_path: Path) -> None:
    """Seven pins, as the standard marks them; unhitched nothing passes."""
    lab = vehicle(tmp_path, _TRAILER)
    joined = [branch for branch in lab.network.branches if branch.id.startswith("socket:")]
    assert [branch.id for branch in joined] == [f"socket:{pin}" for pin in ISO_1724]
    assert all(branch.closed_when == ("trailer", frozenset({"hitched"})) for branch in joined)
    assert lab.solve().lamp_v("stop") < 0.01
    assert lab.solve(operate=_HITCHED).lamp_v("stop") > 12


def test_a_lost_earth_pin_feeds_the_stop_lamp_back_through_the_tail_lamp(tmp_path: Path) -> None:
    """The trailer's classic: pin 31 gone, its lamps light through each other."""
    lab = vehicle(tmp_path, _TRAILER)
    lost = lab.solve("socket.open-31", _HITCHED)
    assert lost.lamp_v("stop") < 3
    assert abs(lost.lamp_v("tail")) > 8
    assert lost.volts("socket.31-t") > 8
    dirty = lab.solve("socket.resistive-54", _HITCHED)
    assert 9 < dirty.lamp_v("stop") < 11.9
    assert lab.solve("socket.open-54", _HITCHED).lamp_v("stop") < 0.01


def test_a_plug_without_a_control_stays_together(tmp_path: Path) -> None:
    """A plug joint inside the loom is no switch."""
    text = _TRAILER.replace(",\n    control: trailer, joined-when: [hitched]", "")
    lab = vehicle(tmp_path, text)
    assert lab.solve().lamp_v("stop") > 12
    assert "open-54" in lab.of("socket")
