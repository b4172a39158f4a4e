"""Signs that have nothing to do with each other are problems of their own, weighed apart and put together.

Three faults in three circuits would be thousands of sets; apart they are three short lists. Two signs stay
together while a cause that both share is nearly as likely as one for each. Knows rows of chances; nothing of
circuits or questions.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from diag.circuit.network import Floats
from diag.reason.posterior import Odd, Posterior
from diag.reason.sight import Sight

__all__ = ["ODD_FROM", "Part", "split", "together"]

_SHARED = 5.0
"""Two signs belong together unless one cause for both is less likely than two by more than this (log)."""
_SETS, _STARTS, _KEPT = 160, 60, 1e-5
_LIE = 0.5
ODD_FROM = 0.25
"""A finding is odd from this chance that it was misread."""
Weights = Mapping[tuple[frozenset[int], frozenset[int]], float]
"""Log weight of causes present at the start and of those of them present now."""


@dataclass(frozen=True)
class Part:
    """One problem by itself: log weights as if nothing else were wrong, what was believed then, and the log
    chance of the sound answers that every problem is weighed with; `signs`: seqs of its own."""

    weights: Weights
    alone: Posterior
    sound: float
    signs: tuple[int, ...] = ()

    def with_signs(self, signs: tuple[int, ...]) -> Part:
        """The same problem of other answers that say the same, in the same order."""
        of = dict(zip(self.signs, signs, strict=True))
        odd = sorted((Odd(of.get(o.seq, o.seq), o.p) for o in self.alone.odd), key=lambda o: (-o.p, o.seq))
        groups = (frozenset(of.get(seq, seq) for seq in group) for group in self.alone.contradictions)
        unexplained = tuple(of.get(seq, seq) for seq in self.alone.unexplained)
        contradictions = tuple(sorted(groups, key=lambda g: (len(g), sorted(g))))
        alone = replace(self.alone, odd=tuple(odd), unexplained=unexplained, contradictions=contradictions)
        return replace(self, alone=alone, signs=signs)


def split(sight: Sight, log_prior: Floats, log_rate: float) -> list[list[int]]:
    """Indices of findings that a sound vehicle does not explain, by problem. `log_rate`: of a further fault."""
    odd = np.nonzero(~sight.explained[:, 0])[0]
    if len(odd) < 2:
        return [odd.tolist()]
    here = np.array([~sight.gone(sight.all_took, int(period)) for period in sight.period])  # (findings, causes)
    rows = np.where(here, sight.rows[:, 1:], sight.rows[:, :1])
    if not (sight.explained[odd, 1:] & here[odd]).any(axis=1).all():
        return [odd.tolist()]  # what no cause explains alone may be several at work together
    usual = np.delete((rows - sight.rows[:, :1]) * sight.times[:, None], odd, axis=0).sum(axis=0) + log_prior
    own = rows[odd] + usual[None, :]
    best = own.max(axis=1)
    able = np.where(sight.explained[odd, 1:] & here[odd], 0.0, -np.inf)
    problem = np.arange(len(odd))
    for i in range(len(odd)):
        for k in range(i):
            shared = float((own[i] + rows[odd[k]] + able[i] + able[k]).max())
            if shared > best[i] + best[k] + log_rate - _SHARED:
                problem[problem == problem[i]] = problem[k]
    return [odd[problem == name].tolist() for name in dict.fromkeys(problem.tolist())]


def together(parts: Sequence[Part], healthy: float, log_rate: float, outside: float, causes: int) -> Posterior:
    """All problems at once. `outside`: log weight of what is not in the model, on all findings; `healthy` prior.

    Faults of different problems are independent but for the rate of further faults, which is a factor for each
    fault and so belongs to its problem.
    """
    parts = [_beside(part, healthy, log_rate) for part in parts]
    by_part = [_chances(part) for part in parts]
    lies = [_misread(part, total) for part, (_, total) in zip(parts, by_part, strict=True)]
    misread = float(np.prod(lies))  # with no fault at all there is no rate of further ones
    none = misread * healthy * float(np.exp(log_rate))
    rest = 1 - misread + none
    model = sum(total for _, total in by_part) + parts[0].sound - log_rate + _log_of(rest)
    top = max(model, outside)
    inside = float(np.exp(model - top) / (np.exp(model - top) + np.exp(outside - top)))
    listed: dict[frozenset[int], float] = {frozenset(): 1.0}
    absent = np.ones(causes)
    problems = []
    for part, (chances, _) in zip(parts, by_part, strict=True):
        present = np.zeros(causes)
        for members, p in chances.items():
            present[list(members)] += p
        absent *= 1 - present
        problems.append(
            _posterior(part.alone, chances, present, chances.get(frozenset(), 0.0), 1 - inside, (), part.alone.starts)
        )
        joined: dict[frozenset[int], float] = {}
        for before, p in listed.items():
            for members, q in list(chances.items())[:_STARTS]:
                joined[before | members] = joined.get(before | members, 0.0) + p * q
        listed = dict(sorted(joined.items(), key=lambda pair: (-pair[1], sorted(pair[0])))[:_SETS])
    well = float(np.prod([chances.get(frozenset(), 0.0) for chances, _ in by_part]))
    well = max(0.0, well - misread + none) / max(rest, 1e-300)
    ill = {members: p for members, p in listed.items() if members}
    scale = (1 - well) / max(sum(ill.values()), 1e-300)
    every = {members: p * scale * inside for members, p in ill.items()}
    alone = _answers(parts, lies)
    present = (1 - absent) / max(rest, 1e-300) * inside
    starts = _starts(parts, healthy, log_rate)
    return _posterior(alone, every, present, well * inside, 1 - inside, tuple(problems), starts)


def _answers(parts: Sequence[Part], lies: Sequence[float]) -> Posterior:
    """What is odd or unexplained about the answers. `lies`: chance that a problem is none, its signs misread."""
    unexplained: set[int] = set()
    odd: dict[int, float] = {}
    for part, lie in zip(parts, lies, strict=True):
        unexplained.update(part.signs if lie > _LIE else part.alone.unexplained)
        own = {found.seq: found.p for found in part.alone.odd}
        for seq in {*own, *(part.signs if lie >= ODD_FROM else ())}:
            p = own.get(seq, 0.0)
            odd[seq] = max(odd.get(seq, 0.0), lie + (1 - lie) * p if seq in part.signs else p)
    ordered = tuple(Odd(seq, p) for seq, p in sorted(odd.items(), key=lambda pair: (-pair[1], pair[0])))
    groups = tuple(dict.fromkeys(group for part in parts for group in part.alone.contradictions))
    return Posterior((), parts[0].alone.present, 0.0, 0.0, tuple(sorted(unexplained)), True, ordered, groups)


def _starts(parts: Sequence[Part], healthy: float, log_rate: float) -> tuple[tuple[frozenset[int], float], ...]:
    """The likeliest sets present at the start, and their log weight."""
    listed: dict[frozenset[int], float] = {frozenset(): parts[0].sound}
    for part in parts:
        own: dict[frozenset[int], float] = {}
        for (start, _), weight in part.weights.items():
            own[start] = float(np.logaddexp(own.get(start, -np.inf), weight))
        likely = sorted(own.items(), key=lambda pair: (-pair[1], sorted(pair[0])))[:_STARTS]
        joined = {before | start: w + v for before, w in listed.items() for start, v in likely}
        listed = dict(sorted(joined.items(), key=lambda pair: (-pair[1], sorted(pair[0])))[:_SETS])
    none = _log_of(healthy)
    found = [(start, weight + (none if not start else -log_rate)) for start, weight in listed.items()]
    return tuple(sorted(found, key=lambda pair: (-pair[1], sorted(pair[0]))))


def _beside(part: Part, healthy: float, log_rate: float) -> Part:
    """The same with weights of what it adds to the other problems: a further fault, or none."""
    none = _log_of(healthy)
    weights = {
        (start, left): weight - part.sound + (log_rate if start else -none)
        for (start, left), weight in part.weights.items()
    }
    return replace(part, weights=weights)


def _log_of(chance: float) -> float:
    return float(np.log(max(chance, 1e-300)))


def _chances(part: Part) -> tuple[dict[frozenset[int], float], float]:
    """Chance of the causes present now, nothing included; log of the sum of all weights."""
    now: dict[frozenset[int], float] = {}
    for (_, left), weight in part.weights.items():
        now[left] = float(np.logaddexp(now.get(left, -np.inf), weight))
    total = float(np.logaddexp.reduce(list(now.values())))
    chances = {members: float(np.exp(weight - total)) for members, weight in now.items()}
    kept = sorted(chances.items(), key=lambda pair: (-pair[1], sorted(pair[0])))
    return {members: p for members, p in kept if p > _KEPT or not members}, total


def _misread(part: Part, total: float) -> float:
    """Chance that nothing was ever wrong there."""
    own = [weight for (start, _), weight in part.weights.items() if not start]
    return float(np.exp(np.logaddexp.reduce(own) - total)) if own else 0.0


def _posterior(
    like: Posterior,
    chances: Mapping[frozenset[int], float],
    present: Floats,
    healthy: float,
    outside: float,
    problems: tuple[Posterior, ...] = (),
    starts: tuple[tuple[frozenset[int], float], ...] = (),
) -> Posterior:
    sets = sorted(
        ((members, p) for members, p in chances.items() if members and p > _KEPT),
        key=lambda pair: (-pair[1], sorted(pair[0])),
    )
    return Posterior(
        tuple(sets),
        present,
        healthy,
        outside,
        like.unexplained,
        like.several,
        like.odd,
        like.contradictions,
        problems,
        starts,
    )
