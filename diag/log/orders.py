"""What goes with a vehicle beside its log: parts to order, cautions to mind, the newest answer to each check.

Read off the report and what stands behind it; knows nothing of any form.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from diag.log.replayed import Replayed
from diag.log.report import Item, Report
from diag.texts import FIELD, before_field, t

__all__ = ["Order", "cautions_of", "newest_of", "orders_of", "suspected_of"]

_ORDERED = 0.5
"""Chance from which what a remedy needs is worth ordering."""


@dataclass(frozen=True)
class Order:
    """Something to get: for which remedy (its title; `of`: its id), and why."""

    part: str
    remedy: str
    why: str
    of: str


def suspected_of(job: Replayed) -> tuple[tuple[str, float], ...]:
    """Remedies that are all but certain and not carried out, with their chance; nobody orders for a mere suspicion."""
    beliefs = job.plan.beliefs
    if beliefs is None or (job.plan.stages and not job.plan.unresolved):
        return ()
    return tuple((name, p) for name, p in beliefs.ranking if p >= _ORDERED and name in job.reasoner.remedies)


def orders_of(job: Replayed, report: Report) -> list[Order]:
    """What has to be got for remedies that are all but certain, or were carried out and not proved. Each part once."""
    out: list[Order] = []
    remedies = job.reasoner.remedies
    undone = [work.remedy for work in report.done if work.verdict in ("failed", "not-proved")]
    wanted = dict.fromkeys(undone, "carried out, not proved")
    wanted |= {name: t("suspected, {p:.0%}", p=p) for name, p in suspected_of(job)}
    for name, why in wanted.items():
        if name in remedies:
            known = {order.part for order in out}
            out += [Order(part, remedies[name].title, why, name) for part in remedies[name].parts if part not in known]
    return out


def newest_of(items: Sequence[Item]) -> list[Item]:
    """The last answer that stands to each check, in the order in which the checks came first."""
    found: dict[str, Item] = {}
    for item in items:
        if item.event in ("answered", "found") and item.status == "standing" and item.check not in ("start", "symptom"):
            found[item.check] = item
    return list(found.values())


def cautions_of(job: Replayed, items: Sequence[Item]) -> list[str]:
    """Cautions that were read in this job, and those of the remedies carried out; whoever goes on minds the same."""
    mark = before_field(t(" (source: {source})", source=FIELD))
    texts = [item.text for item in items if item.event == "acknowledged" and mark in item.text]
    read = [text.rpartition(mark)[0] for text in texts]
    known, remedies = job.reasoner.knowledge.cautions, job.reasoner.remedies
    done = [remedies[treated.remedy] for treated in job.treated if treated.remedy in remedies]
    return list(dict.fromkeys([*read, *(known[name].text for plan in done for name in plan.cautions)]))
