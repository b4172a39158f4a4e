"""The shape of kinds.yaml: how kinds and sorts of part fail, how often, and the wording of what mends it.

Which kinds there are stands in `parts`; what a mode does is not known here.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated

from pydantic import Field

from diag.knowledge.scalars import Id, Minutes, Model, Ohms, Positive, Share, Text, Volts

__all__ = ["KindsFile", "Mode", "PartSort", "RemedyForm", "SortMode"]


class Mode(Model):
    """One way in which a kind of part or a wire fails.

    `frequency` per thousand faults in an old untouched loom, `rewired` the same just after a
    rewire. `ohm` for resistive modes, `volts` of a worn source on a 12 V vehicle (in proportion on
    others), `factor` for what is too small or too large (lamps, fuses, windings), `spread` how far
    real cases stray from the value (natural log). `at-times`: share of these faults that come and go; of a
    wire's only where it ends at what is worked, turned or plugged. `shows`: chance that such a one is there
    at a moment."""

    title: Text
    frequency: Positive
    rewired: Positive
    remedy: Id
    ohm: Ohms | None = None
    volts: Volts | None = None
    factor: Positive | None = None
    spread: Share = 0.05
    at_times: Share | None = None
    shows: Share = 0.5
    source: Text


class RemedyForm(Model):
    """Wording of a derived remedy; `{part}`, `{place}`, `{marking}` (what is stamped on a lamp or fuse) and
    `{wire}` (section, colour and length of a wire) are filled in."""

    title: Text
    steps: Annotated[tuple[Text, ...], Field(min_length=1)]
    cautions: tuple[Id, ...] = ()
    parts: tuple[Text, ...] = ()
    minutes: Minutes = 10.0


class SortMode(Mode):
    """One way in which a sort of part fails. `like`: the mode of its kind that it shows itself as, with `ohm` or
    `factor` of its own where that mode has one; left out: the mode of the same name."""

    like: Id | None = None


class PartSort(Model):
    """A sort of part that is electrically a kind, and fails in ways of its own: a fuel pump is a motor. Modes of
    the kind that it does not name stay as they are, but for those in `without`."""

    based_on: Id
    modes: Mapping[Id, SortMode] = {}
    without: tuple[Id, ...] = ()


class KindsFile(Model):
    """rules/kinds.yaml: fault modes of every kind, and the wording of their remedies."""

    kinds: Mapping[Id, Mapping[Id, Mode]]
    sorts: Mapping[Id, PartSort] = {}
    """Sorts of part that are based on a kind; a part says which it is by `sort`."""
    remedies: Mapping[Id, RemedyForm]
    outside_chance: Share = 0.01
    """Prior of a cause that is not in the model."""
