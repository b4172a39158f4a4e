"""A mistake in a recipe is told with file, line and column, whether the recipe alone shows it or only the vehicle.

source of all expectations: common practice, no source
"""

from __future__ import annotations

from pathlib import Path

import pytest

from diag.alter.work import alter
from diag.errors import KnowledgeError
from diag.knowledge.alterations import alteration_names, load_alteration
from diag.knowledge.ends import load_ends
from diag.knowledge.load import rules_folder
from diag.knowledge.parts import PART_KINDS
from tests.alter.test_alter_verb import OWN
from tests.alter.vehicles import vehicle

GOOD = OWN.replace("source:", "choices:\n  way: {title: Way, choices: {one: first, two: second}}\nsource:").replace(
    "    sizes:", "    needed: [\"{metres} of tape\"]\n    sizes:"
).replace("changes:", "asks:\n  metres: {title: Tape, unit: m, usual: 1 m}\nchanges:")  # fmt: skip


def own(folder: Path, text: str) -> Path:
    path = folder / "own.yaml"
    path.write_text(text, encoding="utf-8")
    return path


def test_the_good_one_is_good(tmp_path: Path) -> None:
    recipe = load_alteration(own(tmp_path, GOOD))
    assert recipe.model.asks["metres"].usual == "1 m"
    done = alter(vehicle(tmp_path), recipe, ["way=two", "metres=3 m"], "2026-11-28", "old.yaml")
    assert "3 m of tape" in done.sheet.needed


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("title: Earth", "titel: Earth", "titel"),
        ("alteration: own", "alteration: other", "the recipe's name is not its file's"),
        ("{metres} of", "{meters} of", "Did you mean `metres`?"),
        ("usual: 1 m", "usual: 1 V", "not a unit of length"),
        ("unit: m,", "unit: mile,", "unit"),
        ("  - cautions: [battery-off-first]", "  - cautions: [hot-lamps]", "begins with the battery off"),
        ("  - cautions: [battery-off-first]", "  - only: {way: one}\n    cautions: [battery-off-first]", "battery off"),
        ("    prove: [battery-volts]\n", "", "nothing proves"),
        ("    prove:", "    only: {wya: one}\n    prove:", "Did you mean `way`?"),
        ("    prove:", "    only: {way: three}\n    prove:", "no such choice"),
        ("    prove:", "    carries: {horn-case-earth: many}\n    prove:", "a current"),
        ("circuits: [horn]", "circuits: [horn]\nwhere: {erth: negative}", "Did you mean `earth`?"),
        ("    prove:", "    figures: [{title: x}]\n    prove:", "either `red`"),
        ("    prove:", "    figures: [{title: x, red: horn, through: horn-feed}]\n    prove:", "red"),
    ],
)
def test_mistakes_of_the_recipe_alone(tmp_path: Path, old: str, new: str, says: str) -> None:
    text = GOOD.replace(old, new)
    assert text != GOOD
    path = own(tmp_path, text)
    with pytest.raises(KnowledgeError) as found:
        load_alteration(path)
    assert says in str(found.value)
    for problem in found.value.problems:
        assert problem.place.file == str(path)
        assert 1 <= problem.place.line <= text.count("\n")


@pytest.mark.parametrize(
    ("old", "new", "at", "says"),
    [
        ("to: earth-horn.31", "to: earth-hron.31", "earth-hron.31", "earth-horn"),
        ("colour: brown", "colour: bronw", "bronw", "brown"),
        ("section-mm2: 1 mm2", "section-mm2: 1 V", "1 V", "section"),
        ("place: front", "place: frnot", "frnot", "front"),
        ("sizes: [horn-case-earth]", "sizes: [horn-case-eart]", "horn-case-eart]", "horn-case-earth"),
        ("cautions: [battery-off-first]", "cautions: [battery-off-first, gas]", "gas]", "no such caution"),
    ],
)
def test_mistakes_that_only_the_vehicle_shows_are_placed_in_the_recipe(
    tmp_path: Path, old: str, new: str, at: str, says: str
) -> None:
    """The line and column of the very word, though the network of the vehicle was needed to find it."""
    text = GOOD.replace(old, new)
    path = own(tmp_path, text)
    recipe = load_alteration(path)
    with pytest.raises(KnowledgeError) as found:
        alter(vehicle(tmp_path), recipe, [], "2026-11-28", "old.yaml")
    problem = found.value.problems[0]
    line = next(number for number, row in enumerate(text.splitlines(), start=1) if at in row)
    column = text.splitlines()[line - 1].index(at) + 1
    assert (problem.place.file, problem.place.line, problem.place.column) == (str(path), line, column), str(problem)
    assert says in str(problem)


def test_shipped_recipes_are_without_mistakes_and_name_checks_that_exist() -> None:
    """A proving check that no circuit has would silently prove nothing."""
    known = " ".join(
        path.read_text(encoding="utf-8")
        for path in [*rules_folder().rglob("*.yaml")]
        if "alterations" not in path.parts
    )
    for name in alteration_names():
        recipe = load_alteration(rules_folder() / "alterations" / f"{name}.yaml").model
        assert recipe.source
        for change in recipe.changes:
            for check in change.prove:
                assert f"id: {check}," in known or f"id: {check}\n" in known, f"{name}: {check}"


def test_every_kind_of_part_has_its_ends() -> None:
    """Else a new kind of part would come without a fitting on the sheet."""
    ends = load_ends()
    known = set(ends.kinds)
    assert known <= set(PART_KINDS)
    loose = set(PART_KINDS) - known
    assert not loose, f"rules/ends.yaml lacks {sorted(loose)}"
    assert ends.fitting("earth", "earth-x", "31", 25.0).startswith("ring")
    assert "pressed ring" in ends.fitting("switch", "x", "30", 25.0)
    assert ends.fitting("regulator", "regulator", "B+", 6.0) == "ring for M5 or blade 9.5 mm, crimp up to 6 mm²"
    assert ends.fitting("joint", "starter-post", "30", 4.0).startswith("ring for M8")
