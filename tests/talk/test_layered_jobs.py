"""Jobs and the layers of rules that they were weighed by: told in the journal, on resuming, in the log.

source of all expectations: common practice, no source
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from diag.cli import main
from diag.job.layered import LayerTold, layer_changes
from diag.knowledge.folders import local_folder, packs_file
from diag.log.export import export_job
from diag.talk.opening import new_job, open_reasoner, resume_job
from tests.knowledge.packs import HORN, VEHICLE, write_pack

RULES_ALONE = frozenset({"wiring"})


@pytest.fixture
def vehicle(tmp_path: Path) -> Path:
    """A vehicle that has a horn and nothing else."""
    path = tmp_path / "horn-only.yaml"
    path.write_text(VEHICLE, encoding="utf-8")
    return path


@pytest.fixture
def wet(tmp_path: Path) -> Path:
    """A pack that is on the list."""
    folder = write_pack(tmp_path / "wet", "wet", horn=HORN)
    packs_file().write_text(f"packs: [{folder}]\n", encoding="utf-8")
    return folder


def begin(vehicle: Path, path: Path, without: frozenset[str] = RULES_ALONE) -> Path:
    """A job that is opened and left."""
    with new_job(open_reasoner(vehicle, without), vehicle, path, (), without)[1]:
        pass
    return path


def resumed(path: Path, packs: bool = True) -> list[str]:
    """What is told when the job is taken up again."""
    _, journal, messages = resume_job(path, packs=packs)
    journal.close()
    return messages


def lines(path: Path, event: str) -> list[dict[str, Any]]:
    """The journal's records of one event."""
    records = [json.loads(line) for line in path.read_text().splitlines()]
    return [record for record in records if record["event"] == event]


def names(record: dict[str, Any]) -> list[str]:
    """The layers that a record names."""
    return [f"{layer['name']} {layer['version']}".rstrip() for layer in record["layers"]]


def run(*arguments: str, typed: str = "") -> Result:
    """One call of the command in this process."""
    result = CliRunner().invoke(main, list(arguments), input=typed)
    assert result.exception is None or isinstance(result.exception, SystemExit), repr(result.exception)
    return result


def test_a_journal_names_its_layers(vehicle: Path, wet: Path, tmp_path: Path) -> None:
    """Years later it must still be plain by what the answers were weighed."""
    write_pack(local_folder(), horn=HORN.replace("weight: 2", "weight: 3"))
    (record,) = lines(begin(vehicle, tmp_path / "job.jsonl"), "opened")
    assert names(record)[1:] == ["wet 1.0", "local"] and record["replaced"] == 1
    assert len({layer["hash"] for layer in record["layers"]}) == 3


def test_resume_says_which_layer_changed(vehicle: Path, wet: Path, tmp_path: Path) -> None:
    """`The knowledge changed` alone would leave a person to guess whose doing it was."""
    job = begin(vehicle, tmp_path / "job.jsonl")
    assert resumed(job) == []
    write_pack(wet, "wet", version="1.1", horn=HORN.replace("weight: 2", "weight: 3"))
    (told,) = resumed(job)
    assert "wet 1.0 is now 1.1. All answers are weighed again" in told
    assert [names(record)[1:] for record in lines(job, "resumed")] == [["wet 1.0"], ["wet 1.1"]]


def test_what_changes_nothing_is_not_told(vehicle: Path, wet: Path, tmp_path: Path) -> None:
    """A remark in a pack's file weighs nothing."""
    job = begin(vehicle, tmp_path / "job.jsonl")
    write_pack(wet, "wet", horn="# a remark\n" + HORN)
    assert resumed(job) == []


def test_a_vehicle_that_changed_is_told_as_such(vehicle: Path, tmp_path: Path) -> None:
    """No layer is blamed for what stands in the vehicle's own file."""
    job = begin(vehicle, tmp_path / "job.jsonl")
    vehicle.write_text(VEHICLE.replace("rewired", "aged"))
    assert "the vehicle file is another" in resumed(job)[0]


def test_a_journal_from_before_there_were_layers_still_opens(vehicle: Path, wet: Path, tmp_path: Path) -> None:
    """Old jobs are kept for years."""
    job = begin(vehicle, tmp_path / "job.jsonl")
    records = [json.loads(line) for line in job.read_text().splitlines()]
    for record in records:
        for key in ("layers", "replaced"):
            record.pop(key, None)
    records[0]["knowledge"] = "0123456789abcdef"
    job.write_text("".join(json.dumps(record) + "\n" for record in records))
    assert "0123456789abcdef then" in resumed(job)[0]
    log = export_job(job, "markdown")
    assert "For this log" in log and "As the job began" in log
    assert json.loads(export_job(job, "json"))["versions"]["layers"] is None


def test_a_broken_local_folder_leaves_a_way_to_the_vehicle(vehicle: Path, wet: Path, tmp_path: Path) -> None:
    """The message names place and way; with it the job opens by the shipped rules, and its journal says so."""
    folder = write_pack(local_folder(), horn=HORN.replace("horn-sound", "horn-sond"))
    job = tmp_path / "job.jsonl"
    start = ("start", "--vehicle", str(vehicle), "--job", str(job), "--without-wiring")
    refused = run(*start)
    assert refused.exit_code == 2 and f"{folder / 'circuits' / 'horn.yaml'}:6:" in refused.output
    assert "--without-packs" in refused.output and not job.exists()
    assert run(*start, "--without-packs", typed="q\n").exit_code == 0
    (record,) = lines(job, "opened")
    assert names(record) == [names(record)[0]] and record["without"] == ["packs", "wiring"]
    assert run("resume", str(job), typed="q\n").exit_code == 2
    assert run("resume", str(job), "--without-packs", typed="q\n").exit_code == 0
    log = run("export", str(job))
    assert log.exit_code == 0 and "Reasoned without: packs, wiring." in log.output


def test_packs_count_again_once_they_are_mended(vehicle: Path, wet: Path, tmp_path: Path) -> None:
    """Left out once is not left out for ever; and that they came back is told."""
    job = begin(vehicle, tmp_path / "job.jsonl", RULES_ALONE | {"packs"})
    assert "wet 1.0 came in" in resumed(job)[0]
    assert lines(job, "resumed")[0]["without"] == ["wiring"]
    assert json.loads(export_job(job, "json"))["without"] == ["wiring"]


def test_packs_may_be_left_out_later(vehicle: Path, wet: Path, tmp_path: Path) -> None:
    """The same in the middle of a job, and for its log."""
    job = begin(vehicle, tmp_path / "job.jsonl")
    assert "wet 1.0 is no longer there" in resumed(job, packs=False)[0]
    (wet / "pack.yaml").write_text("broken\n")
    report = json.loads(export_job(job, "json"))
    assert report["without"] == ["packs", "wiring"] and report["versions"]["changes"] == ["wet 1.0 is no longer there"]


def test_the_log_names_the_layers(vehicle: Path, wet: Path, tmp_path: Path) -> None:
    """In the log, in its JSON form and on the sheet that goes with the vehicle."""
    write_pack(local_folder(), horn=HORN.replace("weight: 2", "weight: 3"))
    job = begin(vehicle, tmp_path / "job.jsonl")
    versions = json.loads(export_job(job, "json"))["versions"]
    assert [layer["name"] for layer in versions["layers-now"]] == ["shipped", "wet", "local"]
    assert versions["replaced"] == 1 and versions["changes"] == []
    pack, own = (layer["hash"] for layer in versions["layers-now"][1:])
    for form in ("markdown", "handover"):
        assert f"wet 1.0 ({pack}), local {own}" in export_job(job, form)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("then", "now", "told"),
    [
        ("a 1 x, b 2 y", "a 1 x, b 2 y", []),
        ("a 1 x", "a 1 z", ["a 1 changed (x to z)"]),
        ("a 1 x", "a 2 z", ["a 1 is now 2"]),
        ("a  x", "a 2 z", ["a without a version is now 2"]),
        ("a  x", "a  z", ["a changed (x to z)"]),
        ("a 1 x", "a 1 x, b 2 y", ["b 2 came in"]),
        ("a 1 x, b  y", "a 1 x", ["b y is no longer there"]),
        ("a 1 x, b 2 y", "b 2 y, a 1 x", ["the order is now b, a"]),
    ],
)
def test_changes_in_words(then: str, now: str, told: list[str]) -> None:
    """Every way in which two lists of layers may differ; name, version and hash with a space between."""

    def layers(text: str) -> list[LayerTold]:
        return [LayerTold(*one.split(" ")) for one in text.split(", ")]

    assert list(layer_changes(layers(then), layers(now))) == told
