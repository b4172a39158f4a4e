"""The conversation of `diag vehicle new`: keys, undo, stopping and going on, files that stay whole.

source of all expectations: common practice, no source
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

import pexpect
import pytest
from click.testing import CliRunner, Result

from diag.cli import main
from diag.fit.asking import ask_all, page
from diag.fit.interview import next_asked, path
from diag.fit.questions import Catalogue
from diag.knowledge.load import load_knowledge

CATALOGUE = Catalogue.read()
MANY = 200
"""More Enters than there are questions."""


@pytest.fixture(autouse=True)
def _here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def run(*arguments: str, typed: str = "") -> Result:
    """One call of the command; no traceback reaches a person."""
    result = CliRunner().invoke(main, ["vehicle", *arguments], input=typed)
    assert result.exception is None or isinstance(result.exception, SystemExit), repr(result.exception)
    return result


def test_enter_all_the_way_writes_a_vehicle_named_after_its_title() -> None:
    """The shortest way: nothing typed but Enter; and a second one gets a name of its own."""
    for name in ("my-vehicle.yaml", "my-vehicle-2.yaml"):
        result = run("new", typed="\n" * MANY)
        assert result.exit_code == 0, result.output
        assert f"Written: {name}" in result.output
        assert load_knowledge(Path(name)).vehicle.title == "My vehicle"
    assert not list(Path().glob("*.draft"))
    assert "twice as long costs" in result.output.replace("\n  ", " ")


def test_stopping_keeps_the_answers_and_the_same_call_goes_on() -> None:
    """A phone rings after four answers; end of input is the same as q."""
    for stop in ("q\n", ""):
        first = run("new", "--out", "bike.yaml", typed="motorcycle\nGreta\n2\npositive\n" + stop)
        assert first.exit_code == 0
        assert "4 answers" in first.output
        assert not Path("bike.yaml").exists()
        again = run("new", "--out", "bike.yaml", typed="\n" * MANY)
        assert "Going on with 4 answers" in again.output
        vehicle = load_knowledge(Path("bike.yaml")).vehicle
        assert (vehicle.title, vehicle.system_v, vehicle.earth) == ("Greta", 6.0, "positive")
        assert not Path("bike.yaml.draft").exists()
        Path("bike.yaml").unlink()


def test_anew_forgets_what_was_kept() -> None:
    """Kept answers are not forced on anybody."""
    run("new", "--out", "v.yaml", typed="van\nFirst\nq\n")
    result = run("new", "--anew", "--out", "v.yaml", typed="motorcycle\n" + "\n" * MANY)
    assert result.exit_code == 0
    assert load_knowledge(Path("v.yaml")).vehicle.title == "My vehicle"


def test_u_goes_back_one_question_at_a_time() -> None:
    """Two back, other answers, and on; at the first question there is nothing to go back to."""
    result = run("new", "--out", "v.yaml", typed="u\nmotorcycle\nWrong\n6\nu\nu\nRight\n24\n" + "\n" * MANY)
    assert "Nothing stands before this" in result.output
    vehicle = load_knowledge(Path("v.yaml")).vehicle
    assert (vehicle.title, vehicle.system_v) == ("Right", 24.0)


def test_u_at_the_end_goes_back_to_the_last_question() -> None:
    """The file is not written before the person says so."""
    answers: dict[str, str] = {asked.id: asked.typical for asked in path(CATALOGUE, {})}
    last = list(answers)[-1]
    typed = iter(["u", None])
    assert not ask_all(CATALOGUE, answers, lambda _: next(typed), lambda _: None, lambda _: None, 40)
    assert last not in answers
    assert next_asked(CATALOGUE, answers) is not None


def test_wrong_answers_are_told_and_asked_again() -> None:
    """What was found, what is expected; nothing is taken for something else."""
    result = run(
        "new", "--out", "v.yaml", typed="9\nplane\nmotorcycle\n\n12\n\n\nfar\n0.1 m\n5 kg\n3.9\n" + "\n" * MANY
    )
    assert result.exit_code == 0
    for found in (
        "`9`; expected 1 to",
        "`plane`; expected",
        "`far`; expected",
        "`0.1 m`; expected 1.2 to 15 m",
        "`5 kg`",
    ):
        assert found in result.output
    assert "3.9 m overall" in Path("v.yaml").read_text(encoding="utf-8")


@pytest.mark.parametrize("columns", [40, 80])
def test_every_question_fits_the_screen(columns: int) -> None:
    """Readable on a phone, every choice with its key, the usual one marked."""
    for asked in path(CATALOGUE, {"fitted": "each", "lamps": "other", "sort": "van"}):
        shown = page(asked, 1, 99, columns)
        assert all(len(line) <= columns for line in shown.splitlines())
        for key in range(1, len(asked.choices) + 1):
            assert f"  {key} " in shown
        assert shown.count("Enter") >= 1


def test_file_that_is_there_is_never_overwritten_in_silence() -> None:
    """Refused before the first question; replaced only where that was asked for, and then it is said."""
    Path("v.yaml").write_text("precious", encoding="utf-8")
    refused = run("new", "--out", "v.yaml", typed="\n" * MANY)
    assert refused.exit_code == 2
    assert "already" in refused.output
    assert Path("v.yaml").read_text(encoding="utf-8") == "precious"
    replaced = run("new", "--out", "v.yaml", "--replace", typed="trailer\n" + "\n" * MANY)
    assert "Replaced: v.yaml" in replaced.output
    load_knowledge(Path("v.yaml"))
    assert sorted(os.listdir()) == ["v.yaml"]


def test_folder_that_is_not_there_is_told_before_the_first_question() -> None:
    """Twenty answers and then no place to write would be a bad joke."""
    result = run("new", "--out", "nowhere/v.yaml", typed="\n" * MANY)
    assert (result.exit_code, "no folder" in result.output) == (2, True)


def test_answers_from_a_file_ask_nothing() -> None:
    """What it does not say is as usual; numbers, words and labels all do."""
    Path("a.yaml").write_text("sort: 3\ntitle: 'Paint: blue'\nsystem-v: 24 V\nlength: 6,1 m\n", encoding="utf-8")
    result = run("new", "--answers", "a.yaml", "--out", "v.yaml")
    assert result.exit_code == 0, result.output
    vehicle = load_knowledge(Path("v.yaml")).vehicle
    assert (vehicle.title, vehicle.system_v) == ("Paint: blue", 24.0)
    assert "Enter" not in result.output


@pytest.mark.parametrize(
    ("text", "place", "says"),
    [
        ("earth: sideways\n", "1:8", "`sideways`"),
        ("title: T\nearht: positive\n", "2:1", "Did you mean `earth`?"),
        ("length: [1, 2]\n", "1:9", "a list"),
        ("- earth\n", "1:1", "a list"),
        ("length: 99 m\n", "1:9", "1.2 to 15 m"),
        ("system-v: 48\n", "1:11", "`48`"),
    ],
)
def test_mistakes_in_a_file_of_answers_are_told_with_their_place(text: str, place: str, says: str) -> None:
    """And nothing is written."""
    Path("a.yaml").write_text(text, encoding="utf-8")
    result = run("new", "--answers", "a.yaml", "--out", "v.yaml")
    assert result.exit_code == 2
    assert f"a.yaml:{place}: " in result.output
    assert says in result.output
    assert not Path("v.yaml").exists()


def test_answers_that_lead_nowhere_are_named() -> None:
    """A flasher unit on a vehicle without turn signals is a slip that the person should see."""
    Path("a.yaml").write_text("sort: trailer\nturn-watts: w18\n", encoding="utf-8")
    result = run("new", "--answers", "a.yaml", "--out", "v.yaml")
    assert result.exit_code == 0
    assert "turn-watts" in result.output


def test_check_tells_what_matters_and_what_is_wrong() -> None:
    """The same of a file that was written by hand."""
    run("new", "--out", "v.yaml", typed="motorcycle\n" + "\n" * MANY)
    good = run("check", "v.yaml")
    assert good.exit_code == 0
    assert "nothing wrong" in good.output and "twice as long" in good.output.replace("\n  ", " ")
    text = Path("v.yaml").read_text(encoding="utf-8")
    Path("v.yaml").write_text(text.replace("earth: negative", "earth: up"), encoding="utf-8")
    bad = run("check", "v.yaml")
    assert (bad.exit_code, "v.yaml:6:8" in bad.output) == (2, True), bad.output


def test_mistakes_in_the_questions_are_told_with_their_place(tmp_path: Path) -> None:
    """Questions are data: whoever adds one hears what is wrong with it."""
    from diag.errors import KnowledgeError
    from diag.knowledge.load import rules_folder

    rules = tmp_path / "rules"
    rules.mkdir()
    for entry in rules_folder().iterdir():
        if entry.name != "questions.yaml":
            (rules / entry.name).symlink_to(entry)
    text = (rules_folder() / "questions.yaml").read_text(encoding="utf-8")
    for wrong, right, says in (
        ("{engine-bay: 0.88}", "{engine-bya: 0.88}", "Did you mean `engine-bay`?"),
        ("values: {thermal: thermal}", "values: {termal: thermal}", "Did you mean `thermal`?"),
        ("answered: {lamps: other}", "answered: {lapms: other}", "Did you mean `lamps`?"),
        ("circuits: [turn-signals]", "circuits: [turn-signal]", "Did you mean `turn-signals`?"),
        ("least: 1.2 m", "leest: 1.2 m", "Did you mean `least`?"),
    ):
        assert wrong in text
        (rules / "questions.yaml").write_text(text.replace(wrong, right, 1), encoding="utf-8")
        with pytest.raises(KnowledgeError) as raised:
            Catalogue.read(rules)
        assert says in str(raised.value), str(raised.value)
        assert "questions.yaml:" in str(raised.value)


def test_one_key_answers_on_a_real_terminal(tmp_path: Path) -> None:
    """A digit, a bare Enter, u and Ctrl-C, each without Enter behind it; names are typed as a line."""
    env = {**os.environ, "TERM": "xterm", "PYTHONPATH": str(Path(__file__).parents[2])}
    program = pexpect.spawn(
        sys.executable,
        ["-m", "diag", "vehicle", "new", "--out", "v.yaml"],
        env=env,
        cwd=str(tmp_path),
        dimensions=(24, 40),
        encoding="utf-8",
        timeout=60,
    )
    for seen, typed in (
        ("What it is", "3"),
        ("Name for it", "Grey mare\r"),
        ("System volts", "2"),
        ("post joined", "2"),
        ("Its wiring", "u"),
        ("post joined", "1"),
        ("Its wiring", "\r"),
        ("Overall length", "u\r"),
        ("Its wiring", "2"),
        ("Overall length", "\x03"),
    ):
        program.expect(seen)
        program.expect(r"\n> |\n\r?\n|Enter\)|keep|aged|alone|plus \(pos")
        program.send(typed)
    program.expect("Kept in v.yaml.draft: 5 answers")
    program.expect(pexpect.EOF)
    program.close()
    assert program.exitstatus == 0
    kept = (tmp_path / "v.yaml.draft").read_text(encoding="utf-8")
    assert [line for line in kept.splitlines() if not line.startswith("#")] == [
        "sort: motorcycle",
        "title: Grey mare",
        "system-v: 6",
        "earth: negative",
        "history: aged",
    ]
