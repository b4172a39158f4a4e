"""Rules that the computed prediction contradicts: with the cause that a rule points to, what fires it is less likely
than usual.

Computed on small vehicles that have just the circuits concerned. Knows nothing of files.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from diag.circuit.predict import Predictor
from diag.knowledge.names import quoted
from diag.reason.matcher import PlainMatcher
from diag.reason.operates import looked_at, step_operates
from diag.reason.reasoner import Reasoner
from diag.reason.ruled import weighed
from diag.review.slips import Slips

__all__ = ["judge_directions", "reasoner_of"]

_LESS = 0.8
"""A cause that makes a finding at most this much as likely as usual speaks against a rule that points to it; what lies
between is no more than the spread of the computation. Common practice, no source."""
_MORE = 10.0
"""A cause that makes a finding this many times likelier than usual, and as likely as the best that the rule points to,
speaks against a rule that clears it: what is cleared may well be likelier than usual, for the first of a rule's
conditions only says what the complaint is. Common practice, no source."""


def reasoner_of(slips: Slips, cache: Path | None, progress: Callable[[float], None] | None) -> Reasoner:
    """The reasoner of the vehicle, with its network."""
    knowledge = slips.know
    predictor = Predictor(knowledge, step_operates(knowledge), cache, progress, looked_at(knowledge))
    return Reasoner(knowledge, predictor, PlainMatcher())


def judge_directions(slips: Slips, reasoner: Reasoner) -> None:
    """Report each effect of a rule that the network speaks against; only rules whose checks are all computed."""
    for rule in reasoner.rules:
        if not slips.own(rule.id):
            continue
        found = reasoner.chances.direction(rule, reasoner.steps)
        best = max((found.get(effect.points_to or "", 0.0) for effect in rule.then), default=0.0)
        for index, effect in enumerate(rule.then):
            cause, weight = weighed(effect)
            times = found.get(cause)
            if times is None:
                continue
            if weight > 1 and times < _LESS:
                slips.say(
                    slips.place(rule.id, "then", index), "the network speaks against this: with the cause, what fires "
                    "the rule is less likely than usual", f"{quoted(cause)}, {_times(times)} as likely",
                    "a cause that makes the findings likelier",
                    f"Look at `diag vehicle show --fault {cause}`; correct the conditions or the cause.",
                    code="against-network",
                )  # fmt: skip
            elif weight < 1 and times > max(_MORE, best):
                slips.say(
                    slips.place(rule.id, "then", index), "the network speaks against this: with the cause, what fires "
                    "the rule is likelier than usual", f"{quoted(cause)}, {_times(times)} as likely",
                    "a cause that makes the findings less likely",
                    f"Look at `diag vehicle show --fault {cause}`; correct the conditions, or do not clear it.",
                    code="against-network",
                )  # fmt: skip


def _times(found: float) -> str:
    return f"{found:.2g} times" if found >= 0.01 else "hardly ever"
