"""What each set of causes says of each finding, whichever remedies took.

Arrays over findings and causes; knows nothing of priors, of which sets are worth weighing, or of
circuits: where a network can say what several causes show together, it is asked through `Judged`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import product

import numpy as np

from diag.circuit.network import Floats

__all__ = ["EXPLAINS", "IMPOSSIBLE", "PATTERNS", "Evidence", "Judged", "Sets", "Sight", "Took", "Treatment"]

IMPOSSIBLE = -1e6
"""Log chance of what cannot be: finite, so that differences stay numbers, and below any sum of real ones."""
EXPLAINS = 0.12
"""A finding is explained by a cause that gives it at least this share of its best chance."""
_TOUCHES = 0.05
PATTERNS = 5
"""So many treatments, the last ones, may not have taken; those before are believed."""
Took = tuple[bool, ...]
Sets = Sequence[frozenset[int]]


@dataclass(frozen=True)
class Judged:
    """One finding as chances: `rows` (1 + causes,), `flat` for what is not in the model. `moves` (causes,)
    True where a cause changes what is there to find, though perhaps not how likely this answer is."""

    seq: int
    period: int
    rows: Floats
    flat: float
    together: Callable[[Sequence[frozenset[int]]], Floats] | None = None
    """Exact chance for sets of causes, where the network can say."""
    moves: np.ndarray | None = None
    seqs: tuple[int, ...] = ()
    """All that say the same, where one stands for several; empty: it alone."""

    @property
    def numbers(self) -> tuple[int, ...]:
        """Seqs of all that it stands for."""
        return self.seqs or (self.seq,)


@dataclass(frozen=True)
class Treatment:
    """A remedy carried out: it begins `period`, cures `causes` (None: whatever was changed), and takes
    with chance `takes`."""

    period: int
    causes: frozenset[int] | None
    takes: float = 0.95


@dataclass(frozen=True)
class Evidence:
    """All that was found. `prior` (causes,) sums to 1; `healthy` and `outside` are priors relative to it.
    `prepare` is told, by index of finding, for which sets `together` will be asked, so that all are solved
    side by side. `most` causes are weighed together (1: they exclude each other). `fickle`: causes that come
    and go, which fit any answer and explain none."""

    findings: tuple[Judged, ...]
    treatments: tuple[Treatment, ...]
    prior: Floats
    healthy: float
    outside: float
    prepare: Callable[[Mapping[int, Sequence[frozenset[int]]]], None] | None = None
    most: int = 3
    fickle: frozenset[int] = frozenset()


class Sight:
    """Logs of the findings' chances. `rows` (findings, 1 + causes) of one answer, `times` (findings,) how often it was
    given, `touch` (findings, causes) where a cause
    makes the answer likelier or less likely, `moves` where it changes what is found at all, `explained`
    (findings, 1 + causes)."""

    def __init__(self, evidence: Evidence) -> None:
        self.e = evidence
        self.count = len(evidence.prior)
        self.periods = 1 + max(
            [f.period for f in evidence.findings] + [t.period for t in evidence.treatments], default=0
        )
        different = {id(f.rows): f.rows for f in evidence.findings}  # what is answered again has its row only once
        place = {name: n for n, name in enumerate(different)}
        chances = np.array(list(different.values()), dtype=float).reshape(-1, 1 + self.count)
        self._different = np.where(chances > 0, np.log(np.maximum(chances, 1e-300)), IMPOSSIBLE)
        self.rows = self._different[[place[id(f.rows)] for f in evidence.findings]]
        self.times = np.array([len(f.numbers) for f in evidence.findings], dtype=int)
        self.flat = float(
            sum(len(f.numbers) * (np.log(f.flat) if f.flat > 0 else IMPOSSIBLE) for f in evidence.findings)
        )
        self.period = np.array([f.period for f in evidence.findings], dtype=int)
        self.answered: list[int] = np.unique(self.period).tolist()
        # what the network computes and no single cause makes likelier than chance may be several at work
        chance = [np.log(f.flat) if f.together is not None and f.flat > 0 else IMPOSSIBLE for f in evidence.findings]
        self._least = np.maximum(self.rows.max(axis=1, initial=IMPOSSIBLE), np.array(chance)) + np.log(EXPLAINS)
        self.explained = self.rows >= self._least[:, None]
        self.touch = np.abs(self.rows[:, 1:] - self.rows[:, :1]) > _TOUCHES
        self.moves = self.touch.copy()
        for f, finding in enumerate(evidence.findings):
            if finding.moves is not None:
                self.moves[f] |= finding.moves
        # what no single cause shows may be what several show of which none alone changes anything there
        unheard = self.rows.max(axis=1, initial=IMPOSSIBLE) < np.array(chance)
        self._joint = self.moves | unheard[:, None]
        self.all_took: Took = (True,) * len(evidence.treatments)
        self._together: dict[tuple[int, frozenset[int]], float] = {}
        self._asked: set[int] = set()
        self._gone: dict[Took, np.ndarray] = {}

    @cached_property
    def stands_for(self) -> np.ndarray:
        """(causes,) of the causes that no finding and no remedy tells apart, the most frequent."""
        cured = [self._mask(t.causes) for t in self.e.treatments if t.causes is not None]
        marks = np.round(np.vstack([self._different[:, 1:], *(mask[None, :] for mask in cured)]), 9) + 0.0
        stands = np.arange(self.count)
        if len(marks):
            groups: dict[bytes, int] = {}
            group = [groups.setdefault(column.tobytes(), len(groups)) for column in np.ascontiguousarray(marks.T)]
            order = np.argsort(-self.e.prior, kind="stable")
            first = np.full(self.count, -1)
            for i in order:
                if first[group[i]] < 0:
                    first[group[i]] = i
            stands = first[group]
        return stands

    # ------------------------------------------------------------ remedies

    def patterns(self) -> Iterator[tuple[Took, float]]:
        """Which of the treatments took, with log chance; all but the last few are believed."""
        treatments = self.e.treatments
        free = treatments[-PATTERNS:]
        for took in product((True, False), repeat=len(free)):
            chance = sum(np.log(t.takes if yes else 1 - t.takes) for t, yes in zip(free, took, strict=True))
            yield (True,) * (len(treatments) - len(free)) + took, float(chance)

    def gone(self, took: Took, period: int) -> np.ndarray:
        """(causes,) True where a cause is gone in a period."""
        if took not in self._gone:
            gone = np.zeros((self.periods, self.count), dtype=bool)
            for treatment, yes in zip(self.e.treatments, took, strict=True):
                if yes:
                    causes = slice(None) if treatment.causes is None else list(treatment.causes)
                    gone[treatment.period, causes] = True
            self._gone[took] = np.logical_or.accumulate(gone, axis=0)
        found: np.ndarray = self._gone[took][period]
        return found

    def left(self, start: frozenset[int], took: Took) -> frozenset[int]:
        """What is still present at the end."""
        gone = self.gone(took, self.periods - 1)
        return frozenset(i for i in start if not gone[i])

    def _mask(self, causes: frozenset[int]) -> np.ndarray:
        mask = np.zeros(self.count, dtype=bool)
        mask[list(causes)] = True
        return mask

    # ------------------------------------------------------------ what sets say

    def told(self, sets: Sequence[frozenset[int]], took: Took) -> Floats:
        """(sets, findings) log chance of each finding with exactly these causes present at the start."""
        members = self.members(sets)
        out = np.zeros((len(self.rows), len(sets)))
        for period in self.answered:
            here = np.nonzero(self.period == period)[0]
            out[here] = self.told_in(here, self.gone(took, period), members)
        told: Floats = out.T
        return told

    def told_in(self, here: np.ndarray, gone: np.ndarray, members: np.ndarray) -> Floats:
        """(findings, sets) the same of the findings `here`, by index, made while the causes in `gone` were gone;
        `members` as of `members`."""
        own = np.full((len(here), self.count + 1), -np.inf)
        np.copyto(own[:, :-1], self.rows[here, 1:], where=self.touch[here] & ~gone)
        out = own[:, members[:, 0]]
        for column in members.T[1:]:
            np.maximum(out, own[:, column], out=out)
        none = np.isneginf(out)
        np.copyto(out, self.rows[here, :1], where=none)
        asked = np.nonzero([int(f) in self._asked for f in here])[0]
        if len(asked):
            joint = np.zeros((len(asked), self.count + 1), dtype=bool)
            joint[:, :-1] = self._joint[here[asked]] & ~gone
            on = joint[:, members]
            for a, s in np.argwhere(on.sum(axis=2) > 1):
                known = self._known(int(here[asked[a]]), frozenset(members[s][on[a, s]].tolist()))
                if known is not None:
                    out[asked[a], s] = known
        return out

    def misread(self, told: Floats) -> np.ndarray:
        """(sets, findings) True where a set needs the finding to be misread."""
        misread: np.ndarray = told < self._least[None, :]
        return misread

    def members(self, sets: Sequence[frozenset[int]]) -> np.ndarray:
        """(sets, most members) the causes of each in rising order, filled up with one that there is not."""
        members = np.full((len(sets), max([1, *(len(s) for s in sets)])), self.count)
        for row, found in enumerate(sets):
            members[row, : len(found)] = sorted(found)
        return members

    def _on(self, mask: np.ndarray, sets: Sequence[frozenset[int]], took: Took) -> tuple[np.ndarray, np.ndarray]:
        """(findings, sets, members) True where `mask` holds for a member that is not cured; the (sets, members)."""
        members = self.members(sets)
        on = np.zeros((len(self.rows), *members.shape), dtype=bool)
        for period in self.answered:
            here = self.period == period
            there = mask[here] & ~self.gone(took, period)
            on[here] = np.concatenate([there, np.zeros((len(there), 1), bool)], axis=1)[:, members]
        return on, members

    def _known(self, f: int, touching: frozenset[int]) -> float | None:
        known = self._together.get((f, touching))
        if known is None:
            known = self._together.get((f, frozenset(int(self.stands_for[i]) for i in touching)))
        return known

    def solve(self, sets: Sequence[frozenset[int]]) -> None:
        """Ask the network what these sets show, were all remedies to take or none."""
        wanted: dict[int, dict[frozenset[int], None]] = {}
        able = np.array([finding.together is not None for finding in self.e.findings], dtype=bool)
        if not sets or not able.any():
            return
        for took in {self.all_took, (False,) * len(self.all_took)}:
            on, members = self._on(self._joint, sets, took)
            for f, s in np.argwhere((on.sum(axis=2) > 1) & able[:, None]):
                touching = frozenset(members[s][on[f, s]].tolist())
                if (int(f), touching) not in self._together:
                    wanted.setdefault(int(f), {})[touching] = None
        if wanted and self.e.prepare is not None:
            self.e.prepare({f: list(found) for f, found in wanted.items()})
        for f, found in wanted.items():
            together = self.e.findings[f].together
            assert together is not None
            for touching, chance in zip(found, together(list(found)), strict=True):
                self._asked.add(f)
                self._together[f, touching] = float(np.log(chance)) if chance > 0 else IMPOSSIBLE
