"""Answers that say the same weigh by their number: one row of chances for all of them, and back to the answers.

Knows findings as rows; nothing of what sets of causes say of them.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from heapq import nsmallest
from itertools import product

import numpy as np

from diag.reason.sight import EXPLAINS, PATTERNS, Evidence, Judged, Sets

__all__ = ["GROUPS", "alike", "counted", "each_of", "some_of"]

GROUPS = 12
"""So many groups of answers are told at most."""


def counted(evidence: Evidence) -> Evidence:
    """The same evidence with one finding for all that have the same row and were answered while the same causes may
    have been there, in the order in which each came first. Answers have the same row where it is one object. What a
    sound vehicle does not show stays as it was given: each may be a sign of its own."""
    among = alike(evidence)
    odd = {id(finding.rows): _odd(finding) for finding in evidence.findings}
    found: dict[tuple[int, int, int], list[int]] = {}
    for f, finding in enumerate(evidence.findings):
        alone = f + 2 if odd[id(finding.rows)] else int(finding.together is None)
        found.setdefault((id(finding.rows), among[finding.period], alone), []).append(f)
    if len(found) == len(evidence.findings):
        return evidence
    first = [places[0] for places in found.values()]
    out = some_of(evidence, first)
    numbers = [tuple(n for f in places for n in evidence.findings[f].numbers) for places in found.values()]
    return replace(out, findings=tuple(replace(f, seqs=n) for f, n in zip(out.findings, numbers, strict=True)))


def _odd(finding: Judged) -> bool:
    """Whether a sound vehicle does not explain it, as in `Sight`."""
    best = float(finding.rows.max(initial=0.0))
    best = max(best, finding.flat) if finding.together is not None else best
    return bool(finding.rows[0] < EXPLAINS * best)


def alike(evidence: Evidence) -> dict[int, int]:
    """For each period the first in which the same causes are gone, whichever of the remedies took that may not have."""
    believed, doubted = evidence.treatments[:-PATTERNS], evidence.treatments[-PATTERNS:]
    gone, known, out = np.zeros(len(evidence.prior), dtype=bool), dict[tuple[int, bytes], int](), dict[int, int]()
    waiting = sorted(believed, key=lambda t: t.period)
    for period in sorted({finding.period for finding in evidence.findings}):
        while waiting and waiting[0].period <= period:
            causes = waiting.pop(0).causes
            gone[slice(None) if causes is None else list(causes)] = True
        begun = sum(treatment.period <= period for treatment in doubted)
        out[period] = known.setdefault((begun, gone.tobytes()), period)
    return out


def some_of(evidence: Evidence, chosen: Sequence[int]) -> Evidence:
    """The evidence of some findings only, by index."""
    prepare = evidence.prepare

    def prepared(wanted: Mapping[int, Sets]) -> None:
        if prepare is not None:
            prepare({chosen[f]: sets for f, sets in wanted.items()})

    findings: tuple[Judged, ...] = tuple(evidence.findings[f] for f in chosen)
    return replace(evidence, findings=findings, prepare=None if prepare is None else prepared)


def each_of(hitting: Iterable[Sequence[Sequence[int]]]) -> list[frozenset[int]]:
    """Groups of answers from groups of what they say: one answer for each member, small groups first. Each member is
    given as its answers; of those of a large group that were given over and over only the first are told."""
    out: dict[frozenset[int], None] = {}
    for members in hitting:
        most = GROUPS if len(members) < 3 else 3 + 2 * (len(members) == 3)
        ways = product(*(sorted(numbers)[:most] for numbers in members))
        out.update(dict.fromkeys(map(frozenset, nsmallest(GROUPS, ways, key=sorted))))
    return sorted(out, key=lambda group: (len(group), sorted(group)))
