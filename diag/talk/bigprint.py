"""Big print for arm's length: letters twice as wide, a blank line between whatever belongs apart, answers' numbers
in brackets.

A terminal's letters grow only by its own font; width, weight and room around them are what a page can give. Where the
terminal shows no wide letters they stand spaced out in the same room.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from prompt_toolkit.utils import get_cwidth

from diag.talk.screen import Line, paragraph
from diag.talk.spoken import where_said

__all__ = ["LONGEST", "big_lines", "big_width", "wide"]

LONGEST = 32
"""Letters in a line at most: short lines are found again by an eye that went to the vehicle and back."""
_WIDE = {code: chr(code + 0xFEE0) for code in range(0x21, 0x7F)}
"""The wide forms of Unicode (block Halfwidth and Fullwidth Forms); a terminal gives each two columns."""
_ANSWER = re.compile(r"(\d{1,2}) +(?=\S)")


def big_width(columns: int) -> int:
    """So many letters fit in a line; room for the brackets of the numbers is set aside."""
    return max(min(columns // 2, LONGEST) - 2, 8)


def wide(text: str, letters: str = "utf-8") -> str:
    """The text in letters of two columns each: wide forms, or with a space behind each."""
    if not letters.startswith("utf"):
        return "".join(f"{letter} " for letter in text)
    out = []
    for letter in text:
        columns = get_cwidth(letter)
        out.append(_WIDE.get(ord(letter)) or (letter if columns == 2 else f"{letter} " if columns == 1 else letter))
    return "".join(out)


def big_lines(lines: Sequence[Line], width: int, letters: str = "utf-8") -> list[Line]:
    """The lines of a page in big print, blank lines put between what belongs apart; all of it bold. `width`: letters
    in a line, as `big_width` gives it.

    A paragraph is wrapped anew from its words, without bars and signs, so that nothing runs out of a narrow screen;
    frames and pictures stay as they are. Minutes and answers so far are left out.
    """
    out: list[Line] = []
    again = False
    for line in lines:
        if line.said is None and again and line.text.strip("- "):
            continue  # the later lines of a paragraph that was wrapped anew
        again = bool(line.said) and line.style != "warn"
        if line.style == "where":
            where = where_said(line)
            out += [Line(wide(part.text, letters), "where") for part in paragraph(where, width)] if where else []
            continue
        apart = line.said is not None and line.text.strip()
        if apart and out and out[-1].text.strip():
            out.append(Line(said=None))
        out += [
            Line(wide(part.text, letters), part.style if part.style == "warn" else "strong", part.said)
            for part in _anew(line, width)
        ]
    return out


def _anew(line: Line, width: int) -> list[Line]:
    """One line, or the paragraph that it begins, with the number of an answer in brackets."""
    text = line.said if line.said and line.style != "warn" else line.text
    found = _ANSWER.match(text.strip()) if line.said is not None else None
    if found:
        return paragraph(text.strip()[found.end() :], width, f"[{found[1]}] ", line.style)
    if line.style != "warn" and (line.said or (line.said == "" and len(text) > width)):
        return paragraph(text, width, style=line.style)
    return [line]
