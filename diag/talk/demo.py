"""One whole job played by a simulated fitter, shown as a user would see it.

Knows how to play and print; the fitter's answers come from `rehearsal`.
"""

from __future__ import annotations

import textwrap
from collections.abc import Callable
from pathlib import Path
from typing import Any

from diag.errors import DiagError
from diag.job.journal import Journal
from diag.knowledge.names import nearest
from diag.reason.reasoner import Reasoner
from diag.talk.conversation import Conversation
from diag.talk.rehearsal import SimulatedFitter
from diag.talk.screen import odd_words
from diag.talk.wording import answer_words
from diag.texts import t, tn

__all__ = ["Played", "list_faults", "play", "play_through"]

Say = Callable[[str], None]
_DEFAULT = "flasher-unit.never-opens"
_WIDTH = 72
_MOST_INPUTS = 120


def list_faults(reasoner: Reasoner, say: Say) -> None:
    """Every derived cause with its title."""
    for cause in reasoner.causes:
        say(f"{cause.id:42} {cause.title}")


class Played:
    """What came of a played job: `inputs` given, `remedies` carried out in order, `first` concluded
    remedy with its chance and the answers before it, whether the fault was `cured`, and what was `left`."""

    def __init__(self) -> None:
        self.inputs = 0
        self.remedies: list[str] = []
        self.first: tuple[str, float, int] | None = None
        self.cured = False
        self.left: list[str] = []


def play_through(
    conversation: Conversation,
    fitter: SimulatedFitter,
    tell: Callable[[dict[str, Any]], None],
    said: Callable[[dict[str, Any]], None],
) -> Played:
    """Answer every ask and carry out every first remedy until the job ends. `tell` gets every object out,
    `said` every input. Raises DiagError where the conversation refuses an answer or never ends."""
    played = Played()
    while played.inputs < _MOST_INPUTS:
        objects = conversation.say()
        for found in objects:
            tell(found)
        last = objects[-1]
        if last["type"] == "end":
            played.left = list(last["open"])
            break
        if last["type"] == "conclude":
            todo = [remedy for remedy in last["remedies"] if remedy["id"] not in played.remedies]
            if not todo:
                break
            if played.first is None:
                played.first = (todo[0]["id"], todo[0]["p"], played.inputs)
            played.remedies.append(todo[0]["id"])
            fitter.remedy(todo[0]["id"])
            message = {"remedied": todo[0]["id"]}
        else:
            message = fitter.answer(last)
            played.inputs += 1
        said(message)
        answer = conversation.take(message)
        if answer["type"] == "error":
            raise DiagError(t("the conversation refused {value}: {answer}", value=message, answer=answer["text"]))
    played.cured = fitter.cured
    return played


def play(reasoner: Reasoner, fault: str | None, open_job: Callable[[], tuple[Conversation, Journal]], say: Say) -> Path:
    """Play one job aloud; returns the journal. `fault`: a cause id or several joined by commas; a flasher
    unit that never opens where None. Raises DiagError for an unknown fault or one that nobody can see."""
    causes = (fault or _DEFAULT).split(",")
    for cause in causes:
        if cause not in reasoner.index:
            near = nearest(cause, reasoner.index)
            hint = f" {near}" if near else ""
            raise DiagError(
                t(
                    "--fault: found `{cause}`; expected a cause of this vehicle (`--fault list` shows all).{hint}",
                    cause=cause,
                    hint=hint,
                )
            )
    fitter = SimulatedFitter(reasoner, causes)
    if fitter.complaint() is None:
        raise DiagError(
            t(
                "--fault: `{fault}` shows at no lamp and no sound of this vehicle, so nobody would begin a job.",
                fault=fault,
            )
        )
    titles = "; ".join(reasoner.causes[reasoner.index[cause]].title for cause in causes)
    conversation, journal = open_job()
    with journal:
        say(
            _wrapped(
                t(
                    "A simulated fitter at the {vehicle}. Hidden fault: {titles}.",
                    vehicle=reasoner.knowledge.vehicle.title,
                    titles=titles,
                )
            )
        )
        played = play_through(
            conversation,
            fitter,
            lambda found: _tell(reasoner, found, say),
            lambda message: _said(reasoner, conversation, message, say),
        )
        outcome = t("The fault is cured") if played.cured else t("The fault is NOT cured")
        count = len(played.remedies)
        say(
            "\n"
            + _wrapped(
                tn(
                    "{outcome}: {inputs} answers, {n} remedy.",
                    "{outcome}: {inputs} answers, {n} remedies.",
                    count,
                    outcome=outcome,
                    inputs=played.inputs,
                )
            )
        )
        return Path(conversation.job)


def _wrapped(text: str, indent: str = "") -> str:
    return textwrap.fill(text, _WIDTH, initial_indent=indent, subsequent_indent=" " * len(indent))


def _tell(reasoner: Reasoner, found: dict[str, Any], say: Say) -> None:
    if found["type"] == "ask":
        say("\n" + _wrapped(found["text"]))
        if found.get("kind") != "do" and found["check"] != "start":
            say(_wrapped(found["why"], "   why: "))
    elif found["type"] == "conclude":
        say("")
        _tell_conclusion(found, say)
    elif found["type"] == "end":
        say(t("\nEnd of the job."))
        for line in found["open"]:
            say(_wrapped(line, "   open: "))


def _tell_conclusion(found: dict[str, Any], say: Say) -> None:
    if not found["remedies"]:
        say(_wrapped(found["reason"].replace("-", " ").capitalize() + "."))
        for words in odd_words(found):
            say(_wrapped(words, "   - "))
        return
    for remedy in found["remedies"][:3]:
        say(_wrapped(t("LIKELY {remedy:.0%}: {remedy_2}", remedy=remedy["p"], remedy_2=remedy["title"])))
    first = found["remedies"][0]
    for line in first["evidence"][:5]:
        by = {"computed": t("computed"), "usual share": t("how usual it is")}
        source = by.get(line["from"]) or t("rule {line}", line=line["from"])
        say(
            _wrapped(
                t(
                    "{line}: {line_2} (x{line_3:.3g}, {source})",
                    line=line["text"],
                    line_2=line["words"],
                    line_3=line["weight"],
                    source=source,
                ),
                "   - ",
            )
        )
    for caution in first["cautions"]:
        say(_wrapped(t("CAUTION: {caution}", caution=caution)))
    for number, step in enumerate(first["steps"], start=1):
        say(_wrapped(step, f"   {number}. "))


def _said(reasoner: Reasoner, conversation: Conversation, message: dict[str, Any], say: Say) -> None:
    if "remedied" in message:
        say(t("> done: {title}", title=reasoner.remedies[message["remedied"]].title))
        return
    value, ask = message["value"], conversation.open_ask
    step = reasoner.steps.get(ask["check"]) if ask is not None else None
    if isinstance(value, dict) and step is not None:
        say(f"> {answer_words(step, (value['light'], value['rhythm']))}")
    elif step is not None and value not in ("not-sure", "done"):
        say(f"> {answer_words(step, float('inf') if value == 'OL' else value)}")
    else:
        symptom = reasoner.knowledge.symptoms.get(str(value))
        say(f"> {symptom.title if symptom is not None else value}")
