"""Measurements between any two points: how they are asked, told unasked, kept, and answered in words."""

from __future__ import annotations

from typing import Any

import pytest

from diag.reason.reasoner import Reasoner
from diag.reason.steps import BUZZER, LED_TESTER, TEST_LAMP, Deed, own_step
from diag.talk.findings import step_of
from diag.talk.typed import value_of
from diag.talk.wording import reading_words, step_words
from tests.talk.hands import fresh

Object = dict[str, Any]


def _words(reasoner: Reasoner, deed: Deed) -> str:
    step = own_step(reasoner.knowledge, deed)
    assert step is not None
    return step_words(reasoner.knowledge, step)


def test_a_test_lamp_to_body_has_its_clip_on_body(reasoner: Reasoner) -> None:
    """The usual way round: what is live lights it."""
    text = _words(reasoner, Deed("look", {}, TEST_LAMP, "horn.71", "body"))
    assert "Test lamp: clip to body, tip on Horn terminal 71." in text


def test_a_test_lamp_for_an_earth_has_its_clip_on_what_is_live(reasoner: Reasoner) -> None:
    """Clip where it stays, tip on the suspect."""
    for target, name in ((TEST_LAMP, "Test lamp"), (LED_TESTER, "LED tester")):
        text = _words(reasoner, Deed("look", {}, target, "battery.B+", "earth-column.31"))
        battery, earth = (reasoner.knowledge.parts[part].title for part in ("battery", "earth-column"))
        assert f"{name}: clip on {battery} terminal B+, tip on {earth} terminal 31." in text


def test_ohms_and_continuity_say_battery_off_first(reasoner: Reasoner) -> None:
    """With power on the number means nothing and the meter may be harmed."""
    for deed in (
        Deed("measure", {}, red="fuse-horn.in", black="fuse-horn.out", unit="ohm"),
        Deed("listen", {}, BUZZER, "fuse-horn.in", "fuse-horn.out"),
    ):
        text = _words(reasoner, deed)
        assert text.startswith("Battery disconnected. Meter on ")
        assert "feed side (in), black on" in text
    generated = [step for step in reasoner.steps.values() if step.unit == "ohm" and step.generated]
    assert generated and all(step.caution is not None for step in generated)


def test_a_current_says_where_the_meter_goes(reasoner: Reasoner) -> None:
    """In place of a fuse, or in a wire that is opened for it."""
    assert "meter in its place" in _words(reasoner, Deed("measure", {}, through="fuse-stop", unit="A"))
    assert "open it and put the meter in between" in _words(
        reasoner, Deed("measure", {}, through="stop-wire", unit="A")
    )


def test_a_number_that_means_nothing_is_said_to_mean_nothing() -> None:
    """Never a figure that somebody could believe."""
    assert reading_words(float("nan"), "ohm") == "no sense: power was on"


@pytest.mark.parametrize(
    ("found", "kept"),
    [
        (
            {"target": "test-lamp", "red": "battery.B+", "black": "earth-column.31", "value": {"light": "dark"}},
            {"target": "test-lamp", "red": "battery.B+", "black": "earth-column.31"},
        ),
        (
            {"target": "test-lamp", "red": "horn.71", "value": {"light": "normal", "rhythm": "steady"}},
            {"target": "test-lamp", "red": "horn.71", "black": "body"},
        ),
        (
            {"red": "fuse-horn.in", "black": "fuse-horn.out", "unit": "ohm", "value": "OL"},
            {"red": "fuse-horn.in", "black": "fuse-horn.out", "unit": "ohm", "operate": {"battery": "disconnected"}},
        ),
        (
            {"kind": "listen", "target": "buzzer", "red": "fuse-horn.in", "black": "fuse-horn.out", "value": "none"},
            {"target": "buzzer", "kind": "listen", "value": "none"},
        ),
        ({"through": "horn-feed", "operate": {"horn-button": "pressed"}, "value": "3.9 A"}, {"through": "horn-feed"}),
    ],
    ids=["lamp-to-earth", "lamp-to-body", "ohm", "buzzer", "amps"],
)
def test_what_someone_measured_unasked_is_kept_as_it_was_done(reasoner: Reasoner, found: Object, kept: Object) -> None:
    """And its record leads back to the same step, whatever is asked then."""
    conversation = fresh(reasoner)
    told = conversation.take({"found": found})
    assert told["type"] == "tell", told
    record = conversation.state.standing("found")[-1].fields
    assert {name: record[name] for name in kept} == kept
    step = step_of(reasoner, record)
    assert step is not None and (step.red, step.black) == (record.get("red"), record.get("black"))
    assert conversation.say()


def test_a_lamp_between_two_points_is_not_taken_for_one_to_body(reasoner: Reasoner) -> None:
    """Clip on the battery or clip on body: the same tip, the opposite meaning."""
    conversation = fresh(reasoner)
    for black in ("body", "earth-column.31"):
        value = {"light": "dark"}
        told = conversation.take({"found": {"target": "test-lamp", "red": "horn.71", "black": black, "value": value}})
        assert told["type"] == "tell", told
    steps = [step_of(reasoner, entry.fields) for entry in conversation.state.standing("found")]
    assert len({step.id for step in steps if step is not None}) == 2


@pytest.mark.parametrize(
    ("said", "light", "rhythm"),
    [
        ("out", "dark", None),
        ("nothing", "dark", None),
        ("lit steady", "normal", "steady"),
        ("faint steady", "glow", "steady"),
        ("weak, flashing", "dim", "flashing"),
    ],
)
def test_what_people_say_of_a_test_lamp_is_a_look(said: str, light: str, rhythm: str | None) -> None:
    """Nobody says `dark, none` with a tester in his hand."""
    found = value_of({"kind": "look", "choices": []}, said)
    assert (found["light"], found.get("rhythm")) == (light, rhythm)
