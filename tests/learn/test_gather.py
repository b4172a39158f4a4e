"""Which journals count, and that each job counts once, however it was copied."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from diag.errors import DiagError
from diag.learn.gather import Gathered, gather, sorted_out
from tests.learn.closed import Lines, at, write_job


def names(found: Gathered) -> list[str]:
    return sorted(job.name for job in found.closed)


def reasons(found: Gathered) -> dict[str, str]:
    return {one.name: one.reason for one in found.aside}


def test_a_closed_job_is_taken(tmp_path: Path) -> None:
    """The usual case."""
    write_job(tmp_path, "horn-fuse", tmp_path / "van.yaml")
    assert names(gather(tmp_path)) == ["horn-fuse"] and gather(tmp_path).aside == ()


def test_a_copy_counts_once_whatever_its_name_and_order(tmp_path: Path) -> None:
    """Copied whole, copied half way through, or with its notes taken out."""
    write_job(tmp_path, "horn-fuse", tmp_path / "van.yaml", lambda lines: lines.insert(4, _note()))
    write_job(tmp_path, "same-again", tmp_path / "van.yaml", lambda lines: lines.insert(4, _note()), "horn-fuse")
    write_job(tmp_path, "without-notes", tmp_path / "elsewhere.yaml", like="horn-fuse")
    write_job(
        tmp_path, "when-half-done", tmp_path / "van.yaml", lambda lines: lines.__delitem__(slice(6, None)), "horn-fuse"
    )
    found = gather(tmp_path)
    assert len(found.closed) == 1 and len(found.aside) == 3
    assert all(reason.startswith("a copy of ") for reason in reasons(found).values())
    paths = sorted(tmp_path.glob("*.jsonl"))
    hashes = {sorted_out(order).closed[0].hash for order in (paths, paths[::-1], paths[2:] + paths[:2])}
    assert hashes == {found.closed[0].hash}


def _note() -> dict[str, Any]:
    return {"event": "noted", "text": "customer waits"}


def test_a_job_that_was_changed_by_hand_is_set_aside_with_its_name(tmp_path: Path) -> None:
    """Nobody can say which of the two is right, so neither counts."""

    def other(lines: Lines) -> None:
        lines[at(lines, "answered", check="fuse-horn-out-volts")]["value"] = 12.6

    write_job(tmp_path, "horn-fuse", tmp_path / "van.yaml")
    write_job(tmp_path, "edited", tmp_path / "van.yaml", other, "horn-fuse")
    found = gather(tmp_path)
    assert names(found) == [] and {one.name for one in found.aside if one.odd} == {"horn-fuse", "edited"}
    assert "edited" in reasons(found)["horn-fuse"]


def test_jobs_that_began_in_the_same_second_are_two_jobs(tmp_path: Path) -> None:
    """Two ramps, two technicians, one clock."""
    write_job(tmp_path, "horn-fuse", tmp_path / "van.yaml", _at_noon)
    write_job(tmp_path, "horn-at-once", tmp_path / "van.yaml", _at_noon)
    assert names(gather(tmp_path)) == ["horn-at-once", "horn-fuse"]


def _at_noon(lines: Lines) -> None:
    lines[0]["at"] = "2026-03-01T12:00:00Z"


@pytest.mark.parametrize(
    ("change", "reason", "odd"),
    [
        (lambda lines: lines.pop(), "not finished", False),
        (
            lambda lines: lines.append({"event": "answered", "check": "horn-rest", "value": "none"}),
            "not finished",
            False,
        ),
        (lambda lines: lines[0].update(simulated=True), "simulated", False),
        (lambda lines: lines.pop(0), "no job", True),
    ],
)
def test_what_cannot_count_says_why(tmp_path: Path, change: Any, reason: str, odd: bool) -> None:
    """Not finished, gone on with, played by the program, or no job at all."""
    write_job(tmp_path, "horn-fuse", tmp_path / "van.yaml", change)
    (one,) = gather(tmp_path).aside
    assert one.reason.startswith(reason) and one.odd is odd and gather(tmp_path).closed == ()


def test_a_note_after_the_end_does_not_open_a_job_again(tmp_path: Path) -> None:
    """Nor does looking at it once more."""
    write_job(tmp_path, "horn-fuse", tmp_path / "van.yaml", lambda lines: lines.extend([_note(), {"event": "resumed"}]))
    assert names(gather(tmp_path)) == ["horn-fuse"]


@pytest.mark.parametrize("damage", [b'{"v":1,"se', b"not a record\n", b"\x00\x00\n"])
def test_a_damaged_journal_is_set_aside_with_its_name(tmp_path: Path, damage: bytes) -> None:
    """The others still count."""
    write_job(tmp_path, "horn-at-once", tmp_path / "van.yaml")
    path = write_job(tmp_path, "horn-fuse", tmp_path / "van.yaml")
    path.write_bytes(path.read_bytes() + damage)
    found = gather(tmp_path)
    assert names(found) == ["horn-at-once"]
    (one,) = found.aside
    assert one.name == "horn-fuse" and one.odd and one.reason.startswith("damaged: ")


def test_a_recorded_job_is_over_though_no_conversation_ended_it(tmp_path: Path) -> None:
    """What it comes to stands beside it."""
    write_job(tmp_path, "horn-fuse", tmp_path / "van.yaml", lambda lines: lines.pop())
    (tmp_path / "horn-fuse.expect.yaml").write_text("ends-at: [fuse-horn.renew]\n", encoding="utf-8")
    assert names(gather(tmp_path)) == ["horn-fuse"]


def test_a_folder_that_is_not_there_is_told(tmp_path: Path) -> None:
    """With its name and what to do."""
    with pytest.raises(DiagError, match="--from .*nowhere.*could not be listed"):
        gather(tmp_path / "nowhere")
