"""From volts to findings: the chance of each word that a person may say (readings: see `readings`).

Each function takes a `Shown` whose first row is the healthy vehicle under the same operate. Here no
one misjudges anything; that is the belief's business. Knows nothing of questions.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from diag.calc.filament import LIGHT_POWER
from diag.circuit.behaviour import FLASHER_STATES, MOTORS, Shown
from diag.circuit.elements import LED_ON_SHARE
from diag.circuit.network import BODY, Floats, Network
from diag.circuit.readings import OPEN_LINE_OHM, Indication, Readings, quick_lamp
from diag.circuit.readings import quick_amps as read_amps
from diag.circuit.readings import quick_ohms as read_ohms
from diag.circuit.readings import quick_volts as read_volts

__all__ = [
    "LIGHTS",
    "LOOKS",
    "MOTORS",
    "NEEDLES",
    "OPEN_LINE_OHM",
    "RHYTHMS",
    "SOUNDS",
    "answers_of",
    "part_words",
    "TEST_LAMP_W",
    "Readings",
    "horn_sounds",
    "lamp_looks",
    "flasher_sounds",
    "read_amps",
    "read_ohms",
    "read_volts",
    "test_lamp_looks",
    "tester_looks",
]

LIGHTS = ("dark", "glow", "dim", "normal", "too-bright")
RHYTHMS = ("none", "steady", "slow", "flashing", "fast")
LOOKS: tuple[tuple[str, str], ...] = (
    ("dark", "none"),
    *((light, rhythm) for light in LIGHTS[1:] for rhythm in RHYTHMS[1:]),
)
"""All that a lamp may show, in the order of the columns of a look."""
NEEDLES = ("low", "middle", "high")
"""Where the needle of a gauge stands on its scale; one that has no current rests at the low end."""
_LOW_END, _HIGH_END, _NEEDLE_WIDTH = 0.25, 0.75, 0.05
"""Shares of the scale, and how far needles and eyes differ (common practice, no source)."""
SOUNDS = ("none", "click", "buzz", "weak", "sound")
_HEARD: dict[str, tuple[str, ...]] = {
    "flasher-unit": ("none", "click", "buzz"),
    "relay": ("none", "click", "buzz"),
    "valve": ("none", "click"),
    "horn": SOUNDS,
    "starter": SOUNDS,
}
"""What each kind of part can be heard to do; a starter that cranks sounds, one that cranks slowly is weak."""
_LOOKED: dict[str, tuple[str | tuple[str, str], ...]] = {
    "lamp": LOOKS,
    "two-filament-lamp": LOOKS,
    "motor": MOTORS,
    "wiper-motor": MOTORS,
    "starter": MOTORS,
    "gauge": NEEDLES,
}
_LIGHT_WIDTH = 0.25
"""How far lamps and eyes differ, as a natural logarithm of light; common practice, no source."""
_CONTRAST = 2.0
TEST_LAMP_W = 5.0
"""A test lamp's watts at the vehicle's volts (3, 5 or 21 W are usual; common practice, no source)."""


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


def _lamp_light(ratio: Floats, scale: Floats, led: Floats) -> Floats:
    """(R,) light of a lamp against the same one at its test volts; `ratio` is volts over test volts.

    An LED substitute is made to be as bright as the filament at those volts, and follows its current.
    """
    filament = scale * np.abs(ratio) ** LIGHT_POWER
    substitute = (scale > 0) * np.maximum(led * ratio - LED_ON_SHARE, 0.0) / (1 - LED_ON_SHARE)
    found: Floats = np.where(led == 0, filament, substitute)
    return found


def lamp_looks(shown: Shown, network: Network, lamp: str, spread: Floats, limits: Mapping[str, float]) -> Floats:
    """(R, 17) chance of each of LOOKS for a lamp.

    Relative light is against the healthy row; where that is dark, against a lamp properly lit
    by the same battery.
    `spread` (R,) is each row's own scatter; `limits` the upper edge of each word's relative light.
    """
    i = network.filament(lamp)
    rated = network.filaments[i].test_v
    on, off = (
        _lamp_light(volts[:, i] / rated, shown.scale[:, i], shown.led[:, i])
        for volts in (shown.lamp_on_v, shown.lamp_off_v)
    )
    best = max(float(on[0]), float(off[0]))
    reference = best if best > limits["dark"] else (_supply_v(shown, network) / rated) ** LIGHT_POWER
    on, off = on / reference, off / reference
    return _looks(_light_words(on, spread, limits), _light_words(off, spread, limits), on, off, shown.flasher)


def test_lamp_looks(
    shown: Shown, network: Network, terminal: str, spread: Floats, limits: Mapping[str, float], system_v: float
) -> Floats:
    """(R, 17) chance of each of LOOKS for a 5 W test lamp from a terminal to body, the quick way.

    It loads the circuit: a resistive feed that shows full volts to a meter does not light it.
    """
    return tester_looks(quick_lamp(shown, network, terminal, BODY, TEST_LAMP_W, system_v), spread, limits, system_v)


def tester_looks(
    seen: Indication, spread: Floats, limits: Mapping[str, float], system_v: float, led_from_v: float | None = None
) -> Floats:
    """(R, 17) chance of each of LOOKS for a test lamp with those volts on it, against one lit by `system_v`.

    `led_from_v`: it is an LED, whose light goes with the volts above that.
    """
    light = []
    for volts in (np.abs(seen.number), np.abs(seen.off)):
        if led_from_v is None:
            light.append((volts / system_v) ** LIGHT_POWER)
        else:
            light.append(np.maximum(volts - led_from_v, 0.0) / (system_v - led_from_v))
    words = [_light_words(one, spread, limits) for one in light]
    return _looks(words[0], words[1], light[0], light[1], seen.flasher)


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


def relay_sounds(shown: Shown, network: Network, relay: str, held: Floats) -> Floats:
    """(R, 5) chance of each of SOUNDS from a relay that is worked; `held` (R,) is 1 where its contact is welded,
    so that nothing in it moves."""
    k = [one.id for one in network.relays].index(relay)
    state = np.where(held > 0, 0, shown.relay[:, k])
    out = np.zeros((len(state), len(SOUNDS)))
    for number, word in ((0, "none"), (1, "click"), (2, "buzz")):
        out[:, SOUNDS.index(word)] = state == number
    return out


def starter_sounds(shown: Shown, network: Network, starter: str) -> Floats:
    """(R, 5) chance of each of SOUNDS from a starter: a click alone is a solenoid that pulled in on a motor that
    stands, a buzz one that chatters."""
    k = [one.id for one in network.relays].index(starter)
    turns, relay = motor_looks(shown, network, starter), network.relays[k]
    # a welded contact holds the armature where it is: nothing is heard of it unless the winding pulls as well
    coil_v = np.abs(shown.branch_a[:, relay.coil]) * network.branches[relay.coil].ohm
    pulled, chatters = (shown.relay[:, k] == 1) & (coil_v >= relay.drop_v), shown.relay[:, k] == 2
    out = np.zeros((len(pulled), len(SOUNDS)))
    out[:, SOUNDS.index("buzz")] = chatters
    out[:, SOUNDS.index("none")] = np.where(chatters, 0.0, turns[:, MOTORS.index("still")] * ~pulled)
    out[:, SOUNDS.index("click")] = np.where(chatters, 0.0, turns[:, MOTORS.index("still")] * pulled)
    out[:, SOUNDS.index("weak")] = np.where(chatters, 0.0, turns[:, MOTORS.index("slow")])
    out[:, SOUNDS.index("sound")] = np.where(chatters, 0.0, turns[:, MOTORS.index("runs")])
    return out


def valve_sounds(shown: Shown, network: Network, valve: str, system_v: float) -> Floats:
    """(R, 5) chance of each of SOUNDS from a valve that gets its feed: it clicks from half of the volts."""
    load = network.branch(f"{valve}:load")
    share = np.abs(shown.branch_a[:, load]) * network.branches[load].ohm / system_v
    clicks = _step((share - 0.5) / 0.05)
    out = np.zeros((len(clicks), len(SOUNDS)))
    out[:, SOUNDS.index("click")], out[:, SOUNDS.index("none")] = clicks, 1 - clicks
    return out


def motor_looks(shown: Shown, network: Network, motor: str) -> Floats:
    """(R, 4) chance of each of MOTORS."""
    found: Floats = shown.motor[:, [one.id for one in network.motors].index(motor)]
    return found


def needle_looks(shown: Shown, network: Network, gauge: str) -> Floats:
    """(R, 3) chance of each of NEEDLES, by the current through the gauge."""
    needle = next(one for one in network.needles if one.id == gauge)
    share = (np.abs(shown.branch_a[:, needle.coil]) - needle.low_a) / (needle.high_a - needle.low_a)
    low, high = (_step((share - edge) / _NEEDLE_WIDTH) for edge in (_LOW_END, _HIGH_END))
    out: Floats = np.stack([1 - low, low - high, high], axis=1)
    return np.clip(out, 0.0, 1.0)


def answers_of(kind: str, *, looked: bool) -> tuple[str | tuple[str, str], ...]:
    """What a look at a part of that kind, or a listen to it, may answer; none where it shows or says nothing."""
    return _LOOKED.get(kind, ()) if looked else _HEARD.get(kind, ())


def part_words(
    shown: Shown,
    network: Network,
    target: str,
    kind: str,
    spread: Floats,
    limits: Mapping[str, float],
    system_v: float,
    held: Floats,
    *,
    looked: bool,
) -> Floats:
    """(R, answers) chance of each of `answers_of` for a part of that kind.

    `spread` (R,), `limits`: see `lamp_looks`. `held` (R,): 1 where a fault keeps it from moving. Raises
    ValueError for a kind that cannot be looked at or listened to.
    """
    words = answers_of(kind, looked=looked)
    if not words:
        raise ValueError(f"{kind}: {looked=}")
    if looked:
        if words == LOOKS:
            return lamp_looks(shown, network, target, spread, limits)
        return (needle_looks if words == NEEDLES else motor_looks)(shown, network, target)
    if kind == "horn":
        found = horn_sounds(shown, network, target, system_v, held)
    elif kind == "relay":
        found = relay_sounds(shown, network, target, held)
    elif kind == "starter":
        found = starter_sounds(shown, network, target)
    elif kind == "valve":
        found = valve_sounds(shown, network, target, system_v)
    else:
        found = flasher_sounds(shown)
    return found[:, [SOUNDS.index(str(word)) for word in words]]
