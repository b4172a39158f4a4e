"""From node volts to what a meter or a test lamp shows, with how far real readings stray from it.

The quick way: one solution serves every point at once; the instrument is a small load on what stands
there without it. `instruments` solves it as part of the network instead. Knows nothing of words.
"""

from __future__ import annotations

import heapq
from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np

from diag.calc.filament import filament_current
from diag.circuit.behaviour import Shown
from diag.circuit.network import LEAK_S, Floats, Network
from diag.texts import t

__all__ = [
    "LEADS_OHM",
    "OPEN_LINE_OHM",
    "Indication",
    "Readings",
    "amps_readings",
    "beeps",
    "highest",
    "drop_limit_v",
    "drops",
    "loading_v",
    "no_path_ohm",
    "ohms_readings",
    "path",
    "polarity",
    "quick_amps",
    "quick_lamp",
    "quick_ohms",
    "quick_volts",
    "volts_readings",
]

OPEN_LINE_OHM = 1e6
"""Stands for OL among readings in ohm."""
LEADS_OHM = 0.2
"""A pair of meter leads with their tips (0.2 to 0.5 ohm; common practice, no source)."""

_METER_V, _METER_SHARE = 0.04, 0.015
"""Volts: a handheld meter's 1 % and some digits, and how vehicles differ; common practice, no source."""
_METER_A, _METER_SHARE_A = 0.03, 0.06
"""Amps: a clamp's zero error of 0.05 A, lamps within 6 % of each other; common practice, no source."""
_OHM_WIDTH = 0.30
"""Ohms, in decades: contacts and cold filaments differ by a factor of two; common practice, no source."""
_AMMETER_TOP_A = 20.0
"""Nothing above is read: the 10 A range's own fuse melts at twice its rating, like any other (ISO 8820-3)."""
_BEEPS_BELOW_OHM, _BEEPS_WIDTH = 40.0, 0.10
"""Continuity buzzers differ between 30 and 50 ohm; common practice, no source. Width in decades."""
_FEELS_V = 0.3
"""Below so many volts a meter's sign may be that of its own zero error."""
_NEWTON_ROUNDS = 14


@dataclass(frozen=True)
class Readings:
    """Where a reading lies for each row: `mean` and `width` (R,); for ohm both are of log10(ohm).

    `senseless` (R,): True where the meter shows a number that means nothing, such as ohms with power on.
    """

    mean: Floats
    width: Floats
    logarithmic: bool = False
    senseless: np.ndarray | None = None


@dataclass(frozen=True)
class Indication:
    """What an instrument between two points shows for R variants, red against black.

    `number` (R,): V, A or ohm (inf above the range, nan where it means nothing); of a test lamp the volts
    across it while the flasher contact is closed. `off` (R,): the same in its open phase. `flasher` (R, 5).
    """

    number: Floats
    off: Floats
    flasher: Floats

    def rows(self, chosen: Sequence[int] | np.ndarray) -> Indication:
        """Those rows, in that order."""
        where = np.asarray(chosen, dtype=int)
        return Indication(self.number[where], self.off[where], self.flasher[where])

    @staticmethod
    def stacked(parts: Sequence[Indication]) -> Indication:
        """All rows of several, one after the other."""
        return Indication(*(np.concatenate([getattr(part, f.name) for part in parts]) for f in fields(Indication)))


# ---------------------------------------------------------------- numbers with their tolerance


def volts_readings(
    mean: Floats, spread: Floats, unsure_v: Floats | float = 0.0, digits_v: float = _METER_V
) -> Readings:
    """Volts; `spread` (R,) is each cause's own scatter as a natural logarithm, row 0 the healthy vehicle.

    `unsure_v`: volts that hang on how far this meter loads the point. `digits_v`: volts that the meter
    itself is unsure of. How bad a fault is moves no point that is dead with it.
    """
    strays = spread * np.minimum(np.minimum(np.abs(mean - mean[0]), np.abs(mean)), 4.0)
    return Readings(mean, np.sqrt(digits_v**2 + (_METER_SHARE * mean) ** 2 + strays**2 + np.square(unsure_v)))


def amps_readings(mean: Floats, spread: Floats) -> Readings:
    """Amps; what is beyond a meter's range is read as its top, give or take a third."""
    shown = np.clip(mean, -_AMMETER_TOP_A, _AMMETER_TOP_A)
    strays = spread * np.minimum(np.abs(shown - shown[0]), np.abs(shown))
    over = np.where(np.abs(mean) >= _AMMETER_TOP_A, _AMMETER_TOP_A / 3, 0.0)
    return Readings(shown, np.sqrt(_METER_A**2 + (_METER_SHARE_A * shown) ** 2 + strays**2 + over**2))


def ohms_readings(ohm: Floats, spread: Floats) -> Readings:
    """log10 of ohms, leads included in `ohm`; inf is OL, nan means nothing and may be any number."""
    senseless = np.isnan(ohm)
    level = np.log10(np.clip(np.where(senseless, 100.0, ohm), 1e-3, OPEN_LINE_OHM))
    width = _OHM_WIDTH + 0.8 * spread * np.minimum(np.abs(level - level[0]), 0.5)
    return Readings(level, np.where(senseless, 3.0, width), True, senseless)


def beeps(ohm: Floats) -> Floats:
    """(R,) chance that a continuity buzzer sounds at `ohm`, leads included; nan (power on) sounds by chance."""
    level = np.log10(np.clip(np.where(np.isnan(ohm), _BEEPS_BELOW_OHM, ohm), 1e-3, OPEN_LINE_OHM))
    out: Floats = 0.5 * (1 - np.tanh((level - np.log10(_BEEPS_BELOW_OHM)) / (2 * _BEEPS_WIDTH)))
    return out


def polarity(volts: Floats) -> np.ndarray:
    """(R,) 1 where red is the plus, -1 where black is, 0 where too little stands there to say."""
    out: np.ndarray = np.where(np.abs(volts) < _FEELS_V, 0, np.sign(volts)).astype(int)
    return out


# ---------------------------------------------------------------- quickly, from one solution


def quick_volts(shown: Shown, network: Network, red: str, black: str, spread: Floats) -> Readings:
    """Volts red minus black, the highest while it pulses."""
    a, b = network.node(red), network.node(black)
    mean = highest(shown.volts[:, a] - shown.volts[:, b], shown.off_volts[:, a] - shown.off_volts[:, b], shown.flasher)
    return volts_readings(mean, spread, loading_v(shown, network, red, black))


def highest(on: Floats, off: Floats, flasher: Floats) -> Floats:
    """(R,) the reading farther from 0 of both phases where the flasher unit cycles, else that of the closed one."""
    cycles = flasher[:, 2:].sum(axis=1) > 0.5
    out: Floats = np.where(cycles & (np.abs(off) > np.abs(on)), off, on)
    return out


def loading_v(shown: Shown, network: Network, red: str, black: str) -> Floats:
    """(R,) volts that another meter may read differently: one of 10 Mohm on a point behind R ohm loses the
    share R / (R + 10 Mohm), and meters of 1 to 20 Mohm are sold."""
    a, b = network.node(red), network.node(black)
    lost = np.minimum(np.maximum(shown.inner_ohm[:, a], shown.inner_ohm[:, b]) * LEAK_S, 1.0)
    out: Floats = 0.5 * lost * np.abs(shown.volts[:, a] - shown.volts[:, b])
    return out


def quick_amps(shown: Shown, network: Network, through: str, spread: Floats) -> Readings:
    """Amps through a fuse, wire or branch, from its first end to its second, as a clamp shows them."""
    return amps_readings(shown.branch_a[:, network.branch(through)], spread)


def no_path_ohm(network: Network) -> float:
    """Ohms above which nothing is left but the meter inputs that the model puts from every node to body."""
    return min(5e4, 0.5 / (LEAK_S * len(network.nodes)))


def quick_ohms(shown: Shown, network: Network, terminal: str, spread: Floats) -> Readings:
    """log10 of ohms from a terminal to body with the battery off, all parallel paths and leads included."""
    ohm = shown.inner_ohm[:, network.node(terminal)] + LEADS_OHM
    return ohms_readings(np.where(ohm > no_path_ohm(network), np.inf, ohm), spread)


def quick_lamp(shown: Shown, network: Network, red: str, black: str, watts: float, rated_v: float) -> Indication:
    """Volts on a test lamp, taking what feeds it as straight lines; paths that both points share count twice.

    Right to a body or from a stiff feed; behind filaments that it heats, `instruments` is.
    """
    a, b = network.node(red), network.node(black)
    ohm = shown.inner_ohm[:, a] + shown.inner_ohm[:, b]
    on, off = (
        _loaded(np.abs(volts[:, a] - volts[:, b]), ohm, watts, rated_v) for volts in (shown.volts, shown.off_volts)
    )
    return Indication(on, off, shown.flasher)


def _loaded(volts: Floats, ohm: Floats, watts: float, rated_v: float) -> Floats:
    """Volts left on the lamp: solves v + R·i(v) = V by Newton from 0 V.

    The lamp's curve bends one way only, so the steps climb to the answer without overshooting.
    """
    across = np.zeros_like(volts)
    rated = np.full_like(volts, watts / rated_v)
    for _ in range(_NEWTON_ROUNDS):
        amps, slope = filament_current(across / rated_v, rated)
        across = across + (volts - across - ohm * amps) / (1 + ohm * slope / rated_v)
    return across


# ---------------------------------------------------------------- drops along a path


def drops(shown: Shown, network: Network, start: str, pieces: Sequence[str]) -> tuple[Readings, Floats, str]:
    """Volts lost from `start` over `pieces` (ids of wires, fuses, branches `part:what` and lamps, in order).

    Gives the whole as a reading, (R, pieces) volts of each, and the node where the path ends. What
    pieces lose is positive where current flows along the path. Raises ValueError where a piece does
    not begin where the last one ended, KeyError for an unknown one.
    """
    at, parts = network.node(start), []
    for piece in pieces:
        a, b = _ends(network, piece)
        if at not in (a, b):
            raise ValueError(
                t(
                    "{piece} joins {nodes} and {nodes_2}, not {nodes_3}",
                    piece=piece,
                    nodes=network.nodes[a],
                    nodes_2=network.nodes[b],
                    nodes_3=network.nodes[at],
                )
            )
        far = b if at == a else a
        parts.append(shown.volts[:, at] - shown.volts[:, far])
        at = far
    shares = np.stack(parts, axis=1) if parts else np.zeros((len(shown.volts), 0))
    end = network.nodes[at]
    whole = shown.volts[:, network.node(start)] - shown.volts[:, network.node(end)]  # under load, as the pieces
    return volts_readings(whole, np.zeros(len(whole)), loading_v(shown, network, start, end)), shares, end


def path(network: Network, siemens: Floats, start: str, end: str) -> tuple[str, ...]:
    """The pieces of least resistance from one point to another, over what conducts; empty where nothing does.

    `siemens` (branches,): see `Network.rest_conductance`. Filaments count by their hot resistance.
    """
    links: dict[int, list[tuple[int, float, str]]] = {}
    for branch, one in zip(network.branches, siemens, strict=True):
        if one > 0:
            links.setdefault(branch.a, []).append((branch.b, 1.0 / float(one), branch.id))
            links.setdefault(branch.b, []).append((branch.a, 1.0 / float(one), branch.id))
    for lamp in network.filaments:
        ohm = lamp.test_v**2 / lamp.test_w
        links.setdefault(lamp.a, []).append((lamp.b, ohm, lamp.id))
        links.setdefault(lamp.b, []).append((lamp.a, ohm, lamp.id))
    goal = network.node(end)
    queue: list[tuple[float, int, tuple[str, ...]]] = [(0.0, network.node(start), ())]
    done: set[int] = set()
    while queue:
        ohm, node, pieces = heapq.heappop(queue)
        if node == goal:
            return pieces
        if node in done:
            continue
        done.add(node)
        for other, more, piece in links.get(node, []):
            if other not in done:
                heapq.heappush(queue, (ohm + more, other, (*pieces, piece)))
    return ()


def _ends(network: Network, piece: str) -> tuple[int, int]:
    try:
        branch = network.branches[network.branch(piece)]
        return branch.a, branch.b
    except KeyError:
        lamp = network.filaments[network.filament(piece)]
        return lamp.a, lamp.b


_LIMIT_12_V = {
    "wire": 0.20,
    "contact": 0.30,
    "flasher": 0.30,
    "relay": 0.30,
    "fuse": 0.10,
    "joint": 0.10,
    "earth": 0.10,
}


def drop_limit_v(kind: str, system_v: float) -> float | None:
    """Most volts that a piece may lose under load, by its role or kind of part; None for what is a load itself.

    12 V: wire 0.20, switch or solenoid contact 0.30, fuse, joint or earth 0.10; 24 V twice, 6 V half
    (joint-by-joint limits; common practice, no source).
    """
    limit = _LIMIT_12_V.get(kind)
    return None if limit is None else limit * system_v / 12.0
