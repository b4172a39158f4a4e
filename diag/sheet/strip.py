"""One way from battery to body as lines of text, with the points marked where probes go.

Layout only, of a given width and height; knows nothing of what is measured or of screens. Read from top to bottom:
a terminal before its part, the part, the terminal behind it, a wire by its colour.
"""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from diag.circuit.network import BODY, Network
from diag.knowledge import schema
from diag.knowledge.assemble import Knowledge, terminals_of
from diag.sheet.spoken import lower
from diag.sheet.thread import Link, Thread, thread_of
from diag.sheet.ways import Ways, end_part, end_terminal
from diag.texts import t

__all__ = ["LEGEND", "strip"]

LEGEND = t("[=] fuse  /- contact  (x) lamp  (M) motor  ... left out")
"""What the signs before names mean."""
_MARK = 4
"""Columns for the marks at the left."""
_ROOMY = 60
"""From so many columns a wire has its section and its name too."""
_MOST_NAMED = 2
_SIGNS: Mapping[str, str] = {
    "fuse": "[=] ",
    "switch": "/- ",
    "relay": "/- ",
    "flasher-unit": "/- ",
    "lamp": "(x) ",
    "two-filament-lamp": "(x) ",
    "motor": "(M) ",
    "wiper-motor": "(M) ",
    "starter": "(M) ",
}
_PASSING = ("joint", "bus", "plug")
"""Kinds all of whose terminals are one point."""
_FEEDING = ("supply", "shared")
"""Circuits that feed the others."""


@dataclass(frozen=True)
class _Block:
    """A part of the way: `before` and `behind` its terminals (equal where it has one only), lines of the part, and
    the wire that leads to the next."""

    part: str
    before: str
    behind: str
    inside: tuple[Link, ...] = ()
    onward: Link | None = None
    aside: tuple[str, ...] = ()
    between: tuple[str, ...] = ()
    """Marked terminals inside, where all terminals of a part are one point."""
    marked: bool = False


def strip(
    knowledge: Knowledge,
    network: Network,
    ways: Ways,
    marks: Sequence[tuple[str, str]],
    width: int,
    rows: int = 25,
    operate: Mapping[str, str] | None = None,
    circuit: str = "",
) -> list[str]:
    """The way from battery to body by way of the marked points, at most `width` columns and, where it can be folded
    so far, `rows` lines.

    `marks`: a letter, and the `part.terminal`, `body` or wire (its end is meant) that it is written beside.
    `operate`: how the controls stand, which opens and closes contacts. `circuit`: the one that matters, where the
    points belong to what feeds all. A point that is on no one way with the others is named in a last line. Raises
    KeyError for an unknown point.
    """
    ends = [(mark, point) for mark, point in marks if point not in knowledge.wires]
    wire_marks = {point: mark for mark, point in marks if point in knowledge.wires}
    points = [point for _, point in ends]
    for wire in wire_marks:
        points += [end for end in (knowledge.wires[wire].from_, knowledge.wires[wire].to) if end not in points]
    own = _circuit(knowledge, points)
    circuit = circuit if own in _FEEDING and circuit else own
    thread = thread_of(knowledge, network, ways, points, operate, circuit)
    letters = _Letters(knowledge, ends, wire_marks, width, _widest(knowledge, thread))
    blocks = _blocks(knowledge, thread, letters)
    beside = _Beside(knowledge, network, ways, thread, circuit)
    blocks = [replace(block, aside=beside.of(block)) for block in blocks]
    if thread.points[-1] != BODY:
        end = replace(blocks[-1], aside=(t("nothing leads on from here"),), marked=True)
        blocks = [*blocks[:-1], end, _Block(BODY, BODY, BODY, marked=bool(letters.mark(BODY)))]
    elif circuit in _FEEDING:
        blocks = _ended(knowledge, blocks)
    lines = _fitted(blocks, letters, rows)
    for mark, point in ends:
        if point in thread.off:
            lines += letters.marked_line(
                mark,
                t(
                    "elsewhere: {knowledge} {end_terminal}",
                    knowledge=_title(knowledge, point),
                    end_terminal=end_terminal(point),
                ),
            )
    return lines


def _circuit(knowledge: Knowledge, points: Sequence[str]) -> str:
    """The circuit of the points, the first that has one of its own."""
    named = [knowledge.circuit_of.get(end_part(point), "") for point in points if point != BODY]
    return next((name for name in named if name not in ("", *_FEEDING)), named[0] if named else "")


def _title(knowledge: Knowledge, point: str) -> str:
    part = knowledge.parts.get(end_part(point))
    return part.title if part is not None else point


def _spelled(knowledge: Knowledge, point: str) -> str:
    part = knowledge.parts.get(end_part(point))
    name = end_terminal(point)
    return part.spelled(name) if part is not None else name


def _real(knowledge: Knowledge, point: str) -> bool:
    """Whether a point is a terminal, not something inside a part."""
    return point in knowledge.terminals


def _widest(knowledge: Knowledge, thread: Thread) -> int:
    names = [_spelled(knowledge, point) for point in thread.points if _real(knowledge, point)]
    return min(max([4, *map(len, names)]), 9)


def _ended(knowledge: Knowledge, blocks: list[_Block]) -> list[_Block]:
    """What feeds everything, as far as the marks go and one part on: which load comes after that is as good as any."""
    last = max((i for i, block in enumerate(blocks) if block.marked and block.part != BODY), default=0)
    if all(knowledge.circuit_of.get(block.part) in _FEEDING for block in blocks if block.part != BODY):
        return blocks
    follows = last + 1 < len(blocks) and knowledge.circuit_of.get(blocks[last + 1].part) in _FEEDING
    upto = last + 2 if follows else last + 1
    kept = [replace(block) for block in blocks[:upto]]
    kept[-1] = replace(kept[-1], onward=None, aside=(t("... to the other circuits"),))
    return [*kept, *(block for block in blocks[upto:] if block.part == BODY)]


# ---------------------------------------------------------------- from links to blocks


def _blocks(knowledge: Knowledge, thread: Thread, letters: _Letters) -> list[_Block]:
    """Points one part after the other."""
    out: list[_Block] = []
    links: list[Link | None] = [*thread.links, None]
    at, inside = thread.points[0], []
    passed: list[str] = []
    for point, link in zip(thread.points, links, strict=True):
        same = link is not None and not link.wire and end_part(link.b) == end_part(point) and link.b != BODY
        if link is not None and same:
            inside.append(link)
            passed.append(link.b)
            continue
        to_body = link is not None and not link.wire and link.b == BODY and point != BODY
        if to_body and link is not None:
            inside.append(link)
        terminals = [p for p in (at, point) if p == BODY or _real(knowledge, p)] or [point]
        block = _Block(end_part(point), terminals[0], terminals[-1], tuple(inside), None if to_body else link)
        between = tuple(p for p in passed if p not in terminals and letters.mark(p))
        out.append(replace(block, between=between, marked=bool(between) or letters.on(block)))
        passed = []
        at, inside = link.b if link is not None else point, []
    return out


class _Letters:
    """Lines with the marks of their points at the left."""

    def __init__(
        self, knowledge: Knowledge, ends: Sequence[tuple[str, str]], wires: Mapping[str, str], width: int, terminal: int
    ) -> None:
        self.knowledge, self.width, self.terminal = knowledge, max(width, 20), terminal
        self._ends: dict[str, str] = {}
        for mark, point in ends:
            self._ends[point] = self._ends.get(point, "") + mark
        self._wires = wires

    def on(self, block: _Block) -> bool:
        """Whether anything of a block is marked, its wire too."""
        wire = block.onward.wire if block.onward is not None else ""
        return bool({block.before, block.behind} & set(self._ends)) or wire in self._wires

    def mark(self, point: str) -> str:
        """The mark of a point, empty for none."""
        return self._ends.get(point, "")

    def line(self, mark: str, name: str, words: str) -> list[str]:
        """A terminal or a sign in its column, and words behind it, wrapped."""
        first = f"{f'{mark}>' if mark else '':<{_MARK}}{name:>{self.terminal}} "
        return textwrap.wrap(
            words,
            max(self.width, len(first) + 8),
            initial_indent=first,
            subsequent_indent=" " * (len(first) + 3),
        ) or [first.rstrip()]

    def marked_line(self, mark: str, words: str) -> list[str]:
        """A line that belongs to no terminal."""
        return self.line(mark, "", words)

    def part(self, block: _Block) -> list[str]:
        """A part with the terminals before and behind it."""
        if block.part == BODY:
            return self.line(self.mark(BODY), "", "== body")
        part = self.knowledge.parts.get(block.part)
        title = part.title if part is not None else block.part
        sign = _SIGNS.get(part.kind, "") if part is not None else ""
        words = f"{sign}{title}{_rating(part)}{_stands(block, part)}"
        if block.before == block.behind:
            return self.line(self.mark(block.before), _spelled(self.knowledge, block.before), words)
        out = self.line(self.mark(block.before), _spelled(self.knowledge, block.before), words)
        for point in (*block.between, block.behind):
            out += self.line(self.mark(point), _spelled(self.knowledge, point), "")
        return out

    def wire(self, link: Link) -> list[str]:
        """The wire to the next part: its colour, and more where there is room."""
        wire = self.knowledge.wires.get(link.wire)
        words = (wire.colour or t("wire")) if wire is not None else ""
        if wire is not None and self.width >= _ROOMY:
            title = f", {lower(wire.title)}" if wire.title else ""
            words += f", {wire.section_mm2:g} mm2{title}"
        words += "" if link.conducts else t(" (taken off)")
        return self.line(self._wires.get(link.wire, ""), "|" if link.conducts else ":", f"  {words}".rstrip())

    def left_out(self, names: Sequence[str]) -> str:
        """Parts that are not drawn, on one line."""
        return self._cut(
            f"{'':<{_MARK}}{'...':>{self.terminal}} "
            + t("{count} more: {names}", count=len(names), names=", ".join(names))
        )

    def note(self, words: str) -> list[str]:
        """What goes off beside the way, cut to one line."""
        return [self._cut(f"{'':<{_MARK}}{'+':>{self.terminal}}- {words}")]

    def _cut(self, line: str) -> str:
        return line if len(line) <= self.width else line[: self.width - 2].rstrip(" ,") + ".."


def _rating(part: object) -> str:
    return f", {part.rating_a:g} A" if isinstance(part, schema.FusePart) else ""


def _stands(block: _Block, part: object) -> str:
    """How the contacts on the way stand."""
    if any(not link.conducts for link in block.inside):
        return t(": open")
    if isinstance(part, schema.FlasherPart) and any(link.moves for link in block.inside):
        return t(": opens and closes")
    return ""


# ---------------------------------------------------------------- what leaves the way


class _Beside:
    """What hangs on the way and is not on it, counted in lamps and other loads."""

    def __init__(self, knowledge: Knowledge, network: Network, ways: Ways, thread: Thread, circuit: str) -> None:
        self.knowledge, self.ways, self.circuit = knowledge, ways, circuit
        self.on_it = {end_part(point) for point in thread.points}
        self.wires = {link.wire for link in thread.links}
        self.loads = {end_part(lamp.id) for lamp in network.filaments}
        self.loads |= {
            part for part, spec in knowledge.parts.items() if spec.kind in ("horn", "motor", "gauge", "load")
        }
        self.down: dict[str, list[str]] = {}
        for name, (upper, lower_end) in ways.wires.items():
            if name not in self.wires and name not in ways.home:
                self.down.setdefault(upper, []).append(end_part(lower_end))

    def of(self, block: _Block) -> tuple[str, ...]:
        """Loads of the same circuit that are fed from where the way leaves this part by other wires, in words."""
        part = self.knowledge.parts.get(block.part)
        if part is None or self.knowledge.circuit_of.get(block.part) != self.circuit or self.circuit in _FEEDING:
            return ()
        ends = terminals_of(part) if part.kind in _PASSING else (end_terminal(block.behind),)
        begun = [one for end in ends for one in self.down.get(f"{block.part}.{end}", ())]
        found: dict[str, None] = {}
        waiting, seen = begun, set(self.on_it)
        while waiting:
            one = waiting.pop(0)
            if one in seen:
                continue
            seen.add(one)
            if one in self.loads:
                found[one] = None
            elif self.knowledge.parts[one].kind != "earth":
                for name in terminals_of(self.knowledge.parts[one]):
                    waiting += self.down.get(f"{one}.{name}", ())
        if not found:
            return ()
        titles = [lower(self.knowledge.parts[one].title) for one in found]
        if len(titles) <= _MOST_NAMED:
            return (t("also to {titles}", titles=t(" and ").join(titles)),)
        lamps = all(self.knowledge.parts[one].kind in ("lamp", "two-filament-lamp") for one in found)
        return (
            t("... {count} more lamps", count=len(titles))
            if lamps
            else t("... {count} more lamps and other loads", count=len(titles)),
        )


# ---------------------------------------------------------------- what fits


def _fitted(blocks: list[_Block], letters: _Letters, rows: int) -> list[str]:
    """The lines of all blocks; where they are too many, first without what hangs beside, then with parts left out
    that lie farthest from the marks."""
    lines = _lines(blocks, letters, set())
    if len(lines) > rows:
        blocks = [block if block.marked else replace(block, aside=()) for block in blocks]
        lines = _lines(blocks, letters, set())
    marked = [i for i, block in enumerate(blocks) if block.marked and block.part != BODY] or [0]
    spare = [i for i in range(1, len(blocks)) if not blocks[i].marked and blocks[i].part != BODY]
    spare = [i for i in spare if i + 1 < len(blocks) and blocks[i + 1].part != BODY] or spare
    spare.sort(key=lambda i: (-min(abs(i - m) for m in marked), i))
    gone: set[int] = set()
    while len(lines) > rows and spare:
        gone.add(spare.pop(0))
        lines = _lines(blocks, letters, gone)
    return lines


def _lines(blocks: Sequence[_Block], letters: _Letters, gone: set[int]) -> list[str]:
    out: list[str] = []
    run: list[str] = []
    for i, block in enumerate(blocks):
        if i in gone:
            run.append(block.part)
            continue
        if run:
            names = [letters.knowledge.parts[part].title for part in run if part in letters.knowledge.parts]
            out.append(letters.left_out(names))
            run = []
        out += letters.part(block)
        for words in block.aside:
            out += letters.note(words)
        if block.onward is not None and block.onward.wire and i + 1 not in gone:
            out += letters.wire(block.onward)
    return [line[: letters.width] for line in out]
