"""Judgements on knowledge that loads: causes cited but not derived, and what is probably a slip.

Must not read files, nor derive causes itself: the caller says which there are.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterator
from dataclasses import replace

from diag.errors import Problem
from diag.knowledge import schema
from diag.knowledge.assemble import Knowledge, terminals_of
from diag.knowledge.names import nearest, quoted, words
from diag.knowledge.reader import Loc
from diag.texts import t

__all__ = ["added_causes", "check_causes", "warnings"]


def added_causes(knowledge: Knowledge, known: Collection[str]) -> frozenset[str]:
    """Ids of the notes that add a cause of their own to the `known` derived ones."""
    return frozenset(
        name
        for name, note in knowledge.causes.items()
        if name not in known and note.title is not None and note.frequency is not None
    )


def check_causes(knowledge: Knowledge, known: Collection[str], able: Collection[str] = ()) -> list[Problem]:
    """Every cited cause that is neither among the `known` derived ones nor added by a note; of a part that has
    another form on other vehicles it may be one of that form.

    `able`: faults that are not derived by themselves; a note with a value of its own may be like one."""
    derived = frozenset(known)
    citable = derived | added_causes(knowledge, derived)
    problems: list[Problem] = []

    def cite(cause: str | None, among: Collection[str], name: str, *loc: str | int) -> None:
        if cause is None or cause in among:
            return
        part = cause.split(".")[0]
        if part in knowledge.several:
            return
        its = sorted(other for other in among if other.split(".")[0] == part)
        if part not in knowledge.parts and part not in knowledge.wires:
            mend = nearest(cause, among) or t("No part or wire has this name.")
        else:
            slip = nearest(cause[len(part) + 1 :], [other[len(part) + 1 :] for other in its])
            mend = slip.replace("`", f"`{part}.", 1) or t("It can have {its}.", its=words(its) or t("no fault"))
        problems.append(
            Problem(
                knowledge.spots.place(name, *loc),
                t("there is no such cause"),
                quoted(cause),
                t("a fault that the part or wire can have, or one added under `causes`"),
                mend,
                code="unknown-cause",
            )
        )

    for name, rule in knowledge.rules.items():
        for index, effect in enumerate(rule.then):
            cite(effect.points_to, citable, name, "then", index, "points-to")
            cite(effect.clears, citable, name, "then", index, "clears")
    for name, remedy in knowledge.remedies.items():
        for index, cause in enumerate(remedy.cures):
            cite(cause, citable, name, "cures", index)
    for name, note in knowledge.causes.items():
        valued = note.ohm is not None or note.factor is not None
        cite(note.like, derived.union(able) if valued else derived, name, "like")
        if name not in citable:
            cite(name, citable, name, "id")
            mend = t("{mend} An added cause needs a `title` and a `frequency`.", mend=problems[-1].mend)
            problems[-1] = replace(problems[-1], mend=mend)
        elif name not in derived and note.remedy is None and not _cured(knowledge, name):
            problems.append(
                Problem(
                    knowledge.spots.place(name),
                    t("nothing cures this added cause"),
                    quoted(name),
                    t("a `remedy`, or a remedy that names it under `cures`"),
                    t("Add one."),
                    code="no-remedy",
                )
            )
    return sorted(problems)


def _cured(knowledge: Knowledge, cause: str) -> bool:
    return any(cause in remedy.cures for remedy in knowledge.remedies.values())


def warnings(knowledge: Knowledge) -> list[Problem]:
    """What loads but is probably a slip; none of it stops a job."""
    return sorted(
        replace(slip, severity="warning")
        for slip in [
            *_bare_terminals(knowledge),
            *_at_rest(knowledge),
            *_idle_words(knowledge),
            *_same_phrase(knowledge),
            *_impossible(knowledge),
            *_unused_cautions(knowledge),
            *_lone_bundles(knowledge),
            *_positions_left_out(knowledge),
            *_never_there(knowledge),
        ]
    )


def _bare_terminals(knowledge: Knowledge) -> Iterator[Problem]:
    wired = {end for wire in knowledge.wires.values() for end in (wire.from_, wire.to)}
    bars = {end for check in knowledge.checks.values() for end in (check.red, check.black)}  # a place to measure at
    for name, part in knowledge.parts.items():
        for terminal in terminals_of(part):
            at = f"{name}.{terminal}"
            if at not in wired and not (isinstance(part, schema.JointPart) and at in bars):
                yield Problem(
                    knowledge.spots.place(name),
                    t("no wire is on `{name}.{terminal}`", name=name, terminal=terminal),
                    "",
                    "",
                    t("Add the wire, or leave it if the terminal is free on purpose."),
                    code="bare-terminal",
                )


def _at_rest(knowledge: Knowledge) -> Iterator[Problem]:
    for name, check in knowledge.checks.items():
        for control, position in check.operate.items():
            if position == knowledge.controls.get(control, ("",))[0]:
                yield Problem(
                    knowledge.spots.place(name, "operate", control),
                    t("`{control}` is at rest here", control=control),
                    quoted(position),
                    t("only controls that differ from rest"),
                    t("Leave it out."),
                    code="at-rest",
                )


def _idle_words(knowledge: Knowledge) -> Iterator[Problem]:
    used = {condition.established for entry in knowledge.rules.values() for condition in entry.when}
    used |= {
        condition.established for symptom in knowledge.symptoms.values() for way in symptom.shows for condition in way
    }
    for name, rule in knowledge.rules.items():
        for index, effect in enumerate(rule.then):
            if effect.establish and effect.establish not in used and rule.state != "retired":
                yield Problem(
                    knowledge.spots.place(name, "then", index, "establish"),
                    t("nothing uses this intermediate conclusion"),
                    quoted(effect.establish),
                    "",
                    t("Use it in a rule, or take it away."),
                    code="unused-conclusion",
                )


def _same_phrase(knowledge: Knowledge) -> Iterator[Problem]:
    seen: dict[str, str] = {}
    for name, symptom in knowledge.symptoms.items():
        for index, phrase in enumerate(symptom.phrases):
            first = seen.setdefault(" ".join(phrase.lower().split()), name)
            if first != name:
                yield Problem(
                    knowledge.spots.place(name, "phrases", index),
                    t("the symptom `{first}` has the same phrase", first=first),
                    quoted(phrase),
                    "",
                    t("Leave it with the symptom it fits best."),
                    code="same-phrase",
                )


def _impossible(knowledge: Knowledge) -> Iterator[Problem]:
    for name, rule in knowledge.rules.items():
        for index, condition in enumerate(rule.when):
            if _dark_with_rhythm(condition):
                yield from _never(knowledge, name, ("when", index))
    for name, symptom in knowledge.symptoms.items():
        for way_index, way in enumerate(symptom.shows):
            for index, condition in enumerate(way):
                if _dark_with_rhythm(condition):
                    yield from _never(knowledge, name, ("shows", way_index, index))


def _never(knowledge: Knowledge, name: str, loc: Loc) -> Iterator[Problem]:
    yield Problem(
        knowledge.spots.place(name, *loc),
        t("a dark lamp has no rhythm, so this never holds"),
        "",
        t("`rhythm: none` with `light: dark`"),
        t("Take one of the two away."),
        code="never-holds",
    )


def _dark_with_rhythm(condition: schema.Condition) -> bool:
    return condition.light in ("dark", "is dark") and condition.rhythm not in (None, "none", "is none")


def _unused_cautions(knowledge: Knowledge) -> Iterator[Problem]:
    used = {check.caution for check in knowledge.checks.values()}
    used |= {name for remedy in knowledge.remedies.values() for name in remedy.cautions}
    used |= {name for form in knowledge.kinds.remedies.values() for name in form.cautions}
    for rule in knowledge.rules.values():
        used |= {name for effect in rule.then for name in (effect.warn, effect.stop)}
    for name in knowledge.cautions:
        if name not in used:
            yield Problem(
                knowledge.spots.place(name),
                t("nothing uses this caution"),
                quoted(name),
                "",
                t("Add it to a check, remedy or rule, or take it away."),
                code="unused-caution",
            )


def _lone_bundles(knowledge: Knowledge) -> Iterator[Problem]:
    named = Counter(wire.bundle for wire in knowledge.wires.values())
    for name, wire in knowledge.wires.items():
        if wire.bundle is not None and named[wire.bundle] == 1:
            yield Problem(
                knowledge.spots.place(name, "bundle"),
                t("no other wire is in this bundle"),
                quoted(wire.bundle),
                "",
                nearest(wire.bundle, [other for other in named if other and other != wire.bundle])
                or t("Name the wires that lie beside it, or leave `bundle` out."),
                code="lone-bundle",
            )


def _positions_left_out(knowledge: Knowledge) -> Iterator[Problem]:
    for name, part in knowledge.parts.items():
        if isinstance(part, schema.RheostatPart | schema.LevelSenderPart):
            missing = [each for each in knowledge.controls.get(part.control, ()) if each not in part.positions]
            if missing:
                yield Problem(
                    knowledge.spots.place(name, "positions"),
                    t(
                        "no resistance is given for {missing} of `{control}`",
                        missing=words(missing),
                        control=part.control,
                    ),
                    "",
                    "",
                    t("Add it, or leave it if nothing conducts there."),
                    code="position-left-out",
                )


def _never_there(knowledge: Knowledge) -> Iterator[Problem]:
    """Faults that are there only in positions of controls in which nothing is ever looked at."""
    rest = {control: positions[0] for control, positions in knowledge.controls.items()}
    for name, note in knowledge.causes.items():
        operates = ({**rest, **check.operate} for check in knowledge.checks.values())
        if note.while_ and not any(all(o.get(c) in wanted for c, wanted in note.while_.items()) for o in operates):
            yield Problem(
                knowledge.spots.place(name, "while"),
                t("no check has the controls so, and nobody would find this fault"),
                ", ".join(f"`{control}: {t(' or ').join(wanted)}`" for control, wanted in note.while_.items()),
                "",
                t("Add a check with an `operate` like it."),
                code="unseen-cause",
            )
