"""How wide a line of text becomes, and where it is broken. Knows nothing of what is written."""

from __future__ import annotations

import re

__all__ = ["BOLD", "LINE", "clean", "in_lines", "width"]

LINE = 1.25
"""Height of a line as a multiple of the letters' size."""
BOLD = 1.19
"""How much wider bold letters are."""
_UNIT = re.compile(r"(\d) (A|W|V|mm²)(?=\W|$)")
"""A figure stays with its unit."""
_WIDE = 1.0
_WIDTHS = {
    "'ijl": 0.29,
    " \u00a0,.·IJ/:;\\|": 0.34,
    "-()[]tf!²r": 0.42,
    '"*_`sz?': 0.54,
    "cFLkvxyPTYo": 0.615,
    "aehnuSbdgpqEK$0123456789{}": 0.66,
    "AVXZBRCU": 0.74,
    "NHDGOQ&w#+<=>^~×": 0.84,
    "Mm%W@": 1.0,
}
"""Advance widths in sizes of the letters: those of DejaVu Sans, one of the widest of the usual text
faces, rounded up, so that a line is never wider than counted."""
_WIDTH_OF = {sign: wide for signs, wide in _WIDTHS.items() for sign in signs}


def clean(text: str) -> str:
    """Text on one line, with `?` for signs that are not printed: XML has no room for them."""
    return "".join(sign if sign.isprintable() else "?" for sign in " ".join(text.split()))


def width(text: str, size: float, *, bold: bool = False) -> float:
    """Width of a line in the unit of `size`; never less than what a common face needs."""
    return sum(_WIDTH_OF.get(sign, _WIDE) for sign in text) * size * (BOLD if bold else 1.0)


def in_lines(text: str, size: float, room: float, *, most: int = 0, bold: bool = False) -> list[str]:
    """The text broken at spaces into lines no wider than `room`; a longer word is broken where it must be.

    `most`: number of lines to keep, the last one ended with `...` where something was left out (0: all).
    """
    lines: list[str] = []
    for word in _UNIT.sub("\\1\u00a0\\2", clean(text)).split(" "):
        joined = f"{lines[-1]} {word}" if lines else word
        if lines and width(joined, size, bold=bold) <= room:
            lines[-1] = joined
            continue
        while width(word, size, bold=bold) > room and len(word) > 1:
            keep = max(n for n in range(1, len(word)) if n == 1 or width(word[:n], size, bold=bold) <= room)
            lines.append(word[:keep])
            word = word[keep:]
        lines.append(word)
    if most and len(lines) > most:
        last = lines[most - 1]
        while last and width(f"{last}...", size, bold=bold) > room:
            last = last[:-1]
        lines = [*lines[: most - 1], f"{last.rstrip()}..."]
    return [line.replace("\u00a0", " ") for line in lines]
