"""Fuses that melt and wires that burn: what gives way first, and when.

Time-current classes are published tables; a row's current comes from its solution. Knows nothing of
causes or of what hangs on a fuse.
"""

from __future__ import annotations

import functools
import math
from bisect import bisect_left
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from diag.circuit.jumper import JUMPER_FUSE_A, JUMPER_LINK
from diag.circuit.network import Floats, Network
from diag.circuit.stage import Stage
from diag.knowledge.bridging import BRIDGED

__all__ = ["LINKS", "WATCHED_S", "Melting", "Point", "burns_a", "burns_in_s", "opens_from", "opens_in_s"]

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
        raise ValueError("a multiple of the rating is above zero")
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


def _usual_s(multiple: float, link: str) -> float:
    least, most = opens_in_s(multiple, link)
    return math.inf if math.isinf(most) else math.sqrt(least * most)


@functools.cache
def opens_from(link: str, within_s: float = WATCHED_S) -> float:
    """Multiple of its rating from which a fuse is taken to open within some seconds.

    The middle of the band (geometric mean of its least and most time) decides: the model shows one state
    of a fuse, and beyond that point it is likelier open than not. Raises KeyError for an unknown class.
    """
    multiples = np.geomspace(LINKS[link][0].multiple, 20.0, 2000)
    first = bisect_left(range(len(multiples)), True, key=lambda i: _usual_s(float(multiples[i]), link) <= within_s)
    return float(multiples[first])


def burns_a(section_mm2: float) -> float:
    """Amps that melt a bare copper wire in free air (Preece's law); a rough guide for wire in a bundle."""
    return float(_PREECE_COPPER * (2 * math.sqrt(section_mm2 / math.pi)) ** 1.5)


def burns_in_s(amps: float, section_mm2: float) -> float:
    """Seconds after which a wire melts, infinite below its fusing current (Onderdonk's equation above it)."""
    return math.inf if amps <= burns_a(section_mm2) else (_ONDERDONK * section_mm2 / amps) ** 2


class Melting:
    """The fuses and wires of one network. `fuse_a`: rating in A by fuse id; `links`: class of `LINKS` by fuse
    id, blade where left out; `section_mm2` by wire id; `guards`: amps at which any other branch melts, by index."""

    def __init__(
        self,
        network: Network,
        fuse_a: Mapping[str, float],
        links: Mapping[str, str],
        section_mm2: Mapping[str, float],
        guards: Mapping[int, float],
    ) -> None:
        self._fuses = {network.branch(fuse): (rating, links.get(fuse, "blade")) for fuse, rating in fuse_a.items()}
        self._fuses |= {branch: (amps / opens_from("blade"), "blade") for branch, amps in guards.items()}
        self._wires = {network.branch(wire): section for wire, section in section_mm2.items()}
        limit = np.full(len(network.branches), np.inf)
        for branch, (rating, link) in self._fuses.items():
            limit[branch] = rating * opens_from(link)
        for branch, section in self._wires.items():
            limit[branch] = burns_a(section)
        self._limit_a = limit

    def blow(self, stage: Stage, rows: np.ndarray) -> np.ndarray:
        """What gives way first in each row opens; gives the rows where something did.

        Current that pulses is taken as if it flowed all the time. A jumper lead whose fuse goes is as if it
        were not there; it is no part of the vehicle and not among what blew.
        """
        amps = np.abs(stage.solution.branch_a[rows])
        over: np.ndarray = amps > self._limit_of(stage, rows)
        jumper = len(self._limit_a)
        bridged = self._jumper_a(stage, rows)
        if bridged is not None:
            amps = np.concatenate([amps, bridged[:, None]], axis=1)
            over = np.concatenate([over, bridged[:, None] > JUMPER_FUSE_A * opens_from(JUMPER_LINK)], axis=1)
        going = np.nonzero(over.any(axis=1))[0]
        for i in going.tolist():
            row = int(rows[i])
            first = min(np.nonzero(over[i])[0].tolist(), key=lambda b: (self._time_s(stage, row, b, amps[i, b]), b))
            if first == jumper:
                stage.variants.extra_s[row, len(stage.changes[row].extra)] = 0.0
                continue
            stage.blown[row].add(first)
            stage.variants.branch_s[row, first] = 0.0
        gone: np.ndarray = rows[going]
        stage.solve(gone)
        return gone

    def _jumper_a(self, stage: Stage, rows: np.ndarray) -> Floats | None:
        """(rows,) amps through the jumper lead of each row, 0 where it has none; None where no row has one."""
        held = [i for i, row in enumerate(rows.tolist()) if BRIDGED in stage.operates[row]]
        if not held:
            return None
        amps = np.zeros(len(rows))
        at = rows[held]
        link = np.array([len(stage.changes[row].extra) for row in at.tolist()])
        ends, volts = stage.variants.extra[at, link], stage.solution.volts[at]
        across = np.take_along_axis(volts, ends, axis=1)
        amps[held] = np.abs((across[:, 0] - across[:, 1]) * stage.variants.extra_s[at, link])
        return amps

    def _limit_of(self, stage: Stage, rows: np.ndarray) -> Floats:
        limit: Floats = np.repeat(self._limit_a[None, :], len(rows), axis=0)
        for i, row in enumerate(rows.tolist()):
            for fuse, factor in stage.changes[row].limit.items():
                limit[i, fuse] *= factor
        return limit

    def _time_s(self, stage: Stage, row: int, branch: int, amps: float) -> float:
        if branch in self._wires:
            return burns_in_s(float(amps), self._wires[branch])
        if branch == len(self._limit_a):
            return _usual_s(float(amps) / JUMPER_FUSE_A, JUMPER_LINK)
        rating, link = self._fuses[branch]
        return _usual_s(float(amps) / (rating * stage.changes[row].limit.get(branch, 1.0)), link)
