"""Motors: how fast they turn, and the self-park of a wiper as a sequence of two solutions.

A wiper that stands switched off is always read as one that was run and then switched off: it has to
find its rest by its park switch. Knows nothing of words' misjudging. Thresholds are `common practice,
no source`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from diag.circuit.network import Change, Floats, Motor, Network
from diag.circuit.solve import Solution
from diag.circuit.stage import Stage

__all__ = ["MOTORS", "Parking", "Turned"]

MOTORS = ("still", "slow", "runs", "does-not-park")
"""All that a motor may show, in the order of its columns."""
_STILL, _SLOW, _WIDTH = 0.25, 0.75, 0.04
"""Speeds, as shares of what is usual, below which a motor stands or is called slow, and how far people differ."""
_FAST = 1.4
"""Speed by the second brush against the first."""
_BRAKED = 0.3
"""A motor that is parted from its feed stops at once where its terminal is earthed by less than this share of
its own resistance; else it runs on past its rest, as often as `_RUNS_ON`, and starts again."""
_RUNS_ON = 0.6
_QUIET = 1e-11

Operate = Mapping[str, str]
Make = Callable[[Sequence[Operate], Sequence[Change]], Stage]


@dataclass(frozen=True)
class Turned:
    """motor (R, M, 4): chance of each of MOTORS. home (R, M): park switch at rest. could_run (R, M): the motor
    turned before it was switched off, or was not switched off."""

    motor: Floats
    home: np.ndarray
    could_run: np.ndarray


def _above(found: Floats, limit: float) -> Floats:
    step: Floats = 0.5 * (1 + np.tanh((found - limit) / (2 * _WIDTH)))
    return step


def _words(speed: Floats) -> Floats:
    """(R, 3) chance of still, slow and runs."""
    moves, full = _above(speed, _STILL), _above(speed, _SLOW)
    out: Floats = np.stack([1 - moves, moves - full, full], axis=1)
    return out


class Parking:
    """The motors of one network.

    `rest`: each control's rest position. `make`: a stage of rows, each with its operate, with park switches at
    rest and all else settled. `calm`: settles rows of a stage again after contacts were moved in it.
    """

    def __init__(self, network: Network, rest: Operate, make: Make, calm: Callable[[Stage, np.ndarray], None]) -> None:
        self.network, self.rest, self._make, self._calm = network, dict(rest), make, calm
        self._parked = [m for m, motor in enumerate(network.motors) if motor.park is not None]
        self._usual: dict[tuple[int, tuple[tuple[str, str], ...]], tuple[float, float]] = {}
        self._on: dict[tuple[int, tuple[tuple[str, str], ...]], dict[str, str] | None] = {}
        self._runs: dict[int, tuple[str, str]] = {}
        self._positions = sorted(
            {
                (branch.closed_when[0], position)
                for branch in network.branches
                if branch.closed_when is not None
                for position in branch.closed_when[1]
            }
        )

    def start(self, stage: Stage, rows: np.ndarray) -> None:
        """Park switches at rest, but those that do not move over from where they feed the motor."""
        self._place(stage, self._parked, rows, home=True)

    def _place(self, stage: Stage, motors: Sequence[int], rows: np.ndarray, *, home: bool) -> None:
        for m in motors:
            motor = self.network.motors[m]
            if motor.park is not None:
                run = stage.flagged(f"{motor.id}:park-stuck")[rows] | (not home)
                stage.move(motor.park[0], run, rows)
                stage.move(motor.park[1], ~run, rows)

    # ------------------------------------------------------------ speed

    def speed(self, stage: Stage, m: int) -> Floats:
        """(R,) share of the speed that its slow side has at the rated volts."""
        motor = self.network.motors[m]
        found = self._share(stage, motor.slow, motor)
        if motor.fast is not None:
            found = np.maximum(found, _FAST * self._share(stage, motor.fast, motor))
        turning: Floats = np.where(stage.flagged(f"{motor.id}:seized"), 0.0, found)
        return turning

    def _share(self, stage: Stage, branch: int, motor: Motor) -> Floats:
        volts: Floats = np.abs(stage.solution.branch_a[:, branch]) * self.network.branches[branch].ohm
        share: Floats = volts / motor.volts
        return share

    # ------------------------------------------------------------ the sequence

    def settle(self, stage: Stage, watched: np.ndarray | None = None) -> Turned:
        """Moves the park switches of a stage to where they come to stand, and says what the motors do.

        `watched` (R,): where somebody looks at a wiper; elsewhere its park switch stays at rest.
        """
        count, motors = len(stage), self.network.motors
        out = np.zeros((count, len(motors), len(MOTORS)))
        home, could = np.ones((count, len(motors)), dtype=bool), np.ones((count, len(motors)), dtype=bool)
        for m, motor in enumerate(motors):
            if motor.park is not None:
                out[:, m], home[:, m], could[:, m] = self._park(stage, m, watched)
        for m, motor in enumerate(motors):
            if motor.park is None:
                usual = self._usually(stage, m)[0]
                out[:, m, :3] = _words(self.speed(stage, m) / np.where(usual > _STILL, usual, 1.0))
        return Turned(out, home, could)

    def _park(self, stage: Stage, m: int, watched: np.ndarray | None) -> tuple[Floats, np.ndarray, np.ndarray]:
        motor = self.network.motors[m]
        at_home = self.speed(stage, m)
        watched = np.ones(len(stage), dtype=bool) if watched is None else watched
        away_rows = np.nonzero(self._feels(stage, motor) & watched)[0]
        away = stage.part(away_rows)
        everywhere = np.arange(len(away))
        self._place(away, [m], everywhere, home=False)
        away.solve(everywhere)
        self._calm(away, everywhere)
        off_home = at_home.copy()
        off_home[away_rows] = self.speed(away, m)
        usual_home, usual_away = self._usually(stage, m)
        parks = watched & (usual_away > _STILL) & (usual_home <= _STILL)  # so it was run, and is now switched off
        stops = off_home <= _STILL
        could = np.ones(len(stage), dtype=bool)
        stranded = np.nonzero(parks & stops)[0]
        could[stranded] = self._could_run(stage, m, stranded)
        rests = at_home <= _STILL
        home = np.where(parks & could & stops, False, rests)
        out = self._said(stage, m, (at_home, off_home), (usual_home, usual_away), parks, could)
        leaves = ~home[away_rows]
        stage.take(away_rows[leaves], away.part(np.nonzero(leaves)[0]))
        return out, home, could

    def on_its_way(self, stage: Stage) -> Solution:
        """The stage's solution with every park switch away from rest; the stage itself has moved there."""
        rows = np.arange(len(stage))
        self._place(stage, self._parked, rows, home=False)
        stage.solve(rows)
        self._calm(stage, rows)
        return stage.solution

    def _feels(self, stage: Stage, motor: Motor) -> np.ndarray:
        """(R,) where moving the park switch changes anything."""
        assert motor.park is not None
        run, rest = motor.park
        ends, volts, at = stage.variants.ends, stage.solution.volts, np.arange(len(stage))
        across = np.abs(volts[at, ends[:, run, 0]] - volts[at, ends[:, run, 1]])
        moves = (across > _QUIET) | (np.abs(stage.solution.branch_a[:, rest]) > _QUIET)
        felt: np.ndarray = moves & ~stage.flagged(f"{motor.id}:park-stuck")
        return felt

    def _said(
        self,
        stage: Stage,
        m: int,
        speeds: tuple[Floats, Floats],
        usual: tuple[Floats, Floats],
        parks: np.ndarray,
        could: np.ndarray,
    ) -> Floats:
        """(R, 4). A wiper that is on shows the slower of its two places; one that was switched off what it
        comes to."""
        at_home, off_home = speeds
        slower = np.minimum(usual[0], usual[1])
        expected = np.where(parks, usual[1], np.where(slower > _STILL, slower, 1.0))
        out = np.zeros((len(at_home), len(MOTORS)))
        out[:, :3] = _words(np.minimum(at_home, off_home) / expected)
        home, away = _words(at_home / expected), _words(off_home / expected)
        slow = self.network.motors[m].slow
        node = stage.variants.ends[:, slow, 0]
        earthed = stage.solution.inner_ohm[np.arange(len(stage)), node]
        on = np.where(earthed < _BRAKED * self.network.branches[slow].ohm, 0.0, _RUNS_ON) * home[:, 0]
        gets_there = 1 - away[:, 0]
        moving = np.maximum(away[:, 1:].sum(axis=1), 1e-9)
        found = np.zeros_like(out)
        found[:, 0] = gets_there * (home[:, 0] - on) + away[:, 0] * ~could
        found[:, 1:3] = gets_there[:, None] * (home[:, 1:] + on[:, None] * away[:, 1:] / moving[:, None])
        found[:, 3] = away[:, 0] * could
        out[parks] = found[parks]
        return out

    # ------------------------------------------------------------ what the sound vehicle does

    def _usually(self, stage: Stage, m: int) -> tuple[Floats, Floats]:
        """(R,), (R,) speed of the sound motor with its park switch at rest and away, each row under its operate."""
        keys = [(m, tuple(sorted(operate.items()))) for operate in stage.operates]
        lacking = dict(zip(keys, stage.operates, strict=True))
        new = [(key, operate) for key, operate in lacking.items() if key not in self._usual]
        if new:
            sound = self._make([operate for _, operate in new], [Change()] * len(new))
            rows = np.arange(len(new))
            at_home = self.speed(sound, m)
            if self.network.motors[m].park is not None:
                self._place(sound, [m], rows, home=False)
                sound.solve(rows)
                self._calm(sound, rows)
            for (key, _), home, away in zip(new, at_home.tolist(), self.speed(sound, m).tolist(), strict=True):
                self._usual[key] = home, away
        found = np.array([self._usual[key] for key in keys]).reshape(-1, 2)
        return found[:, 0], found[:, 1]

    def _could_run(self, stage: Stage, m: int, rows: np.ndarray) -> np.ndarray:
        """Whether the motor of those rows turns at all when it is switched on."""
        switched = [(i, self._switched_on(stage.operates[row], m)) for i, row in enumerate(rows.tolist())]
        tried = [(i, on) for i, on in switched if on is not None]
        out = np.ones(len(rows), dtype=bool)
        if tried:
            changes = [self._as_is(stage, int(rows[i])) for i, _ in tried]
            speeds = self.speed(self._make([on for _, on in tried], changes), m)
            out[[i for i, _ in tried]] = speeds > _STILL
        return out

    @staticmethod
    def _as_is(stage: Stage, row: int) -> Change:
        """The row's fault, with what blew while it was operated."""
        return stage.changes[row].merged(Change(added_ohm=dict.fromkeys(sorted(stage.blown[row]), np.inf)))

    def _switched_on(self, operate: Operate, m: int) -> dict[str, str] | None:
        """The operate with one control moved so that the sound motor runs from its rest; None where none does."""
        key = m, tuple(sorted(operate.items()))
        if key not in self._on:
            known = [self._runs[m]] if m in self._runs else []
            self._on[key] = self._found(operate, m, known) or self._found(operate, m, self._positions)
        return self._on[key]

    def _found(self, operate: Operate, m: int, positions: Sequence[tuple[str, str]]) -> dict[str, str] | None:
        now = {**self.rest, **operate}
        moves = [(control, position) for control, position in positions if now.get(control) != position]
        if not moves:
            return None
        tries = [{**operate, control: position} for control, position in moves]
        runs = self.speed(self._make(tries, [Change()] * len(tries)), m) > _STILL
        if not runs.any():
            return None
        first = int(runs.argmax())
        self._runs[m] = moves[first]
        return tries[first]
