"""The sheet for the owner: what was wrong, what was done, what is open, what to watch, in plain words on a page.

Leaves out numbers of terminals, weights and chances; whoever works on the vehicle has the log for these.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

from diag.log.orders import newest_of
from diag.log.replayed import Replayed
from diag.log.report import Done, Item, Report
from diag.paper.found import faults_of, suspicions_of
from diag.paper.layout import Paper, render
from diag.paper.parts import fitted_of
from diag.paper.terms import terms_in
from diag.talk.telling import nothing_open_words
from diag.texts import FIELD, before_field, t

__all__ = ["as_owner"]

_BRACKETS = re.compile(r"(?:(?<=\S)|^)\s{0,9}\([^()]{0,600}\)")
_SUSPECTED = re.compile(
    re.escape(t("still suspected ({p:.0%}): {title}", p=0.0, title=FIELD))
    .replace("0%", "[^()]*")
    .replace(FIELD, "(.*)")
)
_MAYBE = ("if it has to be renewed", "if it cannot be mended")
"""As rules/kinds.yaml words what a remedy may need: it was bought for few of them."""
_UNPROVED = before_field(t("not proved, no check was made after it: {work}", work=FIELD))
_TOLD = 4
"""Checks named after a work; the rest is counted."""


@dataclass(frozen=True)
class _Work:
    """What was done, and what came of it, each a sentence."""

    title: str
    outcome: str
    parts: tuple[str, ...]


@dataclass(frozen=True)
class _Tried:
    """How much of one circuit was looked at, listened to or measured; how much of that was right at last, was `wrong`,
    or was wrong before the work that explains it and was not tried `again`."""

    title: str
    of: int
    right: int
    again: int
    wrong: int


def as_owner(job: Replayed, report: Report, paper: Paper | None = None) -> str:
    """The sheet as a web page that prints on one or two sides. The same job gives the same bytes."""
    fitted = fitted_of(job, report)
    told: dict[str, Any] = {
        "wrong": [_plain(fault.cause.title) for fault in faults_of(report)],
        "suspected": [_plain(one.cause.title) for one in suspicions_of(report)[:3]],
        "works": [
            _Work(_plain(work.title), _outcome(work), _foreseen(need.parts))
            for work, need in zip(report.done, fitted, strict=True)
        ],
        "asked": _asked(report),
        "tried": _tried(job, report),
        "open_items": [_open_words(text) for text in report.open_items],
        "to_tell": [_tell_words(text) for text in report.to_tell],
        "nothing_open": nothing_open_words(len(report.to_tell)),
        "watch": _watch(job, report),
    }
    return render("owner.html.j2", paper, report=report, terms=terms_in(f"{told}"), **told)


def _foreseen(parts: tuple[str, ...]) -> tuple[str, ...]:
    """What the work calls for in any case; nobody wrote down what of the rest was used."""
    return tuple(_plain(part) for part in parts if not part.endswith(_MAYBE))


def _plain(title: str) -> str:
    """A title without what stands in brackets: colours and terminals, which the fitter needs."""
    return _BRACKETS.sub("", title)


def _asked(report: Report) -> tuple[str, ...]:
    """What the job was begun for, as sentences."""
    stood = [i for i in report.items if i.event in ("answered", "found") and i.status == "standing"]
    told = [(i.title, i.found) for i in stood if i.check in ("start", "symptom")]
    return tuple(_begun(title, found) for title, found in told)


def _begun(title: str, found: str) -> str:
    if title == t("Complaint"):
        return t("You told us: {found}.", found=found)
    if title == t("To be checked"):
        return t("To be checked: {found}.", found=found)
    if title == t("To be proved"):
        return t("To be proved: {found}.", found=found)
    return f"{found}."


def _open_words(text: str) -> str:
    """An open item, the marks of the fuse list in words."""
    for mark, words in (
        (t("TOO LARGE: {line}", line=FIELD), t("A fuse too large for its wire: {line}", line=FIELD)),
        (t("LARGE: {line}", line=FIELD), t("A fuse larger than is best: {line}", line=FIELD)),
    ):
        if text.startswith(before_field(mark)):
            return words.replace(FIELD, text.removeprefix(before_field(mark))).replace(" mm2 ", " mm² ")
    suspected = _SUSPECTED.fullmatch(text)
    if suspected is not None:
        return t("perhaps still wrong, and not proved; the remedy would be: {plain}", plain=_plain(suspected[1]))
    return _plain(text) if text.startswith(_UNPROVED) else text  # what somebody typed stays as typed


def _tell_words(text: str) -> str:
    """A point to be told, the marks of the fuse list in words."""
    mark = before_field(t("not what this job was about: {line}", line=FIELD))
    if not text.startswith(mark):
        return text
    return t("Not what this job was about: {line}", line=_lower(_open_words(text.removeprefix(mark))))


def _lower(text: str) -> str:
    return text[:1].lower() + text[1:]


def _outcome(work: Done) -> str:
    if work.kind == "change":
        return t("A change of its own; nothing was written down that proves it.")
    right = [proof.title for proof in work.proofs if proof.sound]
    wrong = [proof.title for proof in work.proofs if not proof.sound]
    if work.verdict == "failed":
        return t("Tried afterwards, and still wrong: {few}.", few="; ".join(_few(wrong)))
    if not right:
        return t("NOT tried afterwards. Have it tried before you rely on it.")
    together = t(" (together with the work after it)") if work.verdict == "proved-together" else ""
    return t("Tried afterwards and right{together}: {few}.", together=together, few="; ".join(_few(right)))


def _few(titles: list[str]) -> list[str]:
    short = [title[:1].lower() + title[1:] for title in dict.fromkeys(titles)]
    return [*short[:_TOLD], t("and {number} more", number=len(short) - _TOLD)] if len(short) > _TOLD else short


def _tried(job: Replayed, report: Report) -> tuple[_Tried, ...]:
    """By circuit, in the vehicle's order."""
    by: dict[str, list[Item]] = {}
    for item in newest_of(report.items):
        step = job.reasoner.steps.get(item.check)
        if step is not None and item.sound is not None:
            by.setdefault(step.circuit, []).append(item)
    findings = {finding.seq: finding for finding in job.findings}
    out = []
    for name, file in job.reasoner.knowledge.circuits.items():
        odd = [item for item in by.get(name, ()) if not item.sound]
        mended = sum(item.number in findings and bool(job.explained_by(findings[item.number], "")) for item in odd)
        if name in by:
            of = len(by[name])
            out.append(_Tried(file.title, of, of - len(odd), mended, len(odd) - mended))
    return tuple(out)


def _watch(job: Replayed, report: Report) -> tuple[str, ...]:
    """What to look out for: what this job gives cause for, then what holds for every vehicle that has it. The trade's
    advice: common practice, no source."""
    knowledge = job.reasoner.knowledge
    out = []
    told = [item.found for item in report.items if item.title == t("Complaint") and item.status == "standing"]
    if told and report.done:
        out.append(
            t(
                "If it comes back ({told}): have it looked at again, and bring this sheet and the log.",
                told="; ".join(told),
            )
        )
    for work in report.done:
        if work.kind == "remedy" and work.verdict in ("not-proved", "failed"):
            out.append(t("Do not rely on this yet: {plain}.", plain=_plain(work.title)))
    lamps = t("Walk round all lamps before each drive in the first weeks: what was taken apart can work loose.")
    out.append(lamps if report.done else t("Walk round all lamps now and then, the tell-tales with the key on too."))
    if "oil-warning" in knowledge.circuits:
        out.append(
            t(
                "The oil tell-tale stays lit while the engine runs: stop the engine at once, and "
                "leave it off until the pressure is proved."
            )
        )
    if "charge-warning" in knowledge.circuits:
        out.append(
            t("The charge tell-tale lights while you drive: the battery runs down; have it seen to the same day.")
        )
    out.append(
        t("A fuse that blows again: never a bigger one, never wire or foil in its place; the wire would burn instead.")
    )
    out.append(
        t(
            "A smell of hot rubber, smoke, or a wire too hot to hold: stop, key off, everything out, "
            "then the battery isolator or the battery's earth clamp, if you can reach it in safety."
        )
    )
    return tuple(out)
