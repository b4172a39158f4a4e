"""The job that is kept as a proof: nothing personal survives, and the job itself stays as it is.

source of all expectations: common practice, no source
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from diag.author.draft import Draft
from diag.author.proof import copied, expected, journal_bytes
from diag.job.records import Record
from diag.job.state import replay
from tests.author.jobs import complaint, heard, lid_job, looked, recorded, small_vehicle

DRAFT = Draft("stop-lamps", "plate-wire.x", "Wire", "plate-wire.reconnect", "stop-lamps/wire", {"rules": []})
SIDE = {"lights": "side"}


def every_event(vehicle: Path) -> list[Record]:
    """A job with everything that a person can write into one."""
    return recorded(
        [
            complaint("plate-lamp-dead"),
            looked("plate", "plate-lamp", SIDE, ("dark", "none")),
            ("noted", {"text": "SECRET one"}),
            ("skipped", {"check": "tail-left", "place": "rear", "reason": "later", "text": "SECRET two"}),
            ("skipped", {"check": "tail-right", "place": "rear", "reason": "SECRET three"}),
            ("acknowledged", {"check": "plate", "caution": "coil-live", "how": "done"}),
            ("stage", {"stage": "walk-round", "skip": "SECRET four"}),
            ("left-open", {"seqs": [4], "reason": "SECRET five", "text": "plate: dark (SECRET six)"}),
            ("asked", {"text": "SECRET seven"}),
            ("changed", {"text": "SECRET eight", "stage": "faults"}),
            ("concluded", {"text": "SECRET nine"}),
            ("answered", {**looked("plate", "plate-lamp", SIDE, ("normal", "steady"))[1], "words": "SECRET ten"}),
            ("not-sure", {"check": "tail-left", "why": "SECRET eleven"}),
            ("changed", {"text": "SECRET twelve"}),
        ],
        vehicle,
    )


def test_nothing_that_a_person_wrote_survives_stripping(tmp_path: Path) -> None:
    """Notes, own words, reasons, folders, the time of day: none of it is needed to replay the job."""
    records = every_event(small_vehicle(tmp_path, "stop-lamps"))
    cure = next(r.seq for r in records if r.event == "changed")
    copy = copied(records, replace(DRAFT, cure=cure))
    text = journal_bytes(copy).decode()
    for secret in ("SECRET", str(tmp_path), tmp_path.name, "09:1", "Brown"):
        assert secret not in text, secret
    assert "greta.yaml" in text and "2026-11-28" in text
    times = [record.at[10:] for record in copy]
    assert times == [f"T00:{minute:02}:00.000000Z" for minute in range(len(copy))]
    known = {word for record in records for word in words_in(dict(record.fields))}
    own = {"remedy", "greta.yaml", "own work", "left open", "skipped", "plate-wire.reconnect"}
    assert {word for record in copy for word in words_in(dict(record.fields))} <= known | own


def words_in(found: Any) -> Iterator[str]:
    """Every text in what a record holds."""
    if isinstance(found, dict):
        for key, value in found.items():
            yield key
            yield from words_in(value)
    elif isinstance(found, list | tuple):
        for value in found:
            yield from words_in(value)
    elif isinstance(found, str):
        yield found


def test_what_stands_is_kept_and_what_cured_is_told_by_its_remedy(tmp_path: Path) -> None:
    """Own work becomes the remedy that it was; every answer stands where it stood, before the work or after it."""
    records = every_event(small_vehicle(tmp_path, "stop-lamps"))
    cure = next(r.seq for r in records if r.event == "changed")
    state = replay(copied(records, replace(DRAFT, cure=cure)))
    assert [(e.event, e.period) for e in state.standing("answered", "remedied", "changed")] == [
        ("answered", 0),
        ("answered", 0),
        ("remedied", 1),
        ("answered", 1),
        ("changed", 2),
    ]
    assert state.standing("remedied")[0].fields["remedy"] == "plate-wire.reconnect"
    assert state.standing("left-open")[0].fields["seqs"] == [4]
    assert state.instruments == ("test-lamp", "meter", "helper")


def test_undone_and_corrected_answers_are_not_carried_along(tmp_path: Path) -> None:
    """A copy holds what stands; a slip of the finger is nobody's business."""
    vehicle = small_vehicle(tmp_path, "horn")
    pressed = {"horn-button": "pressed"}
    records = recorded(
        [
            complaint("horn-silent"),
            heard("horn-sound", "horn", pressed, "click"),
            heard("horn-rest", "horn", {}, "sound"),
            ("undone", {"target": 5}),
            ("answered", {**heard("horn-sound", "horn", pressed, "none")[1], "replaces": 4}),
            ("changed", {"text": "x"}),
        ],
        vehicle,
    )
    copy = copied(records, replace(DRAFT, cure=8))
    assert [r.fields.get("value") for r in copy if r.event == "answered"] == ["horn-silent", "none"]
    assert all("replaces" not in r.fields for r in copy)
    assert [r.seq for r in copy] == list(range(1, len(copy) + 1))


def test_unstripped_it_is_the_job_with_its_words_and_times(tmp_path: Path) -> None:
    """Whoever wants to keep the words keeps all of them, but for what cured."""
    records = lid_job(small_vehicle(tmp_path, "stop-lamps"))
    copy = copied(records, replace(DRAFT, cure=9, strip=False))
    assert "555-1234" in journal_bytes(copy).decode() and str(tmp_path) in journal_bytes(copy).decode()
    assert [r.at for r in copy if r.event != "instruments"] == [r.at for r in records if r.event != "instruments"]


@pytest.mark.parametrize("note", [True, False])
def test_a_cure_that_only_a_note_or_nothing_tells_of_is_put_where_it_belongs(tmp_path: Path, note: bool) -> None:
    """A note that tells of the cure stands for the work; without any the work comes last."""
    records = lid_job(small_vehicle(tmp_path, "stop-lamps"))
    copy = copied(records, replace(DRAFT, cure=8 if note else None))
    events = [r.event for r in copy]
    assert events.index("remedied") == (7 if note else len(events) - 1)
    assert "noted" not in events


def test_positions_that_nobody_recorded_stand_beside_the_answers_that_had_them(tmp_path: Path) -> None:
    """The lid was open at two answers; these only say so, and are no longer the check with the lid shut."""
    records = lid_job(small_vehicle(tmp_path, "stop-lamps"))
    draft = replace(DRAFT, cure=9, at={"lid": "open"}, held=frozenset({4, 5}), symptoms={"plate-lamp-dead": "new-one"})
    copy = copied(records, draft)
    operates = [r.fields.get("operate") for r in copy if r.event in ("answered", "found")]
    assert operates == [{}, *[{**SIDE, "lid": "open"}] * 2, SIDE, SIDE, SIDE, SIDE]
    assert copy[2].fields["value"] == "new-one" and "check" not in copy[3].fields and copy[5].fields["check"] == "plate"


def test_the_expectation_names_cause_and_cure(tmp_path: Path) -> None:
    """A replay compares with it."""
    records = lid_job(small_vehicle(tmp_path, "stop-lamps"))
    copy = copied(records, replace(DRAFT, cure=9))
    text = expected(copy, DRAFT, "seen on 2026-11-28, one vehicle")
    assert "ends-at:\n- plate-wire.reconnect" in text and "cause:\n- plate-wire.x" in text
