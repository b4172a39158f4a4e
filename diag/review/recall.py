"""Causes that one answer, taken wrongly, could push beyond recall: weights of all rules that rest on it, multiplied.

A rule counts at the last of its checks to be answered, and of rules that count at one answer only one does (see
`diag.reason.ruled`); so of rules that rest on one answer together as many can count as have checks of their own.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import prod

from diag.knowledge.names import quoted
from diag.reason.ruled import Grounded, weighed
from diag.review.slips import Slips
from diag.review.spaces import Met, Spaces, spelt_value
from diag.texts import t

__all__ = ["BEYOND_RECALL", "push_beyond_recall"]

BEYOND_RECALL = 1 / 1000
"""A product of weights below this is more than the largest weight for a cause (50) makes good twenty times over;
common practice, no source."""


@dataclass(frozen=True)
class _Push:
    """A rule that moves a cause by a weight where its conditions are met."""

    weight: float
    rule: str
    met: Met


@dataclass(frozen=True)
class _Fall:
    """Rules that rest on one answer to one check and speak against a cause, with the most that others can still say
    for it once all those answers stand."""

    product: float
    comeback: float
    check: str
    answer: int
    rules: tuple[str, ...]


def push_beyond_recall(
    slips: Slips,
    spaces: Spaces,
    effects: Mapping[str, Mapping[str, float]],
    ways: Mapping[str, list[Grounded]],
    own: Collection[str],
) -> None:
    """Report, once a cause, the answer on which rules rest that together push it below `BEYOND_RECALL`, so that all
    rules that could still point to it do not make that good. `own`: rules in files looked over."""
    about = {cause for rule in own for cause, weight in effects.get(rule, {}).items() if weight < 1}
    pushes: dict[str, list[_Push]] = {}
    for rule, found in effects.items():
        for way in ways.get(rule, ()):
            met = spaces.met(c for conditions in way.conditions.values() for c in conditions)
            if met.possible:
                for cause, weight in found.items():
                    if cause in about:
                        pushes.setdefault(cause, []).append(_Push(weight, rule, met))
    for cause, every in pushes.items():
        every.sort(key=lambda push: (push.weight, push.rule))
        falls = [fall for fall in _falls(every) if fall.product * fall.comeback < BEYOND_RECALL]
        worst = min(falls, default=None, key=lambda fall: fall.product * fall.comeback)
        mine = [rule for rule in worst.rules if rule in own] if worst is not None else []
        if worst is None or not mine:
            continue
        told = slips.know.rules[mine[-1]]
        index = next(i for i, effect in enumerate(told.then) if weighed(effect)[0] == cause)
        unit = slips.know.checks[worst.check].unit
        said = " ".join(filter(None, (spelt_value(spaces.answers(worst.check)[worst.answer]), unit)))
        still = (
            t("at most {comeback:g} times for it", comeback=worst.comeback)
            if worst.comeback > 1
            else t("nothing for it")
        )
        slips.say(
            slips.place(told.id, "then", index),
            t("rules that rest on one answer push {cause} beyond recall", cause=quoted(cause)),
            t(
                "1/{number:.0f} by {rules}, all on `{check}` answered `{said}`; then {still}",
                number=1 / worst.product,
                rules=t(" and ").join(f"`{rule}`" for rule in worst.rules),
                check=worst.check,
                said=said,
                still=still,
            ),
            t("1/{number:.0f} at least, or rules that can bring it back", number=1 / BEYOND_RECALL),
            t("Let fewer of them clear it, or give weights nearer to 1."),
            code="unrecoverable",
        )


def _falls(every: Sequence[_Push]) -> Iterator[_Fall]:
    against = [push for push in every if push.weight < 1]
    favour = [push for push in reversed(every) if push.weight > 1]
    for check, value in sorted(
        {(c, v) for push in against for c, allowed in push.met.answers.items() for v in allowed}
    ):
        chosen = _Chosen({check: frozenset({value})})
        for push in against:
            if value in push.met.answers.get(check, ()):
                chosen.take(push)
        product = prod(push.weight for push in chosen.pushes)
        alone = {p.rule: p.weight for p in against if p.met.answers.keys() == {check} and value in p.met.answers[check]}
        if prod(alone.values()) < BEYOND_RECALL:  # whichever of them counts, together they were meant to say this
            yield _Fall(prod(alone.values()), 1.0, check, value, tuple(sorted(alone)))
        elif product < BEYOND_RECALL:
            rules = tuple(sorted(push.rule for push in chosen.pushes))
            before = len(chosen.pushes)
            for push in favour:
                chosen.take(push)
            yield _Fall(product, prod(push.weight for push in chosen.pushes[before:]), check, value, rules)


class _Chosen:
    """Rules that can all be met at once, each counting at a check of its own."""

    def __init__(self, held: dict[str, frozenset[int]]) -> None:
        self.held = held
        self.pushes: list[_Push] = []
        self._counts_at: dict[str, int] = {}

    def take(self, push: _Push) -> None:
        """Add a rule where it fits beside the others."""
        if any(push.rule == other.rule for other in self.pushes):
            return
        merged = {name: self.held.get(name, allowed) & allowed for name, allowed in push.met.answers.items()}
        if not all(merged.values()):
            return
        self.pushes.append(push)
        if self._place(len(self.pushes) - 1, set()):
            self.held |= merged
        else:
            self.pushes.pop()

    def _place(self, which: int, tried: set[str]) -> bool:
        """Whether a rule finds a check to count at, moving others where they have another (augmenting paths)."""
        for check in sorted(self.pushes[which].met.answers):
            if check not in tried:
                tried.add(check)
                if check not in self._counts_at or self._place(self._counts_at[check], tried):
                    self._counts_at[check] = which
                    return True
        return False
