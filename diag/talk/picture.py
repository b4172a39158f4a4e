"""The picture of a question in text: the way from battery to body with the point to touch or to watch marked.

Chooses the points and where there is room; how a way is drawn is the sheet's business.
"""

from __future__ import annotations

from collections.abc import Sequence
from weakref import WeakKeyDictionary

from diag.circuit.predict import Predictor
from diag.knowledge.assemble import Knowledge, terminals_of
from diag.knowledge.bridging import BODY, BRIDGED, bridge_ends
from diag.knowledge.targets import part_of_target
from diag.reason.reasoner import Reasoner
from diag.reason.steps import BUZZER, LED_TESTER, SERIES_LAMP, TEST_LAMP, Step
from diag.sheet.strip import strip
from diag.sheet.ways import Ways
from diag.talk.conversation import Conversation
from diag.talk.screen import SPARE_BLANK, SPARE_HINT, Line, paragraph, spared
from diag.talk.set_up import points_of
from diag.texts import t

__all__ = ["beside", "complained_circuit", "left_width", "marks_of", "picture_lines", "picture_page"]

_MARKS = {"red": "R", "black": "B", "clip": "C", "tip": "T"}
_NAMED = {"R": "red", "B": "black", "C": "clip", "T": "tip", "J": "jumper", "*": t("look here")}
_HELD = (TEST_LAMP, LED_TESTER, SERIES_LAMP, BUZZER)
_ways: WeakKeyDictionary[Predictor, Ways] = WeakKeyDictionary()
_LEFT, _GAP, _WIDE = 46, 2, 90
_FEWEST = 8
"""Lines below which a picture says nothing."""


def marks_of(knowledge: Knowledge, step: Step) -> list[tuple[str, str]]:
    """Letters and points: red R, black B, clip C, tip T, the jumper's ends J, what is watched `*`."""
    out = [(_MARKS[name], point) for name, point in points_of(knowledge, step)]
    ends = bridge_ends(step.operate[BRIDGED]) if BRIDGED in step.operate else None
    out += [("J", point) for point in ends or ()]
    if step.target is not None and step.target not in _HELD and not out:
        part = part_of_target(knowledge, step.target)
        name, _, filament = step.target.partition(".")
        if part is not None:
            terminal = filament or next(iter(terminals_of(part)), "")
            out.append(("*", f"{name}.{terminal}"))
    return out


def picture_lines(reasoner: Reasoner, step: Step, width: int, rows: int = 25, circuit: str = "") -> list[str]:
    """The picture, at most `rows` lines; none where the loom is not described or the step has no point. `circuit`: the
    one complained of."""
    predictor, knowledge = reasoner.predictor, reasoner.knowledge
    marks = marks_of(knowledge, step)
    if predictor is None or not marks:
        return []
    ways = _ways.get(predictor)
    if ways is None:
        ways = _ways[predictor] = Ways.of(knowledge, predictor.network)
    known = [(mark, point) for mark, point in marks if _there(reasoner, point)]
    if not any(point != BODY for _, point in known):
        return []
    return strip(knowledge, predictor.network, ways, known, width, rows, step.operate, circuit)


def _there(reasoner: Reasoner, point: str) -> bool:
    assert reasoner.predictor is not None
    return point in reasoner.knowledge.wires or reasoner.predictor.network.has(point)


def complained_circuit(conversation: Conversation) -> str:
    """The circuit of the newest complaint, or the one that is being proved; empty for none."""
    plan, knowledge = conversation.plan, conversation.knowledge
    named = [knowledge.circuit_of.get(f.symptom, "") for f in plan.findings if f.symptom is not None]
    if named:
        return named[-1]
    return plan.proving if plan.proving in knowledge.circuits and plan.proving is not None else ""


def picture_page(conversation: Conversation, step: Step | None, width: int, rows: int = 25) -> list[Line]:
    """A page of it, with what the letters mean; the picture itself folded to `rows` lines."""
    out = [Line(t("The way from battery to body"), "strong")]
    lines = (
        picture_lines(conversation.reasoner, step, width, rows, complained_circuit(conversation))
        if step is not None
        else []
    )
    if not lines or step is None:
        return [*out, Line(), *paragraph(t("There is no picture of this: it has no point in the wiring."), width)]
    marks = dict.fromkeys(mark for mark, _ in marks_of(conversation.knowledge, step))
    out += paragraph(", ".join(f"{mark}> {_NAMED[mark]}" for mark in marks), width)
    out += [Line(spare=SPARE_BLANK), *(Line(line, said=None) for line in lines)]
    legend = paragraph(t("[=] fuse, /- contact, (x) lamp, (M) motor"), width)
    return [*out, *spared([Line(), *legend], SPARE_HINT)]


def beside(conversation: Conversation, step: Step, lines: Sequence[Line], width: int, room: int) -> list[Line]:
    """A question's lines with the picture: right of them on a wide screen, below where there is room for it, or as
    they are. `room`: lines that the page has for all of it."""
    circuit = complained_circuit(conversation)
    if width >= _WIDE:
        picture = picture_lines(conversation.reasoner, step, width - _LEFT - _GAP, room - 1, circuit)
        return _side_by_side(lines, picture) if picture else list(lines)
    left = room - len(lines) - 1
    picture = picture_lines(conversation.reasoner, step, width, left, circuit) if left >= _FEWEST else []
    if not picture or len(picture) > left:
        return list(lines)
    return [*lines, Line(), *(Line(line, said=None) for line in picture)]


def _side_by_side(lines: Sequence[Line], picture: Sequence[str]) -> list[Line]:
    """`lines` are at most as wide as the left column; what is strong keeps its row to itself."""
    begun = next((i for i, line in enumerate(lines) if line.text and not line.style), len(lines))
    out = list(lines[:begun])
    for i in range(max(len(lines) - begun, len(picture))):
        own = lines[begun + i] if begun + i < len(lines) else Line(said=None)
        drawn = picture[i] if i < len(picture) else ""
        text = f"{own.text:<{_LEFT + _GAP}}{drawn}".rstrip()
        said = own.said if own.said is None or own.said else own.text
        out.append(Line(text, own.style, said or (None if drawn else "")))
    return out


def left_width(width: int) -> int:
    """Columns for a question that may have a picture beside it."""
    return _LEFT if width >= _WIDE else width
