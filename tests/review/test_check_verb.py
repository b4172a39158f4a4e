"""`diag rules check` and `diag rules schema` from outside: what is printed, exit codes, no traceback.

source of all expectations: common practice, no source
"""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from diag.cli import main
from diag.knowledge.folders import local_folder, packs_file
from diag.review.codes import CODES
from tests.knowledge.packs import place_in, rule, write_pack
from tests.knowledge.small import write_small

LAMP = "circuits/lamp.yaml"
TOP = Path(__file__).parents[2]
SLIP = (LAMP, "light: is dark}", "light: is dark, rhythm: steady}")
MISTAKE = (LAMP, "points-to: work-lamp.open", "points-to: work-lamp.opn")


def run(*arguments: str | Path, columns: int = 80) -> Result:
    env = {"COLUMNS": str(columns)}
    result = CliRunner(env=env).invoke(main, ["rules", *map(str, arguments)])
    assert result.exception is None or isinstance(result.exception, SystemExit), repr(result.exception)
    return result


def check(*arguments: str | Path, columns: int = 80) -> Result:
    return run("check", *arguments, "--quick", columns=columns)


def test_a_whole_rules_folder_stands_by_itself(tmp_path: Path) -> None:
    """Warnings do not fail it."""
    result = check(write_small(tmp_path).rules)
    assert result.exit_code == 0, result.output
    assert "0 errors" in result.output or "Nothing wrong" in result.output


def test_an_error_fails_and_is_told_with_place_code_and_mend(tmp_path: Path) -> None:
    """As a person reads it, on a phone too."""
    small = write_small(tmp_path, MISTAKE)
    result = check(small.rules, columns=40)
    assert result.exit_code == 1
    text = result.output
    assert f"{small.at(LAMP, 'work-lamp.opn')}\n  error unknown-cause\n" in text
    assert "-> Did you mean `work-lamp.open`?" in text
    assert all(len(line) <= 40 for line in text.splitlines() if str(tmp_path) not in line)
    assert re.search(r"1 error unknown-cause", text)


def test_warnings_fail_only_where_that_is_asked(tmp_path: Path) -> None:
    """So that CI may be as strict as its owner."""
    rules = write_small(tmp_path).rules
    found = json.loads(check(rules, "--format", "json").output)
    assert {problem["severity"] for problem in found} == {"warning"}
    assert check(rules, "--strict").exit_code == 1
    assert check(rules, "--strict", "--only", "error").exit_code == 0


def test_json_holds_everything_an_editor_needs(tmp_path: Path) -> None:
    """One object a problem, sorted by place."""
    small = write_small(tmp_path, MISTAKE)
    result = check(small.rules, "--format", "json", "--only", "unknown-cause")
    (problem,) = json.loads(result.output)
    place = small.at(LAMP, "work-lamp.opn")
    assert (problem["file"], problem["line"], problem["column"]) == (place.file, place.line, place.column)
    assert problem["code"] == "unknown-cause"
    assert problem["severity"] == "error"
    assert problem["found"] == "`work-lamp.opn`"
    assert problem["mend"] == "Did you mean `work-lamp.open`?"
    assert problem.keys() == {"file", "line", "column", "code", "severity", "text", "found", "expected", "mend"}


@pytest.mark.parametrize(
    ("name", "content", "says"),
    [
        ("nowhere", None, "no such file or folder"),
        ("folder", "", "found no knowledge files"),
        ("lone.yaml", "nothing: known\n", "no sort of knowledge file"),
    ],
)
def test_what_cannot_be_read_at_all_is_bad_input(tmp_path: Path, name: str, content: str | None, says: str) -> None:
    """Exit code 2, so that a script knows a slip in a path from a mistake in a rule."""
    path = tmp_path / name
    if content == "":
        path.mkdir()
    elif content is not None:
        path.write_text(content, encoding="utf-8")
    result = check(path)
    assert result.exit_code == 2
    assert says in result.output


def test_a_word_that_is_no_code_is_told(tmp_path: Path) -> None:
    """And the nearest that is one."""
    result = check(write_small(tmp_path).rules, "--only", "unknown-caus")
    assert result.exit_code == 2
    assert "Did you mean `unknown-cause`?" in result.output


def test_one_file_by_itself_is_looked_over_with_the_shipped_rules_below(tmp_path: Path) -> None:
    """As an editor or a friend sends it; it lies in no pack."""
    path = tmp_path / "my-horn.yaml"
    text = "circuit: horn\nrules:\n" + rule("horn/dark-in-rain").replace(
        "lamp-on, light: is dark", "horn-sond, is: none"
    )
    path.write_text(text.replace("work-lamp.open", "horn.open"), encoding="utf-8")
    found = json.loads(check(path, "--format", "json", "--only", "error").output)
    assert [(p["code"], p["mend"]) for p in found] == [("unknown-check", "Did you mean `horn-sound`?")]
    assert (found[0]["line"], found[0]["column"]) == (6, 17)


def test_a_file_that_is_no_yaml_hides_nothing_in_the_others(tmp_path: Path) -> None:
    """And what rests on what is in it is not told as unknown."""
    small = write_small(tmp_path, MISTAKE, broken="circuit: broken\nrules: [\n")
    found = json.loads(check(small.rules, "--format", "json", "--only", "error").output)
    assert {p["code"] for p in found} == {"not-yaml", "unknown-cause"}
    (tmp_path / "shared.yaml").write_text("circuit: [", encoding="utf-8")
    (tmp_path / "kinds.yaml").write_text("- no mapping", encoding="utf-8")
    found = json.loads(check(small.rules, "--format", "json", "--only", "error").output)
    assert {"not-yaml", "no-mapping"} <= {p["code"] for p in found}


def test_packs_and_the_folder_of_ones_own_are_looked_over_without_a_path(tmp_path: Path) -> None:
    """What is installed is what is used."""
    local = write_pack(local_folder(), horn="circuit: horn\nchecks: []\nruels: []\n")
    result = check()
    assert result.exit_code == 1
    assert str(place_in(local / "circuits" / "horn.yaml", "ruels")) in result.output
    assert "Did you mean `rules`?" in result.output


def test_every_code_is_listed_with_its_meaning() -> None:
    """The list is the documentation."""
    result = run("check", "--codes")
    assert result.exit_code == 0
    assert all(f"{code}\n  {meaning}" in result.output for code, meaning in CODES.items())
    assert "Exit code" in run("check", "--help").output


def test_no_message_has_a_code_that_is_not_listed() -> None:
    """Whoever adds a message adds its code to the list."""
    files = [path for room in ("knowledge", "circuit", "review") for path in (TOP / "diag" / room).rglob("*.py")]
    used = {code for path in files for code in re.findall(r'code="([a-z-]+)"', path.read_text(encoding="utf-8"))}
    assert used <= CODES.keys()
    assert len(used) > 60


@pytest.mark.parametrize("sort", ["circuit", "pack", "expect"])
def test_a_schema_is_printed_or_written_and_never_over_a_file(tmp_path: Path, sort: str) -> None:
    """What stands there may be somebody's work."""
    printed = run("schema", "--for", sort)
    assert printed.exit_code == 0
    assert json.loads(printed.output)["type"] == "object"
    out = tmp_path / "made.json"
    assert run("schema", "--for", sort, "--out", out).exit_code == 0
    assert out.read_text(encoding="utf-8") == printed.output
    again = run("schema", "--for", sort, "--out", out)
    assert again.exit_code == 2
    assert "--replace" in again.output
    assert run("schema", "--for", sort, "--out", out, "--replace").exit_code == 0
    nowhere = run("schema", "--for", sort, "--out", tmp_path / "no" / "such" / "folder.json")
    assert nowhere.exit_code == 2


def test_two_packs_in_conflict_are_told_and_hide_nothing(tmp_path: Path) -> None:
    """Neither may silently win; the rest of both is looked over all the same."""
    for name in ("one", "two"):
        text = rule("horn/same").replace("lamp-on, light: is dark", "horn-sond, is: none")
        write_pack(tmp_path / name, name, horn="circuit: horn\nrules:\n" + text.replace("work-lamp.open", "horn.open"))
    packs_file().write_text(f"packs: [{tmp_path / 'one'}, {tmp_path / 'two'}]\n", encoding="utf-8")
    found = json.loads(check("--format", "json", "--only", "error").output)
    told = [(p["code"], Path(p["file"]).parts[-3], p["line"]) for p in found]
    assert told == [("pack-conflict", "two", 3), ("unknown-check", "two", 6)]
    assert "Write `after: [one]`" in found[0]["mend"]
