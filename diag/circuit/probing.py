"""What instruments show on one vehicle, healthy and with every cause: solved when first asked for, then kept.

Row 0 is the healthy vehicle, then one row a cause, as in `predict`. Knows nothing of questions or beliefs.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import fields

import numpy as np

from diag.circuit.behaviour import Shown
from diag.circuit.instruments import Ammeter, Hookup, Instrument, Voltmeter
from diag.circuit.kept import Key
from diag.circuit.network import BODY, Change, Floats
from diag.circuit.predict import HEALTHY, Predictor
from diag.circuit.readings import Indication, loading_v
from diag.knowledge.assemble import operate_key

__all__ = ["Points", "Probing"]

Points = tuple[Instrument, str, str]
"""An instrument with the points of its red and its black probe; an ammeter's are a fuse and ''."""
_FLOATS_OHM = 1e5
"""Beyond so many ohms a 10 Mohm meter's own current is more than 1 % of what it reads."""
_TELLS_V = 0.01
_SAME_V, _SAME_OHM, _SAME_SHARE = 5e-3, 5e-3, 0.01
"""What stands at a point within these is the same for any instrument."""
_HOOKUPS_KEPT, _BATCH = 40, 1024


class Probing:
    """Exact readings for one vehicle, cached by operate, instrument and points."""

    def __init__(self, predictor: Predictor) -> None:
        self.predictor = predictor
        self._hookups: dict[Points, Hookup] = {}
        self._rows: dict[tuple[Key, Points], Indication] = {}
        self._sets: dict[tuple[Key, Points, frozenset[int]], Indication] = {}
        self._volts: dict[tuple[Key, str, str], tuple[Indication, Floats]] = {}

    def read(self, operate: Mapping[str, str], instrument: Instrument, red: str, black: str) -> Indication:
        """What the instrument shows, (1 + causes,) rows. An ammeter stands in place of the fuse `red`.

        Raises KeyError for an unknown point or fuse.
        """
        points = (instrument, red, black)
        key = (operate_key(operate), points)
        if key not in self._rows:
            changes = [self.predictor.lasting(row) for row in range(1 + len(self.predictor.causes))]
            stirs = self._stirs(self.predictor.shown(operate), points)
            self._rows[key] = self._solved(operate, points, changes, stirs)
        return self._rows[key]

    def read_sets(
        self, operate: Mapping[str, str], instrument: Instrument, red: str, black: str, sets: Sequence[frozenset[int]]
    ) -> Indication:
        """The same for sets of causes (indices from 0) present together: row 0 healthy, then one a set."""
        points, key = (instrument, red, black), operate_key(operate)
        missing = [s for s in dict.fromkeys(sets) if (key, points, s) not in self._sets]
        if missing:
            changes = [Change(), *map(self.predictor.change_of, missing)]
            found = self._solved(operate, points, changes, np.ones(len(changes), dtype=bool))
            for i, members in enumerate(missing, start=1):
                self._sets[key, points, members] = found.rows([i])
        healthy = self.read(operate, instrument, red, black).rows([0])
        return _stacked([healthy, *(self._sets[key, points, s] for s in sets)])

    def volts(
        self, operate: Mapping[str, str], red: str, black: str, sets: Sequence[frozenset[int]] | None = None
    ) -> tuple[Indication, Floats]:
        """Volts red minus black, and the volts that hang on how far a meter loads its points: rows as in `read`,
        or as in `read_sets` where `sets` are given. Solved with the meter in place only where that tells."""
        key = (operate_key(operate), red, black)
        if sets is None:
            if key not in self._volts:
                changes = [self.predictor.lasting(row) for row in range(1 + len(self.predictor.causes))]
                self._volts[key] = self._metered(operate, red, black, self.predictor.shown(operate), changes)
            return self._volts[key]
        healthy = self.predictor.shown(operate).rows([HEALTHY])
        shown = Shown.stacked([healthy, self.predictor.shown_sets(operate, sets)]) if sets else healthy
        return self._metered(operate, red, black, shown, [Change(), *map(self.predictor.change_of, sets)])

    def _metered(
        self, operate: Mapping[str, str], red: str, black: str, shown: Shown, changes: Sequence[Change]
    ) -> tuple[Indication, Floats]:
        net = self.predictor.network
        a, b = net.node(red), net.node(black)
        on, off = shown.volts[:, a] - shown.volts[:, b], shown.off_volts[:, a] - shown.off_volts[:, b]
        unsure = loading_v(shown, net, red, black)
        floats = np.maximum(shown.inner_ohm[:, a], shown.inner_ohm[:, b]) > _FLOATS_OHM
        rows = np.nonzero(floats & (np.maximum(np.abs(on), np.abs(off)) > _TELLS_V))[0]
        if len(rows) and BODY not in (red, black):  # towards body the model has the meter in it already
            found = self._hookup((Voltmeter(), red, black)).read(operate, [changes[i] for i in rows.tolist()])
            unsure[rows] = np.abs(on[rows] - found.number)
            on[rows], off[rows] = found.number, found.off
        return Indication(on, off, shown.flasher), unsure

    def _stirs(self, shown: Shown, points: Points) -> np.ndarray:
        """(R,) False where what stands at the points without the instrument is as on the sound vehicle: the same
        volts behind the same resistance drive the same through it (Thevenin)."""
        instrument, red, black = points
        if isinstance(instrument, Ammeter):
            return np.ones(len(shown.volts), dtype=bool)
        ends = [self.predictor.network.node(red), self.predictor.network.node(black)]
        out: np.ndarray = np.abs(shown.flasher - shown.flasher[0]).max(axis=1) > _SAME_SHARE
        for volts in (shown.volts[:, ends], shown.off_volts[:, ends]):
            out |= (np.abs(volts - volts[0]) > _SAME_V).any(axis=1)
        ohm = shown.inner_ohm[:, ends]
        out |= (np.abs(ohm - ohm[0]) > _SAME_OHM + _SAME_SHARE * ohm[0]).any(axis=1)
        if BODY not in (red, black):  # two floating points hide from body what lies between them
            out |= (ohm > _FLOATS_OHM).any(axis=1)
        return out

    def _solved(
        self, operate: Mapping[str, str], points: Points, changes: Sequence[Change], stirs: np.ndarray
    ) -> Indication:
        """One row a change; those that cannot touch what the instrument sees are as the first, the healthy one."""
        place, waiting = {id(changes[0]): 0}, [changes[0]]
        for change, stir in zip(changes, stirs, strict=True):
            if id(change) not in place:
                place[id(change)] = len(waiting) if stir else 0
                waiting += [change] if stir else []
        hookup = self._hookup(points)
        parts = [hookup.read(operate, waiting[start : start + _BATCH]) for start in range(0, len(waiting), _BATCH)]
        return _stacked(parts).rows([place[id(change)] for change in changes])

    def _hookup(self, points: Points) -> Hookup:
        if points not in self._hookups:
            if len(self._hookups) >= _HOOKUPS_KEPT:
                self._hookups.pop(next(iter(self._hookups)))
            instrument, red, black = points
            bench = self.predictor.bench
            if isinstance(instrument, Ammeter):
                self._hookups[points] = Hookup.ammeter(bench, red, instrument)
            else:
                self._hookups[points] = Hookup(bench, instrument, red, black)
        return self._hookups[points]


def _stacked(parts: Sequence[Indication]) -> Indication:
    return Indication(*(np.concatenate([getattr(part, f.name) for part in parts]) for f in fields(Indication)))
