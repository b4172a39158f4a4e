"""Chooses among a circuit's variants: what holds for this vehicle's options joins the base, the rest goes.

Must not know what any entry means, nor merge a vehicle's overrides (that is `assemble`).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from diag.errors import Problem
from diag.knowledge import schema
from diag.knowledge.names import nearest, quoted, words
from diag.knowledge.omit import Outside
from diag.knowledge.reader import Loc, Marked
from diag.texts import t

__all__ = ["LISTS", "MAPPINGS", "Varied", "check_choices", "vary"]

MAPPINGS = ("parts", "fuses", "earths", "wires")
LISTS = ("checks", "symptoms", "rules", "causes", "remedies", "cautions")
BUILT_IN = ("earth", "system-v", "circuit")
"""What every variant may ask of a vehicle beside options."""


@dataclass(frozen=True)
class Varied:
    """A circuit of one vehicle. `homes`: (section, id) to where it stands in the file. `unchosen`: what only
    variants have that were not chosen, and what a chosen one takes away. `several`: ids of parts that have
    another form in another variant, and so other ways to fail."""

    model: schema.CircuitFile
    homes: Mapping[tuple[str, str], Loc]
    unchosen: Outside
    several: frozenset[str] = frozenset()


class _Choices:
    """What a vehicle chose, by the names that `only` may use."""

    def __init__(self, vehicle: schema.VehicleFile, circuits: Sequence[schema.CircuitFile]) -> None:
        self.vehicle = vehicle
        self.options = {file.circuit: file.options for file in circuits}

    def of(self, circuit: str, name: str) -> frozenset[str] | None:
        """Values that hold on this vehicle; None where no circuit knows such an option."""
        if name == "earth":
            return frozenset({self.vehicle.earth})
        if name == "system-v":
            return frozenset({f"{self.vehicle.system_v:g}"})
        if name == "circuit":
            return frozenset(self.options)
        other, dot, option = name.partition(".")
        owner, option = (other, option) if dot else (circuit, name)
        if owner not in self.options:
            return frozenset() if dot else None  # a circuit that is not fitted chose nothing
        if option not in self.options[owner]:
            return None
        chosen = self.vehicle.options.get(owner, {}).get(option)
        return frozenset({chosen if chosen is not None else next(iter(self.options[owner][option].choices))})


def check_choices(vehicle: schema.VehicleFile, marked: Marked, circuits: Sequence[schema.CircuitFile]) -> list[Problem]:
    """What the vehicle chooses that no circuit offers."""
    offered = {file.circuit: file.options for file in circuits}
    problems = []

    def say(loc: Loc, what: str, found: str, known: Sequence[str], *, key: bool, code: str) -> None:
        expected = words(known) or t("nothing")
        problems.append(Problem(marked.place(loc, key=key), what, quoted(found), expected, nearest(found, known), code))

    for circuit, chosen in vehicle.options.items():
        if circuit not in offered:
            say(
                ("options", circuit),
                t("this circuit is not fitted"),
                circuit,
                list(offered),
                key=True,
                code="unknown-circuit",
            )
            continue
        for option, value in chosen.items():
            at: Loc = ("options", circuit, option)
            if option not in offered[circuit]:
                say(
                    at,
                    t("`{circuit}` has no such option", circuit=circuit),
                    option,
                    list(offered[circuit]),
                    key=True,
                    code="unknown-option",
                )
            elif value not in offered[circuit][option].choices:
                say(
                    at,
                    t("`{option}` has no such choice", option=option),
                    value,
                    list(offered[circuit][option].choices),
                    key=False,
                    code="unknown-choice",
                )
            else:
                whole = {name: next(iter(one.choices)) for name, one in offered[circuit].items()} | dict(chosen)
                possible = list(offered[circuit][option].possible(whole))
                if value not in possible:
                    say(
                        at,
                        t("`{option}` cannot be this beside the other options", option=option),
                        value,
                        possible,
                        key=False,
                        code="unknown-choice",
                    )
    return problems


def vary(
    file: schema.CircuitFile, marked: Marked, vehicle: schema.VehicleFile, circuits: Sequence[schema.CircuitFile]
) -> tuple[Varied, list[Problem]]:
    """The circuit as this vehicle has it, with the mistakes in its variants."""
    choices = _Choices(vehicle, circuits)
    problems: list[Problem] = []
    chosen: list[tuple[int, schema.Variant]] = []
    others: list[schema.Variant] = []
    for index, variant in enumerate(file.variants):
        holds = True
        for name, values in variant.only.items():
            found = choices.of(file.circuit, name)
            at: Loc = ("variants", index, "only", name)
            if found is None:
                known = [*file.options, *BUILT_IN]
                problems.append(
                    Problem(
                        marked.place(at, key=True),
                        t("there is no such option"),
                        quoted(name),
                        words(known) + t(", or `circuit.option`"),
                        nearest(name, known),
                        code="unknown-option",
                    )
                )
                continue
            holds &= not found.isdisjoint(values)
        (chosen.append((index, variant)) if holds else others.append(variant))
    update, homes = _joined(file, chosen, marked, problems)
    model = file.model_copy(update={**update, "variants": ()})
    gone = {name for _, variant in chosen for name in variant.without}
    return Varied(model, homes, _unchosen(model, others, gone), _several(file)), problems


def _several(file: schema.CircuitFile) -> frozenset[str]:
    counted = Counter(name for sections in (file, *file.variants) for name in sections.parts)
    return frozenset(name for name, forms in counted.items() if forms > 1)


def _joined(
    file: schema.CircuitFile, chosen: Sequence[tuple[int, schema.Variant]], marked: Marked, problems: list[Problem]
) -> tuple[dict[str, Any], dict[tuple[str, str], Loc]]:
    """The sections with the chosen variants in them, and where each of their entries stands."""
    homes: dict[tuple[str, str], Loc] = {}
    base = {name for section in (*MAPPINGS, *LISTS) for name in _entries(file, section)}
    gone = {name for _, variant in chosen for name in variant.without}
    for index, variant in chosen:
        for place, name in enumerate(variant.without):
            if name not in base:
                problems.append(
                    Problem(
                        marked.place(("variants", index, "without", place)),
                        t("the circuit has nothing of this id to take away"),
                        quoted(name),
                        t("the id of a part, fuse, earth point, wire or check outside the variants"),
                        nearest(name, base),
                        code="unknown-id",
                    )
                )
    update: dict[str, Any] = {"controls": dict(file.controls), "says": dict(file.says)}
    for _, variant in chosen:
        update["controls"].update(variant.controls)
        update["says"].update(variant.says)
    for section in (*MAPPINGS, *LISTS):
        found = {name: entry for name, entry in _entries(file, section).items() if name not in gone}
        for index, variant in chosen:
            for position, (name, entry) in enumerate(_entries(variant, section).items()):
                loc: Loc = ("variants", index, section, position if section in LISTS else name)
                if (section, name) in homes:
                    problems.append(
                        Problem(
                            marked.place(loc, key=section in MAPPINGS),
                            t("two variants that hold together give the same id"),
                            quoted(name),
                            t("each id from one of them"),
                            t("Make their `only` exclude each other, or rename one."),
                            code="duplicate-id",
                        )
                    )
                homes[section, name] = loc
                found[name] = entry
        update[section] = tuple(found.values()) if section in LISTS else found
    return update, homes


def _entries(sections: schema.Sections, section: str) -> dict[str, Any]:
    found = getattr(sections, section)
    return dict(found) if section in MAPPINGS else {entry.id: entry for entry in found}


def _unchosen(model: schema.CircuitFile, others: Sequence[schema.Variant], gone: set[str]) -> Outside:
    def lost(*sections: str) -> frozenset[str]:
        here = {name for section in sections for name in _entries(model, section)}
        return frozenset({name for v in others for section in sections for name in _entries(v, section)} | gone) - here

    def established(sections: schema.Sections) -> set[str]:
        return {effect.establish for rule in sections.rules for effect in rule.then if effect.establish}

    said = {word for variant in others for word in established(variant)}
    return Outside(
        lost(*MAPPINGS),
        lost("checks"),
        frozenset(said - established(model)),
        lost("remedies"),
        lost("cautions"),
        frozenset({name for variant in others for name in variant.controls} - model.controls.keys()),
    )
