"""Rules that the computed prediction contradicts: with the cause that a rule points to, what fires it is less likely
than usual.

Computed on small vehicles that have just the circuits concerned. Knows nothing of files.
"""

from __future__ import annotations

from collections.abc import Callable, Collection
from pathlib import Path

from diag.circuit.predict import Predictor
from diag.knowledge.names import quoted
from diag.reason.matcher import PlainMatcher
from diag.reason.operates import looked_at, step_operates
from diag.reason.reasoner import Reasoner
from diag.reason.ruled import weighed
from diag.review.slips import Slips
from diag.texts import t

__all__ = ["judge_directions", "reasoner_of"]

_LESS = 0.8
"""A cause that makes a finding at most this much as likely as the others do on average speaks against a rule that
points to it, if it is then no likelier than on a sound vehicle; common practice, no source."""
_NO_LIKELIER = 1.2
_MORE = 10.0
"""A cause that makes a finding this many times likelier than the others do, and likelier than all that the rule points
to, speaks against a rule that clears it: what is cleared may well be likelier than usual, for the first of a rule's
conditions only says what the complaint is. Common practice, no source."""


def reasoner_of(slips: Slips, cache: Path | None, progress: Callable[[float], None] | None) -> Reasoner:
    """The reasoner of the vehicle, with its network."""
    knowledge = slips.know
    predictor = Predictor(knowledge, step_operates(knowledge), cache, progress, looked_at(knowledge))
    return Reasoner(knowledge, predictor, PlainMatcher())


def judge_directions(slips: Slips, reasoner: Reasoner, rules: Collection[str] | None = None) -> None:
    """Report each effect of a rule that the network speaks against; only rules whose checks are all computed.
    `rules`: only these of those that stand in files looked over."""
    for rule in reasoner.rules:
        if not slips.own(rule.id) or (rules is not None and rule.id not in rules):
            continue
        chances = reasoner.chances.met(rule, reasoner.steps)
        if chances is None:
            continue
        usual, sound = max(float(chances[1:].mean()), 1e-12), float(chances[0])
        spoken = {
            cause: float(chances[1 + reasoner.index[cause]])
            for cause, _ in map(weighed, rule.then)
            if cause in reasoner.index
        }
        best = max((spoken.get(effect.points_to or "", 0.0) for effect in rule.then), default=0.0)
        for index, effect in enumerate(rule.then):
            cause, weight = weighed(effect)
            if cause not in spoken:
                continue
            chance = spoken[cause]
            if weight > 1 and chance < _LESS * usual and chance < _NO_LIKELIER * sound:
                slips.say(
                    slips.place(rule.id, "then", index),
                    t(
                        "the network speaks against this: the cause makes what fires the rule no "
                        "likelier than on a sound vehicle, and less likely than other causes do"
                    ),
                    t("{cause}, {times} as likely as with others", cause=quoted(cause), times=_times(chance / usual)),
                    t("a cause that makes the findings likelier"),
                    t("Look at `diag vehicle show --fault {cause}`; correct the conditions or the cause.", cause=cause),
                    code="against-network",
                )
            elif weight < 1 and chance > max(_MORE * usual, best):
                slips.say(
                    slips.place(rule.id, "then", index),
                    t(
                        "the network speaks against this: the cause makes what fires the rule likelier "
                        "than all that it points to"
                    ),
                    t("{cause}, {times} as likely as with others", cause=quoted(cause), times=_times(chance / usual)),
                    t("a cause that makes the findings less likely"),
                    t(
                        "Look at `diag vehicle show --fault {cause}`; correct the conditions, or do not clear it.",
                        cause=cause,
                    ),
                    code="against-network",
                )


def _times(found: float) -> str:
    return t("{found:.2g} times", found=found) if found >= 0.01 else t("hardly ever")
