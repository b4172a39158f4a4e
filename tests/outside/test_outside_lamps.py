"""Filament lamps, tell-tale colours and flash rates against regulations and handbooks."""

from __future__ import annotations

import math

import numpy as np
import pytest

from diag.calc.filament import burning, filament_current
from diag.circuit import observe
from diag.circuit.behaviour import FLASHER_STATES
from diag.knowledge.schema import FlasherPart, LampPart
from tests.circuit.bench import network, solve
from tests.circuit.demo import LEFT, Demo

_R37_TEST_W = {
    21.0: (25.0, 26.5),
    10.0: (9.0, 11.0),
    5.0: (4.5, 6.6),
    4.0: (3.6, 4.4),
    3.0: (2.55, 3.45),
    2.0: (1.8, 2.2),
}
"""Rated watts to the span of watts at 13.5 V. Source: UN R37 (P21W, P21/5W, R10W, R5W, T4W, W3W);
3 W from memory, 2 W (not in R37) common practice, no source."""
_TELL_TALES = {"charge-lamp": "red", "oil-lamp": "red", "turn-tell-tale": "green", "main-beam-tell-tale": "blue"}
"""Source: UN R121 and ISO 2575 (oil and charge red: from memory)."""


def test_filament_current_power_and_light_follow_the_handbook_exponents() -> None:
    """Current V^0.55, power V^1.6 (0.55 + 1, rounded), light V^3.4 (Fink & Beaty, Standard Handbook for
    Electrical Engineers), within the range of 0.7 to 1.3 that the laws are given for."""
    ratio = np.array([0.7, 0.9, 1.0, 1.1, 1.3])
    amps, slope = filament_current(ratio, np.full(5, 1.85))
    np.testing.assert_allclose(amps, 1.85 * ratio**0.55, rtol=1e-4)
    np.testing.assert_allclose(amps * ratio / 1.85, ratio**1.6, rtol=0.02)
    np.testing.assert_allclose(slope, 0.55 * 1.85 * ratio**-0.45, rtol=1e-4)
    assert observe.LIGHT_POWER == 3.4


def test_a_cold_filament_has_a_twelfth_of_its_hot_resistance() -> None:
    """Cold to hot about 1 to 12 (10 to 16 by lamp; from memory); a meter finds V²/(12·W)."""
    tiny = 1e-6
    amps, slope = filament_current(np.array([tiny]), np.array([25.0 / 13.5]))
    cold_ohm, hot_ohm = tiny * 13.5 / float(amps[0]), 13.5**2 / 25.0
    assert 10 < hot_ohm / cold_ohm < 16
    assert cold_ohm == pytest.approx(13.5**2 / (12 * 25.0), rel=0.05)
    assert 13.5 / float(slope[0]) == pytest.approx(cold_ohm, rel=1e-3), "straight through zero"


def test_the_slope_is_the_derivative_of_the_current_on_both_sides_of_zero() -> None:
    """Newton's method needs the true slope; a wrong one still converges, slowly and not always."""
    ratio = np.array([-1.1, -0.5, -0.01, -0.002, 0.0, 0.001, 0.02, 0.3, 1.0, 1.4])
    rated = np.full(len(ratio), 1.85)
    step = 1e-7
    up, down = filament_current(ratio + step, rated)[0], filament_current(ratio - step, rated)[0]
    np.testing.assert_allclose(filament_current(ratio, rated)[1], (up - down) / (2 * step), rtol=1e-5)


def test_one_volt_lost_costs_a_lamp_a_quarter_of_its_light(demo: Demo) -> None:
    """k = 12.5/13.5: light 77.0 %, power 88.4 % (exponents 3.4 and 1.6)."""
    lit = solve(network(["body", "a"], [], [("a", "body", 13.5, 25.0)], ("a", "body", 12.5, 1e-6)))
    assert burning(float(lit.lamp_v[0, 0]), 25.0, 13.5).light == pytest.approx(0.770, abs=1e-3)
    assert (float(lit.lamp_v[0, 0]) / 13.5) ** observe.LIGHT_POWER == pytest.approx(0.770, abs=1e-3)
    assert lit.lamp_v[0, 0] * lit.lamp_a[0, 0] / 25.0 == pytest.approx(0.884, abs=0.005)


def test_words_of_light_follow_the_light_law(demo: Demo) -> None:
    """The chance of `dim` grows as the volts fall and passes that of `normal` where the light falls below its limit."""
    limits = dict(demo.knowledge.vocabulary.light_limits)
    shown = demo.predictor.shown(LEFT).rows([0] * 40)
    lamp = demo.network.filament("turn-lamp-front-left")
    share = np.linspace(1.0, 0.61, 40)
    shown.lamp_on_v[:, lamp] *= share
    words = observe.lamp_looks(shown, demo.network, "turn-lamp-front-left", np.zeros(40), limits)
    dim = observe.LOOKS.index(("dim", "flashing"))
    normal = observe.LOOKS.index(("normal", "flashing"))
    crossing = share[int(np.argmax(words[:, dim] > words[:, normal]))]
    assert crossing == pytest.approx(limits["dim"] ** (1 / 3.4), abs=0.015)
    assert (np.diff(words[share > 0.75, dim]) > 0).all()


def test_demo_lamps_have_the_watts_of_regulation_37(demo: Demo) -> None:
    """Watts at 13.5 V, not the rounded watts on the cap, decide what a lamp draws."""
    for name, part in demo.knowledge.parts.items():
        if isinstance(part, LampPart) and demo.knowledge.vehicle.system_v == 12.0:
            assert part.test_v == 13.5, name
            assert any(low <= part.test_w <= high for low, high in _R37_TEST_W.values()), name
    for side in ("turn-lamp-front-left", "turn-lamp-rear-right", "stop-lamp-left", "stop-lamp-right"):
        part = demo.knowledge.parts[side]
        assert isinstance(part, LampPart)
        low, high = _R37_TEST_W[21.0]
        assert low <= part.test_w <= high, f"{side} is a 21 W lamp"


def test_a_5_watt_lamp_in_place_of_21_watts_draws_a_fifth_to_a_quarter(demo: Demo) -> None:
    """6 W against 25 W on test (UN R37, P21/5W): the factor of a wrong lamp."""
    factor = demo.knowledge.kinds.kinds["lamp"]["wrong-wattage"].factor
    assert factor is not None
    assert 4.5 / 26.5 <= factor <= 6.6 / 25.0


def test_tell_tales_have_the_colours_of_the_regulation(demo: Demo) -> None:
    """A green oil lamp in the list would have somebody look for the wrong one."""
    found = {}
    for name, part in demo.knowledge.parts.items():
        if isinstance(part, LampPart) and part.tell_tale:
            found[name] = part.colour
    assert found == _TELL_TALES


def test_signal_lamps_have_their_legal_colours(demo: Demo) -> None:
    """Turn amber, stop and tail red, number plate white (UN R48; older vehicles may differ)."""
    for name, part in demo.knowledge.parts.items():
        if isinstance(part, LampPart) and not part.tell_tale:
            if name.startswith("turn-lamp"):
                assert part.colour == "amber", name
            elif name.startswith(("stop-lamp", "tail-lamp")):
                assert part.colour == "red", name
            elif name == "plate-lamp":
                assert part.colour == "white"


def test_the_demo_unit_flashes_at_a_legal_rate(demo: Demo) -> None:
    """90 ± 30 a minute (UN R48 and the rules for other classes that copy it)."""
    units = [part for part in demo.knowledge.parts.values() if isinstance(part, FlasherPart)]
    assert units
    for unit in units:
        assert 60 <= unit.rate <= 120


def test_one_lamp_out_changes_the_rate_and_the_rest_goes_on(demo: Demo) -> None:
    """UN R48: with one lamp out the others go on flashing, and the tell-tale shows it by a clear change of rate."""
    fast, flashing = FLASHER_STATES.index("fast"), FLASHER_STATES.index("flashing")
    shown = demo.predictor.shown(LEFT)
    assert shown.flasher[0, flashing] > 0.95
    for lamp in ("turn-lamp-front-left", "turn-lamp-rear-left"):
        assert shown.flasher[demo.row(f"{lamp}.open"), fast] > 0.95
    assert demo.look("turn-tell-tale", LEFT, "turn-lamp-rear-left.open") == "normal/fast"


def test_rated_load_of_the_unit_is_that_of_its_side(demo: Demo) -> None:
    """2 × 21 W is stamped on the unit; its rated load is the watts of one side's caps (common practice, no source)."""
    unit = demo.knowledge.parts["flasher-unit"]
    assert isinstance(unit, FlasherPart)
    assert unit.rated_w == pytest.approx(2 * 21.0)
    assert math.isclose(demo.predictor.bench.flashers["flasher-unit"].rated_a, 42.0 / 12.0)
