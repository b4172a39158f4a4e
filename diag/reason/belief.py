"""How likely each set of faults is, given all that was found: exact over single causes, lazily over
pairs and triples when no single one explains the findings without a misread answer.

Works on rows of chances; knows nothing of circuits, rules or questions. A remedy opens a period:
earlier findings are judged with the old faults, later ones with those that it left.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations, product

import numpy as np

from diag.circuit.network import Floats

__all__ = ["Evidence", "Judged", "Posterior", "Treatment", "weigh"]

_PAIR_RATE = 0.35
"""Expected number of further faults on a vehicle with one; prior of a pair = rate · p · p."""
_EXPLAINS = 0.12
"""A finding is explained by a cause that gives it at least this share of its best chance."""
_TOUCHES = 0.05
_CANDIDATES, _EXACT, _EXTENDED = 48, 14, 6
_KEPT = 1e-5
_PATTERNS = 5


@dataclass(frozen=True)
class Judged:
    """One finding as chances: `rows` (1 + causes,), `flat` for what is not in the model."""

    seq: int
    period: int
    rows: Floats
    flat: float
    together: Callable[[Sequence[frozenset[int]]], Floats] | None = None
    """Exact chance for sets of causes, where the network can say."""


@dataclass(frozen=True)
class Treatment:
    """A remedy carried out: it begins `period`, cures `causes` (None: whatever was changed), and takes
    with chance `takes`."""

    period: int
    causes: frozenset[int] | None
    takes: float = 0.95


@dataclass(frozen=True)
class Evidence:
    """All that was found. `prior` (causes,) sums to 1; `healthy` and `outside` are priors relative to it."""

    findings: tuple[Judged, ...]
    treatments: tuple[Treatment, ...]
    prior: Floats
    healthy: float
    outside: float


@dataclass(frozen=True)
class Posterior:
    """What is wrong now. `sets`: present causes and their chance, likeliest first; `present` (causes,)
    marginal chance of each; `healthy`, `outside` chances; `unexplained` seqs that the likeliest set
    needs to be misread; `several`: whether sets of more than one cause were weighed."""

    sets: tuple[tuple[frozenset[int], float], ...]
    present: Floats
    healthy: float
    outside: float
    unexplained: tuple[int, ...]
    several: bool


def weigh(evidence: Evidence) -> Posterior:
    """The posterior. Raises ValueError where findings and nothing at all agree (all chances zero)."""
    work = _Work(evidence)
    work.add_singles()
    several = work.misreads_of_best() > 0
    if several:
        work.add_sets(2)
        if work.misreads_of_best() > 0:
            work.add_sets(3)
    return work.posterior(several)


class _Work:
    def __init__(self, evidence: Evidence) -> None:
        self.e = evidence
        self.count = len(evidence.prior)
        self.periods = 1 + max(
            [f.period for f in evidence.findings] + [t.period for t in evidence.treatments], default=0
        )
        self.log_rows = np.log(np.array([f.rows for f in evidence.findings]).reshape(-1, 1 + self.count) + 1e-300)
        self.log_flat = float(sum(np.log(f.flat) for f in evidence.findings))
        self.period = np.array([f.period for f in evidence.findings], dtype=int)
        best = self.log_rows.max(axis=1, initial=-np.inf)
        self.explained = self.log_rows >= best[:, None] + np.log(_EXPLAINS)
        self.touch = np.abs(self.log_rows[:, 1:] - self.log_rows[:, :1]) > _TOUCHES
        self.entries: dict[frozenset[int], float] = {}
        """log weight of each set present now (empty set: healthy)."""
        self.start: dict[frozenset[int], float] = {}
        """log weight of each set present at the start."""
        self.together: dict[tuple[int, frozenset[int]], float] = {}

    # ------------------------------------------------------------ remedies

    def patterns(self) -> Iterator[tuple[tuple[bool, ...], float]]:
        """Which of the treatments took, with log chance; all but the last few are believed."""
        treatments = self.e.treatments
        free = treatments[-_PATTERNS:]
        for took in product((True, False), repeat=len(free)):
            chance = sum(np.log(t.takes if yes else 1 - t.takes) for t, yes in zip(free, took, strict=True))
            yield (True,) * (len(treatments) - len(free)) + took, float(chance)

    def cured(self, took: Sequence[bool], period: int) -> np.ndarray:
        """(causes,) True where a cause is gone in a period."""
        gone = np.zeros(self.count, dtype=bool)
        for treatment, yes in zip(self.e.treatments, took, strict=True):
            if yes and treatment.period <= period:
                gone |= np.ones(self.count, bool) if treatment.causes is None else self.mask(treatment.causes)
        return gone

    def mask(self, causes: frozenset[int]) -> np.ndarray:
        mask = np.zeros(self.count, dtype=bool)
        mask[list(causes)] = True
        return mask

    # ------------------------------------------------------------ single causes

    def add_singles(self) -> None:
        rows = self.log_rows
        healthy = np.log(self.e.healthy) + rows[:, 0].sum()
        self._add(frozenset(), frozenset(), float(healthy))
        sums = np.zeros((self.periods, 1 + self.count))
        np.add.at(sums, self.period, rows)
        prior = np.log(self.e.prior + 1e-300)
        for took, chance in self.patterns():
            total = prior + chance
            for period in range(self.periods):
                gone = self.cured(took, period)
                total = total + np.where(gone, sums[period, 0], sums[period, 1:])
            gone = self.cured(took, self.periods - 1)
            for i in np.nonzero(total > total.max() - 25)[0]:
                self._add(frozenset([int(i)]), frozenset() if gone[i] else frozenset([int(i)]), float(total[i]))

    def _add(self, start: frozenset[int], now: frozenset[int], log_weight: float) -> None:
        self.entries[now] = float(np.logaddexp(self.entries.get(now, -np.inf), log_weight))
        self.start[start] = float(np.logaddexp(self.start.get(start, -np.inf), log_weight))

    def misreads(self, start: frozenset[int], took: Sequence[bool]) -> list[int]:
        """Findings (indices) that a set needs to be misread, were those remedies to take."""
        out = []
        for f in range(len(self.log_rows)):
            gone = self.cured(took, int(self.period[f]))
            left = frozenset(i for i in start if not gone[i])
            if self._of(f, left) < self.log_rows[f].max() + np.log(_EXPLAINS):
                out.append(f)
        return out

    def _likeliest_course(self, start: frozenset[int]) -> tuple[bool, ...]:
        """Which remedies took, as the findings make most likely for a set present at the start."""
        best, likeliest = -np.inf, (True,) * len(self.e.treatments)
        if not self.e.treatments:
            return likeliest
        for took, chance in self.patterns():
            total = chance
            for period in range(self.periods):
                gone = self.cured(took, period)
                left = frozenset(i for i in start if not gone[i])
                total += sum(self._of(int(f), left) for f in np.nonzero(self.period == period)[0])
            if total > best:
                best, likeliest = total, took
        return likeliest

    def misreads_of_best(self) -> int:
        """Fewest misread answers that any likely set needs."""
        likely = sorted(((w, s) for s, w in self.start.items() if s), key=lambda pair: -pair[0])[:8]
        return min((len(self.misreads(s, [True] * len(self.e.treatments))) for _, s in likely), default=0)

    # ------------------------------------------------------------ several causes

    def _of(self, f: int, members: frozenset[int]) -> float:
        """Log chance of finding f with exactly these causes present."""
        touching = [i for i in members if self.touch[f, i]]
        if not touching:
            return float(self.log_rows[f, 0])
        if len(touching) == 1:
            return float(self.log_rows[f, 1 + touching[0]])
        known = self.together.get((f, frozenset(touching)))
        return known if known is not None else float(self.log_rows[f, [1 + i for i in touching]].max())

    def _log_of_set(self, start: frozenset[int], prior: float) -> Iterator[tuple[frozenset[int], float]]:
        for took, chance in self.patterns():
            total = prior + chance
            left = start
            for period in range(self.periods):
                gone = self.cured(took, period)
                left = frozenset(i for i in start if not gone[i])
                total += sum(self._of(int(f), left) for f in np.nonzero(self.period == period)[0])
            yield left, total

    def _candidates(self) -> list[int]:
        """Causes that explain something a healthy vehicle would not show, best first."""
        odd = ~self.explained[:, 0]
        gain = np.where(odd[:, None], np.maximum(self.log_rows[:, 1:] - self.log_rows[:, :1], 0.0), 0.0).sum(axis=0)
        score = np.log(self.e.prior + 1e-300) + gain
        found: dict[int, None] = {}
        for f in np.nonzero(odd)[0]:  # each odd finding brings its own best, or one symptom crowds out the others
            own = np.log(self.e.prior + 1e-300) + self.log_rows[f, 1:]
            found.update(dict.fromkeys(int(i) for i in np.argsort(-own)[: max(6, _CANDIDATES // max(1, odd.sum()))]))
        found.update(dict.fromkeys(int(i) for i in np.argsort(-score)[: _CANDIDATES // 2]))
        return list(found)[:_CANDIDATES]

    def add_sets(self, size: int) -> None:
        """Sets of `size` causes: pairs of candidates, or the best pairs with one more."""
        candidates = self._candidates()
        if size == 2:
            sets = [frozenset(pair) for pair in combinations(candidates, 2)]
        else:
            best = sorted((s for s in self.start if len(s) == size - 1), key=lambda s: -self.start[s])[:_EXTENDED]
            sets = list(dict.fromkeys(s | {i} for s in best for i in candidates if i not in s))
        prior = {
            s: float(np.log(self.e.prior[list(s)] + 1e-300).sum() + (len(s) - 1) * np.log(_PAIR_RATE)) for s in sets
        }
        rough = self._rough(sets, prior)
        ranked = [sets[int(i)] for i in np.argsort(-rough)[: 4 * _EXACT]]
        self._solve_together(ranked[:_EXACT])
        for s in ranked:
            for now, total in self._log_of_set(s, prior[s]):
                self._add(s, now, total)

    def _rough(self, sets: Sequence[frozenset[int]], prior: Mapping[frozenset[int], float]) -> Floats:
        """Quick log weight, remedies all taken, several touching causes as the best of them."""
        members = np.array([sorted(s) for s in sets], dtype=int).reshape(len(sets), -1)
        total = np.array([prior[s] for s in sets])
        took = [True] * len(self.e.treatments)
        for f in range(len(self.log_rows)):
            gone = self.cured(took, int(self.period[f]))
            on = self.touch[f][members] & ~gone[members]
            own = np.where(on, self.log_rows[f, 1:][members], -np.inf)
            total = total + np.where(on.any(axis=1), own.max(axis=1), self.log_rows[f, 0])
        return total

    def _solve_together(self, sets: Sequence[frozenset[int]]) -> None:
        for f, finding in enumerate(self.e.findings):
            if finding.together is None:
                continue
            wanted = list(
                dict.fromkeys(
                    t
                    for t in (frozenset(i for i in s if self.touch[f, i]) for s in sets)
                    if len(t) > 1 and (f, t) not in self.together
                )
            )
            if wanted:
                for t, chance in zip(wanted, finding.together(wanted), strict=True):
                    self.together[f, t] = float(np.log(chance + 1e-300))

    # ------------------------------------------------------------ result

    def posterior(self, several: bool) -> Posterior:
        outside = np.log(self.e.outside) + self.log_flat
        logs = np.array([*self.entries.values(), outside])
        top = logs.max()
        if not np.isfinite(top):
            raise ValueError("no cause, not even one outside the model, agrees with the findings")
        chances = np.exp(logs - top)
        chances /= chances.sum()
        present = np.zeros(self.count)
        sets = []
        for (members, _), chance in zip(self.entries.items(), chances[:-1], strict=True):
            for i in members:
                present[i] += chance
            if members and chance > _KEPT:
                sets.append((members, float(chance)))
        sets.sort(key=lambda pair: (-pair[1], sorted(pair[0])))
        healthy = float(chances[list(self.entries).index(frozenset())])
        likeliest = max(self.start, key=lambda s: self.start[s])
        unexplained = (
            tuple(self.e.findings[f].seq for f in self.misreads(likeliest, self._likeliest_course(likeliest)))
            if likeliest
            else ()
        )
        return Posterior(tuple(sets), present, healthy, float(chances[-1]), unexplained, several)
