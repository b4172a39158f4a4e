"""In which order to try remedies when no check is left that would tell more: least expected minutes.

Knows chances and minutes; nothing of vehicles. Chance over minutes is best where each is tried until the
fault is found and costs the same whenever it is tried; where several share what is taken off first, or
the last one needs no trying, it is not, and every order is weighed.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

__all__ = ["Try", "best_order", "expected_minutes"]

_ALL_ORDERS = 12


@dataclass(frozen=True)
class Try:
    """A remedy: the chance that it is the one needed, its minutes, and what must be opened first, if anything
    that others need open too."""

    id: str
    p: float
    minutes: float
    access: str | None = None


def expected_minutes(
    order: Sequence[Try], access: Mapping[str, float] | None = None, *, last_paid: bool = True
) -> float:
    """Expected minutes until the one needed was tried. `access`: minutes to open what several share, paid once.
    `last_paid` False: the last one left is known to be it, and its minutes are not counted."""
    total, left, opened = 0.0, max(1.0, sum(t.p for t in order)), set()
    for place, found in enumerate(order):
        if last_paid or place < len(order) - 1:
            total += left * found.minutes
            if found.access is not None and found.access not in opened:
                total += left * (access or {}).get(found.access, 0.0)
                opened.add(found.access)
        left -= found.p
    return total


def best_order(
    tries: Sequence[Try], access: Mapping[str, float] | None = None, *, last_paid: bool = True
) -> tuple[Try, ...]:
    """Least expected minutes; ties by chance over minutes, then in the order given.

    Chance over minutes (J. Kadane and H. Simon, 1977) where nothing is shared and the last is tried too, or
    where there are more than twelve; else by dynamic programming over what was tried.
    """
    ratio = sorted(tries, key=lambda t: -t.p / max(t.minutes, 1e-9))
    shared = {t.access for t in tries if t.access is not None and (access or {}).get(t.access, 0.0) > 0}
    if len(tries) > _ALL_ORDERS or (last_paid and not shared):
        return tuple(ratio)
    whole = max(1.0, sum(t.p for t in ratio))
    best: dict[int, tuple[float, tuple[int, ...]]] = {0: (0.0, ())}
    everything = 2 ** len(ratio) - 1
    for tried in range(everything):  # an order of some is cheapest whatever comes after: what is open is what was tried
        cost, order = best[tried]
        left = whole - sum(ratio[i].p for i in order)
        opened = {ratio[i].access for i in order}
        for i, found in enumerate(ratio):
            if tried >> i & 1:
                continue
            more = 0.0
            if last_paid or tried | 1 << i != everything:
                fresh = found.access is not None and found.access not in opened
                more = left * (found.minutes + ((access or {}).get(found.access or "", 0.0) if fresh else 0.0))
            if cost + more < best.get(tried | 1 << i, (float("inf"), ()))[0] - 1e-12:
                best[tried | 1 << i] = (cost + more, (*order, i))
    return tuple(ratio[i] for i in best[everything][1])
