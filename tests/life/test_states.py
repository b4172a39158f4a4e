"""A rule is moved only where what the next state takes is met, on a small vehicle and jobs written for it.

source of the states and of what each takes: the project's own; common practice, no source
"""

from __future__ import annotations

import contextlib
import sqlite3
from pathlib import Path

import pytest

from diag.errors import DiagError
from diag.life.jobs import RIGHT
from diag.life.states import earned_step, needs, next_state, step_of, tally
from diag.life.world import World, gather
from tests.knowledge.small import Small, write_small
from tests.life.jobs import CLEAR_LAMP, DARK_AND_FED, DARK_UNFED, write_job

FED, RIGHT_FUSE, LOW = "lamp/feed-without-light", "lamp/fed-with-right-fuse", "shared/low-battery-dims"
DAY = "2026-06-01"


@pytest.fixture
def small(tmp_path: Path) -> Small:
    return write_small(tmp_path)


def world_of(small: Small, *own: Path) -> World:
    return gather((), own, small.rules)


def proving(small: Small) -> None:
    """One job that leads there and one near miss, kept with the rules."""
    write_job(small.rules / "jobs", "bulb-dead", DARK_AND_FED, "lamp-renew", cause="work-lamp.open")
    write_job(small.rules / "jobs", "fuse-gone", DARK_UNFED, "fuse-lamp.renew", cause="fuse-lamp.blown")


def missing(world: World, rule: str, to: str, **given: str) -> list[str]:
    return [need.words for need in needs(world, world.rule(rule), to, **given) if not need.met]  # type: ignore[arg-type]


def with_state(small: Small, rule: str, state: str, more: str = "") -> None:
    """The rule put into a state by hand."""
    file = small.rules / ("shared.yaml" if rule.startswith("shared") else "circuits/lamp.yaml")
    text = file.read_text(encoding="utf-8")
    at = text.index("state: draft", text.index(f"id: {rule}"))
    file.write_text(text[:at] + f"state: {state}{more}" + text[at + len("state: draft") :], encoding="utf-8")


# ---------------------------------------------------------------- tested


def test_a_rule_is_tested_by_a_job_that_leads_there_and_one_that_nearly_does(small: Small) -> None:
    """The step names both jobs, so that whoever has the rules can run them again."""
    proving(small)
    world = world_of(small)
    assert missing(world, FED, "tested") == []
    step = step_of(world, world.rule(FED), "tested", DAY)
    assert (step.leads_there, step.near_miss) == (("bulb-dead",), ("fuse-gone",))
    assert step.moved is not None and (step.moved.from_, step.moved.to) == ("draft", "tested")


def test_without_jobs_both_are_missing(small: Small) -> None:
    """A rule from a desk stays a draft."""
    lacking = missing(world_of(small), FED, "tested")
    assert [words.split(":")[0][:14] for words in lacking] == ["A recorded job", "A near miss"]
    with pytest.raises(DiagError, match=f"(?s){FED} stays draft.*recorded job.*near miss"):
        world = world_of(small)
        step_of(world, world.rule(FED), "tested", DAY)


def test_a_job_that_ended_elsewhere_does_not_lead_there(small: Small) -> None:
    """It fired and was wrong: that is no proof, and the message says so."""
    proving(small)
    write_job(small.rules / "jobs", "bulb-dead", DARK_AND_FED, "earth-front.clean", cause="earth-front.open")
    world = world_of(small)
    (need,) = [n for n in needs(world, world.rule(FED), "tested") if "fires" in n.words]
    assert not need.met and need.found == "it fires in bulb-dead, which ended elsewhere"


def test_a_job_of_the_same_fault_is_no_near_miss(small: Small) -> None:
    """There the rule should have fired; that it did not is not to its credit."""
    write_job(small.rules / "jobs", "bulb-dead", DARK_AND_FED, "lamp-renew", cause="work-lamp.open")
    write_job(small.rules / "jobs", "bulb-too", DARK_UNFED, "lamp-renew", cause="work-lamp.open")
    assert [words[:11] for words in missing(world_of(small), FED, "tested")] == ["A near miss"]


def test_a_job_that_never_tried_its_checks_is_no_near_miss(small: Small) -> None:
    """It could not have fired whatever was wrong; and where only the sound vehicle tried it, others come first."""
    write_job(small.rules / "jobs", "a-thing", (("fuse-marking", "wrong"),), "fuse-lamp.renew", cause="fuse-lamp.blown")
    assert [job.name for job in tally(world_of(small), RIGHT_FUSE).near] == ["a-thing"]
    assert [job.near[FED] for job in tally(world_of(small), FED).near] == [0], "the lamp was lit in the end"
    write_job(small.rules / "jobs", "fuse-gone", DARK_UNFED, "fuse-lamp.renew", cause="fuse-lamp.blown")
    assert [job.name for job in tally(world_of(small), FED).near] == ["fuse-gone", "a-thing"]
    text = (small.rules / "jobs" / "a-thing.jsonl").read_text(encoding="utf-8").splitlines()
    text[-2] = text[-2].replace("lamp-on", "battery-volts").replace('"look"', '"measure"')  # the lamp was not looked at
    (small.rules / "jobs" / "a-thing.jsonl").write_text("\n".join(text) + "\n", encoding="utf-8")
    assert [job.name for job in tally(world_of(small), FED).near] == ["fuse-gone"]


def test_a_source_that_is_none_is_missing(tmp_path: Path) -> None:
    """`source: ?` fills the key and says nothing."""
    small = write_small(tmp_path, ("circuits/lamp.yaml", "looks-like: a missing earth\n    source: common practice, "
                                   "no source", "looks-like: a missing earth\n    source: todo"))  # fmt: skip
    proving(small)
    assert missing(world_of(small), FED, "tested") == ["Its source is given"]


def test_a_cause_that_there_is_not_is_missing(tmp_path: Path) -> None:
    """A rule that points to what the part cannot have leads nowhere."""
    small = write_small(tmp_path, ("circuits/lamp.yaml", "clears: fuse-lamp.blown", "clears: fuse-lamp.rusted"))
    proving(small)
    world = world_of(small)
    (need,) = [n for n in needs(world, world.rule(FED), "tested") if not n.met]
    assert "there is no such cause" in need.found and "circuits/lamp.yaml:" in need.found


def test_a_rule_that_does_harm_is_not_tested(tmp_path: Path) -> None:
    """It clears, by an answer given to nearly every fault, what was wrong in a recorded job: without it the right
    remedy stood far better, so one job that it leads rightly does not make it good."""
    small = write_small(
        tmp_path,
        ("circuits/lamp.yaml", "{establish: lamp-is-fed}", "{points-to: lamp-feed.open, weight: 50}"),
        ("circuits/lamp.yaml", "{check: lamp-volts, above: 11}", "{check: fuse-marking, is: right}"),
        ("circuits/lamp.yaml", "established: lamp-is-fed", "check: lamp-volts, above: 11"),
        ("circuits/lamp.yaml", "id: lamp-earth.open, frequency: 1.5", "id: fuse-lamp.blown, frequency: 6"),
    )
    dark_right = (*DARK_UNFED, ("fuse-marking", "right"))
    write_job(small.rules / "jobs", "bulb-dead", dark_right, "lamp-renew", cause="work-lamp.open")
    write_job(small.rules / "jobs", "fuse-gone", dark_right, "fuse-lamp.renew", cause="fuse-lamp.blown")
    marked = (("lamp-on", {"light": "dark", "rhythm": "none"}), ("fuse-marking", "wrong"))
    write_job(small.rules / "jobs", "wrong-fuse", marked, "earth-front.clean", cause="earth-front.open")
    lacking = [need for need in needs(world_of(small), world_of(small).rule(FED), "tested") if not need.met]
    assert [need.words for need in lacking] == ["No recorded job that it makes worse"]
    assert lacking[0].found.startswith("fuse-gone: fuse-lamp.renew falls from")


def test_rules_that_have_earned_it_are_moved_in_bulk_and_the_others_named_draft_again(small: Small) -> None:
    """`--all tested` and `--all draft` are each other's check."""
    proving(small)
    world = world_of(small)
    steps = [step for name in world.rules if (step := earned_step(world, world.rule(name), "tested", DAY, None))]
    assert [step.rule for step in steps] == [FED]
    with_state(small, FED, "tested", "\n    leads-there: [bulb-dead]\n    near-miss: [fuse-gone]")
    with_state(small, LOW, "tested", "\n    leads-there: [bulb-dead]")
    world = world_of(small)
    assert earned_step(world, world.rule(FED), "tested", DAY, None) is None, "nothing to bring up to date"
    assert earned_step(world, world.rule(FED), "draft", DAY, None) is None, "what is earned stays"
    back = earned_step(world, world.rule(LOW), "draft", DAY, None)
    assert back is not None and back.moved is not None
    assert back.moved.because == "missing: a recorded job in which it fires and ends at what it says"


# ---------------------------------------------------------------- proven


@pytest.mark.parametrize(
    ("right", "wrong", "days", "lacking"),
    [
        (6, 0, 2, []),
        (4, 0, 2, ["It fired in at least 5 closed jobs"]),
        (6, 0, 1, ["From at least 2 vehicles or days"]),
        (3, 3, 2, ["Right more often than not, as the lower end of the 90 % range says"]),
    ],
)
def test_a_rule_is_proven_at_real_vehicles(
    small: Small, tmp_path: Path, right: int, wrong: int, days: int, lacking: list[str]
) -> None:
    """Each condition alone is missed by jobs that fall short of it alone."""
    proving(small)
    with_state(small, FED, "tested")
    for day in range(1, 1 + days):
        for number in range(day - 1, right + wrong, days):
            good = number < right
            remedy, cause = ("lamp-renew", "work-lamp.open") if good else ("earth-front.clean", "earth-front.open")
            said = (("lamp-on", {"light": "dark", "rhythm": "none"}), ("lamp-volts", 12.0 + number / 10))
            name = f"real-{number}"
            stamp = f"2026-05-{day:02d}"
            write_job(tmp_path / "own", name, said, remedy, cause=cause, knowledge="0" * 16, day=stamp)
    assert missing(world_of(small, tmp_path / "own"), FED, "proven") == lacking


def test_jobs_written_by_hand_and_copies_prove_nothing(small: Small, tmp_path: Path) -> None:
    """Six facts of the trade are no six vehicles, and one job kept twice is one job, also where the copy that proves a
    rule was stripped of its minutes and its checks' names."""
    with_state(small, FED, "tested")
    said_once = (*DARK_AND_FED[:1], ("lamp-volts", 11.9))
    for number in range(6):
        said = (("lamp-on", {"light": "dark", "rhythm": "none"}), ("lamp-volts", 12.0 + number / 10))
        write_job(small.rules / "jobs", f"written-{number}", said, "lamp-renew", cause="work-lamp.open")
        write_job(tmp_path / "own", f"copy-{number}", said_once, "lamp-renew", knowledge="0" * 16)
    stripped = tmp_path / "own" / "copy-9.jsonl"
    text = (tmp_path / "own" / "copy-0.jsonl").read_text(encoding="utf-8").replace("T09:", "T00:")
    stripped.write_text(text.replace('"check": "lamp-volts", ', ""), encoding="utf-8")
    found = tally(world_of(small, tmp_path / "own"), FED)
    assert len(found.fired) == 7
    assert [job.name for job in found.real().fired] == ["copy-0"]


def test_a_job_that_a_later_one_showed_wrong_keeps_it_back(small: Small, tmp_path: Path) -> None:
    """Its rightness was judged by an end that was none."""
    with_state(small, FED, "tested")
    write_job(
        tmp_path / "own", "first", DARK_AND_FED, "lamp-renew", cause="work-lamp.open", knowledge="0" * 16,
        expect={"superseded-by": "second"},
    )  # fmt: skip
    assert "None of its jobs was shown wrong by a later one" in missing(
        world_of(small, tmp_path / "own"), FED, "proven"
    )


def test_without_what_it_must_come_to_a_closed_job_is_judged_by_what_its_remedy_cures(
    small: Small, tmp_path: Path
) -> None:
    """A workshop's own jobs have no expectation beside them."""
    write_job(tmp_path / "own", "own-one", DARK_AND_FED, "lamp-renew", knowledge="0" * 16)
    write_job(tmp_path / "own", "own-two", DARK_AND_FED, "earth-front.clean", knowledge="0" * 16, day="2026-05-06")
    found = tally(world_of(small, tmp_path / "own"), FED)
    assert [job.uses[FED] == RIGHT for job in found.fired] == [True, False]


# ---------------------------------------------------------------- back and out


def test_steps_are_taken_one_at_a_time_and_back_with_a_reason(small: Small) -> None:
    """No state is skipped, upwards or downwards."""
    world = world_of(small)
    assert missing(world, FED, "proven") == ["One step at a time"]
    with_state(small, FED, "proven")
    world = world_of(small)
    assert missing(world, FED, "draft", because="x") == ["One step back at a time"]
    assert missing(world, FED, "tested") == ["Going back has a reason"]
    assert missing(world, FED, "tested", because="it failed on a trailer") == []


def test_a_rule_is_retired_for_a_successor_or_a_reason_and_never_comes_back(small: Small) -> None:
    """Journals name it for years; what stands in its place must be there."""
    with_state(small, RIGHT_FUSE, "retired", f"\n    replaced-by: {LOW}")
    world = world_of(small)
    words = "A successor that is there and not retired, or why there is none"
    assert missing(world, LOW, "retired") == [words]
    assert missing(world, LOW, "retired", because="  ") == [words]
    assert missing(world, LOW, "retired", successor="lamp/nothing") == [words]
    assert missing(world, LOW, "retired", successor=LOW) == [words]
    assert missing(world, LOW, "retired", successor=RIGHT_FUSE) == [words]
    assert missing(world, LOW, "retired", successor=FED) == []
    assert missing(world, LOW, "retired", because="lamps are LEDs now") == []
    for to in ("draft", "tested", "retired"):
        assert missing(world, RIGHT_FUSE, to, because="x") == ["A retired rule stays retired"]
    assert next_state(world.rule(RIGHT_FUSE)) is None


def test_a_rule_on_which_others_build_is_not_retired(small: Small) -> None:
    """They would wait for ever for what it concluded."""
    world = world_of(small)
    assert missing(world, FED, "retired", successor=LOW) == ["No rule builds on what it alone concludes"]


# ---------------------------------------------------------------- what is kept


def test_what_jobs_say_is_kept_and_a_damaged_file_worked_out_anew(small: Small, tmp_path: Path) -> None:
    """Ten thousand jobs are gone through once; a torn file must not decide what a rule is worth."""
    proving(small)
    cache = tmp_path / "cache"
    first = gather((), (), small.rules, cache).facts
    (kept,) = cache.glob("*.sqlite")

    def texts() -> dict[str, str]:
        with contextlib.closing(sqlite3.connect(kept)) as base:
            return dict(base.execute("select key, text from outcome").fetchall())

    content = texts()
    again = gather((), (), small.rules, cache)
    assert content
    assert again.facts == first and not again._bare, "nothing was worked out again"
    for damage in (
        lambda text: "",
        lambda text: "{",
        lambda text: "[]",
        lambda text: '{"a": 1}',
        lambda text: text.replace('"right"', '"sure"'),
        lambda text: text.replace('"near"', '"x"'),
    ):
        with contextlib.closing(sqlite3.connect(kept)) as base, base:
            base.executemany("update outcome set text = ? where key = ?", [(damage(t), k) for k, t in content.items()])
        assert gather((), (), small.rules, cache).facts == first
        assert texts() == content
    kept.write_bytes(b"torn")
    assert gather((), (), small.rules, cache).facts == first
    assert texts() == content


def test_another_rule_or_answer_is_another_entry(small: Small, tmp_path: Path) -> None:
    """What is kept must not outlive what it was worked out from."""
    proving(small)
    cache = tmp_path / "cache"
    before = gather((), (), small.rules, cache)
    assert [job.name for job in tally(before, FED).fired] == ["bulb-dead"]
    write_job(small.rules / "jobs", "bulb-dead", CLEAR_LAMP, "lamp-renew", cause="work-lamp.open")
    assert tally(gather((), (), small.rules, cache), FED).fired == ()
    write_job(small.rules / "jobs", "bulb-dead", DARK_AND_FED, "lamp-renew", cause="fuse-lamp.blown")
    (job,) = tally(gather((), (), small.rules, cache), FED).fired
    assert job.uses[FED] != RIGHT


def test_a_file_that_is_no_job_is_told_and_stops_nothing(small: Small) -> None:
    """One torn journal in an archive must not hide the others."""
    proving(small)
    (small.rules / "jobs" / "torn.jsonl").write_text("not a record\n\n", encoding="utf-8")
    world = world_of(small)
    assert len(world.problems) == 1 and "torn.jsonl" in world.problems[0]
    assert tally(world, FED).right


def test_a_vehicle_that_does_not_load_is_told_with_its_jobs(small: Small) -> None:
    """Its jobs are left out and counted."""
    proving(small)
    (small.rules / "vehicles" / "other.yaml").write_text("vehicle: other\n", encoding="utf-8")
    world = world_of(small)
    assert len(world.problems) == 1 and "other.yaml: this vehicle does not load" in world.problems[0]
    assert tally(world, FED).right
