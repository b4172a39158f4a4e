"""How often something is right, as a few cases tell: against the Beta distribution of SciPy, and by hand.

source of the interval: Brown, Cai and DasGupta, Interval estimation for a binomial proportion, Statistical Science 16
(2001), from memory; source of the quantiles: SciPy, scipy.stats.beta
"""

from __future__ import annotations

import math

import pytest
from scipy.stats import beta  # type: ignore[import-untyped]

from diag.life.interval import SHARE, interval, interval_words

CASES = [(right, of) for of in (1, 2, 5, 10, 50, 1000, 20000) for right in sorted({0, 1, of // 3, of - 1, of})]


@pytest.mark.parametrize(("right", "of"), CASES)
def test_ends_are_the_quantiles_of_the_beta_distribution(right: int, of: int) -> None:
    """With a half added on both sides, as Jeffreys' prior has it; 1e-9 is far below what is shown."""
    low, high = interval(right, of)
    a, b = right + 0.5, of - right + 0.5
    assert low == (0.0 if right == 0 else pytest.approx(beta.ppf((1 - SHARE) / 2, a, b), abs=1e-9))
    assert high == (1.0 if right == of else pytest.approx(beta.ppf((1 + SHARE) / 2, a, b), abs=1e-9))


def test_one_of_one_by_hand() -> None:
    """Beta(3/2, 1/2) is the arcsine law weighted by x: I_x = (2/pi)(asin sqrt x - sqrt(x(1-x))); from memory."""
    low, _ = interval(1, 1)
    below = 2 / math.pi * (math.asin(math.sqrt(low)) - math.sqrt(low * (1 - low)))
    assert below == pytest.approx(0.05, abs=1e-12)


def test_small_numbers_stay_wide_and_nothing_is_said_of_none() -> None:
    """One job says next to nothing; five of six are the least that leave it above one half."""
    assert interval(0, 0) == (0.0, 1.0)
    assert interval(1, 1)[0] < 0.25
    assert interval(5, 6)[0] > 0.5 > interval(4, 5)[0]
    assert interval_words(4, 5) == "right in 4 of 5 jobs; that leaves 44 to 96 in 100 open (90 % range)"
    assert "nothing is known" in interval_words(0, 0)
    with pytest.raises(ValueError, match="3 of 2"):
        interval(3, 2)
