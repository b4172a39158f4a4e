"""Lines of a page as a voice, or a reader of single lines, gives them: whole sentences, units and signs in words.

Words only; must not know of programs that speak.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

from diag.talk.screen import Line
from diag.texts import t

__all__ = ["page_aloud", "said_lines", "voiced", "where_said"]

_UNITS = {
    "V": "volt", "mV": "millivolt", "A": "amp", "mA": "milliamp", "W": "watt", "Ah": t("amp hour"), "ohm": "ohm",
    "kohm": "kilohm", "Mohm": "megohm", "min": "minute", "h": "hour", "s": "second", "m": "metre", "mm": "millimetre",
    "cm": "centimetre", "mm2": t("square millimetre"),
}  # fmt: skip
_QUANTITY = re.compile(rf"(?<![\w.])(\d+(?:[.,]\d+)?) ?({'|'.join(sorted(_UNITS, key=len, reverse=True))})(?!\w)")
_LEADING = re.compile(r"^(?:[!>=+*#|.\-]+(?:\s+|$))+")
"""Signs before a line that the eye alone needs."""
_COUNTS = re.compile(r"\d+ (?:min|answers?)")
_SIGNS: tuple[tuple[re.Pattern[str], str], ...] = (
    (re.compile(r"(\d) ?%"), r"\1 percent"),
    (re.compile(r">(?=\d)"), "over "),
    (re.compile(r"<(?=\d)"), "under "),
    (re.compile(r"\s?->\s?"), " to "),
    (re.compile(r" \| "), ", "),
    (re.compile(r"\b([A-Z]{1,2})\+"), r"\1 plus"),
    (re.compile(r"\b([A-Z]{1,2})-(?=[\s,.;:)]|$)"), r"\1 minus"),
    (re.compile(r"\b(\d{2,})([a-z]{1,2})\b"), r"\1 \2"),
    (re.compile(r"\bOL\b"), "O L"),
    (re.compile(r"[`|#*_<>\[\]{}~^\\]"), " "),
)


def said_lines(lines: Iterable[Line]) -> list[str]:
    """What each line says, in order; an empty one stays empty, one that says nothing is left out."""
    out = []
    for line in lines:
        if line.said is not None:
            text = line.said or line.text
            out.append(" ".join(_LEADING.sub("", text).split()))
    return out


def where_said(line: Line) -> str:
    """Circuit and place of the line that says where we are, without its counts; empty for any other line."""
    if line.style != "where" or not line.said:
        return ""
    return ", ".join(part for part in line.said.split(" | ") if not _COUNTS.fullmatch(part))


def voiced(text: str) -> str:
    """A text for a voice: `12.4 V` as 12.4 volts, `49a` as 49 a, `B+` as B plus, no signs that would be spelt out."""

    def quantity(found: re.Match[str]) -> str:
        number, unit = found[1], _UNITS[found[2]]
        return f"{number} {unit}{'' if number == '1' else 's'}"

    text = _QUANTITY.sub(quantity, text)
    for sign, words in _SIGNS:
        text = sign.sub(words, text)
    return " ".join(text.split())


def page_aloud(lines: Sequence[Line], before: str = "", more: str = "") -> tuple[str, str]:
    """What to say of a page: cautions first, then the rest; and where it is. `before`: where the last one was, which
    is not said twice; `more`: what else is said at the end, such as what to type."""
    where = ", ".join(place for line in lines if (place := where_said(line)))
    rest = [line for line in lines if line.style != "where"]
    order = [line for line in rest if line.style == "warn"] + [line for line in rest if line.style != "warn"]
    texts = [text for text in said_lines(order) if text]
    if where and where != before:
        cautions = sum(bool(line.said) for line in rest if line.style == "warn")
        texts.insert(cautions, where)
    texts += [more] if more else []
    return voiced(" ".join(text if text[-1] in ".!?:;" else f"{text}." for text in texts)), where
