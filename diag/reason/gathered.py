"""Which answers count, and beside which others each is judged: one pass over all findings of a job.

Knows findings and their steps; nothing of chances or causes.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence

from diag.reason.steps import Finding, Step, Value

__all__ = ["contexts", "counting"]

Column = Callable[[Step, Value], int]


def counting(findings: Sequence[Finding], column: Column) -> set[int]:
    """Places of the findings that count. An answer that only says again what was said of the same check does not:
    the same eyes and the same meter, so the same mistake, if it was one. Where the answers to a check differ in one
    period, each counts, as one of them is wrong; `column` says which counted answer a value is."""
    columns: dict[tuple[str, Value], int] = {}
    given: dict[tuple[int, str | None, str | None], list[int]] = {}
    answers: dict[tuple[int, str | None, str | None], set[int]] = {}
    out: set[int] = set()
    key: tuple[int, str | None, str | None]
    for place, finding in enumerate(findings):
        step, value = finding.step, finding.value
        if step is None or value is None:
            if finding.symptom is None and step is not None:
                continue  # nothing was said of it
            key = (finding.period, None, finding.symptom)
        else:
            key = (finding.period, step.id, None)
            said = (step.id, value)
            if said not in columns:
                columns[said] = column(step, value)
            answers.setdefault(key, set()).add(columns[said])
        given.setdefault(key, []).append(place)
    for key, places in given.items():
        if len(answers.get(key, ())) > 1:
            out.update(places)
        else:
            out.add(min(places, key=lambda place: findings[place].seq))
    return out


def contexts(
    findings: Sequence[Finding],
    computed: Callable[[Step], bool],
    stated: Callable[[Finding], Mapping[str, Value]],
) -> Iterator[Mapping[str, Value]]:
    """For each finding the answers of its period that rules may build on at it: all that are computed, and what was
    said before; none where its own step is computed. So a rule counts at the last of its checks that only rules speak
    of. `stated`: what a complaint says of checks; it stands in where no answer does. What is given holds only until
    the next is asked for."""
    answers: dict[int, dict[str, Value]] = {}
    complaints: dict[int, dict[str, Value]] = {}
    known: dict[str, bool] = {}
    for finding in findings:
        step = finding.step
        if step is not None and step.id not in known:
            known[step.id] = computed(step)
        if step is not None and finding.value is not None and known[step.id]:
            answers.setdefault(finding.period, {})[step.id] = finding.value
    for finding in findings:
        step = finding.step
        if step is None:
            own = complaints.setdefault(finding.period, {})
            for check, value in stated(finding).items():
                own.setdefault(check, value)
            yield {}
        elif known[step.id]:
            yield {}
        else:
            said = answers.setdefault(finding.period, {})
            stands = complaints.get(finding.period)
            yield {**stands, **said} if stands else said
            if finding.value is not None:
                said[step.id] = finding.value
