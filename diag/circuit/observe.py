"""From volts to findings: the chance of each word a person may say, and the spread of each reading.

Each function takes a `Shown` whose first row is the healthy vehicle under the same operate. Here no
one misjudges anything; that is the belief's business. Knows nothing of questions.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from diag.circuit.behaviour import FLASHER_STATES, Shown
from diag.circuit.network import Floats, Network
from diag.circuit.solve import filament_current

__all__ = [
    "LIGHTS",
    "LOOKS",
    "OPEN_LINE_OHM",
    "RHYTHMS",
    "SOUNDS",
    "Readings",
    "horn_sounds",
    "lamp_looks",
    "flasher_sounds",
    "read_amps",
    "read_ohms",
    "read_volts",
    "test_lamp_looks",
]

LIGHTS = ("dark", "glow", "dim", "normal", "too-bright")
RHYTHMS = ("none", "steady", "slow", "flashing", "fast")
LOOKS: tuple[tuple[str, str], ...] = (
    ("dark", "none"),
    *((light, rhythm) for light in LIGHTS[1:] for rhythm in RHYTHMS[1:]),
)
"""All that a lamp may show, in the order of the columns of a look."""
SOUNDS = ("none", "click", "buzz", "weak", "sound")
OPEN_LINE_OHM = 1e6
"""A meter shows OL above this."""

_LIGHT_POWER = 3.4
"""Light of a filament goes with V^3.4 (Fink & Beaty, Standard Handbook for Electrical Engineers)."""
_LIGHT_WIDTH = 0.25
"""How far lamps and eyes differ, as a natural logarithm of light; common practice, no source."""
_CONTRAST = 2.0
_TEST_LAMP_W, _TEST_LAMP_V = 5.0, 12.0
_NEWTON_ROUNDS = 14
_METER_V, _METER_SHARE = 0.04, 0.015
_NO_PATH_OHM = 5e4
_OHM_WIDTH, _LEADS_OHM = 0.30, 0.2


@dataclass(frozen=True)
class Readings:
    """Where a reading lies for each row: `mean` and `width` (R,); for ohm both are of log10(ohm)."""

    mean: Floats
    width: Floats
    logarithmic: bool = False


def _step(found: Floats) -> Floats:
    out: Floats = 0.5 * (1 + np.tanh(found / 2))
    return out


def _light_words(relative: Floats, spread: Floats, limits: Mapping[str, float]) -> Floats:
    """(R, 5) chance of each word of LIGHTS for a relative light; edges are soft."""
    level = np.log(np.maximum(relative, 1e-9))
    strays = spread * np.minimum(np.abs(level), 1.5)  # a cause's own scatter moves only what the cause moves
    width = (_LIGHT_WIDTH + strays) / 1.7  # logistic width for about the same spread as a normal one
    below = [_step((np.log(limits[word]) - level) / width) for word in LIGHTS[:-1]]
    edges = np.stack([np.zeros_like(level), *below, np.ones_like(level)], axis=1)
    words: Floats = np.diff(np.maximum.accumulate(edges, axis=1), axis=1)
    return words


def _looks(on_words: Floats, off_words: Floats, on: Floats, off: Floats, flasher: Floats) -> Floats:
    """(R, 17) from the words in both phases and the chance of each flasher state."""
    out = np.zeros((len(on), len(LOOKS)))
    column = {look: i for i, look in enumerate(LOOKS)}
    brighter = np.where((on >= off)[:, None], on_words, off_words)
    flashes = (np.maximum(on, off) > _CONTRAST * np.minimum(on, off)) & (np.maximum(on, off) > 0)
    for s, state in enumerate(FLASHER_STATES):
        cycling = state not in ("idle", "steady")
        words = off_words if state == "idle" else brighter if cycling else on_words
        pulses = flashes if cycling else np.zeros(len(on), dtype=bool)
        chance = flasher[:, s]
        out[:, 0] += chance * words[:, 0]
        for i, light in enumerate(LIGHTS[1:], start=1):
            out[:, column[light, "steady"]] += chance * words[:, i] * ~pulses
            if cycling:
                out[:, column[light, state]] += chance * words[:, i] * pulses
    return out


def _supply_v(shown: Shown, network: Network) -> float:
    """Volts that a lamp has where the healthy vehicle would light it: the battery's less half a volt of wires."""
    volts = [float(shown.volts[0, s.a] - shown.volts[0, s.b]) for s in network.sources if s.kind == "battery"]
    return max([*volts, 2.0]) - 0.5


def lamp_looks(shown: Shown, network: Network, lamp: str, spread: Floats, limits: Mapping[str, float]) -> Floats:
    """(R, 17) chance of each of LOOKS for a lamp.

    Relative light is against the healthy row; where that is dark, against a lamp properly lit
    by the same battery.
    `spread` (R,) is each row's own scatter; `limits` the upper edge of each word's relative light.
    """
    i = network.filament(lamp)
    rated = network.filaments[i].test_v
    on = shown.scale[:, i] * (np.abs(shown.lamp_on_v[:, i]) / rated) ** _LIGHT_POWER
    off = shown.scale[:, i] * (np.abs(shown.lamp_off_v[:, i]) / rated) ** _LIGHT_POWER
    best = max(float(on[0]), float(off[0]))
    reference = best if best > limits["dark"] else (_supply_v(shown, network) / rated) ** _LIGHT_POWER
    on, off = on / reference, off / reference
    return _looks(_light_words(on, spread, limits), _light_words(off, spread, limits), on, off, shown.flasher)


def test_lamp_looks(
    shown: Shown, network: Network, terminal: str, spread: Floats, limits: Mapping[str, float], system_v: float
) -> Floats:
    """(R, 17) chance of each of LOOKS for a 12 V 5 W test lamp from a terminal to body.

    It loads the circuit: a resistive feed that shows full volts to a meter does not light it.
    """
    node = network.node(terminal)
    ohm = shown.inner_ohm[:, node]
    light = []
    for volts in (shown.volts[:, node], shown.off_volts[:, node]):
        across = _loaded(np.abs(volts), ohm, system_v)
        light.append((across / system_v) ** _LIGHT_POWER)
    return _looks(
        _light_words(light[0], spread, limits),
        _light_words(light[1], spread, limits),
        light[0],
        light[1],
        shown.flasher,
    )


def _loaded(volts: Floats, ohm: Floats, system_v: float) -> Floats:
    """Volts left on the test lamp: solves v + R·i(v) = V by Newton from 0 V.

    The lamp's curve bends one way only, so the steps climb to the answer without overshooting.
    """
    across = np.zeros_like(volts)
    rated = np.full_like(volts, _TEST_LAMP_W / _TEST_LAMP_V)
    for _ in range(_NEWTON_ROUNDS):
        amps, slope = filament_current(across / _TEST_LAMP_V, rated)
        across = across + (volts - across - ohm * amps) / (1 + ohm * slope / _TEST_LAMP_V)
    return across


def flasher_sounds(shown: Shown) -> Floats:
    """(R, 5) chance of each of SOUNDS from the flasher unit (common practice, no source)."""
    out = np.zeros((len(shown.flasher), len(SOUNDS)))
    none, click, buzz = (SOUNDS.index(word) for word in ("none", "click", "buzz"))
    idle, steady = shown.flasher[:, 0], shown.flasher[:, 1]
    out[:, none] = idle + steady * np.where(shown.buzzing > 0, 0.20, 0.94)
    out[:, buzz] = steady * np.where(shown.buzzing > 0, 0.77, 0.03)
    out[:, click] = shown.flasher[:, 2:].sum(axis=1) + steady * 0.03
    return out


def horn_sounds(shown: Shown, network: Network, horn: str, system_v: float, seized: Floats) -> Floats:
    """(R, 5) chance of each of SOUNDS from a horn; `seized` (R,) is 1 where it cannot move."""
    a, b = network.node(f"{horn}.71"), network.node(f"{horn}.31b")
    coil = network.branch(f"{horn}:coil")
    working = np.abs(shown.branch_a[:, coil]) > 1e-3
    ratio = np.abs(shown.volts[:, a] - shown.volts[:, b]) / system_v * working
    clicks, weak, full = (_step((ratio - edge) / 0.03) for edge in (0.25, 0.50, 0.86))
    out: Floats = np.zeros((len(ratio), len(SOUNDS)))
    out[:, SOUNDS.index("none")] = 1 - clicks
    out[:, SOUNDS.index("click")] = clicks - weak * (1 - seized)
    out[:, SOUNDS.index("weak")] = (weak - full) * (1 - seized)
    out[:, SOUNDS.index("sound")] = full * (1 - seized)
    out = np.clip(out, 0.0, 1.0)
    out /= out.sum(axis=1, keepdims=True)
    return out


def read_volts(shown: Shown, network: Network, red: str, black: str, spread: Floats) -> Readings:
    """Volts red minus black, the highest while it pulses; width covers meter, vehicle and cause."""
    mean = shown.volts[:, network.node(red)] - shown.volts[:, network.node(black)]
    strays = spread * np.minimum(np.abs(mean - mean[0]), 4.0)
    return Readings(mean, np.sqrt(_METER_V**2 + (_METER_SHARE * mean) ** 2 + strays**2))


def read_amps(shown: Shown, network: Network, through: str, spread: Floats) -> Readings:
    """Amps through a fuse or wire, from its first end to its second."""
    mean = shown.branch_a[:, network.branch(through)]
    strays = spread * np.abs(mean - mean[0])
    return Readings(mean, np.sqrt(0.03**2 + (0.06 * mean) ** 2 + strays**2))


def read_ohms(shown: Shown, network: Network, terminal: str, spread: Floats) -> Readings:
    """log10 of ohms from a terminal to body with the battery off, all parallel paths and leads included."""
    ohm = np.clip(shown.inner_ohm[:, network.node(terminal)] + _LEADS_OHM, 1e-3, OPEN_LINE_OHM)
    ohm = np.where(ohm > _NO_PATH_OHM, OPEN_LINE_OHM, ohm)  # what is left are the meter inputs of the model itself
    level = np.log10(ohm)
    return Readings(level, _OHM_WIDTH + 0.8 * spread * np.minimum(np.abs(level - level[0]), 0.5), logarithmic=True)
