"""Judgements on rules by recorded jobs: named jobs that are not there, jobs that do not show what a rule claims, rules
that no job exercises.

Knows which rules fired in which job; not how that is found out.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping

from diag.errors import Severity
from diag.knowledge import schema
from diag.knowledge.names import nearest, quoted, words
from diag.review.slips import Slips
from diag.texts import t

__all__ = ["judge_life"]


def judge_life(
    slips: Slips, jobs: Collection[str], fired: Mapping[str, frozenset[str]], never: Collection[str] = ()
) -> None:
    """`jobs`: names of all recorded jobs; `fired`: the rules that fired in each job that could be lived through;
    `never`: rules that cannot fire at all, which is told already."""
    every = frozenset(rule for found in fired.values() for rule in found)
    for name in slips.owned(iter(slips.know.rules)):
        rule = slips.know.rules[name]
        for key, named in (("leads-there", rule.leads_there), ("near-miss", rule.near_miss)):
            for index, job in enumerate(named):
                if job not in jobs:
                    slips.say(
                        slips.place(name, key, index),
                        t("there is no such recorded job"),
                        quoted(job),
                        t("the name of a file in `jobs`, without ending"),
                        nearest(job, jobs) or t("Record it, or take the name away."),
                        code="unknown-job",
                        severity="error",
                    )
        if rule.state == "retired":
            continue
        _claims(slips, rule, fired)
        if name not in every and name not in never:
            slips.say(
                slips.place(name),
                t("no recorded job exercises this rule"),
                quoted(name),
                "",
                t("Record a job in which it fires, and name it under `leads-there`."),
                code="not-exercised",
            )


def _claims(slips: Slips, rule: schema.Rule, fired: Mapping[str, frozenset[str]]) -> None:
    severity: Severity = "error" if rule.state in ("tested", "proven") else "warning"
    for index, job in enumerate(rule.leads_there):
        if job in fired and rule.id not in fired[job]:
            told = sorted(name for name, rules in fired.items() if rule.id in rules)
            slips.say(
                slips.place(rule.id, "leads-there", index),
                t("this job does not fire the rule"),
                quoted(job),
                words(told) or t("a job that does"),
                t("Compare its answers with the conditions, or name another job."),
                code="unearned-state",
                severity=severity,
            )
    for index, job in enumerate(rule.near_miss):
        if rule.id in fired.get(job, ()):
            slips.say(
                slips.place(rule.id, "near-miss", index),
                t("this job fires the rule, so it is no near miss"),
                quoted(job),
                t("a job that comes near and does not fire it"),
                t("Narrow the conditions, or name another job."),
                code="near-miss-fires",
                severity=severity,
            )
