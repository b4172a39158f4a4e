"""Computed rows kept on disk: by operate, and within it by the digest of the change that was solved.

A change or an operate that was solved before is never solved again; rows equal to the healthy one are
kept once. A damaged file only costs computing afresh. Knows nothing of causes or of what rows mean.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields
from pathlib import Path
from typing import Any, cast

import numpy as np

from diag.circuit.behaviour import Shown
from diag.circuit.network import Change
from diag.texts import t

__all__ = ["Key", "Sheet", "digest_of", "read_sheets", "rounded", "write_sheets"]

Key = tuple[tuple[str, str], ...]
_BYTES_KEPT = 1_500_000_000
"""Size to which the last used files are kept, one a vehicle and up to 400 MB each; the newest always."""


def digest_of(change: Change) -> str:
    """16 hex digits of what a change does; two changes that do the same have the same."""
    content = []
    for f in fields(Change):
        value = getattr(change, f.name)
        if isinstance(value, frozenset):
            value = sorted(value)
        elif isinstance(value, Mapping):
            value = sorted(value.items())
        content.append(repr(value))
    return hashlib.sha256("\n".join(content).encode()).hexdigest()[:16]


def rounded(shown: Shown) -> Shown:
    """As a kept table has it (single precision: a microvolt in ten volts), so that a first and a later start
    agree to the last digit and a whole vehicle fits in half the memory."""
    return Shown(*(getattr(shown, f.name).astype(np.float32) for f in fields(Shown)))


@dataclass
class Sheet:
    """What is known under one operate.

    `shown`: different rows in single precision, the healthy vehicle first; `rows` gives them out in double.
    `place`: digest of a change → its row.
    `blown`: digest → branches that blew or burnt while operating; only where any did. `points`: nodes that
    somebody looks at (None: any); `faint`: digests that are placed with the healthy row because they show at none
    of these.
    """

    shown: Shown
    place: dict[str, int] = field(default_factory=dict)
    blown: dict[str, frozenset[int]] = field(default_factory=dict)
    points: frozenset[int] | None = None
    faint: set[str] = field(default_factory=set)

    def look_at(self, points: frozenset[int] | None) -> None:
        """From now on these nodes count too; what was too faint to show at others is forgotten."""
        if self.points is None or (points is not None and points <= self.points):
            return
        for name in self.faint:
            del self.place[name]
        self.faint.clear()
        self.points = None if points is None else points | self.points

    def add(self, names: Sequence[str], rows: Shown, blown: Sequence[frozenset[int]]) -> None:
        """Take in solved rows, one a name."""
        rows = rounded(rows)
        differs = np.zeros(len(names), dtype=bool)
        for f in fields(Shown):
            found = getattr(rows, f.name).reshape(len(names), -1)
            differs |= (found != getattr(self.shown, f.name)[0].reshape(1, -1)).any(axis=1)
        start = len(self.shown.volts)
        fresh = np.nonzero(differs)[0]
        if len(fresh):
            self.shown = Shown.stacked([self.shown, rows.rows(fresh.tolist())])
        self.place.update(dict.fromkeys(names, 0))
        self.place.update({names[row]: start + i for i, row in enumerate(fresh.tolist())})
        self.blown.update({name: gone for name, gone in zip(names, blown, strict=True) if gone})

    def rows(self, chosen: Sequence[int]) -> Shown:
        """Those rows, in that order, to compute with."""
        found = self.shown.rows(chosen)
        return Shown(*(getattr(found, f.name).astype(np.float64) for f in fields(Shown)))

    def only(self, names: Sequence[str]) -> Sheet:
        """The same without what is not in `names`."""
        used = sorted({0, *(self.place[name] for name in names if name in self.place)})
        where = {row: i for i, row in enumerate(used)}
        place = {name: where[self.place[name]] for name in names if name in self.place}
        blown = {n: gone for n, gone in self.blown.items() if n in place}
        return Sheet(self.shown.rows(used), place, blown, self.points, self.faint & place.keys())


def read_sheets(path: Path) -> dict[Key, Sheet]:
    """All that the file holds; nothing where it is missing or damaged."""
    try:
        with np.load(path, allow_pickle=False) as kept:
            keys = [tuple((str(a), str(b)) for a, b in json.loads(text)) for text in kept["operates"].tolist()]
            sheets = {key: _unpacked(kept, i) for i, key in enumerate(keys)}
    except Exception:  # a rotten file raises nearly anything from zipfile and numpy; it only costs computing afresh
        return {}
    with contextlib.suppress(OSError):
        os.utime(path)  # the most recently used tables are the ones kept
    return sheets


def write_sheets(path: Path, sheets: Mapping[Key, Sheet]) -> None:
    """Replace the file in one step. A full or read-only disk only costs the next start its computing time."""
    arrays: dict[str, np.ndarray] = {"operates": np.array([json.dumps(key) for key in sheets])}
    for i, sheet in enumerate(sheets.values()):
        arrays |= _packed(sheet, i)
    try:
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        with tempfile.NamedTemporaryFile(dir=path.parent, suffix=".part", delete=False) as part:
            np.savez(part, **cast(Any, arrays))
        os.replace(part.name, path)
        held = 0
        for kept in sorted(path.parent.glob("*.npz"), key=lambda p: -p.stat().st_mtime):
            held += kept.stat().st_size
            if held > _BYTES_KEPT and kept != path:
                kept.unlink(missing_ok=True)
    except OSError:
        return


def _packed(sheet: Sheet, number: int) -> dict[str, np.ndarray]:
    names = list(sheet.place)
    rank = {name: i for i, name in enumerate(names)}
    pairs = [[rank[name], branch] for name, gone in sheet.blown.items() for branch in sorted(gone)]
    return {
        **{f"{number}-{f.name}": getattr(sheet.shown, f.name) for f in fields(Shown)},
        f"{number}-names": np.array(names, dtype="S16"),
        f"{number}-place": np.array([sheet.place[name] for name in names], dtype=int),
        f"{number}-gone": np.array(pairs, dtype=int).reshape(-1, 2),
        f"{number}-faint": np.array(sorted(rank[name] for name in sheet.faint), dtype=int),
        f"{number}-points": np.array([-1] if sheet.points is None else sorted(sheet.points), dtype=int),
    }


def _unpacked(kept: Any, number: int) -> Sheet:
    """Raises KeyError, IndexError or ValueError for a file that does not fit."""
    names = [name.decode() for name in kept[f"{number}-names"].tolist()]
    place = kept[f"{number}-place"].tolist()
    shown = Shown(*(kept[f"{number}-{f.name}"].astype(np.float32) for f in fields(Shown)))
    if len(names) != len(place) or not all(0 <= row < len(shown.volts) for row in place):
        raise ValueError(t("rows and names do not fit"))
    blown: dict[str, set[int]] = {}
    for name, branch in kept[f"{number}-gone"].tolist():
        blown.setdefault(names[name], set()).add(branch)
    points = kept[f"{number}-points"].tolist()
    return Sheet(
        shown,
        dict(zip(names, place, strict=True)),
        {n: frozenset(gone) for n, gone in blown.items()},
        None if points == [-1] else frozenset(points),
        {names[rank] for rank in kept[f"{number}-faint"].tolist()},
    )
