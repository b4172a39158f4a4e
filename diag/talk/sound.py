"""What a sound vehicle shows, in words that stand beside what was read: a range for a reading, a look for a lamp.

Reads the conversation; knows nothing of pages.
"""

from __future__ import annotations

from diag.circuit.readings import OPEN_LINE_OHM
from diag.job.state import Entry
from diag.reason.reasoner import Reasoner
from diag.reason.steps import Step
from diag.talk.conversation import Conversation
from diag.talk.findings import step_of, value_of
from diag.talk.objects import expected_words
from diag.talk.standing import newest_words
from diag.talk.wording import answer_words
from diag.texts import t

__all__ = ["beside_words", "kept_words", "range_words", "sound_words"]


def sound_words(reasoner: Reasoner, step: Step, supply_v: float | None = None) -> str:
    """What a sound vehicle shows at a step; empty where nobody can say. `supply_v`: the battery's volts at rest, as
    measured in the job."""
    if step.kind != "measure":
        return expected_words(reasoner, step)
    own = reasoner.chances.tells_supply(step)
    found = reasoner.chances.healthy_range(step, None if own else supply_v)
    return range_words(*found, step.unit or "") if found is not None else ""


def range_words(low: float, high: float, unit: str) -> str:
    """Two readings as a meter would show them: `12.1 to 12.6 V`, `at most 0.1 V`, `OL`."""
    if unit == "ohm" and high >= OPEN_LINE_OHM / 10:
        return (
            t("OL (no continuity)") if low >= OPEN_LINE_OHM / 10 else t("from {figure} ohm to OL", figure=_figure(low))
        )
    if low < 0 < high and max(-low, high) < 1.0:
        return t("at most {figure} {unit}", figure=_figure(max(-low, high)), unit=unit)
    if unit == "ohm" and low < 0.5:
        return t("at most {figure} ohm", figure=_figure(high))
    said = [_figure(low), _figure(high)]
    return (
        f"{said[0]} {unit}"
        if said[0] == said[1]
        else t("{said} to {said_2} {unit}", said=said[0], said_2=said[1], unit=unit)
    )


def _figure(number: float) -> str:
    """Two digits behind the point for what is small, none for hundreds, `k` for thousands."""
    size = abs(number)
    if size >= 1000:
        return t("{number:.0f} k", number=number / 1000)
    return f"{number:.2f}" if size < 1 else f"{number:.1f}" if size < 100 else f"{number:.0f}"


def beside_words(reasoner: Reasoner, entry: Entry, supply_v: float | None) -> str:
    """What stands in brackets behind an answer: what a sound vehicle shows there; empty where nobody can say, or
    where the answer is a complaint. `supply_v` as in `sound_words`."""
    fields = entry.fields
    if entry.event not in ("answered", "found") or fields.get("check") in ("start", "symptom"):
        return ""
    step = step_of(reasoner, fields)
    if step is None or step.kind == "choose":
        return ""
    words = sound_words(reasoner, step, supply_v)
    if not words:
        return ""
    if step.kind == "measure":
        return t(" (a sound vehicle shows {words})", words=words)
    try:
        same = answer_words(step, value_of(step, fields.get("value"))) == words
    except ValueError:
        return ""
    return t(" (as on a sound vehicle)") if same else t(" (a sound vehicle: {words})", words=words)


def kept_words(conversation: Conversation) -> str:
    """The newest standing input in words, with what a sound vehicle shows beside it."""
    newest, reasoner = conversation.state.newest(), conversation.reasoner
    if newest is None:
        return newest_words(conversation)
    return newest_words(conversation) + beside_words(reasoner, newest, reasoner.supply_v(conversation.findings()))
