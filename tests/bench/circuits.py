"""Our circuit solver against ngspice's own loop of operating points, on the same work in one run.

Processor time of one thread on either side, so that whatever else the machine does stays out of it.
Run: python -m tests.bench.circuits
"""

from __future__ import annotations

import argparse
import os
import platform
import resource
import tempfile
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np  # noqa: E402

from diag.circuit.arrange import stacked, variants_of  # noqa: E402
from diag.circuit.network import Change, Floats, Network  # noqa: E402
from diag.circuit.predict import Predictor  # noqa: E402
from diag.circuit.reach import Reach  # noqa: E402
from diag.circuit.solve import Solver  # noqa: E402
from diag.knowledge.load import load_knowledge  # noqa: E402
from diag.reason.operates import step_operates
from tests.circuit.spice import NGSPICE, Deck, Gathered, Row, run  # noqa: E402
from tests.vehicles import SIX  # noqa: E402

__all__ = ["main", "replicated"]

_REPEATS = 3
_POINTS_A_DECK = 400
_ROWS_AT_ONCE = 4096
_GROWTH = "1,2,4,8,16"
_GROWTH_POINTS, _GROWTH_OPERATES = 400, 9
_TIGHT, _DEFAULT = "reltol=1e-9 abstol=1e-12 vntol=1e-6 gmin=1e-18", "gmin=1e-18"


@dataclass(frozen=True)
class Work:
    """A network, and the points to solve: every change under every operate."""

    network: Network
    rest: Mapping[str, str]
    operates: Sequence[Mapping[str, str]]
    changes: Sequence[Change]

    @property
    def points(self) -> int:
        """How many operating points that makes."""
        return len(self.operates) * len(self.changes)


def ours_s(work: Work) -> tuple[float, float, Floats]:
    """Seconds from changes to all node voltages with nothing kept from before: the whole, and the share of it
    that lays out the arrays; and the volts (operates, changes, nodes).

    As the table of predictions does it: the sound vehicle under every operate, then the changes that its
    state can feel, side by side; the others have its volts.
    """
    start, laid = time.process_time(), 0.0
    solver, reach = Solver(work.network), Reach(work.network, work.changes)
    lamps = [(lamp.a, lamp.b) for lamp in work.network.filaments]
    sound = stacked([variants_of(work.network, work.rest, operate, [Change()], 1) for operate in work.operates])
    found = solver.solve(sound, inner=False)
    volts = np.repeat(found.volts[:, None, :], len(work.changes), axis=1)
    waiting: list[tuple[int, np.ndarray]] = []
    for i, operate in enumerate(work.operates):
        lamp_v = [np.array([found.volts[i, a] - found.volts[i, b] for a, b in lamps])]
        state = (found.volts[i], found.branch_a[i])
        rows = np.nonzero(reach.touched([state], lamp_v, unplugged="unplugged" in operate))[0]
        waiting.append((i, rows))
    while waiting:
        batch, count = [], 0
        while waiting and (not batch or count + len(waiting[-1][1]) <= _ROWS_AT_ONCE):
            batch.append(waiting.pop())
            count += len(batch[-1][1])
        before = time.process_time()
        most = 1 + max((len(change.extra) for change in work.changes), default=0)  # and a jumper
        parts = [
            variants_of(work.network, work.rest, work.operates[i], [work.changes[row] for row in rows], most)
            for i, rows in batch
        ]
        together = stacked(parts)
        laid += time.process_time() - before
        near = np.concatenate([np.repeat(found.volts[i][None, :], len(rows), axis=0) for i, rows in batch])
        solved = solver.solve(together, near=near, inner=False).volts
        first = 0
        for i, rows in batch:
            volts[i, rows] = solved[first : first + len(rows)]
            first += len(rows)
    return time.process_time() - start, laid, volts


def spice_s(work: Work, rows: Sequence[Row], options: str, writing: bool) -> float:
    """Seconds that ngspice takes from point to point (`alter`, `op`): a run of each deck, less a run that
    reads the same deck and stops before the first point."""
    order = sorted(rows, key=lambda row: row.shape)
    total = 0.0
    with tempfile.TemporaryDirectory() as name:
        for first in range(0, len(order), _POINTS_A_DECK):
            deck = Deck(work.network, order[first : first + _POINTS_A_DECK])
            text = deck.text("volts.txt" if writing else None).replace("set numdgt=13", "set numdgt=7")
            text = text.replace(_TIGHT, options)
            total += _child_s(text, Path(name)) - _child_s(text.replace(".control\n", ".control\nquit\n"), Path(name))
            (Path(name) / "volts.txt").unlink(missing_ok=True)
    return total


def _child_s(text: str, folder: Path) -> float:
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    run(text, folder)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def replicated(network: Network, copies: int) -> Network:
    """The vehicle several times over, joined at battery and body; indices of the first copy stay."""
    battery = next(source for source in network.sources if source.kind == "battery")
    shared = {0, battery.a, battery.b}
    nodes, sources = list(network.nodes), list(network.sources)
    branches, filaments, diodes = list(network.branches), list(network.filaments), list(network.diodes)
    relays, motors = list(network.relays), list(network.motors)
    for copy in range(1, copies):
        place = {}
        for i, node in enumerate(network.nodes):
            place[i] = i if i in shared else len(nodes)
            if i not in shared:
                nodes.append(f"{node}~{copy}")
        offset = copy * len(network.branches)

        def moved(element: object, place: Mapping[int, int] = place, copy: int = copy) -> object:
            return replace(element, id=f"{element.id}~{copy}", a=place[element.a], b=place[element.b])  # type: ignore

        branches += [moved(b) for b in network.branches]  # type: ignore[misc]
        filaments += [moved(f) for f in network.filaments]  # type: ignore[misc]
        diodes += [moved(d) for d in network.diodes]  # type: ignore[misc]
        sources += [moved(s) for s in network.sources if s is not battery]  # type: ignore[misc]
        relays += [
            replace(
                r, id=f"{r.id}~{copy}", coil=r.coil + offset, contacts=tuple((b + offset, on) for b, on in r.contacts)
            )
            for r in network.relays
        ]
        motors += [
            replace(
                m,
                id=f"{m.id}~{copy}",
                slow=m.slow + offset,
                fast=None if m.fast is None else m.fast + offset,
                park=None if m.park is None else (m.park[0] + offset, m.park[1] + offset),
            )
            for m in network.motors
        ]
    return Network(
        tuple(nodes), tuple(branches), tuple(filaments), tuple(sources), tuple(diodes), tuple(relays), tuple(motors)
    )


def _gathered(work: Work) -> list[Row]:
    """All points, equal ones as often as they occur."""
    gathered = Gathered(work.network)
    rows: list[Row] = []
    for operate in work.operates:
        places = gathered.add(variants_of(work.network, work.rest, operate, work.changes))
        rows += [gathered.rows[place] for place in places]
    return rows


def _peak_mb(who: int) -> float:
    return resource.getrusage(who).ru_maxrss / 1024


def _check(work: Work, volts: Floats) -> None:
    """What was not solved is what solving it gives: a bench that cuts corners measures nothing."""
    solver = Solver(work.network)
    for i in range(0, len(work.operates), 7):
        whole = solver.solve(variants_of(work.network, work.rest, work.operates[i], work.changes), inner=False)
        assert np.abs(whole.volts - volts[i]).max() < 1e-3


def _measured(work: Work) -> tuple[float, float]:
    """Median seconds of ours: the whole, and laying out arrays."""
    times = [ours_s(work)[:2] for _ in range(_REPEATS)]
    return float(np.median([whole for whole, _ in times])), float(np.median([laid for _, laid in times]))


def _main_table(work: Work) -> None:
    _, _, volts = ours_s(work)
    assert volts.shape[:2] == (len(work.operates), len(work.changes))
    _check(work, volts)
    ours, laid = _measured(work)
    peak = _peak_mb(resource.RUSAGE_SELF)
    each = 1e6 / work.points
    print(f"{work.points} points ({len(work.operates)} operates x {len(work.changes)} variants), {_size(work.network)}")
    print(f"ours, cold, all counted: {ours:.2f} s, {ours * each:.1f} us a point ({laid * each:.1f} of it arrays), "
          f"peak memory {peak:.0f} MB")  # fmt: skip
    rows = _gathered(work)
    for words, options in (("as accurate as ours", _TIGHT), ("at its own default accuracy (reltol 1e-3)", _DEFAULT)):
        silent, writing = (spice_s(work, rows, options, out) for out in (False, True))
        print(
            f"ngspice {words}: {silent * each:.0f} us a point, {silent / ours:.0f} x ours; writing the volts "
            f"{writing * each:.0f} us, {writing / ours:.0f} x ours"
        )
    print(f"ngspice's peak memory {_peak_mb(resource.RUSAGE_CHILDREN):.0f} MB")


def _size(network: Network) -> str:
    bent = len(network.filaments) + len(network.diodes)
    return f"{len(network.nodes)} nodes, {len(network.branches)} branches, {bent} filaments and diodes"


def _growth(work: Work, growth: Sequence[int]) -> None:
    print("growth, us a point:")
    every = max(1, len(work.operates) // _GROWTH_OPERATES)
    for copies in growth:
        larger = replace(work, network=replicated(work.network, copies), operates=work.operates[::every])
        ours, _ = _measured(larger)
        some = replace(larger, changes=work.changes[:: max(1, larger.points // _GROWTH_POINTS)])
        spice = spice_s(some, _gathered(some), _TIGHT, writing=False)
        print(
            f"  {copies} x: ours {ours * 1e6 / larger.points:.1f}, ngspice {spice * 1e6 / some.points:.0f} "
            f"({_size(larger.network)})"
        )


def main() -> None:
    """Print machine, date, both ratios, growth and memory."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--vehicle", type=Path, default=SIX, help="else the demo pickup with six circuits")
    parser.add_argument("--growth", default=_GROWTH, help="how many copies of the network side by side, by commas")
    given = parser.parse_args()
    print(
        f"{datetime.now(UTC):%Y-%m-%d}, {platform.machine()}, {os.cpu_count()} cores, Python "
        f"{platform.python_version()}, numpy {np.__version__}, one thread each"
    )
    if NGSPICE is None:
        print("no ngspice on this machine (on Debian: apt-get install ngspice); nothing to compare with")
        return
    knowledge = load_knowledge(given.vehicle)
    predictor = Predictor(knowledge, [])
    changes = [Change(), *(cause.change for cause in predictor.causes if cause.change is not None)]
    work = Work(predictor.network, predictor.rest, step_operates(knowledge), changes)
    _main_table(work)
    _growth(work, [int(copies) for copies in given.growth.split(",")])


if __name__ == "__main__":
    os.environ["DIAG_PACKS"] = "none"  # the shipped rules alone, whatever is installed here
    main()
