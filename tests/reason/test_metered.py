"""Steps answered off an instrument between any two points: what each answer does to the causes."""

from __future__ import annotations

import math

import numpy as np
import pytest

from diag.circuit.observe import LOOKS
from diag.reason.reasoner import Reasoner
from diag.reason.steps import BUZZER, LED_TESTER, TEST_LAMP, Deed, Step, own_step

_DARK, _LIT = ("dark", "none"), ("normal", "steady")


def _step(reasoner: Reasoner, deed: Deed) -> Step:
    step = own_step(reasoner.knowledge, deed)
    assert step is not None and reasoner.chances.computed(step)
    return step


def _lift(reasoner: Reasoner, step: Step, value: object, cause: str) -> float:
    """How many times likelier the answer is with the cause than on the sound vehicle."""
    rows = reasoner.chances.told(step, value).rows  # type: ignore[arg-type]
    return float(rows[1 + reasoner.index[cause]] / rows[0])


def _ohm(red: str, black: str) -> Deed:
    return Deed("measure", {}, red=red, black=black, unit="ohm")


def _lamp(red: str, black: str, target: str = TEST_LAMP) -> Deed:
    return Deed("look", {}, target, red, black)


def test_ohms_across_a_fuse_tell_a_blown_one_from_a_sound_one(reasoner: Reasoner) -> None:
    """OL speaks for the blown fuse by far, next to nothing against it; the battery is off for either."""
    step = _step(reasoner, _ohm("fuse-horn.in", "fuse-horn.out"))
    assert step.operate == {"battery": "disconnected"}
    assert _lift(reasoner, step, math.inf, "fuse-horn.blown") > 10
    assert _lift(reasoner, step, 0.3, "fuse-horn.blown") < 0.2
    assert reasoner.chances.healthy_reading(step) == pytest.approx(0.2, abs=0.05)


@pytest.mark.parametrize(("value", "low", "high"), [(_DARK, 5.0, 1e9), (_LIT, 0.0, 0.5)])
def test_a_lamp_from_the_battery_to_an_earth_judges_that_earth(
    reasoner: Reasoner, value: tuple[str, str], low: float, high: float
) -> None:
    """Dark: no earth there. Lit: the earth stands, and other earths are none of its business."""
    step = _step(reasoner, _lamp("battery.B+", "earth-column.31"))
    assert low < _lift(reasoner, step, value, "earth-column.open") < high
    assert _lift(reasoner, step, value, "earth-plate.open") == pytest.approx(1.0, abs=0.05)


def test_a_lamp_to_body_is_the_same_step_with_and_without_body_named(reasoner: Reasoner) -> None:
    """Old records name no black probe."""
    with_body, without = (_step(reasoner, Deed("look", {}, TEST_LAMP, "horn.71", b)) for b in ("body", None))
    assert with_body == without


def test_an_led_lights_where_a_lamp_does_not(reasoner: Reasoner) -> None:
    """From battery to an earth that is gone but for the bulbs and windings behind it: to the LED that is earth
    enough, the lamp says what is wrong. So `dark` in a lamp weighs, `lit` in an LED does not."""
    lamp = _step(reasoner, _lamp("battery.B+", "earth-regulator.31"))
    led = _step(reasoner, _lamp("battery.B+", "earth-regulator.31", LED_TESTER))
    assert _lift(reasoner, lamp, _LIT, "earth-regulator.open") < 0.3
    assert _lift(reasoner, led, _LIT, "earth-regulator.open") > 0.5


def test_a_buzzer_says_what_ohms_say_and_less(reasoner: Reasoner) -> None:
    """Through a sound fuse it sounds, through a blown one it does not."""
    step = _step(reasoner, Deed("listen", {}, BUZZER, "fuse-horn.in", "fuse-horn.out"))
    assert _lift(reasoner, step, "none", "fuse-horn.blown") > 5
    assert _lift(reasoner, step, "buzz", "fuse-horn.blown") < 0.3


def test_current_where_the_fuse_was_clears_the_loom_and_blames_the_fuse(reasoner: Reasoner) -> None:
    """The meter stands in for the fuse: its usual current is what a merely blown fuse leaves, not what a short does."""
    step = reasoner.steps["stop-current"]
    usual = reasoner.chances.healthy_reading(step)
    assert _lift(reasoner, step, usual, "fuse-stop.blown") == pytest.approx(1.0, abs=0.3)
    assert _lift(reasoner, step, usual, "stop-wire.to-body") < 0.2
    assert _lift(reasoner, step, 19.0, "stop-wire.to-body") > 10


def test_two_causes_together_are_judged_as_solved_together(reasoner: Reasoner) -> None:
    """With the plate lamp's earth gone a test lamp held there glows by way of that bulb and the tail lamps; with the
    bulb out too it is dark, though the bulb alone would leave it fully lit."""
    step, glow = _step(reasoner, _lamp("battery.B+", "earth-plate.31")), ("glow", "steady")
    earth, bulb = (frozenset([reasoner.index[name]]) for name in ("earth-plate.open", "plate-lamp.open"))
    alone, both = reasoner.chances.told_sets(step, glow, [earth, earth | bulb])
    assert alone == pytest.approx(reasoner.chances.told(step, glow).rows[1 + min(earth)], rel=1e-6)
    assert both < 0.5 * alone
    assert _lift(reasoner, step, _LIT, "plate-lamp.open") == pytest.approx(1.0, abs=0.05)


@pytest.mark.parametrize(
    "deed",
    [
        _ohm("fuse-horn.in", "fuse-horn.in"),
        _ohm("fuse-horn.in", "nowhere.1"),
        _lamp("nowhere.1", "body"),
        _lamp("battery.B+", "nowhere.1"),
        Deed("listen", {}, BUZZER, "fuse-horn.in", None),
        Deed("measure", {}, through="nowhere", unit="A"),
    ],
    ids=str,
)
def test_a_measurement_at_no_two_known_points_is_no_step(reasoner: Reasoner, deed: Deed) -> None:
    """Better refused than taken for another."""
    assert own_step(reasoner.knowledge, deed) is None


def test_amps_through_any_wire_are_computed(reasoner: Reasoner) -> None:
    """A clamp goes round any wire, and any wire can be opened for a meter."""
    step = _step(reasoner, Deed("measure", {"ignition": "on", "brake-pedal": "pressed"}, through="stop-wire", unit="A"))
    assert abs(reasoner.chances.healthy_reading(step)) > 2.0


def test_quick_tables_of_test_lamps_foretell_the_exact_answer(reasoner: Reasoner) -> None:
    """Steps are chosen by the quick way and judged by the exact one: over all causes they name the same look, but
    for a few that feed the point through bulbs."""
    steps = [
        step
        for step in reasoner.steps.values()
        if step.target == TEST_LAMP and step.generated and step.red in ("horn.71", "stop-lamp-left.54", "oil-lamp.15")
    ]
    assert len(steps) >= 3
    for step in steps:
        quick, exact = reasoner.chances.table(step), reasoner.chances.answers(step)
        same = quick.argmax(axis=1) == exact.argmax(axis=1)
        assert same.mean() > 0.97, step.id
        assert LOOKS[int(exact[0].argmax())] == LOOKS[int(quick[0].argmax())]
        assert np.abs(exact.sum(axis=1) - 1).max() < 1e-9


def test_without_the_wiring_no_instrument_is_computed(rules_alone: Reasoner) -> None:
    """There only rules speak, and steps between points of one's own are unknown."""
    assert rules_alone.step_like("", _ohm("fuse-horn.in", "fuse-horn.out")) is None
    assert not rules_alone.chances.computed(rules_alone.steps["stop-current"])
