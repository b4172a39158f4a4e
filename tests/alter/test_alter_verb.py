"""`diag vehicle alter` from outside: what is listed, printed and written, and what is refused with exit code 2.

source of all expectations: common practice, no source
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from diag.cli import main
from diag.knowledge.alterations import alteration_names
from diag.knowledge.load import default_vehicle, load_knowledge
from tests.alter.vehicles import vehicle

OWN = """alteration: own
title: Earth of the horn
because: A horn of my own.
circuits: [horn]
source: common practice, no source
changes:
  - cautions: [battery-off-first]
    earths: {earth-horn: {title: Earth point of the horn, place: front}}
    wires:
      horn-case-earth: {from: horn.31b, to: earth-horn.31, colour: brown, section-mm2: 1 mm2, length-m: 0.3 m}
    sizes: [horn-case-earth]
    prove: [battery-volts]
"""


def run(*arguments: str) -> Result:
    result = CliRunner().invoke(main, ["vehicle", "alter", *arguments])
    assert result.exception is None or isinstance(result.exception, SystemExit), repr(result.exception)
    return result


def files(folder: Path) -> dict[str, str]:
    return {path.name: path.read_text(encoding="utf-8") for path in folder.iterdir()}


def test_without_arguments_every_kind_is_listed_with_its_choices() -> None:
    result = run()
    assert result.exit_code == 0
    for kind in alteration_names():
        assert f"{kind}: " in result.output
    assert "--set unit=four (three, two)" in result.output
    assert "--set rated-w=42W" in result.output


def test_a_dry_run_prints_the_sheet_and_writes_nothing(tmp_path: Path) -> None:
    path = vehicle(tmp_path)
    before = files(tmp_path)
    result = run(str(path), "flasher-unit", "--dry-run", "--sheet", str(tmp_path / "work.md"))
    assert result.exit_code == 0
    assert files(tmp_path) == before
    assert result.output.index("CAUTION: Take the earth clamp") < result.output.index("1. ")
    headings = [result.output.index(f"\n{text}\n---") for text in ("Needed", "Wires, from -> to", "Steps")]
    assert headings == sorted(headings)
    assert "[hazard-front-left]" in result.output


def test_what_the_file_said_of_parts_that_go_goes_with_them(tmp_path: Path) -> None:
    """The van's own lengths of the dynamo's wires stood in the way of the alternator."""
    result = run("demo-van.yaml", "alternator", "--out", str(tmp_path / "after.yaml"))
    assert result.exit_code == 0, result.output
    overrides = load_knowledge(tmp_path / "after.yaml").vehicle.overrides
    assert not {"dynamo", "regulator"} & set(overrides["parts"])
    assert not {"dynamo-main-wire", "regulator-feed"} & set(overrides["wires"])
    assert {"battery-cable", "charge-61-wire"} <= set(overrides["wires"])
    assert "which is the wrong way" not in result.output


@pytest.mark.parametrize("kind", alteration_names())
def test_narrow_sheets_fit_forty_columns(tmp_path: Path, kind: str) -> None:
    path = vehicle(tmp_path, 6 if kind == "six-to-twelve" else 12)
    text = run(str(path), kind, "--dry-run", "--narrow").output
    assert max(len(line) for line in text.splitlines()) <= 40


def test_the_file_is_altered_in_place_and_the_old_one_kept(tmp_path: Path) -> None:
    path = vehicle(tmp_path)
    old = path.read_text(encoding="utf-8")
    result = run(str(path), "flasher-unit", "--set", "unit=two", "--date", "2026-03-01")
    assert result.exit_code == 0
    kept = tmp_path / "van.before-flasher-unit.yaml"
    assert kept.read_text(encoding="utf-8") == old
    assert str(kept) in result.output
    knowledge = load_knowledge(path)
    assert knowledge.vehicle.history_of_alterations[0].date == "2026-03-01"
    assert knowledge.parts["flasher-unit"].terminal_names() == ("49", "49a")
    again = run(str(path), "flasher-unit", "--set", "unit=three")
    assert again.exit_code == 0
    assert len(load_knowledge(path).vehicle.history_of_alterations) == 2
    assert len(files(tmp_path)) == 3


def test_out_leaves_the_old_file_alone(tmp_path: Path) -> None:
    path = vehicle(tmp_path)
    old, new = path.read_text(encoding="utf-8"), tmp_path / "after.yaml"
    assert run(str(path), "headlamp-relay", "--out", str(new), "--sheet", str(tmp_path / "work.md")).exit_code == 0
    assert path.read_text(encoding="utf-8") == old
    assert "dip-relay" in load_knowledge(new).parts
    assert (tmp_path / "work.md").read_text(encoding="utf-8").startswith("# Relays for the headlamps")


def test_a_recipe_of_ones_own_works_like_a_shipped_one(tmp_path: Path) -> None:
    """A technician writes down what was done on his own vehicles."""
    path, own = vehicle(tmp_path), tmp_path / "own.yaml"
    own.write_text(OWN, encoding="utf-8")
    result = run(str(path), str(own), "--dry-run")
    assert result.exit_code == 0, result.output
    assert "horn case earth" in result.output


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("{van}",), "expected one of those below"),
        (("{van}", "flasher"), "Did you mean `flasher-unit`?"),
        (("{van}", "no-such.yaml"), "there is no such file"),
        (("nowhere.yaml", "flasher-unit"), "there is no such file"),
        (("{van}", "flasher-unit", "--set", "unit"), "name=value"),
        (("{van}", "flasher-unit", "--set", "unti=two"), "Did you mean `unit`?"),
        (("{van}", "flasher-unit", "--set", "unit=five"), "unit="),
        (("{van}", "flasher-unit", "--set", "unit=two", "--set", "unit=four"), "given before"),
        (("{van}", "flasher-unit", "--set", "rated-w=many"), "expected a power"),
        (("{van}", "flasher-unit", "--set", "rated-w=-3 W"), "more than nothing"),
        (("{van}", "flasher-unit", "--date", "2026-02-30"), "2026-11-28"),
        (("{van}", "flasher-unit", "--out", "{van}"), "already"),
        (("{van}", "flasher-unit", "--sheet", "{dir}/work.pdf"), ".md or .txt"),
        (("{van}", "six-to-twelve"), "6 V"),
        (("{demo}", "flasher-unit"), "--out"),
    ],
)
def test_what_cannot_be_done_is_told_and_nothing_is_written(
    tmp_path: Path, arguments: tuple[str, ...], says: str
) -> None:
    path = vehicle(tmp_path)
    before = files(tmp_path)
    words = {"{van}": str(path), "{demo}": str(default_vehicle()), "{dir}": str(tmp_path)}
    filled = [re.sub(r"\{\w+\}", lambda found: words[found[0]], text) for text in arguments]
    result = run(*filled)
    assert result.exit_code == 2, result.output
    assert says in result.stderr
    assert result.stdout == ""
    assert files(tmp_path) == before


def test_a_vehicle_without_the_circuit_is_told(tmp_path: Path) -> None:
    path = vehicle(tmp_path, circuits="horn")
    result = run(str(path), "regulator")
    assert result.exit_code == 2
    assert "charge-warning" in result.stderr
    alternator = vehicle(tmp_path / "b", more="options: {charge-warning: {machine: alternator}}\n")
    assert "no part `regulator`" in run(str(alternator), "regulator").stderr
