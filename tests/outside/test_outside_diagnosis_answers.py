"""Weights of evidence, evidence told twice, and answers that may be wrong.

Screening: inputs of exercise collections, attributed to D. Eddy, 1982 (from memory). Ulam's game with one
lie: A. Pelc, 1987; D. Osthus, R. Watkinson, A simple solution to Ulam's liar game with one lie; the
numbers were found again by searching the game.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import combinations

import numpy as np
import pytest

from diag.reason.belief import ContradictionError, Evidence, Judged, Posterior, weigh
from diag.reason.reasoner import Reasoner
from diag.reason.steps import Finding
from diag.reason.tables import Check, DecisionTable

# ---------------------------------------------------------------- odds


def _against(ratio: float, prior: float, times: int = 1) -> Posterior:
    """One cause against all others, after so many independent findings of that likelihood ratio."""
    rows = np.array([0.0, min(1.0, ratio), min(1.0, 1 / ratio)])
    findings = tuple(Judged(seq, 0, rows, 0.0) for seq in range(times))
    return weigh(Evidence(findings, (), np.array([prior, 1 - prior]), 0.0, 0.0))


@pytest.mark.parametrize(
    ("ratio", "times", "posterior"),
    [(0.80 / 0.096, 1, 0.077640), (0.20 / 0.904, 1, 0.002230), (0.80 / 0.096, 2, 0.412269)],
    ids=["positive", "negative", "two-independent"],
)
def test_odds_are_multiplied_by_likelihood_ratios(ratio: float, times: int, posterior: float) -> None:
    """Prior .01; 8.3333 for a positive, .2212 for a negative."""
    assert float(_against(ratio, 0.01, times).present[0]) == pytest.approx(posterior, abs=1e-6)


@pytest.mark.parametrize(
    ("decibans", "chance"),
    [
        (-20, 0.009901),
        (-10, 0.090909),
        (0, 0.5),
        (3, 0.666139),
        (10, 0.909091),
        (13, 0.952273),
        (20, 0.990099),
        (30, 0.999001),
    ],
)
def test_decibans_are_ten_times_the_logarithm_of_the_odds(decibans: float, chance: float) -> None:
    """From even odds; 10 log10(2) = 3.0103 for a ratio of two (I. J. Good, Probability and the Weighing of Evidence,
    1950, from memory)."""
    assert float(_against(10 ** (decibans / 10), 0.5).present[0]) == pytest.approx(chance, abs=1e-6)
    two = float(_against(2.0, 0.5).present[0])
    assert 10 * math.log10(two / (1 - two)) == pytest.approx(3.0103, abs=1e-4)


@pytest.mark.parametrize(
    ("bad", "decibans", "chance"),
    [
        (0, -10.0, 0.090909),
        (1, -6.9897, 0.166667),
        (2, -3.9794, 0.285714),
        (3, -0.9691, 0.444444),
        (4, 2.0412, 0.615385),
        (5, 5.0515, 0.761905),
        (8, 14.0824, 0.962406),
        (10, 20.1030, 0.990329),
    ],
)
def test_bad_items_from_one_of_two_machines(bad: int, decibans: float, chance: float) -> None:
    """A bad item in three against one in six, prior -10 decibans: 3.0103 more for each bad one (E. T. Jaynes,
    Probability Theory: The Logic of Science, 2003, chapter 4, from memory; recomputed)."""
    p = float(_against(2.0, 1 / 11, bad).present[0])
    assert p == pytest.approx(chance, abs=1e-6)
    assert 10 * math.log10(p / (1 - p)) == pytest.approx(decibans, abs=1e-4)


def test_a_good_item_speaks_a_little_against() -> None:
    """2/3 against 5/6: -0.9691 decibans (the same)."""
    p = float(_against((2 / 3) / (5 / 6), 1 / 11).present[0])
    assert 10 * math.log10(p / (1 - p)) == pytest.approx(-10.9691, abs=1e-4)


def test_twenty_heads_on_odds_of_ten_thousand_to_one() -> None:
    """104.8576 to one, 20.206 decibans (General Report on Tunny, 1945, recomputed)."""
    p = float(_against(2.0, 1 / 10001, 20).present[0])
    assert p / (1 - p) == pytest.approx(104.8576, rel=1e-9)


def test_the_same_answer_told_twice_counts_once(network_alone: Reasoner) -> None:
    """A second look with the same eyes shares the mistake of the first, if it was one: .077640 stays .077640. Only
    where the answers differ does each count, as one of them must be wrong."""
    reasoner = network_alone
    step = reasoner.steps["horn-sound"]
    once = reasoner.beliefs([Finding(1, step, "none")]).posterior
    twice = reasoner.beliefs([Finding(1, step, "none"), Finding(2, step, "none")]).posterior
    np.testing.assert_array_equal(twice.present, once.present)
    assert twice.healthy == once.healthy
    answers: Sequence[str] = ("none", "sound", "none")
    outvoted = reasoner.beliefs([Finding(n, step, word) for n, word in enumerate(answers, start=1)]).posterior
    split = reasoner.beliefs([Finding(n, step, word) for n, word in enumerate(answers[:2], start=1)]).posterior
    silent = [i for i, cause in enumerate(reasoner.causes) if cause.id == "horn.open"]
    assert float(outvoted.present[silent].sum()) > 3 * float(split.present[silent].sum())


# ---------------------------------------------------------------- wrong answers


def _asked(items: int) -> list[tuple[int, ...]]:
    """Every question that parts the items, as the items for which the answer is yes; each up to its opposite."""
    rest = range(1, items)
    return [tuple(s) for n in range(1, items) for s in combinations(rest, n)]


def _answers_needed(items: int, truth: int, lie_at: int | None, error: float) -> tuple[int, int]:
    """Answers until one item is held likelier than .99, one of them a lie, and which item that is."""
    questions = _asked(items)
    rows = [
        np.array([[error, 1 - error] if item in yes else [1 - error, error] for item in range(items)])
        for yes in questions
    ]
    table = DecisionTable([Check(str(n), 1.0, row) for n, row in enumerate(rows)])
    prior = np.full(items, 1 / items)
    findings: list[Judged] = []
    while len(findings) < 40:
        found = weigh(Evidence(tuple(findings), (), prior, 1e-12, 1e-12, most=1))
        if found.present.max() > 0.99:
            return len(findings), int(found.present.argmax())
        question = int(table.rank(found.present, ahead=False)[0].check.id)
        answer = int(truth in questions[question]) ^ int(len(findings) == lie_at)
        column = rows[question][:, answer]
        findings.append(Judged(len(findings), 0, np.concatenate([[1e-9], column]), 0.5))
    raise AssertionError("never sure")


@pytest.mark.parametrize(("items", "least", "thrice"), [(2, 3, 3), (4, 5, 6), (8, 6, 9)])
def test_one_lie_among_the_answers_costs_what_it_must(items: int, least: int, thrice: int) -> None:
    """Whatever the item and whichever answer is a lie (or none), the item is found; in the worst case with no fewer
    questions than Ulam's game needs, and with no more than asking each question three times."""
    found = [
        (*_answers_needed(items, truth, lie, 0.08), truth)
        for truth in range(items)
        for lie in (None, *range(least + 1))
    ]
    assert all(item == truth for _, item, truth in found)
    assert least <= max(count for count, _, _ in found) <= thrice + 1


def _eight(error: float, answers: Sequence[tuple[int, int]], outside: float) -> Posterior:
    rows = [
        np.array([0.0, *(1 - error if (fault >> bit) & 1 == value else error for fault in range(8))])
        for bit, value in answers
    ]
    findings = tuple(Judged(100 + seq, 0, row, 0.5) for seq, row in enumerate(rows))
    return weigh(Evidence(findings, (), np.full(8, 1 / 8), 0.0, outside, most=1))


ANSWERS = [(2, 0), (1, 0), (0, 0), (2, 1), (2, 0)]


def test_certain_answers_that_contradict_are_reported() -> None:
    """No allowance for a wrong answer: after three answers one fault is left for certain, the fourth contradicts the
    first. Neither a division by zero nor a fault crowned: the two are named."""
    assert [float(_eight(0.0, ANSWERS[:n], 0.0).present[0]) for n in (1, 2, 3)] == pytest.approx([0.25, 0.5, 1.0])
    with pytest.raises(ContradictionError) as caught:
        _eight(0.0, ANSWERS[:4], 0.0)
    assert caught.value.groups == (frozenset({100, 103}),)


@pytest.mark.parametrize(
    ("error", "kept", "rival"),
    [
        (0.05, (0.237500, 0.451250, 0.857375, 0.451250, 0.857375), (0.451250, 0.045125)),
        (0.10, (0.225000, 0.405000, 0.729000, 0.405000, 0.729000), (0.405000, 0.081000)),
    ],
)
def test_chances_after_each_answer_with_one_wrong(
    error: float, kept: Sequence[float], rival: tuple[float, float]
) -> None:
    """Eight faults, yes or no, the fourth answer a contradiction (own instance, recomputed)."""
    found = [_eight(error, ANSWERS[:n], 1e-12) for n in range(1, 6)]
    assert [float(one.present[0]) for one in found] == pytest.approx(list(kept), abs=1e-6)
    assert [float(one.present[4]) for one in found[3:]] == pytest.approx(list(rival), abs=1e-6)


def test_an_allowance_for_error_lets_contradicting_answers_cancel() -> None:
    """Error .05: .857375 after three answers; the contradiction brings both rivals to .451250 (exactly what two
    answers had left), and names both answers as odd."""
    three = _eight(0.05, ANSWERS[:3], 1e-12)
    assert three.present[0] == pytest.approx(0.857375, abs=1e-6)
    assert three.odd == () and three.contradictions == ()
    four = _eight(0.05, ANSWERS[:4], 1e-12)
    assert (four.present[0], four.present[4]) == pytest.approx((0.451250, 0.451250), abs=1e-6)
    assert {odd.seq for odd in four.odd} == {100, 103}
    assert four.contradictions == (frozenset({100, 103}),)
    five = _eight(0.05, ANSWERS, 1e-12)
    assert (five.present[0], five.present[4]) == pytest.approx((0.857375, 0.045125), abs=1e-6)
    assert [odd.seq for odd in five.odd] == [103]
