"""Small circuits solved a second time on paper or by root finding, to a millivolt."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import brentq  # type: ignore[import-untyped]

from diag.calc.copper import wire_ohm
from tests.circuit.bench import filament_a, network, solve

_MILLIVOLT = 1e-3
"""Ten times finer than the last digit of a workshop meter."""


@pytest.mark.parametrize("dense", [False, True], ids=["sparse", "dense"])
@pytest.mark.parametrize(("first_w", "second_w"), [(25.0, 6.0), (25.0, 25.0), (2.0, 25.0), (6.0, 2.0)])
def test_lamps_in_series_through_a_missing_earth_share_the_volts(first_w: float, second_w: float, dense: bool) -> None:
    """A lost common earth puts one lamp in series with another: the case that fools most people."""
    net = network(
        ["body", "feed", "shared"],
        [],
        [("feed", "shared", 13.5, first_w), ("shared", "body", 13.5, second_w)],
        ("feed", "body", 12.6, 0.04),
    )
    solved = solve(net, dense=dense)

    def unbalanced(shared_v: float) -> float:
        feed_v = brentq(
            lambda v: (12.6 - v) / 0.04 - filament_a(v - shared_v, 13.5, first_w) - 1e-7 * v, 0.0, 13.0, xtol=1e-13
        )
        return filament_a(feed_v - shared_v, 13.5, first_w) - filament_a(shared_v, 13.5, second_w) - 1e-7 * shared_v

    by_hand = brentq(unbalanced, 0.0, 12.6, xtol=1e-12)
    assert solved.volts[0, 2] == pytest.approx(by_hand, abs=_MILLIVOLT)
    assert solved.lamp_v[0].sum() == pytest.approx(solved.volts[0, 1], abs=1e-7)
    if first_w > second_w:
        assert solved.lamp_v[0, 1] > 4 * solved.lamp_v[0, 0], "the small lamp takes most of the volts"


def test_a_wire_loses_what_its_section_length_and_current_say() -> None:
    """10 A through 4.5 m of 1.5 mm²: 13.3 milliohm a metre (IEC 60228 class 5) lose 0.5985 V."""
    lost_v = 10.0 * 0.0133 * 4.5
    load_ohm = (12.0 - lost_v) / 10.0
    net = network(
        ["body", "battery", "load"],
        [("battery", "load", wire_ohm(1.5, 4.5)), ("load", "body", load_ohm)],
        [],
        ("battery", "body", 12.0, 1e-4),
    )
    solved = solve(net)
    assert solved.volts[0, 1] - solved.volts[0, 2] == pytest.approx(lost_v, abs=_MILLIVOLT)


@pytest.mark.parametrize(
    ("watts", "test_v", "lamps", "section_mm2", "length_m", "lost_v"),
    [
        pytest.param(25.0, 13.5, 2, 1.5, 4.5, 0.220, id="12-V-stop-lamps"),
        pytest.param(26.0, 6.75, 2, 1.5, 4.5, 0.444, id="6-V-stop-lamps"),
        pytest.param(68.0, 13.2, 2, 2.5, 3.0, 0.244, id="12-V-dipped-beams"),
    ],
)
def test_lamps_at_the_end_of_a_wire_lose_the_published_drop(
    watts: float, test_v: float, lamps: int, section_mm2: float, length_m: float, lost_v: float
) -> None:
    """Lamps draw less as they lose volts, so the drop is smaller than watts over volts would say.

    Lost volts solve V = Vs - R·n·I0·(V/Vs)^0.55 (Fink & Beaty exponent, IEC 60228 resistance).
    """
    net = network(
        ["body", "source", "lamps"],
        [("source", "lamps", wire_ohm(section_mm2, length_m))],
        [("lamps", "body", test_v, watts)] * lamps,
        ("source", "body", test_v, 1e-5),
    )
    solved = solve(net)
    assert test_v - solved.volts[0, 2] == pytest.approx(lost_v, abs=_MILLIVOLT)


def test_half_an_ohm_in_an_earth_costs_a_21_watt_lamp_a_fifth_of_its_light() -> None:
    """25 W at 13.5 V with 0.5 ohm to body: 1.78 A, 0.892 V lost, 79.3 % of the light (V^3.4)."""
    net = network(
        ["body", "feed", "earth"],
        [("earth", "body", 0.5)],
        [("feed", "earth", 13.5, 25.0)],
        ("feed", "body", 13.5, 1e-6),
    )
    solved = solve(net)
    assert solved.lamp_a[0, 0] == pytest.approx(1.78, abs=0.005)
    assert solved.volts[0, 2] == pytest.approx(0.892, abs=_MILLIVOLT)
    assert (solved.lamp_v[0, 0] / 13.5) ** 3.4 == pytest.approx(0.793, abs=5e-4)


def test_a_corroded_joint_fools_a_meter_and_not_a_lamp() -> None:
    """10 kilohm in the feed: a 10 megohm meter reads 12.59 V, a 48 ohm load gets 60.2 mV, a lamp less.

    A cold filament has about a twelfth of its hot resistance, so the real lamp gets less than 60.2 mV.
    """
    joint = ("feed", "terminal", 10_000.0)
    battery = ("feed", "body", 12.6, 0.01)
    nodes = ["body", "feed", "terminal"]
    metered = solve(network(nodes, [joint], [], battery))
    assert metered.volts[0, 2] == pytest.approx(12.6 * 10e6 / (10e6 + 10e3), abs=_MILLIVOLT)
    loaded = solve(network(nodes, [joint, ("terminal", "body", 48.0)], [], battery))
    assert loaded.volts[0, 2] == pytest.approx(0.0602, abs=1e-4)
    lit = solve(network(nodes, [joint], [("terminal", "body", 12.0, 3.0)], battery))
    by_hand = brentq(lambda v: (12.6 - v) / 10_000.0 - filament_a(v, 12.0, 3.0), 0.0, 1.0)
    assert lit.volts[0, 2] == pytest.approx(by_hand, abs=1e-5)
    assert lit.volts[0, 2] < 0.0602 / 6


def test_a_turn_circuit_draws_what_its_lamps_add_up_to() -> None:
    """Two of 25 W, a repeater of 5 W and a tell-tale of 2 W at 12.6 V: 4.065 A; with a 25 W lamp out 2.282 A.

    By I = sum of W/13.5 · (12.6/13.5)^0.55 (Fink & Beaty exponent).
    """

    def drawn(watts: list[float]) -> float:
        lamps = [("feed", "body", 13.5, w) for w in watts]
        return float(solve(network(["body", "feed"], [], lamps, ("feed", "body", 12.6, 1e-6))).lamp_a.sum())

    assert drawn([25, 25, 5, 2]) == pytest.approx(4.065, abs=_MILLIVOLT)
    assert drawn([25, 5, 2]) == pytest.approx(2.282, abs=_MILLIVOLT)
    assert drawn([25, 25, 2]) == pytest.approx(3.708, abs=_MILLIVOLT)


def test_a_starter_cable_loses_a_fifth_of_a_volt() -> None:
    """180 A through 2.0 m of 35 mm²: 1.11 milliohm, 0.199 V (IEC 60228 class 5)."""
    assert wire_ohm(35.0, 2.0) == pytest.approx(1.11e-3, abs=5e-6)
    assert 180.0 * wire_ohm(35.0, 2.0) == pytest.approx(0.199, abs=_MILLIVOLT)


def test_inner_resistance_is_that_of_the_paths_seen_from_the_probe() -> None:
    """Two equal resistors as a divider show half of one to the probe; a test lamp is worked out from it."""
    net = network(
        ["body", "feed", "middle"],
        [("feed", "middle", 100.0), ("middle", "body", 100.0)],
        [],
        ("feed", "body", 12.0, 1e-6),
    )
    for dense in (False, True):
        assert solve(net, dense=dense).inner_ohm[0, 2] == pytest.approx(50.0, rel=1e-4)


def test_inner_resistance_of_a_lit_lamp_is_its_slope() -> None:
    """Towards a lamp that is lit the probe sees dV/dI, not V/I: found here by drawing a little current."""
    ohm = 5.0
    net = network(["body", "feed", "lamp"], [("feed", "lamp", ohm)], [("lamp", "body", 13.5, 25.0)],
                  ("feed", "body", 12.6, 1e-6))  # fmt: skip

    def lamp_v(drawn_a: float) -> float:
        return float(brentq(lambda v: (12.6 - v) / ohm - filament_a(v, 13.5, 25.0) - drawn_a, 0.0, 12.6, xtol=1e-13))

    slope = (lamp_v(0.0) - lamp_v(1e-4)) / 1e-4
    assert solve(net).inner_ohm[0, 2] == pytest.approx(slope, rel=1e-3)


def test_reversing_the_battery_mirrors_every_volt() -> None:
    """Positive-earth vehicles exist; a filament does not mind which way its current flows."""
    nodes = ["body", "feed", "shared"]
    lamps = [("feed", "shared", 13.5, 25.0), ("shared", "body", 13.5, 5.0)]
    there = solve(network(nodes, [], lamps, ("feed", "body", 12.6, 0.04)))
    back = solve(network(nodes, [], lamps, ("body", "feed", 12.6, 0.04)))
    np.testing.assert_allclose(back.volts, -there.volts, atol=1e-9)
