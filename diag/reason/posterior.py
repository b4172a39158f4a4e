"""What is believed at one moment: plain values, made by `belief` and read by everything after it."""

from __future__ import annotations

from dataclasses import dataclass

from diag.circuit.network import Floats

__all__ = ["Odd", "Posterior"]


@dataclass(frozen=True)
class Odd:
    """A finding that was perhaps misread: `p` is the chance of that, were the cause one of the model."""

    seq: int
    p: float


@dataclass(frozen=True)
class Posterior:
    """What is wrong now. `sets`: present causes and their chance, likeliest first; `present` (causes,)
    marginal chance of each; `healthy`, `outside` chances; `unexplained` seqs that the likeliest set
    needs to be misread, unless it is likelier that some further fault explains them; `several`: whether sets of
    more than one cause were weighed.

    `odd`: findings that were likely misread, the likeliest first: the one most worth repeating leads.
    `contradictions`: smallest groups of seqs that no set weighed explains together; empty where one
    explains everything. `problems`: where the signs have nothing to do with each other, what is believed of
    each on its own (its `healthy`: that its signs were misread, or are cured); else empty. `starts`: the likeliest
    sets present before the first remedy (empty: nothing wrong) and their log weight, likeliest first; what was
    found is explained by these."""

    sets: tuple[tuple[frozenset[int], float], ...]
    present: Floats
    healthy: float
    outside: float
    unexplained: tuple[int, ...]
    several: bool
    odd: tuple[Odd, ...] = ()
    contradictions: tuple[frozenset[int], ...] = ()
    problems: tuple[Posterior, ...] = ()
    starts: tuple[tuple[frozenset[int], float], ...] = ()
