"""An independent circuit simulator for the tests: ngspice, run on many operating points at a time.

Gathers rows of `Variants`, leaves out rows that are equal to the last bit, and has ngspice solve the
rest. Decks are what `diag.circuit.netlist` writes, with `alter` between points. Holds no expectations.
"""

from __future__ import annotations

import shutil
import subprocess
import tempfile
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, fields
from pathlib import Path

import numpy as np
import pytest

from diag.circuit.netlist import About, Netlist, write_netlist
from diag.circuit.network import Floats, Network
from diag.circuit.solve import Variants

__all__ = ["ABOUT", "NGSPICE", "Gathered", "control_deck", "needs_ngspice", "run", "spice_volts"]

NGSPICE = shutil.which("ngspice")
needs_ngspice = pytest.mark.skipif(
    NGSPICE is None, reason="no ngspice on this machine (on Debian: apt-get install ngspice); nothing was compared"
)
ABOUT = About("a test's network", "any", {}, "closed")
_ABSENT_S = 1e-18
"""An element that some points of a deck do not have: a hundred-thousand-millionth of the leak beside it."""
_POINTS_A_DECK = 1200
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
class _Row:
    """One point; `links` are the added links in use, each pair of nodes once."""

    branch_s: Floats
    ends: np.ndarray
    links: dict[tuple[int, int], float]
    scale: Floats
    led: Floats
    valve: Floats
    emf_v: Floats
    source_s: Floats

    @property
    def wiring(self) -> bytes:
        """Equal for points that one deck can hold: the rest can be altered between points."""
        return b"|".join(np.ascontiguousarray(a).tobytes() for a in (self.ends, self.scale, self.led, self.valve))

    @property
    def key(self) -> bytes:
        links = repr(sorted(self.links.items())).encode()
        return b"|".join([self.wiring, self.branch_s.tobytes(), self.emf_v.tobytes(), self.source_s.tobytes(), links])


class Gathered:
    """The different rows among many `Variants` of one network."""

    def __init__(self, network: Network) -> None:
        self.network = network
        self.rows: list[_Row] = []
        self._place: dict[bytes, int] = {}

    def add(self, variants: Variants) -> np.ndarray:
        """Index, among the different rows, of each of these."""
        return np.array([self._add(row) for row in _rows(variants)], dtype=int)

    def _add(self, row: _Row) -> int:
        place = self._place.setdefault(row.key, len(self.rows))
        if place == len(self.rows):
            self.rows.append(row)
        return place

    def __len__(self) -> int:
        return len(self.rows)


def _rows(variants: Variants) -> Iterator[_Row]:
    for i in range(len(variants.branch_s)):
        links: dict[tuple[int, int], float] = {}
        for (a, b), siemens in zip(variants.extra[i].tolist(), variants.extra_s[i].tolist(), strict=True):
            if siemens:
                links[a, b] = links.get((a, b), 0.0) + siemens
        rest = {f.name: getattr(variants, f.name)[i] for f in fields(Variants) if not f.name.startswith("extra")}
        yield _Row(links=links, **rest)


def spice_volts(gathered: Gathered) -> Floats:
    """(rows, nodes) volts of every gathered row by ngspice; body is 0.

    Raises RuntimeError where ngspice does not find an operating point.
    """
    network, rows = gathered.network, gathered.rows
    groups: dict[bytes, list[int]] = {}
    for i, row in enumerate(rows):
        groups.setdefault(row.wiring, []).append(i)
    jobs = [
        group[first : first + _POINTS_A_DECK]
        for group in groups.values()
        for first in range(0, len(group), _POINTS_A_DECK)
    ]
    jobs.sort(key=len, reverse=True)
    volts = np.zeros((len(rows), len(network.nodes)))
    with ThreadPoolExecutor(_PROCESSES) as pool:
        for job, found in zip(jobs, pool.map(lambda job: _solved(network, [rows[i] for i in job]), jobs), strict=True):
            volts[job] = found
    return volts


def _solved(network: Network, rows: Sequence[_Row]) -> Floats:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        deck, netlist = control_deck(network, rows, "volts.txt")
        run(deck, folder)
        names, *lines = (folder / "volts.txt").read_text(encoding="ascii").splitlines()
    table = np.array([line.split() for line in lines], dtype=float)
    if len(table) != len(rows):
        raise RuntimeError(f"ngspice found {len(table)} of {len(rows)} operating points")
    column = {node: i for i, node in enumerate(names.split())}
    # a deck's first column is a scale without meaning here; the others bear their nodes' names
    volts = np.zeros((len(rows), len(network.nodes)))
    for i, node in enumerate(netlist.nodes[1:], start=1):
        volts[:, i] = table[:, column[node]]
    return volts


def control_deck(network: Network, rows: Sequence[_Row], out: str | None) -> tuple[str, Netlist]:
    """A deck that solves rows of one wiring one after another, writing volts to `out` (None: nowhere)."""
    base, pairs = _base(rows)
    netlist = write_netlist(network, base, ABOUT)
    body = netlist.text.removesuffix(".op\n.end\n")
    lines = [body + ".control", "set wr_singlescale", "set wr_vecnames", "set numdgt=13", "set appendwrite"]
    now: dict[str, float] = {}
    for i, row in enumerate(rows):
        wanted = _values(netlist, row, pairs)
        lines += [f"alter {name} = {value:.13g}" for name, value in wanted.items() if now.get(name) != value]
        now = wanted
        lines.append("op")
        if out is not None:
            lines.append(f"wrdata {out} all")
            if not i:
                lines.append("unset wr_vecnames")
        lines.append("destroy all")  # results pile up otherwise, and every one makes the next slower
    return "\n".join([*lines, ".endc", ".end", ""]), netlist


def _values(netlist: Netlist, row: _Row, pairs: Sequence[tuple[int, int]]) -> dict[str, float]:
    """Ohm or volts of every element that may differ between the rows of a deck."""
    found = {name: float(s) for name, s in zip(netlist.branches, row.branch_s, strict=True) if name}
    found |= {name: row.links.get(pair, 0.0) for name, pair in zip(netlist.extras, pairs, strict=True) if name}
    found |= {inner: float(s) for (_, inner), s in zip(netlist.sources, row.source_s, strict=True) if inner}
    ohms = {name: 1.0 / max(siemens, _ABSENT_S) for name, siemens in found.items()}
    return ohms | {emf: float(v) for (emf, _), v in zip(netlist.sources, row.emf_v, strict=True) if emf}


def _base(rows: Sequence[_Row]) -> tuple[Variants, list[tuple[int, int]]]:
    """A row that has every element which any of `rows` has, and the pairs of nodes of its added links."""
    pairs = sorted({pair for row in rows for pair in row.links})
    first = rows[0]
    used = np.max([row.branch_s for row in rows], axis=0)
    fed = np.max([row.source_s for row in rows], axis=0)
    return Variants(
        branch_s=used[None],
        ends=first.ends[None],
        extra=np.array(pairs, dtype=int).reshape(1, len(pairs), 2),
        extra_s=np.ones((1, len(pairs))),
        scale=first.scale[None],
        led=first.led[None],
        valve=first.valve[None],
        emf_v=first.emf_v[None],
        source_s=fed[None],
    ), pairs
