"""Where everything of a drawing lies, in millimetres: boxes in rows, wires in the lanes between them.

Pure geometry on the plan and the sizes of boxes and labels; knows nothing of parts, figures or files.
No two wires share a line: each end has a column of its own, each run a track of its own.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from diag.sheet.plan import Plan, Run
from diag.sheet.ways import end_part

__all__ = ["GAP", "PASS", "Placed", "Point", "Size", "place"]

GAP = 5.0
"""Millimetres between two boxes of a row."""
PASS = 2.9
"""Width kept free for a wire that passes a row, and height for one that crosses a lane."""
_NEAR = 1.9
"""Two upright wires closer than this would touch."""
_SWEEPS = 16

Point = tuple[float, float]


@dataclass(frozen=True)
class Size:
    """A box's width and height, and how far from its left edge the wires end: by (terminal, wire)."""

    width: float
    height: float
    ends: Mapping[tuple[str, str], float]


@dataclass(frozen=True)
class Placed:
    """`boxes`: left upper corner by part. `ways`: corner points of each wire, from its end nearer the battery.
    `labels`: where the text beside a wire begins (left, top). `width`, `height` of all."""

    boxes: Mapping[str, Point]
    ways: Mapping[str, tuple[Point, ...]]
    labels: Mapping[str, Point]
    width: float
    height: float


@dataclass
class _Item:
    """A box, or a wire passing a row (`part` empty)."""

    part: str
    width: float
    ends: dict[tuple[str, str], float]
    x: float = 0.0


_Joint = tuple[_Item, float, bool]
"""A point of a wire on the edge of a lane: whose, how far from its left edge, whether the lane lies below it."""


@dataclass
class _Segment:
    """A run's stretch in one lane: from `x1` to `x2`, each entering from above or below; `track` counts down."""

    wire: str
    x1: float
    above1: bool
    x2: float
    above2: bool
    track: int = 0

    @property
    def span(self) -> tuple[float, float]:
        return min(self.x1, self.x2), max(self.x1, self.x2)

    @property
    def straight(self) -> bool:
        return abs(self.x1 - self.x2) < 0.01 and self.above1 != self.above2

    def downs(self) -> list[float]:
        return [x for x, above in ((self.x1, self.above1), (self.x2, self.above2)) if above]

    def ups(self) -> list[float]:
        return [x for x, above in ((self.x1, self.above1), (self.x2, self.above2)) if not above]


def place(plan: Plan, sizes: Mapping[str, Size], labels: Mapping[str, float]) -> Placed:
    """Lays the plan out. `labels`: height of the text beside each wire, stubs included."""
    return _Layout(plan, sizes, labels).placed()


@dataclass
class _Layout:
    plan: Plan
    sizes: Mapping[str, Size]
    labels: Mapping[str, float]
    rows: list[list[_Item]] = field(default_factory=list)
    _at: list[dict[str, list[_Joint]]] = field(default_factory=list)

    # ------------------------------------------------------------ rows

    def placed(self) -> Placed:
        self._fill()
        self._spread()
        best, cost = self._positions(), self._cost()
        for sweep in range(_SWEEPS):
            self._sort(down=sweep % 2 == 0)
            self._spread()
            now = self._cost()
            if now < cost - 1e-6:
                best, cost = self._positions(), now
        self._restore(best)
        self._part_neighbours()
        return self._drawn()

    def _fill(self) -> None:
        self.rows = [[] for _ in range(self.plan.rows)]
        for part, box in self.plan.boxes.items():
            size = self.sizes[part]
            self.rows[box.row].append(_Item(part, size.width, dict(size.ends)))
        for run in self.plan.runs.values():
            low, high = sorted((run.lane_a, run.lane_b))
            for row in range(low, high):
                self.rows[row].append(_Item("", PASS, {("", run.wire): PASS / 2}))
        self._at = [self._find_joints(lane) for lane in range(len(self.rows) + 1)]

    def _positions(self) -> list[list[tuple[_Item, float]]]:
        return [[(item, item.x) for item in row] for row in self.rows]

    def _restore(self, kept: list[list[tuple[_Item, float]]]) -> None:
        self.rows = [[item for item, _ in row] for row in kept]
        for row in kept:
            for item, x in row:
                item.x = x

    def _joints(self, lane: int) -> dict[str, list[_Joint]]:
        """By wire, its points on the edges of a lane."""
        return self._at[lane]

    def _find_joints(self, lane: int) -> dict[str, list[_Joint]]:
        found: dict[str, list[_Joint]] = {}
        for above, row in ((True, lane - 1), (False, lane)):
            if not 0 <= row < len(self.rows):
                continue
            for item in self.rows[row]:
                for (end, wire), offset in item.ends.items():
                    run = self.plan.runs.get(wire)
                    if run is None or not run.b:
                        continue
                    here = self._opens(run, end, lane) if item.part else True
                    if here:
                        found.setdefault(wire, []).append((item, offset, above))
        return found

    @staticmethod
    def _opens(run: Run, end: str, lane: int) -> bool:
        return lane == (run.lane_a if end == run.a else run.lane_b)

    def _wanted(self, lanes: Iterable[int]) -> dict[int, list[float]]:
        """For each item, by identity, the left edges that would make its wires straight."""
        wanted: dict[int, list[float]] = {}
        for lane in lanes:
            for joints in self._joints(lane).values():
                if len(joints) != 2:
                    continue
                (one, at, _), (other, there, _) = joints
                if one is not other:
                    wanted.setdefault(id(one), []).append(other.x + there - at)
                    wanted.setdefault(id(other), []).append(one.x + at - there)
        return wanted

    def _sort(self, down: bool) -> None:
        """Orders each row by where its wires come from in the row before."""
        order = range(len(self.rows)) if down else range(len(self.rows) - 1, -1, -1)
        for row in order:
            wanted = self._wanted((row,) if down else (row + 1,))
            keys = {
                id(item): sum(wanted[id(item)]) / len(wanted[id(item)]) if id(item) in wanted else item.x
                for item in self.rows[row]
            }
            self.rows[row].sort(key=lambda item: keys[id(item)])
            self._settle(row, keys)

    def _spread(self) -> None:
        """Moves items along their rows until wires are as straight as their neighbours let them be."""
        for row in range(len(self.rows)):
            self._settle(row, {id(item): item.x for item in self.rows[row]})
        before: list[float] = []
        for sweep in range(_SWEEPS):
            if sweep % 2 == 0:
                now = [item.x for row in self.rows for item in row]
                if now == before:
                    return  # down and up again and nothing moved
                before = now
            order = range(len(self.rows)) if sweep % 2 == 0 else range(len(self.rows) - 1, -1, -1)
            for row in order:
                wanted = self._wanted((row, row + 1))
                self._settle(
                    row,
                    {id(item): _middle(wanted.get(id(item), [item.x]), item.x) for item in self.rows[row]},
                )

    def _settle(self, row: int, wanted: Mapping[int, float]) -> None:
        """Puts the items of a row as near to where they want to be as their order and widths allow."""
        items = self.rows[row]
        shift, shifts = 0.0, []
        for i, item in enumerate(items):
            if i:
                shift += items[i - 1].width + (GAP if items[i - 1].part and item.part else 1.0)
            shifts.append(shift)
        levels = _rising([wanted[id(item)] - off for item, off in zip(items, shifts, strict=True)])
        for item, level, off in zip(items, levels, shifts, strict=True):
            item.x = round(level + off, 2)

    def _cost(self) -> float:
        """Length of all sideways stretches, and ten millimetres for each crossing."""
        total = 0.0
        for lane in range(len(self.rows) + 1):
            pairs = [
                (one.x + at, other.x + there)
                for (one, at, _), (other, there, _) in (j for j in self._joints(lane).values() if len(j) == 2)
            ]
            total += sum(abs(a - b) for a, b in pairs)
            total += 10.0 * sum((a - c) * (b - d) < 0 for i, (a, b) in enumerate(pairs) for c, d in pairs[i + 1 :])
        return total

    def _part_neighbours(self) -> None:
        """Shifts boxes a little where an upright wire from above would run on one from below."""
        for lane in range(1, len(self.rows)):
            for item in self.rows[lane]:
                for nudge in (0.0, 1.0, -1.0, 2.0, -2.0, 3.0, -3.0):
                    if not self._touches(lane, item, nudge):
                        item.x = round(item.x + nudge, 2)
                        break

    def _touches(self, lane: int, item: _Item, nudge: float) -> bool:
        row = self.rows[lane]
        place = row.index(item)
        for other, sign in ((place - 1, -1), (place + 1, 1)):
            if 0 <= other < len(row):
                left, right = (row[other], item) if sign < 0 else (item, row[other])
                room = right.x - left.x - left.width + nudge * (-sign)
                if nudge and room < 0.8:
                    return True
        joints = self._joints(lane)
        mine = [item.x + nudge + offset for (_, wire), offset in item.ends.items() if wire in joints]
        own = {wire for _, wire in item.ends}
        others = [
            one.x + at
            for wire, found in joints.items()
            for one, at, above in found
            if above and (wire not in own or abs(one.x + at - (item.x + nudge)) > item.width)
        ]
        straight = [one.x + at for wire in own for one, at, above in joints.get(wire, []) if above]
        return any(abs(x - y) < _NEAR for x in mine for y in others if y not in straight) or any(
            0.01 < abs(x - y) < _NEAR for x in mine for y in straight
        )

    # ------------------------------------------------------------ lanes

    def _segments(self, lane: int) -> list[_Segment]:
        found = []
        for wire, joints in self._joints(lane).items():
            if len(joints) == 2:
                (one, at, above1), (other, there, above2) = joints
                found.append(_Segment(wire, one.x + at, above1, other.x + there, above2))
        return found

    def _drawn(self) -> Placed:
        left = min((item.x for row in self.rows for item in row), default=0.0)
        for row in self.rows:
            for item in row:
                item.x = round(item.x - left, 2)
        width = max((item.x + item.width for row in self.rows for item in row), default=0.0)
        label_lane = {wire: self._label_end(run) for wire, run in self.plan.runs.items()}
        y, boxes, lanes, labels = 0.0, {}, [], {}
        for lane in range(len(self.rows) + 1):
            segments = self._segments(lane)
            tracks = _track(segments)
            upper, lower = (
                max(
                    (self.labels[w] for w, (at, below) in label_lane.items() if at == lane and below is side),
                    default=0.0,
                )
                for side in (False, True)
            )
            top = y
            first = top + (upper + 1.5 if upper else 1.5)
            bottom = first + tracks * PASS + (lower + 1.0 if lower else 1.0)
            lanes.append((top, first, bottom))
            for wire, (at, below) in label_lane.items():
                if at == lane:
                    x = self._end_x(self.plan.runs[wire])
                    labels[wire] = (x, bottom - self.labels[wire] - 0.6 if below else top + 0.8)
            y = bottom
            if lane < len(self.rows):
                for item in self.rows[lane]:
                    if item.part:
                        boxes[item.part] = (item.x, y)
                y += max((self.sizes[item.part].height for item in self.rows[lane] if item.part), default=PASS)
        ways = {wire: self._way(run, lanes) for wire, run in self.plan.runs.items()}
        return Placed(boxes, ways, labels, round(width, 2), round(y, 2))

    def _label_end(self, run: Run) -> tuple[int, bool]:
        """The lane in which a wire's text stands, and whether at the lane's lower side: above the box that it
        leads to, where it enters that from above."""
        end_b = self._at_b(run)
        return (run.lane_b, run.up_b) if end_b else (run.lane_a, run.up_a)

    @staticmethod
    def _at_b(run: Run) -> bool:
        return bool(run.b) and (run.up_b or not run.up_a)

    def _end_x(self, run: Run) -> float:
        end = run.b if self._at_b(run) else run.a
        item = self._item(end_part(end))
        return item.x + item.ends[end, run.wire]

    def _item(self, part: str) -> _Item:
        return next(item for row in self.rows for item in row if item.part == part)

    def _edge(self, end: str, up: bool, lanes: Sequence[tuple[float, float, float]], lane: int) -> float:
        if up:
            return lanes[lane][2]
        return lanes[lane - 1][2] + self.sizes[end_part(end)].height  # boxes hang from the upper edge of their row

    def _way(self, run: Run, lanes: list[tuple[float, float, float]]) -> tuple[Point, ...]:
        item = self._item(end_part(run.a))
        x = item.x + item.ends[run.a, run.wire]
        y = self._edge(run.a, run.up_a, lanes, run.lane_a)
        if not run.b:
            height = self.labels[run.wire]
            return (x, y), (x, y - height - 0.4 if run.up_a else lanes[run.lane_a][0] + height + 0.4)
        points: list[Point] = [(x, y)]
        step = 1 if run.lane_b >= run.lane_a else -1
        for lane in range(run.lane_a, run.lane_b + step, step):
            segment = self._tracks[lane][run.wire]
            height = lanes[lane][1] + (segment.track + 0.5) * PASS
            far = segment.x2 if abs(segment.x1 - points[-1][0]) < 0.01 else segment.x1
            if not segment.straight:
                points += [(points[-1][0], height), (far, height)]
        item = self._item(end_part(run.b))
        points.append((item.x + item.ends[run.b, run.wire], self._edge(run.b, run.up_b, lanes, run.lane_b)))
        return tuple(points)

    @property
    def _tracks(self) -> dict[int, dict[str, _Segment]]:
        found: dict[int, dict[str, _Segment]] = self.__dict__.get("_kept", {})
        if not found:
            for lane in range(len(self.rows) + 1):
                segments = self._segments(lane)
                _track(segments)
                found[lane] = {segment.wire: segment for segment in segments}
            self.__dict__["_kept"] = found
        return found


def _middle(wanted: list[float], now: float) -> float:
    """The median; of two middle ones the nearer to where it stands."""
    ordered = sorted(wanted)
    half = len(ordered) // 2
    if len(ordered) % 2:
        return ordered[half]
    low, high = ordered[half - 1], ordered[half]
    return min(max(now, low), high)


def _rising(wanted: Sequence[float]) -> list[float]:
    """The rising sequence nearest to `wanted` in squares (pool adjacent violators; from memory)."""
    pools: list[tuple[float, int]] = []
    for value in wanted:
        total, count = value, 1
        while pools and pools[-1][0] / pools[-1][1] > total / count:
            before, number = pools.pop()
            total, count = total + before, count + number
        pools.append((total, count))
    return [total / count for total, count in pools for _ in range(count)]


def _track(segments: list[_Segment]) -> int:
    """Gives every sideways stretch of a lane a track, counted from above; returns how many there are.

    A wire that comes from above and one that goes on below at nearly the same column must not meet: the
    first one's track lies higher. Beyond that, the order with fewer crossings.
    """
    lying = [segment for segment in segments if not segment.straight]
    before: dict[int, set[int]] = {i: set() for i in range(len(lying))}
    rather: dict[int, set[int]] = {i: set() for i in range(len(lying))}
    for i, one in enumerate(lying):
        for j, other in enumerate(lying):
            if i == j:
                continue
            if any(abs(x - y) < _NEAR for x in one.downs() for y in other.ups()):
                before[j].add(i)
            elif _crossings(one, other) < _crossings(other, one):
                rather[j].add(i)
    left = set(range(len(lying)))
    done: list[int] = []
    while left:
        free = [i for i in sorted(left) if not before[i] & left] or sorted(left)
        chosen = min(free, key=lambda i: (len(rather[i] & left), i))
        done.append(chosen)
        left.remove(chosen)
    for place, i in enumerate(done):
        low, high = lying[i].span
        track = 0
        for j in done[:place]:
            left_end, right_end = lying[j].span
            meets = left_end < high + _NEAR and low < right_end + _NEAR
            if meets or j in before[i]:
                track = max(track, lying[j].track + 1)
        lying[i].track = track
    return 1 + max((segment.track for segment in lying), default=-1)


def _crossings(upper: _Segment, lower: _Segment) -> int:
    """How often two stretches cross when the first lies above the second."""
    low, high = upper.span
    count = sum(low < x < high for x in lower.downs())
    low, high = lower.span
    return count + sum(low < x < high for x in upper.ups())
