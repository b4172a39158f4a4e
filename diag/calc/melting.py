"""When fuses open and wires burn: time-current classes, fusing currents, and the ratings that exist.

Time-current classes are published tables. Knows nothing of networks.
"""

from __future__ import annotations

import functools
import math
from bisect import bisect_left
from dataclasses import dataclass

import numpy as np

from diag.texts import t

__all__ = ["LINKS", "WATCHED_S", "Point", "burns_a", "burns_in_s", "opens_from", "opens_in_s", "usual_s"]

WATCHED_S = 30.0
"""How long a person watches a control that was just switched on; common practice, no source."""


@dataclass(frozen=True)
class Point:
    """At `multiple` times its rating a fuse opens between `least_s` and `most_s` seconds."""

    multiple: float
    least_s: float
    most_s: float


_BLADE = (
    Point(1.10, 360_000.0, math.inf),
    Point(1.35, 0.75, 600.0),
    Point(1.60, 0.25, 50.0),
    Point(2.00, 0.15, 5.0),
    Point(3.50, 0.04, 0.5),
    Point(6.00, 0.02, 0.1),
)
LINKS: dict[str, tuple[Point, ...]] = {
    "blade": _BLADE,
    "torpedo": _BLADE,
    "glass": (
        Point(1.10, 14_400.0, math.inf),
        Point(1.35, 5.0, 3600.0),
        Point(2.00, 0.5, 120.0),
        Point(3.50, 0.05, 2.0),
        Point(6.00, 0.01, 0.3),
    ),
}
"""Time-current classes. blade: ISO 8820-3 (longest times at 200, 350 and 600 % as a data sheet quotes them,
the others from memory). torpedo: DIN 72581 gives sizes and ratings; for want of its times those of the blade
class stand in, common practice, no source. glass: UL 248-14 (4 h at 110 %, 60 min at 135 %, 2 min at 200 %);
its least times and all above 200 % are common practice, no source."""

_PREECE_COPPER = 80.0
"""Fusing current of copper wire in free air, A = 80 · d^1.5, d in mm (Preece's law)."""
_ONDERDONK = 291.0
"""A·√s/mm² that take copper from 20 °C to its melting point with no loss of heat (Onderdonk's equation,
from memory)."""


def opens_in_s(multiple: float, link: str) -> tuple[float, float]:
    """Least and most seconds in which a sound fuse of a class opens at a multiple of its rating.

    Between the points of `LINKS` on straight lines in log-log; above the last with constant I²t; below the
    first it never opens (inf, inf), and up to the second no longest time is given. Raises KeyError for an
    unknown class and ValueError for a multiple of zero or less.
    """
    if not multiple > 0:
        raise ValueError(t("a multiple of the rating is above zero"))
    points = LINKS[link]
    if multiple < points[0].multiple:
        return math.inf, math.inf
    last = points[-1]
    if multiple >= last.multiple:
        sooner = (last.multiple / multiple) ** 2
        return last.least_s * sooner, last.most_s * sooner
    most = (
        math.inf if multiple < points[1].multiple else _between(multiple, [(p.multiple, p.most_s) for p in points[1:]])
    )
    return _between(multiple, [(p.multiple, p.least_s) for p in points]), most


def _between(multiple: float, points: list[tuple[float, float]]) -> float:
    level = np.interp(math.log(multiple), [math.log(m) for m, _ in points], [math.log(s) for _, s in points])
    return float(math.exp(level))


def usual_s(multiple: float, link: str) -> float:
    """Seconds in the middle of that band (geometric mean); infinite where it may never open."""
    least, most = opens_in_s(multiple, link)
    return math.inf if math.isinf(most) else math.sqrt(least * most)


@functools.cache
def opens_from(link: str, within_s: float = WATCHED_S) -> float:
    """Multiple of its rating from which a fuse is taken to open within some seconds.

    The middle of the band (geometric mean of its least and most time) decides: the model shows one state
    of a fuse, and beyond that point it is likelier open than not. Raises KeyError for an unknown class.
    """
    multiples = np.geomspace(LINKS[link][0].multiple, 20.0, 2000)
    first = bisect_left(range(len(multiples)), True, key=lambda i: usual_s(float(multiples[i]), link) <= within_s)
    return float(multiples[first])


def burns_a(section_mm2: float) -> float:
    """Amps that melt a bare copper wire in free air (Preece's law); a rough guide for wire in a bundle."""
    return float(_PREECE_COPPER * (2 * math.sqrt(section_mm2 / math.pi)) ** 1.5)


def burns_in_s(amps: float, section_mm2: float) -> float:
    """Seconds after which a wire melts, infinite below its fusing current (Onderdonk's equation above it)."""
    return math.inf if amps <= burns_a(section_mm2) else (_ONDERDONK * section_mm2 / amps) ** 2
