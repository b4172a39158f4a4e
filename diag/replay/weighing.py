"""What is believed at a point of a job, with what was worked out for other points and jobs remembered.

The same answers under the same knowledge come again and again; what is remembered never changes what comes out.
Knows findings and beliefs; nothing of records or files.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from diag.reason.reasoner import Beliefs, Reasoner, Treated
from diag.reason.steps import Finding

__all__ = ["Believed", "Weighing"]

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
    """Beliefs of one vehicle for many jobs."""

    def __init__(self, reasoner: Reasoner) -> None:
        self.reasoner = reasoner

    def believed(self, findings: Sequence[Finding], treated: Sequence[Treated], *, proving: bool) -> Believed:
        """What is believed. Raises DiagError where the rule engine fails."""
        return self.short(self.reasoner.beliefs(findings, treated, proving=proving))

    def short(self, beliefs: Beliefs) -> Believed:
        """The part of beliefs that is kept."""
        present = beliefs.posterior.present
        order = np.argsort(-present, kind="stable")[:_CAUSES].tolist()
        causes = [(self.reasoner.causes[i].id, float(present[i])) for i in order if present[i] >= _LEAST]
        ranking = [(remedy, p) for remedy, p in beliefs.ranking if p >= _LEAST]
        return Believed(_rounded(ranking), _rounded(causes), round(float(beliefs.posterior.healthy), _DIGITS))


def _rounded(pairs: Sequence[tuple[str, float]]) -> tuple[tuple[str, float], ...]:
    """To four digits; what is equal then stands by name, so that no last digit of a sum decides an order."""
    found = [(name, min(1.0, round(p, _DIGITS))) for name, p in pairs]
    return tuple(sorted(found, key=lambda pair: (-pair[1], pair[0])))
