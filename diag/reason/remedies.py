"""What cures which causes, with steps, cautions and proof: from the files, else derived by kind.

Knows nothing of probabilities.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from diag.circuit.faults import Cause
from diag.circuit.kinds.wires import end_title, wire_title
from diag.knowledge import schema
from diag.knowledge.assemble import Knowledge
from diag.knowledge.names import filled
from diag.reason.neighbours import Neighbour, Neighbours
from diag.reason.operates import plain
from diag.texts import t

__all__ = ["RemedyPlan", "marking_of", "plan_remedies"]

_PROOFS = 6
_CAP_W = {2.0: 2.0, 3.0: 3.0, 4.0: 4.0, 5.0: 5.5, 10.0: 10.0, 21.0: 25.0, 35.0: 37.0}
"""Watts on a lamp's cap and what it draws at 13.5 V (UN R37; 2 W and 35 W common practice, no source)."""
_PAIR_CAP_W = {5.0: 6.0, 21.0: 25.0, 25.0: 28.0, 40.0: 51.0, 45.0: 57.0, 55.0: 68.0, 60.0: 75.0}
"""The same for lamps of two filaments at their test volts, 13.5 V or 13.2 V for headlamps (UN R37: P21/5W,
R2, H4; headlamps from memory; 25 W common practice, no source)."""
_NEAR = 0.18
"""Share by which a lamp may draw more or less than one in the tables and still be called by its cap; common practice,
no source."""


@dataclass(frozen=True)
class RemedyPlan:
    """A remedy of this vehicle. `proof`: ids of checks, most telling first. `minutes` to carry out, `reach`
    minutes to get at what it is about, at `place` (None where it is in more than one). `neighbours`: checks
    of what the work may have disturbed, the quickest first. `parts`: what has to be at hand."""

    id: str
    title: str
    cures: tuple[str, ...]
    steps: tuple[str, ...]
    cautions: tuple[str, ...]
    minutes: float
    proof: tuple[str, ...]
    place: str | None = None
    reach: float = 0.0
    neighbours: tuple[Neighbour, ...] = ()
    parts: tuple[str, ...] = ()


def plan_remedies(
    knowledge: Knowledge, causes: Sequence[Cause], shows: Mapping[str, Sequence[str]]
) -> dict[str, RemedyPlan]:
    """Every remedy by id. `shows`: cause id → checks whose answer it changes, most telling first."""
    written = {cause: remedy.id for remedy in knowledge.remedies.values() for cause in remedy.cures}
    groups: dict[str, list[Cause]] = {}
    for cause in causes:
        groups.setdefault(written.get(cause.id) or written.get(cause.of or "", cause.remedy), []).append(cause)
    telling: dict[str, set[str]] = {}
    for cause in causes:
        if cause.electrical and shows.get(cause.id):
            telling.setdefault(cause.subject, set()).update(shows[cause.id])
    neighbours = Neighbours(knowledge, telling)
    return {
        remedy: _beside(_placed(knowledge, _plan(knowledge, remedy, group, shows), group), group, neighbours)
        for remedy, group in groups.items()
    }


def _beside(plan: RemedyPlan, group: Sequence[Cause], neighbours: Neighbours) -> RemedyPlan:
    """The same with what the work may have disturbed."""
    return replace(plan, neighbours=neighbours.of([cause.subject for cause in group], plan.proof))


def _placed(knowledge: Knowledge, plan: RemedyPlan, group: Sequence[Cause]) -> RemedyPlan:
    """The same with where it is done, if all its causes lie in parts at one place."""
    parts = [knowledge.parts.get(cause.subject) for cause in group]
    places = {part.place if part is not None else None for part in parts}
    if len(places) != 1 or None in places:
        return plan
    return replace(plan, place=places.pop(), reach=max(part.reach for part in parts if part is not None))


def _plan(
    knowledge: Knowledge, remedy_id: str, group: Sequence[Cause], shows: Mapping[str, Sequence[str]]
) -> RemedyPlan:
    cures = tuple(cause.id for cause in group)
    touched = list(dict.fromkeys(check for cause in group for check in shows.get(cause.id, ())))
    note = knowledge.remedies.get(remedy_id)
    if note is not None:
        proof = _cheap_first(knowledge, list(dict.fromkeys([*note.proof, *touched]))[: max(_PROOFS, len(note.proof))])
        return RemedyPlan(
            remedy_id,
            note.title,
            cures,
            tuple(note.steps),
            tuple(note.cautions),
            note.minutes,
            tuple(proof),
            parts=tuple(note.parts),
        )
    subject, _, verb = remedy_id.partition(".")
    form = knowledge.kinds.remedies.get(f"{verb}-{group[0].kind}") or knowledge.kinds.remedies.get(verb)
    label, place = _label(knowledge, subject)
    if form is None:
        return RemedyPlan(
            remedy_id,
            t("Put right: {title}", title=group[0].title),
            cures,
            (t("Put right: {title}.", title=group[0].title),),
            (),
            10.0,
            tuple(_cheap_first(knowledge, touched[:_PROOFS])),
        )
    marking, wire = marking_of(knowledge, subject), _wire(knowledge, subject)
    fill = {"part": label, "place": place, "marking": marking, "wire": wire}
    return RemedyPlan(
        remedy_id,
        filled(form.title, fill),
        cures,
        tuple(filled(step, fill) for step in form.steps),
        tuple(form.cautions),
        form.minutes,
        tuple(_cheap_first(knowledge, touched[:_PROOFS])),
        parts=tuple(filled(text, fill) for text in form.parts),
    )


def _wire(knowledge: Knowledge, subject: str) -> str:
    """A wire as it is cut from the reel."""
    wire = knowledge.wires.get(subject)
    if wire is None:
        return t("wire of the same section and colour")
    return t(
        "wire {section_mm2:g} mm², {colour}, {length_m:.2g} m at most",
        section_mm2=wire.section_mm2,
        colour=wire.colour,
        length_m=wire.length_m,
    )


def marking_of(knowledge: Knowledge, subject: str) -> str:
    """What must be stamped on a new part, as far as the files say: amps of a fuse, watts of a lamp; else the same as
    on the old one."""
    match knowledge.parts.get(subject):
        case schema.FusePart(rating_a=rating):
            return f"{rating:g} A"
        case schema.LampPart(test_w=watts):
            return f"{_cap_w(watts, _CAP_W):g} W"
        case schema.TwoFilamentPart(test_w=pair):
            return "/".join(f"{_cap_w(watts, _PAIR_CAP_W):g}" for watts in pair) + " W"
    return t("the same marking")


def _cap_w(watts: float, table: Mapping[float, float]) -> float:
    """Watts on the cap of the lamp that draws nearest to these; these, where none comes near."""
    nearest = min(table, key=lambda cap: abs(table[cap] - watts))
    return nearest if abs(table[nearest] - watts) <= _NEAR * watts else watts


def _cheap_first(knowledge: Knowledge, checks: list[str]) -> list[str]:
    """Checks with the engine standing before those that need it running, and wires on before wires off."""

    def effort(check: str) -> tuple[bool, bool]:
        operate = knowledge.checks[check].operate
        return operate.get("engine") == "running", not plain(operate)

    return sorted(checks, key=effort)


def _label(knowledge: Knowledge, subject: str) -> tuple[str, str]:
    part = knowledge.parts.get(subject)
    if part is not None:
        return part.title, knowledge.places.get(part.place, part.place)
    wire: schema.Wire | None = knowledge.wires.get(subject)
    if wire is not None:
        label = f"{wire_title(wire, knowledge.parts)} ({wire.colour}"
        if wire.title is None:
            return f"{label})", t("both of its ends")
        one, other = end_title(knowledge.parts, wire.from_), end_title(knowledge.parts, wire.to)
        return f"{label}, {t('from {one} to {other}', one=one, other=other)})", t("both of its ends")
    return subject.replace("-", " "), t("the vehicle")
