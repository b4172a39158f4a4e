"""`diag rules add` from a closed job to the next vehicle with the same fault, driven as a person drives it.

source of all expectations: common practice, no source
"""

from __future__ import annotations

import os
import shutil
import sys
import time
from pathlib import Path

import pexpect
import pytest
import yaml
from click.testing import CliRunner, Result

from diag.cli import main
from diag.knowledge.load import load_knowledge
from diag.log.replayed import replayed
from diag.replay import jobs as recorded_jobs
from diag.replay.jobs import jobs_in, shipped_jobs
from diag.replay.outcome import outcome
from diag.talk.conversation import Conversation
from diag.talk.demo import play_through
from diag.talk.opening import Rehearsed
from diag.talk.rehearsal import SimulatedFitter
from tests.author.jobs import (
    complaint,
    heard,
    lid_job,
    looked,
    measured,
    opened_reasoner,
    recorded,
    small_vehicle,
    wrote,
)
from tests.conftest import TABLES

LID = ["", "", "", "lid", *[""] * 12]
"""What is typed for the lamp in the lid: all as proposed, and the lid's name."""


@pytest.fixture(autouse=True)
def few_jobs(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Two of the shipped jobs in place of a hundred: what is done with them is the same."""
    folder = tmp_path / "shipped-jobs"
    folder.mkdir()
    for name in ("horn-when-steering", "horn-itself"):
        for ending in (".jsonl", ".expect.yaml"):
            shutil.copy(shipped_jobs() / f"{name}{ending}", folder)
        job = folder / f"{name}.jsonl"
        job.write_text(job.read_text(encoding="utf-8").replace("demo-pickup.yaml", "horned.yaml"), encoding="utf-8")
    monkeypatch.setattr(recorded_jobs, "shipped_jobs", lambda: folder)
    return folder


@pytest.fixture
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """DIAG_HOME of the test."""
    return Path(os.environ["DIAG_HOME"])


@pytest.fixture
def greta(tmp_path: Path) -> Path:
    """A vehicle with stop, tail and number-plate lamps."""
    return small_vehicle(tmp_path, "stop-lamps")


@pytest.fixture
def horned(home: Path) -> Path:
    """A vehicle with a horn, in the folder of one's own, where jobs find it by its name."""
    (home / "rules" / "vehicles").mkdir(parents=True)
    return small_vehicle(home / "rules" / "vehicles", "horn", name="horned")


def run(*arguments: str, typed: list[str] | None = None, code: int = 0) -> Result:
    """One call; no traceback reaches a person."""
    lines = "".join(f"{line}\n" for line in typed or [])
    result = CliRunner().invoke(main, ["rules", "add", *arguments], input=lines, env={"COLUMNS": "40"})
    assert result.exception is None or isinstance(result.exception, SystemExit), repr(result.exception)
    assert result.exit_code == code, result.output
    return result


def files_in(folder: Path) -> dict[str, str]:
    """Every file below a folder, but for locks, by its path there."""
    every = sorted(path for path in folder.rglob("*") if path.is_file() and path.name != ".lock")
    return {path.relative_to(folder).as_posix(): path.read_text(encoding="utf-8") for path in every}


def horn_job(vehicle: Path) -> list:  # type: ignore[type-arg]
    """Dead horn, its bracket rusted through: the network says the earth side of the horn is open."""
    pressed = {"horn-button": "pressed"}
    return recorded(
        [
            complaint("horn-silent"),
            heard("horn-sound", "horn", pressed, "none"),
            measured("fuse-horn-out-volts", "fuse-horn.out", {}, 12.6),
            measured("horn-71-volts", "horn.71", pressed, 12.5),
            measured("horn-31b-rest-volts", "horn.31b", {}, 0.04),
            ("changed", {"text": "Bracket of the horn rusted through, made a new one"}),
            heard("horn-sound", "horn", pressed, "sound"),
        ],
        vehicle,
    )


def test_a_rule_keeps_to_its_circuit_and_rests_on_the_test_lamp_that_decided(home: Path, horned: Path) -> None:
    """A lamp that was right in another circuit tells nothing, and a vehicle without that circuit must begin all the
    same. What decided was corrected, and seen with a test lamp, which no file knew: both count."""
    pressed = {"horn-button": "pressed"}
    vehicle = small_vehicle(home, "horn", "oil-warning", name="both")

    def held(light: str) -> tuple[str, dict[str, object]]:
        fields = {"check": "lamp:horn.71:horn-button=pressed", "kind": "look", "operate": pressed}
        rhythm = "none" if light == "dark" else "steady"
        value = {"light": light, "rhythm": rhythm}
        return "answered", {**fields, "target": "test-lamp", "red": "horn.71", "black": "body", "value": value}

    event, corrected = held("dark")
    events = [
        complaint("horn-silent"),
        held("normal"),
        (event, {**corrected, "replaces": 4}),
        looked("oil-key-on", "oil-lamp", {"ignition": "on"}, ("normal", "steady")),
        measured("fuse-horn-out-volts", "fuse-horn.out", {}, 12.6),
        ("remedied", {"remedy": "horn-feed.reconnect"}),
        heard("horn-sound", "horn", pressed, "sound"),
    ]
    job = wrote(home / "jobs" / "20261128-091354-both.jsonl", recorded(events, vehicle))
    result = run(job.stem, typed=[""] * 12 + ["y"])
    assert "Its own job now ends at the cure" in result.output and "oil" not in result.output.lower()
    (check,) = yaml.safe_load((home / "rules/circuits/horn.yaml").read_text())["checks"]
    assert (check["target"], check["red"]) == ("test-lamp", "horn.71")
    later = opened_reasoner(horned, TABLES)
    assert later.steps[check["id"]].generated, "asked as one more measurement, never on a walk-round"
    assert "lamp:horn.71:horn-button=pressed" not in later.steps, "not asked twice"
    beliefs = replayed(later, recorded(events[:5], horned)).plan.beliefs
    assert beliefs is not None and "horn/horn-feed-open" in {fired.rule_id for fired in beliefs.firings}


def test_a_fault_that_no_file_knows_is_added_and_found_on_the_next_vehicle(home: Path, greta: Path) -> None:
    """A wire chafed in the hinge of a lid fails only while it is open. With today's rules the job ends unexplained;
    after answering a dozen questions, most of them with Enter, the same fault is found and cured."""
    job = wrote(home / "jobs" / "20261128-091354-greta.jsonl", lid_job(greta))
    before = outcome(opened_reasoner(greta, TABLES), lid_job(greta), "lid")
    assert not before.found
    bytes_before = job.read_bytes()
    result = run(job.stem, typed=LID)
    assert job.read_bytes() == bytes_before, "what was recorded stays as it was recorded"
    assert "Its own job now ends at the cure" in result.output
    assert all(len(line) <= 40 for line in result.output.splitlines() if "/" not in line), result.output
    files = files_in(home / "rules")
    name = "plate-wire-open-with-lid-open"
    assert set(files) == {
        "circuits/stop-lamps.yaml",
        "vehicles/greta.yaml",
        f"jobs/{name}.jsonl",
        f"jobs/{name}.expect.yaml",
    }
    for secret in ("Brown", "555-1234", "Smith", "neighbour", str(greta.parent), "sleeved"):
        assert not any(secret in text for text in files.values()), secret

    knowledge = load_knowledge(greta)
    rule = next(rule for rule in knowledge.rules.values() if name in rule.id)
    cause = str(rule.then[0].points_to)
    assert (rule.state, rule.leads_there, rule.source) == ("draft", (name,), "seen on 2026-11-28, one vehicle")
    assert knowledge.causes[cause].while_ == {"lid": ("open",)} and knowledge.causes[cause].like == "plate-wire.open"
    assert knowledge.layer_of[rule.id] == "local"
    assert "from a job of 2026-11-28" in files["circuits/stop-lamps.yaml"]

    reasoner = opened_reasoner(greta, TABLES)
    kept = jobs_in(home / "rules" / "jobs")
    assert [one.expected.ends_at for one in kept if one.expected] == [("plate-wire.reconnect",)]
    proof = outcome(reasoner, kept[0].records, "proof")
    assert proof.found and rule.id in proof.pointing

    fitter = SimulatedFitter(reasoner, [cause])
    conversation = Conversation(reasoner, Rehearsed.opened(reasoner), "next")
    played = play_through(conversation, fitter, lambda _: None, lambda _: None)
    assert played.cured and played.remedies[0] == "plate-wire.reconnect"


def test_stopping_writes_nothing_and_the_same_call_goes_on(home: Path, horned: Path) -> None:
    """A customer comes in the middle: no half a rule is left, and no answer is asked twice."""
    job = wrote(home / "jobs" / "20261128-091354-horned.jsonl", horn_job(horned))
    first = run(job.stem, typed=["2", "u", "1", "5"])  # end of input is as good as q
    assert "Nothing is written" in first.output and "Kept: 1 answers" in first.output.replace("\n", " ")
    assert "expected 1 to" in first.output
    assert [name for name in files_in(home / "rules") if not name.startswith(("adding/", "vehicles/"))] == []
    again = run(job.stem, typed=["1", "q"])
    assert "Going on with 1 answers" in again.output and "When is it there?" in again.output
    anew = run(job.stem, "--anew", typed=["u", "q"])
    assert "Nothing stands before this" in anew.output and "Going on" not in anew.output


def test_what_a_person_wrote_by_hand_stays_and_a_copy_of_every_change_is_kept(home: Path, horned: Path) -> None:
    """A cause of one's own with a check by eye and a remedy in one's own words, put behind entries by hand."""
    by_hand = "# my own notes\ncircuit: horn\nremedies:\n- id: mine   # do not touch\n  title: Mine\n"
    by_hand += "  cures: [horn.seized]\n  steps: [knock]\n"
    file = home / "rules" / "circuits" / "horn.yaml"
    file.parent.mkdir(parents=True)
    file.write_text(by_hand, encoding="utf-8")
    job = wrote(home / "jobs" / "20261128-091354-horned.jsonl", horn_job(horned))
    answers = home / "answers.yaml"
    answers.write_text(
        "cause: own\nlike: horn.open\ntitle: Horn bracket rusted through\neye: Bracket of the horn\n"
        "eye-bad: Rusted through\nremedy-steps: Unbolt it; make a new one ; paint it\nremedy-parts: Flat steel 3 mm\n"
        "cautions: '1'\n",
        encoding="utf-8",
    )
    run(job.stem, "--answers", str(answers))
    text = file.read_text(encoding="utf-8")
    assert text.startswith(by_hand)
    assert (home / "rules" / "earlier" / "horn-1.yaml").read_text(encoding="utf-8") == by_hand
    added = yaml.safe_load(text)
    (check,), (cause,), (rule,), remedy = added["checks"], added["causes"], added["rules"], added["remedies"][1]
    assert check["kind"] == "choose" and check["minutes"] == "2 min"
    assert (cause["id"], cause["like"]) == ("horn.bracket-rusted-through", "horn.open")
    assert {condition["check"] for condition in rule["when"]} >= {check["id"]}
    assert remedy["steps"] == ["Unbolt it", "Make a new one", "Paint it"] and remedy["cures"] == [cause["id"]]
    assert remedy["cautions"] == ["battery-off-first"] and remedy["parts"] == ["Flat steel 3 mm"]
    proof = jobs_in(home / "rules" / "jobs")[0]
    assert [r.fields.get("value") for r in proof.records if r.fields.get("check") == check["id"]] == ["rusted-through"]
    with answers.open("a", encoding="utf-8") as stream:
        stream.write("save: anyway\n")  # it takes from the first that lies in the folder: told, and done if wanted
    second = run(job.stem, "--answers", str(answers))
    assert "worse: horn-bracket-rusted-through" in second.output
    again = yaml.safe_load(file.read_text(encoding="utf-8"))
    ids = [entry["id"] for section in ("checks", "causes", "rules", "remedies") for entry in again[section]]
    assert len(ids) == len(set(ids)) == 9, second.output


def test_answers_come_from_a_file_and_what_it_does_not_say_is_as_proposed(home: Path, horned: Path) -> None:
    """For automation: nothing is asked; a wrong answer is told with the question; the words are kept if wanted."""
    job = wrote(home / "jobs" / "20261128-091354-horned.jsonl", horn_job(horned))
    answers = home / "answers.yaml"
    own = "cause: part\nsubject: horn\nhow: own\nlike: none\n"
    answers.write_text(own, encoding="utf-8")
    assert "no answer to `eye`" in run(job.stem, "--answers", str(answers), code=2).output
    answers.write_text("cause: horn.open\nwhen: daily\n", encoding="utf-8")
    wrong = run(job.stem, "--answers", str(answers), code=2)
    assert "`when`: found `daily`; expected" in wrong.output and "answers.yaml" in wrong.output
    answers.write_text("cause: horn.open\nstrip: 'no'\nsave: 'no'\nfaith: big\n", encoding="utf-8")
    dry = run(job.stem, "--answers", str(answers))
    assert "Nothing is written" in dry.output and "faith" in dry.output and not (home / "rules" / "circuits").exists()
    answers.write_text("cause: horn.open\nstrip: 'no'\n", encoding="utf-8")
    run(job.stem, "--answers", str(answers))
    text = "".join(files_in(home / "rules").values())
    assert job.stem in text and "his neighbour" in text and "T09:1" in text


def spoiling(home: Path) -> Path:
    """Answers of an addition from nothing that contradicts a recorded job: it blames a horn that sounds at some
    steering angle on something met more often than what cured it there."""
    answers = home / "answers.yaml"
    answers.write_text(
        "circuit: horn\nseen-1: horn while the steering is turned\nseen-1-check: horn-while-steering\n"
        "seen-1-answer: sounds-somewhere\nseen-2: wire inside the column\nseen-2-check: column-wire-look\n"
        "seen-2-answer: rubbed\ncause: part\nsubject: slip ring to the horn button\nhow: own\n"
        "like: slip-ring-wire.to-body\ntitle: Cowl pinched\noften: often\n"
        "signs: '1 2'\nweight: strongly\nremedy-title: Bend the cowl\nremedy-steps: Bend it\n",
        encoding="utf-8",
    )
    return answers


def test_what_would_be_worse_is_named_and_not_saved_unless_that_is_said(home: Path, horned: Path) -> None:
    """Nothing that is added can quietly spoil what worked: the job is named, and the default is to leave it."""
    answers = spoiling(home)
    arguments = ("--from-nothing", "--vehicle", str(horned))
    result = run(*arguments, "--answers", str(answers), code=1)
    assert "worse: horn-when-steering" in result.output.replace("\n  ", " ").replace("    ", " "), result.output
    assert "2 recorded jobs looked at, 2" in result.output
    assert not (home / "rules" / "circuits").exists()
    (home / "rules" / "adding").mkdir()
    kept = home / "rules" / "adding" / "from-nothing.answers"
    kept.write_text(answers.read_text(encoding="utf-8"), encoding="utf-8")
    asked = run(*arguments, typed=[""] * 20)
    assert "Something is WORSE" in asked.output and "Nothing is written" in asked.output
    assert not (home / "rules" / "circuits").exists()
    saved = run(*arguments, typed=["y"] * 10)
    assert "Saved as a draft" in saved.output
    assert "bend-the-cowl" in (home / "rules" / "circuits" / "horn.yaml").read_text(encoding="utf-8")


def test_other_steps_for_a_known_fault_are_told_where_a_recorded_job_ends_at_the_known_ones(
    home: Path, horned: Path
) -> None:
    """The fault is found as before but cured under another name: whoever replays would take it for lost."""
    job = wrote(home / "jobs" / "20261128-091354-horned.jsonl", horn_job(horned))
    answers = home / "answers.yaml"
    answers.write_text("cause: horn.open\nremedy: own\nremedy-steps: Fit another horn\n", encoding="utf-8")
    result = run(job.stem, "--answers", str(answers), code=1)
    assert "worse: horn-itself" in result.output


def test_a_new_check_is_asked_for_where_there_is_none(home: Path, horned: Path) -> None:
    """From nothing, with a look that no file has: volts between two points that a person names in words."""
    answers = home / "answers.yaml"
    answers.write_text(
        "circuit: horn\nseen-1: volts between horn and bracket\nseen-1-check: new\nseen-1-kind: measure\n"
        "seen-1-title: Volts from feed to button side\nseen-1-unit: V\nseen-1-red: horn terminal 71\n"
        "seen-1-black: slip ring brush\nseen-1-operate: horn button pressed\nseen-1-answer: '0.1'\n"
        "cause: part\nsubject: feed of the horn\nhow: horn-feed.open\n",
        encoding="utf-8",
    )
    run("--from-nothing", "--vehicle", str(horned), "--answers", str(answers))
    knowledge = load_knowledge(horned)
    check = knowledge.checks["volts-from-feed-to-button-side"]
    assert (check.red, check.black, check.unit) == ("horn.71", "column-slip-ring.brush", "V")
    assert dict(check.operate) == {"horn-button": "pressed"} and check.minutes == 2
    rule = knowledge.rules[next(name for name in knowledge.rules if knowledge.layer_of[name] == "local")]
    assert rule.when[0].check == check.id and rule.when[0].below == pytest.approx(1.1)


def test_ids_of_retired_rules_are_never_used_again(home: Path, horned: Path) -> None:
    """A retired rule keeps its name for good: jobs and successors point to it."""
    job = wrote(home / "jobs" / "20261128-091354-horned.jsonl", horn_job(horned))
    answers = home / "answers.yaml"
    answers.write_text("cause: horn.open\nsave: anyway\n", encoding="utf-8")
    run(job.stem, "--answers", str(answers))
    file = home / "rules" / "circuits" / "horn.yaml"
    retired = file.read_text(encoding="utf-8").replace("state: draft", "state: retired")
    file.write_text(retired, encoding="utf-8")
    run(job.stem, "--answers", str(answers))
    ids = [rule["id"] for rule in yaml.safe_load(file.read_text(encoding="utf-8"))["rules"]]
    assert ids == [ids[0], f"{ids[0]}-2"]


def test_mistakes_are_told(home: Path, horned: Path, tmp_path: Path) -> None:
    """What was found, what is expected; exit code 2."""
    assert "expected one of them" in run("x", "--from-nothing", code=2).output
    assert "no such job" in run("nowhere", code=2).output
    well = recorded(
        [("answered", {"check": "start", "kind": "choose", "operate": {}, "value": "circuit:horn"})], horned
    )
    well += recorded([heard("horn-sound", "horn", {"horn-button": "pressed"}, "sound")], horned)[2:]
    job = wrote(home / "jobs" / "well.jsonl", well[:3])
    assert "found nothing odd" in run(str(job), code=2).output
    assert "--template: found `hron`; expected" in run("--template", "hron", code=2).output


def test_one_key_answers_on_a_real_terminal(home: Path, horned: Path) -> None:
    """A digit, a bare Enter and u without Enter behind them, on a screen as narrow as a phone's."""
    job = wrote(home / "jobs" / "20261128-091354-horned.jsonl", horn_job(horned))
    env = {**os.environ, "TERM": "xterm", "PYTHONPATH": str(Path(__file__).parents[2])}
    program = pexpect.spawn(
        sys.executable,
        ["-m", "diag", "rules", "add", job.stem],
        env=env,
        dimensions=(24, 40),
        encoding="utf-8",
        timeout=60,
    )
    for seen, typed in (
        ("What was wrong", "1"),
        ("When is it there", "u"),
        ("What was wrong", "\r"),
        ("When is it there", "\r"),
        ("Which of these", "1 2\r"),
        ("How strongly", "3"),
        ("What is done", "q"),
    ):
        program.expect(seen)
        program.expect(r"Enter(\)|: [0-9 ]+)")
        _until_it_waits(program.pid)
        program.send(typed)
    program.expect("Kept: 4 answers")
    program.expect(pexpect.EOF)
    program.close()
    assert program.exitstatus == 0
    kept = (home / "rules" / "adding" / f"{job.stem}.answers").read_text(encoding="utf-8")
    assert "weight: strongly" in kept and "signs: 1 2" in kept


def test_a_sender_of_the_wrong_resistance_is_added_with_its_value(home: Path, tmp_path: Path) -> None:
    """A new sender made for another gauge has eighteen times the ohms: no file knows such a fault by itself,
    and once added the next one is found."""
    vehicle = small_vehicle(tmp_path, "gauges", name="gauged")
    full = {"ignition": "on"}
    look = ("answered", {"check": "fuel-needle-full", "kind": "look", "operate": full, "target": "fuel-gauge"})
    off = {"battery": "disconnected", "fuel": "half", "unplugged": "fuel-sender.G"}
    ohms = {"check": "fuel-sender-ohm", "kind": "measure", "operate": off, "red": "fuel-sender.G", "black": "body"}
    events = [
        complaint("fuel-gauge-empty"),
        (look[0], {**look[1], "value": "low"}),
        ("answered", {**ohms, "unit": "ohm", "value": 1100}),
        ("changed", {"text": "Sender of another make taken out, right one fitted"}),
        (look[0], {**look[1], "value": "high"}),
    ]
    job = wrote(home / "jobs" / "20261128-091354-gauged.jsonl", recorded(events, vehicle))
    answers = home / "answers.yaml"
    answers.write_text(
        "cause: part\nsubject: sender in the fuel tank\nhow: fuel-sender.wrong-range\nvalue: '18'\n", encoding="utf-8"
    )
    result = run(job.stem, "--answers", str(answers))
    assert "Its own job now ends at the cure" in result.output, result.output


def _until_it_waits(pid: int) -> None:
    """Until the program has slept for a while: a key that comes before it reads keys is thrown away."""
    calm = 0
    while calm < 4:
        states = [path.read_text().rpartition(")")[2].split()[0] for path in Path(f"/proc/{pid}/task").glob("*/stat")]
        calm = calm + 1 if all(state == "S" for state in states) else 0
        time.sleep(0.05)
