"""What can come next in a job, as plain values: start, caution, question, conclusion, end. Decides nothing."""

from __future__ import annotations

from dataclasses import dataclass

from diag.reason.choose import Ranked
from diag.reason.steps import Step

__all__ = ["Conclude", "DoFirst", "End", "Look", "Next", "Start"]


@dataclass(frozen=True)
class Start:
    """Nothing is known yet: ask what is wrong."""


@dataclass(frozen=True)
class DoFirst:
    """A caution to be acknowledged before `step`, or at once where a rule says so."""

    caution: str
    step: Step | None
    rule: str | None = None
    restore: tuple[str, ...] = ()
    """What the last check took off and goes back on now: `battery`, or terminals; a jumper's two points, which
    comes off."""
    begins: str | None = None
    """The stage that begins with this: it says what comes, and what is known beforehand."""
    coil: str | None = None
    """What has to be done about the coil: `live` before the key goes on, `hot` after too long, `back-on`."""


@dataclass(frozen=True)
class Look:
    """Ask this step. `proof`: it proves a remedy, or, with `neighbour`, what its work may have disturbed, and by
    way of what; `walk`: it is part of checking a circuit; `ranked`: what it was chosen for; `rule`: the rule that
    brought it forward; `again`: number of the answer that it repeats, as the others disagree with it;
    `group`: looks from the same place under the same operate, this one first, that may be answered together."""

    step: Step
    proof: str | None = None
    walk: str | None = None
    ranked: Ranked | None = None
    rule: str | None = None
    again: int | None = None
    neighbour: str | None = None
    group: tuple[Step, ...] = ()


@dataclass(frozen=True)
class Conclude:
    """The remedies worth carrying out, likeliest first; empty with `reason` where nothing is wrong or
    nothing more can be told apart. `final`: nothing else stays unexplained."""

    remedies: tuple[tuple[str, float], ...]
    final: bool
    reason: str


@dataclass(frozen=True)
class End:
    """The job is done; `open` items are left."""


Next = Start | DoFirst | Look | Conclude | End
