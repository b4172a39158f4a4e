"""The table of what every cause shows under every operate, computed once and kept by content.

Rows: 0 is the healthy vehicle, then one row a cause. Sets of causes are solved when first asked
for. Knows nothing of questions, words of findings or beliefs.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import tempfile
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import fields
from pathlib import Path
from typing import Any, cast

import numpy as np

from diag.circuit.behaviour import Bench, Shown
from diag.circuit.faults import Cause, derive_causes
from diag.circuit.network import Change
from diag.circuit.parts import build_network
from diag.knowledge import schema
from diag.knowledge.assemble import Knowledge, operate_key

__all__ = ["HEALTHY", "Predictor"]

HEALTHY = 0
_FORMAT = "2"
_QUIET_A, _QUIET_V = 1e-10, 1e-8
_BATCH = 400
_TABLES_KEPT = 4
Key = tuple[tuple[str, str], ...]


class Predictor:
    """Predictions for one vehicle.

    `operates` are those that its checks use; `cache` is a folder for computed tables (None: none are
    kept); `progress` is called with the share done, 0 to 1.
    """

    def __init__(
        self,
        knowledge: Knowledge,
        operates: Iterable[Mapping[str, str]],
        cache: Path | None = None,
        progress: Callable[[float], None] | None = None,
    ) -> None:
        self.knowledge = knowledge
        self.network = build_network(knowledge)
        self.causes: tuple[Cause, ...] = derive_causes(knowledge, self.network)
        self.rest = {control: positions[0] for control, positions in knowledge.controls.items()}
        parts = knowledge.parts
        self.bench = Bench(
            self.network,
            self.rest,
            {i: p.rating_a for i, p in parts.items() if isinstance(p, schema.FusePart)},
            {i: w.section_mm2 for i, w in knowledge.wires.items()},
            {i: p.rated_w / knowledge.vehicle.system_v for i, p in parts.items() if isinstance(p, schema.FlasherPart)},
            {i: p.emf_v for i, p in parts.items() if isinstance(p, schema.DynamoPart)},
            [pair for cause in self.causes if cause.change is not None for pair in cause.change.swap],
        )
        self._unique: list[Change] = [Change()]
        self._row: list[int] = [HEALTHY]
        seen: dict[int, int] = {}
        for cause in self.causes:
            if cause.change is None:
                self._row.append(HEALTHY)
            else:
                if id(cause.change) not in seen:
                    seen[id(cause.change)] = len(self._unique)
                    self._unique.append(cause.change)
                self._row.append(seen[id(cause.change)])
        self._lasting = list(self._unique)
        self._tables: dict[Key, Shown] = {}
        self._healthy: dict[Key, Shown] = {}
        self._sets: dict[tuple[Key, frozenset[int]], Shown] = {}
        self._prepare({operate_key(operate): dict(operate) for operate in operates}, cache, progress)

    # ------------------------------------------------------------ the table

    def shown(self, operate: Mapping[str, str]) -> Shown:
        """What the healthy vehicle (row 0) and every cause (row 1 + its index) show."""
        key = operate_key(operate)
        if key not in self._tables:
            self._tables[key] = self._compute(operate, self._lasting)[0].rows(self._row)
        return self._tables[key]

    def shown_sets(self, operate: Mapping[str, str], sets: Sequence[frozenset[int]]) -> Shown:
        """What sets of causes (indices into `causes`) present together show, one row a set."""
        key = operate_key(operate)
        missing = [s for s in dict.fromkeys(sets) if (key, s) not in self._sets]
        if missing:
            changes = []
            for members in missing:
                change = Change()
                for index in sorted(members):
                    change = change.merged(self._lasting[self._row[1 + index]])
                changes.append(change)
            found, _ = self.bench.operate(operate, changes)
            for i, members in enumerate(missing):
                self._sets[key, members] = found.rows([i])
        return Shown.stacked([self._sets[key, s] for s in sets])

    def touches(self, operate: Mapping[str, str]) -> np.ndarray:
        """(1 + causes,) True where a cause changes anything at all under this operate."""
        shown = self.shown(operate)
        same = np.ones(len(shown.volts), dtype=bool)
        for name in ("volts", "lamp_on_v", "lamp_off_v", "scale", "flasher", "buzzing"):
            found = getattr(shown, name)
            same &= np.isclose(found, found[HEALTHY], atol=1e-6).reshape(len(found), -1).all(axis=1)
        return ~same

    def _compute(
        self, operate: Mapping[str, str], changes: Sequence[Change]
    ) -> tuple[Shown, dict[int, frozenset[int]]]:
        key = operate_key(operate)
        if key not in self._healthy:
            self._healthy[key] = self.bench.operate(operate, [Change()])[0]
        healthy = self._healthy[key]
        idle = self.bench.draws_nothing(healthy)
        alive = operate.get("battery") != "disconnected"
        rows = [i for i, change in enumerate(changes) if i != HEALTHY and (not alive or self._matters(change, healthy))]
        parts, blown = [healthy], {}
        for start in range(0, len(rows), _BATCH):
            batch = rows[start : start + _BATCH]
            shown, gone = self.bench.operate(operate, [changes[i] for i in batch], idle)
            parts.append(shown)
            blown.update({row: found for row, found in zip(batch, gone, strict=True) if found})
        place = {row: 1 + i for i, row in enumerate(rows)}
        return Shown.stacked(parts).rows([place.get(i, 0) for i in range(len(changes))]), blown

    def _matters(self, change: Change, healthy: Shown) -> bool:
        """False only where linear theory says that nothing can change: no current in what opens, no
        volts across what closes, and no behaviour or source touched."""
        net, volts = self.network, healthy.volts[0]
        if change.flags or change.emf:
            return True
        if any(abs(healthy.branch_a[0, branch]) > _QUIET_A for branch in change.added_ohm):
            return True
        if any(abs(volts[net.branches[b].a] - volts[net.branches[b].b]) > _QUIET_V for b in change.closed):
            return True
        if any(abs(volts[link.a] - volts[link.b]) > _QUIET_V for link in change.extra):
            return True
        if any(abs(healthy.lamp_on_v[0, lamp]) > _QUIET_V for lamp in change.scale):
            return True
        return any(
            abs(volts[left] - volts[right]) > _QUIET_V
            or any(abs(healthy.branch_a[0, wire]) > _QUIET_A for wire in net.wires_at(left) + net.wires_at(right))
            for left, right in change.swap
        )

    def _prepare(
        self, operates: Mapping[Key, Mapping[str, str]], cache: Path | None, progress: Callable[[float], None] | None
    ) -> None:
        path = cache / f"{self._content(operates)}.npz" if cache is not None else None
        if path is not None and self._read(path, list(operates)):
            return
        tell = progress or (lambda share: None)
        raw: dict[Key, Shown] = {}
        lasting: dict[int, set[int]] = {}
        for done, (key, operate) in enumerate(operates.items()):
            raw[key], blown = self._compute(operate, self._unique)
            for row, branches in blown.items():
                lasting.setdefault(row, set()).update(branches)
            tell(0.75 * (done + 1) / len(operates))
        # a fuse that blew under one operate stays blown under all: the person has tried every control
        rows = sorted(lasting)
        for row in rows:
            self._lasting[row] = self._unique[row].merged(Change(added_ohm=dict.fromkeys(lasting[row], np.inf)))
        for done, (key, operate) in enumerate(operates.items()):
            if rows:
                again, _ = self._compute(operate, [Change(), *(self._lasting[row] for row in rows)])
                place = {row: 1 + i for i, row in enumerate(rows)}
                both = Shown.stacked([raw[key], again])
                size = len(self._unique)
                raw[key] = both.rows([size + place[i] if i in place else i for i in range(size)])
            tell(0.75 + 0.25 * (done + 1) / len(operates))
        raw = {key: _rounded(shown) for key, shown in raw.items()}
        self._tables = {key: shown.rows(self._row) for key, shown in raw.items()}
        if path is not None:
            self._write(path, list(operates), raw, lasting)

    # ------------------------------------------------------------ keeping it

    def _content(self, operates: Iterable[Key]) -> str:
        digest = hashlib.sha256()
        for text in (_FORMAT, _code_digest(), self.knowledge.content_hash, repr(sorted(operates))):
            digest.update(text.encode())
        return digest.hexdigest()[:24]

    def _read(self, path: Path, keys: list[Key]) -> bool:
        try:
            with np.load(path, allow_pickle=False) as kept:
                raw = {key: _unpacked(kept, i, len(self._unique)) for i, key in enumerate(keys)}
                pairs = kept["lasting"]
        except Exception:  # a rotten file raises nearly anything from zipfile and numpy; it only costs computing afresh
            return False
        for row, branch in pairs:
            self._lasting[row] = self._lasting[row].merged(Change(added_ohm={int(branch): np.inf}))
        self._tables = {key: shown.rows(self._row) for key, shown in raw.items()}
        with contextlib.suppress(OSError):
            os.utime(path)  # the most recently used tables are the ones kept
        return True

    def _write(self, path: Path, keys: list[Key], raw: Mapping[Key, Shown], lasting: Mapping[int, set[int]]) -> None:
        arrays: dict[str, np.ndarray] = {}
        for i, key in enumerate(keys):
            arrays |= _packed(raw[key], i)
        arrays["lasting"] = np.array(
            [[row, b] for row, found in lasting.items() for b in sorted(found)], dtype=int
        ).reshape(-1, 2)
        try:
            path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
            with tempfile.NamedTemporaryFile(dir=path.parent, suffix=".part", delete=False) as part:
                np.savez(part, **cast(Any, arrays))
            os.replace(part.name, path)
            for old in sorted(path.parent.glob("*.npz"), key=lambda p: -p.stat().st_mtime)[_TABLES_KEPT:]:
                old.unlink(missing_ok=True)
        except OSError:
            return  # a full or read-only disk only costs the next start its computing time


def _rounded(shown: Shown) -> Shown:
    """As a kept table would give it back, so that a first and a later start agree to the last digit."""
    return Shown(*(getattr(shown, f.name).astype(np.float32).astype(np.float64) for f in fields(Shown)))


def _packed(shown: Shown, number: int) -> dict[str, np.ndarray]:
    """The healthy row and those that differ from it, in single precision (a microvolt in ten volts)."""
    differs = np.zeros(len(shown.volts), dtype=bool)
    for f in fields(Shown):
        found = getattr(shown, f.name).reshape(len(differs), -1)
        differs |= (found != found[0]).any(axis=1)
    rows = np.concatenate([[0], np.nonzero(differs)[0]])
    arrays = {f"{number}-{f.name}": getattr(shown, f.name)[rows].astype(np.float32) for f in fields(Shown)}
    return {f"{number}-rows": rows, **arrays}


def _unpacked(kept: Mapping[str, np.ndarray], number: int, count: int) -> Shown:
    """All rows again. Raises KeyError, IndexError or ValueError for a file that does not fit."""
    place = np.zeros(count, dtype=int)
    rows = kept[f"{number}-rows"]
    place[rows] = np.arange(len(rows))
    return Shown(*(kept[f"{number}-{f.name}"].astype(np.float64)[place] for f in fields(Shown)))


def _code_digest() -> str:
    """Changes when any module of this room does, so that an old table is never believed."""
    digest = hashlib.sha256()
    for path in sorted(Path(__file__).parent.glob("*.py")):
        digest.update(path.read_bytes())
    return digest.hexdigest()
