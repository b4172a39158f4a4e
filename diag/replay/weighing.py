"""What is believed at a point of a job, with what was worked out for other points and jobs remembered.

The same answers under the same knowledge come again and again; what is remembered never changes what comes out.
Knows findings and beliefs; nothing of records or files.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from diag.reason.alone import alone
from diag.reason.belief import weigh
from diag.reason.posterior import Posterior
from diag.reason.reasoner import Reasoner, Treated
from diag.reason.steps import Finding, Value

__all__ = ["Believed", "Weighing"]

Said = tuple[tuple[str, Value | None, str | None, int, int], ...]
"""Findings without their place in a journal: step, answer, complaint, period, and which was given before which."""
_Key = tuple[Said, tuple[Treated, ...], bool]
_REMEMBERED = 20_000

_CAUSES = 8
"""Likeliest causes that are kept."""
_LEAST = 0.001
"""What is less likely is not kept."""
_DIGITS = 4


@dataclass(frozen=True)
class Believed:
    """Chances to four digits: `ranking` of remedies that are needed, `causes` the likeliest present, both likeliest
    first; `healthy`: that nothing is wrong."""

    ranking: tuple[tuple[str, float], ...]
    causes: tuple[tuple[str, float], ...]
    healthy: float

    @property
    def leader(self) -> tuple[str, float] | None:
        """The likeliest remedy."""
        return self.ranking[0] if self.ranking else None

    def place(self, remedy: str) -> tuple[float, int]:
        """Chance and rank of a remedy, from 1; 0 and 0 where it is not needed at all."""
        for rank, (name, p) in enumerate(self.ranking, start=1):
            if name == remedy:
                return p, rank
        return 0.0, 0


class Weighing:
    """Beliefs of one vehicle for many jobs.

    Where one cause explains everything, what was worked out for one job serves all. Where several are at work the
    network is solved for them, and what is solved beside a set moves its last digits: after `begin` that is worked
    out anew, so that a job, or a row of jobs, comes out the same whatever was replayed before.
    """

    def __init__(self, reasoner: Reasoner) -> None:
        self.reasoner = reasoner
        self._alone: dict[_Key, Believed] = {}
        self._several: dict[_Key, Believed] = {}

    def begin(self) -> None:
        """Forget what hangs on the jobs replayed so far."""
        self._several.clear()
        self.reasoner.chances.forget_sets()

    def believed(self, findings: Sequence[Finding], treated: Sequence[Treated], *, proving: bool) -> Believed:
        """What is believed. Raises DiagError where the rule engine fails."""
        key = (said(findings), tuple(treated), proving)
        known = self._alone.get(key) or self._several.get(key)
        if known is None:
            evidence, _ = self.reasoner.evidence(findings, treated, proving=proving)
            posterior = alone(evidence)
            memory = self._alone
            if posterior is None:
                posterior, memory = weigh(evidence), self._several
            known = memory[key] = self.short(posterior)
            while len(self._alone) > _REMEMBERED:
                del self._alone[next(iter(self._alone))]
        return known

    def short(self, posterior: Posterior) -> Believed:
        """The part of what is believed that is kept."""
        present = posterior.present
        order = np.argsort(-present, kind="stable")[:_CAUSES].tolist()
        causes = [(self.reasoner.causes[i].id, float(present[i])) for i in order if present[i] >= _LEAST]
        ranking = [(remedy, p) for remedy, p in self.reasoner.ranking(posterior) if p >= _LEAST]
        return Believed(_rounded(ranking), _rounded(causes), round(float(posterior.healthy), _DIGITS))


def said(findings: Sequence[Finding]) -> Said:
    """The same for two jobs in which the same was found in the same order."""
    rank = {seq: place for place, seq in enumerate(sorted(finding.seq for finding in findings))}
    return tuple((f.step.id if f.step is not None else "", f.value, f.symptom, f.period, rank[f.seq]) for f in findings)


def _rounded(pairs: Sequence[tuple[str, float]]) -> tuple[tuple[str, float], ...]:
    """To four digits; what is equal then stands by name, so that no last digit of a sum decides an order."""
    found = [(name, min(1.0, round(p, _DIGITS))) for name, p in pairs]
    return tuple(sorted(found, key=lambda pair: (-pair[1], pair[0])))
