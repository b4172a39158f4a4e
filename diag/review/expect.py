"""The shape of NAME.expect.yaml: what a recorded job must come to. Knows nothing of jobs."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import Field

from diag.knowledge.scalars import Bool, CauseRef, Model, Text

__all__ = ["Decisive", "ExpectFile"]

RemedyRef = Annotated[str, Field(pattern=r"^[a-z0-9-]+(\.[A-Za-z0-9+-]+)?$", max_length=140)]
"""A written remedy's id, or `part-or-wire.remedy` for one that follows from a kind."""


class Decisive(Model):
    """One answer which, changed to `value`, changes the conclusion. `seq`: its number in the journal; `then-not`: the
    remedy that no longer leads."""

    seq: Text
    value: Any
    then_not: Text | None = None


class ExpectFile(Model):
    """NAME.expect.yaml beside a recorded job.

    `cause`: what was really wrong. `ends-at`: the remedies that cured it, in order. `not-at`: tempting wrong ones.
    `at-once`: the first remedy must lead. `within-answers`: answers after which it must. `superseded-by`: the job
    that showed this one wrong.
    """

    title: Text | None = None
    story: Annotated[str, Field(min_length=1, max_length=4000)] | None = None
    source: Text | None = None
    cause: tuple[CauseRef, ...] | CauseRef = ()
    ends_at: Annotated[tuple[RemedyRef, ...], Field(min_length=1)]
    not_at: tuple[RemedyRef, ...] = ()
    at_once: Bool = False
    within_answers: Text | None = None
    decisive: Decisive | None = None
    superseded_by: Text | None = None
