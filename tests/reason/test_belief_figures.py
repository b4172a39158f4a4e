"""The belief against published and hand-worked figures of evidence, odds and wrong answers."""

from __future__ import annotations

import math

import numpy as np
import pytest

from diag.reason.belief import Posterior, weigh
from tests.reason.beliefs_by_hand import evidence

_SIX_DIGITS = 1e-6


def _odds(chance: float) -> float:
    return chance / (1 - chance)


def _screened(*results: bool) -> float:
    """Chance of the rare cause after results of a test with hits .80 and false alarms .096, prior .01."""
    rows = [[1e-12, 0.80, 0.096] if positive else [1e-12, 0.20, 0.904] for positive in results]
    return float(weigh(evidence(rows, [0.01, 0.99])).present[0])


@pytest.mark.parametrize(
    ("results", "posterior"),
    [((), 0.010000), ((True,), 0.077640), ((False,), 0.002230), ((True, True), 0.412269)],
    ids=["nothing", "positive", "negative", "two-independent-positives"],
)
def test_a_rare_fault_stays_unlikely_after_one_alarm(results: tuple[bool, ...], posterior: float) -> None:
    """Prior .01, ratio 8.3333: .077640 and not .80. Source: Eddy's screening example (from memory), recomputed."""
    assert _screened(*results) == pytest.approx(posterior, abs=_SIX_DIGITS)


def test_weights_of_evidence_add_up_in_decibans() -> None:
    """Ten times the common logarithm of the odds moves by that of the ratio (I. J. Good, from memory)."""
    before, after, twice = (10 * math.log10(_odds(_screened(*[True] * n))) for n in range(3))
    assert after - before == pytest.approx(9.2082, abs=1e-4)
    assert twice - after == pytest.approx(9.2082, abs=1e-4)


@pytest.mark.parametrize(
    ("bad_items", "posterior"),
    [(0, 0.090909), (1, 0.166667), (2, 0.285714), (3, 0.444444), (4, 0.615385), (5, 0.761905), (8, 0.962406)],
)
def test_bad_items_convict_the_bad_machine(bad_items: int, posterior: float) -> None:
    """Bad-item rate 1/3 against 1/6, prior -10 decibans, +3.0103 an item (E. T. Jaynes, Probability Theory:
    The Logic of Science, chapter 4, from memory; recomputed)."""
    found = weigh(evidence([[1e-12, 1 / 3, 1 / 6]] * bad_items, [1 / 11, 10 / 11]))
    assert found.present[0] == pytest.approx(posterior, abs=_SIX_DIGITS)


def test_twenty_heads_make_a_two_headed_coin_a_hundred_to_one() -> None:
    """Prior odds 1 : 10000, twenty heads: 104.8576 : 1 (General Report on Tunny, 1945, recomputed)."""
    found = weigh(evidence([[1e-12, 1.0, 0.5]] * 20, [1 / 10001, 10000 / 10001]))
    assert found.present[0] / found.present[1] == pytest.approx(104.8576, rel=1e-9)


# ---------------------------------------------------------------- one wrong answer


def _eight(error: float, answers: list[tuple[int, int]], outside: float = 1e-25) -> Posterior:
    """Eight equally likely rare faults 0 to 7; answers (bit, value), each wrong with chance `error`.

    They are so rare that two at once never matter: the rest of the prior lies on a ninth cause that
    no answer agrees with.
    """
    rare = 1e-9
    rows = [
        [1e-20, *(1 - error if (fault >> bit) & 1 == value else error for fault in range(8)), 1e-20]
        for bit, value in answers
    ]
    return weigh(evidence(rows, [rare] * 8 + [1 - 8 * rare], flat=0.5, healthy=1e-9, outside=outside))


_ANSWERS = [(2, 0), (1, 0), (0, 0), (2, 1), (2, 0)]


@pytest.mark.parametrize(
    ("error", "of_0", "of_4"),
    [
        (0.05, [0.237500, 0.451250, 0.857375, 0.451250, 0.857375], [0.451250, 0.045125]),
        (0.10, [0.225000, 0.405000, 0.729000, 0.405000, 0.729000], [0.405000, 0.081000]),
    ],
)
def test_a_wrong_answer_is_outvoted(error: float, of_0: list[float], of_4: list[float]) -> None:
    """Two contradicting answers cancel exactly, a third decides (recomputed; own instance)."""
    for count, expected in enumerate(of_0, start=1):
        found = _eight(error, _ANSWERS[:count])
        assert found.present[0] == pytest.approx(expected, abs=_SIX_DIGITS)
    for count, expected in zip((4, 5), of_4, strict=True):
        assert _eight(error, _ANSWERS[:count]).present[4] == pytest.approx(expected, abs=_SIX_DIGITS)


def test_contradicting_answers_are_named() -> None:
    """The person is told which answer disagrees and asked again; none is where all agree."""
    assert _eight(0.05, _ANSWERS[:3]).unexplained == ()
    for count in (4, 5):
        found = _eight(0.05, _ANSWERS[:count])
        assert found.unexplained, "one of the answers on bit 2 must have been misread"
        assert set(found.unexplained) <= {100, 103, 104}
    assert _eight(0.05, _ANSWERS).unexplained == (103,)


def test_without_any_error_a_contradiction_crowns_no_fault() -> None:
    """With certain answers that contradict each other nothing in the model is left: it must be said to lie
    outside, not divided by zero or given to whichever fault came last."""
    agreed = _eight(0.0, _ANSWERS[:3], outside=1e-12)
    assert agreed.present[0] > 0.999
    found = _eight(0.0, _ANSWERS[:4], outside=1e-12)
    assert found.outside > 0.999
    assert found.present.max() < 1e-3


def test_equal_faults_share_what_an_answer_leaves() -> None:
    """Nothing found: the prior. One bit: half the faults share it."""
    assert _eight(0.05, _ANSWERS[:1]).present[:4] == pytest.approx([0.2375] * 4, abs=_SIX_DIGITS)
    rest = weigh(evidence([], [0.5, 0.3, 0.2], healthy=1.0, outside=0.01))
    np.testing.assert_allclose(rest.present, np.array([0.5, 0.3, 0.2]) / 2.01, atol=1e-12)
    assert rest.healthy == pytest.approx(1 / 2.01)
    assert rest.outside == pytest.approx(0.01 / 2.01)
