"""`diag rules state`: in place where a folder is one's own, as a copy over a shipped rule, and never half.

source of all expectations: the project's own; common practice, no source
"""

from __future__ import annotations

import json
import os
import shutil
from pathlib import Path

import pytest
import yaml
from click.testing import CliRunner, Result

from diag.cli import main
from diag.errors import DiagError
from diag.knowledge import folders, load
from diag.knowledge.layers import installed_layers
from diag.knowledge.load import load_knowledge
from diag.life import move
from diag.replay import jobs as recorded_jobs
from tests.knowledge.packs import rule, write_pack
from tests.knowledge.small import Small, write_small
from tests.life.jobs import DARK_AND_FED, DARK_UNFED, write_job
from tests.life.test_states import FED, LOW, RIGHT_FUSE


@pytest.fixture
def small(tmp_path: Path) -> Small:
    made = write_small(tmp_path / "rules")
    write_job(made.rules / "jobs", "bulb-dead", DARK_AND_FED, "lamp-renew", cause="work-lamp.open")
    write_job(made.rules / "jobs", "fuse-gone", DARK_UNFED, "fuse-lamp.renew", cause="fuse-lamp.blown")
    return made


def run(*words: str) -> Result:
    return CliRunner().invoke(main, ["rules", "state", *words])


def state_in(small: Small, rule: str) -> dict[str, object]:
    file = "shared.yaml" if rule.startswith("shared") else "circuits/lamp.yaml"
    data = yaml.safe_load((small.rules / file).read_text(encoding="utf-8"))
    return next(one for one in data["rules"] if one["id"] == rule)


def test_it_says_what_is_met_and_what_is_missing_with_what_to_do(small: Small) -> None:
    """Before anything is moved."""
    told = run(FED, "--in", str(small.rules))
    assert (
        told.exit_code == 0
        and "For tested: all is met" in told.stdout
        and f"diag rules state {FED} tested" in told.stdout
    )
    told = run(LOW, "--in", str(small.rules), "--narrow")
    assert "MISSING" in told.stdout and "diag rules add" in " ".join(told.stdout.split())
    assert all(len(line) <= 40 for line in told.stdout.splitlines())
    found = json.loads(run(LOW, "--in", str(small.rules), "--format", "json").stdout)
    assert found["next"] == "tested" and [need["met"] for need in found["needs"]].count(False) == 1


def test_a_rule_of_a_named_folder_is_changed_in_place(small: Small) -> None:
    """With the jobs that earned it and the day."""
    before = (small.rules / "circuits/lamp.yaml").read_text(encoding="utf-8")
    trial = run(FED, "tested", "--in", str(small.rules), "--dry-run")
    assert trial.exit_code == 0 and (small.rules / "circuits/lamp.yaml").read_text(encoding="utf-8") == before
    done = run(FED, "tested", "--in", str(small.rules))
    assert done.exit_code == 0, done.stderr
    rule = state_in(small, FED)
    assert (rule["state"], rule["leads-there"], rule["near-miss"]) == ("tested", ["bulb-dead"], ["fuse-gone"])
    assert [(step["from"], step["to"]) for step in rule["moved"]] == [("draft", "tested")]  # type: ignore[attr-defined]
    assert run(FED, "tested", "--in", str(small.rules)).stdout.startswith(f"{FED} is tested already")
    back = run(FED, "draft", "--in", str(small.rules), "--because", "it failed on a trailer")
    assert back.exit_code == 0 and state_in(small, FED)["state"] == "draft"


def test_nothing_is_moved_where_something_is_missing(small: Small) -> None:
    """There is no way round: the message says what, and the file is as it was."""
    before = (small.rules / "shared.yaml").read_bytes()
    refused = run(LOW, "tested", "--in", str(small.rules))
    assert refused.exit_code == 2 and "stays draft" in refused.stderr and "diag rules add" in refused.stderr
    assert (small.rules / "shared.yaml").read_bytes() == before
    assert "No such option" in run(LOW, "tested", "--force").stderr


def test_all_that_have_earned_it_are_moved_at_once(small: Small) -> None:
    """And a second time there is nothing to do."""
    trial = run("--all", "tested", "--in", str(small.rules), "--dry-run")
    assert "Would move 1 to tested." in trial.stdout and state_in(small, FED)["state"] == "draft"
    done = json.loads(run("--all", "tested", "--in", str(small.rules), "--format", "json").stdout)
    assert [one["id"] for one in done["moved"]] == [FED] and state_in(small, FED)["state"] == "tested"
    assert "Moved 0 to tested." in run("--all", "tested", "--in", str(small.rules)).stdout
    (small.rules / "jobs" / "fuse-gone.jsonl").unlink()
    assert f"{FED}: to draft" in run("--all", "draft", "--in", str(small.rules)).stdout
    assert "near miss" in str(state_in(small, FED)["moved"])


def test_wrong_input_is_answered_in_a_sentence(small: Small) -> None:
    """What was found, expected, how to mend it."""
    for words, said in (
        ((), "expected the ID of one, or --all STATE"),
        ((FED, "--all", "tested"), "beside --all"),
        (("lamp/feed-without-lihgt",), f"`{FED}`"),
        (("--all", "tested", "--successor", LOW), "belongs to one rule"),
        (("--all", "tested", "--circuit", "horn"), "no rule is of the circuit"),
        ((RIGHT_FUSE, "retired"), "--successor ID, or --because TEXT"),
    ):
        result = run(*words, "--in", str(small.rules))
        assert result.exit_code == 2 and said in result.stderr, words


# ---------------------------------------------------------------- shipped rules


@pytest.fixture
def shipped(small: Small, monkeypatch: pytest.MonkeyPatch) -> Small:
    """The small folder in place of the shipped rules, with its vehicle as the usual one."""
    for module in (load, folders):
        monkeypatch.setattr(module, "_PACKAGE", small.rules.parent / "diag", raising=False)
    monkeypatch.setenv("DIAG_VEHICLE", str(small.vehicle))
    monkeypatch.setattr(recorded_jobs, "shipped_jobs", lambda: small.rules / "jobs")
    assert installed_layers()[0].folder == small.rules
    return small


def test_a_shipped_rule_is_never_edited_but_copied_over(shipped: Small, tmp_path: Path) -> None:
    """What is installed may be replaced by an update; the copy is one's own, counts, and goes on from there."""
    before = {path: path.read_bytes() for path in shipped.rules.rglob("*") if path.is_file()}
    done = run(FED, "tested")
    assert done.exit_code == 0, done.stderr
    assert {path: path.read_bytes() for path in shipped.rules.rglob("*") if path.is_file()} == before
    copy = folders.local_folder() / "circuits" / "lamp.yaml"
    assert str(copy) in done.stdout
    knowledge = load_knowledge(shipped.vehicle)
    rule = knowledge.rules[FED]
    assert (rule.state, rule.leads_there, knowledge.layer_of[FED]) == ("tested", ("bulb-dead",), "local")
    old = load_knowledge(shipped.vehicle, shipped.rules).rules[FED]
    same = {"state": "draft", "leads_there": (), "near_miss": (), "moved": ()}
    assert rule.model_copy(update=same) == old
    done = run(RIGHT_FUSE, "retired", "--because", "lamps are LEDs now")
    assert done.exit_code == 0, done.stderr
    assert load_knowledge(shipped.vehicle).rules[RIGHT_FUSE].state == "retired"
    back = run(FED, "draft", "--because", "it failed on a trailer")
    assert back.exit_code == 0 and load_knowledge(shipped.vehicle).rules[FED].state == "draft"
    assert len(load_knowledge(shipped.vehicle).rules[FED].moved) == 2
    again = run(RIGHT_FUSE, "draft", "--because", "no")
    assert again.exit_code == 2 and "stays retired" in again.stderr


def test_it_loads_tells_what_a_look_over_the_rules_tells(shipped: Small) -> None:
    """That one vehicle takes it is not enough: `diag rules check` and the state of a rule must not disagree."""
    never = rule("lamp/never").replace(
        "light: is dark}\n", "light: is dark}\n      - {check: lamp-on, light: is dim}\n"
    )
    write_pack(folders.local_folder(), lamp=f"circuit: lamp\nrules:\n{never}{rule('lamp/fine')}")
    assert "excludes-itself" in CliRunner().invoke(main, ["rules", "check"]).output
    loads = {}
    for name in ("lamp/never", "lamp/fine"):
        needs = json.loads(run(name, "--format", "json").stdout)["needs"]
        loads[name] = next(need for need in needs if "It loads" in str(need))
    assert loads["lamp/fine"]["met"] and not loads["lamp/never"]["met"]
    assert "exclude each other" in str(loads["lamp/never"])


def test_shipped_rules_are_not_moved_in_bulk_by_copies(shipped: Small) -> None:
    """A hundred copies would hide every later correction of the shipped rules."""
    done = run("--all", "tested")
    assert "Moved 0 to tested." in done.stdout and "1 more have earned it but are shipped" in done.stdout
    assert not (folders.local_folder() / "circuits").exists()


def test_a_copy_that_would_not_load_leaves_nothing(shipped: Small, monkeypatch: pytest.MonkeyPatch) -> None:
    """A rule that is moved must not stop the next job."""
    (folders.local_folder() / "circuits").mkdir(parents=True)
    copy = folders.local_folder() / "circuits" / "lamp.yaml"
    copy.write_text("circuit: lamp\n", encoding="utf-8")
    monkeypatch.setattr(move, "text_of_rule", lambda text, rule: f"  - id: {rule}\n    state: draft\n")
    refused = run(FED, "tested")
    assert refused.exit_code == 2 and "all is as it was" in refused.stderr
    assert copy.read_text(encoding="utf-8") == "circuit: lamp\n"


def test_a_file_that_changes_meanwhile_is_left(small: Small, monkeypatch: pytest.MonkeyPatch) -> None:
    """An editor that saved in between must not lose its work."""
    path = small.rules / "circuits" / "lamp.yaml"
    whole = move.moved_on

    def slowly(text: str, steps: object) -> str:
        path.write_text(text + "# saved meanwhile\n", encoding="utf-8")
        return whole(text, steps)  # type: ignore[arg-type]

    monkeypatch.setattr(move, "moved_on", slowly)
    refused = run(FED, "tested", "--in", str(small.rules))
    assert refused.exit_code == 2 and "changed it just now" in refused.stderr
    assert path.read_text(encoding="utf-8").endswith("# saved meanwhile\n")


def test_all_files_of_a_bulk_move_go_back_where_one_cannot_be_put(small: Small) -> None:
    """Half a move would leave rules and jobs at odds."""
    copy = small.rules.parent / "copy"
    shutil.copytree(small.rules, copy)
    first, second = copy / "circuits" / "lamp.yaml", copy / "shared.yaml"
    before = first.read_bytes(), second.read_bytes()

    def refuse() -> None:
        raise DiagError("does not load")

    steps = {first: [move.Step(FED, "tested")], second: [move.Step(LOW, "tested")]}
    with pytest.raises(DiagError, match="does not load"):
        move.move_in_place(steps, refuse)
    assert (first.read_bytes(), second.read_bytes()) == before


OWN = """\
# What we learned ourselves.
circuit: lamp
rules:
  # Seen on the grey one.
  - id: lamp/own-marking   # ours
    title: Dark with another fuse
    when:
      - {check: lamp-on, light: is dark}
      - {check: fuse-marking, is: wrong}
    then:
      - {points-to: fuse-lamp.blown, weight: 6}
    because: Somebody tried fuses until none was left.
    source: own job
    state: draft   # new
"""


def test_a_rule_of_the_local_folder_is_changed_there_by_jobs_kept_there(shipped: Small) -> None:
    """What a workshop adds goes through the same life, in its own file, comments kept."""
    local = folders.local_folder()
    (local / "circuits").mkdir(parents=True)
    file = local / "circuits" / "lamp.yaml"
    file.write_text(OWN, encoding="utf-8")
    assert "MISSING" in run("lamp/own-marking").stdout
    dark = ("lamp-on", {"light": "dark", "rhythm": "none"})
    for name, marking, remedy, cause in (
        ("grey-one", "wrong", "fuse-lamp.renew", "fuse-lamp.blown"),
        ("blue-one", "right", "lamp-renew", "work-lamp.open"),
    ):
        said = (dark, ("fuse-marking", marking))
        write_job(local / "jobs", name, said, remedy, cause=cause, knowledge="0" * 16)
    done = run("lamp/own-marking", "tested")
    assert done.exit_code == 0, done.stderr
    added = "    leads-there: [grey-one]\n    near-miss: [blue-one, bulb-dead]\n    moved:\n"
    before, after = OWN.split("state: draft   # new\n")
    text = file.read_text(encoding="utf-8")
    assert text.startswith(f"{before}state: tested   # new\n{added}      - {{date: ") and text.endswith("to: tested}\n")
    assert after == ""
    shown = CliRunner().invoke(main, ["rules", "show", "lamp/own-marking", "--quick"]).stdout
    assert "Layer: local" in shown and "right in 1 of 1 job" in shown and "written by hand" not in shown


def test_a_folder_that_cannot_be_written_to_is_told(small: Small, monkeypatch: pytest.MonkeyPatch) -> None:
    """Before anything is tried."""
    monkeypatch.setattr(os, "access", lambda path, how, **_: how != os.W_OK)
    refused = run(FED, "tested", "--in", str(small.rules))
    assert refused.exit_code == 2 and "expected a file that can be written to" in refused.stderr


def test_what_it_writes_is_found_good_by_the_look_over(small: Small) -> None:
    """A rule retired for a reason, and one called tested, are no mistakes."""
    rules = str(small.rules)
    assert run(FED, "tested", "--in", rules).exit_code == 0
    assert run(LOW, "retired", "--because", "lamps are LEDs now", "--in", rules).exit_code == 0
    looked = CliRunner().invoke(main, ["rules", "check", rules, "--format", "json"])
    codes = {one["code"] for one in json.loads(looked.stdout)}
    assert "not-exercised" in codes, "it has looked"
    assert not codes & {"no-successor", "unearned-state", "near-miss-fires", "unknown-job"}
