"""What a form means: a message for the conversation, kept once however often it comes; or why it is not taken.

Reads what a form carries and sends it; knows nothing of requests, nor of how a page looks.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, cast

from diag.errors import DiagError
from diag.job.state import Entry
from diag.serve.held import Held, mark_of
from diag.talk.answers import Unit, reading_of
from diag.talk.conversation import ALL_RIGHT, NOT_SURE, Conversation
from diag.talk.findings import value_of as value_kept
from diag.talk.known import WHOLE
from diag.talk.sound import kept_words
from diag.talk.standing import (
    answers_so_far,
    ask_again,
    ask_for,
    error_words,
    newest_words,
    not_cured,
    open_problems,
    symptom_ask,
)
from diag.talk.typed import Command, TypedError, message_of, numbered, value_of
from diag.texts import t

__all__ = ["UNITS", "Done", "Form", "act"]

Object = dict[str, Any]
Form = Mapping[str, str]
UNITS: Mapping[str, tuple[str, ...]] = {"V": ("V", "mV"), "A": ("A", "mA"), "ohm": ("ohm", "kohm", "OL")}
"""Units that have a button, by the unit of the ask; the first is the one that a meter mostly shows."""
_SKIPS = ("cannot-reach", "no-instrument", "later")


@dataclass(frozen=True)
class Done:
    """What came of a form. `notice` for the next page; `refused`: nothing was put in, and the form is shown again;
    `where`: the page to go to, below the job."""

    notice: str
    refused: bool = False
    where: str = ""


class _StaleError(DiagError):
    """The form belongs to something that has gone by; the message says so."""


def act(held: Held, conversation: Conversation, form: Form, device: str) -> Done:
    """Do what a form asks, for the job's worker only. `device`: who sent it, for what each has read.

    Raises nothing that a person caused: such mistakes come back as a notice.
    """
    name = form.get("act", "")
    doing = _ACTS.get(name)
    if doing is None:
        return Done(t("That button is not known here. Nothing was changed."), refused=True)
    try:
        return doing(held, conversation, form, device)
    except _StaleError as error:
        return Done(str(error))
    except DiagError as error:
        if not isinstance(error, TypedError) and error.exit_code == 1:
            raise
        return Done(str(error), refused=True)


# ---------------------------------------------------------------- once and only once


def _fresh(conversation: Conversation, form: Form) -> None:
    """Raises _StaleError where the question could have changed since the form was made."""
    if form.get("seq") == str(mark_of(conversation)):
        return
    was = int(form["seq"]) if form.get("seq", "").isdecimal() and len(form["seq"]) < 9 else -1
    check = form.get("check")
    for seq, words in answers_so_far(conversation):
        entry = next((e for e in conversation.state.standing("answered", "found") if e.seq == seq), None)
        if entry is not None and seq > was >= 0 and check and entry.fields.get("check") == check:
            if _same(conversation, entry, form):
                raise _StaleError(t("That question was already answered, and counts once: {words}.", words=words))
            raise _StaleError(
                t(
                    "NOT kept: what you gave now. That question was already answered, on another device or page: "
                    "{words}. If that is wrong, correct it: more, answers so far.",
                    words=words,
                )
            )
    raise _StaleError(
        t("That question was already answered or has gone by. Nothing was changed. This is what is next.")
    )


def _same(conversation: Conversation, entry: Entry, form: Form) -> bool:
    """Whether a form gives the answer that was kept to its question already."""
    if form.get("act") not in ("answer", "odd"):
        return False
    step = conversation.reasoner.steps.get(str(entry.fields.get("check")))
    if "batch" in entry.fields and not {"pick", "reading", "words"} & form.keys():
        return True
    if step is None:
        return form.get("pick") == entry.fields.get("value")
    try:
        given = _value(ask_for(conversation, step.id), form)
        if step.kind == "measure":
            given = reading_of(given, cast("Unit", step.unit or "V"), conversation.knowledge.vehicle.system_v)
            return bool(given == value_kept(step, entry.fields.get("value")))
    except (DiagError, ValueError):
        return False
    return bool(given == entry.fields.get("value"))


def _ask(held: Held, conversation: Conversation, form: Form) -> Object:
    """The open ask that a form is about. Raises _StaleError where it is another by now."""
    _fresh(conversation, form)
    ask = held.said(conversation)[-1]
    if ask["type"] != "ask" or ask["check"] != form.get("check"):
        raise _StaleError(t("Another question is open by now. Nothing was changed."))
    return ask


def _since(conversation: Conversation, form: Form, event: str, **fields: str) -> bool:
    """Whether a record of that sort was kept after the form was made: the same form came before."""
    seq = form.get("seq", "")
    was = int(seq) if seq.isdecimal() and len(seq) < 9 else 0
    return any(
        record.seq > was and record.event == event and all(record.fields.get(k) == v for k, v in fields.items())
        for record in conversation.keeper.records
    )


def _sent(held: Held, conversation: Conversation, message: Object, kept: str = "") -> Done:
    gone = newest_words(conversation) if "undo" in message else ""
    told = held.send(conversation, message)
    if told["type"] == "error":
        return Done(error_words(told), refused=True)
    if gone:
        return Done(t("Undone: {gone}", gone=gone))
    return Done(kept or t("Kept: {kept}{not_cured}", kept=kept_words(conversation), not_cured=not_cured(told)))


# ---------------------------------------------------------------- values


def _value(ask: Object, form: Form) -> Any:
    """The value that a form gives to an ask. Raises TypedError."""
    if ask["kind"] == "measure":
        return _reading(ask, form)
    pick = form.get("pick", "")
    if pick:
        return value_of(ask, pick)
    words = form.get("words", "").strip()
    if not words:
        raise TypedError(t("Nothing is typed yet."))
    return value_of(ask, words)


def _reading(ask: Object, form: Form) -> str:
    unit, typed = form.get("unit", ""), " ".join(form.get("reading", "").split())
    known = UNITS[ask["unit"]]
    if unit == "OL" and "OL" in known:
        return "OL"
    if not typed:
        raise TypedError(t("Nothing is typed yet."))
    if form.get("minus") and typed[:1] not in "-\u2212":
        typed = f"-{typed}"
    if any(sign.isalpha() for sign in typed):  # its unit is typed too
        return typed
    return f"{typed} {unit if unit in known else known[0]}"


# ---------------------------------------------------------------- acts


def _answer(held: Held, conversation: Conversation, form: Form, _: str) -> Done:
    ask = _ask(held, conversation, form)
    if ask["check"] == "start" and form.get("pick") == WHOLE:
        return _sent(held, conversation, {"answer": ask["id"], "value": WHOLE})
    if ask.get("group") and "pick" not in form:
        return _sent(held, conversation, {"answer": ask["id"], "value": ALL_RIGHT})
    if ask["kind"] == "do" and len(numbered(ask)) == 1:
        return _sent(held, conversation, {"answer": ask["id"], "value": "done"})
    return _sent(held, conversation, {"answer": ask["id"], "value": _value(ask, form)})


def _odd(held: Held, conversation: Conversation, form: Form, _: str) -> Done:
    """One look of a group that is not right, answered by itself."""
    _fresh(conversation, form)
    ask = held.said(conversation)[-1]
    checks = [item["check"] for item in ask.get("group", ())]
    if form.get("check") not in checks:
        raise _StaleError(t("That list of looks has gone by. Nothing was changed."))
    own = ask_for(conversation, str(form["check"]))
    value = NOT_SURE if form.get("pick") == NOT_SURE else _value(own, form)
    return _sent(held, conversation, {"found": {"check": own["check"], "value": value}})


def _passed(held: Held, conversation: Conversation, form: Form, _: str) -> Done:
    name = form["act"]
    ask = _ask(held, conversation, form)
    message = message_of(Command(name), ask)
    return _sent(held, conversation, message or {})


def _undo(held: Held, conversation: Conversation, form: Form, _: str) -> Done:
    seq = form.get("seq")
    if seq != str(mark_of(conversation)):
        if seq is not None and _since(conversation, form, "undone"):
            raise _StaleError(t("That was undone already, and counts once."))
        raise _StaleError(t("The job has gone on since. Nothing was undone; look what is newest now."))
    return _sent(held, conversation, {"undo": True})


def _symptom(held: Held, conversation: Conversation, form: Form, _: str) -> Done:
    if _since(conversation, form, "found", check="symptom"):
        raise _StaleError(t("That complaint was kept already, and counts once."))
    value = _value(symptom_ask(conversation), form)
    return _sent(held, conversation, {"symptom": value})


def _text(held: Held, conversation: Conversation, form: Form, _: str) -> Done:
    name, text = form["act"], form.get("text", "").strip()
    if not text:
        raise TypedError(t("Some words are needed here."))
    if _since(conversation, form, "noted" if name == "note" else "changed", text=text):
        raise _StaleError(t("That was kept already, and counts once."))
    return _sent(held, conversation, {name: text})


def _correct(held: Held, conversation: Conversation, form: Form, _: str) -> Done:
    number = form.get("number", "")
    seq = int(number) if number.isdecimal() and len(number) < 9 else 0
    if all(seq != entry.seq for entry in conversation.state.standing("answered", "found")):
        raise _StaleError(t("That answer was corrected or taken back already. Nothing was changed."))
    ask = ask_again(conversation, seq)
    was = dict(answers_so_far(conversation)).get(seq, "")
    return _sent(
        held, conversation, {"correct": seq, "value": _value(ask, form)}, t("Corrected. It was: {was}", was=was)
    )


def _remedied(held: Held, conversation: Conversation, form: Form, device: str) -> Done:
    if form.get("seq") != str(mark_of(conversation)):
        raise _StaleError(t("That was kept already, or the job has gone on since. Nothing was changed."))
    told = held.said(conversation)[-1]
    known = [remedy["id"] for remedy in told.get("remedies", ())]
    if form.get("remedy") not in known:
        raise _StaleError(t("That remedy is not proposed now. Nothing was changed."))
    held.read.clear()  # the battery goes back on for the proof, so its caution counts anew
    return _sent(held, conversation, {"remedied": form["remedy"]})


def _read(held: Held, conversation: Conversation, form: Form, device: str) -> Done:
    """A caution of a remedy was read by whoever holds this device."""
    told = held.said(conversation)[-1]
    number = form.get("remedy", "")
    remedies = told.get("remedies", ())
    if not number.isdecimal() or len(number) > 3 or not 1 <= int(number) <= len(remedies):
        raise _StaleError(t("That remedy is not proposed now. Nothing was changed."))
    for text in remedies[int(number) - 1]["cautions"]:
        if text == form.get("caution"):
            held.read.add((device, text))
    return Done("", where=f"/remedy/{number}")


def _stage(held: Held, conversation: Conversation, form: Form, _: str) -> Done:
    if form.get("seq") != str(mark_of(conversation)):
        raise _StaleError(t("The job has gone on since. Nothing was changed."))
    return _sent(held, conversation, {"stage": form.get("stage", "")})


def _skip_stage(held: Held, conversation: Conversation, form: Form, _: str) -> Done:
    if form.get("seq") != str(mark_of(conversation)):
        raise _StaleError(t("The job has gone on since. Nothing was changed."))
    reason = form.get("text", "").strip()
    if not reason:
        raise TypedError(t("Say why it is skipped: the handover tells it."))
    return _sent(held, conversation, {"stage": conversation.plan.stage or "handover", "skip": reason})


def _leave(held: Held, conversation: Conversation, form: Form, _: str) -> Done:
    if form.get("seq") != str(mark_of(conversation)):
        raise _StaleError(t("The job has gone on since. Nothing was changed."))
    problems, number = open_problems(conversation), form.get("problem", "")
    if not number.isdecimal() or len(number) > 3 or not 1 <= int(number) <= len(problems):
        raise TypedError(t("Choose first which of these is left open."))
    reason = form.get("text", "").strip()
    if not reason:
        raise TypedError(t("Say why it is left open."))
    return _sent(held, conversation, {"leave": list(problems[int(number) - 1][0]), "reason": reason})


_ACTS = {
    "answer": _answer,
    "odd": _odd,
    NOT_SURE: _passed,
    **dict.fromkeys(_SKIPS, _passed),
    "undo": _undo,
    "symptom": _symptom,
    "note": _text,
    "changed": _text,
    "correct": _correct,
    "remedied": _remedied,
    "read": _read,
    "stage": _stage,
    "skip-stage": _skip_stage,
    "leave": _leave,
}
