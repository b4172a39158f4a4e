"""The life of a rule: which state it may be moved to, what that takes, and what is met.

draft -> tested -> proven -> retired, a step at a time; back with a reason; from retired nowhere. Judges facts that
others gather; knows nothing of files' text or of screens.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from diag.errors import DiagError
from diag.knowledge.names import nearest
from diag.knowledge.schema import Moved, Rule, RuleState
from diag.life.interval import SHARE, interval
from diag.life.jobs import RIGHT, SILENT, JobFacts
from diag.life.text import Step
from diag.life.world import World
from diag.life.worse import Harm, harm_of
from diag.review.entries import says_nothing
from diag.texts import t

__all__ = ["PROVEN_JOBS", "STATES", "Need", "Tally", "earned_step", "needs", "next_state", "step_of", "tally"]

STATES: tuple[RuleState, ...] = ("draft", "tested", "proven", "retired")
PROVEN_JOBS, PROVEN_SITTINGS = 5, 2
"""Closed jobs on real vehicles, and different vehicles or days among them, that a proven rule takes; common practice,
no source. Five of five, or five of six, leave the interval above one half."""
_LEADS, _NEAR = 4, 3
"""How many jobs are named beside a rule; more would not be read."""
_JOB_NAME = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*")


@dataclass(frozen=True)
class Need:
    """One thing that a state takes. `found`: how it is; `mend`: what to do where it is not met."""

    words: str
    met: bool
    found: str
    mend: str = ""


@dataclass(frozen=True)
class Tally:
    """What recorded jobs say of one rule. `fired`: jobs in which it did, `near`: such that tried it and in which it
    did not, ended elsewhere, the nearest first."""

    rule: str
    fired: tuple[JobFacts, ...]
    near: tuple[JobFacts, ...]

    @property
    def judged(self) -> tuple[JobFacts, ...]:
        """Jobs that say whether it was right: all, unless it names no cause."""
        return tuple(job for job in self.fired if job.uses[self.rule] != SILENT)

    @property
    def right(self) -> tuple[JobFacts, ...]:
        """Jobs that ended at what it points to, or where it cleared rightly."""
        return tuple(job for job in self.fired if job.uses[self.rule] == RIGHT)

    def real(self) -> Tally:
        """The same of jobs at which a vehicle was there."""
        return Tally(self.rule, tuple(job for job in self.fired if job.real), ())


def tally(world: World, rule: str) -> Tally:
    """What the jobs within reach say of a rule."""
    fired, near = world.by_rule
    return Tally(rule, fired.get(rule, ()), near.get(rule, ()))


def next_state(rule: Rule) -> RuleState | None:
    """The state after that of a rule; None for a retired one."""
    at = STATES.index(rule.state)
    return STATES[at + 1] if at + 1 < len(STATES) else None


# ---------------------------------------------------------------- what a state takes


def needs(
    world: World, rule: Rule, to: RuleState, *, successor: str | None = None, because: str | None = None
) -> list[Need]:
    """Everything that `to` takes, met or not. Raises DiagError where the rule engine fails."""
    at, wanted = STATES.index(rule.state), STATES.index(to)
    if rule.state == "retired":
        where = t("; `{replaced_by}` stands in its place", replaced_by=rule.replaced_by) if rule.replaced_by else ""
        return [
            Need(
                t("A retired rule stays retired"),
                False,
                t("it is retired{where}", where=where),
                t("Write a new rule, with a new id."),
            )
        ]
    if to == "retired":
        return [_end(world, rule, successor, because), _left_hanging(world, rule)]
    if wanted < at:
        one = Need(
            t("One step back at a time"),
            wanted == at - 1,
            t("{state} to {to}", state=rule.state, to=to),
            t("First: {states}.", states=STATES[at - 1]),
        )
        told = bool(because and because.strip())
        return [
            one,
            Need(t("Going back has a reason"), told, "given" if told else t("none given"), t("Add --because TEXT.")),
        ]
    if wanted > at + 1:
        return [
            Need(
                t("One step at a time"),
                False,
                t("{state} to {to}", state=rule.state, to=to),
                t("First: {states}.", states=STATES[at + 1]),
            )
        ]
    if to == "proven":
        return _proven(world, rule)
    return _tested(world, rule) if to == "tested" else []


def _end(world: World, rule: Rule, successor: str | None, because: str | None) -> Need:
    words = t("A successor that is there and not retired, or why there is none")
    if successor is None:
        told = bool(because and because.strip())
        return Need(words, told, t("why is told") if told else "neither", t("Add --successor ID, or --because TEXT."))
    known = world.rules
    if successor == rule.id:
        return Need(words, False, t("the rule itself"), t("Name another rule."))
    if successor not in known:
        mend = nearest(successor, known) or t("`diag rules show` lists all.")
        return Need(words, False, t("no rule `{successor}`", successor=successor), mend)
    if (other := world.rule(successor)).state == "retired":
        mend = (
            t("Its own successor is `{replaced_by}`.", replaced_by=other.replaced_by)
            if other.replaced_by
            else t("Name one that is not.")
        )
        return Need(words, False, t("`{successor}` is retired", successor=successor), mend)
    return Need(words, True, f"`{successor}`")


def _left_hanging(world: World, rule: Rule) -> Need:
    """A retired rule concludes nothing any more, so nothing may wait for what it alone concludes."""
    own = {effect.establish for effect in rule.then if effect.establish is not None}
    users: dict[str, str] = {}
    for knowledge in world.known.values():
        if rule.id not in knowledge.rules:
            continue
        live = [one for one in knowledge.rules.values() if one.state != "retired" and one.id != rule.id]
        made = {effect.establish for one in live for effect in one.then}
        for one in live:
            lost = sorted({str(condition.established) for condition in one.when if condition.established in own - made})
            if lost:
                users[one.id] = lost[0]
    found = ", ".join(
        t("`{name}` waits for `{word}`", name=name, word=word) for name, word in sorted(users.items())[:4]
    )
    more = t(" and {number} more", number=len(users) - 4) if len(users) > 4 else ""
    return Need(
        t("No rule builds on what it alone concludes"),
        not users,
        f"{found}{more}" if users else t("none does"),
        t("Let the successor establish the same word."),
    )


def _tested(world: World, rule: Rule) -> list[Need]:
    found = tally(world, rule.id)
    leads, near = _leads(world, rule, found), _near(world, rule, found)
    harms = [harm for harm in _harms(world, rule.id) if harm.real]
    wrong = _wrong_causes(world, rule)
    sourced = not says_nothing(rule.source)
    ends = t("and ends at what it says") if found.judged or not found.fired else t("(it names no cause)")
    missed = ""
    if found.fired and not leads:
        missed = t("it fires in {named}, which ended elsewhere", named=_named(found.fired))
    return [
        Need(
            t("It loads, and names causes that there are"),
            not wrong,
            "; ".join(wrong) or t("it does"),
            t("Mend the rule."),
        ),
        Need(t("Its source is given"), sourced, rule.source, t("Write where it comes from under `source:`.")),
        Need(
            t("A recorded job in which it fires {ends}", ends=ends),
            bool(leads),
            ", ".join(leads) or missed or "none",
            t("Record a job that proves it: `diag rules add` from a closed job does."),
        ),
        Need(
            t("A near miss: a job that tries its checks, ends elsewhere and does not fire it"),
            bool(near),
            ", ".join(near) or "none",
            t("Record a job in which its check is answered otherwise."),
        ),
        Need(
            t("No recorded job that it makes worse"),
            not harms,
            "; ".join(_harm_words(harm) for harm in harms) or t("none of those it fires in"),
            t("Smaller weight, one condition more, or another cause."),
        ),
    ]


def _proven(world: World, rule: Rule) -> list[Need]:
    found = tally(world, rule.id)
    real = found.real()
    judged, right = len(real.judged), len(real.right)
    sittings = {(job.vehicle, job.day) for job in real.judged}
    low = interval(right, judged)[0]
    old = [job for job in found.fired if job.superseded]
    written = len(found.fired) - len(real.fired)
    more = t(" ({written} written by hand do not count)", written=written) if written else ""
    unjudged = t("It names no cause, so no job can prove it: tested is as far as it goes.")
    mend = t("Close more jobs; take in your own with --own.") if judged or not real.fired else unjudged
    return [
        Need(
            t("It fired in at least {proven_jobs} closed jobs", proven_jobs=PROVEN_JOBS),
            judged >= PROVEN_JOBS,
            f"{judged}{more}",
            mend,
        ),
        Need(
            t("From at least {proven_sittings} vehicles or days", proven_sittings=PROVEN_SITTINGS),
            len(sittings) >= PROVEN_SITTINGS,
            str(len(sittings)),
            t("Close a job at another vehicle."),
        ),
        Need(
            t("Right more often than not, as the lower end of the {number:.0f} % range says", number=100 * SHARE),
            low > 0.5,
            t(
                "right in {right} of {judged}, so in the long run at least {number:.0f} in 100",
                right=right,
                judged=judged,
                number=100 * low,
            )
            if judged
            else t("no jobs"),
            t("More jobs; or more conditions, so that it fires where it is right."),
        ),
        Need(
            t("None of its jobs was shown wrong by a later one"),
            not old,
            "; ".join(t("{job} by {superseded}", job=job.name, superseded=job.superseded) for job in old)
            or t("none was"),
            t("Judge the rule by the later job."),
        ),
    ]


def _lacks(need: Need) -> str:
    words = f"{need.words[0].lower()}{need.words[1:]}"
    return words if need.found == "none" else f"{words} ({need.found})"


def _named(jobs: Sequence[JobFacts]) -> str:
    names = [job.name for job in jobs[:3]]
    return ", ".join(names) + (t(" and {number} more", number=len(jobs) - 3) if len(jobs) > 3 else "")


def _harm_words(harm: Harm) -> str:
    place = t(", now place {place_with}", place_with=harm.place_with) if harm.place_with != harm.place_without else ""
    return t(
        "{job}: {remedy} falls from {percent} to {percent_2}{place}",
        job=harm.job,
        remedy=harm.remedy,
        percent=_percent(harm.p_without),
        percent_2=_percent(harm.p_with),
        place=place,
    )


def _percent(p: float) -> str:
    return f"{100 * p:.0f} %"


def _harms(world: World, rule: str) -> list[Harm]:
    return [harm for file, jobs in world.exercising(rule).items() for harm in harm_of(world.bare(file), rule, jobs)]


def _wrong_causes(world: World, rule: Rule) -> list[str]:
    """What is wrong with it wherever rules are looked over, and with the causes that it names, on the first vehicle
    that has it."""
    knowledge = world.rules[rule.id]
    places = {
        str(knowledge.spots.place(rule.id, "then", n, key))
        for n, effect in enumerate(rule.then)
        for key in ("points-to", "clears")
    }
    named = [problem for problem in world.cause_problems(knowledge) if str(problem.place) in places]
    return list(dict.fromkeys(str(problem) for problem in (*named, *world.mistakes(rule.id))))


def _leads(world: World, rule: Rule, found: Tally) -> tuple[str, ...]:
    """Jobs to name as leading there: those named so far that still do, then others. Of a rule that names no cause,
    any that fires it."""
    good = {job.name for job in (found.right if found.judged else found.fired) if world.recorded(job)}
    return _chosen(rule.leads_there, sorted(good), _LEADS)


def _near(world: World, rule: Rule, found: Tally) -> tuple[str, ...]:
    """Near misses to name: those named so far that do not fire it, as long as one of them tries it, then others."""
    good = [job.name for job in found.near if world.recorded(job)]
    fires = {job.name for job in found.fired}
    silent = [name for name in rule.near_miss if name in world.job_names and name not in fires]
    if not set(silent) & set(good):
        return (*silent, *_chosen((), good, max(1, _NEAR - len(silent)))) if good else ()
    return tuple(silent)


def _chosen(before: Sequence[str], good: Sequence[str], most: int) -> tuple[str, ...]:
    """What was named so far where all of it is still good, so that a file changes only where it must."""
    kept = [name for name in before if name in good]
    if kept and len(kept) == len(before):
        return tuple(before)
    more = [name for name in good if name not in kept and _JOB_NAME.fullmatch(name)]
    return (*kept, *more[: max(0, most - len(kept))])


# ---------------------------------------------------------------- the move


def step_of(
    world: World, rule: Rule, to: RuleState, day: str, *, successor: str | None = None, because: str | None = None
) -> Step:
    """The change of the rule's file that moves it. Raises DiagError with everything that is missing."""
    missing = [need for need in needs(world, rule, to, successor=successor, because=because) if not need.met]
    if missing:
        lines = [t("{rule} stays {state}: found this missing for {to}:", rule=rule.id, state=rule.state, to=to)]
        lines += [
            t("- {words}. Found: {found}. {mend}", words=need.words, found=need.found, mend=need.mend).rstrip()
            for need in missing
        ]
        raise DiagError("\n".join(lines))
    return _step(world, rule, to, day, successor, because)


def _step(
    world: World, rule: Rule, to: RuleState, day: str, successor: str | None = None, because: str | None = None
) -> Step:
    """The same where nothing is missing."""
    moved = None
    if to != rule.state:
        told = because.strip() if because and because.strip() else None
        moved = Moved.model_validate({"date": day, "from": rule.state, "to": to, "because": told})
    found = tally(world, rule.id)
    jobs = to in ("tested", "proven")
    return Step(
        rule.id,
        to,
        _leads(world, rule, found) if jobs else None,
        _near(world, rule, found) if jobs else None,
        successor if to == "retired" else None,
        moved,
    )


def earned_step(world: World, rule: Rule, to: RuleState, day: str, because: str | None) -> Step | None:
    """The step that moves a rule to `to` where it is the next one and all is met, or brings the jobs that a tested rule
    names up to date; where `to` is draft, the step back
    of a rule that is called tested and does not meet what that takes. None for every other rule."""
    if to == "draft":
        if rule.state != "tested":
            return None
        lacking = [need for need in _tested(world, rule) if not need.met]
        if not lacking:
            return None
        told = because or "missing: " + "; ".join(_lacks(need) for need in lacking)
        return step_of(world, rule, to, day, because=told)
    if rule.state == to == "tested":
        found = tally(world, rule.id)
        leads, near = _leads(world, rule, found), _near(world, rule, found)
        stale = (leads, near) != (rule.leads_there, rule.near_miss) and leads and near
        return Step(rule.id, None, leads, near) if stale else None
    if next_state(rule) != to or any(not need.met for need in needs(world, rule, to)):
        return None
    return _step(world, rule, to, day)
