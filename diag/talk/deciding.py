"""The next thing in finding what is wrong: a rule's stop or warning, a proof, the circuit being checked, a
conclusion, or the question that is worth its minutes. Decides; knows nothing of words.
"""

from __future__ import annotations

import math

from diag.reason.choose import Ranked
from diag.reason.repairs import Try, best_order
from diag.stages.faults import work_saved
from diag.talk.known import Known
from diag.talk.leaving import WELL
from diag.talk.nexts import Conclude, DoFirst, End, Look, Next
from diag.talk.proving import proof, proved
from diag.talk.repeating import changed_since, still_odd
from diag.talk.walking import walk, walked

__all__ = ["CERTAIN", "best", "rule_first"]

CERTAIN = 0.99
_TRY_FROM = 0.96
_REPLACE_FROM, _REPLACE_MINUTES = 0.85, 6.0
_REPLACED = frozenset({"lamp", "two-filament-lamp", "fuse", "flasher-unit", "relay"})
"""Parts that a fitter has in the box and exchanges to see whether that cures it, from this chance on."""
_LEAST_BITS = 0.02
_LEAST_WORTH = 0.008
_TRY_DOUBT = 2.0
_PROVE_MINUTES = 3.0
_LISTED = 0.02

Ranking = tuple[tuple[str, float], ...]


def rule_first(known: Known) -> DoFirst | None:
    """What a rule stops the work for, or warns of."""
    for kind in (known.beliefs.stops, known.beliefs.warnings):
        for caution, rule in kind.items():
            if caution not in known.acknowledged and caution in known.reasoner.knowledge.cautions:
                return DoFirst(caution, None, rule)
    return None


def best(known: Known) -> Next:
    """Proof, then what is to be walked through, then a conclusion, then the best question. A step whose caution
    was read just now is asked before anything else is thought of."""
    chosen = _best(known)
    read = known.just_read()
    if read is None or not known.allowed(read) or (isinstance(chosen, Look) and chosen.step.id == read.id):
        return chosen
    ranked = next((found for found in _rank(known) if found.step.id == read.id), None)
    return Look(read, ranked=ranked, rule=known.beliefs.asked_for.get(read.id), again=known.again.get(read.id))


def _best(known: Known) -> Next:
    proving = proof(known)
    if proving is not None:
        return known.asked(proving)
    changed = changed_since(known)
    if changed is not None:
        return known.asked(changed)
    beliefs, well = known.beliefs, known.beliefs.posterior.healthy
    walking, sound = walk(known), known.nothing_odd()
    if walking is not None and (sound or well > 0.5):
        return known.asked(walking)
    if well >= WELL or (sound and walked(known)) or proved(known):
        odd = still_odd(known)
        if odd is not None:
            return known.asked(odd)
        return End() if known.treated or _told(known, "no-fault-found") else Conclude((), True, "no-fault-found")
    top, p = beliefs.ranking[0] if beliefs.ranking else ("", 0.0)
    if p >= CERTAIN:
        return _conclude(known, "certain")
    ranked = _rank(known)
    telling = max(ranked, key=lambda found: found.worth, default=None)
    if telling is None or telling.bits < _LEAST_BITS or telling.worth < _LEAST_WORTH:
        return _conclude(known, "nothing-more-to-tell-apart")
    if p >= _TRY_FROM and _cheaper_to_try(known, top, p, telling):
        return _conclude(known, "cheaper-to-try")
    if p >= _REPLACE_FROM and _quickly_replaced(known, top) and _cheaper_to_try(known, top, p, telling):
        return _conclude(known, "replace-to-test")
    chosen = ranked[0]
    asked_by, again = beliefs.asked_for.get(chosen.step.id), known.again.get(chosen.step.id)
    return known.asked(Look(chosen.step, ranked=chosen, rule=asked_by, again=again))


def _told(known: Known, reason: str) -> bool:
    entries = known.state.entries
    return bool(entries) and any(
        e.fields.get("reason") == reason and e.seq >= entries[-1].seq for e in known.state.concluded
    )


def _rank(known: Known) -> list[Ranked]:
    """Where the whole vehicle was looked at, the problem comes first that saves most work."""
    first = (lambda problem: work_saved(known.reasoner, known.beliefs, problem)) if known.whole else None
    return known.reasoner.rank(known.beliefs, known.situation(), known.allowed, first)


def _cheaper_to_try(known: Known, remedy: str, p: float, telling: Ranked) -> bool:
    """Trying costs its minutes again when it is wrong; testing on costs what is still unknown."""
    plan = known.reasoner.remedies[remedy]
    unknown = -p * math.log2(p) - (1 - p) * math.log2(max(1 - p, 1e-9))
    return unknown / max(telling.worth, 1e-9) > _TRY_DOUBT * (1 - p) * (plan.minutes + _PROVE_MINUTES)


def _quickly_replaced(known: Known, remedy: str) -> bool:
    """Whether a part known to be good goes in so quickly that putting it in is a test like any other."""
    reasoner = known.reasoner
    plan = reasoner.remedies[remedy]
    kinds = {reasoner.causes[reasoner.index[cause]].kind for cause in plan.cures}
    return kinds <= _REPLACED and plan.minutes <= _REPLACE_MINUTES


def _conclude(known: Known, reason: str) -> Conclude:
    beliefs, remedy_of = known.beliefs, known.reasoner.remedy_of
    ranking = tuple((name, p) for name, p in beliefs.ranking if p >= _LISTED)[:5]
    if reason == "nothing-more-to-tell-apart":
        ranking = _cheapest_first(known, ranking)
    rest = 0.0
    if ranking:
        cured = {i for i, name in remedy_of.items() if name == ranking[0][0]}
        rest = sum(
            p
            for members, p in beliefs.posterior.sets
            if ranking[0][0] in {remedy_of[i] for i in members} and not members <= cured
        )
        rest /= max(ranking[0][1], 1e-9)
    return Conclude(ranking, rest < 0.5, reason if ranking else "nothing-in-the-model")


def _cheapest_first(known: Known, ranking: Ranking) -> Ranking:
    """Remedies in the order of least expected minutes; what lies at one place shares the way there and
    what has to come off first."""
    plans = {name: known.reasoner.remedies[name] for name, _ in ranking}
    access: dict[str, float] = {}
    for plan in plans.values():
        if plan.place is not None:
            access[plan.place] = min(access.get(plan.place, plan.reach), plan.reach)
    tries = [
        Try(
            name,
            p,
            plans[name].minutes + _PROVE_MINUTES + plans[name].reach - access.get(plans[name].place or "", 0.0),
            plans[name].place,
        )
        for name, p in ranking
    ]
    order = tuple((found.id, found.p) for found in best_order(tries, access))
    closed = {name for name in plans if plans[name].place in known.closed_places}
    return (*(row for row in order if row[0] not in closed), *(row for row in order if row[0] in closed))
