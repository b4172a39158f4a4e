"""How much a wire's length and section matter: what the loads of the healthy vehicle lose when it is longer or thinner.

Everything is computed with the network of the vehicle. Knows nothing of questions, answers or files.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from diag.calc.copper import wire_ohm
from diag.circuit.network import Change, Floats, Network
from diag.circuit.parts import build_network
from diag.circuit.predict import bench_of
from diag.knowledge import schema
from diag.knowledge.assemble import Knowledge, operate_key
from diag.knowledge.bridging import EXTRA_CONTROLS
from diag.knowledge.sizes import SECTIONS_MM2
from diag.knowledge.targets import target_title

__all__ = ["LONGER", "Loss", "Together", "healthy_operates", "losses", "next_smaller", "together"]

LONGER = 1.25
"""Factor on all assumed lengths at once: how far a careful guess is off (common practice, no source)."""
_AT_WORK = 0.5
"""Share of the system volts from which a load is said to be at work."""
_LOADS = ("coil", "load", "primary", "motor", "slow", "fast", "solenoid")
"""What the branch of a consumer is called inside its part."""
_SENDS_A = 1e-3
"""A wire that carries less takes no volts from anything."""
_MOST_OPERATES = 3
"""Positions of the controls tried for each wire: those that send most through it, for what it costs is I x R."""
_BATCH = 4096


@dataclass(frozen=True)
class Loss:
    """What the load that suffers most loses for one wire.

    `lost_v` volts, `share` of the volts it has on the healthy vehicle, with the wire twice as long;
    `thinner_v` with the next smaller section `thinner_mm2` (None where none exists). `load` is a title."""

    wire: str
    load: str
    operate: Mapping[str, str]
    lost_v: float
    share: float
    thinner_mm2: float | None
    thinner_v: float


@dataclass(frozen=True)
class Together:
    """The load that loses most when all the wires at once are `LONGER`."""

    load: str
    lost_v: float
    share: float


@dataclass(frozen=True)
class _Loads:
    """Volts of every load for the rows of a solution."""

    titles: tuple[str, ...]
    lamps: tuple[int, ...]
    ends: tuple[tuple[int, int], ...]

    def volts(self, volts: Floats, lamp_v: Floats) -> Floats:
        a, b = np.array(self.ends, dtype=int).reshape(-1, 2).T
        found: Floats = np.abs(np.concatenate([lamp_v[:, list(self.lamps)], volts[:, a] - volts[:, b]], axis=1))
        return found


def next_smaller(section_mm2: float) -> float | None:
    """The next smaller section that exists, in mm² (IEC 60228); None below the smallest."""
    return max((size for size in SECTIONS_MM2 if size < section_mm2 * 0.999), default=None)


def healthy_operates(knowledge: Knowledge) -> list[dict[str, str]]:
    """Every position of the controls that a check uses with the battery on and every wire in its place."""
    found: dict[tuple[tuple[str, str], ...], dict[str, str]] = {}
    for check in knowledge.checks.values():
        operate = dict(check.operate)
        asks = check.kind in ("look", "listen", "measure") and check.unit != "ohm"
        if asks and "battery" not in operate and not set(operate) & set(EXTRA_CONTROLS):
            found.setdefault(operate_key(operate), operate)
    return list(found.values())


def losses(knowledge: Knowledge, wires: Iterable[str]) -> list[Loss]:
    """One entry for each wire that any load at work is fed or earthed through, the most telling first."""
    network, operates = build_network(knowledge), healthy_operates(knowledge)
    bench, loads = bench_of(knowledge, network), _loads(knowledge, network)
    sound, _ = bench.operate(operates, [Change()] * len(operates))
    healthy = loads.volts(sound.volts, sound.lamp_on_v)
    works = healthy >= _AT_WORK * knowledge.vehicle.system_v
    asked: list[tuple[str, int, Change]] = []
    for wire in wires:
        branch = network.branch(wire)
        amps = np.where(works.any(axis=1), np.abs(sound.branch_a[:, branch]), 0.0)
        for at in np.argsort(-amps, kind="stable")[:_MOST_OPERATES].tolist():
            if amps[at] > _SENDS_A:
                asked += [(wire, at, Change(added_ohm={branch: ohm})) for ohm in _added(knowledge, wire)]
    lost = np.zeros((len(asked), healthy.shape[1]))
    for start in range(0, len(asked), _BATCH):
        batch = asked[start : start + _BATCH]
        shown, _ = bench.operate([operates[row] for _, row, _ in batch], [change for *_, change in batch])
        rows = [row for _, row, _ in batch]
        volts = loads.volts(shown.volts, shown.lamp_on_v)
        lost[start : start + len(batch)] = np.where(works[rows], healthy[rows] - volts, 0.0)
    found: dict[str, Loss] = {}
    for i in range(0, len(asked), 2):
        wire, row, _ = asked[i]
        share = np.where(works[row], lost[i] / np.maximum(healthy[row], 1e-9), 0.0)
        worst = int(share.argmax())
        if share[worst] > 0 and (wire not in found or share[worst] > found[wire].share):
            smaller = next_smaller(knowledge.wires[wire].section_mm2)
            thinner = float(lost[i + 1, worst]) if smaller is not None else 0.0
            found[wire] = Loss(
                wire, loads.titles[worst], operates[row], float(lost[i, worst]), float(share[worst]), smaller, thinner
            )
    return sorted(found.values(), key=lambda loss: (-loss.share, loss.wire))


def together(knowledge: Knowledge, wires: Sequence[str]) -> Together | None:
    """What a guess that is off in all lengths the same way costs; None where no wire feeds anything."""
    network, operates = build_network(knowledge), healthy_operates(knowledge)
    bench, loads = bench_of(knowledge, network), _loads(knowledge, network)
    longer = Change(
        added_ohm={network.branch(wire): (LONGER - 1) * network.branches[network.branch(wire)].ohm for wire in wires}
    )
    sound, _ = bench.operate(operates, [Change()] * len(operates))
    changed, _ = bench.operate(operates, [longer] * len(operates))
    healthy = loads.volts(sound.volts, sound.lamp_on_v)
    lost = healthy - loads.volts(changed.volts, changed.lamp_on_v)
    share = np.where(healthy >= _AT_WORK * knowledge.vehicle.system_v, lost / np.maximum(healthy, 1e-9), 0.0)
    if not share.size or share.max() <= 0:
        return None
    row, load = divmod(int(share.argmax()), share.shape[1])
    return Together(loads.titles[load], float(lost[row, load]), float(share[row, load]))


def _added(knowledge: Knowledge, wire_id: str) -> tuple[float, float]:
    """Ohm that the wire gains when it is twice as long, and with the next smaller section (0 where none exists)."""
    wire, warm = knowledge.wires[wire_id], knowledge.vehicle.ambient_c
    own = wire_ohm(wire.section_mm2, wire.length_m, warm)
    smaller = next_smaller(wire.section_mm2)
    return own, 0.0 if smaller is None else wire_ohm(smaller, wire.length_m, warm) - own


def _loads(knowledge: Knowledge, network: Network) -> _Loads:
    titles, lamps, ends = [], [], []
    for index, filament in enumerate(network.filaments):
        titles.append(target_title(knowledge, filament.id))
        lamps.append(index)
    for branch in network.branches:
        part, _, what = branch.id.partition(":")
        if what in _LOADS and not isinstance(knowledge.parts[part], schema.RelayPart):
            titles.append(knowledge.parts[part].title)
            ends.append((branch.a, branch.b))
    return _Loads(tuple(titles), tuple(lamps), tuple(ends))
