"""Lamps that feed each other backwards: nobody programmed it, it falls out of the network.

Each loom is solved a second time from Kirchhoff's laws with the filament law written out in `bench`.
Expectations are `common practice, no source`.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from scipy.optimize import root  # type: ignore[import-untyped]

from diag.circuit.network import Change
from tests.circuit.bench import filament_a
from tests.circuit.loom import Loom, Tried, flashers

_LEAK = 1e-7
_VOLT = 1e-3


def _solved(count: int, sums: Callable[[np.ndarray], list[float]]) -> np.ndarray:
    """Node volts that make the sums of currents nothing."""
    found = root(lambda v: np.array(sums(v)), np.full(count, 6.0), method="hybr", options={"xtol": 1e-13})
    assert np.abs(np.array(sums(found.x))).max() < 1e-7
    return np.asarray(found.x)


# ---------------------------------------------------------------- rear cluster without earth


def _rear() -> Tried:
    """Two clusters of tail 5 W, stop 21 W and turn 21 W (P21/5W draws 25 and 6 W at 13.5 V); the left one's
    earth can go. The other side's tail lamp shares line 58."""
    loom = Loom()
    loom.battery("plus", emf_v=12.6, ohm=0.02)
    loom.link("pedal", "plus", "54", 0.02, "contact", "pedal=pressed")
    loom.link("lights", "plus", "58", 0.02, "contact", "lights=side")
    loom.link("key", "plus", "unit.49", 0.02, "contact", "turn=left")
    loom.flasher()
    loom.wire("unit-earth", "unit.31", "body")
    loom.lamp("tell-tale", "unit.C", "body", 2.0)
    loom.wire("turn-wire", "unit.49a", "L", 0.05)
    loom.lamp("front-left", "L", "body", 25.0)
    for side, earth in (("left", "X"), ("right", "Y")):
        loom.lamp(f"tail-{side}", "58", earth, 6.0)
        loom.lamp(f"stop-{side}", "54", earth, 25.0)
        loom.wire(f"earth-{side}", earth, "body", 0.01)
    loom.lamp("turn-left", "L", "X", 25.0)
    return loom.tried({"pedal": "released", "lights": "off", "turn": "off"}, flashers=flashers(3.5))


def _lost(tried: Tried) -> Change:
    return Change(added_ohm={tried.network.branch("earth-left"): np.inf})


def test_the_stop_pedal_lights_tail_and_turn_lamps_through_a_missing_earth() -> None:
    """21 W finds its way to body through the tail lamps of both sides in a row, and the turn lamps of its own."""
    tried = _rear()
    operate = {"pedal": "pressed"}

    def sums(v: np.ndarray) -> list[float]:
        x, line_58, line_l, plus, line_54, y = v
        left_stop, left_tail = filament_a(line_54 - x, 13.5, 25), filament_a(line_58 - x, 13.5, 6)
        turn = filament_a(line_l - x, 13.5, 25)
        right_stop, right_tail = filament_a(line_54 - y, 13.5, 25), filament_a(line_58 - y, 13.5, 6)
        return [
            left_stop + left_tail + turn - _LEAK * x,
            -left_tail - right_tail - _LEAK * line_58,
            -turn - filament_a(line_l, 13.5, 25) - _LEAK * line_l,
            (12.6 - plus) / 0.02 - (plus - line_54) / 0.02 - _LEAK * plus,
            (plus - line_54) / 0.02 - left_stop - right_stop - _LEAK * line_54,
            right_stop + right_tail - y / 0.01,
        ]

    volts = tried.shown(operate, _lost(tried)).volts[0]  # what comes back is too little to close the unit's contact
    by_hand = dict(zip(("X", "58", "L", "plus", "54", "Y"), _solved(6, sums), strict=True))
    for node in ("X", "58", "L", "54"):
        assert volts[tried.network.node(node)] == pytest.approx(by_hand[node], abs=_VOLT), node
    assert tried.lamp_v("tail-left", operate, _lost(tried)) < -0.5, "backwards"
    assert tried.lamp_v("turn-left", operate, _lost(tried)) < -1.0, "backwards through the turn lamp"
    assert abs(tried.lamp_v("tail-left", operate)) < 0.1, "none of it with the earth on"


def test_a_small_lamp_behind_a_missing_earth_burns_on_through_its_big_neighbours() -> None:
    """Side lamps on: the left tail lamp returns by its own stop lamp and then the right one, which stay dark and
    take little: nobody sees the missing earth until the pedal is pressed."""
    tried = _rear()
    lost = _lost(tried)
    operate = {"lights": "side"}
    mine, other = tried.lamp_v("tail-left", operate, lost), tried.lamp_v("tail-right", operate, lost)
    assert other - 0.8 < mine < other - 0.2
    assert 0.05 < tried.lamp_v("stop-right", operate, lost) < 0.5
    assert tried.lamp_v("stop-left", operate, lost) == pytest.approx(
        -tried.lamp_v("stop-right", operate, lost), abs=0.05
    )
    assert tried.volts("54", operate, lost) > 0.05, "line 54 is live with the pedal up"


def test_side_lamps_and_missing_earth_change_what_the_turn_signal_does() -> None:
    """Turn and tail on one cluster without earth: tail dims while turn is on, and turn is dim."""
    tried = _rear()
    lost = _lost(tried)
    both = {"lights": "side", "turn": "left"}
    shown = tried.shown(both, lost)
    tail = tried.network.filament("tail-left")
    assert abs(shown.lamp_on_v[0, tail]) < abs(shown.lamp_off_v[0, tail]), "in the rhythm of the flasher"
    assert tried.lamp_v("turn-left", both, lost) < 0.7 * tried.lamp_v("turn-left", both)


def test_stop_turn_and_tail_together_leave_the_cluster_afloat() -> None:
    """All three fed, none earthed: X rises to the volts of the feeds and every lamp of the cluster goes out."""
    tried = _rear()
    lost = _lost(tried)
    everything = {"pedal": "pressed", "lights": "side", "turn": "left"}
    assert tried.volts("X", everything, lost) > 11.5
    for lamp in ("stop-left", "tail-left", "turn-left"):
        assert abs(tried.lamp_v(lamp, everything, lost)) < 1.0
    assert tried.lamp_v("stop-right", everything, lost) > 11.5


# ---------------------------------------------------------------- tell-tale across both sides


def _across() -> Tried:
    """Older way: one tell-tale lamp from L to R; it returns through the lamps of the other side."""
    loom = Loom()
    loom.battery("plus", emf_v=12.6)
    loom.wire("feed", "plus", "unit.49", 0.05)
    loom.flasher()
    loom.wire("unit-earth", "unit.31", "body")
    loom.link("tell-tale-end", "unit.C", "body", 1e6)
    for side in ("L", "R"):
        loom.link(f"turn-{side}", "unit.49a", side, 0.02, "contact", f"turn={side}/hazard")
        for place in ("front", "rear"):
            loom.lamp(f"{place}-{side}", f"{side}", f"{place}-{side}-earth", 25.0)
            loom.wire(f"{place}-{side}-earth-wire", f"{place}-{side}-earth", "body")
    loom.lamp("tell-tale", "L", "R", 2.0)
    return loom.tried({"turn": "off"}, flashers=flashers(3.5))


def test_a_tell_tale_across_both_sides_returns_through_the_lamps_of_the_other_side() -> None:
    """2 W in series with two cold filaments of 21 W: nearly all its volts, and nobody sees the others glow."""
    tried = _across()
    for side, sign in (("L", 1), ("R", -1)):
        on = {"turn": side}
        other = "R" if side == "L" else "L"
        assert sign * tried.lamp_v("tell-tale", on) > 11.5
        assert tried.lamp_v(f"front-{other}", on) < 0.1
        mine = tried.volts(side, on)

        def sums(v: np.ndarray, feed: float = mine) -> list[float]:
            (line,) = v
            return [filament_a(feed - line, 13.5, 2) - 2 * filament_a(line, 13.5, 25) - _LEAK * line]

        assert tried.volts(other, on) == pytest.approx(float(_solved(1, sums)[0]), abs=_VOLT)


def test_a_tell_tale_across_both_sides_is_dark_on_a_sound_hazard() -> None:
    """Both ends at equal volts."""
    tried = _across()
    assert abs(tried.lamp_v("tell-tale", {"turn": "hazard"})) < 0.05
    assert tried.lamp_v("front-L", {"turn": "hazard"}) > 11.0


def test_it_goes_dim_where_the_other_side_has_lost_its_lamps() -> None:
    """No way back: the tell-tale of the left is dark because both lamps of the right are out."""
    tried = _across()
    net = tried.network
    out = Change(scale={net.filament("front-R"): 0.0, net.filament("rear-R"): 0.0})
    assert abs(tried.lamp_v("tell-tale", {"turn": "L"}, out)) < 0.05
    one = Change(scale={net.filament("front-R"): 0.0})
    assert tried.lamp_v("tell-tale", {"turn": "L"}, one) > 11.0


# ---------------------------------------------------------------- main beam tell-tale


def _head() -> Tried:
    """Two lamps of 45/40 W (R2: 52 and 46 W at 13.2 V) with a shared earth each, tell-tale from 56a to body."""
    loom = Loom()
    loom.battery("plus", emf_v=12.6)
    loom.link("dip", "plus", "56b", 0.02, "contact", "beam=dip")
    loom.link("main", "plus", "56a", 0.02, "contact", "beam=main")
    loom.lamp("tell-tale", "56a", "body", 2.0)
    for side in ("left", "right"):
        loom.lamp(f"{side}-main", "56a", f"holder-{side}", 52.0, 13.2)
        loom.lamp(f"{side}-dip", "56b", f"holder-{side}", 46.0, 13.2)
        loom.wire(f"earth-{side}", f"holder-{side}", "body")
    return loom.tried({"beam": "off"})


def test_a_headlamp_without_earth_lights_the_main_beam_tell_tale_on_dip() -> None:
    """Dip current leaves by the main filament into line 56a: tell-tale lit, other main filament glows."""
    tried = _head()
    lost = Change(added_ohm={tried.network.branch("earth-left"): np.inf})
    dip = {"beam": "dip"}
    assert abs(tried.lamp_v("tell-tale", dip)) < 0.05

    def sums(v: np.ndarray) -> list[float]:
        holder, line_a = v
        line_b = tried.volts("56b", dip, lost)
        left_main = filament_a(line_a - holder, 13.2, 52)
        right = filament_a(line_a - tried.volts("holder-right", dip, lost), 13.2, 52)
        return [
            filament_a(line_b - holder, 13.2, 46) + left_main - _LEAK * holder,
            -left_main - right - filament_a(line_a, 13.5, 2) - _LEAK * line_a,
        ]

    holder, line_a = _solved(2, sums)
    assert tried.volts("holder-left", dip, lost) == pytest.approx(holder, abs=_VOLT)
    assert tried.volts("56a", dip, lost) == pytest.approx(line_a, abs=_VOLT)
    assert tried.lamp_v("tell-tale", dip, lost) > 1.5
    assert tried.lamp_v("left-main", dip, lost) < -1.5, "its main filament burns backwards"
    assert tried.lamp_v("left-dip", dip, lost) < 0.85 * tried.lamp_v("left-dip", dip)
    assert tried.lamp_v("right-dip", dip, lost) > 11.5


def test_on_main_beam_the_same_fault_reaches_the_dip_filaments() -> None:
    """The mirror image: and the tell-tale, fed by its own line, shows nothing."""
    tried = _head()
    lost = Change(added_ohm={tried.network.branch("earth-left"): np.inf})
    main = {"beam": "main"}
    assert tried.lamp_v("left-dip", main, lost) < -1.5
    assert tried.lamp_v("right-dip", main, lost) > 1.5
    assert tried.lamp_v("tell-tale", main, lost) > 11.5
