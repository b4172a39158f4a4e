"""Judgements on rules by their conditions alone: those that never fire, contradict or repeat each other, or push a
cause beyond recall.

Needs no network. Knows nothing of recorded jobs or files.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

from diag.errors import Place
from diag.knowledge import schema
from diag.knowledge.names import quoted, words
from diag.reason.ruled import Grounded, ground, weighed
from diag.review.recall import push_beyond_recall
from diag.review.slips import Slips
from diag.review.spaces import Met, Spaces, believable, spelt_value
from diag.texts import t

__all__ = ["judge_rules"]


@dataclass(frozen=True)
class _Read:
    """A live rule with what its own conditions ask for and what it does to causes."""

    rule: schema.Rule
    met: Met
    effects: Mapping[str, float]

    @property
    def id(self) -> str:
        return self.rule.id

    @property
    def others(self) -> frozenset[tuple[str, str]]:
        """Effects that weigh nothing."""
        return frozenset(
            (kind, name)
            for effect in self.rule.then
            for kind, name in (
                ("establish", effect.establish),
                ("ask", effect.ask),
                ("warn", effect.warn),
                ("stop", effect.stop),
            )
            if name is not None
        )


def judge_rules(slips: Slips) -> frozenset[str]:
    """Report every rule that never fires, opposes or repeats another one, or takes part in a push beyond recall.
    Returns those that never fire."""
    spaces = Spaces(slips.know)
    live = [rule for rule in slips.know.rules.values() if rule.state != "retired"]
    read = [_Read(rule, spaces.met(rule.when), _effects(rule)) for rule in live]
    ways: dict[str, list[Grounded]] = {}
    for grounded in ground(live):
        ways.setdefault(grounded.rule_id, []).append(grounded)
    own = frozenset(slips.owned(one.id for one in read))
    makers: dict[str, list[schema.Rule]] = {}
    for rule in live:
        for effect in rule.then:
            if effect.establish is not None:
                makers.setdefault(effect.establish, []).append(rule)
    never = set()
    for one in (one for one in read if one.id in own):
        _inside(slips, one)
        if not _reaches(slips, spaces, one, ways.get(one.id, []), makers):
            never.add(one.id)
    for name in slips.owned(iter(slips.know.symptoms)):
        for index, way in enumerate(slips.know.symptoms[name].shows):
            _conditions(slips, spaces, name, way, ("shows", index))
    sound = [one for one in read if one.id not in never]
    for first, second in _alike(sound):
        if first.id in own or second.id in own:
            _compare(slips, first, second)
    push_beyond_recall(slips, spaces, {one.id: one.effects for one in sound}, ways, own)
    return frozenset(never)


def _effects(rule: schema.Rule) -> dict[str, float]:
    return {cause: weight for cause, weight in map(weighed, rule.then) if cause}


# ---------------------------------------------------------------- one rule


def _inside(slips: Slips, one: _Read) -> None:
    """Report where a rule's effects disagree among themselves, or say nothing."""
    seen: dict[str, tuple[int, schema.Conclusion]] = {}
    for index, effect in enumerate(one.rule.then):
        cause, weight = weighed(effect)
        if not cause:
            continue
        at = slips.place(one.id, "then", index)
        if cause in seen:
            before = weighed(seen[cause][1])[1]
            if (before > 1) != (weight > 1):
                slips.say(
                    at,
                    t("one rule both points to a cause and clears it"),
                    quoted(cause),
                    t("one of the two"),
                    t("Take one of them away, or make two rules with different conditions."),
                    code="contradiction",
                    severity="error",
                )
            else:
                slips.say(
                    at,
                    t("a rule speaks of one cause twice"),
                    quoted(cause),
                    t("each cause once"),
                    t("Take one of them away."),
                    code="given-twice",
                )
        seen.setdefault(cause, (index, effect))


def _conditions(
    slips: Slips, spaces: Spaces, name: str, when: Iterable[schema.Condition], at: tuple[str | int, ...]
) -> bool:
    """Whether the conditions of a rule or complaint can all be met; else that is told at the first that cannot."""
    before: dict[str, list[schema.Condition]] = {}
    for index, condition in enumerate(when):
        check = slips.know.checks.get(condition.check or "")
        if check is None:
            continue
        place = slips.place(name, *at, index)
        if not spaces.met([condition]).possible:
            low, high = believable(check.unit, slips.know.vehicle.system_v)
            if check.kind == "measure":
                span = (
                    t("{low:g} to {high:g} {unit}", low=low, high=high, unit=check.unit)
                    if high < 1e9
                    else t("{low:g} {unit} or more", low=low, unit=check.unit)
                )
                slips.say(
                    place,
                    t("no reading can be like that, so this never holds"),
                    _spelt(condition),
                    t("a bound within {span}", span=span),
                    t("Correct the number; it is in the check's unit."),
                    code="out-of-range",
                    severity="error",
                )
            else:
                known = words(sorted({spelt_value(value) for value in spaces.answers(check.id)}))
                slips.say(
                    place,
                    t("`{check}` is never answered like that, so this never holds", check=check.id),
                    _spelt(condition),
                    known,
                    t("Use a word that this check can be answered with."),
                    code="never-holds",
                    severity="error",
                )
            return False
        same = before.setdefault(check.id, [])
        if not spaces.met([*same, condition]).possible:
            slips.say(
                place,
                t("two conditions on `{check}` exclude each other, so this never holds", check=check.id),
                t("{spelt} beside {map}", spelt=_spelt(condition), map=t(" and ").join(map(_spelt, same))),
                t("conditions that one answer can meet"),
                t("Take one of them away, or make two rules."),
                code="excludes-itself",
                severity="error",
            )
            return False
        if same and spaces.met(same).within(spaces.met([condition])):
            slips.say(
                place,
                t("this condition adds nothing to the one before it"),
                _spelt(condition),
                "",
                t("Take it away."),
                code="idle-condition",
            )
        same.append(condition)
    return True


def _spelt(condition: schema.Condition) -> str:
    tests = condition.model_dump(by_alias=True, exclude_none=True, exclude={"check", "established"})
    return ", ".join(
        f"`{key} {value:g}`"
        if isinstance(value, float)
        else f"`{key} {t(' to ').join(format(edge, 'g') for edge in value)}`"
        if isinstance(value, tuple | list)
        else f"`{key}: {value}`"
        for key, value in tests.items()
    )


def _reaches(
    slips: Slips, spaces: Spaces, one: _Read, ways: list[Grounded], makers: Mapping[str, Sequence[schema.Rule]]
) -> bool:
    """Whether a rule can fire at all."""
    if not _conditions(slips, spaces, one.id, one.rule.when, ("when",)):
        return False
    needed = [(index, condition.established) for index, condition in enumerate(one.rule.when) if condition.established]
    if not needed or any(word not in makers for _, word in needed):
        return True  # an unknown word is told where references are checked
    if any(_rests_on_itself(word, makers) for _, word in needed):
        return False  # and so is a ring
    if any(spaces.met(c for conditions in way.conditions.values() for c in conditions).possible for way in ways):
        return True
    index, word = needed[0]
    if ways:
        behind = sorted({rule.id for rule in makers.get(word or "", ())})
        slips.say(
            slips.place(one.id, "when", index),
            t("what must be established first needs other answers than this rule"),
            t("{word}, established by {behind}", word=quoted(word or ""), behind=words(behind)),
            t("conditions that hold together with theirs"),
            t("Compare the conditions on the checks that both name."),
            code="dead-chain",
            severity="error",
        )
    else:
        slips.say(
            slips.place(one.id, "when", index),
            t("no chain of rules ever establishes this"),
            quoted(word or ""),
            t("a conclusion whose rules can fire"),
            t("Mend the rules that establish it."),
            code="dead-chain",
            severity="error",
        )
    return False


def _rests_on_itself(word: str, makers: Mapping[str, Sequence[schema.Rule]]) -> bool:
    """Whether a conclusion is needed to establish itself."""
    seen: set[str] = set()
    queue = [word]
    while queue:
        for rule in makers.get(queue.pop(), ()):
            needed = {condition.established for condition in rule.when if condition.established} - seen
            if word in needed:
                return True
            seen |= needed
            queue += sorted(needed)
    return False


# ---------------------------------------------------------------- two rules


def _alike(read: list[_Read]) -> Iterator[tuple[_Read, _Read]]:
    """Pairs that speak of a cause in common, or ask for the same checks and words: only those can oppose or repeat."""
    groups: dict[object, list[_Read]] = {}
    for one in read:
        for cause in one.effects:
            groups.setdefault(cause, []).append(one)
        groups.setdefault((frozenset(one.met.answers), one.met.words), []).append(one)
    seen: set[tuple[str, str]] = set()
    for group in groups.values():
        for first, second in combinations(group, 2):
            if (first.id, second.id) not in seen:
                seen.add((first.id, second.id))
                yield first, second


def _compare(slips: Slips, first: _Read, second: _Read) -> None:
    inward, outward = second.met.within(first.met), first.met.within(second.met)
    if not inward and not outward:
        return
    narrow, wide = (second, first) if inward else (first, second)
    told, other = (narrow, wide) if slips.own(narrow.id) else (wide, narrow)
    opposed = [c for c in told.effects if c in other.effects and (told.effects[c] > 1) != (other.effects[c] > 1)]
    where = t("`{other}` at {place}", other=other.id, place=slips.place(other.id))
    if inward and outward:
        for cause in opposed:
            slips.say(
                _effect_at(slips, told, cause),
                t("two rules with the same conditions say the opposite of one cause"),
                t("{cause} here and in {where}", cause=quoted(cause), where=where),
                t("one of the two"),
                t("Take one away, or narrow its conditions."),
                code="contradiction",
                severity="error",
            )
        if not opposed and (slips.kin(told.id, other.id) or told.effects == other.effects):
            same = told.effects == other.effects and told.others == other.others
            slips.say(
                slips.place(told.id, "id"),
                t("another rule has the same conditions and the same effects")
                if same
                else t("another rule has the same conditions"),
                where,
                t("each rule once") if same else t("one rule with all its effects"),
                t("Take one away.") if same else t("Put the effects together, or tell the conditions apart."),
                code="duplicate-rule" if same else "same-conditions",
            )
        return
    if narrow.met.answers.keys() == wide.met.answers.keys() and narrow.met.words == wide.met.words:
        for cause in opposed:  # with a check more the narrower one has evidence of its own, and may well disagree
            slips.say(
                _effect_at(slips, told, cause),
                t(
                    "a {what} rule on the same checks says the opposite of it",
                    what=t("wider") if told is narrow else t("narrower"),
                ),
                t("{cause} here and in {where}", cause=quoted(cause), where=where),
                t("rules that agree where both hold"),
                t("Where both hold only one counts: part their conditions, so that never both do."),
                code="opposed",
            )
    weights = narrow.effects.items() <= wide.effects.items() and narrow.others <= wide.others
    if weights and not opposed and told is narrow:
        slips.say(
            slips.place(told.id, "id"),
            t("a rule with fewer conditions says all of this already"),
            where,
            t("something that the wider rule does not say"),
            t("Take it away, or give it an effect of its own."),
            code="adds-nothing",
        )


def _effect_at(slips: Slips, one: _Read, cause: str) -> Place:
    index = next(i for i, effect in enumerate(one.rule.then) if weighed(effect)[0] == cause)
    return slips.place(one.id, "then", index)
