"""The page of keys and words that helps a person answer. Words only; knows nothing of jobs."""

from __future__ import annotations

from diag.talk.screen import Line, paragraph

__all__ = ["PLAIN_HELP", "help_page"]

_LIGHTS = (
    ("dark", "no light at all, looked at with the hand held round it"),
    ("glow", "only just to be seen"),
    ("dim", "clearly weaker than it should be"),
    ("normal", "as bright as the other side, or as it should be"),
    ("too bright", "whiter and brighter than it should be"),
)
_RHYTHMS = (
    ("steady", "lit and stays lit"),
    ("flashing", "one to two flashes a second"),
    ("slow", "fewer than one a second"),
    ("fast", "more than two a second"),
)
_KEYS = (
    ("1-9, 0", "answer; a reading is typed with its unit, then Enter"),
    ("w", "why this is asked, what each answer would mean"),
    ("y", "why, or why not, any cause, part or wire: what speaks for and against it"),
    ("n", "not sure: the check is left out"),
    ("u", "undo the newest answer; again for the one before"),
    ("x", "can't reach this place; nothing there is asked again"),
    ("i", "no such instrument; nothing that needs it is asked again"),
    ("l", "later: asked again after the next repair or change"),
    ("c", "correct an older answer, by its number"),
    ("s", "something else is wrong too"),
    ("a", "add a note to the log"),
    ("g", "I changed something at the vehicle: old answers no longer hold for sure"),
    ("b", "what is likely so far"),
    ("p", "picture: the way from battery to body, with the point to touch marked"),
    ("r", "record: every question and answer so far, what was undone, what was done"),
    ("k", "show the caution of this check again"),
    ("d", "done: the caution is seen to, or the repair is made"),
    ("o", "back to the list of remedies"),
    ("t", "the stages of proving the whole vehicle; a digit goes to one"),
    ("e", "skip this stage, with a reason"),
    ("v", "leave what is odd as it is, with a reason"),
    ("q", "quit; every answer is kept"),
    ("Space", "turn the page; arrows and PageUp, PageDown scroll"),
    ("Tab", "where words are typed: names of circuits, parts and terminals"),
)
PLAIN_HELP = (
    "One answer a line: the number, or the words. A lamp: `dark`, `normal steady`, `dim flashing`; `steady` alone "
    "means normal light. A reading with its unit: `11.8 V`, `0.4 ohm`, `OL`. "
    "Else: undo, not sure, can't reach, no instrument, later, why, why NAME, why not NAME, causes, picture, record, "
    "note TEXT, changed TEXT, symptom TEXT, correct NUMBER VALUE, done, done NUMBER, other NUMBER, quit. "
    "The whole vehicle in stages (`whole` at the start): all right, NUMBER WORDS for an odd one of a list, stages, "
    "stage NAME, skip REASON, leave REASON."
)


def help_page(width: int) -> list[Line]:
    """Keys and words, wrapped to `width` columns."""
    out = [Line("Keys", "strong")]
    for key, words in _KEYS:
        out += paragraph(words, width, f"{key:<7}")
    out += [Line(), Line("What a lamp shows", "strong")]
    for word, words in (*_LIGHTS, *_RHYTHMS):
        out += paragraph(words, width, f"{word:<11}")
    return out
