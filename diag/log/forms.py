"""A report as JSON and as CSV. Knows the report's fields; nothing of how they came about.

JSON: the fields of `diag.log.report`, names with hyphens, plain ASCII. CSV: one row an answer, also
withdrawn ones; text that could be a formula has a quote in front, numbers are left as they are.
"""

from __future__ import annotations

import csv
import io
import json
import math
from dataclasses import fields, is_dataclass
from typing import Any

from diag.log.report import Item, Report
from diag.sheet.escape import cell

__all__ = ["COLUMNS", "as_csv", "as_json"]

COLUMNS = (
    "number",
    "at-utc",
    "at-local",
    "zone",
    "event",
    "status",
    "marked-by",
    "corrects",
    "period",
    "check",
    "title",
    "operated",
    "instruction",
    "expected",
    "expected-from",
    "found",
    "value",
    "unit",
    "limit-min",
    "limit-max",
    "limit-source",
    "within-limits",
    "as-sound",
    "known",
)


def as_json(report: Report) -> str:
    """The whole report; keys are sorted as the fields are declared."""
    return json.dumps(_plain(report), indent=2, allow_nan=False) + "\n"


def _plain(found: Any) -> Any:
    if is_dataclass(found) and not isinstance(found, type):
        return {field.name.replace("_", "-"): _plain(getattr(found, field.name)) for field in fields(found)}
    if isinstance(found, tuple | list):
        return [_plain(one) for one in found]
    if isinstance(found, dict):
        return {str(key): _plain(one) for key, one in found.items()}
    if isinstance(found, float) and not math.isfinite(found):
        return "OL" if found > 0 else None
    return found


def as_csv(report: Report) -> str:
    """Answers and findings in order, complaints among them, under one line of column names."""
    out = io.StringIO()
    writer = csv.writer(out, quoting=csv.QUOTE_NONNUMERIC, lineterminator="\r\n")  # RFC 4180
    writer.writerow(COLUMNS)
    for item in report.items:
        if item.event in ("answered", "found"):
            writer.writerow([cell(found) if isinstance(found, str) else found for found in _row(item)])
    return out.getvalue()


def _row(item: Item) -> tuple[str | float | int, ...]:
    limits = item.limits
    return (
        item.number,
        item.at.utc,
        item.at.local,
        item.at.zone,
        item.event,
        item.status,
        _or_empty(item.marked_by),
        _or_empty(item.corrects),
        item.period,
        item.check,
        item.title,
        item.operated,
        item.instruction,
        item.expected,
        item.expected_from,
        item.found,
        _value(item.value),
        item.unit,
        _or_empty(limits.min) if limits is not None else "",
        _or_empty(limits.max) if limits is not None else "",
        limits.source if limits is not None else "",
        _yes(limits.met) if limits is not None else "",
        _yes(item.sound),
        _yes(item.known),
    )


def _value(found: Any) -> str | float | int:
    if isinstance(found, dict):
        return "/".join(str(word) for word in found.values())
    if isinstance(found, int | float) and not isinstance(found, bool) and math.isfinite(found):
        return found
    return found if isinstance(found, str) else json.dumps(found)


def _or_empty(found: float | int | None) -> str | float | int:
    return "" if found is None else found


def _yes(found: bool | None) -> str:
    return "" if found is None else "yes" if found else "no"
