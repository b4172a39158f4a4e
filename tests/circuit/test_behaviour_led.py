"""LED lamps in place of filament lamps: bright at a seventh of the current, one way only, and dark below half volts.

Expectations are `common practice, no source`.
"""

from __future__ import annotations

import numpy as np
import pytest

from diag.circuit import observe
from diag.circuit.behaviour import Shown
from tests.circuit.demo import LEFT, STOP, Demo


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
    """Backwards it carries nothing: the stop lamp's way back through a tail lamp ends where that is an LED."""
    predictor = demo.predictor
    causes = {cause.id: i for i, cause in enumerate(predictor.causes)}
    lost, led = causes["earth-rear-left.open"], causes["tail-lamp-left.led"]
    shown = Shown.stacked(
        [predictor.shown(STOP).rows([0]), predictor.shown_sets(STOP, [frozenset({lost}), frozenset({lost, led})])]
    )
    limits = dict(demo.knowledge.vocabulary.light_limits)
    words = observe.lamp_looks(shown, demo.network, "tail-lamp-left", np.zeros(3), limits).argmax(axis=1)
    assert ["/".join(observe.LOOKS[i]) for i in words] == ["dark/none", "glow/steady", "dark/none"]
