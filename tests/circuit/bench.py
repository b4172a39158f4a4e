"""Small networks typed in by hand, and the filament law written out a second time.

The law stands here on its own so that a slip in the program's copy cannot hide in the test's.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from diag.circuit.network import Branch, Filament, Network, Source
from diag.circuit.solve import Solution, Solver, Variants

__all__ = ["diode_a", "filament_a", "led_a", "network", "solve"]


def filament_a(volts: float, test_v: float, test_w: float) -> float:
    """Amps of a lamp: I0·k·(k² + 1.6e-5)^-0.225, which goes with V^0.55 once k is well above 0.004."""
    k = volts / test_v
    return test_w / test_v * k * float((k * k + 1.6e-5) ** -0.225)


def diode_a(volts: float, on_v: float, ohm: float) -> float:
    """Amps of a diode from its first end to its second: a soft knee of 0.05 V at `on_v`, then a straight line."""
    return 0.05 / ohm * float(np.logaddexp(0.0, (volts - on_v) / 0.05) - np.logaddexp(0.0, -on_v / 0.05))


def led_a(volts: float, test_v: float, rated_a: float, way: float) -> float:
    """Amps of an LED in a lamp's place: nothing below 55 % of its volts, `rated_a` at all of them."""
    return way * diode_a(way * volts, 0.55 * test_v, 0.45 * test_v / rated_a)


def network(
    nodes: Sequence[str],
    links: Sequence[tuple[str, str, float]],
    lamps: Sequence[tuple[str, str, float, float]],
    battery: tuple[str, str, float, float],
) -> Network:
    """Links (a, b, ohm), lamps (a, b, test volts, test watts), battery (plus, minus, EMF in V, ohm).

    A dead-ended link is added at the end: the solver wants at least one branch.
    """
    nodes, links = [*nodes, "nowhere"], [*links, ("nowhere", "body", 1.0)]
    at = {name: i for i, name in enumerate(nodes)}
    plus, minus, emf_v, ohm = battery
    return Network(
        tuple(nodes),
        tuple(Branch(f"{a}-{b}", at[a], at[b], r) for a, b, r in links),
        tuple(Filament(f"lamp-{a}-{b}", at[a], at[b], v, w) for a, b, v, w in lamps),
        (Source("battery", at[plus], at[minus], emf_v, ohm, "battery"),),
    )


def solve(net: Network, *, dense: bool = False) -> Solution:
    """The network as it stands, one variant."""
    variants = Variants(
        np.array([[1.0 / branch.ohm for branch in net.branches]]),
        np.array([[[branch.a, branch.b] for branch in net.branches]]),
        np.zeros((1, 0, 2), dtype=int),
        np.zeros((1, 0)),
        np.ones((1, len(net.filaments))),
        np.zeros((1, len(net.filaments))),
        np.ones((1, len(net.diodes))),
        np.array([[source.emf_v for source in net.sources]]),
        np.array([[1.0 / source.ohm for source in net.sources]]),
    )
    return Solver(net).solve(variants, dense=dense)
