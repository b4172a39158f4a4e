"""How often something is right, as far as a few cases can tell: an interval that small numbers leave wide.

Knows numbers and their words only.
"""

from __future__ import annotations

import math

from diag.texts import t

__all__ = ["SHARE", "interval", "interval_words"]

SHARE = 0.90
"""How often such an interval holds the truth."""
_TINY = 1e-300
_STEPS = 300


def interval(right: int, of: int, share: float = SHARE) -> tuple[float, float]:
    """Lower and upper end of how often it is right in the long run, 0 to 1, `right` times seen in `of` cases.

    Jeffreys' interval with equal tails: quantiles of the Beta distribution with `right` + 1/2 and `of` - `right` +
    1/2; the lower end is 0 where it was never right, the upper 1 where it always was (Brown, Cai and DasGupta 2001,
    Statistical Science 16, from memory). Raises ValueError for counts that cannot be.
    """
    if not 0 <= right <= of:
        raise ValueError(t("{right} of {of}: expected a count between 0 and all", right=right, of=of))
    if of == 0:
        return 0.0, 1.0
    a, b, tail = right + 0.5, of - right + 0.5, (1 - share) / 2
    low = 0.0 if right == 0 else _quantile(tail, a, b)
    high = 1.0 if right == of else _quantile(1 - tail, a, b)
    return low, high


def interval_words(right: int, of: int) -> str:
    """The count and what it leaves open, in plain words."""
    if of == 0:
        return t("nothing is known of how often it is right")
    low, high = (round(100 * end) for end in interval(right, of))
    jobs = t("1 job") if of == 1 else t("{of} jobs", of=of)
    return t(
        "right in {right} of {jobs}; that leaves {low} to {high} in 100 open ({number:.0f} % range)",
        right=right,
        jobs=jobs,
        low=low,
        high=high,
        number=100 * SHARE,
    )


def _quantile(p: float, a: float, b: float) -> float:
    low, high = 0.0, 1.0
    for _ in range(60):  # halves until the ends are the same to the last bits
        middle = 0.5 * (low + high)
        low, high = (middle, high) if _below(middle, a, b) < p else (low, middle)
    return 0.5 * (low + high)


def _below(x: float, a: float, b: float) -> float:
    """The regularised incomplete beta function I_x(a, b), by its continued fraction (DLMF 8.17.22, from memory)."""
    if x <= 0 or x >= 1:
        return 0.0 if x <= 0 else 1.0
    if x > (a + 1) / (a + b + 2):  # there the fraction of the other end converges
        return 1 - _below(1 - x, b, a)
    log = math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b) + a * math.log(x) + b * math.log1p(-x)
    return math.exp(log) / (a * _fraction(x, a, b))


def _fraction(x: float, a: float, b: float) -> float:
    """1 + d1/(1 + d2/(1 + ...)) by the modified method of Lentz."""
    c, d, out = 1.0, 0.0, 1.0
    for n in range(1, _STEPS):
        m = n // 2
        if n % 2:
            term = -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1))
        else:
            term = m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m))
        d = 1 / (1 + term * d or _TINY)
        c = 1 + term / c or _TINY
        out *= c * d
        if abs(c * d - 1) < 1e-15:
            break
    return out
