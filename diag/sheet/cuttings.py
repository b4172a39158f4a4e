"""A drawing that is too large for a page is cut into pieces that print legibly and overlap. Pure measures."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from diag.sheet.faces import LETTERS
from diag.texts import t

__all__ = ["Piece", "pieces_of", "size_of"]

_WIDE, _HIGH = 184.0, 230.0
"""What a page of A4 and one of US Letter both hold inside their margins, mm, with room for a heading."""
_LETTERS_PT, _POINT_MM = 6.5, 25.4 / 72
_LEAST = min(1.0, _LETTERS_PT * _POINT_MM / LETTERS)
"""A drawing is made smaller on paper by no more than this: its letters are then 6.5 point (common practice, no source:
what can be read at arm's length without looking twice)."""
_OVERLAP = 12.0
_PX = 96 / 25.4
"""CSS pixels in a millimetre."""
_SIZE = re.compile(r'<svg\b[^>]*?\bwidth="([\d.]+)mm"[^>]*?\bheight="([\d.]+)mm"')


@dataclass(frozen=True)
class Piece:
    """A cutting for paper. `box`: what of the drawing it shows (CSS pixels: x, y, width, height); `width` and
    `height` on paper, mm; `words`: which piece it is."""

    box: tuple[float, float, float, float]
    width: float
    height: float
    words: str


def size_of(svg: str) -> tuple[float, float]:
    """Width and height of a drawing, mm."""
    found = _SIZE.search(svg)
    assert found is not None
    return float(found[1]), float(found[2])


def pieces_of(width: float, height: float) -> tuple[Piece, ...]:
    """None where the whole drawing prints large enough on one page; else rows and columns of cuttings that
    overlap. `width` and `height` of the drawing in mm."""
    if min(_WIDE / width, _HIGH / height) >= _LEAST:
        return ()
    columns, rows = (_cuts(length, room) for length, room in ((width, _WIDE), (height, _HIGH)))
    found = []
    for row, (top, high) in enumerate(rows):
        for column, (left, wide) in enumerate(columns):
            scale = min(_WIDE / wide, _HIGH / high, 1.0)
            number = row * len(columns) + column + 1
            found.append(
                Piece(
                    (round(left * _PX, 1), round(top * _PX, 1), round(wide * _PX, 1), round(high * _PX, 1)),
                    round(wide * scale, 1),
                    round(high * scale, 1),
                    t(
                        "piece {number} of {number_2}{side}",
                        number=number,
                        number_2=len(columns) * len(rows),
                        side=_side(column, len(columns), row, len(rows)),
                    ),
                )
            )
    return tuple(found)


def _cuts(length: float, room: float) -> list[tuple[float, float]]:
    """Where pieces begin and how long they are, so that each prints at no less than the least size."""
    most = room / _LEAST
    count = 1 if length <= most else math.ceil((length - _OVERLAP) / (most - _OVERLAP))
    piece = (length + (count - 1) * _OVERLAP) / count
    return [(i * (piece - _OVERLAP), piece) for i in range(count)]


def _side(column: int, columns: int, row: int, rows: int) -> str:
    across = (
        "" if columns == 1 else (t("left") if column == 0 else t("right") if column == columns - 1 else t("middle"))
    )
    down = "" if rows == 1 else (t("upper") if row == 0 else t("lower") if row == rows - 1 else t("centre"))
    words = " ".join(word for word in (down, across) if word)
    return f", {words}" if words else ""
