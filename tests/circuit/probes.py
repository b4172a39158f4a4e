"""Instruments on small networks typed in by hand, and root finding to check them with.

Only asks the program; holds no expectations.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from scipy.optimize import brentq  # type: ignore[import-untyped]

from diag.circuit.behaviour import Bench
from diag.circuit.instruments import Hookup, Instrument
from diag.circuit.network import Change, Diode, Network
from tests.circuit.bench import filament_a

__all__ = ["bench", "lamp_behind", "show", "with_diode"]


def bench(net: Network, fuse_a: Mapping[str, float] | None = None) -> Bench:
    """A network without controls or machines."""
    return Bench(net, {}, fuse_a or {}, {}, {}, {})


def show(
    net: Network, instrument: Instrument, red: str, black: str = "body", operate: Mapping[str, str] | None = None
) -> float:
    """What the instrument shows between two points of the network as it stands."""
    return float(Hookup(bench(net), instrument, red, black).read(operate or {}, [Change()]).number[0])


def lamp_behind(feed_v: float, ohm: float, rated_v: float, watts: float) -> float:
    """Volts on a filament in series with a resistance, by root finding."""
    return float(brentq(lambda v: (feed_v - v) / ohm - filament_a(v, rated_v, watts), 0.0, feed_v, xtol=1e-13))


def with_diode(net: Network, a: str, b: str, on_v: float = 0.7, ohm: float = 0.05) -> Network:
    """The network with a diode that lets current pass from a to b."""
    return replace(net, diodes=(Diode("diode", net.node(a), net.node(b), on_v, ohm),))
