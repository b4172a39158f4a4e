"""Flash rates against the limits of UN R48 and what is known of both techniques of flasher unit.

UN R48, 6.5 (and the rules for other classes that copy it): 90 ± 30 flashes a minute; a lamp out may change
the rate. A variable-load unit that gives no sign of a lamp out is not described here.
"""

from __future__ import annotations

import numpy as np
import pytest

from diag.calc.flash import LEGAL_RATE
from diag.circuit.behaviour import FLASHER_STATES
from diag.circuit.network import Change
from diag.knowledge.schema import FlasherPart
from tests.circuit.demo import HAZARD, LEFT, Demo
from tests.circuit.loom import Loom, Tried, flashers

_LEGAL = (60.0, 120.0)
"""Flashes a minute. Source: UN R48, 6.5.9.1 (90 ± 30)."""


def turn_side(lamps: int = 2, *, thermal: bool = False, battery_v: float = 12.6, watts: float = 25.0) -> Tried:
    """One side of turn lamps and the tell-tale on a unit made for 2 x 21 W; P21W take 25 W at 13.5 V (UN R37)."""
    loom = Loom()
    loom.battery("plus", emf_v=battery_v)
    loom.wire("feed", "plus", "unit.49", 0.05)
    loom.flasher()
    loom.wire("earth", "unit.31", "body")
    loom.lamp("tell-tale", "unit.C", "body", 2.0)
    loom.wire("side", "unit.49a", "L", 0.05)
    for i in range(lamps):
        loom.lamp(f"lamp-{i + 1}", "L", "body", watts)
    if not lamps:
        loom.link("nothing", "L", "body", 1e6)
    return loom.tried(flashers=flashers(42.0 / 12.0, thermal=thermal))


def state(tried: Tried, change: Change | None = None) -> str:
    return FLASHER_STATES[int(tried.shown(change=change).flasher[0].argmax())]


def rate(tried: Tried, change: Change | None = None) -> float:
    return float(tried.shown(change=change).rate[0])


def test_the_words_part_where_the_law_does() -> None:
    assert LEGAL_RATE == _LEGAL


@pytest.mark.parametrize("thermal", [False, True])
def test_a_healthy_side_flashes_within_the_law(thermal: bool) -> None:
    """Rated load and a charged battery, engine off and running."""
    for volts in (12.2, 12.6, 13.8):
        tried = turn_side(thermal=thermal, battery_v=volts)
        assert _LEGAL[0] <= rate(tried) <= _LEGAL[1], volts
        assert state(tried) == "flashing"


def test_an_electronic_unit_about_doubles_its_rate_with_a_lamp_out() -> None:
    """The usual sign of a lamp out; above the legal rate, so that nobody overlooks it."""
    whole, one = rate(turn_side()), rate(turn_side(1))
    assert one == pytest.approx(2.0 * whole)
    assert one > _LEGAL[1]
    assert state(turn_side(1)) == "fast"


def test_a_thermal_unit_goes_slow_or_steady_with_a_lamp_out() -> None:
    """Half the current heats its wire too slowly, or never enough (common practice, no source)."""
    assert rate(turn_side(1, thermal=True)) < _LEGAL[0]
    assert state(turn_side(1, thermal=True)) in ("slow", "steady")
    assert state(turn_side(0, thermal=True)) == "steady"


def test_a_thermal_unit_follows_load_and_volts() -> None:
    """A third lamp (trailer) hurries it, a weak battery slows it; an electronic one minds neither."""
    assert rate(turn_side(3, thermal=True)) > 1.2 * rate(turn_side(2, thermal=True))
    assert rate(turn_side(3)) == rate(turn_side(2))
    slower = [rate(turn_side(thermal=True, battery_v=v)) for v in (13.8, 12.6, 11.8, 11.0)]
    assert slower == sorted(slower, reverse=True)
    assert rate(turn_side(battery_v=11.8)) == rate(turn_side(battery_v=13.8))


def test_low_volts_make_an_electronic_unit_slow_and_then_stop_it() -> None:
    """Very slow or none with the engine off and right with it running: low volts, not the unit."""
    assert state(turn_side(battery_v=12.0)) == "flashing"
    assert state(turn_side(battery_v=10.2)) == "slow"
    assert 0 < rate(turn_side(battery_v=10.2)) < _LEGAL[0]
    assert state(turn_side(battery_v=8.5)) == "steady"
    assert rate(turn_side(battery_v=8.5)) == 0.0


@pytest.mark.parametrize("thermal", [False, True])
def test_led_lamps_load_a_unit_too_little(thermal: bool) -> None:
    """An LED takes about a seventh of the filament's current: one of them reads as a lamp out, two as none."""
    tried = turn_side(thermal=thermal)
    lamps = [tried.network.filament(name) for name in ("lamp-1", "lamp-2")]
    one = Change(led={lamps[0]: 1.0}, scale={lamps[0]: 0.15})
    both = Change(led=dict.fromkeys(lamps, 1.0), scale=dict.fromkeys(lamps, 0.15))
    assert state(tried, one) in (("slow", "steady") if thermal else ("fast",))
    assert state(tried, both) == "steady"
    assert rate(tried, both) == 0.0


def test_nothing_flashes_without_feed_and_no_rate_is_given() -> None:
    tried = turn_side()
    off = Change(added_ohm={tried.network.branch("feed"): np.inf})
    assert state(tried, off) == "idle"
    assert rate(tried, off) == 0.0


def test_the_demo_vehicle_flashes_at_the_rate_of_its_unit(demo: Demo) -> None:
    """85 a minute by its data, twice that with a lamp out, and the hazard the same."""
    unit = demo.knowledge.parts["flasher-unit"]
    assert isinstance(unit, FlasherPart)
    shown = demo.predictor.shown(LEFT)
    assert shown.rate[0] == pytest.approx(unit.rate)
    assert shown.rate[demo.row("turn-lamp-rear-left.open")] == pytest.approx(2 * unit.rate)
    assert shown.rate[demo.row("flasher-unit.never-opens")] == 0.0
    assert demo.predictor.shown(HAZARD).rate[0] == pytest.approx(unit.rate)


def test_words_and_rates_say_the_same(demo: Demo) -> None:
    """Every cause of the demo vehicle: what is likelier called slow is slower than the law, and so on."""
    shown = demo.predictor.shown(LEFT)
    for row, chances in enumerate(shown.flasher):
        word, found = FLASHER_STATES[int(chances.argmax())], float(shown.rate[row])
        if word in ("slow", "flashing", "fast") and chances.max() > 0.6:
            low, high = {"slow": (0.0, 62.0), "flashing": (58.0, 122.0), "fast": (118.0, 999.0)}[word]
            assert low < found < high, (row, word, found)
