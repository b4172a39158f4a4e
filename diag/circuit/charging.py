"""Machines that charge: whether they excite, what volts they make, when their cut-out lets them on.

Knows nothing of fuses, lamps or people. Thresholds are `common practice, no source` unless a line says
more; volts and amps are shares of what the machine itself makes, so they hold for 6, 12 and 24 V.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from diag.circuit.arrange import owner
from diag.circuit.network import Floats, Network
from diag.circuit.stage import Stage

__all__ = ["CUT_IN", "Charging"]

_RESIDUAL = 0.02
"""Share of its volts that a turning dynamo makes without a field."""
_EXCITES = 0.12
"""Share of its full field current from which a turning dynamo builds up."""
_COLLAPSES = 0.28
"""Loss inside the armature, as a share of its volts, at which a shunt dynamo loses its field."""
CUT_IN, _BACK_A = 0.85, 2.0
"""Share of the dynamo's volts at which the cut-out closes (12.9 V of 15.2 V), and amps back into the dynamo
that open it (2 to 6 A); both from memory."""
_CONTACT_BEARS = 2.5
"""Multiple of the field current that the vibrating contact of a regulator bears before it burns off."""
_UNREGULATED, _SET_TOO_HIGH = 1.4, 1.17
"""Factors on the volts: with full field at fast idle, and with the regulator's spring too tight."""
_FELT = 0.99
"""Share of its volts that a winding must miss before the regulator is said to feel too little."""
_ON_CHARGE = 3.0
"""A battery that is charged gains this many times its own resistance (polarisation), so that the few volts
between a machine and a charged battery drive a few amps and not tens of them."""
_LAMP_EXCITES = 0.02
"""Share of an alternator's full field current that its charge lamp must let through at first."""
_ALTERNATOR_HIGH, _ONE_DIODE_V, _ONE_DIODE_OHM = 1.13, 0.97, 4.0
"""Alternator regulated too high; and with a diode lost: share of volts, and factor on its inner resistance."""


@dataclass(frozen=True)
class _Regulator:
    """Branches of one regulator, by their indices."""

    name: str
    cut_out: int
    contact: int
    winding: int


class Charging:
    """The machines of one network. `emf_v`: regulated volts by source id, that of the source where left out."""

    def __init__(self, network: Network, emf_v: Mapping[str, float]) -> None:
        self.network = network
        self.emf_v = dict(emf_v)
        kinds = [source.kind for source in network.sources]
        self._dynamos = [i for i, kind in enumerate(kinds) if kind == "dynamo"]
        self._alternators = [i for i, kind in enumerate(kinds) if kind == "alternator"]
        self._batteries = [i for i, kind in enumerate(kinds) if kind == "battery"]
        at = {branch.id: i for i, branch in enumerate(network.branches)}
        self._at = at
        self._regulators = [
            _Regulator(owner(b.id), i, at[f"{owner(b.id)}:field-contact"], at[f"{owner(b.id)}:winding"])
            for i, b in enumerate(network.branches)
            if b.role == "cut-out"
        ]

    def _volts(self, source: int) -> float:
        found = self.network.sources[source]
        return self.emf_v.get(found.id, found.emf_v)

    def _field(self, source: int) -> int | None:
        return self._at.get(f"{self.network.sources[source].id}:field")

    # ------------------------------------------------------------ before anything reacts

    def start(self, stage: Stage, rows: np.ndarray) -> None:
        """Cut-outs open, machines with the volts they would have if all were well."""
        variants = stage.variants
        for i in self._dynamos:
            # without magnetism, or with its belt off, it makes nothing at all
            dead = stage.flagged(self._flag(i, "no-output"))[rows]
            variants.emf_v[rows, i] = np.where(dead, 0.0, self._volts(i))
            variants.emf_v[rows[~stage.running[rows]], i] = 0.0
        for i in self._alternators:
            variants.emf_v[rows, i] = self._volts(i)
            variants.source_s[rows, i] = 0.0  # until it excites; its diodes let nothing back
            stage.move(self._at[f"{self.network.sources[i].id}:lamp-diode"], np.zeros(len(rows), dtype=bool), rows)
        for regulator in self._regulators:
            self._cut_out(stage, regulator, rows, np.zeros(len(rows), dtype=bool))
            stage.move(regulator.contact, np.ones(len(rows), dtype=bool), rows)

    def _flag(self, source: int, mode: str) -> str:
        return f"{self.network.sources[source].id}:{mode}"

    def _cut_out(self, stage: Stage, regulator: _Regulator, rows: np.ndarray, closed: np.ndarray) -> np.ndarray:
        never = stage.flagged(f"{regulator.name}:cut-out-open")[rows]
        stuck = stage.flagged(f"{regulator.name}:cut-out-stuck")[rows]
        return stage.move(regulator.cut_out, (closed | stuck) & ~never, rows)

    # ------------------------------------------------------------ with the engine running

    def settle(self, stage: Stage, rows: np.ndarray) -> np.ndarray:
        """Brings machines and battery to rest in those of the rows whose engine runs; gives these.

        A dynamo builds up where its field is fed, by whatever way; its cut-out closes once it has volts and
        opens when current flows back; the regulator's contact holds the volts that its winding feels.
        """
        rows = rows[stage.running[rows]] if self._dynamos or self._alternators else rows[:0]
        if not len(rows):
            return rows
        self.start(stage, rows)
        self._charge_resistance(stage, rows, charging=True)
        stage.solve(rows)
        for i in self._dynamos:
            self._lose_field(stage, rows, i)
        for i in self._alternators:
            self._excite(stage, rows, i)
        self._close_cut_outs(stage, rows)
        for i in self._dynamos:
            self._burn_contacts(stage, rows, i)
        self._open_cut_outs(stage, rows)
        for i in self._dynamos:
            self._lose_field(stage, rows, i)
            self._regulate(stage, rows, i)
            self._lose_field(stage, rows, i)
        drained = rows[(stage.solution.source_a[rows][:, self._batteries] > 0).all(axis=1)]
        self._charge_resistance(stage, drained, charging=False)
        stage.solve(drained)
        return rows

    def _charge_resistance(self, stage: Stage, rows: np.ndarray, *, charging: bool) -> None:
        for i in self._batteries:
            own = stage.given_s[rows, i]
            more = _ON_CHARGE * self.network.sources[i].ohm if charging else 0.0
            stage.variants.source_s[rows, i] = own / (1.0 + own * more)

    # ------------------------------------------------------------ dynamo

    def _field_a(self, stage: Stage, rows: np.ndarray, source: int) -> Floats:
        field = self._field(source)
        if field is None:
            return np.full(len(rows), np.inf)
        amps: Floats = np.abs(stage.solution.branch_a[rows, field])
        return amps

    def _full_field_a(self, source: int) -> float:
        field = self._field(source)
        return self._volts(source) / self.network.branches[field].ohm if field is not None else np.inf

    def _lose_field(self, stage: Stage, rows: np.ndarray, source: int) -> None:
        """Where the field is not fed, or the load is a short, only residual magnetism is left."""
        emf, whole = stage.variants.emf_v[rows, source], self._volts(source)
        weak = self._field_a(stage, rows, source) < _EXCITES * self._full_field_a(source)
        weak |= stage.solution.source_a[rows, source] * self.network.sources[source].ohm > _COLLAPSES * emf
        weak &= emf > _RESIDUAL * whole
        gone = rows[weak]
        stage.variants.emf_v[gone, source] = _RESIDUAL * whole
        for regulator in self._regulators:
            self._cut_out(stage, regulator, gone, np.zeros(len(gone), dtype=bool))
        stage.solve(gone)

    def _close_cut_outs(self, stage: Stage, rows: np.ndarray) -> None:
        """A cut-out closes by the volts on D+ against its case, which its screws earth."""
        for regulator in self._regulators:
            node = self._d_plus(regulator)
            least = CUT_IN * max((self._volts(i) for i in self._dynamos), default=np.inf)
            stage.solve(self._cut_out(stage, regulator, rows, np.abs(stage.solution.volts[rows, node]) >= least))

    def _open_cut_outs(self, stage: Stage, rows: np.ndarray) -> None:
        for regulator in self._regulators:
            back = stage.solution.branch_a[rows, regulator.cut_out] < -_BACK_A
            here = rows[back]
            stage.solve(self._cut_out(stage, regulator, here, np.zeros(len(here), dtype=bool)))

    def _d_plus(self, regulator: _Regulator) -> int:
        return self.network.branches[regulator.winding].a

    def _burn_contacts(self, stage: Stage, rows: np.ndarray, source: int) -> None:
        """Main and field wire changed over send the whole output through the contact of the field: it burns
        off, and with it goes the field."""
        for regulator in self._regulators:
            amps = np.abs(stage.solution.branch_a[rows, regulator.contact])
            burnt = rows[amps > _CONTACT_BEARS * self._full_field_a(source)]
            stage.variants.branch_s[burnt, regulator.contact] = 0.0
            stage.solve(burnt)

    def _regulate(self, stage: Stage, rows: np.ndarray, source: int) -> None:
        """Volts rise until the winding feels what it is set for, or to those of the full field where it feels
        nothing, or where the field is fed past the contact."""
        emf, whole = stage.variants.emf_v[rows, source], self._volts(source)
        field_a = self._field_a(stage, rows, source)
        factor = np.ones(len(rows))
        for regulator in self._regulators:
            winding = self.network.branches[regulator.winding]
            across = np.abs(stage.solution.branch_a[rows, regulator.winding]) * winding.ohm
            felt = across / np.maximum(np.abs(stage.solution.volts[rows, winding.a]), 1e-6)
            factor = np.where(felt < _FELT, np.minimum(_UNREGULATED, 1.0 / np.maximum(felt, 1e-3)), factor)
            high = stage.flagged(f"{regulator.name}:set-too-high")[rows]
            factor = np.where(high, np.maximum(factor, _SET_TOO_HIGH), factor)
            past = field_a - np.abs(stage.solution.branch_a[rows, regulator.contact]) > 0.5 * field_a
            factor = np.where(past, _UNREGULATED, factor)
        moved = (factor != 1.0) & (emf > _RESIDUAL * whole)
        stage.variants.emf_v[rows[moved], source] = whole * factor[moved]
        stage.solve(rows[moved])

    # ------------------------------------------------------------ alternator

    def _excite(self, stage: Stage, rows: np.ndarray, source: int) -> None:
        """It charges where the lamp, or whatever else feeds D+, gives its field enough to begin with, and the
        exciter diodes then take over. One whose lamp is gone is held not to begin: it may, at high revs."""
        fed = self._field_a(stage, rows, source) >= _LAMP_EXCITES * self._full_field_a(source)
        dead = stage.flagged(self._flag(source, "no-output")) | stage.flagged(self._flag(source, "exciter-open"))
        on = rows[fed & ~dead[rows]]
        lost = stage.flagged(self._flag(source, "diode-open")) | stage.flagged(self._flag(source, "diode-short"))
        high = stage.flagged(self._flag(source, "set-too-high"))
        factor = np.where(lost[on], _ONE_DIODE_V, np.where(high[on], _ALTERNATOR_HIGH, 1.0))
        stage.variants.emf_v[on, source] = self._volts(source) * factor
        ohm = self.network.sources[source].ohm
        stage.variants.source_s[on, source] = 1.0 / (ohm * np.where(lost[on], _ONE_DIODE_OHM, 1.0))
        stage.move(self._at[f"{self.network.sources[source].id}:lamp-diode"], np.ones(len(on), dtype=bool), on)
        stage.solve(on)
