"""What else may have suffered from a repair: parts on the same fuse, the same earth point, the same connector.

Derived from the drawing; knows nothing of chances or of what a repair cures.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property

from diag.circuit.network import Network
from diag.circuit.parts import build_network
from diag.circuit.paths import Paths
from diag.knowledge import schema
from diag.knowledge.assemble import AnyPart, Knowledge
from diag.knowledge.targets import part_of_target
from diag.reason.operates import plain
from diag.texts import t

__all__ = ["Neighbour", "Neighbours"]

_CONNECTORS = (
    schema.JointPart,
    schema.PlugPart,
    schema.SwitchPart,
    schema.RelayPart,
    schema.FlasherPart,
    schema.RegulatorPart,
    schema.RheostatPart,
)


@dataclass(frozen=True)
class Neighbour:
    """A check of a part that a repair may have disturbed, and by way of which fuse, earth point or connector."""

    check: str
    words: str


@dataclass(frozen=True)
class _Seen:
    """A check of a part at work: where the part hangs in the network."""

    check: schema.Check
    part: str
    nodes: tuple[int, ...]


class Neighbours:
    """Of one vehicle. `telling`: checks that show a fault of a part, by the part; where none is given for a
    part, every look at it with something switched on counts."""

    def __init__(self, knowledge: Knowledge, telling: Mapping[str, Collection[str]]) -> None:
        self.knowledge, self._telling = knowledge, telling

    @cached_property
    def _paths(self) -> Paths:
        rest = {control: positions[0] for control, positions in self.knowledge.controls.items()}
        return Paths(build_network(self.knowledge), rest)

    @cached_property
    def _seen(self) -> list[_Seen]:
        found = []
        for check in self.knowledge.checks.values():
            part = part_of_target(self.knowledge, check.target)
            name, _, filament = (check.target or "").partition(".")
            counts = check.operate and plain(check.operate) and check.operate.get("engine") != "running"
            if (
                part is None
                or isinstance(part, _CONNECTORS)
                or check.kind not in ("look", "listen")
                or not counts
                or "battery" in check.operate
            ):
                continue
            if name in self._telling and check.id not in self._telling[name]:
                continue
            ends = (filament, part.terminal_names()[-1]) if filament else part.terminal_names()
            found.append(_Seen(check, name, tuple(self._nodes(f"{name}.{end}" for end in ends))))
        return sorted(found, key=lambda seen: seen.check.minutes)

    def _nodes(self, terminals: Iterable[str]) -> list[int]:
        net = self._paths.network
        return [net.node(terminal) for terminal in terminals if net.has(terminal)]

    @cached_property
    def _groups(self) -> dict[str, dict[str, set[int]]]:
        """For fuses and for earth points: what hangs on each, by its id."""
        paths, parts = self._paths, self.knowledge.parts
        contacts, fuses = paths.contacts(), paths.branches("fuse")
        return {
            "fuse": {
                name: set(paths.behind(self._nodes([f"{name}.out"]), fuses))
                for name, part in parts.items()
                if isinstance(part, schema.FusePart)
            },
            "earth point": {
                name: set(paths.behind(self._nodes([f"{name}.31"]), [*contacts, *fuses]))
                for name, part in parts.items()
                if isinstance(part, schema.EarthPart)
            },
        }

    # ------------------------------------------------------------ of one repair

    def of(self, subjects: Iterable[str], proved: Iterable[str]) -> tuple[Neighbour, ...]:
        """One check for what shares a connector, one for what shares an earth point, one for what shares a fuse
        with the parts and wires `subjects`, the quickest first; none of `proved`, nor of the parts they are of."""
        subjects = list(dict.fromkeys(subjects))
        done = set(proved)
        targets = {self.knowledge.checks[check].target for check in done if check in self.knowledge.checks}
        chosen: list[tuple[_Seen, str]] = []

        def free(seen: _Seen) -> bool:
            return seen.check.id not in done and seen.check.target not in targets and seen.part not in subjects

        def take(seen: _Seen, words: str) -> None:
            done.add(seen.check.id)
            targets.add(seen.check.target)
            chosen.append((seen, words))

        nodes = {node for subject in subjects for node in self._of(subject)}
        for connector in self._connectors(subjects):
            far = self._reached(connector, subjects)
            near = [
                (min(far.get(n, 999) for n in seen.nodes), seen) for seen in self._seen if seen.nodes and free(seen)
            ]
            near = [(hops, seen) for hops, seen in near if hops < 999]
            if near:
                take(
                    min(near, key=lambda found: found[0])[1],
                    t("at the same connector: {connector}", connector=self._title(connector)),
                )
                break
        for kind, groups in reversed(self._groups.items()):
            shared = {name: group for name, group in groups.items() if name in subjects or nodes & group}
            found = next(
                ((s, name) for s in self._seen if free(s) for name, g in shared.items() if g & set(s.nodes)), None
            )
            if found is not None:
                take(found[0], t("on the same {kind}: {found}", kind=kind, found=self._title(found[1])))
        return tuple(
            Neighbour(seen.check.id, words) for seen, words in sorted(chosen, key=lambda one: one[0].check.minutes)
        )

    def _of(self, subject: str) -> list[int]:
        """Nodes that a part or wire has."""
        wire = self.knowledge.wires.get(subject)
        if wire is not None:
            return self._nodes((wire.from_, wire.to))
        part: AnyPart | None = self.knowledge.parts.get(subject)
        return self._nodes(f"{subject}.{t}" for t in part.terminal_names()) if part is not None else []

    def _connectors(self, subjects: Iterable[str]) -> list[str]:
        """Parts with several wires of which the work takes hold."""
        held: dict[str, None] = {}
        for subject in subjects:
            wire = self.knowledge.wires.get(subject)
            ends = [end.split(".")[0] for end in (wire.from_, wire.to)] if wire is not None else [subject]
            held.update(dict.fromkeys(end for end in ends if isinstance(self.knowledge.parts.get(end), _CONNECTORS)))
        return list(held)

    def _reached(self, connector: str, subjects: Iterable[str]) -> dict[int, int]:
        """How far each node is from a connector by its other wires, but for the one that is the nearest to the
        battery: what hangs there does not hang on the connector."""
        net, paths = self._paths.network, self._paths
        inside = [i for i in paths.branches("joint", "contact", "relay", "flasher") if _owner(net, i) == connector]
        far: dict[int, int] = {}
        for node in self._of(connector):
            for wire in net.wires_at(node):
                far[wire] = net.branches[wire].b if net.branches[wire].a == node else net.branches[wire].a
        fed = paths.behind(self._of_batteries(), [*inside, *far])
        feeds = [wire for wire in far if far[wire] in fed]
        nearest = min(feeds, key=lambda wire: fed[far[wire]], default=None)
        away = [end for wire, end in far.items() if wire != nearest and net.branches[wire].id not in subjects]
        return paths.behind(away, [*inside, *far])

    def _of_batteries(self) -> list[int]:
        batteries = [name for name, part in self.knowledge.parts.items() if isinstance(part, schema.BatteryPart)]
        return [node for name in batteries for node in self._of(name)]

    def _title(self, part: str) -> str:
        return self.knowledge.parts[part].title


def _owner(net: Network, branch: int) -> str:
    """The part of a branch `part:what`."""
    return net.branches[branch].id.split(":")[0]
