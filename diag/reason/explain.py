"""Why a cause or a remedy is held likely, or why it is not: every finding for and against, with its weight.

Every line carries the chain: answer → computed prediction or rule → weight. A fault is weighed beside
the others that were found with it, so that what one accounts for is not held against another. Knows
chances and rules; nothing of screens or journals.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from diag.circuit.network import Floats
from diag.reason.belief import PAIR_RATE
from diag.reason.meanings import Outlook
from diag.reason.reasoner import Beliefs, Reasoner
from diag.reason.ruled import weighed
from diag.reason.sight import Sight, Took
from diag.reason.steps import Finding, Step, Value, fits
from diag.texts import t

__all__ = [
    "Account",
    "Back",
    "Reason",
    "account_of",
    "accounts_of",
    "decibans",
    "number_words",
    "reasons_for",
    "rules_behind",
    "weight_words",
]

_SAYS_LITTLE = 1.3
_TELLS = 3.0
"""From this ratio on an answer, or how often a cause is met, is named as what decides."""
_LEADERS = 4
"""Of so many likeliest sets it is tried whether the cause would stand beside them, or in place of a member."""
_FURTHER, _OTHERS, _SUSPECTED = 2, 16, 0.01
"""So many further faults, each likelier than none, are taken into account beside a cause; of how many others that
have at least this chance."""
_BACKS, _BACK_FROM, _BACK_LEAST, _AS_GOOD = 3, 0.2, 0.05, 0.8
"""Answers that would bring a cause back: how many, how likely each must be with it, the least chance of it
then, and from which share of the best a quicker check is named first."""


@dataclass(frozen=True)
class Reason:
    """One finding for or against. `weight`: how many times likelier the answer is with the fault than with
    what it is compared with; `source`: `computed`, the rule that gives the weight, or `usual share`;
    `rules`: rules that say the same in words. `shown`: what the network computes with the fault, `instead`:
    with what it is compared with (a sound vehicle where that is many); None where nobody computes it, or the
    answer says little."""

    finding: Finding
    weight: float
    source: str
    rules: tuple[str, ...]
    shown: Value | None = None
    instead: Value | None = None


@dataclass(frozen=True)
class Back:
    """What would bring a cause back: the answer `value` to `step`, or, where `step` is None, answer `seq`
    being wrong; `p`: chance of the cause then."""

    step: Step | None
    value: Value | str | None
    seq: int | None
    p: float


@dataclass(frozen=True)
class Account:
    """Where a cause, or a remedy's causes, stand. `subject`: the causes meant, as they stand in the likeliest
    set that holds them; `company`: the faults beside them there. `p`: chance that it is wrong now, `prior`:
    that it is before any answer. `reasons`: findings for and against it compared with all other causes in its
    place. `standing`:

    - `leading`: part of what is held likeliest
    - `treated`: was put right, and nothing says that it is back
    - `against`: findings speak against it, compared with what is held likeliest (`contrast`, the strongest first)
    - `rare`: no finding decides; it is met more seldom than what is held likeliest
    - `beside`: would be a fault more, beside what is held likeliest; nothing that was found asks for one
    - `open`: nothing found so far tells it from what is held likeliest

    `leader`: what is held likeliest (empty: nothing wrong; None: a cause outside the model), `leader_p` its
    chance now, `leader_prior` that before any answer, on the same scale as `odds_prior` of the subject with its
    company. `back`: what would bring it back. `cured_by`: the remedy carried out that cures it."""

    subject: frozenset[int]
    company: frozenset[int]
    p: float
    prior: float
    reasons: tuple[Reason, ...]
    standing: str
    leader: frozenset[int] | None
    leader_p: float
    leader_prior: float
    odds_prior: float
    contrast: tuple[Reason, ...] = ()
    back: tuple[Back, ...] = field(default=())
    cured_by: str | None = None


def weight_words(weight: float) -> str:
    """A likelihood ratio in plain words."""
    size = max(weight, 1 / max(weight, 1e-12))
    if size < _SAYS_LITTLE:
        return t("says little")
    words = (
        (t("a little for it"), t("a little against it"))
        if size < 3
        else (t("clearly for it"), t("clearly against it"))
        if size < 10
        else (t("strongly for it"), t("strongly against it"))
        if size < 50
        else (t("decisively for it"), t("decisively against it"))
    )
    return words[0] if weight >= 1 else words[1]


def decibans(weight: float) -> float:
    """A likelihood ratio as weight of evidence: ten times its decimal logarithm (Good; from memory)."""
    return 10 * math.log10(max(weight, 1e-12))


def number_words(weight: float) -> str:
    """The ratio and the decibans, as one would read them: `x21, +13 db`."""
    times = f"x{_digits(weight)}" if weight >= 1 else f"1/{_digits(1 / max(weight, 1e-12))}"
    return t("{times}, {weight:+.0f} db", times=times, weight=decibans(weight))


def _digits(number: float) -> str:
    return f"{number:.1f}" if number < 9.95 else f"{number:.0f}"


# ---------------------------------------------------------------- for and against


def reasons_for(reasoner: Reasoner, beliefs: Beliefs, remedy: str) -> list[Reason]:
    """Findings by the size of their weight for `remedy`, beside the faults that are held likeliest with it,
    against all other causes in its place by their priors."""
    case = _Case(reasoner, beliefs)
    mine = [reasoner.index[cause] for cause in reasoner.remedies[remedy].cures]
    return list(case.reasons(*case.held(mine), mine))


class _Case:
    """The findings as seen by sets of causes."""

    def __init__(self, reasoner: Reasoner, beliefs: Beliefs) -> None:
        self.reasoner, self.beliefs = reasoner, beliefs
        self.sight = Sight(beliefs.evidence)
        self.findings = {finding.seq: finding for finding, _ in beliefs.judged}
        self.log_prior = np.log(beliefs.evidence.prior + 1e-300)

    # ------------------------------------------------------------ sets

    def candidates(self, mine: Sequence[int]) -> list[frozenset[int]]:
        """Sets with one of these causes: the likeliest of those weighed, or of the likeliest of all with a cause
        more or another in a member's place."""
        starts = self.beliefs.posterior.starts
        most = max([self.beliefs.evidence.most, *(len(s) for s, _ in starts[:_LEADERS])])
        found = [s for s, _ in starts if not s.isdisjoint(mine)][:_LEADERS]
        found += [frozenset([i]) for i in mine]
        for leader, _ in starts[: _LEADERS if len(mine) == 1 else 1]:
            for i in mine:
                found += [leader | {i}, *(leader - {other} | {i} for other in leader)]
        return [s for s in dict.fromkeys(found) if len(s) <= most]

    def held(self, mine: Sequence[int]) -> tuple[frozenset[int], Took]:
        """The likeliest of the candidates, with one further fault where that is likelier than none (many may
        each be less likely, and all together likelier); and the course of the remedies likeliest for it."""
        sets = self.candidates(mine)
        self.sight.solve(sets)
        weights = self.weights(sets)
        best = int(weights.max(axis=0).argmax())
        chosen, course = sets[best], int(weights[:, best].argmax())
        for _ in range(_FURTHER):
            fuller = _with_further(chosen, float(self.weights([chosen]).max()), self._grown(chosen, mine))
            if fuller == chosen:
                break
            chosen = fuller
            self.sight.solve([chosen])
            course = int(self.weights([chosen])[:, 0].argmax())
        return chosen, [took for took, _ in self.sight.patterns()][course]

    def _grown(self, chosen: frozenset[int], mine: Sequence[int]) -> list[tuple[frozenset[int], float]]:
        """`chosen` with one of the likeliest other faults more, and log weights, likeliest first."""
        present = self.beliefs.posterior.present
        others = [int(i) for i in np.argsort(-present, kind="stable") if int(i) not in chosen and int(i) not in mine]
        sets = [chosen | {i} for i in others[:_OTHERS] if present[i] > _SUSPECTED]
        if not sets:
            return []
        self.sight.solve(sets)
        weights = self.weights(sets).max(axis=0).tolist()
        return sorted(zip(sets, weights, strict=True), key=lambda pair: (-pair[1], sorted(pair[0])))

    def weights(self, sets: Sequence[frozenset[int]]) -> Floats:
        """(courses, sets) log weight of sets present at the start, their priors included."""
        prior = np.array([self.prior(s) for s in sets])
        return np.array(
            [prior + chance + self.sight.told(sets, took).sum(axis=1) for took, chance in self.sight.patterns()]
        )

    def prior(self, members: frozenset[int]) -> float:
        """Log prior of a set, as in the belief."""
        if not members:
            return float(np.log(max(self.beliefs.evidence.healthy, 1e-300)))
        return log_prior_of(self.log_prior, members)

    # ------------------------------------------------------------ weights

    def reasons(self, chosen: frozenset[int], took: Took, mine: Sequence[int]) -> tuple[Reason, ...]:
        """Each finding for and against the members of `chosen` among `mine`, the strongest first."""
        subject, sight = chosen.intersection(mine), self.sight
        company = chosen - subject
        sight.solve([chosen, company])
        here, base = sight.told([chosen, company], took)
        rival = self.beliefs.evidence.prior.copy()
        rival[list({*mine, *company})] = 0.0
        rival /= max(float(rival.sum()), 1e-300)
        out = []
        for f, judged in enumerate(self.beliefs.evidence.findings):
            gone = sight.gone(took, int(sight.period[f]))
            rows = np.where(sight.touch[f] & ~gone, sight.rows[f, 1:], -np.inf)
            if bool((sight.touch[f] & ~gone)[list(company)].any()):
                rows = np.maximum(rows, base[f])
            others = np.where(np.isneginf(rows), base[f], rows)
            there = float((np.exp(others) * rival).sum())
            weight = math.exp(min(float(here[f]) - math.log(max(there, 1e-300)), 700.0))
            out.append(self.reason(judged.seq, weight, chosen, company, took, subject))
        out.sort(key=lambda reason: -abs(math.log(max(reason.weight, 1e-12))))
        return tuple(out)

    def reason(
        self,
        seq: int,
        weight: float,
        chosen: frozenset[int],
        against: frozenset[int] | None,
        took: Took,
        subject: frozenset[int],
    ) -> Reason:
        """One finding with its source and, where computed, what either would show."""
        reasoner, finding = self.reasoner, self.findings[seq]
        rules = rules_behind(reasoner, self.beliefs, finding, sorted(subject))
        if finding.step is None:
            return Reason(finding, weight, "computed" if reasoner.predictor is not None else "usual share", rules)
        if not reasoner.chances.computed(finding.step):
            return Reason(finding, weight, rules[0] if rules else "usual share", rules)
        if 1 / _SAYS_LITTLE < weight < _SAYS_LITTLE:
            return Reason(finding, weight, "computed", rules)
        f = next(i for i, judged in enumerate(self.beliefs.evidence.findings) if judged.seq == seq)
        there = self.sight.moves[f] & ~self.sight.gone(took, finding.period)
        shown, instead = (
            reasoner.chances.shown(finding.step, frozenset(i for i in members if there[i]))
            for members in (chosen, against or frozenset())
        )
        return Reason(finding, weight, "computed", rules, shown, None if against is None else instead)

    def contrast(
        self, chosen: frozenset[int], took: Took, leader: frozenset[int] | None, subject: frozenset[int]
    ) -> tuple[Reason, ...]:
        """How many times likelier each finding is with `chosen` than with what is held likeliest, the one that
        speaks most against it first."""
        here = self.sight.told([chosen], took)[0]
        if leader is None:
            there = np.array([math.log(max(f.flat, 1e-300)) for f in self.beliefs.evidence.findings])
        else:
            self.sight.solve([leader])
            course = int(self.weights([leader])[:, 0].argmax())
            there = self.sight.told([leader], [t for t, _ in self.sight.patterns()][course])[0]
        out = [
            self.reason(f.seq, math.exp(float(np.clip(a - b, -700, 700))), chosen, leader, took, subject)
            for f, a, b in zip(self.beliefs.evidence.findings, here, there, strict=True)
        ]
        return tuple(sorted(out, key=lambda reason: reason.weight))


def log_prior_of(log_prior: Floats, members: frozenset[int]) -> float:
    """Log prior of several causes at once: each further one is rarer than alone."""
    return float(log_prior[list(members)].sum() + (len(members) - 1) * math.log(PAIR_RATE))


# ---------------------------------------------------------------- why, and why not


def account_of(
    reasoner: Reasoner, beliefs: Beliefs, mine: Sequence[int], allowed: Callable[[Step], bool] = lambda step: True
) -> Account:
    """Where a cause stands, or all causes of a remedy (`mine`, indices). `allowed`: the steps that may still be
    asked. Raises ValueError for no causes."""
    return _account(_Case(reasoner, beliefs), mine, allowed)


def accounts_of(reasoner: Reasoner, beliefs: Beliefs, several: Sequence[Sequence[int]]) -> list[Account]:
    """The same for several causes or remedies side by side, without what would bring each back."""
    case = _Case(reasoner, beliefs)
    case.sight.solve([s for mine in several for s in case.candidates(mine)])
    return [_account(case, mine, None) for mine in several]


def _account(case: _Case, mine: Sequence[int], allowed: Callable[[Step], bool] | None) -> Account:
    if not mine:
        raise ValueError(t("an account needs at least one cause"))
    reasoner, beliefs, posterior = case.reasoner, case.beliefs, case.beliefs.posterior
    chosen, took = case.held(mine)
    subject = chosen.intersection(mine)
    company = chosen - subject
    last = case.sight.periods - 1
    gone = case.sight.gone(case.sight.all_took, last)
    leader, leader_p = _leader(posterior.sets, posterior.healthy, posterior.outside)
    lefts = [start for start, _ in posterior.starts if case.sight.left(start, case.sight.all_took) == leader]
    compared = None if leader is None else lefts[0] if lefts else leader
    p = sum(chance for members, chance in posterior.sets if not members.isdisjoint(mine))
    scale = 1.0 + beliefs.evidence.healthy + beliefs.evidence.outside
    out = Account(
        subject,
        company,
        p,
        float(beliefs.evidence.prior[list(mine)].sum()) / scale,
        case.reasons(chosen, took, mine),
        "open",
        leader,
        leader_p,
        beliefs.evidence.outside / scale if compared is None else math.exp(case.prior(compared)) / scale,
        math.exp(case.prior(chosen)) / scale,
    )
    cured_by = _cured_by(beliefs, reasoner, mine) if all(gone[i] for i in mine) else None
    if leader is not None and not leader.isdisjoint(mine):
        return replace(out, standing="leading", cured_by=cured_by)
    if cured_by is not None:
        return replace(out, standing="treated", cured_by=cured_by)
    contrast = case.contrast(chosen, took, compared, subject)
    against = any(reason.weight * _TELLS <= 1 for reason in contrast)
    if against:
        standing = "against"
    elif compared and compared < chosen and not any(reason.weight >= _TELLS for reason in contrast):
        standing = "beside"
    elif out.odds_prior * _TELLS <= out.leader_prior:
        standing = "rare"
    else:
        standing = "open" if math.prod(min(r.weight, 1e6) for r in contrast) * _TELLS > 1 else "against"
    back = _back(case, chosen, took, p, contrast, allowed) if allowed is not None else ()
    return replace(out, standing=standing, contrast=contrast, back=back)


def _leader(
    sets: Sequence[tuple[frozenset[int], float]], healthy: float, outside: float
) -> tuple[frozenset[int] | None, float]:
    """What is held likeliest now; the empty set for nothing wrong, None for a cause outside the model."""
    found: list[tuple[frozenset[int] | None, float]] = [(frozenset(), healthy), (None, outside), *sets[:1]]
    leader, p = max(found, key=lambda pair: pair[1])
    if not leader:
        return leader, p
    fuller = _with_further(leader, math.log(p), [(members, math.log(chance)) for members, chance in sets])
    return fuller, dict(sets)[fuller]


def _with_further(
    chosen: frozenset[int], weight: float, sets: Sequence[tuple[frozenset[int], float]]
) -> frozenset[int]:
    """The likeliest of `sets` (log weights, likeliest first) with a fault more than `chosen`, where these together
    are likelier than `chosen` alone; else `chosen`."""
    further = [(members, log) for members, log in sets if members > chosen]
    if not further or np.logaddexp.reduce([log for _, log in further]) <= weight:
        return chosen
    return further[0][0]


def _cured_by(beliefs: Beliefs, reasoner: Reasoner, mine: Sequence[int]) -> str | None:
    """The newest remedy carried out that cures all of these; empty for an unnamed change, None for none."""
    for treatment in reversed(beliefs.evidence.treatments):
        if treatment.causes is None:
            return ""
        if treatment.causes.issuperset(mine):
            return reasoner.remedy_of[mine[0]]
    return None


# ---------------------------------------------------------------- what would bring it back


def _back(
    case: _Case,
    chosen: frozenset[int],
    took: Took,
    p: float,
    contrast: Sequence[Reason],
    allowed: Callable[[Step], bool],
) -> tuple[Back, ...]:
    """Answers still to be given, likely with the cause, that would raise it most, quick checks first among
    those about as good; then the answer that, were it wrong, would."""
    reasoner, outlook = case.reasoner, Outlook(case.reasoner, case.beliefs)
    now = case.sight.left(chosen, took)
    logs = np.array([weight for _, weight in case.beliefs.posterior.starts])
    total = float(np.logaddexp.reduce(logs)) if len(logs) else 0.0
    weight = float(case.weights([chosen]).max())
    p = max(p, math.exp(min(weight - total, 0.0)) * (1 - case.beliefs.posterior.outside))
    found: list[tuple[float, Step, int]] = []
    for step in reasoner.steps.values():
        if not allowed(step):
            continue
        mine_row, every = outlook.of_set(step, now), outlook.total(step)
        after = np.where(mine_row >= _BACK_FROM, p * mine_row / np.maximum(every, p * mine_row), 0.0)
        column = int(after.argmax())
        if after[column] > max(2 * p, _BACK_LEAST):
            found.append((float(after[column]), step, column))
    out: list[Back] = []
    while found and len(out) < _BACKS:
        best = max(then for then, _, _ in found)
        then, step, column = min(
            (one for one in found if one[0] >= _AS_GOOD * best), key=lambda one: (one[1].minutes, -one[0])
        )
        out.append(Back(step, outlook.spoken(step, column), None, then))
        found = [one for one in found if _point(one[1]) != _point(step)]
    worst = next((reason for reason in contrast if reason.weight * _TELLS <= 1), None)
    if worst is not None:
        wrong = _without(case, chosen, worst.finding.seq, weight)
        if wrong > max(2 * p, _BACK_LEAST):
            out.append(Back(None, None, worst.finding.seq, wrong))
    return tuple(out)


def _point(step: Step) -> tuple[str | None, ...]:
    """What a step looks at or touches."""
    return (step.target, step.red, step.black, step.through)


def _without(case: _Case, chosen: frozenset[int], seq: int, weight: float) -> float:
    """Chance of `chosen` among the sets weighed, were one answer left out."""
    starts = case.beliefs.posterior.starts
    f = next(i for i, finding in enumerate(case.beliefs.evidence.findings) if finding.seq == seq)
    sets = [*(s for s, _ in starts if s != chosen), chosen]
    weights = np.array([*(w for s, w in starts if s != chosen), weight])
    left = weights - case.sight.told(sets, case.sight.all_took)[:, f]
    return float(np.exp(left[-1] - np.logaddexp.reduce(left)))


# ---------------------------------------------------------------- rules


def rules_behind(reasoner: Reasoner, beliefs: Beliefs, finding: Finding, causes: Sequence[int]) -> tuple[str, ...]:
    """Fired rules that rest on a finding and speak of one of these causes, most conditions first."""
    wanted = {reasoner.causes[i].id for i in causes}
    if finding.step is None or finding.value is None:
        return ()
    found = []
    for firing in beliefs.firings:
        if finding.step.id not in firing.facts:
            continue
        rule = reasoner.knowledge.rules[firing.rule_id]
        holds = all(fits(condition, finding.value) for condition in rule.when if condition.check == finding.step.id)
        if holds and any(weighed(effect)[0] in wanted for effect in rule.then):
            found.append((-len(rule.when), rule.id))
    return tuple(rule_id for _, rule_id in sorted(found))
