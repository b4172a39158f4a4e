"""Folds what a long job repeats: rows of answers as on a healthy vehicle, and records that moved no chance.

Short jobs are left as they are. Knows the report; nothing of how a fold looks.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Generic, TypeVar

from diag.log.report import Item, Trail, TrailRow

__all__ = ["Stretch", "stretches_of", "trail_stretches"]

_LONG = 40
"""A job with no more rows than this is shown whole."""
_RUN = 6
"""So many rows at least are folded together."""
_MOVES = 0.02
"""A chance that changes by less stays where it was, to the eye."""

Row = TypeVar("Row", Item, TrailRow)


@dataclass(frozen=True)
class Stretch(Generic[Row]):
    """Rows that stand together; `folded` where they tell nothing that stands out."""

    rows: tuple[Row, ...]
    folded: bool


def stretches_of(items: Sequence[Item], of: int) -> tuple[Stretch[Item], ...]:
    """The items of one part of a job with `of` items in all."""
    return tuple(_stretches(items, _ordinary, of))


def _ordinary(item: Item) -> bool:
    """Whether an item is only one more answer of a healthy vehicle (or a caution that was read on the way)."""
    if item.event == "acknowledged":
        return True
    told = item.event in ("answered", "found") and item.check not in ("start", "symptom")
    kept = item.status == "standing" and item.known and item.corrects is None
    return told and kept and item.sound is not False and (item.limits is None or item.limits.met)


def trail_stretches(trail: Trail) -> tuple[Stretch[TrailRow], ...]:
    """The rows of a trail; folded where nothing that is shown moves."""
    before = {id(row): last for last, row in zip((None, *trail.rows), trail.rows, strict=False)}

    def still(row: TrailRow) -> bool:
        last = before[id(row)]
        return last is not None and row.number != trail.rows[-1].number and not _moved(last, row)

    return tuple(_stretches(trail.rows, still, len(trail.rows)))


def _moved(a: TrailRow, b: TrailRow) -> bool:
    pairs = zip((*a.chances, a.sound, a.outside), (*b.chances, b.sound, b.outside), strict=True)
    return any(abs(x.p - y.p) >= _MOVES for x, y in pairs)


def _stretches(rows: Sequence[Row], quiet: Callable[[Row], bool], of: int) -> Iterator[Stretch[Row]]:
    """Long runs of quiet rows apart from all else."""
    if of <= _LONG:
        if rows:
            yield Stretch(tuple(rows), False)
        return
    loud: list[Row] = []
    for calm, run in groupby(rows, quiet):
        found = list(run)
        if calm and len(found) >= _RUN:
            if loud:
                yield Stretch(tuple(loud), False)
            yield Stretch(tuple(found), True)
            loud = []
        else:
            loud += found
    if loud:
        yield Stretch(tuple(loud), False)
