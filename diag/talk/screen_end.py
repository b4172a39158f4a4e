"""The last page of a job: what was done, what is open, how to write it out. Words and layout only."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from diag.talk.conversation import Conversation
from diag.talk.plan import End
from diag.talk.screen import Line, odd_words, paragraph, reason_words
from diag.talk.stage_objects import teaches
from diag.talk.standing import answers_so_far, job_name
from diag.talk.telling import nothing_open_words, to_tell
from diag.talk.worked import work_words
from diag.texts import t, tn

__all__ = ["end_page"]

Object = dict[str, Any]


def end_page(conversation: Conversation, said: Sequence[Object], width: int) -> list[Line]:
    """What was done, what is open, how to write it out."""
    out = [Line(t("Where this job stands"), "strong"), Line()]
    if conversation.plan.stages:
        out += paragraph(t("The sheet to hand over, to print and sign:"), width)
        out += [*paragraph(f"diag export {job_name(conversation.job)} --as handover", width, "  "), Line()]
    for told in said:
        if told["type"] == "conclude":
            out += paragraph(reason_words(told), width)
            for words in odd_words(told) if not told["remedies"] else []:
                out += paragraph(words, width, "- ")
            out.append(Line())
    for words in work_words(conversation.reasoner, conversation.plan, conversation.state):
        out += paragraph(t("done: {title}", title=words), width, "+ ")
    seen = len(answers_so_far(conversation))
    out += paragraph(tn("{n} answer kept.", "{n} answers kept.", seen), width)
    open_items = said[-1].get("open", []) if said else list(conversation.plan.open_items)
    out.append(Line())
    ended = isinstance(conversation.plan.next, End)
    left = to_tell(conversation.reasoner, conversation.plan) if ended else ()
    if open_items:
        out.append(Line(t("Open"), "strong"))
        for item in open_items:
            out += paragraph(item, width, "- ")
        out += [Line(), Line(t("To be told"), "strong")] if left else []
    else:
        words = nothing_open_words(len(left)) if ended else t("Not finished: more would have been asked.")
        out += paragraph(words, width)
    for item in left:
        out += paragraph(item, width, "- ")
    if teaches(conversation.plan):
        out += [Line(), *paragraph(t("Was it something the rules do not know? Add it to them:"), width)]
        out += paragraph(f"diag rules add {job_name(conversation.job)}", width, "  ")
    out += [Line(), *paragraph(t("The log of this job:"), width)]
    out += paragraph(f"diag export {job_name(conversation.job)}", width, "  ")
    return out
