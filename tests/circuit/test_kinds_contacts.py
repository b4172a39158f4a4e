"""Switches, dimmer, contacts of the engine, gauge senders and relays: each in the network and with each fault."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.circuit.vehicles import Lab, vehicle, wire, wires

# ---------------------------------------------------------------- switch

_SWITCH = """\
parts:
  switch: {kind: switch, title: Switch, place: bench, control: lights, terminals: ["30", "58", 56a, 56b],
    contacts: {side: [["30", "58"]], dip: [["30", "58"], ["30", 56b]], main: [["30", "58"], ["30", 56a]]}}
  tail: {kind: lamp, title: Tail, place: bench, terminals: ["58", "31"], test-w: 6 W}
  dip: {kind: lamp, title: Dip, place: bench, terminals: [56b, "31"], test-w: 68 W}
""" + wires(
    a=("feed.1", "switch.30"),
    b=("switch.58", "tail.58"),
    c=("switch.56b", "dip.56b"),
    d=("tail.31", "ground-2.31"),
    e=("dip.31", "ground-2.31"),
)


def test_outputs_joined_inside_a_switch_light_what_is_off(tmp_path: Path) -> None:
    """Molten plastic or a slipped contact: side lamps on, and dipped beams with them."""
    lab = vehicle(tmp_path, _SWITCH)
    assert {mode for mode in lab.of("switch") if mode.startswith("bridged")} == {
        "bridged-58-56b",
        "bridged-58-56a",
        "bridged-56b-56a",
    }
    side = {"lights": "side"}
    assert lab.solve(operate=side).lamp_v("dip") < 0.01
    assert lab.solve("switch.bridged-58-56b", side).lamp_v("dip") > 11
    assert lab.solve("switch.bridged-56b-56a", side).lamp_v("dip") < 0.01


def test_outputs_that_no_position_tells_apart_are_not_called_bridged(tmp_path: Path) -> None:
    """Two outputs that always close together would show nothing; two feeds of one output are no outputs."""
    text = """\
parts:
  both: {kind: switch, title: Both, place: bench, control: lights, terminals: ["30", 58L, 58R],
    contacts: {side: [["30", 58L], ["30", 58R]]}}
  either: {kind: switch, title: Either, place: bench, control: lights, terminals: ["30", "15", "49"],
    contacts: {"off": [["15", "49"]], side: [["30", "49"]]}}
"""
    lab = vehicle(tmp_path, text)
    assert not [mode for part in ("both", "either") for mode in lab.of(part) if mode.startswith("bridged")]


def test_a_contact_sticks_whether_or_not_the_file_lists_where_it_is_open(tmp_path: Path) -> None:
    """`off: []` written out or left out says the same."""
    short = vehicle(tmp_path / "short", _SWITCH)
    full = vehicle(tmp_path / "full", _SWITCH.replace("contacts: {side", 'contacts: {"off": [], side'))
    assert short.of("switch") == full.of("switch") >= {"stuck-30-58", "stuck-30-56a"}
    assert short.solve("switch.stuck-30-58").lamp_v("tail") > 12


# ---------------------------------------------------------------- dimmer

_DIMMER = """\
parts:
  dimmer: {kind: rheostat, title: Dimmer, place: bench, control: dimmer, positions: {full: 0.1 ohm, half: 20 ohm}}
  dial: {kind: lamp, title: Dial, place: bench, terminals: [58d, "31"], test-w: 3 W}
""" + wires(a=("feed.1", "dimmer.58"), b=("dimmer.58d", "dial.58d"), c=("dial.31", "ground-2.31"))
_HALF = {"dimmer": "half"}


def test_a_dimmer_takes_volts_by_its_position(tmp_path: Path) -> None:
    """20 ohm before a 3 W lamp that draws some 0.2 A leave about eight volts."""
    lab = vehicle(tmp_path, _DIMMER)
    assert lab.solve().lamp_v("dial") > 12.3
    now = lab.solve(operate=_HALF)
    assert 7 < now.lamp_v("dial") < 9.5
    assert now.volts("dimmer.58", "dimmer.58d") == pytest.approx(20 * now.amps("dimmer:half"), abs=1e-4)


@pytest.mark.parametrize(
    ("mode", "full", "half"), [("open", 0.0, 0.0), ("worn", 8.5, 6.3), ("bypassed", 12.5, 12.5)], ids=str
)
def test_each_fault_of_a_dimmer_shows_at_the_dials(tmp_path: Path, mode: str, full: float, half: float) -> None:
    """Dark: open; never dims: bypassed; too dim: a worn track (20 ohm more)."""
    lab = vehicle(tmp_path, _DIMMER)
    assert lab.solve(f"dimmer.{mode}").lamp_v("dial") == pytest.approx(full, abs=0.6)
    assert lab.solve(f"dimmer.{mode}", _HALF).lamp_v("dial") == pytest.approx(half, abs=0.6)


# ---------------------------------------------------------------- contact breaker and coil

_IGNITION = """\
parts:
  coil: {kind: ignition-coil, title: Coil, place: bench}
  points: {kind: breaker, title: Points, place: bench, closed-when: [stopped]}
""" + wires(a=("feed.1", "coil.15"), b=("coil.1", "points.1"))
_OPEN = {"engine": "turned-back"}


def test_points_closed_let_the_coil_draw_and_points_open_show_full_volts(tmp_path: Path) -> None:
    """DIN 72552 terminal 1: near 0 V with points closed, battery volts with points open."""
    lab = vehicle(tmp_path, _IGNITION)
    closed, opened = lab.solve(), lab.solve(operate=_OPEN)
    assert closed.volts("coil.1") < 0.3 and 4.0 < closed.drawn() < 4.2  # 12.6 V over 3 ohm and wiring
    assert opened.volts("coil.1") > 12.5 and opened.drawn() < 0.001
    assert lab.solve("points.stuck-open").drawn() < 0.001
    assert lab.solve("points.stuck-closed", _OPEN).drawn() == pytest.approx(closed.drawn(), rel=1e-6)


# ---------------------------------------------------------------- gauge and its sender

_GAUGE = """\
parts:
  gauge: {kind: gauge, title: Gauge, place: bench, coil-ohm: 60 ohm}
  tank: {kind: level-sender, title: Tank, place: bench, control: tank,
    positions: {empty: 180 ohm, half: 90 ohm, full: 10 ohm}}
""" + wires(a=("feed.1", "gauge.15"), b=("gauge.G", "tank.G"))


@pytest.mark.parametrize(("level", "ohm"), [("empty", 180.0), ("half", 90.0), ("full", 10.0)])
def test_the_gauge_draws_what_its_sender_lets_pass(tmp_path: Path, level: str, ohm: float) -> None:
    """A plain series circuit: 12.6 V over the winding and the sender."""
    lab = vehicle(tmp_path, _GAUGE)
    now = lab.solve(operate={"tank": level})
    assert now.amps("gauge:load") == pytest.approx(12.6 / (60 + ohm), rel=2e-3)
    assert lab.solve("tank.open", {"tank": level}).amps("gauge:load") < 1e-4
    assert lab.solve("gauge.open", {"tank": level}).volts("gauge.G") < 0.01
    shorted = lab.solve("tank.shorted", {"tank": level})
    assert shorted.amps("gauge:load") == pytest.approx(12.6 / 60, rel=2e-3)


def test_a_sender_shorted_inside_stays_so_with_its_wire_off(tmp_path: Path) -> None:
    """What tells a shorted sender from a chafed wire is taking the wire off."""
    lab = vehicle(tmp_path, _GAUGE)
    inside = lab.solve("tank.shorted", unplugged="tank.G")
    outside = lab.solve("b.to-body", unplugged="tank.G")
    assert inside.amps("gauge:load") < 1e-4
    assert outside.amps("gauge:load") > 0.2


# ---------------------------------------------------------------- relay

_RELAY = """\
parts:
  relay: {kind: relay, title: Relay, place: bench, %s}
  make: {kind: lamp, title: Make, place: bench, terminals: ["87", "31"], test-w: 25 W}
""" + wires(
    a=("feed.1", "relay.30"),
    b=("feed.2", "relay.86"),
    c=("relay.85", "ground-2.31"),
    d=("relay.87", "make.87"),
    e=("make.31", "ground-2.31"),
)
_CHANGE_OVER = """\
parts:
  relay: {kind: relay, title: Relay, place: bench, change-over: true, diode: true}
  make: {kind: lamp, title: Make, place: bench, terminals: ["87", "31"], test-w: 25 W}
  rest: {kind: lamp, title: Rest, place: bench, terminals: [87a, "31"], test-w: 25 W}
""" + wires(
    a=("feed.1", "relay.30"),
    b=("feed.2", "relay.86"),
    c=("relay.85", "ground-2.31"),
    d=("relay.87", "make.87"),
    e=("make.31", "ground-2.31"),
    f=("relay.87a", "rest.87a"),
    g=("rest.31", "ground-2.31"),
)
_RELEASED, _PULLED = ("relay:87",), ("relay:87a",)


@pytest.mark.parametrize(
    ("system_v", "coil", "watts", "pull_v", "drop_v"),
    [(12, "85 ohm", 1.7, 8.0, 1.5), (24, "255 ohm", 2.3, 16.0, 3.0)],
    ids=["12-V", "24-V"],
)
def test_a_relay_coil_draws_and_pulls_as_its_data_sheet_says(
    tmp_path: Path, system_v: int, coil: str, watts: float, pull_v: float, drop_v: float
) -> None:
    """Data sheet of a small square relay: 85 ohm and 1.7 W on 12 V, 255 ohm and 2.3 W on 24 V; it pulls in
    at 8 (16) V at the latest and does not let go before 1.5 (3) V. System volts stand for its 12 and 24."""
    lab = vehicle(tmp_path, _RELAY % f"coil-ohm: {coil}", system_v=system_v)
    (relay,) = lab.network.relays
    assert system_v**2 / lab.network.branches[relay.coil].ohm == pytest.approx(watts, rel=0.03)
    assert relay.pull_v <= pull_v
    assert drop_v <= relay.drop_v < relay.pull_v


def _lit(lab: Lab, lamp: str, cause: str | None, off: tuple[str, ...]) -> bool:
    return lab.solve(cause, off=off).lamp_v(lamp) > 11.5


def test_a_change_over_relay_joins_one_or_the_other(tmp_path: Path) -> None:
    """30 to 87a at rest, 30 to 87 pulled in (ISO 7588 marks)."""
    lab = vehicle(tmp_path, _CHANGE_OVER)
    (relay,) = lab.network.relays
    assert relay.contacts == ((lab.network.branch("relay:87"), True), (lab.network.branch("relay:87a"), False))
    assert _lit(lab, "rest", None, _RELEASED) and not _lit(lab, "make", None, _RELEASED)
    assert _lit(lab, "make", None, _PULLED) and not _lit(lab, "rest", None, _PULLED)


def test_each_fault_of_a_relay_shows_where_it_should(tmp_path: Path) -> None:
    """Coil: no current; make contact: no light though it pulls; welded: light at rest, none at the break contact."""
    lab = vehicle(tmp_path, _CHANGE_OVER)
    assert lab.solve(off=_PULLED).amps("relay:coil") == pytest.approx(12.6 / 85, rel=0.02)
    assert lab.solve("relay.coil-open", off=_RELEASED).amps("relay:coil") == 0
    assert not _lit(lab, "make", "relay.contact-open", _PULLED)
    assert 9 < lab.solve("relay.contact-burnt", off=_PULLED).lamp_v("make") < 12.2
    assert _lit(lab, "make", "relay.stuck", _RELEASED)
    assert not _lit(lab, "rest", "relay.stuck", _RELEASED)
    assert lab.change("relay.stuck").flags == {"relay:stuck"}
    assert not _lit(lab, "rest", "relay.break-contact-open", _RELEASED)


def test_a_plain_relay_minds_only_swaps_that_matter(tmp_path: Path) -> None:
    """A coil without diode works either way round, and a lone make contact too."""
    plain = vehicle(tmp_path / "plain", _RELAY % "change-over: false")
    swapped = {mode for mode in plain.of("relay") if mode.startswith("swapped")}
    assert swapped == {"swapped-85-30", "swapped-85-87", "swapped-86-30", "swapped-86-87"}
    assert "break-contact-open" not in plain.of("relay")
    full = vehicle(tmp_path / "full", _CHANGE_OVER)
    assert {"swapped-85-86", "swapped-30-87"} < full.of("relay")


def test_a_coil_with_a_diode_put_on_backwards_is_a_short(tmp_path: Path) -> None:
    """86 is plus where a diode is fitted; the other way round it conducts and the fuse goes."""
    lab = vehicle(tmp_path, _CHANGE_OVER)
    assert lab.solve(off=_RELEASED).drawn() < 2.5
    assert lab.solve("relay.swapped-85-86", off=_RELEASED).drawn() > 20
    other = vehicle(tmp_path / "plus", _CHANGE_OVER, earth="positive")
    assert other.solve(off=_RELEASED).drawn() > 20, "on positive earth this wiring has 86 below 85"


def test_warm_copper_pulls_less(tmp_path: Path) -> None:
    """80 °C are 60 K more than 20 °C: 85 ohm become 105 (IEC 60028: 0.393 % a kelvin)."""
    lab = vehicle(tmp_path, _RELAY % "coil-ohm: 85 ohm", more="ambient-c: 80 degC")
    assert lab.network.branches[lab.network.branch("relay:coil")].ohm == pytest.approx(85 * (1 + 0.00393 * 60))


def test_a_wire_of_a_relay_may_sit_on_its_free_terminal(tmp_path: Path) -> None:
    """The lamp wired to 87a instead of 87 burns all the time and goes out when the relay pulls."""
    text = _CHANGE_OVER.replace(wire("f", "relay.87a", "rest.87a"), "").replace(wire("g", "rest.31", "ground-2.31"), "")
    lab = vehicle(tmp_path, text)
    assert _lit(lab, "make", "d.at-87a", _RELEASED) and not _lit(lab, "make", "d.at-87a", _PULLED)
