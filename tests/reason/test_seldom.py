"""Faults that come and go: mixed by hand, and found in a job where one check answers differently at two times."""

from __future__ import annotations

import random

import numpy as np
import pytest

from diag.reason.reasoner import Reasoner
from diag.reason.seldom import Seldom
from diag.reason.steps import Finding, Value
from diag.talk.rehearsal import SimulatedFitter

_DARK, _LIT = ("dark", "none"), ("normal", "steady")


def test_rows_are_mixed_by_the_chance_that_the_fault_is_there() -> None:
    """Row 0 sound, row 1 the lasting fault, row 2 another, row 3 the first one that is there a quarter of the time."""
    seldom = Seldom({2: (0, 0.25)})
    rows = np.array([[0.9, 0.1], [0.1, 0.9], [0.5, 0.5], [0.0, 1.0]])
    mixed = seldom.mixed(rows)
    np.testing.assert_allclose(mixed[3], 0.25 * rows[1] + 0.75 * rows[0])
    np.testing.assert_array_equal(mixed[:3], rows[:3])
    np.testing.assert_allclose(seldom.mixed(rows[:, 1]), mixed[:, 1])
    np.testing.assert_array_equal(seldom.there(rows)[3], rows[1])


def test_a_set_is_mixed_over_all_that_may_be_there() -> None:
    """Two that come and go beside one that lasts: four states, each solved once."""
    seldom = Seldom({3: (0, 0.5), 4: (1, 0.25)})
    sets = [frozenset({2, 3, 4}), frozenset({3})]
    states = seldom.states(sets)
    assert states == [frozenset(s) for s in ({0, 1, 2}, {0, 2}, {1, 2}, {2}, {0})]
    rows = np.array([0.9, 0.01, 0.02, 0.04, 0.08, 0.16])
    whole = 0.125 * 0.01 + 0.375 * 0.02 + 0.125 * 0.04 + 0.375 * 0.08
    np.testing.assert_allclose(seldom.mixed_sets(sets, states, rows), [whole, 0.5 * 0.16 + 0.5 * 0.9])


def test_the_lasting_fault_gives_up_a_share_and_its_row_serves_both(reasoner: Reasoner) -> None:
    """Nothing new is solved, the remedy is the same, and together they are met as often as before."""
    assert reasoner.predictor is not None
    seldom = [cause for cause in reasoner.causes if cause.shows < 1]
    assert 0 < len(seldom) < 0.15 * len(reasoner.causes)
    for cause in seldom:
        steady = reasoner.causes[reasoner.index[cause.of or ""]]
        assert cause.change is steady.change
        share = reasoner.knowledge.kinds.kinds[cause.kind][cause.mode].at_times
        assert share is not None
        assert cause.frequency == pytest.approx(steady.frequency * share / (1.0 - share))
        assert reasoner.remedy_of[reasoner.index[cause.id]] == reasoner.remedy_of[reasoner.index[steady.id]]


def test_only_wires_that_something_moves_come_and_go(reasoner: Reasoner) -> None:
    """A plug of the pedal switch does; a wire between two bars of the fuse box is off or it is not."""
    assert "stop-wire.open-at-times" in reasoner.index
    assert "earth-rear-left.open-at-times" in reasoner.index
    assert "stop-fuse-feed.open-at-times" not in reasoner.index


def _believed(reasoner: Reasoner, *answers: tuple[str, Value]) -> dict[str, float]:
    complaint = Finding(1, None, None, 0, "stop-lamps-dead")
    found = [Finding(2 + n, reasoner.steps[check], value) for n, (check, value) in enumerate(answers)]
    present = reasoner.beliefs([complaint, *found]).posterior.present
    return {cause.id: float(present[i]) for i, cause in enumerate(reasoner.causes)}


def test_the_same_check_answered_differently_at_two_times_points_to_what_comes_and_goes(reasoner: Reasoner) -> None:
    """Nobody misjudges two lamps twice over; a loose plug explains all of it."""
    steady = _believed(reasoner, ("stop-left", _DARK), ("stop-right", _DARK))
    assert max(steady, key=lambda cause: steady[cause]) == "stop-fuse-feed.open"
    loose = _believed(reasoner, ("stop-left", _DARK), ("stop-right", _DARK), ("stop-left", _LIT), ("stop-right", _LIT))
    best = sorted(loose, key=lambda cause: -loose[cause])[:3]
    assert all(cause.endswith("-at-times") for cause in best)
    assert {cause.split(".")[0] for cause in best} == {"stop-wire", "pedal-switch-feed", "pedal-switch"}
    assert sum(loose[cause] for cause in loose if cause.endswith("-at-times")) > 0.9


def test_what_is_found_each_time_speaks_against_what_comes_and_goes(reasoner: Reasoner) -> None:
    """Each further check that finds it again halves the chance that it comes and goes."""
    few = _believed(reasoner, ("stop-left", _DARK))
    many = _believed(reasoner, ("stop-left", _DARK), ("stop-right", _DARK))
    ratios = [found["stop-wire.open-at-times"] / found["stop-wire.open"] for found in (few, many)]
    assert ratios[1] == pytest.approx(0.5 * ratios[0], rel=0.15)


def test_a_rehearsed_vehicle_can_have_one(reasoner: Reasoner) -> None:
    """By luck it is there or not at each answer; without luck it always is, as the one that lasts."""
    step = reasoner.steps["stop-left"]
    moody = SimulatedFitter(reasoner, ["stop-wire.open-at-times"], random.Random(4))
    seen = [moody.truth(step) for _ in range(40)]
    assert {_DARK, _LIT} == set(seen)
    assert 10 < seen.count(_DARK) < 30
    assert SimulatedFitter(reasoner, ["stop-wire.open-at-times"]).truth(step) == _DARK
    assert moody.remedy("stop-wire.reconnect") and moody.cured
