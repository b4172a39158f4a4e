"""What typed keys, words and numbers mean: a message for the conversation, or a wish of the screen's own.

Shared by the terminal and the plain lines. Must not know how anything is shown, nor what is believed.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from diag.circuit.observe import LIGHTS, RHYTHMS
from diag.errors import DiagError
from diag.knowledge.names import quoted
from diag.texts import t

__all__ = [
    "FIRST_LOOKS",
    "KEYS",
    "LOOK_ORDER",
    "Command",
    "TypedError",
    "command_of",
    "message_of",
    "numbered",
    "older_of",
    "picked_of",
    "value_of",
]

Object = dict[str, Any]

FIRST_LOOKS = 9
"""So many looks have a key of their own; the rest stands behind `0`."""
LOOK_ORDER: tuple[tuple[str, str], ...] = (
    ("dark", "none"),
    ("normal", "steady"),
    ("normal", "flashing"),
    ("dim", "steady"),
    ("dim", "flashing"),
    ("normal", "fast"),
    ("normal", "slow"),
    ("glow", "steady"),
    ("too-bright", "steady"),
    ("dim", "fast"),
    ("dim", "slow"),
    ("glow", "flashing"),
    ("glow", "fast"),
    ("glow", "slow"),
    ("too-bright", "flashing"),
    ("too-bright", "fast"),
    ("too-bright", "slow"),
)
"""All a lamp can show, most met first; never reordered, so that hands learn the keys."""

KEYS: Mapping[str, str] = {
    "w": "why",
    "n": "not-sure",
    "u": "undo",
    "x": "cannot-reach",
    "h": "help",
    "q": "quit",
    "b": "causes",
    "c": "correct",
    "s": "symptom",
    "a": "note",
    "g": "changed",
    "l": "later",
    "i": "no-instrument",
    "k": "caution",
    "d": "done",
    "o": "other",
    "y": "why-not",
    "t": "stages",
    "e": "skip-stage",
    "v": "leave",
    "p": "picture",
    "r": "record",
}
_SPELT: Mapping[str, str] = {
    "undo": "undo",
    "take back": "undo",
    "not sure": "not-sure",
    "can't reach": "cannot-reach",
    "cant reach": "cannot-reach",
    "cannot reach": "cannot-reach",
    "no instrument": "no-instrument",
    "no such instrument": "no-instrument",
    "later": "later",
    "why": "why",
    "why not": "why-not",
    "causes": "causes",
    "picture": "picture",
    "record": "record",
    "caution": "caution",
    "help": "help",
    "?": "help",
    "quit": "quit",
    "done": "done",
    "other": "other",
    "correct": "correct",
    "stages": "stages",
    "stage": "stages",
    "skip stage": "skip-stage",
    "leave": "leave",
    "all right": "all-right",
    "all-right": "all-right",
    "ok": "all-right",
}
_WITH_TEXT: Mapping[str, str] = {
    "note": "note",
    "changed": "changed",
    "symptom": "symptom",
    "correct": "correct",
    "done": "done",
    "other": "other",
    "why": "why-not",
    "stage": "stages",
    "skip": "skip-stage",
    "leave": "leave",
}
_NEEDS_NUMBER = ("done", "other")
_SKIPS = ("cannot-reach", "no-instrument", "later")


class TypedError(DiagError):
    """Typed text that means nothing here; the message says what would."""


@dataclass(frozen=True)
class Command:
    """A wish other than an answer; `name` is one of the values of KEYS, `text` what stood behind it."""

    name: str
    text: str = ""


def command_of(line: str, *, free_text: bool = False) -> Command | None:
    """The command a line spells out, or None where it must be an answer.

    `free_text`: any words are an answer here, so only whole commands and `note TEXT` count.
    """
    folded = " ".join(line.replace("\u2019", "'").casefold().split()).rstrip(".!")
    if folded in _SPELT:
        return Command(_SPELT[folded])
    if folded in KEYS:
        return Command(KEYS[folded])
    first, _, rest = line.strip().partition(" ")
    name = _WITH_TEXT.get(first.casefold().rstrip(":"))
    if name is None or not rest.strip() or (free_text and name != "note"):
        return None
    if name in _NEEDS_NUMBER and not _whole(rest):
        return None
    if name == "skip-stage":
        rest = rest.strip().removeprefix("stage").strip() or rest
    if name == "why-not" and rest.split()[0].casefold() == "not":
        rest = rest.strip()[len("not") :]
    return Command(name, rest.strip())


def message_of(command: Command, ask: Object | None) -> Object | None:
    """The message that a command is, or None where it is the screen's own business.

    `ask`: the open one, if any. Raises TypedError where the command has no place now or lacks its words.
    """
    name = command.name
    if name == "undo":
        return {"undo": True}
    if name in ("note", "changed", "symptom"):
        if not command.text:
            raise TypedError(
                t("`{name}` needs some words behind it, such as `{name} {example}`.", name=name, example=_EXAMPLE[name])
            )
        return {name: command.text}
    if name == "not-sure" or name in _SKIPS:
        return _passed_over(name, ask)
    if name == "all-right" or (name == "done" and ask is not None and ask.get("group")):
        if ask is None or not ask.get("group"):
            raise TypedError(t("Only a list of looks is answered together; this wants an answer of its own."))
        return {"answer": ask["id"], "value": "all-right"}
    if name == "done" and ask is not None:
        if ask["kind"] != "do":
            raise TypedError(t("Nothing is to be done here; this wants an answer. `help` shows how to answer."))
        return {"answer": ask["id"], "value": "done"}
    return None


_EXAMPLE = {"note": t("fuse box is wet"), "changed": t("renewed the rear earth"), "symptom": t("horn silent")}


def _passed_over(name: str, ask: Object | None) -> Object:
    if ask is None:
        raise TypedError(t("No check is open now, so there is none to pass over."))
    if ask["check"] == "start":
        raise TypedError(t("Say what is wrong first; `Check everything` fits where nothing certain is known."))
    if ask["kind"] == "do":
        if ask["check"].startswith("stage:"):
            raise TypedError(t("`done` goes on; `skip REASON` passes the whole stage over."))
        if ask["check"].startswith("caution:"):
            raise TypedError(t("This one is not passed over: do what it says, then `done`."))
        if name == "not-sure":
            return {"answer": ask["id"], "value": "not-sure"}
    if name == "no-instrument" and not ask["instruments"]:
        raise TypedError(t("This check needs no instrument. `can't reach` or `not sure` passes it over."))
    if name == "not-sure":
        return {"answer": ask["id"], "value": "not-sure"}
    return {"skip": ask["id"], "reason": name}


# ---------------------------------------------------------------- answers


def numbered(ask: Object) -> list[tuple[Any, str]]:
    """Answers that have a number, in order from 1: value and words. None for a reading."""
    if ask["kind"] == "look" and not ask["choices"]:
        return [({"light": light, "rhythm": rhythm}, _look_words(light, rhythm)) for light, rhythm in LOOK_ORDER]
    return [(choice["value"], str(choice["label"])) for choice in ask["choices"]]


def _look_words(light: str, rhythm: str) -> str:
    return light if rhythm == "none" else f"{light.replace('-', ' ')} {rhythm}"


def value_of(ask: Object, line: str) -> Any:
    """The value that a typed line gives to an ask, for the conversation to judge.

    Raises TypedError for a number that no answer has.
    """
    text = line.strip()
    if ask["kind"] == "measure":
        return text
    answers = numbered(ask)
    if text.isdecimal():
        if _whole(text) and 1 <= int(text) <= len(answers):
            return answers[int(text) - 1][0]
        raise TypedError(
            t("Found {text}, expected a number from 1 to {count}, or words.", text=quoted(text), count=len(answers))
        )
    if ask["kind"] == "look" and not ask["choices"]:
        return _look_of_words(text)
    return text


_SAID: Mapping[str, str] = {
    "lit": "normal",
    "lights": "normal",
    "on": "normal",
    "out": "dark",
    "off": "dark",
    "nothing": "dark",
    "faint": "glow",
    "weak": "dim",
}
"""What people say of a test lamp, in the words of a look."""


def _look_of_words(text: str) -> Object:
    """Light and rhythm from words in any order; a rhythm alone means normal light."""
    line = " ".join(text.casefold().replace(",", " ").replace("-", " ").rstrip(".!").split())
    line = line.replace("too bright", "too-bright")
    lights, rhythms, rest = [], [], []
    for word in (_SAID.get(said, said) for said in line.split()):
        if word in LIGHTS:
            lights.append(word)
        elif word in RHYTHMS and word != "none":
            rhythms.append(word)
        elif word not in ("and", "none"):
            rest.append(word)
    if len(lights) > 1 or len(rhythms) > 1:
        raise TypedError(
            t("Found {text}, expected one light and one rhythm, such as `normal steady`.", text=quoted(text))
        )
    out: Object = {}
    if lights or (rhythms and not rest):
        out["light"] = lights[0] if lights else "normal"
    elif rest:
        out["light"] = " ".join(rest)
        rest = []
    if rest or rhythms:
        out["rhythm"] = " ".join(rest) if rest else rhythms[0]
    return out


def picked_of(ask: Object, line: str) -> tuple[Object, str] | None:
    """A look of a group by its number, and the words behind it; None where no number leads.

    Raises TypedError for a number that no look of the group has.
    """
    first, _, rest = line.strip().partition(" ")
    if not _whole(first):
        return None
    group = ask["group"]
    if not 1 <= int(first) <= len(group):
        raise TypedError(
            t(
                "Found {first}, expected a number from 1 to {count}, or `all right`.",
                first=quoted(first),
                count=len(group),
            )
        )
    return group[int(first) - 1], rest.strip()


def older_of(text: str) -> tuple[int, str]:
    """Number of an older answer, and the new value behind it. Raises TypedError."""
    first, _, rest = text.strip().partition(" ")
    if not _whole(first):
        raise TypedError(
            t("Found {text}, expected the number of an answer, such as `correct 4 dark`.", text=quoted(text))
        )
    return int(first), rest.strip()


def _whole(text: str) -> bool:
    """Whether a text is a count that fits a job: plain digits, not endlessly many."""
    digits = text.strip()
    return digits.isascii() and digits.isdecimal() and len(digits) <= 6
