"""What was learned as rows of a table: counted, published, what it comes to. Words and figures only.

Knows nothing of jobs, screens or files.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import fsum, log
from statistics import median, quantiles

from diag.knowledge.learned import Learned, misread_after
from diag.learn.counting import Off
from diag.learn.lesson import Names
from diag.learn.tally import Known, shares_after
from diag.learn.written import percent, times_words
from diag.texts import t

__all__ = ["Row", "misread_rows", "off_words", "rows_of"]

_NAMED = 0.05
"""Counts below this are of causes that a remedy cures besides the one that it was."""
_FACTOR = 1.01


@dataclass(frozen=True)
class Row:
    """`n` of `total` faults, answers for misreadings, were of this sort; its share was `published` and is `then`
    with all that was learned. `section`: under which heading."""

    section: str
    title: str
    n: float
    total: float
    published: float
    then: float

    @property
    def times(self) -> float:
        """By how much the share grows or shrinks."""
        return self.then / self.published if self.published > 0 else float("inf")

    @property
    def words(self) -> str:
        """The figures in one line of at most 60 columns."""
        times = f": {times_words(self.times)}" if self.published > 0 else ""
        return t(
            "{number:g} of {total:g}, published {percent}, then {percent_2}{times}",
            number=round(self.n, 1),
            total=round(self.total, 1),
            percent=percent(self.published),
            percent_2=percent(self.then),
            times=times,
        )


def rows_of(learned: Learned, causes: Mapping[str, Sequence[Known]], names: Names) -> list[Row]:
    """Kinds, parts and causes that were met, what moves most first in each section."""
    after = {vehicle: shares_after(known, learned, vehicle) for vehicle, known in causes.items()}
    weights = {name: counts.faults for name, counts in learned.vehicles.items() if name in causes}
    every = fsum(weights.values())

    def shares(of: Callable[[Known], bool]) -> tuple[float, float]:
        """Published and learned share of a sort among the faults of all vehicles that were counted."""
        mine = [(vehicle, known) for vehicle in weights for known in causes[vehicle] if of(known)]
        before = fsum(weights[vehicle] * known.share for vehicle, known in mine)
        then = fsum(weights[vehicle] * after[vehicle][known.cause] for vehicle, known in mine)
        return before / every, then / every

    rows: list[Row] = []
    for kind, modes in learned.kinds.items():
        for mode, met in modes.items():
            before, then = shares(lambda known, k=kind, m=mode: (known.kind, known.mode) == (k, m))  # type: ignore[misc]
            title = names.modes.get((kind, mode), mode).replace("{part}", "").replace("{detail}", "").strip(" ,:")
            rows.append(Row(t("Kinds of faults"), f"{_spaced(kind)}: {title}", met.n, learned.faults, before, then))
    for circuit, subjects in learned.circuits.items():
        for subject, met in subjects.items():
            before, then = shares(lambda known, c=circuit, s=subject: (known.circuit, known.subject) == (c, s))  # type: ignore[misc]
            title = f"{names.circuits.get(circuit, circuit)}: {names.subjects.get(subject, _spaced(subject))}"
            rows.append(Row(t("Parts and wires of circuits"), title, met.n, learned.faults, before, then))
    for vehicle, counts in learned.vehicles.items():
        shares_before = {known.cause: known.share for known in causes.get(vehicle, ())}
        for cause, met in counts.causes.items():
            if cause in shares_before:
                section, then = names.vehicles.get(vehicle, vehicle), after[vehicle][cause]
                title = names.causes.get(cause, cause)
                rows.append(Row(section, title, met.n, counts.faults, shares_before[cause], then))
    sections = list(dict.fromkeys(row.section for row in rows))
    told = [row for row in rows if row.n >= _NAMED and max(row.times, 1 / max(row.times, 1e-9)) >= _FACTOR]
    return sorted(told, key=lambda row: (sections.index(row.section), -abs(log(row.times)), row.title))


def misread_rows(learned: Learned, published: Mapping[str, Mapping[str, Mapping[str, float]]]) -> list[Row]:
    """Words taken for others: every pair whose share moves. `published`: the vocabulary's misreadings."""
    return sorted(_misread(learned, published), key=lambda row: (-abs(row.then - row.published), row.title))


def _misread(learned: Learned, published: Mapping[str, Mapping[str, Mapping[str, float]]]) -> Iterator[Row]:
    for axis, counts in learned.misread.items():
        before = published.get(axis, {})
        after = misread_after(before, counts, learned.strength.misread)
        for true, told in counts.items():
            for word in dict.fromkeys([*before.get(true, {}), *told]):
                was, then = before.get(true, {}).get(word, 0.0), after.get(true, {}).get(word, 0.0)
                if word != true and was != then:
                    title = t(
                        "{axis}: {spaced}, told as {spaced_2}", axis=axis, spaced=_spaced(true), spaced_2=_spaced(word)
                    )
                    yield Row(t("Words misjudged"), title, told.get(word, 0.0), sum(told.values()), was, then)


def off_words(offs: Sequence[Off]) -> list[str]:
    """How far readings were off what is computed once the cause is known; reported, not learned."""
    out = []
    for unit in ("V", "A", "ohm"):
        mine = [off for off in offs if off.unit == unit]
        if not mine:
            continue
        if unit == "V":
            away = [abs(off.told - off.computed) for off in mine]
        else:  # by ratio
            away = [100 * abs(off.told / off.computed - 1) for off in mine if off.computed > 1e-3]
        if not away:
            continue
        most = quantiles(away, n=10)[-1] if len(away) > 1 else away[0]
        shown = (
            t("{median:.2g} V, nine of ten within {most:.2g} V", median=median(away), most=most)
            if unit == "V"
            else (t("{median:.0f} %, nine of ten within {most:.0f} %", median=median(away), most=most))
        )
        out.append(
            t(
                "{unit}: {count} readings, half within {shown} of what is computed",
                unit=unit,
                count=len(away),
                shown=shown,
            )
        )
    return out


def _spaced(name: str) -> str:
    return name.replace("-", " ")
