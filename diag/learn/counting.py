"""What one closed job says: the faults that were cured and proved, and the answers that were misjudged.

Weighs with published knowledge only, so that what was learned never confirms itself. Knows nothing of files,
nor of what is made of the counts.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from diag.circuit.network import Floats
from diag.circuit.observe import LOOKS, NEEDLES
from diag.job.state import Entry, JobState
from diag.knowledge.assemble import Knowledge
from diag.knowledge.learned import Axis
from diag.reason.reasoner import Beliefs, Reasoner, Treated
from diag.reason.steps import Finding, Step, Value
from diag.talk.findings import findings_of
from diag.talk.known import somebody_complained
from diag.texts import t

__all__ = ["Counts", "Off", "Slip", "axis_of", "counts_of", "slips_of"]

_SURE = 0.8
"""Chance from which it counts as known what was wrong, and that nothing is wrong any more (common practice, no
source)."""
_TELLS = 4.0
"""A good answer after the work proves it where the fault would have made it this many times less likely."""
_CLEAR = 0.85
"""Share from which one word is what a step shows: a lamp exactly as bright as it should be is normal by 0.88, the
rest being the soft edge to the next words (common practice, no source)."""
_TOO_LITTLE = 1e-3
_WORTH, _MOST_SETS = 0.02, 6
"""What may have been wrong besides is looked at from this chance on; more of it than this is not clear at all."""
_NEAR, _NEAR_V = 0.05, 0.05


@dataclass(frozen=True)
class Slip:
    """One answer in words whose truth is known: `told` is `true` where it was judged right. `weight`: below 1 where
    the soft edge between two words may account for it."""

    axis: Axis
    true: str
    told: str
    weight: float = 1.0


@dataclass(frozen=True)
class Off:
    """One reading beside the one computed, both in `unit` (V, A or ohm)."""

    unit: str
    computed: float
    told: float


@dataclass(frozen=True)
class Counts:
    """What a job is counted for. `faults`: for each remedy that is confirmed the causes that it cured, with
    shares that sum to 1; `why_not`: remedies that are not confirmed, and why; `unknown`: ids in the journal that
    today's knowledge does not have."""

    faults: tuple[tuple[str, Mapping[str, float]], ...] = ()
    why_not: tuple[tuple[str, str], ...] = ()
    slips: tuple[Slip, ...] = ()
    offs: tuple[Off, ...] = ()
    unknown: tuple[str, ...] = ()


def counts_of(reasoner: Reasoner, state: JobState) -> Counts:
    """What a closed job counts for. `reasoner` must know nothing that was learned. Raises DiagError where the rule
    engine fails."""
    if reasoner.knowledge.learned is not None:
        raise ValueError(t("jobs are counted with published knowledge only"))
    return _Job(reasoner, state).counts()


@dataclass
class _Job:
    reasoner: Reasoner
    state: JobState
    findings: list[Finding] = field(init=False)
    treated: list[Treated] = field(init=False)

    def __post_init__(self) -> None:
        left = {seq for entry in self.state.standing("left-open") for seq in entry.fields.get("seqs", ())}
        found, self.treated, self.proving, unknown = findings_of(self.reasoner, self.state)
        self.findings = [finding for finding in found if finding.seq not in left]
        checks = {entry.seq: str(entry.fields.get("check") or t("a check")) for entry in self.state.entries}
        self.unknown = [t("answer {seq} ({seq_2})", seq=seq, seq_2=checks.get(seq, "?")) for seq in unknown]

    def counts(self) -> Counts:
        entries = {e.period: e for e in self.state.standing("remedied") if e.period is not None}
        known = {p: e for p, e in entries.items() if str(e.fields.get("remedy")) in self.reasoner.remedies}
        gone = [t("remedy {value}", value=e.fields.get("remedy")) for p, e in entries.items() if p not in known]
        unknown = tuple(dict.fromkeys([*gone, *self.unknown]))
        names = {period: str(entry.fields["remedy"]) for period, entry in known.items()}
        if not names:
            return Counts(unknown=unknown)
        end = self._beliefs(self.findings, self.treated)
        if end.posterior.healthy < _SURE:
            reason = t("at the end something was still wrong, or nothing was seen to be right")
            return Counts(why_not=tuple((name, reason) for name in names.values()), unknown=unknown)
        starts = _starts(end)
        faults: list[tuple[str, Mapping[str, float]]] = []
        why_not: list[tuple[str, str]] = []
        for period, name in names.items():
            if name in [other for later, other in names.items() if later > period]:
                why_not.append((name, t("done again later")))
                continue
            shares = self._shares(known[period], name)
            if self._was_wrong(starts, name) < _SURE:
                why_not.append((name, t("it was not what was wrong")))
            elif not self._proved(end, period, shares):
                why_not.append((name, t("no check after it shows that it took")))
            else:
                faults.append((name, shares))
        slips, offs = self._misjudged(starts, dict(faults)) if faults else ((), ())
        return Counts(tuple(faults), tuple(why_not), slips, offs, unknown)

    def _beliefs(self, findings: Sequence[Finding], treated: Sequence[Treated]) -> Beliefs:
        proving = self.proving is not None and not somebody_complained(findings)
        return self.reasoner.beliefs(findings, treated, proving=proving)

    # ------------------------------------------------------------ what was wrong

    def _shares(self, remedied: Entry, name: str) -> dict[str, float]:
        """The causes that a remedy cures, each with its share of what was believed just before it."""
        count = self.state.entries.index(remedied)
        before = {entry.seq for entry in self.state.entries[:count]}
        findings = [finding for finding in self.findings if finding.seq in before]
        treated = [one for one in self.treated if one.period < remedied.period]
        cures = self.reasoner.remedies[name].cures
        rows = [self.reasoner.index[cause] for cause in cures]
        present = self._beliefs(findings, treated).posterior.present[rows]
        if present.sum() < 1e-6:  # nobody suspected it: as often as each is met
            present = self.reasoner.prior[rows]
        shares = present / present.sum()
        found = {cause: float(share) for cause, share in zip(cures, shares, strict=True) if share >= _WORTH}
        return {cause: share / sum(found.values()) for cause, share in found.items()}

    def _was_wrong(self, starts: Sequence[tuple[frozenset[int], float]], name: str) -> float:
        """Chance, all being known, that something which the remedy cures was wrong to begin with."""
        cures = {self.reasoner.index[cause] for cause in self.reasoner.remedies[name].cures}
        return sum(chance for members, chance in starts if not members.isdisjoint(cures))

    def _proved(self, end: Beliefs, period: int, shares: Mapping[str, float]) -> bool:
        """Whether an answer after the work, and before something unnamed was changed, is that of a sound vehicle
        and would hardly be with the fault."""
        changed = min((t.period for t in self.treated if t.remedy is None and t.period > period), default=None)
        row = 1 + self.reasoner.index[max(shares, key=lambda cause: shares[cause])]
        return any(
            float(told.rows[0]) >= _TELLS * float(told.rows[row])
            for finding, told in end.judged
            if finding.step is not None and finding.period >= period and (changed is None or finding.period < changed)
        )

    # ------------------------------------------------------------ what was misjudged

    def _misjudged(
        self, starts: Sequence[tuple[frozenset[int], float]], faults: Mapping[str, Mapping[str, float]]
    ) -> tuple[tuple[Slip, ...], tuple[Off, ...]]:
        """Every answer whose truth is clear once the cure is known; none where something unnamed was changed, or a
        remedy was done twice, as nobody knows then since when it is cured."""
        done = [one.remedy for one in self.treated]
        if None in done or len(set(done)) < len(done):
            return (), ()
        cured = {
            treated.period: {self.reasoner.index[cause] for cause in self.reasoner.remedies[treated.remedy].cures}
            for treated in self.treated
            if treated.remedy is not None and treated.remedy in faults
        }
        every = set().union(*cured.values())
        likely = [members for members, chance in starts if chance >= _WORTH and members <= every]
        if not likely or len(likely) > _MOST_SETS or sum(c for m, c in starts if m in likely) < _SURE:
            return (), ()
        if any(members & self.reasoner.chances.seldom.causes for members in likely):
            return (), ()  # what comes and goes may have been there or not
        slips: list[Slip] = []
        offs: list[Off] = []
        supply = self._supply()
        seen: set[tuple[str, int, object]] = set()
        for finding in self.findings:
            step, value = finding.step, finding.value
            if step is None or value is None or not self.reasoner.chances.computed(step):
                continue
            if (step.id, finding.period, value) in seen:
                continue  # the same eyes and the same meter
            seen.add((step.id, finding.period, value))
            gone = set().union(*(causes for period, causes in cured.items() if period <= finding.period))
            left = list(dict.fromkeys(members - gone for members in likely))
            if step.kind == "measure":
                offs += self._off(step, value, left, supply)
            else:
                slips += self._slips(step, value, left)
        return tuple(slips), tuple(offs)

    def _slips(self, step: Step, value: Value, left: Sequence[frozenset[int]]) -> list[Slip]:
        shown = np.array([self.reasoner.chances.true_words(step, members) for members in left])
        if (shown.argmax(axis=1) != shown[0].argmax()).any() or shown.max(axis=1).min() < _CLEAR:
            return []
        return slips_of(self.reasoner.knowledge, step, value, shown.mean(axis=0))

    def _off(self, step: Step, value: Value, left: Sequence[frozenset[int]], supply: float) -> list[Off]:
        if not isinstance(value, float) or not np.isfinite(value):
            return []
        shown = [self.reasoner.chances.shown(step, members) for members in left]
        numbers = [number for number in shown if isinstance(number, float) and np.isfinite(number)]
        if len(numbers) < len(shown) or self.reasoner.tells_supply(step):
            return []
        low, high = min(numbers), max(numbers)
        if high - low > _NEAR * abs(high) + _NEAR_V:
            return []
        scale = supply if step.unit == "V" and step.operate.get("engine") != "running" else 1.0
        return [Off(step.unit or "V", 0.5 * (low + high) * scale, value)]

    def _supply(self) -> float:
        """The battery as it was measured, against the one of the model; 1 where nobody measured it."""
        for finding in self.findings:
            if (
                finding.step is not None
                and isinstance(finding.value, float)
                and self.reasoner.tells_supply(finding.step)
            ):
                rest = self.reasoner.chances.healthy_reading(finding.step)
                return finding.value / rest if rest > 0 and 0.5 < finding.value / rest < 1.3 else 1.0
        return 1.0


def axis_of(step: Step) -> Axis:
    """The sort of words that a step is answered in."""
    if step.outcomes == LOOKS:
        return "light"
    if step.kind != "look":
        return "sound"
    return "needle" if step.outcomes == NEEDLES else "motor"


def slips_of(knowledge: Knowledge, step: Step, told: Value, shown: Floats) -> list[Slip]:
    """How an answer in words was judged, when the step shows each of its words with the chances `shown` (outcomes,),
    one of them by far the likeliest.

    Another word than that one is laid to misjudging as far as the published misreadings make it likelier than the
    soft edge between two words does; every word may be told for every other with at least its part of the floor.
    """
    axis, best = axis_of(step), step.outcomes[int(shown.argmax())]
    if not (isinstance(best, tuple) and isinstance(told, tuple)):
        words = [str(word) for word in step.outcomes]
        return _slip(knowledge, axis, words, shown, str(best), str(told))
    out = _slip(knowledge, "light", [light for light, _ in LOOKS], shown, best[0], told[0])
    if "dark" in (best[0], told[0]):
        return out
    return out + _slip(knowledge, "rhythm", [rhythm for _, rhythm in LOOKS], shown, best[1], told[1])


def _slip(knowledge: Knowledge, axis: Axis, words: Sequence[str], shown: Floats, best: str, told: str) -> list[Slip]:
    if best == told:
        return [Slip(axis, best, told)]
    laid = [chance * _taken(knowledge, axis, word, told) for word, chance in zip(words, shown.tolist(), strict=True)]
    weight = sum(share for word, share in zip(words, laid, strict=True) if word == best) / sum(laid)
    return [Slip(axis, best, told, weight)] if weight >= _TOO_LITTLE else []


def _taken(knowledge: Knowledge, axis: Axis, true: str, told: str) -> float:
    """Published chance that a word is told for another, at least its part of the floor."""
    book = knowledge.vocabulary
    row = book.misread.get(axis, {}).get(true, {})
    found = 1.0 - sum(row.values()) if told == true else row.get(told, 0.0)
    return max(found, book.misread_floor / max(len(getattr(book, axis)), 1))


def _starts(beliefs: Beliefs) -> list[tuple[frozenset[int], float]]:
    """What may have been wrong before any work, with its chance, all being known; the likeliest first."""
    found = beliefs.posterior.starts
    if not found:
        return []
    logs = np.array([weight for _, weight in found])
    chances = np.exp(logs - logs.max())
    chances *= (1 - beliefs.posterior.outside) / chances.sum()
    return sorted(
        zip([members for members, _ in found], chances.tolist(), strict=True), key=lambda p: (-p[1], sorted(p[0]))
    )
