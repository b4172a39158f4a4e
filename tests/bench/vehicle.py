"""A vehicle with hidden faults, like the described one or unlike it in every wire, contact, lamp and its battery.

Solved by the circuit room for the control positions that are asked for, when they are asked for. Must know
nothing of beliefs, chances of misjudging or questions.
"""

from __future__ import annotations

import copy
import math
import random
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from diag.circuit.behaviour import FLASHER_STATES, Bench, Flasher, Shown
from diag.circuit.faults import Cause, derive_causes
from diag.circuit.instruments import Ammeter, Hookup, Instrument, Ohmmeter, Voltmeter
from diag.circuit.network import BODY, Branch, Change, Floats, Network
from diag.circuit.parts import build_network
from diag.circuit.readings import Indication
from diag.knowledge import schema
from diag.knowledge.assemble import Knowledge, operate_key

__all__ = ["Described", "Vehicle"]

_STRAYS = 0.5
"""Wires and contacts differ by e^u, u uniform within this; common practice, no source."""
_WATTS = 0.07
"""Lamps differ by this share either way, uniform (UN R37 allows 6 % at the test volts)."""
_BATTERY_V = (12.0, 12.7)
"""Volts at rest of a 12 V battery from half to fully charged, uniform; others in proportion (from memory)."""
_FAULT_OHM = (0.2, 2.0)
"""A bad contact, log-uniform in ohm; common practice, no source."""
_STIFF_OHM = 1e3
"""What a meter of 10 Mohm does not move by its last digit."""
_LOAD_FROM_OHM = 1.0
"""A fixed link from here up is a winding and not a joint."""
_PLAIN = frozenset(("wire", "joint", "contact", "fuse", "flasher", "tell-tale", "cut-out", "relay", "park", "link"))
Key = tuple[tuple[str, str], ...]


class Described:
    """A vehicle as its files describe it: network, causes, what cures them, how often each is met."""

    def __init__(self, knowledge: Knowledge) -> None:
        self.knowledge = knowledge
        self.network = build_network(knowledge)
        self.bench = self.bench_of(self.network)
        self.causes = {cause.id: cause for cause in derive_causes(knowledge, self.network)}
        whole = sum(cause.frequency for cause in self.causes.values())
        self.prior = {name: cause.frequency / whole for name, cause in self.causes.items()}
        written = {cause: remedy.id for remedy in knowledge.remedies.values() for cause in remedy.cures}
        self.cure = {name: written.get(name, cause.remedy) for name, cause in self.causes.items()}
        self.sound: dict[Key, Shown] = {}

    def cured_by(self, cause: str, remedy: str) -> bool:
        """Whether a remedy cures a cause; what cures one that is always there cures its like that comes and goes."""
        steady = self.causes[cause].of
        return remedy in (self.cure[cause], self.cure.get(steady or cause))

    def bench_of(self, network: Network) -> Bench:
        """The vehicle's behaviour over another network of the same shape."""
        parts, system_v = self.knowledge.parts, self.knowledge.vehicle.system_v
        fuses = {name: part for name, part in parts.items() if isinstance(part, schema.FusePart)}
        return Bench(
            network,
            {control: positions[0] for control, positions in self.knowledge.controls.items()},
            {name: fuse.rating_a for name, fuse in fuses.items()},
            {name: wire.section_mm2 for name, wire in self.knowledge.wires.items()},
            {
                name: Flasher(part.rated_w / system_v, part.rate, part.technique == "thermal")
                for name, part in parts.items()
                if isinstance(part, schema.FlasherPart)
            },
            {
                name: part.emf_v
                for name, part in parts.items()
                if isinstance(part, schema.DynamoPart | schema.AlternatorPart)
            },
            {name: fuse.link for name, fuse in fuses.items()},
            system_v,
        )


def _strayed(described: Described, chance: random.Random) -> Network:
    """The network of another vehicle of the same kind."""

    def branch(one: Branch) -> Branch:
        plain = one.role in _PLAIN and one.ohm < _LOAD_FROM_OHM
        return replace(one, ohm=one.ohm * math.exp(chance.uniform(-_STRAYS, _STRAYS))) if plain else one

    network, by_12 = described.network, described.knowledge.vehicle.system_v / 12.0
    battery_v = chance.uniform(*_BATTERY_V) * by_12
    return replace(
        network,
        branches=tuple(branch(one) for one in network.branches),
        filaments=tuple(
            replace(lamp, test_w=lamp.test_w * (1 + chance.uniform(-_WATTS, _WATTS))) for lamp in network.filaments
        ),
        sources=tuple(replace(one, emf_v=battery_v) if one.kind == "battery" else one for one in network.sources),
    )


@dataclass
class Vehicle:
    """One vehicle with `faults` (cause ids). `strays`: seed of one unlike the described; None: just like it."""

    described: Described
    faults: Sequence[str]
    strays: str | None = None
    network: Network = field(init=False)
    bench: Bench = field(init=False)

    def __post_init__(self) -> None:
        chance = random.Random(f"vehicle {self.strays}")
        causes: Mapping[str, Cause] = self.described.causes
        self.network, self.bench = self.described.network, self.described.bench
        self._sound = self.described.sound
        if self.strays is not None:
            self.network = _strayed(self.described, chance)
            self.bench = self.described.bench_of(self.network)
            causes = {cause.id: cause for cause in derive_causes(self.described.knowledge, self.network)}
            self._sound = {}
        self._unit = None if self.strays is None else chance.random()
        self._changes = {name: causes[name].change or Change() for name in self.faults}
        if self.strays is not None:
            self._changes = {name: _drawn(change, chance) for name, change in self._changes.items()}
        self._hookups: dict[tuple[Instrument, str, str], Hookup] = {}
        self._begin()

    def again(self) -> Vehicle:
        """The same vehicle as it stands, for another fitter."""
        out = copy.copy(self)
        out._changes = dict(self._changes)
        out._seen = {away: dict(shown) for away, shown in self._seen.items()}
        return out

    def _begin(self) -> None:
        self._gone: frozenset[int] = frozenset()
        self._away: frozenset[str] = frozenset()
        self._seen: dict[frozenset[str], dict[Key, Shown]] = {}

    @property
    def _shown(self) -> dict[Key, Shown]:
        """What is known by operate, with those faults away that are."""
        return self._seen.setdefault(self._away, {})

    def moment(self, chance: random.Random | None = None) -> None:
        """Another moment: of the faults that come and go those are there that `chance` draws, all where None."""
        known = self.described.causes
        fickle = [name for name in self._changes if known[name].shows < 1.0]
        self._away = frozenset(name for name in fickle if chance is not None and chance.random() >= known[name].shows)

    @property
    def left(self) -> tuple[str, ...]:
        """Faults that are still there."""
        return tuple(self._changes)

    def change(self, operate: Mapping[str, str]) -> Change:
        """All that is wrong at this moment with the controls so, blown fuses and burnt wires included."""
        out, positions = Change(), {**self.bench.rest, **operate}
        for name, change in self._changes.items():
            there = name not in self._away and self.described.causes[name].there(positions)
            out = out.merged(change) if there else out
        return out.merged(Change(added_ohm=dict.fromkeys(sorted(self._gone), np.inf))) if self._gone else out

    def remedy(self, remedy_id: str) -> list[str]:
        """Carry out a remedy; the faults that it cured. What they blew or burnt is renewed with them."""
        cured = [name for name in self._changes if self.described.cured_by(name, remedy_id)]
        for name in cured:
            del self._changes[name]
        if cured:
            self._begin()
        return cured

    # ------------------------------------------------------------ working its controls

    def work(self, operates: Iterable[Mapping[str, str]]) -> None:
        """Put the controls so, one after the other; what blows stays blown."""
        wanted = {operate_key(operate): operate for operate in operates}
        fresh = {key: operate for key, operate in wanted.items() if key not in self._sound}
        if fresh:
            found, _ = self.bench.operate(list(fresh.values()), [Change()] * len(fresh))
            self._sound.update({key: found.rows([row]) for row, key in enumerate(fresh)})
        while missing := {key: operate for key, operate in wanted.items() if key not in self._shown}:
            found, blown = self.bench.operate(list(missing.values()), [self.change(o) for o in missing.values()])
            gone = self._gone.union(*blown)
            if gone != self._gone:
                self._gone, self._seen = gone, {}
                continue
            self._shown.update({key: found.rows([row]) for row, key in enumerate(missing)})

    def shown(self, operate: Mapping[str, str]) -> Shown:
        """Row 0 the same vehicle sound, row 1 as it is."""
        self.work([operate])
        key = operate_key(operate)
        return Shown.stacked([self._sound[key], self._shown[key]])

    def flasher_state(self, chances: Floats) -> str:
        """One of FLASHER_STATES from the chance of each: the likeliest, or this unit's own."""
        if self._unit is None:
            return FLASHER_STATES[int(np.argmax(chances))]
        place = int(np.searchsorted(np.cumsum(chances), self._unit * float(chances.sum())))
        return FLASHER_STATES[min(place, len(FLASHER_STATES) - 1)]

    # ------------------------------------------------------------ instruments

    def held(self, instrument: Instrument, operate: Mapping[str, str], red: str, black: str) -> Indication:
        """An instrument between two points, solved as part of the vehicle; one row. Raises KeyError for an
        unknown point."""
        self.work([operate])
        points = (instrument, red, black)
        if points not in self._hookups:
            self._hookups[points] = Hookup(self.bench, instrument, red, black)
        return self._hookups[points].read(operate, [self.change(operate)])

    def volts(self, operate: Mapping[str, str], red: str, black: str) -> float:
        """Volts red minus black, the highest while it pulses. Raises KeyError for an unknown point."""
        shown, a, b = self.shown(operate), self.network.node(red), self.network.node(black)
        stiff = max(float(shown.inner_ohm[1, a]), float(shown.inner_ohm[1, b])) < _STIFF_OHM
        if stiff or BODY in (red, black):  # the network has a meter from each of its points to body
            on, off = (float(v[1, a] - v[1, b]) for v in (shown.volts, shown.off_volts))
            state = self.flasher_state(shown.flasher[1])
        else:
            found = self.held(Voltmeter(), operate, red, black)
            on, off, state = float(found.number[0]), float(found.off[0]), self.flasher_state(found.flasher[0])
        if state in ("idle", "steady"):
            return off if state == "idle" else on
        return max(on, off, key=abs)

    def amps(self, operate: Mapping[str, str], through: str) -> float:
        """Amps through a fuse or wire from its first end to its second; a meter in place of a fuse that is blown.
        Raises KeyError for an unknown one."""
        shown, branch = self.shown(operate), self.network.branch(through)
        blown = (
            np.isinf(self.change(operate).added_ohm.get(branch, 0.0)) and self.network.branches[branch].role == "fuse"
        )
        if not blown:
            return float(shown.branch_a[1, branch])
        points = (Ammeter(), through, "")
        if points not in self._hookups:
            self._hookups[points] = Hookup.ammeter(self.bench, through)
        return float(self._hookups[points].read(operate, [self.change(operate)]).number[0])

    def ohms(self, operate: Mapping[str, str], red: str, black: str) -> float:
        """Ohms with the leads; inf above the meter's range, nan with power on. Raises KeyError."""
        return float(self.held(Ohmmeter(), operate, red, black).number[0])


def _drawn(change: Change, chance: random.Random) -> Change:
    """The same fault with another resistance where it is one."""
    low, high = (math.log(ohm) for ohm in _FAULT_OHM)
    added = {
        branch: math.exp(chance.uniform(low, high)) if 0 < ohm < np.inf else ohm
        for branch, ohm in change.added_ohm.items()
    }
    return replace(change, added_ohm=added)
