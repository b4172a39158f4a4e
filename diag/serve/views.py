"""What a page of an open job holds, as plain values for a template: question, conclusion, end, and all beside them.

Reads the conversation, for the job's worker only; the words are the terminal's. Knows nothing of HTML or requests.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from diag.serve.acts import Form
from diag.serve.asking import ask_view, passes_of
from diag.serve.blocks import WIDE, Block, blocks_of
from diag.serve.held import Held, mark_of
from diag.serve.papers import can_print
from diag.serve.picture import picture_of, whole_of
from diag.talk import screen, screen_end, screen_why
from diag.talk.conversation import NOT_SURE, Conversation
from diag.talk.helping import PLAIN_HELP
from diag.talk.history import happenings
from diag.talk.sound import beside_words
from diag.talk.standing import answers_so_far, ask_again, ask_for, error_words, open_problems, symptom_ask, whereabouts
from diag.talk.whys import percent, short_title
from diag.texts import t

__all__ = ["PAGES", "MissingError", "View", "view_of"]

Object = dict[str, Any]
View = tuple[str, Object]
"""A template's name and what it is filled with."""


class MissingError(Exception):
    """There is no such page of this job now."""


def view_of(
    held: Held, conversation: Conversation, page: str, arg: str, device: str, notice: str = "", form: Form | None = None
) -> View:
    """The page of that name. `form`: what was typed and refused, to be shown again; `notice`: what just happened.

    Raises MissingError where there is no such page.
    """
    make = PAGES.get(page)
    if make is None:
        raise MissingError
    template, inside = make(held, conversation, arg, form or {}, device)
    said = held.said(conversation)[-1]
    ask = said if said["type"] == "ask" else None
    notices = [*held.messages, notice] if not page else [notice]
    common = {
        "job": held.id,
        "seq": mark_of(conversation),
        "where": whereabouts(conversation, ask),
        "notice": " ".join(one for one in notices if one),
        "refused": form is not None,
        "form": form or {},
        "links": _links(conversation, ask),
        "can_undo": conversation.state.newest() is not None,
    }
    return template, {**common, **inside}


def _links(conversation: Conversation, ask: Object | None) -> list[tuple[str, str]]:
    """Pages that can be gone to from here, with their words."""
    plan = conversation.plan
    out = [("why", t("why this question"))] if ask is not None and ask["check"] != "start" else []
    out += [("causes", t("likely causes")), ("cause", t("why / why not"))]
    out += [("answers", t("answers so far, correct one"))] if answers_so_far(conversation) else []
    out += [("record", t("record so far"))] if conversation.state.newest() is not None else []
    out += [("symptom", t("other symptom"))] if plan.beliefs is not None else []
    out += [("note", t("add a note")), ("changed", t("I changed something"))]
    out += [("stages", "stages")] if plan.stages else []
    out += [("skip-stage", t("skip this stage"))] if plan.stage is not None else []
    out += [("leave", t("leave it open"))] if plan.unresolved and open_problems(conversation) else []
    return [*out, ("papers", t("log and sheets")), ("help", t("help"))]


# ---------------------------------------------------------------- where the job stands


def _now(held: Held, conversation: Conversation, arg: str, form: Form, device: str) -> View:
    if arg:
        raise MissingError
    said = held.said(conversation)
    told = said[-1]
    match told["type"]:
        case "ask":
            return "ask.html.j2", {**ask_view(held, conversation, told), "title": t("Question"), "act": "answer"}
        case "conclude":
            rows = [
                {
                    "number": n,
                    "title": short_title(r["title"]),
                    "share": screen.chance_words(r["p"]),
                    "p": percent(r["p"]),
                }
                for n, r in enumerate(told["remedies"], 1)
            ]
            lines = [line for line in screen.conclusion_page(told, WIDE) if not line.text[:2].strip().isdecimal()]
            return "conclude.html.j2", {"title": t("What to do"), "blocks": blocks_of(lines), "remedies": rows}
        case _:
            lines = screen_end.end_page(conversation, said, WIDE)
            return "end.html.j2", {"title": t("End"), "blocks": _without_exports(blocks_of(lines))}


def _without_exports(runs: list[list[Block]]) -> list[list[Block]]:
    """The end without the shell's words for papers, nor what leads up to them: here they are links."""
    shell = {n for n, run in enumerate(runs) if run[0].kind == "code" and run[0].text.startswith("diag export ")}
    return [run for n, run in enumerate(runs) if n not in shell and n + 1 not in shell]


def _remedy(held: Held, conversation: Conversation, arg: str, form: Form, device: str) -> View:
    """Cautions one by one, then the steps."""
    told = held.said(conversation)[-1]
    number = _number(arg, len(told.get("remedies", ())))
    remedy = told["remedies"][number - 1]
    wanted = [text for text in remedy["cautions"] if (device, text) not in held.read]
    if wanted:
        of = len(remedy["cautions"])
        count = t(" {number} of {of}", number=of - len(wanted) + 1, of=of) if of > 1 else ""
        inside = {"caution": wanted[0], "heading": f"CAUTION{count}", "before": remedy["title"], "number": number}
        return "caution.html.j2", {"title": t("Caution"), **inside}
    blocks = blocks_of(screen.remedy_page(remedy, WIDE, first=number == 1))
    again = list(remedy["cautions"])
    return "remedy.html.j2", {"title": t("Steps"), "blocks": blocks, "remedy": remedy["id"], "cautions": again}


# ---------------------------------------------------------------- reasons


def _why(held: Held, conversation: Conversation, arg: str, form: Form, device: str) -> View:
    told = held.said(conversation)[-1]
    if arg or told["type"] != "ask":
        raise MissingError
    return _text(t("Why this question"), screen_why.why_page(conversation, told, WIDE))


def _causes(held: Held, conversation: Conversation, arg: str, form: Form, device: str) -> View:
    if arg:
        raise MissingError
    return _text(t("Likely so far"), screen.causes_page(conversation, WIDE))


def _cause(held: Held, conversation: Conversation, arg: str, form: Form, device: str) -> View:
    """What speaks for and against a cause; without a name, or with an unknown one, those to pick from."""
    near: list[str] = []
    said = ""
    if arg:
        told = held.send(conversation, {"why": arg})
        if told["type"] != "error":
            return _text(str(told["title"]), screen_why.account_page(told, WIDE))
        near = str(told["expected"]).split(", ") if told["expected"] else []
        said = t("Nothing is called {told}. The nearest are these.", told=told["found"]) if near else error_words(told)
    return "cause.html.j2", {
        "title": t("Why, or why not?"),
        "picks": screen_why.picks_of(conversation, near),
        "said": said,
        "typed": arg,
    }


def _text(title: str, lines: list[screen.Line]) -> View:
    return "text.html.j2", {"title": title, "blocks": blocks_of(lines)}


def _more(held: Held, conversation: Conversation, arg: str, form: Form, device: str) -> View:
    """Ways past the question and to all other pages."""
    if arg:
        raise MissingError
    told = held.said(conversation)[-1]
    ask = told if told["type"] == "ask" else None
    passes = passes_of(conversation, ask) if ask is not None else []
    return "menu.html.j2", {"title": t("More"), "passes": passes, "check": ask["check"] if ask is not None else ""}


def _help(held: Held, conversation: Conversation, arg: str, form: Form, device: str) -> View:
    if arg:
        raise MissingError
    return "help.html.j2", {"title": t("Help"), "plain": PLAIN_HELP}


# ---------------------------------------------------------------- older answers


def _answers(held: Held, conversation: Conversation, arg: str, form: Form, device: str) -> View:
    if arg:
        raise MissingError
    return "answers.html.j2", {"title": t("Answers so far"), "answers": _answered(conversation)}


def _answered(conversation: Conversation) -> list[tuple[int, str]]:
    """Number and words of every answer that stands, with what a sound vehicle shows beside them."""
    entries = {entry.seq: entry for entry in conversation.state.standing("answered", "found")}
    reasoner = conversation.reasoner
    supply_v = reasoner.supply_v(conversation.findings())
    return [(n, words + beside_words(reasoner, entries[n], supply_v)) for n, words in answers_so_far(conversation)]


def _record(held: Held, conversation: Conversation, arg: str, form: Form, device: str) -> View:
    if arg:
        raise MissingError
    rows = [
        (t("{minutes} min", minutes=one.minutes), f"[{one.gone}] {one.words}" if one.gone else one.words)
        for one in happenings(conversation)
    ]
    return "record.html.j2", {"title": t("Record so far, newest last"), "rows": rows}


def _correct(held: Held, conversation: Conversation, arg: str, form: Form, device: str) -> View:
    standing = {entry.seq for entry in conversation.state.standing("answered", "found")}
    number = _number(arg, max(standing, default=0))
    if number not in standing:
        raise MissingError
    ask = ask_again(conversation, number)
    old = dict(answers_so_far(conversation)).get(number, "")
    inside = ask_view(held, conversation, ask, alone=True)
    return "ask.html.j2", {**inside, "title": t("Correct"), "act": "correct", "number": number, "old": old}


def _odd(held: Held, conversation: Conversation, arg: str, form: Form, device: str) -> View:
    group = held.said(conversation)[-1].get("group", ())
    item = group[_number(arg, len(group)) - 1]
    inside = ask_view(held, conversation, ask_for(conversation, item["check"]), alone=True)
    return "ask.html.j2", {**inside, "title": t("What does this one show?"), "act": "odd", "not_sure": NOT_SURE}


# ---------------------------------------------------------------- what is put in beside


def _symptom(held: Held, conversation: Conversation, arg: str, form: Form, device: str) -> View:
    if arg or conversation.plan.beliefs is None:
        raise MissingError
    inside = ask_view(held, conversation, symptom_ask(conversation), alone=True)
    return "ask.html.j2", {
        **inside,
        "heading": t("What else is wrong?"),
        "rest": "",
        "title": t("Other symptom"),
        "act": "symptom",
    }


def _entry(name: str, heading: str, label: str) -> Callable[..., View]:
    def make(held: Held, conversation: Conversation, arg: str, form: Form, device: str) -> View:
        if arg or (name == "skip-stage" and conversation.plan.stage is None):
            raise MissingError
        return "entry.html.j2", {"title": heading, "label": label, "act": name}

    return make


def _stages(held: Held, conversation: Conversation, arg: str, form: Form, device: str) -> View:
    stages = conversation.plan.stages
    if arg or not stages:
        raise MissingError
    lines = screen.stages_page(stages, WIDE)[2:]
    rows = [(s.id, line.text, n < len(stages)) for n, (s, line) in enumerate(zip(stages, lines, strict=True), 1)]
    return "stages.html.j2", {"title": t("Stages"), "rows": rows}


def _leave(held: Held, conversation: Conversation, arg: str, form: Form, device: str) -> View:
    problems = open_problems(conversation)
    if arg or not problems:
        raise MissingError
    return "leave.html.j2", {"title": t("What is left as it is?"), "problems": [words for _, words in problems]}


def _papers(held: Held, conversation: Conversation, arg: str, form: Form, device: str) -> View:
    if arg:
        raise MissingError
    return "papers.html.j2", {
        "title": t("Log and sheets"),
        "print": can_print(),
    }


def _picture(held: Held, conversation: Conversation, arg: str, form: Form, device: str) -> View:
    step = conversation.reasoner.steps.get(arg)
    found = picture_of(conversation.reasoner, step) if step is not None else None
    if found is None:
        raise MissingError
    return "picture.html.j2", {"title": found[0], "svg": whole_of(found[1])}


def _number(arg: str, most: int) -> int:
    """A number from 1 to `most` in a page's address. Raises MissingError."""
    number = int(arg) if arg.isascii() and arg.isdecimal() and len(arg) < 9 else 0
    if not 1 <= number <= most:
        raise MissingError
    return number


PAGES: Mapping[str, Callable[[Held, Conversation, str, Form, str], View]] = {
    "": _now,
    "remedy": _remedy,
    "why": _why,
    "causes": _causes,
    "cause": _cause,
    "answers": _answers,
    "record": _record,
    "correct": _correct,
    "odd": _odd,
    "symptom": _symptom,
    "note": _entry("note", t("What should be noted?"), t("Note")),
    "changed": _entry("changed", t("What was changed at the vehicle?"), t("Changed")),
    "skip-stage": _entry("skip-stage", t("Skip this stage? Say why."), t("Reason")),
    "stages": _stages,
    "leave": _leave,
    "papers": _papers,
    "picture": _picture,
    "more": _more,
    "help": _help,
}
"""Every page of a job by its name in the address; the empty one is where the job stands."""
