"""Parts of a log that every form of it tells alike: dates, chances, weights, limits, what was done for an answer.

Knows the report's fields; nothing of how a form marks its text.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from diag.job.layered import LayerTold
from diag.log.report import Chance, Done, Evidence, Item, Limits, Moment, Report, RuledOut, Stage
from diag.texts import t

__all__ = [
    "FILTERS",
    "EVENTS",
    "REASONS",
    "Part",
    "both_words",
    "bounds_words",
    "by_answer",
    "chance_words",
    "day_words",
    "how_words",
    "is_utc",
    "layers_words",
    "limits_words",
    "local_words",
    "parts_of",
    "reason_words",
    "remarks_of",
    "result_words",
    "sentence",
    "strongest",
    "times_words",
    "utc_words",
    "verdict_words",
]

_SHOWN, _LISTED = 1.3, 8
"""Evidence that says little is left out, and so is what comes after the strongest few; JSON has it all."""

EVENTS = {
    "skipped": t("Skipped"),
    "not-sure": t("Not sure"),
    "acknowledged": t("Caution acknowledged"),
    "noted": t("Note"),
    "instruments": t("Instruments"),
    "resumed": t("Job taken up again"),
    "left-open": t("Left open"),
    "stage": t("Stage"),
    "remedied": t("Carried out"),
    "changed": t("Changed"),
}
"""What an event is called before a person; answers need no name."""


REASONS = {
    "certain": t("The evidence was enough to conclude."),
    "cheaper-to-try": t("To try the remedy cost less than to check further."),
    "replace-to-test": t("A part known to be good was put in as a test."),
    "nothing-more-to-tell-apart": t("No check at hand could tell more apart."),
    "nothing-in-the-model": t("Nothing that the knowledge holds explains the answers."),
    "no-fault-found": t("No fault was found."),
}
"""Why the program concluded."""


@dataclass(frozen=True)
class Part:
    """Items between two works on the vehicle; `opens`: the work that came before them."""

    opens: Item | None
    items: tuple[Item, ...]


def parts_of(items: Sequence[Item]) -> Iterator[Part]:
    """The items in order, parted by the works that stand."""
    opens: Item | None = None
    current: list[Item] = []
    for item in items:
        if item.event in ("remedied", "changed") and item.status == "standing":
            yield Part(opens, tuple(current))
            opens, current = item, []
        else:
            current.append(item)
    yield Part(opens, tuple(current))


def day_words(at: Moment) -> str:
    """The day in UTC."""
    return _date(datetime.fromisoformat(at.utc))


_MONTHS = (
    t("January"), t("February"), t("March"), t("April"), t("May"), t("June"),
    t("July"), t("August"), t("September"), t("October"), t("November"), t("December"),
)  # fmt: skip


def _date(time: datetime) -> str:
    return t("{day} {month} {year}", day=time.day, month=_MONTHS[time.month - 1], year=time.year)


def utc_words(at: Moment) -> str:
    """Day and minute in UTC."""
    return t("{day} {utc} UTC", day=day_words(at), utc=at.utc[11:16])


def local_words(at: Moment) -> str:
    """Day and minute on the clock of the place, with its distance from UTC where there is any."""
    time = datetime.fromisoformat(at.local)
    return (
        utc_words(at)
        if is_utc(at)
        else t(
            "{date} {time:%H:%M} {zone} (UTC{local})", date=_date(time), time=time, zone=at.zone, local=at.local[-6:]
        )
    )


def both_words(at: Moment) -> str:
    """Day and minute on the clock of the place and in UTC; once where both are one."""
    return utc_words(at) if is_utc(at) else f"{local_words(at)}, {utc_words(at)}"


def is_utc(at: Moment) -> bool:
    """Whether the clock of the place shows UTC."""
    return at.local[-6:] == "+00:00"


def chance_words(chance: Chance) -> str:
    """A chance in words and figures."""
    return f"{chance.words} ({chance.percent})"


def times_words(weight: float) -> str:
    """A likelihood ratio that can be read: never a long row of noughts."""
    if weight >= 1:
        return f"×{weight:.0f}" if weight >= 10 else f"×{weight:.1f}"
    return f"÷{1 / max(weight, 1e-9):.0f}" if weight <= 0.1 else f"÷{1 / weight:.1f}"


def sentence(text: str) -> str:
    """Text with a stop at its end."""
    text = text.strip()
    return text if text.endswith((".", "!", "?")) else f"{text}."


def bounds_words(limits: Limits, unit: str) -> str:
    """Between what a good reading lies."""
    if limits.min is not None and limits.max is not None:
        return t("{min:g} to {max:g} {unit}", min=limits.min, max=limits.max, unit=unit)
    if limits.min is not None:
        return t("at least {min:g} {unit}", min=limits.min, unit=unit)
    return t("at most {max:g} {unit}", max=limits.max, unit=unit)


def limits_words(limits: Limits, unit: str) -> str:
    """The same with where the limits come from."""
    return f"{bounds_words(limits, unit)} ({limits.source})"


def layers_words(layers: Iterable[LayerTold]) -> str:
    """The layers of knowledge, lowest first, each with its version and the hash of its content."""
    return ", ".join(f"{layer.called} ({layer.hash})" if layer.version else layer.called for layer in layers)


def how_words(item: Item) -> str:
    """What was operated, and what was watched or probed."""
    if item.instruction:
        return item.instruction if item.known else f"{item.title}: {item.operated}; {item.instruction}"
    return f"{item.title}: {item.operated}" if item.operated and not item.known else item.title


def remarks_of(item: Item) -> tuple[str, ...]:
    """What is to be said of an answer: whether it counts, and whether it is as it should be."""
    notes: list[str] = []
    if item.status != "standing":
        notes.append(
            t("{status} by record {marked_by}; counts for nothing", status=item.status, marked_by=item.marked_by)
        )
    if item.corrects is not None and item.status == "standing":
        notes.append(t("corrects answer {corrects}, and counts in its place", corrects=item.corrects))
    if not item.known:
        notes.append(t("not known to today's knowledge; left aside"))
    if item.sound is False:
        notes.append(t("not as on a healthy vehicle"))
    if item.limits is not None and not item.limits.met:
        notes.append(t("outside the limits"))
    return tuple(notes)


def strongest(stage: Stage, remedy: str) -> tuple[Evidence, ...]:
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


def by_answer(ruled_out: Sequence[RuledOut]) -> list[list[RuledOut]]:
    """What each answer ruled out, in the order of the answers; what none did comes last."""
    groups: dict[int | None, list[RuledOut]] = {}
    for out in ruled_out:
        groups.setdefault(out.number, []).append(out)
    return [groups[number] for number in sorted(groups, key=lambda number: (number is None, number or 0))]


def reason_words(stage: Stage) -> str:
    """Why the program concluded at a stage, or that it would have asked on; empty at the end of an open job."""
    if stage.reason in REASONS:
        return REASONS[stage.reason]
    asked_on = t("The work was done before the program would have concluded; it would have asked on.")
    return asked_on if stage.kind != "end" else ""


def result_words(report: Report) -> str:
    """How far the job came, as a sentence that begins small."""
    sound = report.stages[-1].sound if report.stages else None
    at_rest = (
        t("nothing points to a fault any more: {chance}.", chance=chance_words(sound)) if sound is not None else ""
    )
    match report.status:
        case "not-begun":
            return t("nothing was asked or answered yet.")
        case "done":
            return t("the job is done. {at_rest}{at_rest_2}", at_rest=at_rest[:1].upper(), at_rest_2=at_rest[1:])
        case "no-fault-found" if sound is not None:
            return t("no fault was found: {chance} that nothing is wrong.", chance=chance_words(sound))
        case "concluded":
            return t("a conclusion was reached, and the work is still to be done.")
        case "nothing-in-the-model":
            return t("nothing that the knowledge holds explains the answers.")
    if sound is not None and sound.p >= 0.95:
        return t("{at_rest} More checks were still to come.", at_rest=at_rest)
    return t("the job is not finished.")


def verdict_words(work: Done) -> str:
    """What proved a work, as a sentence."""
    if work.kind == "change":
        return t("A change in the fitter's own words; what it cured is not known.")
    if not work.known:
        return t("Not known to today's knowledge, so nothing can be said of its proof.")
    return {
        "proved": t("Proved: every check of it made afterwards is as on a healthy vehicle."),
        "proved-together": t(
            "Proved only together with the work that followed; the checks are as on a healthy vehicle."
        ),
        "failed": t("NOT proved: something was still wrong afterwards."),
    }.get(work.verdict, "Not proved: no check was made afterwards.")


FILTERS: Mapping[str, Callable[..., Any]] = {
    "both": both_words,
    "by_answer": by_answer,
    "chance": chance_words,
    "clock": lambda at: at.utc[11:19],
    "clock_here": lambda at: at.local[11:19],
    "is_utc": is_utc,
    "how": how_words,
    "joined": lambda texts, by=", ": by.join(str(text) for text in texts),
    "layers": layers_words,
    "limits": limits_words,
    "local": local_words,
    "reason": reason_words,
    "result": result_words,
    "sentence": sentence,
    "strongest": strongest,
    "times": times_words,
    "utc": utc_words,
    "verdict": verdict_words,
}
"""What every form of the log calls in its templates."""
