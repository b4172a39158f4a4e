"""The page of keys and words that helps a person answer. Words only; knows nothing of jobs."""

from __future__ import annotations

from diag.talk.screen import Line, paragraph
from diag.texts import t

__all__ = ["PLAIN_HELP", "help_page"]

_LIGHTS = (
    ("dark", t("no light at all, looked at with the hand held round it")),
    ("glow", t("only just to be seen")),
    ("dim", t("clearly weaker than it should be")),
    ("normal", t("as bright as the other side, or as it should be")),
    (t("too bright"), t("whiter and brighter than it should be")),
)
_RHYTHMS = (
    ("steady", t("lit and stays lit")),
    ("flashing", t("one to two flashes a second")),
    ("slow", t("fewer than one a second")),
    ("fast", t("more than two a second")),
)
_KEYS = (
    ("1-9, 0", t("answer; a reading is typed with its unit, then Enter")),
    ("w", t("why this is asked, what each answer would mean")),
    ("y", t("why, or why not, any cause, part or wire: what speaks for and against it")),
    ("n", t("not sure: the check is left out")),
    ("u", t("undo the newest answer; again for the one before")),
    ("x", t("can't reach this place; nothing there is asked again")),
    ("i", t("no such instrument; nothing that needs it is asked again")),
    ("l", t("later: asked again after the next repair or change, or at the end of the stage")),
    ("c", t("correct an older answer, by its number")),
    ("s", t("something else is wrong too")),
    ("a", t("add a note to the log")),
    ("g", t("I changed something at the vehicle: old answers no longer hold for sure")),
    ("b", t("what is likely so far")),
    ("p", t("picture: the way from battery to body, with the point to touch marked")),
    ("r", t("record: every question and answer so far, what was undone, what was done")),
    ("k", t("show the caution of this check again")),
    ("d", t("done: the caution is seen to, or the repair is made")),
    ("o", t("back to the list of remedies")),
    ("t", t("the stages of proving the whole vehicle; a digit goes to one")),
    ("e", t("skip this stage, with a reason")),
    ("v", t("leave what is odd as it is, with a reason")),
    ("q", t("quit; every answer is kept")),
    ("Space", t("turn the page; arrows and PageUp, PageDown scroll")),
    ("Tab", t("where words are typed: names of circuits, parts and terminals")),
)
PLAIN_HELP = t(
    "One answer a line: the number, or the words. A lamp: `dark`, `normal steady`, `dim "
    "flashing`; `steady` alone means normal light. A reading with its unit: `11.8 V`, `0.4 ohm`, "
    "`OL`. Else: undo, not sure, can't reach, no instrument, later, why, why NAME, why not NAME, "
    "causes, picture, record, note TEXT, changed TEXT, symptom TEXT, correct NUMBER VALUE, done, "
    "done NUMBER, other NUMBER, quit. The whole vehicle in stages (`whole` at the start): all "
    "right, NUMBER WORDS for an odd one of a list, stages, stage NAME, skip REASON, leave REASON."
)


def help_page(width: int) -> list[Line]:
    """Keys and words, wrapped to `width` columns."""
    out = [Line(t("Keys"), "strong")]
    for key, words in _KEYS:
        out += paragraph(words, width, f"{key:<7}")
    out += [Line(), Line(t("What a lamp shows"), "strong")]
    for word, words in (*_LIGHTS, *_RHYTHMS):
        out += paragraph(words, width, f"{word:<11}")
    return out
