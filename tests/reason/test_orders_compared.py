"""What the program is compared with: the cheapest order of checks, a printed list, half-splitting, by hand."""

from __future__ import annotations

import numpy as np
import pytest

from diag.reason.steps import Step
from tests.bench.compare import (
    Cost,
    Group,
    Suspects,
    cheapest_order,
    followed,
    followed_to_the_letter,
    half_split,
    printed,
    shannon,
)
from tests.bench.optimal import Table, cheapest, random_table

POINTS = ("fuse-horn.in", "fuse-horn.out", "horn.71", "horn.31b", "column-slip-ring.brush")


def _volts(point: str, minutes: float, place: str = "driver-seat") -> Step:
    return Step(f"volts:{point}", point, "measure", {}, "horn", place, minutes, red=point, black="body", unit="V")


def _groups(weights: tuple[float, ...]) -> tuple[Group, ...]:
    return tuple(Group((f"w{i}.open",), weight, frozenset((f"w{i}.reconnect",))) for i, weight in enumerate(weights))


def _line(place: str = "driver-seat", minutes: float = 1.0) -> Suspects:
    """Six wires in a row, equally likely to be off, with a point that is live before the break between each two."""
    steps = tuple(_volts(point, minutes, place) for point in POINTS)
    answers = np.array([[int(broken > point) for point in range(5)] for broken in range(6)])
    return Suspects("horn-silent", _groups((1 / 6,) * 6), steps, answers)


def _mean(suspects: Suspects, costs: list[Cost]) -> float:
    return sum(group.prior * cost.minutes for group, cost in zip(suspects.groups, costs, strict=True))


def test_printed_list_probes_a_row_from_its_feed_end() -> None:
    """One probe finds the first wire, five the last two: (1 + 2 + 3 + 4 + 5 + 5) / 6."""
    suspects = _line()
    assert [c.checks for c in followed(suspects, printed("horn", suspects.steps))] == [1, 2, 3, 4, 5, 5]


def test_half_splitting_takes_a_row_apart_in_the_middle() -> None:
    """Six in a row take two or three probes: two of them two, four of them three."""
    suspects = _line()
    assert sorted(c.checks for c in followed(suspects, half_split("horn", suspects.steps))) == [2, 2, 3, 3, 3, 3]
    assert _mean(suspects, followed(suspects, cheapest_order(suspects))) == pytest.approx(16 / 6)


def test_walking_is_paid_once_where_all_points_are_at_one_place() -> None:
    """From the driver's seat the first probe costs its way there, 0.6 min, and no other does."""
    here, there = _line(), _line("front")
    costs = [_mean(one, followed(one, cheapest_order(one))) for one in (here, there)]
    assert costs[1] - costs[0] == pytest.approx(0.6)


def test_list_followed_to_the_letter_pays_for_what_tells_nothing() -> None:
    """A check that all suspects answer alike costs its minutes; what the sheet does not say is found out after it."""
    suspects = _line()
    idle = _volts("battery.B+", 2.0)
    costs = followed_to_the_letter(suspects, [idle, *suspects.steps[:3]], printed("horn", suspects.steps))
    assert [c.checks for c in costs] == [2, 3, 4, 5, 6, 6]
    assert costs[0].minutes == pytest.approx(3.0)


def test_what_one_remedy_cures_need_not_be_told_apart() -> None:
    """A wire that is off or has a bad crimp is connected anew either way."""
    suspects = _line()
    same = frozenset(("w5.reconnect",))
    groups = tuple(Group(g.causes, g.prior, same if i >= 4 else g.cure) for i, g in enumerate(suspects.groups))
    merged = Suspects(suspects.complaint, groups, suspects.steps, suspects.answers)
    assert [c.checks for c in followed(merged, printed("horn", suspects.steps))] == [1, 2, 3, 4, 4, 4]


@pytest.mark.parametrize("seed", range(12))
def test_cheapest_order_costs_what_another_search_finds_where_nobody_walks(seed: int) -> None:
    """Two searches written apart, one over names and minutes alone, one over checks of a vehicle."""
    table: Table = random_table(seed)
    steps = tuple(_volts(f"horn.{i}", minutes) for i, minutes in enumerate(table.minutes))
    suspects = Suspects("horn-silent", _groups(table.prior), steps, np.array(table.answers).T)
    costs = followed(suspects, cheapest_order(suspects))
    assert _mean(suspects, costs) == pytest.approx(cheapest(table)[0])
    assert shannon(suspects).minutes <= _mean(suspects, costs)
