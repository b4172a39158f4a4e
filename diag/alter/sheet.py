"""The work sheet of an alteration as plain rows, whatever it is then printed on. Knows no columns, no files."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from diag.alter.computed import Computed
from diag.alter.difference import PartWork, WireWork, part_works, wire_works
from diag.alter.guarding import unguarded
from diag.alter.plan import Plan
from diag.knowledge.alterations import BATTERY_OFF, Figure
from diag.knowledge.assemble import Knowledge
from diag.knowledge.ends import EndsFile
from diag.knowledge.schema import FusePart
from diag.knowledge.units import written
from diag.texts import t

__all__ = ["FigureRow", "MapRow", "ProofRow", "SizeRow", "WorkSheet", "make_worksheet"]


_A_HAND_M = 0.25
"""So much wire may stand before a fuse (a hand's length: common practice, no source)."""


@dataclass(frozen=True)
class MapRow:
    """One wire that is touched: what is done to it, from which terminals to which, and what its ends are."""

    action: str
    wire: str
    was: str
    now: str
    ends: tuple[str, ...]


@dataclass(frozen=True)
class SizeRow:
    """A wire or fuse, with its size, most amps and volts lost, before and after."""

    title: str
    was: str
    now: str


@dataclass(frozen=True)
class FigureRow:
    """Something computed before and after. `good`: whether it went the way it should; None where it need not."""

    title: str
    was: str
    now: str
    good: bool | None


@dataclass(frozen=True)
class ProofRow:
    """A check that proves the work: id, title, caution, and what a sound vehicle shows; `good` as in `Expected`."""

    check_id: str
    title: str
    shows: str
    good: bool | None
    caution: str


@dataclass(frozen=True)
class WorkSheet:
    """Everything that the person takes along. `doubts`: what the computation does not like."""

    title: str
    vehicle: str
    because: str
    chosen: tuple[str, ...]
    cautions: tuple[str, ...]
    doubts: tuple[str, ...]
    unguarded: tuple[str, ...]
    """Wires laid or moved that no fuse stands before."""
    needed: tuple[str, ...]
    map: tuple[MapRow, ...]
    marks: tuple[str, ...]
    sizes: tuple[SizeRow, ...]
    figures: tuple[FigureRow, ...]
    steps: tuple[str, ...]
    proofs: tuple[ProofRow, ...]
    source: str
    what: tuple[str, ...]
    """What changed, in words, for the vehicle's history."""


def make_worksheet(plan: Plan, before: Computed, after: Computed, ends: EndsFile) -> WorkSheet:
    """The sheet of one alteration on one vehicle, both solved under the operates of `plan`."""
    old, new, recipe = before.knowledge, after.knowledge, plan.recipe.model
    wires = wire_works(old, new, plan.all_of("renews"))
    parts = part_works(old, new, plan.all_of("renews"))
    proofs = tuple(_proofs(plan, after))
    figures = tuple(_figure(figure, before, after) for change in plan.changes for figure in change.figures)
    return WorkSheet(
        recipe.title,
        new.vehicle.title,
        recipe.because,
        tuple(_chosen(plan)),
        tuple(_cautions(plan, old)),
        tuple(_doubts(proofs, figures, after)),
        tuple(_unguarded(wires, after)),
        tuple(_needed(parts, wires, plan, ends, new)),
        tuple(_map_row(work, old, new, ends) for work in wires),
        tuple(_marks(plan, old, new)),
        tuple(_sizes(wires, parts, before, after)),
        figures,
        tuple(_steps(plan, parts, wires, old, new)),
        proofs,
        recipe.source,
        tuple(_what(parts, wires, new)),
    )


def _chosen(plan: Plan) -> Iterator[str]:
    for name, value in plan.chosen.items():
        option = plan.recipe.model.choices[name]
        yield f"{option.title}: {option.choices[value]} ({name}={value})"
    for name, value in plan.asked.items():
        yield f"{plan.recipe.model.asks[name].title}: {value} ({name})"


def _cautions(plan: Plan, old: Knowledge) -> Iterator[str]:
    ids = plan.all_of("cautions")
    for caution in [BATTERY_OFF, *(one for one in ids if one != BATTERY_OFF)]:
        yield old.cautions[caution].text


# ---------------------------------------------------------------- terminals


def _point(end: str, knowledge: Knowledge) -> str:
    """A terminal as a person is told of it: the part, and what stands beside the terminal."""
    part_id, _, terminal = end.partition(".")
    part = knowledge.parts[part_id]
    return f"{part.title} {part.spelled(terminal)}"


def _map_row(work: WireWork, old: Knowledge, new: Knowledge, ends: EndsFile) -> MapRow:
    was = "" if work.was is None else " - ".join(_point(end, old) for end in work.was)
    now = "" if work.now is None else " - ".join(_point(end, new) for end in work.now)
    fitted = []
    if work.now is not None and work.section_mm2 is not None and work.action != "back":
        changed = [end for end in work.now if work.action in ("new", "thicker") or end not in (work.was or ())]
        for end in changed:
            part_id, _, terminal = end.partition(".")
            fitting = ends.fitting(new.parts[part_id].kind, part_id, terminal, work.section_mm2)
            fitted.append(f"{_point(end, new)}: {fitting}")
    return MapRow(work.action, f"{work.title} ({work.colour})", was, now, tuple(fitted))


def _marks(plan: Plan, old: Knowledge, new: Knowledge) -> Iterator[str]:
    for point, marks in plan.mapped("marks").items():
        part_id, _, terminal = point.partition(".")
        there = old.parts.get(part_id)
        if there is None:
            continue
        goes = terminal if point in new.terminals else t("not on the new part: insulate what was on it")
        yield t(
            "{there} {terminal}, on an old one perhaps {marks} -> {goes}",
            there=there.title,
            terminal=terminal,
            marks=", ".join(marks),
            goes=goes,
        )


# ---------------------------------------------------------------- figures


def _figure(figure: Figure, before: Computed, after: Computed) -> FigureRow:
    unit = "A" if figure.through is not None else "V"
    was, now = (_value(figure, side) for side in (before, after))
    good = None
    if was is not None and now is not None and figure.wanted != "any":
        slack = 0.02 * max(abs(was), 0.1)
        good = {
            "higher": now > was + 1e-6,
            "lower": now < was - 1e-6,
            "as-before": abs(now - was) <= slack,
        }[figure.wanted]
    words = [t("not there") if found is None else _two_places(found, unit) for found in (was, now)]
    return FigureRow(figure.title, words[0], words[1], good)


def _two_places(found: float, unit: str) -> str:
    return f"{found:.2f} {unit}" if found >= 0.1 else written(found, unit)


def _value(figure: Figure, side: Computed) -> float | None:
    """Volts without their sign: on a positive-earth vehicle all of them stand the other way."""
    if figure.through is not None:
        return side.amps(figure.operate, figure.through)
    assert figure.red is not None
    found = side.volts(figure.operate, figure.red, figure.black)
    return None if found is None else abs(found)


def _sizes(
    wires: Sequence[WireWork], parts: Sequence[PartWork], before: Computed, after: Computed
) -> Iterator[SizeRow]:
    for work in wires:
        if work.action == "back":
            continue
        was = "" if work.was is None else _wire_size(work.section_was_mm2, work.wire_id, before)
        now = "" if work.now is None else _wire_size(work.section_mm2, work.wire_id, after)
        yield SizeRow(f"{work.title}, {written(work.length_m, 'm')}", was, now)
    for part in parts:
        there = [side.knowledge.parts.get(part.part_id) for side in (before, after)]
        if any(isinstance(one, FusePart) for one in there):
            was, now = (
                t(
                    "{rating_a}, carries {most_amps}",
                    rating_a=written(one.rating_a, "A"),
                    most_amps=written(side.most_amps(part.part_id), "A"),
                )
                if isinstance(one, FusePart)
                else ""
                for one, side in zip(there, (before, after), strict=True)
            )
            yield SizeRow(part.title, was, now)


def _wire_size(section_mm2: float | None, wire: str, side: Computed) -> str:
    assert section_mm2 is not None
    lost, amps = side.most_lost_v(wire), side.most_amps(wire)
    return t(
        "{section_mm2}, {amps}, loses {lost}",
        section_mm2=written(section_mm2, "mm2"),
        amps=written(amps, "A"),
        lost=written(lost, "V"),
    )


# ---------------------------------------------------------------- proof


def _proofs(plan: Plan, after: Computed) -> Iterator[ProofRow]:
    known = after.knowledge
    for check_id in plan.all_of("prove"):
        check = known.checks.get(check_id)
        if check is None:
            continue
        expected = after.expected(check)
        caution = known.cautions[check.caution].text if check.caution is not None else ""
        yield ProofRow(check_id, check.title, expected.words, expected.good, caution)


def _doubts(proofs: Sequence[ProofRow], figures: Sequence[FigureRow], after: Computed) -> Iterator[str]:
    for row in proofs:
        if row.good is False:
            yield t(
                "{row}: computed as {shows}, which is not what a sound vehicle shows.", row=row.title, shows=row.shows
            )
    for figure in figures:
        if figure.good is False:
            judged = t("nothing is gained") if figure.was == figure.now else t("which is the wrong way")
            yield t(
                "{figure}: {was} before and {now} after, {judged}.",
                figure=figure.title,
                was=figure.was,
                now=figure.now,
                judged=judged,
            )
    for name in after.blown:
        yield t("{name} gives way on the sound vehicle: its fuse or section is too small.", name=name)


def _unguarded(wires: Sequence[WireWork], after: Computed) -> Iterator[str]:
    bare = unguarded(after.knowledge, after.network)
    for work in wires:
        touched = work.action in ("new", "move", "thicker") and work.length_m > _A_HAND_M
        if touched and work.wire_id in bare and work.section_mm2 is not None:
            thick = written(work.section_mm2, "mm2")
            yield (
                t(
                    "No fuse guards {work} ({colour}, {thick}): a short on it burns it. Fuse its feed, "
                    "or lay it sleeved, tied and clear of every edge.",
                    work=work.title,
                    colour=work.colour,
                    thick=thick,
                )
            )


# ---------------------------------------------------------------- work


def _needed(
    parts: Sequence[PartWork], wires: Sequence[WireWork], plan: Plan, ends: EndsFile, new: Knowledge
) -> Iterator[str]:
    for work in parts:
        if work.action in ("new", "replaced") and new.parts[work.part_id].kind != "earth":
            yield t("1 x {work}", work=work.title) + (f": {work.data}" if work.data else "")
    by_wire: dict[tuple[float, str], float] = {}
    fittings: dict[str, int] = {}
    for wire in wires:
        if wire.action in ("new", "thicker") and wire.section_mm2 is not None:
            key = wire.section_mm2, wire.colour
            by_wire[key] = by_wire.get(key, 0.0) + wire.length_m
        if wire.now is None or wire.section_mm2 is None or wire.action == "back":
            continue
        for end in wire.now:
            if wire.action in ("new", "thicker") or end not in (wire.was or ()):
                part_id, _, terminal = end.partition(".")
                name = ends.fitting(new.parts[part_id].kind, part_id, terminal, wire.section_mm2)
                fittings[name] = fittings.get(name, 0) + 1
    for (section, colour), metres in sorted(by_wire.items()):
        yield t(
            "{metres} of {section} wire, {colour}, and a tenth over",
            metres=written(metres, "m"),
            section=written(section, "mm2"),
            colour=colour,
        )
    for name, count in sorted(fittings.items()):
        yield t("{count} x {name}", count=count, name=name)
    yield from plan.all_of("needed")


def _steps(
    plan: Plan, parts: Sequence[PartWork], wires: Sequence[WireWork], old: Knowledge, new: Knowledge
) -> Iterator[str]:
    yield from plan.all_of("measure")
    pole = t("positive") if old.vehicle.earth == "positive" else t("negative")
    yield t(
        "Battery off: key and all switches off, then the earth clamp ({pole}) off the battery, or the isolator open.",
        pole=pole,
    )
    renewed = [new.parts[part].title for part in plan.all_of("renews") if part in new.parts]
    if renewed or any(work.action in ("off", "move", "back") for work in wires):
        yield t("Label every wire before it comes off, with the part and the mark it was on; take a picture.")
    yield from plan.all_of("prepare")
    for work in wires:
        if work.action == "off" and work.was is not None:
            yield t(
                "Take off: {work} ({colour}) from {was}.",
                work=work.title,
                colour=work.colour,
                was=t(" and ").join(_point(e, old) for e in work.was),
            )
    for part in parts:
        if part.action == "off":
            yield t("Take out: {part}.", part=part.title)
        elif part.part_id in plan.all_of("renews"):
            yield t("Replace: {part}", part=part.title) + (f" ({part.data})." if part.data else ".")
        elif part.action == "replaced":
            yield t("Replace: {part}, {was}, by one of {data}.", part=part.title, was=part.was, data=part.data)
    yield from plan.all_of("steps")
    for part in parts:
        if part.action == "new":
            where = new.places.get(new.parts[part.part_id].place, "")
            yield (
                t("Fit: {part}", part=part.title)
                + (f", {part.data}" if part.data else "")
                + (f" ({where})." if where else ".")
            )
    for work in wires:
        if work.now is None or work.section_mm2 is None:
            continue
        ends = t(" to ").join(_point(end, new) for end in work.now)
        if work.action == "new":
            thick = written(work.section_mm2, "mm2")
            yield t(
                "Lay: {work} ({colour}, {thick}) from {ends}; crimp both ends, pull at them.",
                work=work.title,
                colour=work.colour,
                thick=thick,
                ends=ends,
            )
        elif work.action == "move" and work.was is not None:
            moved = [
                t("{a} to {b}", a=_point(a, old), b=_point(b, new))
                for a, b in zip(work.was, work.now, strict=True)
                if a != b
            ]
            yield t(
                "Move: {work} ({colour}) from {moved}; crimp the new end.",
                work=work.title,
                colour=work.colour,
                moved=t(" and from ").join(moved),
            )
        elif work.action == "back":
            at = [end for end in work.now if end.split(".")[0] in plan.all_of("renews")]
            yield t(
                "Put back: {work} ({colour}) on {at}.",
                work=work.title,
                colour=work.colour,
                at=t(" and ").join(_point(end, new) for end in at),
            )
        elif work.action == "thicker":
            yield t(
                "Lay anew: {work} ({colour}, {section_mm2}) from {ends}.",
                work=work.title,
                colour=work.colour,
                section_mm2=written(work.section_mm2, "mm2"),
                ends=ends,
            )
    if any(work.action in ("off", "move") for work in wires):
        yield t("Insulate every end that is left over, and tie it back.")
    yield (
        t(
            "Before the battery goes on: ohmmeter from each new or moved feed to body, everything "
            "switched off. Near nothing is a short: find it first."
        )
    )
    yield t(
        "Battery on: the earth clamp ({pole}) last. A spark with everything off means a load or a short: off again.",
        pole=pole,
    )
    yield from plan.all_of("finish")


def _what(parts: Sequence[PartWork], wires: Sequence[WireWork], new: Knowledge) -> Iterator[str]:
    verbs = {"new": "fitted", "replaced": "replaced", "off": t("taken out")}
    for part in parts:
        yield f"{part.title} {verbs[part.action]}" + (f": {part.data}" if part.data else "")
    for work in wires:
        if work.action == "new" and work.now is not None:
            yield t(
                "{work} laid, {section_mm2} {colour}",
                work=work.title,
                section_mm2=written(work.section_mm2 or 0.0, "mm2"),
                colour=work.colour,
            )
        elif work.action == "move" and work.now is not None:
            yield t("{work} moved to {now}", work=work.title, now=" - ".join(_point(end, new) for end in work.now))
        elif work.action == "off":
            yield t("{work} taken off", work=work.title)
        elif work.action == "thicker":
            yield t(
                "{work} laid anew, {section_mm2}", work=work.title, section_mm2=written(work.section_mm2 or 0.0, "mm2")
            )
