"""Carries an alteration through on paper: vehicle before, vehicle after, sizes worked out, sheet, new file's text.

Writes nothing in place of the vehicle's file; that is `keep`.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from diag.alter.computed import Computed
from diag.alter.newfile import HISTORY, content_after, with_history, with_sizes, with_wires_kept, without_what_went
from diag.alter.plan import Plan, make_plan
from diag.alter.rewrite import rewritten
from diag.alter.sheet import WorkSheet, make_worksheet
from diag.alter.sizing import sized
from diag.errors import DiagError, KnowledgeError, Place, Problem
from diag.knowledge.adapt import WRITTEN_FOR_V
from diag.knowledge.alterations import SECTIONS, Recipe
from diag.knowledge.assemble import Knowledge
from diag.knowledge.ends import load_ends
from diag.knowledge.load import load_knowledge
from diag.knowledge.names import nearest, quoted
from diag.knowledge.reader import Loc, Marked, read_yaml
from diag.knowledge.schema import FusePart
from diag.knowledge.units import parse_quantity
from diag.texts import t

__all__ = ["Altered", "alter"]

_NOTES = {
    "options": t("How this vehicle's circuits are made, where it is not the usual way."),
    "overrides": t("What is otherwise on this vehicle; real values, as measured, bought or laid."),
    HISTORY: t("What was altered, oldest first."),
}


@dataclass(frozen=True)
class Altered:
    """An alteration carried through: its sheet, the new file's text, and the vehicle before and after."""

    sheet: WorkSheet
    text: str
    before: Computed
    after: Computed


def alter(vehicle: Path, recipe: Recipe, settings: Sequence[str], date: str, earlier: str) -> Altered:
    """The alteration of a vehicle by a recipe. `date`: YYYY-MM-DD; `earlier`: name of the file as it was before.

    Raises KnowledgeError or DiagError where the vehicle or the recipe is no good, where they do not go together,
    and where nothing that exists is thick enough.
    """
    old = read_yaml(vehicle)
    text = vehicle.read_text(encoding="utf-8-sig")
    before_known = load_knowledge(vehicle)
    plan = make_plan(recipe, before_known, settings)
    head = (
        t("Altered {date}: {model}. As it was before: {earlier}", date=date, model=recipe.model.title, earlier=earlier),
    )

    def known(content: Mapping[str, Any]) -> tuple[Knowledge, str]:
        return _loaded(vehicle, rewritten(text, old, content, head, _NOTES), plan)

    content = content_after(old.data, plan, before_known)
    bare, _ = known({key: value for key, value in content.items() if key != "overrides"})
    content = without_what_went(content, before_known.spots.bases, bare.spots.bases)
    after_known, _ = known(content)
    if recipe.model.keeps_wires:
        content = with_wires_kept(content, before_known, after_known)
        after_known, _ = known(content)
    operates = _operates(plan, before_known, after_known)
    after = Computed(after_known, operates)
    wires, guards = plan.all_of("sizes"), plan.mapped("guards")
    _fitted(plan, after_known)
    if wires or guards:
        carries = {name: parse_quantity(amps, "A") for name, amps in plan.mapped("carries").items()}
        laid = {name: before_known.wires[name].section_mm2 for name in wires if name in before_known.wires}
        for _ in range(2):  # thicker wires bring a little more current
            lost_v = recipe.model.wire_drop * min(1.0, after_known.vehicle.system_v / WRITTEN_FOR_V)
            content = with_sizes(content, *sized(after, wires, guards, lost_v, carries, laid))
            after_known, _ = known(content)
            after = Computed(after_known, operates)
    before = Computed(before_known, operates)
    sheet = make_worksheet(plan, before, after, load_ends())
    if not sheet.what:
        raise DiagError(
            t(
                "{alteration}: the vehicle is like that already; nothing would change.",
                alteration=recipe.model.alteration,
            )
        )
    _, final = known(with_history(content, date, recipe.model.alteration, sheet.what))
    return Altered(sheet, final, before, after)


def _fitted(plan: Plan, after: Knowledge) -> None:
    """What the recipe wants sized must be there by then."""
    fuses = [name for name, part in after.parts.items() if isinstance(part, FusePart)]
    wanted: list[tuple[Loc, str, Iterable[str], bool]] = []
    for index, change in zip(plan.at, plan.changes, strict=True):
        at: Loc = ("changes", index)
        wanted += [((*at, "sizes", i), name, after.wires, False) for i, name in enumerate(change.sizes)]
        for fuse, behind in change.guards.items():
            wanted.append(((*at, "guards", fuse), fuse, fuses, True))
            wanted += [((*at, "guards", fuse, i), name, after.wires, False) for i, name in enumerate(behind)]
    problems = [
        Problem(
            plan.recipe.marked.place(loc, key=key),
            t("the altered vehicle has no such wire or fuse"),
            quoted(name),
            t("the id of one that it has"),
            nearest(name, known),
            code="unknown-part",
        )
        for loc, name, known, key in wanted
        if name not in known
    ]
    if problems:
        raise KnowledgeError(problems)


def _operates(plan: Plan, before: Knowledge, after: Knowledge) -> list[Mapping[str, str]]:
    found: list[Mapping[str, str]] = [figure.operate for change in plan.changes for figure in change.figures]
    for check_id in plan.all_of("prove"):
        for knowledge in (before, after):
            if check_id in knowledge.checks:
                found.append(knowledge.checks[check_id].operate)
    return found


def _loaded(vehicle: Path, text: str, plan: Plan) -> tuple[Knowledge, str]:
    """The vehicle that a text describes, read as any file is. Mistakes are told where the recipe makes them."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / vehicle.name
        path.write_text(text, encoding="utf-8")
        try:
            return load_knowledge(path), text
        except KnowledgeError as error:
            marked = read_yaml(path)
            raise KnowledgeError([_in_recipe(problem, marked, plan) for problem in error.problems]) from None


def _in_recipe(problem: Problem, new: Marked, plan: Plan) -> Problem:
    """The problem at the spot of the recipe that brought it in, or in the new file of which nothing was written."""
    spots = [*new.places.items(), *new.key_places.items()]
    loc = next((loc for loc, place in reversed(spots) if place == problem.place), ())
    marked = plan.recipe.marked
    for index, change in zip(plan.at, plan.changes, strict=True):
        if len(loc) > 2 and loc[0] == "overrides" and loc[1] in SECTIONS and loc[2] in getattr(change, str(loc[1])):
            place = marked.place(("changes", index, *loc[1:]), key=len(loc) == 3)
            return replace(problem, place=place)
        if len(loc) > 1 and loc[0] == "options" and loc[1] in change.options:
            place = marked.place(("changes", index, *loc))
            return replace(problem, place=place)
    if problem.place.file == new.file:
        place = Place(t("the altered {name}", name=Path(new.file).name), problem.place.line, problem.place.column)
        return replace(problem, place=place)
    return problem
