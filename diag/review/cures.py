"""Judgements on causes and what cures them. Needs no network; the caller says which causes there are."""

from __future__ import annotations

from collections.abc import Collection

from diag.knowledge.names import quoted, words
from diag.reason.ruled import weighed
from diag.reason.steps import Deed
from diag.review.recall import BEYOND_RECALL
from diag.review.slips import Slips
from diag.texts import t

__all__ = ["judge_cures"]


def judge_cures(slips: Slips, causes: Collection[str] | None) -> None:
    """Report causes that two remedies claim, added causes that nothing can ever find, notes that make a cause all but
    impossible, and checks that ask for one thing twice. `causes`: those that follow from parts and wires."""
    _claimed_twice(slips)
    _notes(slips, causes)
    _same_deed(slips)


def _claimed_twice(slips: Slips) -> None:
    first: dict[str, str] = {}
    for name, remedy in slips.know.remedies.items():
        for index, cause in enumerate(remedy.cures):
            other = first.setdefault(cause, name)
            if other != name:
                slips.say(
                    slips.place(name, "cures", index),
                    t("another remedy cures this cause already"),
                    t(
                        "{cause}, cured by `{other}` at {place}",
                        cause=quoted(cause),
                        other=other,
                        place=slips.place(other),
                    ),
                    t("one remedy for each cause"),
                    t("Take it away from one of them; only one would be proposed."),
                    code="cured-twice",
                )
            elif cause in remedy.cures[:index]:
                slips.say(
                    slips.place(name, "cures", index),
                    t("a cause stands twice"),
                    quoted(cause),
                    t("each cause once"),
                    t("Take one away."),
                    code="given-twice",
                )
    for name, note in slips.know.causes.items():
        if note.remedy is not None and first.get(name) not in (None, note.remedy):
            slips.say(
                slips.place(name, "remedy"),
                t("another remedy cures this cause already"),
                t("{remedy}, but `{first}` names it under `cures`", remedy=quoted(note.remedy), first=first[name]),
                f"`{first[name]}`",
                t("Leave `remedy` out here, or take the cause away there."),
                code="cured-twice",
            )


def _notes(slips: Slips, causes: Collection[str] | None) -> None:
    spoken = {
        weighed(effect)[0]
        for rule in slips.know.rules.values()
        if rule.state != "retired"
        for effect in rule.then
        if weighed(effect)[1] > 1
    }
    for name, note in slips.know.causes.items():
        added = causes is not None and name not in causes
        if added and note.like is None and name not in spoken:
            slips.say(
                slips.place(name),
                t("nothing ever points to this added cause"),
                quoted(name),
                t("a rule that points to it, or `like` with the cause whose readings it shows"),
                t("Add one of the two; else it is never found."),
                code="unseen-cause",
            )
        if note.frequency is not None and note.frequency < BEYOND_RECALL:
            slips.say(
                slips.place(name, "frequency"),
                t("this makes the cause all but impossible, whatever is found later"),
                f"`{note.frequency:g}`",
                t("at least {beyond_recall:g}", beyond_recall=BEYOND_RECALL),
                t("Give how often it is met, per thousand faults (for a derived cause: how many times as often)."),
                code="unrecoverable",
            )


def _same_deed(slips: Slips) -> None:
    seen: dict[object, str] = {}
    for name, check in slips.know.checks.items():
        if check.kind in ("choose", "do"):
            continue
        deed = Deed(check.kind, check.operate, check.target, check.red, check.black, check.through, check.unit)
        other = seen.setdefault(deed.key, name)
        if other != name:
            told, beside = (name, other) if slips.own(name) else (other, name)
            slips.say(
                slips.place(told),
                t("another check asks for the very same thing"),
                t("`{beside}` at {place}", beside=beside, place=slips.place(beside)),
                t("each thing asked for once"),
                t("Use `{beside}` in the rules, and take this one away.", beside=beside),
                code="duplicate-check",
            )
    phrases = {s.title.lower(): n for n, s in reversed(list(slips.know.symptoms.items()))}
    for name, symptom in slips.know.symptoms.items():
        other = phrases[symptom.title.lower()]
        if other != name:
            slips.say(
                slips.place(name, "title"),
                t("another complaint has the same title"),
                quoted(symptom.title),
                t("another title than that of {other}", other=words([other])),
                t("Say what tells the two apart."),
                code="same-phrase",
            )
