"""An independent circuit simulator for the tests: ngspice, run on many operating points at a time.

Gathers rows of `Variants`, leaves out rows that are equal to the last bit, and has ngspice solve the
rest. Decks are what `diag.circuit.netlist` writes, with `alter` between points: an element that a point
does not have gets 1e18 ohm or no current there. Holds no expectations.
"""

from __future__ import annotations

import shutil
import subprocess
import tempfile
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest

from diag.circuit.netlist import About, Netlist, write_netlist
from diag.circuit.network import Floats, Network
from diag.circuit.solve import Variants

__all__ = ["ABOUT", "NGSPICE", "Deck", "Gathered", "Row", "needs_ngspice", "run", "spice_volts"]

NGSPICE = shutil.which("ngspice")
needs_ngspice = pytest.mark.skipif(
    NGSPICE is None, reason="no ngspice on this machine (on Debian: apt-get install ngspice); nothing was compared"
)
ABOUT = About("a test's network", "any", {}, "closed")
_ABSENT_S = 1e-18
"""An element that some points of a deck do not have: a hundred-thousand-millionth of the leak beside it."""
_POINTS_A_DECK = 400

_PROCESSES = 2


def run(deck: str, folder: Path, name: str = "deck.cir") -> subprocess.CompletedProcess[str]:
    """One run of ngspice in batch mode. Raises RuntimeError where it complains."""
    assert NGSPICE is not None
    (folder / name).write_text(deck, encoding="ascii")
    done = subprocess.run([NGSPICE, "-b", name], cwd=folder, capture_output=True, text=True, check=False)
    said = done.stdout + done.stderr
    bad = [line for line in said.splitlines() if "rror" in line or "failed" in line or "singular" in line]
    if bad:
        raise RuntimeError(f"ngspice: {bad[0]}")
    return done


@dataclass(frozen=True)
class Row:
    """One point, in a form that is equal for equal circuits.

    `links`: siemens between pairs of nodes that a fault adds, moved wires among them. `laws`: what stands
    in the place of each filament and diode, (index, filament count onwards for diodes; 0 as built, 1 an LED,
    -1 an LED or diode reversed) to a factor on its current.
    """

    branch_s: Floats
    links: dict[tuple[int, int], float]
    laws: dict[tuple[int, int], float]
    emf_v: Floats
    source_s: Floats

    @property
    def key(self) -> bytes:
        """Equal for points that are one."""
        loose = repr((sorted(self.links.items()), sorted(self.laws.items()))).encode()
        return b"|".join([self.branch_s.tobytes(), self.emf_v.tobytes(), self.source_s.tobytes(), loose])

    @property
    def shape(self) -> tuple[object, ...]:
        """Sorts points that need the same elements next to each other."""
        return (sorted(pair for pair in self.links if 0 not in pair), sorted(self.laws), sorted(self.links))


class Gathered:
    """The different rows among many `Variants` of one network."""

    def __init__(self, network: Network) -> None:
        self.network = network
        self.rows: list[Row] = []
        self._place: dict[bytes, int] = {}
        self._ends = np.array([[branch.a, branch.b] for branch in network.branches])

    def add(self, variants: Variants) -> np.ndarray:
        """Index, among the different rows, of each of these."""
        return np.array([self._add(row) for row in self._rows(variants)], dtype=int)

    def _add(self, row: Row) -> int:
        place = self._place.setdefault(row.key, len(self.rows))
        if place == len(self.rows):
            self.rows.append(row)
        return place

    def __len__(self) -> int:
        return len(self.rows)

    def _rows(self, variants: Variants) -> Iterator[Row]:
        for i in range(len(variants.branch_s)):
            branch_s = variants.branch_s[i].copy()
            moved = np.nonzero((variants.ends[i] != self._ends).any(axis=1))[0]
            added = [(*map(int, variants.ends[i, wire]), float(branch_s[wire])) for wire in moved]
            added += [
                (int(a), int(b), float(s)) for (a, b), s in zip(variants.extra[i], variants.extra_s[i], strict=True)
            ]
            branch_s[moved] = 0.0
            links: dict[tuple[int, int], float] = {}
            for a, b, siemens in added:
                if siemens and a != b:
                    pair = (min(a, b), max(a, b))
                    links[pair] = links.get(pair, 0.0) + siemens
            yield Row(branch_s, links, _laws(variants, i), variants.emf_v[i].copy(), variants.source_s[i].copy())


def _laws(variants: Variants, row: int) -> dict[tuple[int, int], float]:
    """What stands in the place of filaments and diodes, where it is not what was built in."""
    lamps = variants.scale.shape[1]
    found: dict[tuple[int, int], float] = {}
    for i in np.nonzero((variants.scale[row] != 1.0) | (variants.led[row] != 0.0))[0]:
        found[int(i), int(variants.led[row, i])] = float(variants.scale[row, i])
    for i in np.nonzero(variants.valve[row] != 1.0)[0]:
        way = int(variants.valve[row, i])
        found[lamps + int(i), way] = float(abs(way))
    return found


def spice_volts(gathered: Gathered) -> Floats:
    """(rows, nodes) volts of every gathered row by ngspice; body is 0.

    Raises RuntimeError where ngspice does not find an operating point.
    """
    network, rows = gathered.network, gathered.rows
    order = sorted(range(len(rows)), key=lambda i: rows[i].shape)
    jobs = [order[first : first + _POINTS_A_DECK] for first in range(0, len(order), _POINTS_A_DECK)]
    volts = np.zeros((len(rows), len(network.nodes)))
    with ThreadPoolExecutor(_PROCESSES) as pool:
        for job, found in zip(jobs, pool.map(lambda job: _solved(network, [rows[i] for i in job]), jobs), strict=True):
            volts[job] = found
    return volts


def _solved(network: Network, rows: Sequence[Row]) -> Floats:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        deck = Deck(network, rows)
        run(deck.text("volts.txt"), folder)
        names, *lines = (folder / "volts.txt").read_text(encoding="ascii").splitlines()
    table = np.array([line.split() for line in lines], dtype=float)
    if len(table) != len(rows):
        raise RuntimeError(f"ngspice found {len(table)} of {len(rows)} operating points")
    # the first column repeats another as a scale without meaning here; all bear their nodes' names
    column = {node: i for i, node in enumerate(names.split())}
    volts = np.zeros((len(rows), len(network.nodes)))
    volts[:, 1:] = table[:, [column[node] for node in deck.netlist.nodes[1:]]]
    return volts


class Deck:
    """A netlist that has every element which any of its points has, and the way from point to point."""

    def __init__(self, network: Network, rows: Sequence[Row]) -> None:
        self.rows = rows
        self.pairs = sorted({pair for row in rows for pair in row.links})
        lamps, diodes = network.filaments, network.diodes
        others = sorted({law for row in rows for law in row.laws})
        self.places = [(i, 0) for i in range(len(lamps))]
        self.places += [(i, way) for i, way in others if i < len(lamps) and way]
        self.valves = [(len(lamps) + i, 1) for i in range(len(diodes))]
        self.valves += [(i, way) for i, way in others if i >= len(lamps) and way < 0]
        every = replace(
            network,
            filaments=tuple(lamps[i] for i, _ in self.places),
            diodes=tuple(diodes[i - len(lamps)] for i, _ in self.valves),
        )
        base = Variants(
            branch_s=np.max([row.branch_s for row in rows], axis=0)[None],
            ends=np.array([[[branch.a, branch.b] for branch in network.branches]]),
            extra=np.array(self.pairs, dtype=int).reshape(1, len(self.pairs), 2),
            extra_s=np.ones((1, len(self.pairs))),
            scale=np.ones((1, len(self.places))),
            led=np.array([[float(way) for _, way in self.places]]),
            valve=np.array([[float(way) for _, way in self.valves]]),
            emf_v=rows[0].emf_v[None],
            source_s=np.max([row.source_s for row in rows], axis=0)[None],
        )
        self._built = {(i, 0) for i in range(len(lamps))} | {(len(lamps) + i, 1) for i in range(len(diodes))}
        self.netlist: Netlist = write_netlist(every, base, ABOUT)

    def text(self, out: str | None) -> str:
        """All points one after another; volts go to the file `out` (None: nowhere)."""
        lines = ["set wr_singlescale", "set wr_vecnames", "set numdgt=13", "set appendwrite"]
        now: dict[str, float] = {}
        for i, row in enumerate(self.rows):
            wanted = self._values(row)
            lines += [f"alter {name} = {value:.13g}" for name, value in wanted.items() if now.get(name) != value]
            now = wanted
            lines.append("op")
            if out is not None:
                lines.append(f"wrdata {out} all")
                if not i:
                    lines.append("unset wr_vecnames")
            lines.append("destroy all")  # results pile up otherwise, and every one makes the next slower
        body = self.netlist.text.removesuffix(".op\n.end\n")
        return "\n".join([body + ".control", *lines, ".endc", ".end", ""])

    def _values(self, row: Row) -> dict[str, float]:
        """Ohm, volts or factor of every element that may differ between points."""
        net = self.netlist
        found = {name: float(s) for name, s in zip(net.branches, row.branch_s, strict=True) if name}
        found |= {name: row.links.get(pair, 0.0) for name, pair in zip(net.extras, self.pairs, strict=True) if name}
        found |= {inner: float(s) for (_, inner), s in zip(net.sources, row.source_s, strict=True) if inner}
        ohms = {name: 1.0 / max(siemens, _ABSENT_S) for name, siemens in found.items()}
        emfs = {emf: float(v) for (emf, _), v in zip(net.sources, row.emf_v, strict=True) if emf}
        replaced = {i for i, _ in row.laws}
        names = [*zip(self.places, net.filaments, strict=True), *zip(self.valves, net.diodes, strict=True)]
        factors = {
            f"{name} m": row.laws.get((i, way), 0.0) if i in replaced else float((i, way) in self._built)
            for (i, way), name in names
            if name
        }
        return ohms | emfs | factors
