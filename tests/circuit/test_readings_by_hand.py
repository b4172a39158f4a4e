"""What meters and test lamps show on circuits small enough for Ohm's law or root finding."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import brentq  # type: ignore[import-untyped]

from diag.circuit import readings
from diag.circuit.behaviour import Bench
from diag.circuit.instruments import (
    DIODE_OHMMETER,
    MOVING_COIL,
    Hookup,
    LedTester,
    Ohmmeter,
    ProbeLamp,
    Voltmeter,
)
from diag.circuit.network import Branch, Change, Extra, Network
from tests.circuit.bench import filament_a, network
from tests.circuit.probes import bench, lamp_behind, show, with_diode

_MILLIVOLT = 1e-3
_OFF = {"battery": "disconnected"}
_COLD = 1.6e-5**0.225
"""Share of its hot resistance that a cold filament has: about a twelfth."""


def _fed_through(ohm: float) -> Network:
    """A battery, something bad in the feed, and a terminal that nothing hangs on."""
    return network(["body", "feed", "point"], [("feed", "point", ohm)], [], ("feed", "body", 12.6, 0.01))


# ---------------------------------------------------------------- volts


def test_an_open_wire_with_damp_across_it_shows_ghost_volts_to_a_meter_and_nothing_to_a_lamp() -> None:
    """1 Mohm of damp and a 10 Mohm meter: 12.6 · 10/11 = 11.45 V (Ohm's law); the lamp gets microvolts."""
    net = _fed_through(1e6)
    assert show(net, Voltmeter(), "point") == pytest.approx(12.6 * 10 / 11, abs=_MILLIVOLT)
    assert show(net, ProbeLamp(), "point") < 1e-4


def test_a_wire_that_is_cleanly_broken_shows_nothing_at_all() -> None:
    """Ghosts need a path: with none the meter itself pulls its point down to body."""
    net = network(["body", "feed", "point"], [], [], ("feed", "body", 12.6, 0.01))
    assert show(net, Voltmeter(), "point") == pytest.approx(0.0, abs=1e-9)


def test_a_corroded_feed_reads_full_volts_and_lights_no_test_lamp() -> None:
    """10 kohm: 12.6 · 10e6 / (10e6 + 10e3) = 12.587 V on the meter, a cold filament's share on the lamp."""
    net = _fed_through(10e3)
    assert show(net, Voltmeter(), "point") == pytest.approx(12.6 * 10e6 / 10.01e6, abs=_MILLIVOLT)
    assert show(net, ProbeLamp(), "point") == pytest.approx(lamp_behind(12.6, 10e3, 12.0, 5.0), abs=1e-6)
    assert show(net, ProbeLamp(), "point") < 0.01


@pytest.mark.parametrize(("ohm", "lit"), [(100.0, True), (10e3, False)])
def test_a_tester_with_an_led_is_fooled_by_what_a_lamp_is_not(ohm: float, lit: bool) -> None:
    """10 mA at 12 V load 100 ohm hardly (11.6 V, lit), 10 kohm down to 1.35 V (dark); at 100 ohm a 5 W lamp
    has 1.7 V left."""
    net, tester = _fed_through(ohm), LedTester()
    by_hand = 12.6 * tester.ohm / (tester.ohm + ohm)
    assert show(net, tester, "point") == pytest.approx(by_hand, rel=1e-3)
    assert (by_hand > tester.on_v) == lit
    assert show(net, ProbeLamp(), "point") < 2.0


@pytest.mark.parametrize(("input_ohm", "reads_v"), [(10e6, 5.714), (200e3, 1.714)], ids=["digital", "moving-coil"])
def test_a_meter_loads_a_point_behind_megohms_by_the_divider_rule(input_ohm: float, reads_v: float) -> None:
    """Two of 1 Mohm across 12 V: 6 V stand there; 10 Mohm beside one of them leave 12 · 0.909 / 1.909, a moving
    coil of 20 kohm a volt on its 10 V range 12 · 0.1667 / 1.1667."""
    links = [("feed", "middle", 1e6), ("middle", "body", 1e6)]
    net = network(["body", "feed", "middle"], links, [], ("feed", "body", 12.0, 0.01))
    assert show(net, Voltmeter(input_ohm), "middle") == pytest.approx(reads_v, abs=_MILLIVOLT)


def test_a_battery_off_its_earth_still_reads_its_volts_from_post_to_post() -> None:
    """Neither post has anything to do with body, yet 12.6 V stand between them."""
    net = network(["body", "plus", "minus"], [], [], ("plus", "minus", 12.6, 0.04))
    assert show(net, Voltmeter(), "plus", "minus") == pytest.approx(12.6, abs=_MILLIVOLT)


@pytest.mark.parametrize("ohm", [0.2, 1.0, 5.0, 50.0])
def test_volts_behind_a_bad_joint_stray_as_the_divider_rule_says(ohm: float) -> None:
    """V = V0 r / (R + r), so that dV / d ln R = V (1 - V / V0); never more than twice of it is allowed for."""
    spread, rest_v = 0.3, 12.6
    volts = np.array([rest_v, rest_v * 5.0 / (5.0 + ohm)])
    own = readings.volts_readings(volts, np.zeros(2)).width[1]
    strays = math.sqrt(readings.volts_readings(volts, np.array([0.0, spread])).width[1] ** 2 - own**2)
    slope = spread * volts[1] * (1 - volts[1] / rest_v)
    assert 0.999 * slope < strays < 2.001 * slope


def test_a_point_that_is_dead_is_dead_however_bad_the_fault() -> None:
    """A stiff wiper may take more or less; behind the fuse that it burnt there is nothing either way."""
    for read in (readings.volts_readings, readings.amps_readings):
        loose, firm = (read(np.array([12.6, 0.0]), np.array([0.0, spread])) for spread in (0.5, 0.0))
        assert loose.width[1] == pytest.approx(firm.width[1], abs=1e-12)


def test_probes_put_the_other_way_round_read_the_other_sign() -> None:
    """A minus sign in front of the volts tells which way round a feed or a battery is."""
    net = _fed_through(1.0)
    there, back = show(net, Voltmeter(), "point"), show(net, Voltmeter(), "body", "point")
    assert back == pytest.approx(-there)
    assert readings.polarity(np.array([there, back, 0.05])).tolist() == [1, -1, 0]


# ---------------------------------------------------------------- test lamps


@pytest.mark.parametrize("watts", [3.0, 5.0, 21.0])
@pytest.mark.parametrize("ohm", [0.05, 0.5, 2.0, 10.0, 60.0, 1000.0])
def test_a_test_lamp_behind_a_resistance_is_the_root_of_its_curve(ohm: float, watts: float) -> None:
    """The filament's volts solve (V - v)/R = i(v), found here by bracketing (SciPy's brentq)."""
    found = show(_fed_through(ohm), ProbeLamp(12.0, watts), "point")
    assert found == pytest.approx(lamp_behind(12.6, ohm + 0.01, 12.0, watts), abs=1e-4)


def test_the_quick_test_lamp_agrees_with_the_one_in_the_network_wherever_all_is_straight() -> None:
    """Behind resistors, however they are joined, a test lamp sees one voltage behind one resistance (Thevenin)."""
    random = np.random.default_rng(4)
    for _ in range(12):
        ohms = 10 ** random.uniform(-1, 2.5, 5)
        names = ["body", "feed", "a", "b"]
        ends = [("feed", "a"), ("a", "body"), ("a", "b"), ("b", "body"), ("feed", "b")]
        links = [(x, y, float(ohm)) for (x, y), ohm in zip(ends, ohms, strict=True)]
        net = network(names, links, [], ("feed", "body", 12.6, 0.02))
        shown, _ = bench(net).operate({}, [Change()])
        quick = readings.quick_lamp(shown, net, "a", "body", 5.0, 12.0)
        assert quick.number[0] == pytest.approx(show(net, ProbeLamp(), "a"), abs=_MILLIVOLT)


def test_a_test_lamp_fed_through_another_lamp_shares_the_volts_with_it() -> None:
    """Backfed through a 5 W bulb a 5 W test lamp gets half: two filaments in series, found by root finding. The
    quick way takes the cold bulb for a straight 2 ohm and promises far too much."""
    net = network(["body", "feed", "socket"], [], [("feed", "socket", 12.0, 5.0)], ("feed", "body", 12.6, 0.01))
    by_hand = brentq(lambda v: filament_a(12.6 - v, 12.0, 5.0) - filament_a(v, 12.0, 5.0), 0.0, 12.6, xtol=1e-12)
    assert show(net, ProbeLamp(), "socket") == pytest.approx(by_hand, abs=5e-3)
    shown, _ = bench(net).operate({}, [Change()])
    assert readings.quick_lamp(shown, net, "socket", "body", 5.0, 12.0).number[0] > 1.5 * by_hand


@pytest.mark.parametrize(("earth_ohm", "lights"), [(0.01, True), (1e6, False)])
def test_a_lamp_clipped_to_the_feed_lights_on_a_good_earth_only(earth_ohm: float, lights: bool) -> None:
    """The classic test of an earth: clip on the battery's plus, tip on the earth."""
    net = network(["body", "feed", "earth"], [("earth", "body", earth_ohm)], [], ("feed", "body", 12.6, 0.01))
    assert (show(net, ProbeLamp(), "feed", "earth") > 12.0) == lights


# ---------------------------------------------------------------- ohms


def test_probes_held_together_show_the_resistance_of_the_leads() -> None:
    """0.2 ohm: what is to be taken off every low reading."""
    net = network(["body", "a", "b"], [("a", "b", 1e-6)], [], ("a", "body", 12.6, 0.01))
    assert show(net, Ohmmeter(), "a", "b", _OFF) == pytest.approx(readings.LEADS_OHM, abs=1e-4)


@pytest.mark.parametrize("ohm", [0.5, 33.0, 150.0, 1500.0, 15e3])
def test_a_resistor_reads_itself_and_the_leads_on_whatever_range(ohm: float) -> None:
    """Meters change their test current from range to range; a resistor does not mind."""
    net = network(["body", "a", "b"], [("a", "b", ohm)], [], ("a", "body", 12.6, 0.01))
    assert show(net, Ohmmeter(), "a", "b", _OFF) == pytest.approx(ohm + readings.LEADS_OHM, rel=2e-3)


def test_two_cold_lamps_are_read_through_each_other() -> None:
    """Two of 21 W on one wire: each cold filament has 13.5²/25 · 0.083 = 0.61 ohm, so the wire to body reads
    0.30 ohm and leads; with one bulb out still 0.61, so ohms do not tell a dead bulb from a live one."""
    cold = 13.5**2 / 25.0 * _COLD
    pair = network(["body", "wire", "plus"], [], [("wire", "body", 13.5, 25.0)] * 2, ("plus", "body", 12.6, 0.01))
    single = replace(pair, filaments=pair.filaments[:1])
    assert show(pair, Ohmmeter(), "wire", "body", _OFF) == pytest.approx(cold / 2 + 0.2, rel=1e-3)
    assert show(single, Ohmmeter(), "wire", "body", _OFF) == pytest.approx(cold + 0.2, rel=1e-3)


def test_lamps_left_and_right_of_a_missing_earth_are_read_in_series() -> None:
    """From one feed to the other through both cold filaments, as if there were a wire."""
    net = network(
        ["body", "left", "right", "shared", "plus"],
        [],
        [("left", "shared", 13.5, 25.0), ("right", "shared", 13.5, 25.0)],
        ("plus", "body", 12.6, 0.01),
    )
    cold = 13.5**2 / 25.0 * _COLD
    assert show(net, Ohmmeter(), "left", "right", _OFF) == pytest.approx(2 * cold + 0.2, rel=1e-3)


def test_a_parallel_path_hides_an_open_wire() -> None:
    """Continuity from end to end of a broken wire, through the lamps that hang on both its ends; with one lamp
    out it is OL."""
    nodes, battery = ["body", "a", "b", "plus"], ("plus", "body", 12.6, 0.01)
    lamps = [("a", "body", 13.5, 25.0), ("b", "body", 13.5, 25.0)]
    assert show(network(nodes, [], lamps, battery), Ohmmeter(), "a", "b", _OFF) < 2.0
    assert math.isinf(show(network(nodes, [], lamps[:1], battery), Ohmmeter(), "a", "b", _OFF))


def _diode_ohm(meter: Ohmmeter, way: float) -> float:
    """What the meter must show over a diode of 0.7 V, 0.05 ohm: the lowest range that holds it, by root finding."""

    def amps(volts: float) -> float:
        knee = math.log1p(math.exp((way * volts - 0.7) / 0.05)) - math.log1p(math.exp(-0.7 / 0.05))
        return way * (0.05 / 0.05) * knee

    for top, series in meter.ranges:
        volts = brentq(lambda v, r=series: (meter.test_v - v) / r - amps(v), 0.0, meter.test_v, xtol=1e-14)
        ohm = volts * series / (meter.test_v - volts)
        if ohm <= top:
            return float(ohm) + readings.LEADS_OHM
    return math.inf


def test_test_volts_below_its_threshold_do_not_open_a_diode() -> None:
    """A low-power ohms range reads a kilohm or more over a junction; 2.8 V open it and read less than 200 ohm;
    the other way round neither lets anything through."""
    plain = network(["body", "a", "b"], [], [], ("a", "body", 12.6, 0.01))
    net = with_diode(plain, "a", "b")
    low, high = show(net, Ohmmeter(), "a", "b", _OFF), show(net, DIODE_OHMMETER, "a", "b", _OFF)
    assert low == pytest.approx(_diode_ohm(Ohmmeter(), 1.0), rel=0.02)
    assert high == pytest.approx(_diode_ohm(DIODE_OHMMETER, 1.0), rel=0.02)
    assert high < 200 < 1000 < low
    assert math.isinf(show(net, DIODE_OHMMETER, "b", "a", _OFF))


def test_ohms_with_power_on_are_no_number() -> None:
    """The battery's volts on the probes give a false reading or harm the meter."""
    net = network(
        ["body", "feed", "point"], [("feed", "point", 5.0), ("point", "body", 5.0)], [], ("feed", "body", 12.6, 0.01)
    )
    assert math.isnan(show(net, Ohmmeter(), "point"))
    found = readings.ohms_readings(np.array([2.7, np.nan]), np.zeros(2))
    assert found.senseless is not None and found.senseless.tolist() == [False, True]
    assert show(net, Ohmmeter(), "point", "body", _OFF) == pytest.approx(5.0 + 0.2, rel=1e-3)


def test_a_buzzer_sounds_for_a_wire_and_not_for_a_coil() -> None:
    """Threshold between 30 and 50 ohm (common practice, no source): a cold lamp sounds it as a wire does."""
    found = readings.beeps(np.array([0.3, 10.0, 40.0, 150.0, np.inf]))
    assert found[0] > 0.99 and found[1] > 0.95
    assert found[2] == pytest.approx(0.5)
    assert found[3] < 0.05 and found[4] < 1e-6


# ---------------------------------------------------------------- amps


def _fused(load_ohm: float) -> Network:
    net = network(["body", "feed", "out"], [("out", "body", load_ohm)], [], ("feed", "body", 12.6, 0.05))
    return replace(net, branches=(*net.branches, Branch("fuse", 1, 2, 0.005, "fuse")))


def test_an_ammeter_in_place_of_a_fuse_costs_its_burden() -> None:
    """12.6 V over 3 ohm of load, 0.05 of battery and 0.05 of meter: 4.0645 A; the fuse itself would pass 4.1244."""
    meter = Hookup.ammeter(bench(_fused(3.0), {"fuse": 8.0}), "fuse")
    assert meter.read({}, [Change()]).number[0] == pytest.approx(12.6 / 3.1, abs=1e-4)


def test_an_ammeter_in_place_of_a_blown_fuse_carries_what_the_fuse_would() -> None:
    """Which is why it is put there: current without the fuse says that the fuse is all that was wrong."""
    meter = Hookup.ammeter(bench(_fused(3.0), {"fuse": 8.0}), "fuse")
    blown = Change(added_ohm={meter.bench.network.branch("fuse"): np.inf})
    assert meter.read({}, [blown]).number[0] == pytest.approx(12.6 / 3.1, abs=1e-4)


def test_a_short_takes_the_meters_own_fuse_and_is_read_as_the_top_of_its_range() -> None:
    """Nobody reads 100 A on a 10 A range."""
    meter = Hookup.ammeter(bench(_fused(3.0), {"fuse": 8.0}), "fuse")
    short = Change(extra=(Extra(2, 0, 50.0, 0),))
    found = readings.amps_readings(meter.read({}, [Change(), short]).number, np.zeros(2))
    assert found.mean[1] == pytest.approx(20.0)
    assert found.width[1] > 5.0 > 1.0 > found.width[0]


def test_an_ammeter_in_a_wire_adds_its_burden_to_the_wire() -> None:
    """12.6 V over 3 ohm, 0.1 of wire, 0.05 of battery and 0.05 of meter: 3.9375 A, either way round; off a corroded
    wire's end of 1 ohm the same and that ohm: 3.0 A."""
    net = network(["body", "feed", "out"], [("out", "body", 3.0)], [], ("feed", "body", 12.6, 0.05))
    for a, b, sign in ((1, 2, 1.0), (2, 1, -1.0)):
        wired = replace(net, branches=(*net.branches, Branch("wire", a, b, 0.1, "wire")))
        meter = Hookup.ammeter(bench(wired), "wire")
        found = meter.read({}, [Change(), Change(added_ohm={wired.branch("wire"): 1.0})]).number
        assert found == pytest.approx(np.array([12.6 / 3.2, 12.6 / 4.2]) * sign, abs=1e-4)


@pytest.mark.parametrize(("meter", "reads_v"), [(Voltmeter(), 12.6), (MOVING_COIL, 12.6 * 20 / 21)])
def test_each_class_of_voltmeter_has_its_own_loading_and_tolerance(meter: Voltmeter, reads_v: float) -> None:
    """Behind 10 kohm a moving coil of 200 kohm reads 12.0 V where the digital one reads 12.6 V, and is sure to 2.5 %
    of its 10 V range only (common practice, no source)."""
    found = show(_fed_through(10e3), meter, "point")
    assert found == pytest.approx(reads_v, abs=0.02)
    width = readings.volts_readings(np.array([found]), np.zeros(1), digits_v=meter.digits_v).width[0]
    assert meter.digits_v <= width < meter.digits_v + 0.2


# ---------------------------------------------------------------- drops


def _chain() -> tuple[Network, Bench]:
    links = [("feed", "a", 0.02), ("a", "b", 0.5), ("b", "c", 0.03), ("c", "body", 3.0)]
    net = network(["body", "feed", "a", "b", "c"], links, [], ("feed", "body", 12.6, 0.05))
    return net, bench(net)


def test_drops_along_a_path_add_up_and_fall_by_ohms_law() -> None:
    """3.5 A through 0.02, 0.5 and 0.03 ohm: 0.07, 1.75 and 0.105 V; the middle one is the bad joint."""
    net, ready = _chain()
    shown, _ = ready.operate({}, [Change()])
    whole, shares, end = readings.drops(shown, net, "feed", ["feed-a", "a-b", "b-c"])
    assert end == "c"
    assert shares[0] == pytest.approx([3.5 * 0.02, 3.5 * 0.5, 3.5 * 0.03], abs=2e-5)
    assert whole.mean[0] == pytest.approx(shares[0].sum(), abs=1e-9)
    assert [share > (readings.drop_limit_v("wire", 12.0) or 0.0) for share in shares[0]] == [False, True, False]


def test_a_path_that_does_not_hang_together_is_refused() -> None:
    """A piece left out would hide its drop."""
    net, ready = _chain()
    shown, _ = ready.operate({}, [Change()])
    with pytest.raises(ValueError, match="b-c joins b and c, not a"):
        readings.drops(shown, net, "feed", ["feed-a", "b-c"])


def test_the_path_between_two_points_is_the_one_that_carries_most() -> None:
    """Of two ways the better conductor; through a switch that is open none."""
    links = [("feed", "a", 0.1), ("a", "b", 0.1), ("feed", "b", 5.0)]
    net = network(["body", "feed", "a", "b"], links, [("b", "body", 12.0, 21.0)], ("feed", "body", 12.6, 0.05))
    siemens = net.rest_conductance({}, {})
    assert readings.path(net, siemens, "feed", "b") == ("feed-a", "a-b")
    assert readings.path(net, siemens, "feed", "body") == ("feed-a", "a-b", "lamp-b-body")
    siemens[net.branch("a-b")] = 0.0
    assert readings.path(net, siemens, "feed", "b") == ("feed-b",)
    siemens[net.branch("feed-b")] = 0.0
    assert readings.path(net, siemens, "feed", "b") == ()


def test_drop_limits_go_with_the_vehicles_volts() -> None:
    """24 V twice, 6 V half; what is a load has no limit."""
    assert readings.drop_limit_v("earth", 12.0) == pytest.approx(0.10)
    assert readings.drop_limit_v("contact", 24.0) == pytest.approx(0.60)
    assert readings.drop_limit_v("wire", 6.0) == pytest.approx(0.10)
    assert readings.drop_limit_v("horn", 12.0) is None
