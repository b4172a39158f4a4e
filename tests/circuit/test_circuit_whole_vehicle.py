"""The whole demo vehicle against an independent solution of the same wiring.

Here every branch current and every node voltage is an unknown and every fault is made by hand, so
neither the elimination, nor the lamp ports, nor the way faults enter the matrix are shared.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pytest
from scipy.optimize import root  # type: ignore[import-untyped]

from diag.circuit.network import Network
from tests.circuit.bench import filament_a
from tests.circuit.demo import CHARGING, DIPPED, KEY, LEFT, SIDE, STOP, Demo, Operate

_LEAK_S = 1e-7
_MILLIVOLT = 1e-3


class _Tableau:
    """Kirchhoff's laws of the vehicle with the flasher contacts closed and the engine standing still.

    For operates with a turn signal on, in which the unit of a vehicle with feed does close.
    """

    def __init__(self, demo: Demo, operate: Operate) -> None:
        net: Network = demo.network
        rest = {control: positions[0] for control, positions in demo.knowledge.controls.items()}
        now = {**rest, **operate}
        self.size = len(net.nodes)
        self.links: dict[str, tuple[int, int, float]] = {}
        for branch in net.branches:
            if branch.closed_when is not None and now[branch.closed_when[0]] not in branch.closed_when[1]:
                continue
            if branch.role == "cut-out":
                continue
            self.links[branch.id] = branch.a, branch.b, branch.ohm
        self.lamps = {lamp.id: (lamp.a, lamp.b, lamp.test_v, lamp.test_w) for lamp in net.filaments}
        self.sources = {s.id: (s.a, s.b, s.emf_v if s.kind == "battery" else 0.0, s.ohm) for s in net.sources}

    def solve(self) -> np.ndarray:
        """(nodes,) volts."""
        links, sources, lamps = list(self.links.values()), list(self.sources.values()), list(self.lamps.values())
        free = self.size - 1
        count = free + len(links) + len(sources)

        def split(unknown: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
            volts = np.concatenate([[0.0], unknown[:free]])
            return volts, unknown[free : free + len(links)], unknown[free + len(links) :]

        def miss(unknown: np.ndarray) -> np.ndarray:
            volts, link_a, source_a = split(unknown)
            sums = _LEAK_S * volts
            law = []
            for (a, b, ohm), amps in zip(links, link_a, strict=True):
                law.append(volts[a] - volts[b] - ohm * amps)
                sums[a] += amps
                sums[b] -= amps
            for (a, b, emf_v, ohm), amps in zip(sources, source_a, strict=True):
                law.append(volts[a] - volts[b] - emf_v + ohm * amps)
                sums[a] -= amps
                sums[b] += amps
            for a, b, test_v, test_w in lamps:
                amps = filament_a(volts[a] - volts[b], test_v, test_w)
                sums[a] += amps
                sums[b] -= amps
            return np.concatenate([sums[1:], law])

        found = root(miss, np.zeros(count), method="hybr", options={"xtol": 1e-12, "maxfev": 400_000})
        left = np.abs(miss(found.x)).max()
        assert left < 1e-7, f"the independent solver did not settle: {left:g}, {found.message}"
        return split(found.x)[0]

    # ---------------------------------------------------------- faults, made by hand

    def off(self, link: str) -> None:
        del self.links[link]

    def worse(self, link: str, ohm: float) -> None:
        a, b, own = self.links[link]
        self.links[link] = a, b, own + ohm

    def to_body(self, wire: str) -> None:
        a, b, _ = self.links[wire]
        self.links[f"{wire}-rubbed-a"] = a, 0, 0.02
        self.links[f"{wire}-rubbed-b"] = b, 0, 0.02

    def swap(self, net: Network, left: str, right: str) -> None:
        one, other = net.node(left), net.node(right)
        for branch in net.branches:
            if branch.role == "wire" and branch.id in self.links:
                a, b, ohm = self.links[branch.id]
                change = {one: other, other: one}
                self.links[branch.id] = change.get(a, a), change.get(b, b), ohm


def _missing_earth(t: _Tableau, _: Network) -> None:
    t.off("earth-rear-left")


def _bad_earth(t: _Tableau, _: Network) -> None:
    t.worse("earth-front-left", 2.0)


def _lamp_out(t: _Tableau, _: Network) -> None:
    del t.lamps["turn-lamp-rear-left"]


def _swapped(t: _Tableau, net: Network) -> None:
    t.swap(net, "hazard-switch.15", "hazard-switch.30")


def _earthed_sender_wire(t: _Tableau, _: Network) -> None:
    t.to_body("oil-sender-wire")


def _bad_stop_wire(t: _Tableau, _: Network) -> None:
    t.worse("stop-wire", 1.0)


def _healthy(_: _Tableau, __: Network) -> None:
    return


_CASES: Mapping[str, tuple[str | None, Operate, object]] = {
    "healthy": (None, LEFT, _healthy),
    "missing-rear-earth": ("earth-rear-left.open", {**LEFT, **STOP}, _missing_earth),
    "missing-rear-earth-side-lamps": ("earth-rear-left.open", {**LEFT, **SIDE}, _missing_earth),
    "bad-front-earth": ("earth-front-left.resistive", LEFT, _bad_earth),
    "bad-front-earth-dipped": ("earth-front-left.resistive", {**LEFT, **DIPPED}, _bad_earth),
    "lamp-out": ("turn-lamp-rear-left.open", LEFT, _lamp_out),
    "hazard-feeds-swapped": ("hazard-switch.swapped-15-30", LEFT, _swapped),
    "sender-wire-to-body": ("oil-sender-wire.to-body", LEFT, _earthed_sender_wire),
    "bad-stop-wire": ("stop-wire.resistive", {**LEFT, **STOP, **SIDE}, _bad_stop_wire),
}


@pytest.mark.parametrize("name", list(_CASES))
def test_the_whole_vehicle_agrees_with_an_independent_solver(demo: Demo, name: str) -> None:
    """Every one of the vehicle's test points to a millivolt, healthy and with seven faults."""
    cause, operate, fault = _CASES[name]
    tableau = _Tableau(demo, operate)
    fault(tableau, demo.network)  # type: ignore[operator]
    by_hand = tableau.solve()
    volts = demo.predictor.shown(operate).volts[demo.row(cause)]
    worst = int(np.abs(volts - by_hand).argmax())
    assert volts[worst] == pytest.approx(by_hand[worst], abs=_MILLIVOLT), demo.network.nodes[worst]
    if cause is not None:
        healthy = demo.predictor.shown(operate).volts[0]
        assert np.abs(volts - healthy).max() > 0.01, "the fault changes something, or the case shows nothing"


def test_running_engine_is_another_network(demo: Demo) -> None:
    """Guards the cases above: with the dynamo turning the battery feed lies above the battery's own volts."""
    assert demo.volts("regulator.B+", CHARGING) > 13.0 > demo.volts("regulator.B+", KEY)
