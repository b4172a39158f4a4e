"""Which end of everything lies nearer the battery: the order of parts and terminals from feed to body.

From the wiring alone, every contact closed; knows nothing of an operate, of volts or of layout.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from diag.circuit.network import Network
from diag.knowledge.assemble import Knowledge

__all__ = ["Ways", "end_part", "end_terminal"]

_LEAK = 1e-4
"""Siemens from every point to body: gives a direction to what leads to nothing."""
_RETURN = 1e-6
"""Below body by more than this lies the way back to the battery."""
_DIGITS = 11
"""Levels that agree so far are alike: what is left hangs on the machine that solved it."""


def end_part(end: str) -> str:
    """The part of a `part.terminal`."""
    return end.partition(".")[0]


def end_terminal(end: str) -> str:
    """The terminal of a `part.terminal`."""
    return end.partition(".")[2]


@dataclass(frozen=True)
class Ways:
    """`level`: 1 at both posts of the battery, 0 at body, by `part.terminal`. `wires`: each wire's two ends, the
    one nearer the battery first. `home`: wires of the return, in which current runs from body to battery."""

    level: dict[str, float]
    wires: dict[str, tuple[str, str]]
    home: frozenset[str]

    @staticmethod
    def of(knowledge: Knowledge, network: Network) -> Ways:
        """The ways of a vehicle: as currents would take them with every contact closed and nothing charging."""
        count = len(network.nodes)
        matrix = np.zeros((count, count))
        matrix[np.diag_indices(count)] = _LEAK
        links = [(branch.a, branch.b, 1.0 / branch.ohm) for branch in network.branches]
        links += [(diode.a, diode.b, 1.0 / diode.ohm) for diode in network.diodes]
        links += [(lamp.a, lamp.b, lamp.test_w / lamp.test_v**2) for lamp in network.filaments]
        for a, b, siemens in links:
            matrix[a, a] += siemens
            matrix[b, b] += siemens
            matrix[a, b] -= siemens
            matrix[b, a] -= siemens
        fed = np.zeros(count)
        fixed = [(0, 0.0)]
        for source in network.sources:
            if source.kind == "battery":
                live, back = (source.b, source.a) if knowledge.vehicle.earth == "positive" else (source.a, source.b)
                fixed += [(live, 1.0), (back, -1.0)]
        for node, value in fixed:
            matrix[node] = 0.0
            matrix[node, node] = 1.0
            fed[node] = value
        found = np.linalg.solve(matrix, fed)
        signed = {name: round(float(found[i]), _DIGITS) for i, name in enumerate(network.nodes)}
        level = {name: abs(value) for name, value in signed.items()}
        wires, home = {}, set()
        for name, wire in knowledge.wires.items():
            down = level[wire.from_] >= level[wire.to]
            wires[name] = (wire.from_, wire.to) if down else (wire.to, wire.from_)
            if min(signed[wire.from_], signed[wire.to]) < -_RETURN:
                home.add(name)
        return Ways(level, wires, frozenset(home))

    def terminals(self, part: str, names: Iterable[str]) -> list[str]:
        """A part's terminals (`part.terminal`), the one nearest the battery first."""
        ends = [f"{part}.{name}" for name in names]
        return sorted(ends, key=lambda end: -self.level[end])

    def parts(self, chosen: Sequence[str]) -> list[str]:
        """Parts one after the other as current takes them: a way is followed to body before the next begins."""
        here = set(chosen)
        place = {part: i for i, part in enumerate(chosen)}
        onward: dict[str, list[str]] = {part: [] for part in chosen}
        fed: set[str] = set()
        for upper, lower in self.wires.values():
            a, b = end_part(upper), end_part(lower)
            if a in here and b in here and a != b:
                onward[a].append(b)
                if self.top(a) > self.top(b):
                    fed.add(b)
        order: list[str] = []
        seen: set[str] = set()

        def follow(part: str) -> None:
            if part in seen:
                return
            seen.add(part)
            order.append(part)
            for other in sorted(onward[part], key=lambda p: (-self.top(p), place[p])):
                follow(other)

        for part in sorted(chosen, key=lambda p: (p in fed, -self.top(p), place[p])):
            follow(part)
        return order

    def top(self, part: str) -> float:
        """The highest level among a part's terminals."""
        return self._tops().get(part, 0.0)

    def _tops(self) -> dict[str, float]:
        found: dict[str, float] = self.__dict__.get("_top_of", {})
        if not found:
            for end, level in self.level.items():
                part = end_part(end)
                found[part] = max(level, found.get(part, 0.0))
            object.__setattr__(self, "_top_of", found)
        return found
