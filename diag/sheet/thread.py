"""One way through the wiring, from the battery to body, by way of given points: which terminals, wires and parts
lie on it in order.

From the wiring and the positions of the controls; knows nothing of faults, volts or layout.
"""

from __future__ import annotations

import heapq
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from diag.circuit.network import BODY, Network
from diag.knowledge.assemble import Knowledge
from diag.knowledge.bridging import UNPLUGGED
from diag.sheet.ways import Ways

__all__ = ["Link", "Thread", "thread_of"]

_LOAD_OHM = 0.4
"""From so many ohms something takes current, rather than passing it on; windings of starters are named by role."""
_HOP, _OPEN_ABOVE, _OPEN_BELOW, _ELSEWHERE, _LOAD_ABOVE, _BACKWARDS = 1.0, 60.0, 8.0, 4.0, 300.0, 2000.0
"""What a link costs, more where a contact is open (on the way to what is asked for, or behind it), where a wire is of
another circuit, where a load lies before what is asked for: a feed does not come through another lamp if it can be
helped. Least of all through a cut-out that only passes what a running dynamo gives."""
_OHM_A_HOP = 5.0
"""Towards body the load that takes most is preferred: so many ohms weigh as one link."""
_LOADS = ("motor", "horn", "field")


@dataclass(frozen=True)
class Link:
    """A step of the way: over wire `wire`, or through the part of both ends (`wire` empty). `conducts`: whether it
    does with the controls as they stand; `moves` where that opens and closes by itself."""

    a: str
    b: str
    wire: str = ""
    conducts: bool = True
    moves: bool = False
    load: bool = False
    ohm: float = 0.0


@dataclass(frozen=True)
class Thread:
    """Points in order, battery first, `body` last where the way gets there, and the link from each to the next.
    `off`: points asked for that are not on it."""

    points: tuple[str, ...]
    links: tuple[Link, ...]
    off: tuple[str, ...] = ()


class _Graph:
    """Links of a vehicle as they stand in one operate, by point."""

    def __init__(self, knowledge: Knowledge, network: Network, operate: Mapping[str, str], circuit: str) -> None:
        self.knowledge, self.circuit = knowledge, circuit
        self.at: dict[str, list[Link]] = {}
        position = {**{control: known[0] for control, known in knowledge.controls.items()}, **operate}
        taken = operate.get(UNPLUGGED, "")
        for branch in network.branches:
            a, b = network.nodes[branch.a], network.nodes[branch.b]
            wire = branch.id if branch.role == "wire" else ""
            stands = branch.role == "cut-out" and operate.get("engine") != "running"
            shut = branch.closed_when is None or position.get(branch.closed_when[0]) in branch.closed_when[1]
            out = taken in (a, b) and (bool(wire) or branch.role == "fuse")
            load = branch.role in _LOADS or (not wire and branch.ohm >= _LOAD_OHM)
            moves = branch.role in ("flasher", "tell-tale", "cut-out", "relay", "park", "excited")
            self._add(Link(a, b, wire, shut and not out and not stands, moves, load, branch.ohm))
        for lamp in network.filaments:
            ohm = lamp.test_v**2 / lamp.test_w
            self._add(Link(network.nodes[lamp.a], network.nodes[lamp.b], load=True, ohm=ohm))
        for diode in network.diodes:
            self._add(Link(network.nodes[diode.a], network.nodes[diode.b], ohm=diode.ohm))
        for source in network.sources:
            self._add(Link(network.nodes[source.a], network.nodes[source.b], load=True, ohm=1.0))

    def _add(self, link: Link) -> None:
        self.at.setdefault(link.a, []).append(link)
        self.at.setdefault(link.b, []).append(
            Link(link.b, link.a, link.wire, link.conducts, link.moves, link.load, link.ohm)
        )

    def cost(self, link: Link, *, towards_body: bool) -> float:
        """What it takes to go over a link."""
        out = _HOP
        if not link.conducts:
            out += _BACKWARDS if link.moves else _OPEN_BELOW if towards_body else _OPEN_ABOVE
        if link.load:
            out += link.ohm / _OHM_A_HOP if towards_body else _LOAD_ABOVE
        if link.wire and self.knowledge.circuit_of.get(link.wire) != self.circuit:
            out += _ELSEWHERE
        return out

    def way(self, start: str, end: str, banned: frozenset[str], *, towards_body: bool) -> list[Link] | None:
        """The cheapest way between two points round what is `banned`; the same for the same wiring."""
        best = {start: 0.0}
        came: dict[str, Link] = {}
        queue = [(0.0, start)]
        while queue:
            spent, point = heapq.heappop(queue)
            if point == end:
                break
            if spent > best[point]:
                continue
            for link in self.at.get(point, ()):
                if link.b in banned and link.b != end:
                    continue
                total = spent + self.cost(link, towards_body=towards_body)
                if total < best.get(link.b, float("inf")):
                    best[link.b], came[link.b] = total, link
                    heapq.heappush(queue, (total, link.b))
        if end not in came:
            return [] if start == end else None
        out: list[Link] = []
        while end != start:
            out.append(came[end])
            end = came[end].a
        return out[::-1]


def thread_of(
    knowledge: Knowledge,
    network: Network,
    ways: Ways,
    points: Sequence[str],
    operate: Mapping[str, str] | None = None,
    circuit: str = "",
) -> Thread:
    """The way from the battery through `points` to body, as the controls stand in `operate`.

    `circuit`: whose wires are preferred where ways part. Points of the return run from battery to body too. Of
    points that no one way holds, the first keeps its place. Raises KeyError for an unknown point.
    """
    for point in points:
        network.node(point)
    graph = _Graph(knowledge, network, operate or {}, circuit)
    live, back = _posts(knowledge, network)
    asked = [point for point in dict.fromkeys(points) if point != BODY]
    returns = _return_points(graph, back)
    if {live, back} & set(asked) and set(asked) <= {live, back}:
        first = next(link for link in graph.at[live] if link.b == back and not link.wire)
        home = graph.way(back, BODY, frozenset({live}), towards_body=True) or []
        return _thread([live], [first, *home], ())
    start = back if back and asked and all(point in returns for point in asked) else live
    avoided = frozenset({BODY, live if start == back else back} - {start})
    inner = [point for point in asked if point != start]
    inner = sorted(inner, key=lambda point: -ways.level.get(point, 0.0))
    links: list[Link] = []
    here, seen, off = start, {start}, []
    if not start or (inner and graph.way(start, inner[0], avoided, towards_body=False) is None):
        here = inner[0] if inner else BODY
        seen = {here}
    for point in inner:
        found = graph.way(here, point, (avoided | seen) - {point}, towards_body=False)
        loads = sum(link.load for link in found or ())
        if found is None or (point != inner[0] and loads > 1):
            off.append(point)
            continue
        links += found
        seen |= {link.b for link in found}
        here = point
    onward = graph.way(here, BODY, (avoided | seen) - {BODY}, towards_body=True)
    if onward is None:
        onward = []
    first_point = links[0].a if links else here
    on_it = {first_point, *(link.b for link in [*links, *onward])}
    return _thread([first_point], [*links, *onward], tuple(point for point in off if point not in on_it))


def _thread(start: list[str], links: Sequence[Link], off: tuple[str, ...]) -> Thread:
    return Thread((*start, *(link.b for link in links)), tuple(links), off)


def _posts(knowledge: Knowledge, network: Network) -> tuple[str, str]:
    """The battery's live post and the one that goes to body; empty where there is no battery."""
    for source in network.sources:
        if source.kind == "battery":
            plus, minus = network.nodes[source.a], network.nodes[source.b]
            return (minus, plus) if knowledge.vehicle.earth == "positive" else (plus, minus)
    return "", ""


def _return_points(graph: _Graph, back: str) -> frozenset[str]:
    """Points between the battery's post to body and body itself, without anything that takes current between."""
    found, waiting = {back}, [back] if back else []
    while waiting:
        for link in graph.at.get(waiting.pop(), ()):
            if link.b not in found and link.b != BODY and not link.load:
                found.add(link.b)
                waiting.append(link.b)
    return frozenset(found)
