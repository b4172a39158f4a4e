"""What one closed job counts for: remedies that were carried out, proved good and left nothing wrong.

What was really wrong is what the recorded jobs' own facts say, never what the program believes.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from diag.job.state import replay
from diag.knowledge.load import default_vehicle
from diag.learn.counting import Counts, Slip, axis_of, counts_of, slips_of
from diag.reason.reasoner import Reasoner
from diag.talk.conversation import Conversation
from diag.talk.demo import play_through
from diag.talk.opening import Rehearsed
from diag.talk.rehearsal import SimulatedFitter
from tests.jobs.recorded import NAMES, Recorded
from tests.learn.closed import HORN_JOBS, Lines, at, lines_of, state_from

SOUND: dict[str, Any] = {
    "event": "answered",
    "check": "horn-sound",
    "kind": "listen",
    "operate": {"horn-button": "pressed"},
    "target": "horn",
}
REST: dict[str, Any] = {**SOUND, "check": "horn-rest", "operate": {}}


def counted(reasoner: Reasoner, lines: Lines) -> Counts:
    """What the job counts for."""
    return counts_of(reasoner, state_from(lines))


def causes(counts: Counts) -> list[str]:
    """The likeliest cause of each fault that counts."""
    return [max(shares, key=lambda cause: shares[cause]) for _, shares in counts.faults]


@pytest.mark.parametrize(("name", "cause"), HORN_JOBS.items())
def test_what_was_really_wrong_is_counted_once(horn: Reasoner, name: str, cause: str) -> None:
    """One fault, its shares sum to one, nothing is left over."""
    found = counted(horn, lines_of(name))
    assert causes(found) == [cause] and found.why_not == ()
    assert sum(found.faults[0][1].values()) == pytest.approx(1)


def test_recorded_jobs_count_what_their_own_facts_say(reasoner: Reasoner) -> None:
    """On six circuits: every fault that counts was really there, two count each; what cannot be told from it shares
    its count, and is seldom taken for it."""
    every = taken = 0
    for name in NAMES:
        job = Recorded.read(name)
        if job.vehicle != default_vehicle().name:
            continue
        found = counts_of(reasoner, state_from(lines_of(name)))
        wanted = job.expect["cause"] if isinstance(job.expect["cause"], list) else [job.expect["cause"]]
        for remedy, shares in found.faults:
            assert set(reasoner.remedies[remedy].cures) & set(wanted), f"{name}: {shares} instead of {wanted}"
        assert len(found.faults) == len(wanted) or found.why_not or found.unknown, f"{name}: {found}"
        every += len(found.faults)
        taken += len(set(causes(found)) - set(wanted))
    assert every > 35 and taken <= 4
    assert sorted(causes(counts_of(reasoner, state_from(lines_of("double-fault"))))) == [
        "flasher-unit.never-opens",
        "oil-sender-wire.open",
    ]


def test_an_undone_remedy_does_not_count(horn: Reasoner) -> None:
    """It was never carried out."""
    lines = lines_of("horn-fuse")
    place = at(lines, "remedied")
    lines.insert(place + 1, {"event": "undone", "target": place + 1})
    assert counted(horn, lines) == Counts()


def test_a_remedy_that_was_not_it_does_not_count_though_the_job_ends_well(horn: Reasoner) -> None:
    """The horn was renewed for nothing before the fuse was found."""
    lines = lines_of("horn-fuse")
    place = at(lines, "remedied")
    lines[place:place] = [{"event": "remedied", "remedy": "horn-renew"}, {**SOUND, "value": "none"}]
    found = counted(horn, lines)
    assert causes(found) == ["fuse-horn.blown"] and [name for name, _ in found.why_not] == ["horn-renew"]


def test_a_remedy_that_took_the_second_time_counts_once(horn: Reasoner) -> None:
    """And no answer between the two is held against anybody's ears."""
    lines = lines_of("horn-fuse")
    place = at(lines, "remedied")
    lines[place + 1 : place + 1] = [{**SOUND, "value": "none"}, {"event": "remedied", "remedy": "fuse-horn.renew"}]
    found = counted(horn, lines)
    assert causes(found) == ["fuse-horn.blown"] and found.slips == ()


@pytest.mark.parametrize("what", ["not proved", "did not take", "changed by hand after it"])
def test_what_nothing_proves_counts_for_nothing(horn: Reasoner, what: str) -> None:
    """Belief alone teaches nothing, or the program would confirm itself."""
    lines = lines_of("horn-fuse")
    place = at(lines, "remedied")
    if what == "not proved":
        del lines[place + 1 : -1]
    elif what == "did not take":
        lines[place + 1]["value"], lines[place + 2]["value"] = "none", 0.02
    else:
        lines.insert(place + 1, {"event": "changed", "text": "wires moved"})
    found = counted(horn, lines)
    assert found.faults == () and [name for name, _ in found.why_not] == ["fuse-horn.renew"]


def test_ids_that_are_no_longer_known_are_told(horn: Reasoner) -> None:
    """A job from before a rule base was rewritten still counts as far as its ids live."""
    lines = lines_of("horn-fuse")
    lines[at(lines, "remedied")]["remedy"] = "horn-of-old.renew"
    lines.insert(4, {**REST, "check": "horn-of-old-sound", "target": "horn-of-old", "value": "none"})
    found = counted(horn, lines)
    assert found.faults == ()
    assert found.unknown == ("remedy horn-of-old.renew", "answer 5 (horn-of-old-sound)")


def test_nothing_is_counted_with_what_was_learned() -> None:
    """Else what was learned would confirm itself at the next counting."""

    class Learner:
        class knowledge:  # noqa: N801
            learned = object()

    with pytest.raises(ValueError, match="published"):
        counts_of(Learner(), state_from(lines_of("horn-fuse")))  # type: ignore[arg-type]


def test_causes_that_look_alike_share_the_count_of_their_remedy(reasoner: Reasoner) -> None:
    """A lamp was renewed: whether it was of the wrong wattage or an LED lamp, belief before it says how far which."""
    ((remedy, shares),) = counted(reasoner, lines_of("led-flashes-fast")).faults
    assert len(shares) > 1 and sum(shares.values()) == pytest.approx(1)
    assert set(shares) <= set(reasoner.remedies[remedy].cures)


# ---------------------------------------------------------------- misjudged answers


def test_an_answer_that_the_cure_contradicts_is_a_slip(horn: Reasoner) -> None:
    """Somebody heard a buzz where nothing sounded; the rest was judged right."""
    lines = lines_of("horn-feed-wire")
    lines[at(lines, "answered", check="horn-sound")]["value"] = "buzz"
    found = counted(horn, lines)
    assert causes(found) == ["horn-feed.open"]
    (slip,) = (slip for slip in found.slips if slip.true != slip.told)
    assert (slip.true, slip.told) == ("none", "buzz") and slip.weight > 0.99


def test_the_same_answer_said_twice_counts_once(horn: Reasoner) -> None:
    """The same ears, the same mistake."""
    lines = lines_of("horn-fuse")
    place = at(lines, "answered", check="horn-rest")
    lines.insert(place, dict(lines[place]))
    assert len(counted(horn, lines).slips) == len(counted(horn, lines_of("horn-fuse")).slips)


def test_the_soft_edge_between_words_is_not_laid_to_eyes(reasoner: Reasoner) -> None:
    """A lamp just bright enough to be normal is often called dim: only part of that is misjudging. What no edge
    explains is all misjudging."""
    step = next(s for s in reasoner.steps.values() if s.id == "stop-left")
    shown = np.zeros(len(step.outcomes))
    shown[[step.outcomes.index(("normal", "steady")), step.outcomes.index(("dim", "steady"))]] = 0.9, 0.1
    (light, rhythm) = slips_of(reasoner.knowledge, step, ("dim", "steady"), shown)
    assert (light.true, light.told, rhythm) == ("normal", "dim", Slip("rhythm", "steady", "steady"))
    published = reasoner.knowledge.vocabulary.misread["light"]
    edge = 0.1 * (1 - sum(published["dim"].values()))
    assert light.weight == pytest.approx(0.9 * published["normal"]["dim"] / (0.9 * published["normal"]["dim"] + edge))
    (dark,) = slips_of(
        reasoner.knowledge,
        step,
        ("dark", "none"),
        np.eye(len(step.outcomes))[step.outcomes.index(("normal", "steady"))],
    )
    assert dark == Slip("light", "normal", "dark")
    assert axis_of(step) == "light"


def test_readings_are_told_beside_what_is_computed(horn: Reasoner) -> None:
    """In the step's unit; the battery's own reading scales the volts."""
    found = counted(horn, lines_of("horn-button-earth"))
    assert {off.unit for off in found.offs} == {"V"}
    assert all(math.isclose(off.told, off.computed, abs_tol=0.15) for off in found.offs)


# ---------------------------------------------------------------- whole conversations


@pytest.mark.parametrize(
    "fault", ["fuse-horn.blown", "horn.open", "horn-feed.open", "slip-ring-wire.open", "horn-to-column.to-body"]
)
def test_a_whole_conversation_counts_the_fault_that_was_hidden(horn: Reasoner, fault: str) -> None:
    """Asked, concluded, remedied and proved as a person would; the journal alone says what was wrong."""
    keeper = Rehearsed.opened(horn)
    conversation = Conversation(horn, keeper, "job")
    played = play_through(conversation, SimulatedFitter(horn, [fault]), lambda told: None, lambda said: None)
    assert played.cured and keeper.records[-1].event == "proved"
    found = counts_of(horn, replay(keeper.records))
    assert [name for name, _ in found.faults] == [horn.remedy_of[horn.index[fault]]]
    assert causes(found) == [fault]
    assert found.slips and all(slip.true == slip.told for slip in found.slips)
