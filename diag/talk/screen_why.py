"""Pages of reasons as lines of text: why a question is asked and what each answer would mean; why, or why
not, a cause.

Words and layout only; must not know of keys being pressed or of how lines reach a screen.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from diag.talk.conversation import Conversation
from diag.talk.objects import expected_words
from diag.talk.screen import Line, bar, paragraph, percent_said
from diag.talk.whys import names_of, percent, short_title
from diag.texts import t

__all__ = ["PICKED", "account_page", "means_lines", "pick_page", "picks_of", "why_page"]

Object = dict[str, Any]
PICKED = 9
"""So many causes can be picked by a digit."""


def why_page(conversation: Conversation, ask: Object, width: int) -> list[Line]:
    """Why this is asked, what a sound vehicle shows, what each answer would mean."""
    out = [Line(t("Why this question"), "strong"), Line()]
    out += paragraph(str(ask["why"]), width, "- ")
    step = conversation.reasoner.steps.get(ask["check"])
    expected = expected_words(conversation.reasoner, step) if step is not None and ask["kind"] != "do" else ""
    if expected:
        out += [Line(), *paragraph(t("A sound vehicle shows: {expected}.", expected=expected), width)]
    if step is not None and step.limits is not None:
        low, high, unit = step.limits.min, step.limits.max, step.unit or ""
        parts = [t("at least {low:g} {unit}", low=low, unit=unit)] if low is not None else []
        parts += [t("at most {high:g} {unit}", high=high, unit=unit)] if high is not None else []
        out += paragraph(t("Good: {parts} ({source}).", parts=", ".join(parts), source=step.limits.source), width)
    out += means_lines(ask, width)
    if ask["minutes"]:
        words = t("The check itself: {ask:g} min. {needs}", ask=ask["minutes"], needs=_needs(ask))
        out += [Line(), *paragraph(words, width)]
    return out


def means_lines(ask: Object, width: int) -> list[Line]:
    """What each answer would mean, with the chance that it is given; nothing where none says anything."""
    if not ask["means"]:
        return []
    out = [Line(), Line(t("What each answer would mean"), "strong")]
    for meaning in ask["means"]:
        out += paragraph(
            str(meaning["text"]), width, f"{percent(meaning['chance']):>5} ", indent=6 if width >= 60 else 2
        )
    return out


def _needs(ask: Object) -> str:
    names = [str(name).replace("-", " ") for name in ask["instruments"]]
    return t("Needs: {names}.", names=", ".join(names)) if names else t("Needs no instrument.")


# ---------------------------------------------------------------- why, or why not, a cause


def pick_page(picks: Sequence[tuple[str, str]], width: int, how: str) -> list[Line]:
    """Names with their titles by number, to ask why or why not; `how` they are picked."""
    out = [*paragraph(t("Why, or why not?"), width, style="strong"), Line()]
    for number, (_, title) in enumerate(picks, 1):
        out += paragraph(title, width, f"{number} ")
    return [*out, Line(), *paragraph(how, width)]


def picks_of(conversation: Conversation, names: Sequence[str] = ()) -> list[tuple[str, str]]:
    """What can be picked by a digit: `names`, else the remedies held likeliest, with their titles."""
    if names:
        titles = names_of(conversation.reasoner)
        return [(name, f"{short_title(titles[name])} ({name})") for name in names[:PICKED]]
    known = conversation.reasoner.remedies
    likely = conversation.beliefs.ranking[:PICKED]
    return [(name, f"{short_title(known[name].title)} ({percent(p)})") for name, p in likely]


def account_page(told: Object, width: int) -> list[Line]:
    """Where a cause, remedy or part stands, and every answer that speaks for or against it."""
    out = paragraph(str(told["title"]), width, style="strong")
    if told["about"] == "part":
        out += [*paragraph(str(told["text"]), width)]
        for cause in told["causes"]:
            first = f"{bar(cause['p'])} {percent(cause['p']):>6}  "
            mode, indent = _mode(cause, told), 20 if width >= 60 else 4
            out += [Line(), *paragraph(mode, width, first, indent=indent, said=f"{percent_said(cause['p'])}: {mode}")]
            out += paragraph(f"{cause['text']} ({cause['id']})", width, "    ")
        return out
    before = t("before any answer {percent}", percent=percent(told["prior"]))
    out += paragraph(t("Chance now {percent}, {before}.", percent=percent(told["p"]), before=before), width)
    if told.get("learned"):
        out += paragraph(str(told["learned"]), width)
    out += [Line(), *paragraph(str(told["text"]), width)]
    shown = [cause for cause in told["weighed-as"] if cause["id"] != told["id"]]
    if shown:
        out += paragraph(t("Weighed as: {titles}.", titles=_titles(shown)), width)
    if told["beside"]:
        beside = t(
            "Weighed beside a further fault ({titles}): what that accounts for is not counted.",
            titles=_titles(told["beside"]),
        )
        out += paragraph(beside, width)
    for title, key in ((t("For it"), "for"), (t("Against it"), "against")):
        if told[key]:
            out += [Line(), Line(title, "strong")]
            for line in told[key]:
                out += _line(line, width, t("on a sound vehicle"))
    seen = {line["seq"] for line in told["against"]}
    more = [line for line in told["against-leader"] if line["seq"] not in seen]
    if more:
        out += [
            Line(),
            *paragraph(t("Against it, compared with {told}", told=told["leader"]["title"]), width, style="strong"),
        ]
        for line in more:
            out += _line(line, width, t("with that"))
    if not told["for"] and not told["against"] and not more:
        out += [Line(), *paragraph(t("No answer so far says anything of it."), width)]
    if told["back"]:
        out += [Line(), *paragraph(t("What would speak for it most"), width, style="strong")]
        for back in told["back"]:
            out += paragraph(t("{back}; then {percent}", back=back["text"], percent=percent(back["p"])), width, "- ")
    return out


def _line(line: Object, width: int, than: str) -> list[Line]:
    by = t("computed") if line["from"] == "computed" else t("how usual it is")
    if line["from"] not in ("computed", "usual share"):
        by = t("rule {line}", line=line["from"])
    said = t(
        "Answer {line}, {line_2}: {line_3} ({line_4}; {by}).",
        line=line["seq"],
        line_2=line["text"],
        line_3=line["words"],
        line_4=line["numbers"],
        by=by,
    )
    if line["with"] is not None:
        said += t(" With it: {line}", line=line["with"])
        said += f"; {than}: {line['instead']}." if line["instead"] is not None else "."
    return paragraph(said, width, "- ")


def _titles(causes: list[Object]) -> str:
    return t(" and ").join(str(cause["title"]) for cause in causes)


def _mode(cause: Object, told: Object) -> str:
    """What is wrong with a part whose title stands above already."""
    title, _, mode = str(cause["title"]).rpartition(": ")
    return mode if title.startswith(str(told["title"])) else str(cause["title"])
