"""Judgements on causes and what cures them. Needs no network; the caller says which causes there are."""

from __future__ import annotations

from collections.abc import Collection

from diag.knowledge.names import quoted, words
from diag.reason.ruled import weighed
from diag.reason.steps import Deed
from diag.review.recall import BEYOND_RECALL
from diag.review.slips import Slips

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
                    slips.place(name, "cures", index), "another remedy cures this cause already",
                    f"{quoted(cause)}, cured by `{other}` at {slips.place(other)}", "one remedy for each cause",
                    "Take it away from one of them; only one would be proposed.", code="cured-twice",
                )  # fmt: skip
            elif cause in remedy.cures[:index]:
                slips.say(
                    slips.place(name, "cures", index), "a cause stands twice", quoted(cause), "each cause once",
                    "Take one away.", code="given-twice",
                )  # fmt: skip
    for name, note in slips.know.causes.items():
        if note.remedy is not None and first.get(name) not in (None, note.remedy):
            slips.say(
                slips.place(name, "remedy"), "another remedy cures this cause already",
                f"{quoted(note.remedy)}, but `{first[name]}` names it under `cures`", f"`{first[name]}`",
                "Leave `remedy` out here, or take the cause away there.", code="cured-twice",
            )  # fmt: skip


def _notes(slips: Slips, causes: Collection[str] | None) -> None:
    spoken = {
        weighed(effect)[0]
        for rule in slips.know.rules.values() if rule.state != "retired"
        for effect in rule.then if weighed(effect)[1] > 1
    }  # fmt: skip
    for name, note in slips.know.causes.items():
        added = causes is not None and name not in causes
        if added and note.like is None and name not in spoken:
            slips.say(
                slips.place(name), "nothing ever points to this added cause", quoted(name),
                "a rule that points to it, or `like` with the cause whose readings it shows",
                "Add one of the two; else it is never found.", code="unseen-cause",
            )  # fmt: skip
        if note.frequency is not None and note.frequency < BEYOND_RECALL:
            slips.say(
                slips.place(name, "frequency"), "this makes the cause all but impossible, whatever is found later",
                f"`{note.frequency:g}`", f"at least {BEYOND_RECALL:g}",
                "Give how often it is met, per thousand faults (for a derived cause: how many times as often).",
                code="unrecoverable",
            )  # fmt: skip


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
                slips.place(told), "another check asks for the very same thing",
                f"`{beside}` at {slips.place(beside)}", "each thing asked for once",
                f"Use `{beside}` in the rules, and take this one away.", code="duplicate-check",
            )  # fmt: skip
    phrases = {s.title.lower(): n for n, s in reversed(list(slips.know.symptoms.items()))}
    for name, symptom in slips.know.symptoms.items():
        other = phrases[symptom.title.lower()]
        if other != name:
            slips.say(
                slips.place(name, "title"), "another complaint has the same title", quoted(symptom.title),
                f"another title than that of {words([other])}", "Say what tells the two apart.", code="same-phrase",
            )  # fmt: skip
