"""From the records of a job to findings that can be weighed, and back from a record to its step.

Knows journals' entries and steps; nothing of what is likely or asked next.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from diag.job.state import Entry, JobState
from diag.knowledge.bridging import spelt
from diag.reason.reasoner import Reasoner, Treated
from diag.reason.steps import Deed, Finding, Step, Value
from diag.texts import t

__all__ = ["findings_of", "record_of", "step_of", "value_of"]


def value_of(step: Step, found: object) -> Value:
    """The value of an answer record. Raises ValueError where it is none for the step."""
    if isinstance(found, Mapping):
        look = (str(found.get("light")), str(found.get("rhythm", "none")))
        if look not in step.outcomes:
            raise ValueError(t("{look} is no answer to {step}", look=look, step=step.id))
        return look
    if step.kind == "measure":
        if found == "OL":
            return math.inf
        if isinstance(found, int | float) and not isinstance(found, bool):
            return float(found)
    elif isinstance(found, str) and found in step.outcomes:
        return found
    raise ValueError(t("{found!r} is no answer to {step}", found=found, step=step.id))


def record_of(step: Step, value: Value) -> dict[str, Any]:
    """The self-contained content of an answer record."""
    out: dict[str, Any] = {"check": step.id, "kind": step.kind, "operate": dict(step.operate)}
    for name in ("target", "red", "black", "through", "unit"):
        if getattr(step, name) is not None:
            out[name] = getattr(step, name)
    if isinstance(value, tuple):
        out["value"] = {"light": value[0], "rhythm": value[1]}
    else:
        out["value"] = "OL" if value == float("inf") else value
    return out


def step_of(reasoner: Reasoner, fields: Mapping[str, object]) -> Step | None:
    """The step that an answer record describes; None where today's knowledge has none like it."""
    operate = fields.get("operate")

    def text(name: str) -> str | None:
        found = fields.get(name)
        return found if isinstance(found, str) else None

    controls = {str(c): str(p) for c, p in operate.items()} if isinstance(operate, Mapping) else {}
    controls = spelt(controls, reasoner.knowledge.terminals)
    named = (text(name) for name in ("target", "red", "black", "through", "unit"))
    return reasoner.step_like(text("check") or "", Deed(text("kind") or "", controls, *named))


def findings_of(reasoner: Reasoner, state: JobState) -> tuple[list[Finding], list[Treated], str | None, list[int]]:
    """Findings that stand, treatments, the circuit being proved, and seqs that mean nothing to today's
    knowledge (a check or word that is gone)."""
    findings: list[Finding] = []
    treated: list[Treated] = []
    proving: str | None = None
    unknown: list[int] = []
    for entry in state.entries:
        if entry.event in ("remedied", "changed"):
            treated.append(
                Treated(entry.period, str(entry.fields.get("remedy")) if entry.event == "remedied" else None)
            )
        elif entry.event in ("answered", "found"):
            if entry.fields.get("check") in ("start", "symptom"):
                told = str(entry.fields.get("value"))
                if told.startswith("circuit:"):
                    proving = told.removeprefix("circuit:")
                elif told == "whole":
                    proving = told
                elif told in reasoner.knowledge.symptoms:
                    findings.append(Finding(entry.seq, None, None, entry.period, told))
                else:
                    unknown.append(entry.seq)
                continue
            finding = _finding(reasoner, entry)
            if finding is None:
                unknown.append(entry.seq)
            else:
                findings.append(finding)
    return findings, treated, proving, unknown


def _finding(reasoner: Reasoner, entry: Entry) -> Finding | None:
    step = step_of(reasoner, entry.fields)
    if step is None:
        return None
    try:
        return Finding(entry.seq, step, value_of(step, entry.fields.get("value")), entry.period)
    except ValueError:
        return None
