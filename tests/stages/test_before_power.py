"""Before power and at first power: what is measured, what it accuses, and that power waits for it.

source of all expectations: the computed network; figures common practice, no source
"""

from __future__ import annotations

import numpy as np
import pytest

from diag.circuit.instruments import ProbeLamp
from diag.circuit.probing import Probing
from diag.reason.metered import SERIES_LAMP_W, Metered
from diag.reason.reasoner import Reasoner
from diag.reason.steps import Finding, Step
from diag.stages.course import BEFORE_POWER, FIRST_POWER, course_of
from diag.stages.power import draw_of, lights_of
from diag.talk.rehearsal import SimulatedFitter
from tests.stages.whole import fresh, message_for, play, upto


def powered(step: Step) -> bool:
    """Whether a step needs the vehicle under power."""
    return step.kind != "choose" and step.operate.get("battery", "connected") == "connected"


def test_a_mains_feed_on_body_accuses_what_touches_it(reasoner: Reasoner) -> None:
    """0.2 ohm is the leads alone: nothing behind a fuse with a load can be to blame, only what feeds them all."""
    step = reasoner.steps["mains-to-body-ohms"]
    assert reasoner.chances.shown(step) == float("inf")
    believed = reasoner.beliefs([Finding(5, step, 0.2)], proving=True)
    likely = [name for name, p in believed.ranking if p > 0.05]
    assert likely
    for name in likely:
        for cause in reasoner.remedies[name].cures:
            row = reasoner.index[cause]
            if believed.posterior.present[row] > 0.01:
                assert float(reasoner.chances.shown(step, frozenset({row}))) < 0.5, cause  # type: ignore[arg-type]
    assert "main-feed.insulate" in likely
    assert believed.posterior.healthy < 0.5  # the rest: that it was misread


@pytest.mark.parametrize(
    ("cause", "check"),
    [
        ("earth-main.open", "main-earth-ohms"),
        ("battery-isolator.stuck-in-out", "isolator-open-ohms"),
        ("battery.reversed", "battery-post-volts"),
        ("battery.flat", "battery-post-volts"),
        ("key-switch.stuck-30-15", "mains-to-body-ohms"),
        ("regulator.cut-out-stuck", "key-off-amps"),
    ],
)
def test_each_new_check_shows_its_fault_and_not_a_sound_vehicle(reasoner: Reasoner, cause: str, check: str) -> None:
    """A check that nothing can fail proves nothing."""
    step, sound, ill = reasoner.steps[check], SimulatedFitter(reasoner, ()), SimulatedFitter(reasoner, (cause,))
    limits = step.limits
    assert limits is not None

    def within(value: object) -> bool:
        assert isinstance(value, float)
        return (limits.min is None or value >= limits.min) and (limits.max is None or value <= limits.max)

    assert within(sound.truth(step))
    assert not within(ill.truth(step))


def test_nothing_that_needs_power_is_asked_while_a_short_stands(reasoner: Reasoner) -> None:
    """The battery stays off until the meter says that the short is gone."""
    conversation, fitter = fresh(reasoner), SimulatedFitter(reasoner, ("main-feed.to-body",))
    for said, _ in play(conversation, fitter):
        if said["type"] == "ask" and said["kind"] != "do":
            step = reasoner.steps[said["check"]]
            assert fitter.cured or not powered(step), said
        if "Put back on: the earth clamp" in str(said.get("text")):
            assert fitter.cured
        if said.get("begins") == FIRST_POWER:
            assert fitter.cured, "a dead short waits for nothing"
        if fitter.cured and said.get("stage") == "walk-round":
            break
    measured = [f.value for f in conversation.findings() if f.step is not None and f.step.id == "mains-to-body-ohms"]
    assert measured[-1] == float("inf")


def test_a_load_that_is_on_is_found_by_the_lamp_in_series(reasoner: Reasoner) -> None:
    """The horn's chafed wire lights the lamp through the horn; wires off tell on which side of it."""
    conversation, fitter = fresh(reasoner), SimulatedFitter(reasoner, ("horn-to-column.to-body",))
    for _, message in play(conversation, fitter):
        if "remedied" in message:
            assert message["remedied"] == "horn-to-column.insulate"
            break
    assert fitter.cured
    asked = [f.step.id for f in conversation.findings() if f.step is not None]
    assert "series-lamp:rest" in asked
    assert any(name.startswith("series-lamp:without:") for name in asked)
    assert not any(powered(f.step) for f in conversation.findings() if f.step is not None)


def test_a_reversed_battery_stops_the_work(reasoner: Reasoner) -> None:
    """What would burn the rectifier is told before anything else is asked."""
    conversation, fitter = fresh(reasoner), SimulatedFitter(reasoner, ())
    while (said := conversation.say()[-1])["check"] != "earthed-post-look" or said["kind"] == "do":
        assert conversation.take(message_for(fitter, said))["type"] == "tell"
    conversation.take({"answer": said["id"], "value": "reversed"})
    stop = conversation.say()[-1]
    assert stop["kind"] == "do"
    assert stop["caution-id"] == "battery-reversed"


def test_the_lamp_in_series_is_computed_with_the_lamp_in_place(reasoner: Reasoner) -> None:
    """A short gives the lamp all the volts, a sound vehicle none; what lies between names its circuits."""
    step = reasoner.steps["series-lamp:rest"]
    lights = {light.word: light for light in lights_of(reasoner, step)}
    assert lights["dark"].sound
    assert "Horn" in lights["dim"].circuits
    assert any("Battery" in title for title in lights["normal"].circuits)
    assert sum(light.share for light in lights.values()) == pytest.approx(1.0)
    short = SimulatedFitter(reasoner, ("main-feed.to-body",)).truth(step)
    assert short == ("normal", "steady")


def test_the_draw_is_the_sum_of_what_the_fuses_carry(reasoner: Reasoner) -> None:
    """Kirchhoff: with the key on all current goes through fuses, but for what the charge lamp's machine adds."""
    off, on = draw_of(reasoner, {}), draw_of(reasoner, {"ignition": "on"})
    assert off is not None and on is not None
    assert off.amps < 0.005
    assert on.amps == pytest.approx(sum(on.by_fuse.values()), abs=0.02)
    assert on.by_fuse["fuse-instruments"] > 0.1


def test_stages_without_power_ask_only_what_needs_none(reasoner: Reasoner) -> None:
    """Nothing of the first stage may need the battery connected."""
    course = course_of(reasoner, False)
    assert not any(powered(step) for step in course.steps[BEFORE_POWER])
    first = [powered(step) for step in course.steps[FIRST_POWER]]
    assert first == sorted(first), "the lamp comes before the battery is connected"
    assert not first[0]


def test_an_eye_that_finds_nothing_goes_on_to_first_power(reasoner: Reasoner) -> None:
    """On a sound vehicle the stages follow each other without faults between."""
    conversation, fitter = fresh(reasoner), SimulatedFitter(reasoner, ())
    said = upto(conversation, fitter, FIRST_POWER)
    assert said["begins"] == FIRST_POWER
    assert "0.00 A" in said["text"]


@pytest.mark.parametrize("name", ["series-lamp:without:fuse-horn", "series-lamp:without:horn.31b"])
def test_with_something_off_only_what_lit_the_lamp_is_solved_and_nothing_is_missed(
    reasoner: Reasoner, name: str
) -> None:
    """The shortcut says of every cause what the whole network, solved for each, says."""
    step = reasoner.steps[name]
    assert reasoner.predictor is not None
    lamp = ProbeLamp(reasoner.knowledge.vehicle.system_v, SERIES_LAMP_W)
    full = Probing(reasoner.predictor).read(step.operate, lamp, str(step.red), str(step.black)).number
    metered = Metered(reasoner.predictor)
    metered.words(step, np.zeros(len(full)), dict(reasoner.knowledge.vocabulary.light_limits))
    short = metered.probing.read(step.operate, lamp, str(step.red), str(step.black)).number
    assert np.abs(full).max() > 5
    assert np.abs(np.abs(short) - np.abs(full)).max() < 0.1
