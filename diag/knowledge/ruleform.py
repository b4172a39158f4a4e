"""The shape of a rule: its conditions, what it concludes, and where it stands in its life.

Knows nothing of circuits, vehicles or files. `schema` offers all of this too.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, StringConstraints, model_validator

from diag.errors import UnfitError
from diag.knowledge.scalars import CauseRef, Id, Model, Number, RuleId, Text, Weight
from diag.texts import t

__all__ = ["Conclusion", "Condition", "Day", "Moved", "Rule", "RuleState"]

Day = Annotated[str, StringConstraints(pattern=r"^[0-9]{4}-[0-9]{2}-[0-9]{2}$")]
"""YYYY-MM-DD."""


class Condition(Model):
    """One test on a finding, reading or intermediate conclusion. Words: `is steady`, `is-not dark`
    or just `steady`; numbers: below, above, between (in the check's unit)."""

    check: Id | None = None
    established: Id | None = None
    light: Text | None = None
    rhythm: Text | None = None
    is_: Text | None = None
    is_not: Text | None = None
    below: Number | None = None
    above: Number | None = None
    between: tuple[Number, Number] | None = None

    @model_validator(mode="after")
    def _one_subject(self) -> Condition:
        tests = (self.light, self.rhythm, self.is_, self.is_not, self.below, self.above, self.between)
        given = sum(found is not None for found in tests)
        if (self.check is None) == (self.established is None):
            raise UnfitError(t("either `check` or `established`"))
        if self.established is not None and given:
            raise ValueError(t("`established` stands alone"))
        if self.check is not None and not given:
            raise UnfitError(t("a test beside `check`: light, rhythm, is, is-not, below, above or between"))
        return self


class Conclusion(Model):
    """One effect of a rule; exactly one of its kinds."""

    points_to: CauseRef | None = None
    weight: Weight | None = None
    clears: CauseRef | None = None
    establish: Id | None = None
    ask: Id | None = None
    warn: Id | None = None
    stop: Id | None = None

    @model_validator(mode="after")
    def _one_kind(self) -> Conclusion:
        kinds = [self.points_to, self.clears, self.establish, self.ask, self.warn, self.stop]
        if sum(found is not None for found in kinds) != 1:
            raise UnfitError(t("exactly one of points-to, clears, establish, ask, warn, stop"))
        if (self.weight is not None) != (self.points_to is not None):
            raise ValueError(t("`points-to` needs a `weight`, and only it takes one"))
        return self


RuleState = Literal["draft", "tested", "proven", "retired"]


class Moved(Model):
    """One step in the life of a rule: the day (YYYY-MM-DD), the states, and why where that is not in the jobs."""

    date: Day
    from_: RuleState
    to: RuleState
    because: Text | None = None


class Rule(Model):
    """What to conclude from findings. `state`: where it stands in its life; `leads-there`: recorded jobs that fire it
    and end at what it says, `near-miss`: such that try it and must not fire it; `moved`: its life, oldest first."""

    id: RuleId
    title: Text
    when: Annotated[tuple[Condition, ...], Field(min_length=1, max_length=12)]
    then: Annotated[tuple[Conclusion, ...], Field(min_length=1, max_length=12)]
    because: Text
    looks_like: Text | None = None
    source: Text
    state: RuleState
    replaced_by: RuleId | None = None
    leads_there: tuple[Id, ...] = ()
    near_miss: tuple[Id, ...] = ()
    moved: tuple[Moved, ...] = ()
