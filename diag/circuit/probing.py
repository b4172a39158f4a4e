"""What instruments show on one vehicle, healthy and with every cause: solved when first asked for, then kept.

Row 0 is the healthy vehicle, then one row a cause, as in `predict`; where sets of causes are given,
one row a set instead. Knows nothing of questions or beliefs.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np

from diag.circuit.behaviour import Shown
from diag.circuit.instruments import Ammeter, Hookup, Instrument, Voltmeter
from diag.circuit.kept import Key
from diag.circuit.network import BODY, Change, Floats
from diag.circuit.predict import HEALTHY, Predictor
from diag.circuit.readings import Indication, loading_v
from diag.knowledge.assemble import operate_key

__all__ = ["Probing", "Sets"]

Sets = Sequence[frozenset[int]]
"""Causes (indices from 0) present together."""
_FLOATS_OHM = 1e5
"""Beyond so many ohms a 10 Mohm meter's own current is more than 1 % of what it reads."""
_TELLS_V = 0.01
_SAME_V, _SAME_OHM, _SAME_SHARE = 5e-3, 5e-3, 0.01
"""What stands at a point within these is the same for any instrument."""
_HOOKUPS_KEPT, _BATCH = 40, 1024
_Points = tuple[Instrument, str, str]
_Name = tuple[str, Key, _Points]
_Arrays = tuple[Floats, ...]
_Solve = Callable[[Sequence[Change], Callable[[], Shown], bool], _Arrays]
"""From changes, what stands everywhere without an instrument, and whether these are all rows of the vehicle."""


class Probing:
    """Readings of one vehicle, cached by operate, instrument and points."""

    def __init__(self, predictor: Predictor) -> None:
        self.predictor = predictor
        self._hookups: dict[_Points, Hookup] = {}
        self._all: dict[_Name, _Arrays] = {}
        self._sets: dict[tuple[_Name, frozenset[int]], _Arrays] = {}

    def forget_sets(self) -> None:
        """As `Predictor.forget_sets`, with what instruments show on them."""
        self._sets.clear()
        self.predictor.forget_sets()

    def shown(self, operate: Mapping[str, str], sets: Sets | None = None, rows: np.ndarray | None = None) -> Shown:
        """What stands everywhere without any instrument: row 0 healthy, then a row a cause or a set; or those
        `rows` of the causes' alone."""
        if rows is not None:
            return self.predictor.shown_rows(operate, rows)
        whole = self.predictor.shown(operate)
        if sets is None:
            return whole
        healthy = whole.rows([HEALTHY])
        return Shown.stacked([healthy, self.predictor.shown_sets(operate, sets)]) if sets else healthy

    def read(
        self,
        operate: Mapping[str, str],
        instrument: Instrument,
        red: str,
        black: str,
        sets: Sets | None = None,
        only: np.ndarray | None = None,
    ) -> Indication:
        """What the instrument shows, solved as part of the network in every row that it could differ in.

        `only` (rows,): where somebody knows better, the rows that differ from the sound one. An ammeter stands
        in place of the fuse `red`. Raises KeyError for an unknown point or fuse.
        """
        points = (instrument, red, black)

        def solve(changes: Sequence[Change], shown: Callable[[], Shown], whole: bool) -> _Arrays:
            stirs = np.ones(len(changes), dtype=bool)
            if whole:
                stirs = only if only is not None else self._stirs(shown(), points)
            found = self._solved(operate, points, changes, stirs)
            return found.number, found.off, found.flasher

        return Indication(*self._kept("read", points, operate, sets, solve))

    def volts(
        self, operate: Mapping[str, str], red: str, black: str, sets: Sets | None = None
    ) -> tuple[Indication, Floats]:
        """Volts red minus black, and the volts that hang on how far a meter loads its points.

        Solved with the meter in place only where it loads them: what floats between two points other
        than body. Raises KeyError for an unknown point.
        """
        points = (Voltmeter(), red, black)
        net = self.predictor.network
        a, b = net.node(red), net.node(black)

        def solve(changes: Sequence[Change], shown: Callable[[], Shown], whole: bool) -> _Arrays:
            seen = shown()
            on, off = seen.volts[:, a] - seen.volts[:, b], seen.off_volts[:, a] - seen.off_volts[:, b]
            unsure = loading_v(seen, net, red, black)
            floats = np.maximum(seen.inner_ohm[:, a], seen.inner_ohm[:, b]) > _FLOATS_OHM
            rows = np.nonzero(floats & (np.maximum(np.abs(on), np.abs(off)) > _TELLS_V))[0]
            if len(rows) and BODY not in (red, black):  # towards body the model has the meter in it already
                found = self._hookup(points).read(operate, [changes[i] for i in rows.tolist()])
                unsure[rows] = np.abs(on[rows] - found.number)
                on[rows], off[rows] = found.number, found.off
            return on, off, seen.flasher, unsure

        *seen, unsure = self._kept("volts", points, operate, sets, solve)
        return Indication(*seen), unsure

    def amps(self, operate: Mapping[str, str], through: str, sets: Sets | None = None) -> Floats:
        """Amps through a fuse, wire or branch, from its first end to its second.

        A meter in place of a blown fuse carries what the fuse would, and its own fuse may go: solved.
        Raises KeyError for an unknown one.
        """
        branch = self.predictor.network.branch(through)
        points = (Ammeter(), through, "")

        def solve(changes: Sequence[Change], shown: Callable[[], Shown], whole: bool) -> _Arrays:
            amps = shown().branch_a[:, branch].copy()
            rows = [i for i, change in enumerate(changes) if np.isinf(change.added_ohm.get(branch, 0.0))]
            if rows and self.predictor.network.branches[branch].role == "fuse":
                amps[rows] = self._hookup(points).read(operate, [changes[i] for i in rows]).number
            return (amps,)

        return self._kept("amps", points, operate, sets, solve)[0]

    # ------------------------------------------------------------ solving and keeping

    def _kept(
        self, what: str, points: _Points, operate: Mapping[str, str], sets: Sets | None, solve: _Solve
    ) -> _Arrays:
        key = (what, operate_key(operate), points)
        if key not in self._all:
            changes = [self.predictor.lasting(row, operate) for row in range(1 + len(self.predictor.causes))]
            self._all[key] = solve(changes, lambda: self.shown(operate), True)
        whole = self._all[key]
        if sets is None:
            return whole
        missing = [s for s in dict.fromkeys(sets) if (key, s) not in self._sets]
        if missing:
            changes = [Change(), *(self.predictor.change_of(members, operate) for members in missing)]
            found = solve(changes, lambda: self.shown(operate, missing), False)
            for i, members in enumerate(missing, start=1):
                self._sets[key, members] = tuple(column[i : i + 1] for column in found)
        rows = [tuple(column[:1] for column in whole), *(self._sets[key, s] for s in sets)]
        return tuple(np.concatenate(columns) for columns in zip(*rows, strict=True))

    def _stirs(self, shown: Shown, points: _Points) -> np.ndarray:
        """(R,) False where what stands at a point without the instrument is as on the sound vehicle: the same volts
        behind the same resistance drive the same through it to body (Thevenin).

        Between two other points all may differ: the table leaves out what carries nothing until a lamp
        between them sends something through it.
        """
        instrument, red, black = points
        if isinstance(instrument, Ammeter) or BODY not in (red, black):
            return np.ones(len(shown.volts), dtype=bool)
        point = self.predictor.network.node(red if black == BODY else black)
        out: np.ndarray = np.abs(shown.flasher - shown.flasher[0]).max(axis=1) > _SAME_SHARE
        for volts in (shown.volts[:, point], shown.off_volts[:, point]):
            out |= np.abs(volts - volts[0]) > _SAME_V
        ohm = shown.inner_ohm[:, point]
        out |= np.abs(ohm - ohm[0]) > _SAME_OHM + _SAME_SHARE * ohm[0]
        return out

    def _solved(
        self, operate: Mapping[str, str], points: _Points, changes: Sequence[Change], stirs: np.ndarray
    ) -> Indication:
        """One row a change; those that do not stir are as the first, the healthy one."""
        place, waiting = {id(changes[0]): 0}, [changes[0]]
        for change, stir in zip(changes, stirs, strict=True):
            if id(change) not in place:
                place[id(change)] = len(waiting) if stir else 0
                waiting += [change] if stir else []
        hookup = self._hookup(points)
        parts = [hookup.read(operate, waiting[start : start + _BATCH]) for start in range(0, len(waiting), _BATCH)]
        return Indication.stacked(parts).rows([place[id(change)] for change in changes])

    def _hookup(self, points: _Points) -> Hookup:
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
