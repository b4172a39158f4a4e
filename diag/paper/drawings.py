"""Drawings of the circuits that a job touched, with its faults and readings marked, each with its words.

Hands figures and marks to the sheet's drawing; cuts one that is too large for paper into pieces that print legibly.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from diag.knowledge.assemble import Knowledge
from diag.log.replayed import Replayed
from diag.log.report import Item, Report
from diag.paper.touched import Reading, Scene, scenes_of
from diag.reason.steps import BODY, TEST_LAMP, Step
from diag.sheet.cuttings import Piece, pieces_of, size_of
from diag.sheet.drawing import draw
from diag.sheet.figures import Figures
from diag.sheet.marks import ELSEWHERE, HERE, SUSPECT, Marks
from diag.sheet.ways import Ways
from diag.talk.wording import answer_words, operate_words, point_words
from diag.texts import t

__all__ = ["Drawn", "Marked", "drawings_of"]

_LINES = 3
"""Readings written at one point of a drawing; the rest is told below it."""
_MIDDLING = 200.0
"""Drawings wider than this, mm, are not enlarged on a screen."""
_PROLOG = re.compile(r"^<\?xml[^>]*\?>\s*")


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
    known = {cause.id: cause for cause in predictor.causes}
    causes = [known[fault.cause.id] for fault in scene.faults if fault.cause.id in known]  # numbered as told
    figures = Figures.of(predictor, scene.operate, causes)
    marks = _marks(scene, {cause.id: cause.subject for cause in predictor.causes})
    name = f"drawing-{scene.circuit}"
    svg = _PROLOG.sub("", draw(figures, ways, (scene.circuit,), marks)).replace("<svg ", f'<svg id="{name}" ', 1)
    width, height = size_of(svg)
    pieces = pieces_of(width, height)
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
        lines[spot] = (
            (*told, t("and {number} more", number=len(found) - len(first))) if len(found) > len(first) else tuple(told)
        )
    for one in scene.suspicions:
        subject = subjects.get(one.cause.id)
        if subject is not None:
            lines[subject] = (
                *lines.get(subject, ()),
                t("{suspect}SUSPECT {percent}", suspect=SUSPECT, percent=one.remedy.chance.percent),
            )
    probed = frozenset(where for one in _kept(scene) if one.probed for where, _ in one.spots)
    return Marks(lines, probed)


def _line(reading: Reading, probe: str) -> str:
    sign = HERE if reading.here else ELSEWHERE
    if probe == "black":
        return t("{sign}{seq} black probe", sign=sign, seq=reading.finding.seq)
    found = _found(reading)
    words = "OL" if found == t("OL (no continuity)") else found
    return f"{sign}{reading.finding.seq} {words}"


def _found(reading: Reading) -> str:
    assert reading.finding.value is not None
    words = answer_words(reading.step, reading.finding.value)
    return t("test lamp {words}", words=words) if reading.step.target == TEST_LAMP else words


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
    return (
        words
        if step.black in (None, BODY)
        else t("{words} against {knowledge}", words=words, knowledge=point_words(knowledge, step.black or BODY))
    )
