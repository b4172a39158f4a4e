"""What the network says of the vehicle's own appetite: amps with everything off and with the key on, where they
go, and which circuits could draw what a lamp in series shows.

Knows the computed network; nothing of what was answered.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from diag.circuit.predict import HEALTHY
from diag.knowledge import schema
from diag.reason.reasoner import Reasoner
from diag.reason.steps import Step

__all__ = ["Draw", "Lights", "draw_of", "lights_of"]

_LEAST_A = 0.005
_LEAST_SHARE = 0.02
_NAMED = 6


@dataclass(frozen=True)
class Draw:
    """Amps that a sound vehicle takes from its battery under an operate, and by fuse id what goes through it."""

    amps: float
    by_fuse: Mapping[str, float]


def draw_of(reasoner: Reasoner, operate: Mapping[str, str]) -> Draw | None:
    """The draw; None where nobody described the wiring or no wire ends at the battery alone."""
    predictor, knowledge = reasoner.predictor, reasoner.knowledge
    if predictor is None:
        return None
    batteries = {name for name, part in knowledge.parts.items() if isinstance(part, schema.BatteryPart)}
    posts = {f"{name}.B+" for name in batteries}
    leads = [name for name, wire in knowledge.wires.items() if not posts.isdisjoint((wire.from_, wire.to))]
    shown, network = predictor.healthy(operate), predictor.network
    if not leads:
        return None
    total = sum(abs(float(shown.branch_a[HEALTHY, network.branch(name)])) for name in leads)
    fuses = [name for name, part in knowledge.parts.items() if isinstance(part, schema.FusePart)]
    by_fuse = {name: abs(float(shown.branch_a[HEALTHY, network.branch(name)])) for name in fuses}
    return Draw(total, {name: amps for name, amps in by_fuse.items() if amps >= _LEAST_A})


@dataclass(frozen=True)
class Lights:
    """What one light of a lamp in series means: the `word`, the share of faults that would show it, and the titles
    of the circuits in which they lie, likeliest first. `sound`: a sound vehicle shows it."""

    word: str
    sound: bool
    share: float
    circuits: tuple[str, ...]


def lights_of(reasoner: Reasoner, step: Step) -> tuple[Lights, ...]:
    """Each light that some fault, or none, gives the lamp; the sound one first, then as they are met."""
    table = reasoner.chances.answers(step)
    shows = table.argmax(axis=1)
    words = [str(outcome[0]) if isinstance(outcome, tuple) else str(outcome) for outcome in step.outcomes]
    sound = words[int(shows[HEALTHY])]
    share: dict[str, float] = {sound: 0.0}
    where: dict[str, dict[str, float]] = {sound: {}}
    for i, cause in enumerate(reasoner.causes):
        word, p = words[int(shows[1 + i])], float(reasoner.prior[i])
        if word == sound:
            continue
        circuit = reasoner.knowledge.circuit_of.get(cause.subject, "")
        title = reasoner.knowledge.circuits[circuit].title if circuit in reasoner.knowledge.circuits else cause.title
        share[word] = share.get(word, 0.0) + p
        where.setdefault(word, {})[title] = where.get(word, {}).get(title, 0.0) + p
    out = []
    for word, p in sorted(share.items(), key=lambda pair: (pair[0] != sound, -pair[1])):
        circuits = sorted(where[word].items(), key=lambda pair: (-pair[1], pair[0]))
        total = max(sum(q for _, q in circuits), 1e-12)
        named = tuple(title for title, q in circuits[:_NAMED] if q / total > _LEAST_SHARE)
        out.append(Lights(word, word == sound, p / max(float(np.sum(list(share.values()))), 1e-12), named))
    return tuple(out)
