"""Screens as one SVG: text stays text, in a light and a dark dress, the same to the byte for the same screens."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from collections.abc import Sequence
from html import escape
from itertools import groupby

from tests.pictures.screen import Cell, Shown

__all__ = ["draw", "text_of"]

_W, _H, _SIZE = 8.4, 18, 14
"""A letter's width and height and the size of its type, in units of the picture."""
_PAD, _GAP, _CAPTION, _ACROSS = 14, 22, 30, 2
_SVG = "{http://www.w3.org/2000/svg}"
_STYLE = """\
.ground{fill:#fff}.screen{fill:#fbfbf8;stroke:#9a9a92}.caption{fill:#222;font:600 15px sans-serif}
.t{fill:#1c1c1c;font:14px ui-monospace,'DejaVu Sans Mono',Menlo,Consolas,monospace;white-space:pre}
.b{font-weight:700}.u{text-decoration:underline}.back{fill:#1c1c1c}.r{fill:#fbfbf8}
.red{fill:#b00020}.yellow,.brown{fill:#7a5200}.green{fill:#1b6e2e}.blue{fill:#1d4fa3}.cyan{fill:#0b6a75}.magenta{fill:#8a1f7a}
@media (prefers-color-scheme:dark){.ground{fill:#0d1117}.screen{fill:#16191d;stroke:#555}.caption{fill:#e6e6e6}
.t{fill:#e4e4e0}.back{fill:#e4e4e0}.r{fill:#16191d}.red{fill:#ff8a80}.yellow,.brown{fill:#ffd166}.green{fill:#8ee6a0}
.blue{fill:#9ecbff}.cyan{fill:#7fe3ee}.magenta{fill:#f3a6e6}}"""
_COLOURS = ("red", "yellow", "brown", "green", "blue", "cyan", "magenta")


def draw(title: str, frames: Sequence[tuple[str, Shown]]) -> str:
    """Screens side by side in twos, in reading order, each below its caption."""
    columns = max(len(shown.rows[0]) for _, shown in frames)
    rows = [_used(shown) for _, shown in frames]
    wide = columns * _W + 2 * _PAD
    out: list[str] = []
    top = float(_GAP)
    for start in range(0, len(frames), _ACROSS):
        deep = max(rows[start : start + _ACROSS]) * _H + 2 * _PAD
        for place, (caption, shown) in enumerate(frames[start : start + _ACROSS]):
            x = _GAP + place * (wide + _GAP)
            out.append(f'<text class="caption" x="{x:g}" y="{top + 16:g}">{escape(caption)}</text>')
            out.append(
                f'<rect class="screen" x="{x:g}" y="{top + _CAPTION:g}" width="{wide:g}" height="{deep:g}" rx="8"/>'
            )
            out += _screen(shown, x + _PAD, top + _CAPTION + _PAD)
        top += _CAPTION + deep + _GAP
    across = min(_ACROSS, len(frames))
    width, height = across * wide + (across + 1) * _GAP, top
    told = " ".join(f"{caption}." for caption, _ in frames)
    return "\n".join(
        [
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:g} {height:g}" role="img">',
            f"<title>{escape(title)}</title><desc>{escape(told)}</desc>",
            f"<style>{_STYLE}</style>",
            f'<rect class="ground" width="{width:g}" height="{height:g}"/>',
            *out,
            "</svg>\n",
        ]
    )


def _used(shown: Shown) -> int:
    return len(shown.text.split("\n"))


def _screen(shown: Shown, x: float, y: float) -> list[str]:
    out = ['<g class="lines">']
    for number, row in enumerate(shown.rows[: _used(shown)]):
        at = 0
        for look, cells in groupby(row, lambda cell: (cell.bold, cell.reverse, cell.underlined, cell.colour)):
            run = list(cells)
            out += _run(run, look, x + at * _W, y + number * _H)
            at += len(run)
    return [*out, "</g>"]


def _run(run: list[Cell], look: tuple[bool, bool, bool, str], x: float, y: float) -> list[str]:
    text = "".join(cell.letter for cell in run)
    bold, reverse, underlined, colour = look
    wide = len(run) * _W
    out = [f'<rect class="back" x="{x:g}" y="{y:g}" width="{wide:g}" height="{_H}"/>'] if reverse else []
    bare = text.rstrip()
    if not bare.strip():
        return out
    before = len(bare) - len(bare.lstrip())
    x, bare = x + before * _W, bare.lstrip()
    names = ["t", *(["b"] if bold else []), *(["u"] if underlined else []), *(["r"] if reverse else [])]
    names += [name for name in _COLOURS if name == _named(colour)]
    length = f' textLength="{len(bare) * _W:g}"' if len(bare) > 1 else ""
    return [
        *out,
        f'<text class="{" ".join(names)}" x="{x:g}" y="{y + _SIZE - 1:g}"{length}>{escape(bare, False)}</text>',
    ]


def _named(colour: str) -> str:
    """One of the few that the picture has in both dresses, for a terminal's name or its six hex digits."""
    if not re.fullmatch(r"[0-9a-f]{6}", colour):
        return colour.removeprefix("bright")
    parts = [int(colour[at : at + 2], 16) for at in (0, 2, 4)]
    red, green, blue = (part > 0.6 * max(parts) for part in parts)
    mixed = {"r": "red", "rg": "yellow", "g": "green", "gb": "cyan", "b": "blue", "rb": "magenta"}
    return mixed.get("r" * red + "g" * green + "b" * blue, "default")


def text_of(picture: str) -> list[str]:
    """The text of each screen of a picture, as it stands there."""
    screens = []
    for group in ET.fromstring(picture).iter(f"{_SVG}g"):
        lines: dict[float, dict[int, str]] = {}
        for piece in group.iter(f"{_SVG}text"):
            lines.setdefault(float(piece.attrib["y"]), {})[round(float(piece.attrib["x"]) / _W * 10)] = piece.text or ""
        first, left = min(lines), min(x for line in lines.values() for x in line)
        rows = []
        for number in range(round((max(lines) - first) / _H) + 1):
            row = ""
            for x, piece_text in sorted(lines.get(first + number * _H, {}).items()):
                row = row.ljust(round((x - left) / 10)) + piece_text
            rows.append(row)
        screens.append("\n".join(rows))
    return screens
