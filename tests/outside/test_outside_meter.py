"""Meter practice: what instruments are said to be like, against the instruments of the circuit."""

from __future__ import annotations

import numpy as np
import pytest

from diag.calc.filament import filament_current
from diag.circuit import readings
from diag.circuit.instruments import DIODE_OHMMETER, Ammeter, LedTester, Ohmmeter, ProbeLamp, Voltmeter
from diag.circuit.network import LEAK_S
from tests.circuit.bench import network
from tests.circuit.demo import LEFT, RIGHT, SIDE, STOP, Demo, Operate
from tests.circuit.probes import show

_OFF = {"battery": "disconnected"}


def test_a_digital_meter_has_ten_megohms() -> None:
    """Source: common practice, no source."""
    assert pytest.approx(10e6) == Voltmeter().input_ohm
    assert pytest.approx(Voltmeter().input_ohm) == 1.0 / LEAK_S


@pytest.mark.parametrize(("watts", "amps"), [(3.0, 0.25), (5.0, 0.42), (21.0, 1.75)])
def test_test_lamps_draw_their_published_current(watts: float, amps: float) -> None:
    """3, 5 and 21 W at 12 V: 0.25, 0.42, 1.75 A (I = P/V)."""
    lamp = ProbeLamp(12.0, watts)
    found, _ = filament_current(np.array([1.0]), np.array([lamp.watts / lamp.rated_v]))
    assert found[0] == pytest.approx(amps, abs=0.005)


def test_an_led_tester_draws_five_to_twenty_milliamps_at_12_volts() -> None:
    """Too little to prove a feed. Source: common practice, no source."""
    assert 5e-3 <= 12.0 / LedTester().ohm <= 20e-3


def test_leads_have_two_to_five_tenths_of_an_ohm() -> None:
    """To be taken off low readings. Source: common practice, no source."""
    assert 0.2 <= readings.LEADS_OHM <= 0.5


def test_the_ten_amp_range_costs_up_to_half_a_volt() -> None:
    """10 to 50 mohm and leads: 0.1 to 0.5 V at 10 A. Source: common practice, no source."""
    assert 0.1 <= 10.0 * Ammeter().ohm <= 0.5


def test_the_two_kinds_of_ohms_range_stand_below_and_above_a_junction() -> None:
    """0.4 V or less leaves silicon shut, 2 to 3 V opens it. Source: common practice, no source."""
    assert Ohmmeter().test_v <= 0.4 < 0.6
    assert 2.0 <= DIODE_OHMMETER.test_v <= 3.0
    for meter in (Ohmmeter(), DIODE_OHMMETER):
        tops = [top for top, _ in meter.ranges]
        assert tops == sorted(tops)
        assert all(1e-7 < meter.test_v / series < 10e-3 for _, series in meter.ranges), "milliamps at most"


@pytest.mark.parametrize(("ohm", "beeps"), [(5.0, True), (29.0, True), (51.0, False), (500.0, False)])
def test_buzzers_stop_between_30_and_50_ohm(ohm: float, beeps: bool) -> None:
    """Source: common practice, no source."""
    assert (readings.beeps(np.array([ohm]))[0] > 0.5) == beeps


@pytest.mark.parametrize(("watts", "volts"), [(25.0, 13.5), (6.0, 13.5), (68.0, 13.2)])
def test_an_ohmmeter_reads_a_tenth_to_a_fifteenth_of_a_lamps_hot_resistance(watts: float, volts: float) -> None:
    """So lamps are judged by current, not by ohms. Source: common practice, no source."""
    net = network(["body", "lamp", "plus"], [], [("lamp", "body", volts, watts)], ("plus", "body", 12.6, 0.01))
    cold = show(net, Ohmmeter(), "lamp", "body", _OFF) - readings.LEADS_OHM
    assert 1 / 15 <= cold / (volts**2 / watts) <= 1 / 10


def test_ten_kilohms_in_the_feed_look_perfect_on_the_meter_and_leave_a_test_lamp_dark() -> None:
    """12.6 V through a corroded joint: 12.59 V on 10 Mohm; a 48 ohm load would get 60 mV, a cold 3 W lamp less
    (divider rule)."""
    net = network(["body", "feed", "joint"], [("feed", "joint", 10e3)], [], ("feed", "body", 12.6, 0.01))
    assert show(net, Voltmeter(), "joint") == pytest.approx(12.59, abs=0.005)
    assert show(net, ProbeLamp(12.0, 3.0), "joint") < 0.0602


@pytest.mark.parametrize("operate", [LEFT, RIGHT, STOP, SIDE], ids=str)
def test_along_every_line_of_the_sound_vehicle_each_piece_keeps_to_its_limit(demo: Demo, operate: Operate) -> None:
    """Earth joint 0.10 V, wire 0.20 V, contact 0.30 V under load (joint-by-joint limits; common practice, no
    source), and the pieces add up to what a meter shows from end to end."""
    shown, net, rest = demo.predictor.shown(operate), demo.network, demo.predictor.rest
    siemens = net.rest_conductance(operate, rest)
    lit = [lamp for lamp in net.filaments if abs(shown.lamp_on_v[0, net.filament(lamp.id)]) > 3.0]
    seen = 0
    for lamp in lit:
        for start, end in (("battery.B+", net.nodes[lamp.a]), (net.nodes[lamp.b], "battery.B-")):
            pieces = readings.path(net, siemens, start, end)
            if set(pieces) & {other.id for other in net.filaments}:
                continue  # what is fed through another lamp has no limit of its own
            whole, shares, reached = readings.drops(shown, net, start, pieces)
            assert reached == end
            assert shares[0].sum() == pytest.approx(whole.mean[0], abs=1e-9)
            for piece, volts in zip(pieces, shares[0], strict=True):
                limit = readings.drop_limit_v(_sort_of(demo, piece), 12.0)
                seen += limit is not None
                assert limit is None or abs(volts) < limit, f"{piece} loses {volts:.3f} V"
    assert seen > 10


def _sort_of(demo: Demo, piece: str) -> str:
    part = demo.knowledge.parts.get(piece)
    if part is not None and part.kind == "earth":
        return "earth"
    return demo.network.branches[demo.network.branch(piece)].role
