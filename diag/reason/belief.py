"""How likely each set of faults is, given all that was found: exact over single causes, lazily over
pairs and triples when no single one explains the findings without a misread answer.

Works on rows of chances; knows nothing of circuits, rules or questions. A remedy opens a period:
earlier findings are judged with the old faults, later ones with those that it left.
"""

from __future__ import annotations

from collections.abc import Sequence
from heapq import nlargest
from math import exp, log1p
from operator import itemgetter
from typing import TypeVar

import numpy as np

from diag.circuit.network import Floats
from diag.reason.candidates import minimal_hitting_sets, smallest
from diag.reason.counted import GROUPS, alike, counted, each_of, some_of
from diag.reason.courses import Courses
from diag.reason.posterior import Odd, Posterior
from diag.reason.problems import ODD_FROM, Part, split, together
from diag.reason.proposals import mended, propose
from diag.reason.sight import IMPOSSIBLE, Evidence, Judged, Sight, Treatment
from diag.texts import t

__all__ = ["PAIR_RATE", "ContradictionError", "Evidence", "Judged", "Odd", "Posterior", "Treatment", "weigh"]

_Key = TypeVar("_Key")
PAIR_RATE = 0.35
"""Expected number of further faults on a vehicle with one; prior of a pair = rate · p · p."""
_LOG_RATE = float(np.log(PAIR_RATE))
LIKELY = 8
NEGLIGIBLE = 20.0
"""A single cause less likely than the best by this much (log) is left out."""
_SOLVED, _EXACT, _ROUNDS = 24, 14, 2
"""Sets solved of causes that stand for others, then for their own causes after all (the rest take the answers
of causes that look alike), and how often what comes first thereby is solved in turn."""
_LISTED = 240
KEPT = 1e-5
_SUSPECTED = 0.02
"""From this chance on a cause of one problem must not touch what another problem's do."""
_STARTS = 60
_GROUP, _FAMILIES = 4, 60


class ContradictionError(ValueError):
    """Findings that nothing allows together, not even a cause outside the model, and none of which may be
    wrong. `groups`: smallest groups of seqs that contradict each other."""

    def __init__(self, groups: tuple[frozenset[int], ...]) -> None:
        self.groups = groups
        named = "; ".join(", ".join(map(str, sorted(group))) for group in groups) or "all"
        super().__init__(
            t("no cause agrees with all findings, and none may be wrong; they contradict: {named}", named=named)
        )


def weigh(evidence: Evidence) -> Posterior:
    """The posterior. Raises ContradictionError where findings and nothing at all agree (all chances zero)."""
    work = _Work(counted(evidence))
    work.add_singles()
    several = evidence.most > 1 and work.misreads_of_best() > 0
    if several:
        problems = split(work.sight, work.prior, _LOG_RATE)
        apart = _apart(work, problems) if len(problems) > 1 else None
        if apart is not None:
            return apart
        work.add_more()
    return work.posterior(several)


def _apart(whole: _Work, problems: Sequence[Sequence[int]]) -> Posterior | None:
    """Each problem weighed with its own signs and with all that is as it should be, then put together. None where
    likely causes of two problems change the same answer: then they are not apart after all."""
    evidence, findings = whole.e, whole.e.findings
    signs = {f for problem in problems for f in problem}
    sight = whole.sight
    sound = float(sum(sight.times[f] * sight.rows[f, 0] for f in range(len(findings)) if f not in signs))
    parts: list[Part] = []
    among, weighed = alike(evidence), dict[tuple[tuple[int, int], ...], Part]()
    for problem in problems:
        own_signs = tuple(number for f in problem for number in findings[f].numbers)
        key = tuple((id(findings[f].rows), among[findings[f].period]) for f in problem)
        if key in weighed:  # the same was answered before, and is a problem like that one
            parts.append(weighed[key].with_signs(own_signs))
            continue
        chosen = [f for f in range(len(findings)) if f not in signs or f in problem]
        work = _Work(some_of(evidence, chosen))
        work.add_singles()
        several = work.misreads_of_best() > 0
        if several:
            work.add_more()
        own = whole.sight.moves[list(problem)].any(axis=0)  # the others belong to other problems, or to none
        weights = {sets: weight for sets, weight in work.weights.items() if all(own[i] for i in sets[0])}
        weighed[key] = Part(weights, work.posterior(several), sound, own_signs)
        parts.append(weighed[key])
    suspected = np.array([part.alone.present > _SUSPECTED for part in parts])
    if (((whole.sight.moves.astype(float) @ suspected.T.astype(float)) > 0).sum(axis=1) > 1).any():
        return None
    outside = (float(np.log(evidence.outside)) if evidence.outside > 0 else IMPOSSIBLE) + whole.sight.flat
    return together(parts, evidence.healthy, _LOG_RATE, outside, whole.sight.count)


def _more(weights: dict[_Key, float], key: _Key, log_weight: float) -> None:
    """Add to a sum that is kept as its logarithm."""
    known = weights.get(key)
    if known is None:
        weights[key] = log_weight
    else:
        weights[key] = max(known, log_weight) + log1p(exp(-abs(known - log_weight)))


class _Work:
    def __init__(self, evidence: Evidence) -> None:
        self.e = evidence
        self.sight = Sight(evidence)
        self.prior = np.log(evidence.prior + 1e-300)
        self.entries: dict[frozenset[int], float] = {}
        """log weight of each set present now (empty set: healthy)."""
        self.start: dict[frozenset[int], float] = {}
        """log weight of each set present at the start."""
        self.weights: dict[tuple[frozenset[int], frozenset[int]], float] = {}
        """log weight of both together."""

    # ------------------------------------------------------------ single causes

    def add_singles(self) -> None:
        sight = self.sight
        rows = sight.rows * sight.times[:, None]
        healthy = np.log(max(self.e.healthy, 1e-300)) + rows[:, 0].sum()
        self._add(frozenset(), frozenset(), float(healthy))
        sums = np.zeros((sight.periods, 1 + sight.count))
        np.add.at(sums, sight.period, rows)
        for took, chance in sight.patterns():
            total = self.prior + chance
            for period in sight.answered:
                total = total + np.where(sight.gone(took, period), sums[period, 0], sums[period, 1:])
            gone = sight.gone(took, sight.periods - 1)
            likely = np.nonzero(total > total.max() - NEGLIGIBLE)[0]
            if not self.e.treatments:  # nothing is added up: all at once
                alone = [frozenset((i,)) for i in likely.tolist()]
                weights = total[likely].tolist()
                self.entries.update(zip(alone, weights, strict=True))
                self.start.update(zip(alone, weights, strict=True))
                self.weights.update(zip(zip(alone, alone, strict=True), weights, strict=True))
                continue
            for i in likely:
                self._add(frozenset([int(i)]), frozenset() if gone[i] else frozenset([int(i)]), float(total[i]))

    def _add(self, start: frozenset[int], now: frozenset[int], log_weight: float) -> None:
        _more(self.weights, (start, now), log_weight)
        _more(self.entries, now, log_weight)
        _more(self.start, start, log_weight)

    def misreads_of_best(self) -> int:
        """Fewest misread answers that any likely set needs; what comes and goes counts as one, for it would
        have to be there and gone as it suits."""
        likely = self._likely(LIKELY)
        if not likely:
            return 0
        misread = self.sight.misread(self.sight.told(likely, self.sight.all_took)) @ self.sight.times
        return int((misread + [bool(members & self.e.fickle) for members in likely]).min())

    def _likely(self, most: int, healthy: bool = False) -> list[frozenset[int]]:
        """The likeliest sets present at the start."""
        found = nlargest(most, ((w, s) for s, w in self.start.items() if s or healthy), key=itemgetter(0))
        return [s for _, s in found]

    # ------------------------------------------------------------ several causes

    def add_more(self) -> None:
        """Two causes, and more where they are not enough: for one answer a slip is likelier than a third fault, so
        the network is not solved for that."""
        self.add_sets(2)
        if self.misreads_of_best() > 0:
            self.add_mended()
        solved = int(any(finding.together is not None for finding in self.e.findings))
        for size in range(3, self.e.most + 1):
            if self.misreads_of_best() > solved:
                self.add_sets(size)

    def add_sets(self, size: int) -> None:
        """Sets of `size` causes: weighed for causes that stand for those that look alike, then for each."""
        smaller = [s for s in self._likely(len(self.start)) if len(s) == size - 1]
        self._add_standing(*propose(self.sight, self.prior, size, smaller))

    def add_mended(self) -> None:
        """The likeliest sets with one cause more, where the network says what several show together."""
        if any(finding.together is not None for finding in self.e.findings):
            found = mended(self.sight, self.prior, self._likely(LIKELY))
            self._add_standing([s for s in found if s not in self.start and len(s) <= self.e.most], [])

    def _add_standing(self, solved: Sequence[frozenset[int]], listed: Sequence[frozenset[int]]) -> None:
        standing = [*solved, *listed]
        if not standing:
            return
        self.sight.solve(solved)
        totals = self._totals(standing)
        self._solve_the_first(standing, totals, _SOLVED, set(solved))
        sets, every = self._for_those_alike(standing, totals)
        self._solve_the_first(sets, every, _EXACT, set())
        for (took, _), row in zip(self.sight.patterns(), every, strict=True):
            for members_of, total in zip(sets, row, strict=True):
                self._add(members_of, self.sight.left(members_of, took), float(total))

    def _for_those_alike(
        self, standing: Sequence[frozenset[int]], totals: Floats
    ) -> tuple[list[frozenset[int]], Floats]:
        """The likeliest sets when each cause stands for itself again, and their (patterns, sets) log weights:
        those of the set that stands for them, but for what is rarer about their own causes."""
        alike: dict[int, np.ndarray] = {}
        for first in {i for s in standing for i in s}:
            same = np.nonzero(self.sight.stands_for == first)[0]
            alike[first] = same[np.argsort(-self.prior[same], kind="stable")]
        rows, less, places = [], [], []
        for row, members in enumerate(standing):
            rarer = np.zeros(1)
            for i in sorted(members):
                rarer = np.add.outer(rarer, self.prior[alike[i]] - self.prior[i]).ravel()
            frequent = np.argsort(-rarer, kind="stable")[:_LISTED]
            rows.append(np.full(len(frequent), row))
            less.append(rarer[frequent])
            places.append(frequent)
        row_of, place_of = np.concatenate(rows), np.concatenate(places)
        every = totals[:, row_of] + np.concatenate(less)
        sets, kept = [], []
        for i in np.argsort(-np.logaddexp.reduce(every, axis=0), kind="stable")[:_LISTED]:
            ordered = sorted(standing[row_of[i]])
            chosen = np.unravel_index(int(place_of[i]), [len(alike[m]) for m in ordered])
            found = frozenset(int(alike[m][c]) for m, c in zip(ordered, chosen, strict=True))
            if found not in self.start:
                sets.append(found)
                kept.append(int(i))
        return sets, every[:, kept]

    def _solve_the_first(
        self, sets: Sequence[frozenset[int]], totals: Floats, most: int, solved: set[frozenset[int]]
    ) -> None:
        """Solve the likeliest `most` and put their weights into `totals`, until the likeliest are all solved:
        what only an estimate puts first must not crowd out what is right."""
        for _ in range(_ROUNDS):
            order = np.argsort(-np.logaddexp.reduce(totals, axis=0), kind="stable")[:most]
            new = [int(i) for i in order if sets[i] not in solved]
            if not new:
                return
            self.sight.solve([sets[i] for i in new])
            totals[:, new] = self._totals([sets[i] for i in new])
            solved.update(sets[i] for i in new)

    def _prior_of(self, members: frozenset[int] | Sequence[int]) -> float:
        return float(self.prior[list(members)].sum() + (len(members) - 1) * _LOG_RATE)

    def _totals(self, sets: Sequence[frozenset[int]]) -> Floats:
        """(patterns, sets) log weight of each, prior and course of the remedies included."""
        prior = np.array([self._prior_of(s) for s in sets])
        chance = np.array([[chance] for _, chance in self.sight.patterns()])
        total: Floats = prior + chance + Courses(self.sight, sets).sums()
        return total

    # ------------------------------------------------------------ result

    def posterior(self, several: bool) -> Posterior:
        outside = (np.log(self.e.outside) if self.e.outside > 0 else IMPOSSIBLE) + self.sight.flat
        logs = np.array([*self.entries.values(), outside])
        top = logs.max()
        odd, contradictions = self._oddities()
        if top < 0.5 * IMPOSSIBLE:
            raise ContradictionError(contradictions)
        chances = np.exp(logs - top)
        chances /= chances.sum()
        present = np.zeros(self.sight.count)
        entries = list(self.entries)
        owner = [row for row, members in enumerate(entries) for _ in members]
        np.add.at(present, [i for members in entries for i in members], chances[owner])
        kept = np.nonzero(chances[:-1] > KEPT)[0]
        kept = kept[np.argsort(-chances[kept], kind="stable")].tolist()
        sets = [(entries[row], float(chances[row])) for row in kept if entries[row]]
        healthy = float(chances[list(self.entries).index(frozenset())])
        likeliest = max(self.start, key=lambda s: self.start[s])
        unexplained = tuple(self._seqs(self._unexplained(likeliest))) if likeliest else ()
        starts = tuple((s, self.start[s]) for s in self._likely(_LISTED, healthy=True))
        return Posterior(
            tuple(sets), present, healthy, float(chances[-1]), unexplained, several, odd, contradictions, starts=starts
        )

    def _seqs(self, mask: np.ndarray) -> list[int]:
        return [number for f in np.nonzero(mask)[0] for number in self.e.findings[int(f)].numbers]

    def _misread(self, starts: Sequence[frozenset[int]]) -> np.ndarray:
        """(sets, findings) what each set needs to be misread in the course of the remedies that is likeliest
        for it."""
        chance = np.array([[chance] for _, chance in self.sight.patterns()])
        courses = Courses(self.sight, starts)
        return self.sight.misread(courses.told((courses.sums() + chance).argmax(axis=0)))

    def _unexplained(self, likeliest: frozenset[int]) -> np.ndarray:
        """(findings,) True where the likeliest set needs a misread answer and that is likelier than a further
        fault: of many that would explain it each may be less likely, and all together likelier."""
        further = [s for s in self._likely(_LISTED) if s > likeliest]
        misread = self._misread([likeliest, *further])
        weight = np.exp(np.array([self.start[s] - self.start[likeliest] for s in further]))
        out: np.ndarray = misread[0] & (weight @ ~misread[1:] <= 1.0)
        return out

    def _oddities(self) -> tuple[tuple[Odd, ...], tuple[frozenset[int], ...]]:
        """Findings that were likely misread, and which contradict each other."""
        starts = self._likely(_STARTS, healthy=True)
        if not self.e.findings or not starts:
            return (), ()
        misread = self._misread(starts)
        weight = np.array([self.start[s] for s in starts])
        weight = np.exp(weight - weight.max())
        chance = weight @ misread / weight.sum()
        found = [
            Odd(number, min(float(p), 1.0))
            for f, p in zip(self.e.findings, chance, strict=True)
            if p >= ODD_FROM
            for number in f.numbers
        ]
        found.sort(key=lambda odd: (-odd.p, odd.seq))
        families = smallest(frozenset(np.nonzero(row)[0].tolist()) for row in misread)
        groups: list[frozenset[int]] = []
        if families[0] and len(starts) < len(self.start):  # an unlikely set may still explain everything
            every = self._misread(self._likely(len(self.start), healthy=True))
            families = smallest(frozenset(np.nonzero(row)[0].tolist()) for row in every)
        if families[0]:
            hitting = minimal_hitting_sets(families[:_FAMILIES], _GROUP)
            groups = each_of([self.e.findings[f].numbers for f in found] for found in hitting)
        return tuple(found), tuple(groups[:GROUPS])
