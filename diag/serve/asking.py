"""A question as plain values for a page: what to set, caution, picture, its answers as buttons or a reading.

The words are those of the terminal. Knows nothing of HTML.
"""

from __future__ import annotations

from typing import Any

from diag.serve.acts import UNITS
from diag.serve.held import Held
from diag.serve.picture import cut_of, picture_of
from diag.talk.conversation import Conversation
from diag.talk.known import WHOLE
from diag.talk.standing import caution_known
from diag.talk.typed import FIRST_LOOKS, LOOK_ORDER, numbered
from diag.texts import t

__all__ = ["ask_view", "passes_of"]

Object = dict[str, Any]
_SAID = (t("Set"), t("Watch"), t("Listen"))
"""Rows of the set-up that the question's own words hold already."""
_EXAMPLES = {"V": "11.8", "A": "3.5", "ohm": "0.4"}


def ask_view(held: Held, conversation: Conversation, ask: Object, alone: bool = False) -> Object:
    """What the page of a question holds. `alone`: asked out of its turn, so nothing is passed over."""
    heading, rest = _words(ask)
    answers = [{"number": n, "words": words} for n, (_, words) in enumerate(numbered(ask), 1)]
    looks = ask["kind"] == "look" and not ask["choices"]
    first = _first_looks(ask) if looks else range(len(answers))
    out: Object = {
        "check": ask["check"],
        "kind": ask["kind"],
        "alone": alone,
        "heading": heading,
        "rest": rest,
        "lines": ask.get("lines", []),
        "hint": ask.get("hint", ""),
        "rows": [] if ask.get("group") else [r for r in ask.get("setup", ()) if r["label"] not in _SAID],
        "begins": bool(ask.get("begins")),
        "unit": ask["unit"],
        "units": UNITS.get(ask["unit"] or "", ()),
        "example": _EXAMPLES.get(ask["unit"] or "", ""),
        "answers": [answers[n] for n in first],
        "more_answers": [one for n, one in enumerate(answers) if n not in first],
        "looks": looks,
        "group": ask.get("group", []),
        "passes": [] if alone else passes_of(conversation, ask),
        **_cautions(conversation, ask),
        **_drawn(held, conversation, ask),
    }
    if ask["check"] == "start":
        out |= _start(conversation, ask, alone)
    return out


def _first_looks(ask: Object) -> list[int]:
    """Looks that stand in view, as on the terminal: none that flash where nothing in the circuit does."""
    return [n for n in range(FIRST_LOOKS) if ask.get("flashes", True) or LOOK_ORDER[n][1] in ("none", "steady")]


def _words(ask: Object) -> tuple[str, str]:
    """What stands out, and the rest."""
    if ask.get("begins"):
        return str(ask["title"]), ""
    if ask["kind"] == "do":
        return "", str(ask["why"])
    if ask.get("group"):
        setting = str(ask["setting"])
        asked = t("All of this?") if len(ask["group"]) > 1 else t("Is this so?")
        return f"{setting[:1].upper()}{setting[1:]}. {asked}", ""
    if ask["check"] == "start":
        return str(ask["text"]), ""
    setting, dot, rest = str(ask["text"]).partition(". ")
    return setting + dot.strip(), rest


def _start(conversation: Conversation, ask: Object, alone: bool) -> Object:
    """The complaint: symptoms and whole circuits, both by circuit, and the whole vehicle."""
    rows = [(n, str(c["label"]), str(c["value"])) for n, c in enumerate(ask["choices"], 1)]
    few = not any(value == WHOLE for _, _, value in rows) and not alone
    knowledge = conversation.knowledge
    groups: dict[str, list[tuple[int, str]]] = {}
    for n, label, value in rows:
        if value != WHOLE and not few:
            own = value.removeprefix("circuit:")
            circuit = own if own != value else knowledge.circuit_of.get(value, "")
            title = knowledge.circuits[circuit].title if circuit in knowledge.circuits else t("Other")
            groups.setdefault(title, []).append((n, label))
    return {
        "kind": "start",
        "symptoms": [(n, label) for n, label, _ in rows] if few else [],
        "groups": list(groups.items()),
        "whole": None if alone else next((label for _, label, value in rows if value == WHOLE), None),
        "whole_value": WHOLE,
        "few": few,
    }


def _cautions(conversation: Conversation, ask: Object) -> Object:
    """A caution in its frame, or one that was read before."""
    text = ask.get("caution")
    if ask.get("begins") or text is None:
        return {"caution": "", "caution_title": "", "caution_known": ""}
    if ask["kind"] == "do":
        return {"caution": text, "caution_title": t("CAUTION"), "caution_known": ""}
    if caution_known(conversation, ask):
        return {"caution": "", "caution_title": "", "caution_known": text}
    return {"caution": text, "caution_title": t("MIND"), "caution_known": ""}


def passes_of(conversation: Conversation, ask: Object) -> list[tuple[str, str]]:
    """Ways past the question that it allows: act and words."""
    if ask["check"] == "start" or ask.get("begins"):
        return []
    stop = ask["kind"] == "do" and ask["check"].startswith("caution:")
    out = [] if stop or ask.get("group") else [("not-sure", t("not sure"))]
    out += [] if stop else [("cannot-reach", t("can't reach"))]
    if ask["kind"] != "do" and not ask.get("group"):
        out += [("no-instrument", t("no such instrument"))] if ask["instruments"] else []
        out += [("later", "later")]
    return out


def _drawn(held: Held, conversation: Conversation, ask: Object) -> Object:
    """The picture round the points of the question, kept for as long as the job is open."""
    step = conversation.reasoner.steps.get(ask["check"])
    if step is None or ask.get("group") or ask["kind"] in ("do", "choose"):
        return {"cut": None, "picture": ""}
    key = ("cut", step.id)
    if key not in held.kept:
        found = picture_of(conversation.reasoner, step)
        held.kept[key] = (found[0], cut_of(found[1])) if found is not None else ("", None)
    title, cut = held.kept[key]
    return {"cut": cut, "picture": title}
