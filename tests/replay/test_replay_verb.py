"""`diag replay` as a workshop uses it: a folder, a change of a rule, the table, the exit code.

source of all expectations: common practice, no source
"""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

import diag.replay.workers as workers
from diag.cli import main
from diag.knowledge.folders import local_folder
from tests.jobs.recorded import FOLDER
from tests.knowledge.packs import VEHICLE, write_pack

HORN_JOBS = ("horn-fuse", "horn-itself", "horn-feed-wire", "horn-at-once")
AGAINST = """\
circuit: horn
rules:
  - id: horn/fuse-renewed-and-holds
    title: A fuse that holds says nothing
    when:
      - {check: horn-fuse-look, is: holds}
      - {check: horn-sound, is: none}
    then:
      - {points-to: fuse-horn.blown, weight: 0.02}
    because: Turned round to see what hangs on it.
    source: common practice, no source
    state: draft
"""


@pytest.fixture
def jobs(tmp_path: Path) -> Path:
    """Four jobs on a vehicle that has a horn and nothing else."""
    folder = tmp_path / "kept" / "jobs"
    folder.mkdir(parents=True)
    for name in HORN_JOBS:
        for ending in (".jsonl", ".expect.yaml"):
            shutil.copy(FOLDER / f"{name}{ending}", folder)
    vehicles = tmp_path / "kept" / "vehicles"
    vehicles.mkdir()
    (vehicles / "demo-pickup.yaml").write_text(VEHICLE, encoding="utf-8")
    return folder


def replay(*arguments: object) -> Result:
    """The verb, in this process."""
    found = CliRunner().invoke(main, ["replay", *map(str, arguments)])
    assert found.exception is None or isinstance(found.exception, SystemExit), found.exception
    return found


def test_a_rule_turned_round_is_told_and_nothing_else(jobs: Path, tmp_path: Path) -> None:
    """The job that rests on it comes out worse; the others are the same; exit code 1."""
    before = tmp_path / "before.json"
    first = replay(jobs, "--save", before)
    assert first.exit_code == 0, first.output
    assert "4 same conclusion" in first.output and "Nothing is worse." in first.output
    again = replay(jobs, "--against", before, "--only-changed")
    assert again.exit_code == 0 and "horn-" not in again.output
    write_pack(local_folder(), horn=AGAINST)
    changed = replay(jobs, "--against", before, "--only-changed", "--format", "json")
    assert changed.exit_code == 1
    found = json.loads(changed.stdout)
    (difference,) = [d for d in found["differences"] if d["worse"]]
    assert (difference["job"], difference["verdict"]) in (("horn-fuse", "lost"), ("horn-fuse", "other"))
    assert difference["chances"][0]["before"] > 0.9 > 0.7 > difference["chances"][0]["after"]
    assert found["summary"]["jobs"] == 4 and found["summary"]["worse"] == 1
    assert replay(jobs, "--against", before, "--without-packs").exit_code == 0


def test_the_same_bytes_whatever_the_number_of_workers(jobs: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """And whether it was worked out or looked up; a torn and a foreign file among them."""
    monkeypatch.setattr(workers, "ROW", 2)
    monkeypatch.setattr(workers, "_WORTH_IT", 2)
    content = (jobs / "horn-fuse.jsonl").read_bytes()
    (jobs / "torn.jsonl").write_bytes(content[:-40])
    (jobs / "foreign.jsonl").write_bytes(b"hello\n")
    (jobs / "elsewhere.jsonl").write_bytes(content.replace(b"demo-pickup.yaml", b"lost-van.yaml"))
    one = replay(jobs, "--jobs", 1, "--afresh", "--format", "json")
    two = replay(jobs, "--jobs", 2, "--format", "json")
    looked_up = replay(jobs, "--jobs", 2, "--format", "json")
    assert one.stdout_bytes == two.stdout_bytes == looked_up.stdout_bytes
    found = json.loads(one.stdout)
    cannot = {d["job"]: d["why"] for d in found["differences"] if d["verdict"] == "cannot"}
    assert cannot.keys() == {"foreign", "elsewhere"}
    assert "foreign.jsonl:1:1: this line is not a record" in cannot["foreign"]
    assert "found no vehicle file lost-van.yaml; expected it where the job names it" in cannot["elsewhere"]
    assert any("torn.jsonl: the last line was cut short" in text for text in found["aside"])
    assert one.exit_code == 0  # they could not be replayed before either


def test_the_overview_replays_nothing(jobs: Path) -> None:
    """What is there, before anything is worked out."""
    found = replay(jobs, "--list", "--remedy", "fuse-horn.renew")
    assert found.exit_code == 0
    assert "horn-fuse" in found.output and "1 jobs, 1 vehicles" in found.output


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "1:1: found no JSON there"),
        (b"[1]", "1:1: found something else"),
        (b"\xff", "1:1: found bytes that are not UTF-8"),
        (b"[" * 100_000, "1:1: found brackets nested too deep"),
        (b'{"diag-outcomes": 9, "outcomes": []}', "1:1: found form 9; expected at most 1"),
        (b'{"diag-outcomes": 1, "outcomes": [\n{"job": 3}\n]}', "2:1: outcome 1: job: found int; expected text"),
    ],
)
def test_a_baseline_that_is_none_is_bad_input(tmp_path: Path, content: bytes, said: str) -> None:
    """Named with its place; nothing is replayed, nothing written over."""
    path = tmp_path / "base.json"
    path.write_bytes(content)
    found = replay(tmp_path, "--against", path)
    assert found.exit_code == 2 and f"--against {path}:{said}" in found.output


def test_what_is_not_a_baseline_is_not_written_over(jobs: Path, tmp_path: Path) -> None:
    """`--save` beside the wrong name costs nothing."""
    mine = tmp_path / "mine.json"
    mine.write_text("{}", encoding="utf-8")
    found = replay(jobs, "--remedy", "fuse-horn.renew", "--save", mine)
    assert found.exit_code == 2 and mine.read_text(encoding="utf-8") == "{}"


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["nowhere"], "found no such folder"),
        ([".", "--since", "soon"], "--since: found `soon`"),
        ([".", "--jobs", "0"], "0 is not in the range"),
        ([".", "--against", "nowhere.json"], "--against nowhere.json"),
    ],
)
def test_bad_input(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, arguments: list[str], said: str) -> None:
    """Exit code 2 and what to do."""
    monkeypatch.chdir(tmp_path)
    found = replay(*arguments)
    assert found.exit_code == 2 and said in found.output
