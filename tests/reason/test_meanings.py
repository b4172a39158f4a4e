"""What each answer would mean: promises about answers to come, held against the answers given.

source of all expectations: the belief after the answer, recomputed; common practice, no source
"""

from __future__ import annotations

import pytest

from diag.reason.meanings import OUTSIDE, SOUND, Outlook, meanings
from diag.reason.reasoner import Reasoner
from diag.reason.steps import Finding

HORN = Finding(1, None, None, 0, "horn-silent")


def test_chances_of_all_answers_sum_to_one(network_alone: Reasoner) -> None:
    """Every answer is counted once, whatever the number of sets."""
    beliefs = network_alone.beliefs([HORN])
    outlook = Outlook(network_alone, beliefs)
    for check in ("horn-sound", "lamp:horn.71:horn-button=pressed", "horn-31b-rest-volts"):
        step = network_alone.steps[check]
        assert float(outlook.total(step).sum()) == pytest.approx(1.0, abs=2e-3)


@pytest.mark.parametrize("check", ["lamp:horn.71:horn-button=pressed", "lamp:fuse-horn.out:horn-button=pressed"])
def test_what_an_answer_is_said_to_raise_and_clear_it_does(network_alone: Reasoner, check: str) -> None:
    """`Dark would speak for the fuse, 79 %` is worth nothing unless that is what then is held."""
    reasoner, step = network_alone, network_alone.steps[check]
    beliefs = reasoner.beliefs([HORN])
    told = meanings(reasoner, beliefs, step)
    assert told and any(meaning.raises for meaning in told)
    for meaning in [m for m in told if m.chance > 0.05]:
        assert not isinstance(meaning.value, float)
        after = reasoner.beliefs([HORN, Finding(2, step, meaning.value)])
        chances = {**dict(after.ranking), SOUND: after.posterior.healthy, OUTSIDE: after.posterior.outside}
        for moved in meaning.raises:
            assert chances[moved.name] == pytest.approx(moved.then, abs=0.12)
            assert moved.then > moved.now
        for moved in meaning.clears:
            assert chances.get(moved.name, 0.0) < 0.5 * moved.now


def test_readings_are_told_as_ranges_that_do_not_overlap(network_alone: Reasoner) -> None:
    """Sixteen classes of volts are of no use to a reader; side by side what means the same is one range."""
    reasoner = network_alone
    step = reasoner.steps["horn-31b-rest-volts"]
    told = meanings(reasoner, reasoner.beliefs([HORN]), step)
    words = [str(meaning.value) for meaning in told]
    assert 2 <= len(words) <= 6 and len(set(words)) == len(words)
    assert all(word.startswith(("below ", "above ")) or " to " in word for word in words)
    assert sum(meaning.chance for meaning in told) <= 1.0 + 1e-9
