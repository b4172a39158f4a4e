"""What became different between two outcomes of one job, and whether anything is worse.

Knows outcomes only; nothing of how they came about.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

from diag.replay.forms import Outcome
from diag.texts import t, tn

__all__ = ["VERDICTS", "Difference", "Verdict", "compare"]

Verdict = Literal["same", "found", "other", "lost", "cannot", "new"]
VERDICTS: dict[Verdict, str] = {
    "cannot": t("cannot be replayed"),
    "lost": t("no longer concluded"),
    "other": t("another remedy leads"),
    "found": t("newly concluded"),
    "new": t("nothing to compare with"),
    "same": t("same conclusion"),
}
"""In words, what needs looking at first."""


@dataclass(frozen=True)
class Difference:
    """One job before and after.

    `was`, `now`: for each remedy carried out the one that stood clear just before it (empty: none); where none was
    carried out, that of the end. `chances`: each remedy carried out with its chance before and after (None: not
    noted). `sooner`: answers fewer until sure, negative for more (None: not known on one side, or never sure on
    both); `sure_before`, `sure_after` as in `Outcome`. `unknown`: seqs of answers that meant something and now do
    not. `worse`: a right conclusion was lost, another leads in its place, an answer lost its meaning, or the job
    cannot be replayed any more. `why`: in words, where something is worse or cannot be compared.
    """

    job: str
    vehicle: str
    verdict: Verdict
    worse: bool
    was: tuple[str, ...] = ()
    now: tuple[str, ...] = ()
    chances: tuple[tuple[str, float | None, float | None], ...] = ()
    sooner: int | None = None
    sure_before: int | None = None
    sure_after: int | None = None
    unknown: tuple[int, ...] = ()
    why: str = ""

    @property
    def sooner_words(self) -> str:
        """How many answers sooner or later it is sure, in words; empty where that is as before."""
        if not self.sooner:
            return ""
        count = abs(self.sooner)
        return tn(
            "sure {n} answer {what}",
            "sure {n} answers {what}",
            count,
            what=t("sooner") if self.sooner > 0 else t("later"),
        )

    @property
    def changed(self) -> bool:
        """Whether there is anything to tell: another verdict than the same, a chance moved by a hundredth or more,
        sure at another answer, or answers that lost their meaning."""
        moved = any(a is not None and b is not None and abs(a - b) >= 0.01 for _, a, b in self.chances)
        return self.verdict != "same" or self.worse or moved or bool(self.sooner) or bool(self.unknown)

    def plain(self) -> dict[str, Any]:
        """For JSON."""
        return {
            "job": self.job,
            "vehicle": self.vehicle,
            "verdict": self.verdict,
            "worse": self.worse,
            "changed": self.changed,
            "was": list(self.was),
            "now": list(self.now),
            "chances": [{"remedy": name, "before": a, "after": b} for name, a, b in self.chances],
            "sooner": self.sooner,
            "sure-before": self.sure_before,
            "sure-after": self.sure_after,
            "unknown": list(self.unknown),
            "why": self.why,
        }


def compare(before: Outcome | None, after: Outcome) -> Difference:
    """What became different. `before` None: the job was never replayed and says nothing itself."""
    name, vehicle = after.job, after.vehicle or (before.vehicle if before is not None else "")
    if after.problem:
        worse = before is not None and not before.problem
        return Difference(name, vehicle, "cannot", worse, why=after.problem)
    now = _conclusion(after)
    if before is None or before.problem:
        return Difference(name, vehicle, "new", False, now=now, sure_after=after.sure_after)
    if before.remedies != after.remedies:
        why = t("other remedies were carried out in it than before: the record itself changed")
        return Difference(name, vehicle, "new", False, now=now, sure_after=after.sure_after, why=why)
    was, right = _conclusion(before), after.remedies or _conclusion(before)
    verdict, lost = _verdict(was, now, right, carried=bool(after.carried))
    unknown = tuple(seq for seq in after.unknown if seq not in before.unknown)
    if unknown and before.source != "computed":
        unknown = after.unknown
    pairs = zip(before.carried, after.carried, strict=True)
    known = before.source != "expected"
    return Difference(
        name,
        vehicle,
        verdict,
        bool(lost) or bool(unknown),
        was,
        now,
        tuple((a.remedy, a.p, b.p) for a, b in pairs),
        _sooner(before, after) if known else None,
        before.sure_after,
        after.sure_after,
        unknown,
        "; ".join(words for words in (lost, _meaningless(unknown), _unheard_of(after) if lost else "") if words),
    )


def _meaningless(unknown: Sequence[int]) -> str:
    """In words that answers lost their meaning."""
    listed = ", ".join(map(str, unknown))
    return t("answers {listed} mean nothing to today's knowledge", listed=listed) if unknown else ""


def _unheard_of(after: Outcome) -> str:
    return t("today's knowledge has no remedy {gone}", gone=", ".join(after.gone)) if after.gone else ""


def _conclusion(outcome: Outcome) -> tuple[str, ...]:
    if outcome.carried:
        return tuple(one.clear_leader for one in outcome.carried)
    return (outcome.clear_top,)


def _verdict(
    was: tuple[str, ...], now: tuple[str, ...], right: tuple[str, ...], *, carried: bool
) -> tuple[Verdict, str]:
    """The verdict and, where a right conclusion was lost, why."""
    if was == now:
        return "same", ""
    for before, after, remedy in zip(was, now, right, strict=True):
        if before and before == remedy and after != remedy:
            if after:
                return "other", t(
                    "{after} leads where {remedy} {what}",
                    after=after,
                    remedy=remedy,
                    what=t("cured") if carried else t("led"),
                )
            return "lost", t("{remedy} no longer stands clear of the others", remedy=remedy)
    if any(after and after == remedy != before for before, after, remedy in zip(was, now, right, strict=True)):
        return "found", ""
    if not carried and now[0]:
        return "found", ""
    return "other", ""


def _sooner(before: Outcome, after: Outcome) -> int | None:
    """Answers fewer until sure; never sure counts as one answer more than there are."""
    if before.sure_after is None and after.sure_after is None:
        return None
    last = max(before.answers, after.answers) + 1
    return (before.sure_after or last) - (after.sure_after or last)
