"""What of a recipe holds for this vehicle and these choices, with everything that was asked filled in.

Must not know how a vehicle's file is written or what a wire carries.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from diag.errors import DiagError, KnowledgeError, Problem
from diag.knowledge.alterations import Change, Recipe
from diag.knowledge.assemble import Knowledge
from diag.knowledge.names import nearest, quoted, words
from diag.knowledge.units import UnitError, parse_quantity, plain
from diag.texts import t

__all__ = ["Plan", "make_plan"]


@dataclass(frozen=True)
class Plan:
    """A recipe as it is carried out. `at`: where each of `changes` stands in the recipe's list; `chosen` and
    `asked`: what the person said or what is usual."""

    recipe: Recipe
    chosen: Mapping[str, str]
    asked: Mapping[str, str]
    changes: tuple[Change, ...]
    at: tuple[int, ...]

    def all_of(self, name: str) -> list[Any]:
        """The entries of one list of every change, in order, each once."""
        return list(dict.fromkeys(entry for change in self.changes for entry in getattr(change, name)))

    def mapped(self, name: str) -> dict[str, Any]:
        """The entries of one mapping of every change; a later change wins."""
        return {key: found for change in self.changes for key, found in getattr(change, name).items()}


def make_plan(recipe: Recipe, before: Knowledge, settings: Sequence[str]) -> Plan:
    """The recipe for a vehicle, with `settings` such as `unit=two` or `rated-w=46 W`.

    Raises DiagError where the recipe is not for this vehicle, for a setting that it does not know, and for
    choices that contradict each other.
    """
    _fits(recipe, before)
    chosen, asked = _settings(recipe, settings)
    holding = [
        (index, change)
        for index, change in enumerate(recipe.model.changes)
        if all(not _of(name, before, chosen).isdisjoint(values) for name, values in change.only.items())
    ]
    raw = recipe.marked.data["changes"]
    changes = tuple(
        Change.model_validate(_filled(raw[index], asked), by_alias=True, by_name=False) for index, _ in holding
    )
    plan = Plan(recipe, chosen, asked, changes, tuple(index for index, _ in holding))
    if not any(change.prove for change in changes):
        raise DiagError(
            t("{alteration}: nothing of it fits this vehicle and these choices.", alteration=recipe.model.alteration)
        )
    _agreeing(plan)
    _there(plan, before)
    return plan


def _fits(recipe: Recipe, before: Knowledge) -> None:
    name, vehicle = recipe.model.alteration, before.vehicle
    missing = [circuit for circuit in recipe.model.circuits if circuit not in before.circuits]
    if missing:
        raise DiagError(
            t(
                "{name}: this vehicle has no circuit {missing}; expected one that has it.",
                name=name,
                missing=words(missing),
            )
        )
    if recipe.model.for_v and vehicle.system_v not in recipe.model.for_v:
        wanted = t(" or ").join(f"{volts:g} V" for volts in recipe.model.for_v)
        raise DiagError(
            t(
                "{name}: this vehicle has {system_v:g} V; expected one of {wanted}.",
                name=name,
                system_v=vehicle.system_v,
                wanted=wanted,
            )
        )
    for option, values in recipe.model.where.items():
        found = _of(option, before, {})
        if found.isdisjoint(values):
            raise DiagError(
                t(
                    "{name}: this vehicle has {option} {found}; expected {values}.",
                    name=name,
                    option=option,
                    found=words(found) or t("not at all"),
                    values=words(values),
                )
            )


def _settings(recipe: Recipe, settings: Sequence[str]) -> tuple[dict[str, str], dict[str, str]]:
    choices, asks = recipe.model.choices, recipe.model.asks
    given: dict[str, str] = {}
    for text in settings:
        name, sign, value = (piece.strip() for piece in text.partition("="))
        if not sign or not value:
            raise DiagError(t("--set: found {text}; expected name=value.", text=quoted(text)))
        if name not in choices and name not in asks:
            known = [*choices, *asks]
            raise DiagError(
                t(
                    "--set: found {name}; expected {known}. {nearest}",
                    name=quoted(name),
                    known=words(known),
                    nearest=nearest(name, known),
                ).rstrip()
            )
        if given.setdefault(name, value) != value:
            raise DiagError(
                t(
                    "--set: found {text}; `{name}={given}` was given before it.",
                    text=quoted(text),
                    name=name,
                    given=given[name],
                )
            )
        if name in choices and value not in choices[name].choices:
            raise DiagError(
                t(
                    "--set: found {text}; expected {name}= {choices}. {nearest}",
                    text=quoted(text),
                    name=name,
                    choices=words(choices[name].choices),
                    nearest=nearest(value, choices[name].choices),
                ).rstrip()
            )
        if name in asks:
            try:
                number = parse_quantity(value, asks[name].unit)
            except UnitError as error:
                raise DiagError(t("--set: found {text}; {error}.", text=quoted(text), error=error)) from None
            if number <= 0:
                raise DiagError(t("--set: found {text}; expected more than nothing.", text=quoted(text)))
            given[name] = plain(number, asks[name].unit)
    return (
        {name: given.get(name, next(iter(option.choices))) for name, option in choices.items()},
        {name: given.get(name, asked.usual) for name, asked in asks.items()},
    )


def _of(name: str, before: Knowledge, chosen: Mapping[str, str]) -> frozenset[str]:
    """Values that hold of a choice, of the vehicle, or of an option of one of its circuits."""
    if name in chosen:
        return frozenset({chosen[name]})
    special: dict[str, Callable[[], frozenset[str]]] = {
        "earth": lambda: frozenset({before.vehicle.earth}),
        "system-v": lambda: frozenset({f"{before.vehicle.system_v:g}"}),
        "circuit": lambda: frozenset(before.circuits),
    }
    if name in special:
        return special[name]()
    circuit, _, option = name.partition(".")
    offered = before.circuits[circuit].options if circuit in before.circuits else {}
    if option not in offered:
        return frozenset()
    usual = next(iter(offered[option].choices))
    return frozenset({before.vehicle.options.get(circuit, {}).get(option, usual)})


def _filled(node: Any, asked: Mapping[str, str]) -> Any:
    if isinstance(node, dict):
        return {key: _filled(inner, asked) for key, inner in node.items()}
    if isinstance(node, list):
        return [_filled(inner, asked) for inner in node]
    return re.sub(r"\{([a-z0-9-]+)\}", lambda found: asked[found[1]], node) if isinstance(node, str) else node


def _agreeing(plan: Plan) -> None:
    seen: dict[tuple[str, str], str] = {}
    for change in plan.changes:
        for circuit, options in change.options.items():
            for option, value in options.items():
                if seen.setdefault((circuit, option), value) != value:
                    said = ", ".join(f"{name}={found}" for name, found in plan.chosen.items())
                    raise DiagError(
                        t(
                            "{alteration}: {said} do not go together: `{circuit}` would have to be "
                            "{option} `{seen}` and `{value}`. Choose otherwise with --set.",
                            alteration=plan.recipe.model.alteration,
                            said=said,
                            circuit=circuit,
                            option=option,
                            seen=seen[circuit, option],
                            value=value,
                        )
                    )


def _there(plan: Plan, before: Knowledge) -> None:
    """Parts that are renewed must be on the vehicle; cautions must be known."""
    marked = plan.recipe.marked
    for index, change in zip(plan.at, plan.changes, strict=True):
        for part in change.renews:
            if part not in before.parts:
                raise DiagError(
                    t(
                        "{alteration}: this vehicle has no part `{part}` to replace; expected a vehicle that has it.",
                        alteration=plan.recipe.model.alteration,
                        part=part,
                    )
                )
        for section, key in (("parts", "kind"), ("fuses", "rating-a"), ("wires", "from")):
            there = before.wires if section == "wires" else before.parts
            for name, entry in getattr(change, section).items():
                if name in there and key in entry and "title" in entry:
                    raise DiagError(
                        t(
                            "{alteration}: this vehicle has `{name}` already; expected a vehicle that "
                            "was not altered like that before.",
                            alteration=plan.recipe.model.alteration,
                            name=name,
                        )
                    )
        for place, caution in enumerate(change.cautions):
            if caution not in before.cautions:
                raise KnowledgeError(
                    [
                        Problem(
                            marked.place(("changes", index, "cautions", place)),
                            t("there is no such caution"),
                            quoted(caution),
                            words(before.cautions),
                            nearest(caution, before.cautions),
                            "unknown-caution",
                        )
                    ]
                )
