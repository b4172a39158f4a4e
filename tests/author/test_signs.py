"""What a job tells, and the conditions by which a rule knows it again.

source of all expectations: common practice, no source
"""

from __future__ import annotations

import math

import pytest

from diag.author.draft import check_of_step, plain_title
from diag.author.guide import Guide
from diag.author.signs import condition_of, right_condition, sound_value, story_of
from diag.author.weighing import Scene, matched_causes
from diag.job.journal import read_journal
from diag.knowledge.schema import Check, Condition
from diag.log.replayed import replayed
from diag.reason.reasoner import Reasoner
from diag.reason.steps import Step, Value, fits
from diag.replay.jobs import shipped_jobs
from tests.author.jobs import complaint, heard, lid_job, measured, recorded
from tests.vehicles import SIX


def of_job(reasoner: Reasoner, name: str):  # type: ignore[no-untyped-def]
    """The story of a shipped job."""
    return story_of(replayed(reasoner, read_journal(shipped_jobs() / f"{name}.jsonl")[0]))


def test_a_closed_job_tells_what_was_odd_what_was_right_and_what_cured_it(reasoner: Reasoner) -> None:
    """The complaint that a later look confirmed is told once; what was right is kept apart, for it tells as well."""
    story = of_job(reasoner, "horn-itself")
    assert story.circuit == "horn"
    assert [sign.step.id for sign in story.signs] == ["horn-sound", "horn-31b-rest-volts"]
    assert all(sign.turned for sign in story.signs), "both were right after the cure"
    assert {sign.step.id for sign in story.right} == {"fuse-horn-out-volts", "horn-71-volts"}
    assert [(cure.event, cure.remedy, cure.proved) for cure in story.cures] == [("remedied", "horn-renew", True)]


def test_what_work_put_right_before_is_no_sign_of_what_is_cured_later(reasoner: Reasoner) -> None:
    """Of two faults, each has the signs that its own cure takes away."""
    story = of_job(reasoner, "double-fault")
    assert len(story.cures) == 2 and story.cures[0].seq > story.cures[1].seq
    late, early = (story.until(cure.seq) for cure in story.cures)
    turned = [{sign.step.id for sign in one.signs if sign.turned} for one in (early, late)]
    assert turned[0] and turned[1] and turned[0] != turned[1]


@pytest.mark.parametrize(
    ("check", "value", "expected"),
    [
        ("horn-31b-rest-volts", 0.04, {"below": 1.1}),
        ("horn-71-volts", 6.2, {"below": 7.2}),
        ("horn-31b-volts", 12.4, {"above": 11.4}),
        ("horn-sound", "click", {"is": "click"}),
        ("slip-ring-look", "worn", {"is": "worn"}),
        ("horn-current", 0.0, {"below": 0.2}),
        ("horn-current", 9.0, {"above": 6.9}),
    ],
)
def test_a_reading_becomes_a_bound_with_room_on_the_side_of_the_sound_one(
    reasoner: Reasoner, check: str, value: Value, expected: dict[str, object]
) -> None:
    """Meters and vehicles differ: the next one reads 0.3 V where this one read 0.04 V, and it is the same fault."""
    step = reasoner.steps[check]
    condition = condition_of(reasoner.knowledge, step, value, sound_value(reasoner, step))
    assert condition == {"check": check, **expected}


def test_every_condition_holds_for_its_answer_and_not_on_a_sound_vehicle(reasoner: Reasoner) -> None:
    """Whatever was read: the rule must fire on the job that it came from, and stay silent where all is well."""
    tried = 0
    for step in reasoner.steps.values():
        sound = sound_value(reasoner, step)
        values: list[Value] = list(step.outcomes) or [0.0, 0.3, 2.0, 6.0, 11.0, 12.6, 14.9, 40.0, math.inf]
        for value in values:
            if step.kind == "measure" and (not isinstance(sound, float) or math.isinf(value) and step.unit != "ohm"):
                continue
            condition = condition_of(reasoner.knowledge, step, value, sound)
            assert condition is not None
            plain = Condition.model_validate({**condition, "check": "any"})
            assert fits(plain, value), (step.id, value, condition)
            if isinstance(value, float) and isinstance(sound, float):
                apart = (
                    abs(value - sound) > 0.5
                    if step.unit != "ohm"
                    else not 0.2 < (min(value, 1e7) + 0.01) / (min(sound, 1e7) + 0.01) < 5
                )
            else:
                apart = value != sound
            if apart and sound is not None:
                assert not fits(plain, sound), (step.id, value, sound, condition)
                tried += 1
    assert tried > 1000


def test_what_was_right_leaves_room_on_the_side_of_the_fault(reasoner: Reasoner) -> None:
    """`Volts arrive` must hold for 11.9 V as for 12.6 V."""
    story = of_job(reasoner, "horn-itself")
    volts = next(sign for sign in story.right if sign.step.id == "horn-71-volts")
    condition = Condition.model_validate(right_condition(reasoner.knowledge, volts))
    assert fits(condition, 11.9) and not fits(condition, 8.0)


def test_the_rule_takes_the_fewest_answers_that_tell_the_cause(reasoner: Reasoner) -> None:
    """Silent, nothing behind the winding, volts before it: three answers, one of them right; the fuse says no more."""
    story = of_job(reasoner, "horn-itself")
    scene = Scene(reasoner, story.signs, story.right)
    chosen = scene.telling(scene.shown_by("horn.open"), ["horn.open"], by_eye=False)
    assert [scene.every[i].step.id for i in chosen] == ["horn-sound", "horn-31b-rest-volts", "horn-71-volts"]
    assert scene.lookalikes(chosen, ["horn.open"]) == []
    few = scene.lookalikes((0,), ["horn.open"])
    assert few and "horn-feed" not in few


def test_own_words_propose_the_cause_that_shows_what_was_seen(reasoner: Reasoner) -> None:
    """A technician writes `plate wire chafed`; what the words mean and what the answers allow is put first."""
    story = story_of(replayed(reasoner, lid_job(SIX)))
    scene = Scene(reasoner, story.signs, story.right)
    assert scene.fickle, "odd once and right once"
    found = matched_causes(scene, story.cures[0].text, 5)
    assert found[0] == "plate-wire.open" and "plate-wire.to-body" in found


def test_a_position_is_proposed_where_it_agrees_better_than_always(reasoner: Reasoner) -> None:
    """Horn dead with the engine running and loud with it standing."""
    pressed = {"horn-button": "pressed"}
    records = recorded(
        [
            complaint("circuit:horn"),
            heard("horn-sound", "horn", pressed, "sound"),
            heard("horn-running", "horn", {"ignition": "on", "engine": "running", **pressed}, "none"),
            ("changed", {"text": "Feed wire of the horn had shaken off, pushed home"}),
        ],
        SIX,
    )
    story = story_of(replayed(reasoner, records))
    found = Scene(reasoner, story.signs, story.right).variations("horn-feed.open")
    assert (found[0].control, found[0].position) == ("engine", "running")
    path = list(Guide(reasoner, story, "2026-11-28", frozenset()).path({"cause": "horn-feed.open"}))
    assert next(asked.typical for asked in path if asked.id == "when") == "engine=running"


def test_what_was_measured_of_ones_own_accord_becomes_a_check(reasoner: Reasoner) -> None:
    """A rule can ask after checks only, so the next technician is asked for the same measurement."""
    records = recorded(
        [
            complaint("horn-silent"),
            heard("horn-sound", "horn", {"horn-button": "pressed"}, "none"),
            measured("", "horn-button.31b", {"horn-button": "pressed"}, 11.9),
            ("changed", {"text": "strap of the column renewed"}),
        ],
        SIX,
    )
    story = story_of(replayed(reasoner, records))
    sign = next(sign for sign in story.signs if sign.step.id not in reasoner.knowledge.checks)
    entry = check_of_step(reasoner.knowledge, sign.step, "button-earth-volts", "Earth of the button", {})
    check = Check.model_validate(entry)
    assert (check.red, check.black, check.unit, dict(check.operate)) == (
        "horn-button.31b",
        "body",
        "V",
        {"horn-button": "pressed"},
    )
    assert check.place == "column" and check.minutes > 0
    title = plain_title(reasoner.knowledge, sign.step)
    assert title == "Volts at horn button terminal 31b, key off, horn button pressed"


def test_a_new_check_has_the_caution_that_others_with_the_controls_so_have(reasoner: Reasoner) -> None:
    """Key on with the engine standing heats the coil, whoever thought of the measurement."""
    step = Step("x", "X", "measure", {"ignition": "on"}, "", "", 1.0, through="fuse-instruments", unit="A")
    assert check_of_step(reasoner.knowledge, step, "amps", "Amps", {})["caution"] == "coil-live"


def test_readings_of_a_six_volt_vehicle_are_written_for_twelve(reasoners: object) -> None:
    """Files are written for 12 V and converted; what was read at 6 V must stand there doubled."""
    from diag.author.signs import written_factor
    from diag.knowledge.load import load_knowledge
    from tests.reasoners import file_of

    knowledge = load_knowledge(file_of("demo-motorcycle.yaml"))
    step = Step("x", "X", "measure", {}, "horn", "front", 1.0, unit="V")
    assert written_factor(knowledge, "horn", "V") == pytest.approx(2.0)
    assert condition_of(knowledge, step, 0.1, 6.0) == {"check": "x", "below": 1.2}


def test_a_complaint_of_what_is_right_while_one_looks_is_a_sign_of_its_own(reasoner: Reasoner) -> None:
    """Silent on the road and loud while one listens: likeliest there only with something that nobody thought of."""
    records = recorded(
        [
            complaint("horn-silent"),
            heard("horn-sound", "horn", {"horn-button": "pressed"}, "sound"),
            ("changed", {"text": "Feed wire of the horn chafed through in the hinge of the bonnet"}),
        ],
        SIX,
    )
    story = story_of(replayed(reasoner, records))
    assert [(sign.step.id, sign.symptom) for sign in story.signs] == [("horn-sound", "horn-silent")]
    assert [sign.step.id for sign in story.right] == ["horn-sound"]
    path = list(Guide(reasoner, story, "2026-11-28", frozenset()).path({"cause": "horn-feed.open"}))
    assert next(asked.typical for asked in path if asked.id == "when") == "new"


def test_a_job_without_any_sign_can_still_be_added_to(reasoner: Reasoner) -> None:
    """Nothing but right answers: a check by eye is asked for, and nothing fails before it is named."""
    records = recorded(
        [
            complaint("circuit:horn"),
            heard("horn-sound", "horn", {"horn-button": "pressed"}, "sound"),
            ("changed", {"text": "cracked insulation at the horn taped"}),
        ],
        SIX,
    )
    story = story_of(replayed(reasoner, records))
    assert story.signs == ()
    path = list(Guide(reasoner, story, "2026-11-28", frozenset()).path({"cause": "horn-feed.open"}))
    assert "eye" in [asked.id for asked in path]
