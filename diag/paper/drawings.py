"""Drawings of the circuits that a job touched, with its faults and readings marked, each with its words.

Hands figures and marks to the sheet's drawing; cuts one that is too large for paper into pieces that print legibly.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from dataclasses import dataclass

from diag.knowledge.assemble import Knowledge
from diag.log.replayed import Replayed
from diag.log.report import Item, Report
from diag.paper.touched import Reading, Scene, scenes_of
from diag.reason.steps import BODY, TEST_LAMP, Step
from diag.sheet.drawing import draw
from diag.sheet.figures import Figures
from diag.sheet.marks import ELSEWHERE, HERE, SUSPECT, Marks
from diag.sheet.ways import Ways
from diag.talk.wording import answer_words, operate_words, point_words

__all__ = ["Drawn", "Marked", "Piece", "drawings_of"]

_LINES = 3
"""Readings written at one point of a drawing; the rest is told below it."""
_WIDE, _HIGH = 184.0, 200.0
"""What a page of A4 and one of US Letter both hold inside their margins, mm, with room for a heading."""
_LEAST = 0.6
"""A drawing is made smaller on paper by no more than this: its letters are then about 4 point."""
_OVERLAP = 12.0
_MIDDLING = 200.0
"""Drawings wider than this, mm, are not enlarged on a screen."""
_PX = 96 / 25.4
"""CSS pixels in a millimetre."""
_PROLOG = re.compile(r"^<\?xml[^>]*\?>\s*")
_SIZE = re.compile(r'<svg\b[^>]*?\bwidth="([\d.]+)mm"[^>]*?\bheight="([\d.]+)mm"')


@dataclass(frozen=True)
class Marked:
    """A reading in words below its drawing. `number` of the answer; `where`; `controls`; `found`, `healthy`;
    `here`: with the controls drawn; `odd`: not as on a healthy vehicle."""

    number: int
    where: str
    controls: str
    found: str
    healthy: str
    here: bool
    odd: bool


@dataclass(frozen=True)
class Piece:
    """A cutting for paper. `box`: what of the drawing it shows (CSS pixels: x, y, width, height); `width` and
    `height` on paper, mm; `words`: which piece it is."""

    box: tuple[float, float, float, float]
    width: float
    height: float
    words: str


@dataclass(frozen=True)
class Drawn:
    """One circuit. `svg` in millimetres with an id of its own; `size`: small, middling, or large with `pieces` where
    paper is too small for it whole;
    `operate`, `faults` and `suspected` in words; `marked`: what is marked in it, by answer."""

    id: str
    title: str
    svg: str
    size: str
    pieces: tuple[Piece, ...]
    operate: str
    faults: tuple[str, ...]
    suspected: tuple[str, ...]
    marked: tuple[Marked, ...]


def drawings_of(job: Replayed, report: Report) -> tuple[tuple[Drawn, ...], tuple[str, ...]]:
    """The drawings, and the titles of circuits that were asked about but need none."""
    scenes, left_out = scenes_of(job, report)
    titles = job.reasoner.knowledge.circuits
    items = {item.number: item for item in report.items}
    drawn: tuple[Drawn, ...] = ()
    if job.reasoner.predictor is not None and scenes:
        ways = Ways.of(job.reasoner.knowledge, job.reasoner.predictor.network)
        drawn = tuple(_drawn(job, scene, ways, items) for scene in scenes)
    return drawn, tuple(titles[name].title if name in titles else name for name in left_out)


def _drawn(job: Replayed, scene: Scene, ways: Ways, items: dict[int, Item]) -> Drawn:
    knowledge, predictor = job.reasoner.knowledge, job.reasoner.predictor
    assert predictor is not None
    wanted = {fault.cause.id for fault in scene.faults}
    causes = [cause for cause in predictor.causes if cause.id in wanted]
    figures = Figures.of(predictor, scene.operate, causes)
    marks = _marks(scene, {cause.id: cause.subject for cause in predictor.causes})
    name = f"drawing-{scene.circuit}"
    svg = _PROLOG.sub("", draw(figures, ways, (scene.circuit,), marks)).replace("<svg ", f'<svg id="{name}" ', 1)
    found = _SIZE.search(svg)
    assert found is not None
    width, height = float(found[1]), float(found[2])
    pieces = tuple(_pieces(width, height))
    return Drawn(
        name,
        knowledge.circuits[scene.circuit].title,
        svg,
        "large" if pieces else "middling" if width > _MIDDLING else "small",
        pieces,
        operate_words(knowledge, scene.operate),
        tuple(f"{fault.cause.title} ({fault.chance.words}, {fault.chance.percent})" for fault in scene.faults),
        tuple(f"{one.cause.title} ({one.remedy.chance.percent})" for one in scene.suspicions),
        tuple(_marked(knowledge, reading, items) for reading in _kept(scene)),
    )


# ---------------------------------------------------------------- marks


def _kept(scene: Scene) -> list[Reading]:
    """Readings that are marked: all that was probed, and of what was watched what is odd or fits the drawing."""
    return [one for one in scene.readings if one.spots and (one.probed or one.odd or one.here)]


def _marks(scene: Scene, subjects: dict[str, str]) -> Marks:
    at: dict[str, list[tuple[Reading, str]]] = {}
    for reading in _kept(scene):
        for where, probe in reading.spots:
            spot = where if reading.probed else where.partition(".")[0]
            at.setdefault(spot, []).append((reading, probe))
    lines: dict[str, tuple[str, ...]] = {}
    for spot, found in at.items():
        first = sorted(found, key=lambda one: (not one[0].here, not one[0].odd, one[0].finding.seq))[:_LINES]
        told = [_line(reading, probe) for reading, probe in sorted(first, key=lambda one: one[0].finding.seq)]
        lines[spot] = (*told, f"and {len(found) - len(first)} more") if len(found) > len(first) else tuple(told)
    for one in scene.suspicions:
        subject = subjects.get(one.cause.id)
        if subject is not None:
            lines[subject] = (*lines.get(subject, ()), f"{SUSPECT}SUSPECT {one.remedy.chance.percent}")
    probed = frozenset(where for one in _kept(scene) if one.probed for where, _ in one.spots)
    return Marks(lines, probed)


def _line(reading: Reading, probe: str) -> str:
    sign = HERE if reading.here else ELSEWHERE
    if probe == "black":
        return f"{sign}{reading.finding.seq} black probe"
    words = _found(reading).removesuffix(" (no continuity)")
    return f"{sign}{reading.finding.seq} {words}"


def _found(reading: Reading) -> str:
    assert reading.finding.value is not None
    words = answer_words(reading.step, reading.finding.value)
    return f"test lamp {words}" if reading.step.target == TEST_LAMP else words


def _marked(knowledge: Knowledge, reading: Reading, items: dict[int, Item]) -> Marked:
    step, item = reading.step, items.get(reading.finding.seq)
    return Marked(
        reading.finding.seq,
        _where(knowledge, step) if reading.probed else step.title,
        operate_words(knowledge, step.operate),
        _found(reading),
        item.expected if item is not None else "",
        reading.here,
        reading.odd,
    )


def _where(knowledge: Knowledge, step: Step) -> str:
    """Where probes were, in words."""
    if step.through is not None:
        return step.title
    words = point_words(knowledge, step.red or BODY)
    return words if step.black in (None, BODY) else f"{words} against {point_words(knowledge, step.black or BODY)}"


# ---------------------------------------------------------------- paper


def _pieces(width: float, height: float) -> Iterator[Piece]:
    """None where the whole drawing prints large enough on one page; else rows and columns of cuttings that
    overlap."""
    if min(_WIDE / width, _HIGH / height) >= _LEAST:
        return
    columns, rows = (_cuts(length, room) for length, room in ((width, _WIDE), (height, _HIGH)))
    for row, (top, high) in enumerate(rows):
        for column, (left, wide) in enumerate(columns):
            scale = min(_WIDE / wide, _HIGH / high, 1.0)
            number = row * len(columns) + column + 1
            yield Piece(
                (round(left * _PX, 1), round(top * _PX, 1), round(wide * _PX, 1), round(high * _PX, 1)),
                round(wide * scale, 1),
                round(high * scale, 1),
                f"piece {number} of {len(columns) * len(rows)}{_side(column, len(columns), row, len(rows))}",
            )


def _cuts(length: float, room: float) -> list[tuple[float, float]]:
    """Where pieces begin and how long they are, so that each prints at no less than the least size."""
    most = room / _LEAST
    count = 1 if length <= most else math.ceil((length - _OVERLAP) / (most - _OVERLAP))
    piece = (length + (count - 1) * _OVERLAP) / count
    return [(i * (piece - _OVERLAP), piece) for i in range(count)]


def _side(column: int, columns: int, row: int, rows: int) -> str:
    across = "" if columns == 1 else ("left" if column == 0 else "right" if column == columns - 1 else "middle")
    down = "" if rows == 1 else ("upper" if row == 0 else "lower" if row == rows - 1 else "centre")
    words = " ".join(word for word in (down, across) if word)
    return f", {words}" if words else ""
