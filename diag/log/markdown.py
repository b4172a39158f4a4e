"""A report as Markdown, through the template beside this module. Knows layout only.

Every value that the template puts out is escaped unless it is marked ready, so none can be forgotten.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from functools import lru_cache

import jinja2

from diag.log.escape import Ready, code, inline, markdown_environment
from diag.log.report import Chance, Evidence, Item, Limits, Moment, Report, RuledOut, Stage

__all__ = ["as_markdown"]

_SHOWN, _LISTED = 1.3, 8
"""Evidence that says little is left out, and so is what comes after the strongest few; JSON has it all."""
_ANSWERS = ("answered", "found")


@dataclass(frozen=True)
class _Part:
    """Items between two works on the vehicle; `opens`: the work that came before them."""

    opens: Item | None
    items: tuple[Item, ...]


def as_markdown(report: Report) -> str:
    """The report as GitHub-flavoured Markdown."""
    text = _environment().get_template("job.md.j2").render(report=report, parts=list(_parts(report.items)))
    return re.sub(r"\n{3,}", "\n\n", text).rstrip("\n") + "\n"  # blank lines that the template leaves


def _parts(items: Sequence[Item]) -> Iterator[_Part]:
    opens: Item | None = None
    current: list[Item] = []
    for item in items:
        if item.event in ("remedied", "changed") and item.status == "standing":
            yield _Part(opens, tuple(current))
            opens, current = item, []
        else:
            current.append(item)
    yield _Part(opens, tuple(current))


@lru_cache(maxsize=1)
def _environment() -> jinja2.Environment:
    env = markdown_environment("diag.log")
    env.filters |= {
        "layers": lambda layers: ", ".join(layer.called for layer in layers),
        "by_answer": _by_answer,
        "code": code,
        "chance": _chance,
        "clock": lambda at: at.utc[11:19],
        "day": _day,
        "found": _found,
        "how": _how,
        "joined": lambda texts, by=", ": by.join(str(text) for text in texts),
        "limits": _limits,
        "local": _local,
        "ready": Ready,
        "sentence": _sentence,
        "strongest": _strongest,
        "times": _times,
        "utc": lambda at: f"{_day(at)} {at.utc[11:16]} UTC",
    }
    return env


def _day(at: Moment) -> str:
    return _date(datetime.fromisoformat(at.utc))


def _date(time: datetime) -> str:
    return f"{time.day} {time:%B %Y}"


def _local(at: Moment) -> str:
    time = datetime.fromisoformat(at.local)
    return f"{_date(time)} {time:%H:%M} {at.zone} (UTC{at.local[-6:]})"


def _chance(chance: Chance) -> str:
    return f"{chance.words} ({chance.percent})"


def _times(weight: float) -> str:
    """A likelihood ratio that can be read: never a long row of noughts."""
    if weight >= 1:
        return f"×{weight:.0f}" if weight >= 10 else f"×{weight:.1f}"
    return f"÷{1 / max(weight, 1e-9):.0f}" if weight <= 0.1 else f"÷{1 / weight:.1f}"


def _sentence(text: str) -> str:
    text = text.strip()
    return text if text.endswith((".", "!", "?")) else f"{text}."


def _limits(limits: Limits, unit: str) -> str:
    if limits.min is not None and limits.max is not None:
        bounds = f"{limits.min:g} to {limits.max:g} {unit}"
    elif limits.min is not None:
        bounds = f"at least {limits.min:g} {unit}"
    else:
        bounds = f"at most {limits.max:g} {unit}"
    return f"{bounds} ({limits.source})"


def _how(item: Item) -> str:
    """What was operated, and what was watched or probed."""
    if item.instruction:
        return item.instruction if item.known else f"{item.title}: {item.operated}; {item.instruction}"
    return f"{item.title}: {item.operated}" if item.operated and not item.known else item.title


def _found(item: Item) -> Ready:
    """The answer, struck out where it no longer counts, with what is to be said of it."""
    answer = Ready(f"**{inline(item.found)}**") if item.found else Ready("")
    notes: list[str] = []
    if item.status != "standing":
        answer = Ready(f"~~{inline(item.found)}~~")
        notes.append(f"{item.status} by record {item.marked_by}; counts for nothing")
    if item.corrects is not None and item.status == "standing":
        notes.append(f"corrects answer {item.corrects}, and counts in its place")
    if not item.known:
        notes.append("not known to today's knowledge; left aside")
    if item.sound is False:
        notes.append("not as on a healthy vehicle")
    if item.limits is not None and not item.limits.met:
        notes.append("outside the limits")
    return Ready(f"{answer}; {inline('; '.join(notes))}") if notes else answer


def _strongest(stage: Stage, remedy: str) -> tuple[Evidence, ...]:
    """What speaks for or against a remedy, strongest first, rules told once only."""
    lines = [line for line in stage.evidence if line.remedy == remedy]
    kept = [line for line in lines if line.weight >= _SHOWN or line.weight <= 1 / _SHOWN][:_LISTED]
    seen: set[str] = set()
    out = []
    for line in kept:
        fresh = tuple(rule for rule in line.rules if rule.id not in seen)
        seen |= {rule.id for rule in fresh}
        out.append(replace(line, rules=fresh))
    return tuple(out)


def _by_answer(ruled_out: Sequence[RuledOut]) -> list[list[RuledOut]]:
    """What each answer ruled out, in the order of the answers; what none did comes last."""
    groups: dict[int | None, list[RuledOut]] = {}
    for out in ruled_out:
        groups.setdefault(out.number, []).append(out)
    return [groups[number] for number in sorted(groups, key=lambda number: (number is None, number or 0))]
