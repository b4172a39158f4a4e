"""Recipes of alterations: the shape of rules/alterations/NAME.yaml, and their reading with file:line:column.

A recipe says what is changed on a vehicle's file, what is asked first, what to do by hand and what proves it;
terminals, sections, fuses and volts before and after are worked out elsewhere. Must not know how.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import Field, model_validator

from diag.errors import KnowledgeError, Problem, UnfitError
from diag.knowledge.load import rules_folder
from diag.knowledge.names import nearest, quoted, words
from diag.knowledge.reader import Loc, Marked, read_yaml
from diag.knowledge.scalars import Bool, Id, Model, Text, Volts
from diag.knowledge.schema import OneOrMore, Option, OptionRef
from diag.knowledge.translate import validate
from diag.knowledge.units import UnitError, parse_quantity
from diag.texts import t

__all__ = [
    "BATTERY_OFF",
    "SECTIONS",
    "Alteration",
    "Asked",
    "Change",
    "Figure",
    "Recipe",
    "alteration_names",
    "load_alteration",
    "placeholders",
]

BATTERY_OFF = "battery-off-first"
"""The caution that every alteration begins with."""
SECTIONS = ("parts", "fuses", "earths", "wires")
VEHICLES = ("system-v", "earth", "circuit")
"""What may be asked of a vehicle beside options."""
_PLACEHOLDER = re.compile(r"\{([a-z0-9-]+)\}")

Point = Annotated[str, Field(pattern=r"^([a-z0-9-]+\.[A-Za-z0-9+-]{1,12}|body)$")]


class Asked(Model):
    """A quantity that the person gives. `usual`: what is taken where nothing is given."""

    title: Text
    unit: Literal["V", "A", "ohm", "W", "m", "mm2", "/min"]
    usual: Text


class Figure(Model):
    """Something computed before and after: volts `red` against `black`, or amps `through` a fuse or wire.

    `wanted`: which way it must go for the alteration to be worth its work.
    """

    title: Text
    operate: Mapping[Id, str] = {}
    red: Point | None = None
    black: Point = "body"
    through: Id | None = None
    wanted: Literal["higher", "lower", "as-before", "any"] = "any"

    @model_validator(mode="after")
    def _one_subject(self) -> Figure:
        if (self.red is None) == (self.through is None):
            raise UnfitError(t("either `red` (with `black`) or `through`"))
        return self


class Change(Model):
    """What a recipe changes where `only` holds: choices of this recipe, `system-v`, `earth`, `circuit`,
    or an option of a circuit as the vehicle has it before.

    `system-v`, `options` and the sections go into the vehicle's file; `without` takes away. Values are for 12 V
    and converted on other vehicles. `renews`: parts that are taken out and replaced. `marks`: what may be stamped
    beside a terminal on the old part. `sizes`: new wires whose section is worked out from their current; `guards`:
    fuses whose rating is worked out, each with the wires behind it.
    `carries`: amps that a wire or fuse of these must bear, whatever is computed (the full output of an alternator).
    `measure` is done with the battery still on, `prepare` before wires come off, `steps` before new ones go on,
    `finish` with the battery on again, before the proof.
    """

    only: Mapping[OptionRef, OneOrMore] = {}
    system_v: Volts | None = None
    options: Mapping[Id, Mapping[Id, Id]] = {}
    parts: Mapping[Id, Mapping[str, Any]] = {}
    fuses: Mapping[Id, Mapping[str, Any]] = {}
    earths: Mapping[Id, Mapping[str, Any]] = {}
    wires: Mapping[Id, Mapping[str, Any]] = {}
    without: tuple[Id, ...] = ()
    renews: tuple[Id, ...] = ()
    marks: Mapping[Point, tuple[Text, ...]] = {}
    sizes: tuple[Id, ...] = ()
    guards: Mapping[Id, tuple[Id, ...]] = {}
    carries: Mapping[Id, Text] = {}
    cautions: tuple[Id, ...] = ()
    measure: tuple[Text, ...] = ()
    prepare: tuple[Text, ...] = ()
    steps: tuple[Text, ...] = ()
    finish: tuple[Text, ...] = ()
    figures: tuple[Figure, ...] = ()
    prove: tuple[Id, ...] = ()
    needed: tuple[Text, ...] = ()
    """What is needed beside the parts, fuses and wires that the file itself names."""


class Alteration(Model):
    """rules/alterations/NAME.yaml. `for-v`: system volts of vehicles that it is for;
    `where`: what else must hold of them, as in a change's `only`. `keeps-wires`: sections of
    wires stay what they are though the circuits' own would change with the volts. `wire-drop`: most that a new
    wire may lose, on 12 V and above; in proportion on 6 V."""

    alteration: Id
    title: Text
    because: Text
    circuits: tuple[Id, ...] = ()
    for_v: tuple[Volts, ...] = ()
    where: Mapping[OptionRef, OneOrMore] = {}
    keeps_wires: Bool = False
    wire_drop: Volts = 0.1
    choices: Mapping[Id, Option] = {}
    asks: Mapping[Id, Asked] = {}
    changes: Annotated[tuple[Change, ...], Field(min_length=1)]
    source: Text


@dataclass(frozen=True)
class Recipe:
    """A validated recipe with the places of its content."""

    model: Alteration
    marked: Marked


def alteration_names(rules: Path | None = None) -> list[str]:
    """Ids of all shipped recipes, sorted."""
    folder = rules_folder() if rules is None else rules
    return sorted(path.stem for path in (folder / "alterations").glob("*.yaml"))


def load_alteration(path: Path) -> Recipe:
    """Read and validate one recipe. Raises KnowledgeError with every problem and its place."""
    marked = read_yaml(path)
    found, problems = validate(Alteration, marked)
    if found is not None:
        problems = list(_mistakes(found, marked, path))
    if problems or found is None:
        raise KnowledgeError(problems)
    return Recipe(found, marked)


def placeholders(node: Any, loc: Loc = ()) -> Iterator[tuple[str, Loc]]:
    """Every `{name}` in the texts of plain data, with where it stands."""
    if isinstance(node, dict):
        for key, inner in node.items():
            yield from placeholders(inner, (*loc, key))
    elif isinstance(node, list):
        for index, inner in enumerate(node):
            yield from placeholders(inner, (*loc, index))
    elif isinstance(node, str):
        for name in _PLACEHOLDER.findall(node):
            yield name, loc


def _mistakes(recipe: Alteration, marked: Marked, path: Path) -> Iterator[Problem]:
    if recipe.alteration != path.stem:
        yield Problem(
            marked.place(("alteration",)),
            t("the recipe's name is not its file's"),
            quoted(recipe.alteration),
            f"`{path.stem}`",
            t("Make the two agree."),
            code="wrong-file-name",
        )
    for name, loc in placeholders(marked.data.get("changes", []), ("changes",)):
        if name not in recipe.asks:
            yield _unknown(marked, loc, t("nothing of this name is asked"), name, list(recipe.asks), key=False)
    for index, change in enumerate(recipe.changes):
        for wire, amps in change.carries.items():
            told = _PLACEHOLDER.sub(
                lambda found: recipe.asks[found[1]].usual if found[1] in recipe.asks else "1 A", amps
            )
            try:
                parse_quantity(told, "A")
            except UnitError as error:
                yield Problem(
                    marked.place(("changes", index, "carries", wire)), str(error), quoted(amps), code="wrong-value"
                )
    for name, asked in recipe.asks.items():
        try:
            parse_quantity(asked.usual, asked.unit)
        except UnitError as error:
            yield Problem(marked.place(("asks", name, "usual")), str(error), quoted(asked.usual), code="wrong-value")
    for name in recipe.where:
        if "." not in name and name not in VEHICLES:
            yield _unknown(marked, ("where", name), t("there is no such choice"), name, VEHICLES, key=True)
    for index, change in enumerate(recipe.changes):
        at: Loc = ("changes", index)
        for option, values in change.only.items():
            if option in recipe.choices:
                known = list(recipe.choices[option].choices)
                for value in values:
                    if value not in known:
                        yield _unknown(marked, (*at, "only", option), t("no such choice"), value, known, key=False)
            elif "." not in option and option not in VEHICLES:
                offered = [*recipe.choices, *VEHICLES]
                yield _unknown(marked, (*at, "only", option), t("there is no such choice"), option, offered, key=True)
    if not any(BATTERY_OFF in change.cautions and not change.only for change in recipe.changes):
        yield Problem(
            marked.place(("changes",), key=True),
            t("an alteration begins with the battery off"),
            "",
            t("`cautions: [{battery_off}]` in a change without `only`", battery_off=BATTERY_OFF),
            t("Add it."),
            code="no-caution",
        )
    if not any(change.prove for change in recipe.changes):
        yield Problem(
            marked.place(("changes",), key=True),
            t("nothing proves the work"),
            "",
            t("`prove:` with checks"),
            t("Add some."),
            code="no-proof",
        )


def _unknown(marked: Marked, loc: Loc, what: str, found: str, known: Any, *, key: bool) -> Problem:
    names = sorted(known)
    return Problem(
        marked.place(loc, key=key),
        what,
        quoted(found),
        words(names) or "none",
        nearest(found, names),
        code="unknown-id",
    )
