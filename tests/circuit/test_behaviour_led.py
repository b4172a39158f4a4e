"""LED lamps in place of filament lamps: bright at a seventh of the current, one way only, and dark below half volts.

Expectations are `common practice, no source`.
"""

from __future__ import annotations

import pytest

from tests.circuit.demo import LEFT, SIDE, STOP, Demo


def test_an_led_lamp_is_as_bright_as_the_filament_that_it_replaces(demo: Demo) -> None:
    """Its light goes with its current, not with what a filament would do at that current."""
    assert demo.look("stop-lamp-left", STOP, "stop-lamp-left.led") == "normal/steady"
    assert demo.look("stop-lamp-left", {}, "stop-lamp-left.led") == "dark/none"


def test_an_led_lamp_the_wrong_way_round_stays_dark(demo: Demo) -> None:
    """It works one way round only; the other lamp of the line minds nothing."""
    assert demo.look("stop-lamp-left", STOP, "stop-lamp-left.led-reversed") == "dark/none"
    assert demo.look("stop-lamp-right", STOP, "stop-lamp-left.led-reversed") == "normal/steady"


@pytest.mark.parametrize("mode", ["led", "led-reversed"])
def test_an_led_turn_lamp_makes_the_unit_flash_fast(demo: Demo, mode: str) -> None:
    """The unit counts amps, and misses a lamp whichever way round the LED is."""
    cause = f"turn-lamp-rear-left.{mode}"
    assert demo.look("turn-lamp-front-left", LEFT, cause) == "normal/fast"
    assert demo.look("turn-lamp-rear-left", LEFT, cause) == ("normal/fast" if mode == "led" else "dark/none")


def test_an_led_does_not_glow_where_a_filament_returns_a_neighbours_current(demo: Demo) -> None:
    """Backwards and below its threshold it carries nothing at all: the backfeed of a missing earth ends there."""
    assert demo.look("tail-lamp-left", SIDE) == "normal/steady"
    assert abs(demo.amps("stop-wire", {}, "stop-lamp-left.led")) < 1e-4
