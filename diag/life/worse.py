"""Whether a rule does harm in a recorded job: the remedy that cured, with the rule and without it.

Rules alone are weighed, as on a loom that nobody has described: there every rule counts in full. Knows nothing of
states.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from diag.job.state import replay
from diag.reason.reasoner import Beliefs, Reasoner
from diag.replay.jobs import Job
from diag.talk.findings import findings_of

__all__ = ["Harm", "harm_of"]

_LEFT, _COUNTS = 0.5, 0.1
"""A right remedy with a chance that counts is harmed where it keeps less than this share of it; common practice, no
source."""


@dataclass(frozen=True)
class Harm:
    """A rule's harm before one remedy of a job: the remedy's chance and place (1 the likeliest) with the rule and
    without it."""

    job: str
    remedy: str
    p_with: float
    p_without: float
    place_with: int
    place_without: int

    @property
    def real(self) -> bool:
        """Whether another remedy leads in place of the right one, or the right one's chance more than halves."""
        displaced = self.place_without == 1 < self.place_with and self.p_with < self.p_without
        return displaced or self.p_with < _LEFT * self.p_without >= _LEFT * _COUNTS


def harm_of(reasoner: Reasoner, rule_id: str, jobs: Sequence[Job]) -> list[Harm]:
    """What the rule changes before each remedy of jobs of this vehicle. Raises DiagError where the rule engine
    fails."""
    lesser = reasoner.without(rule_id)
    found = []
    for job in jobs:
        findings, treated, proving, _ = findings_of(reasoner, replay(job.records))
        for cure in treated:
            if cure.remedy is None:
                continue
            before = [finding for finding in findings if finding.period < cure.period]
            done = [one for one in treated if one.period < cure.period]
            places = [
                _place(one.beliefs(before, done, proving=proving is not None), cure.remedy)
                for one in (reasoner, lesser)
            ]
            found.append(Harm(job.name, cure.remedy, places[0][0], places[1][0], places[0][1], places[1][1]))
    return found


def _place(beliefs: Beliefs, remedy: str) -> tuple[float, int]:
    """Chance and place of a remedy."""
    names = [name for name, _ in beliefs.ranking]
    return dict(beliefs.ranking).get(remedy, 0.0), names.index(remedy) + 1 if remedy in names else len(names) + 1
