"""The engine's reading of an archive is the journal's own reading, whatever stands in the files.

source of all expectations: common practice, no source
"""

from __future__ import annotations

import json
import shutil
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from diag.errors import DiagError
from diag.job.journal import read_journal
from diag.job.state import replay
from diag.replay.archive import Archive, Folder, Wanted, read_archive
from diag.replay.jobs import jobs_in, read_job
from tests.jobs.recorded import FOLDER

ANY = Wanted()
_VALUES = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(2**70), 2**70)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(max_size=8)
    | st.sampled_from(["2026-01-01", "12:00", "OL", "1e5", "null", "true", "\u2028", "\x00", "\ud800"]),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
    max_leaves=6,
)
_NAMES = st.sampled_from(["check", "value", "operate", "remedy", "target", "also", "without", "vehicle", "at", "x"])


def read(folder: Path, wanted: Wanted = ANY) -> Archive:
    """All of one folder."""
    return read_archive([Folder(str(folder))], wanted)


def line(seq: int, event: str, **fields: Any) -> str:
    """A record as the journal writes it."""
    return json.dumps({"v": 1, "seq": seq, "at": f"2026-03-0{seq}T08:00:00Z", "event": event, **fields})


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.dictionaries(_NAMES, _VALUES, max_size=4), min_size=1, max_size=4), st.booleans())
def test_odd_values_are_read_as_the_journal_reads_them(
    tmp_path: Path, found: list[dict[str, Any]], escaped: bool
) -> None:
    """Huge numbers, dates that are text, one field with many types: nothing is guessed or coerced."""
    lines = [
        json.dumps({**fields, "v": 1, "seq": n, "at": "2026-03-01T08:00:00Z", "event": "noted"}, ensure_ascii=escaped)
        for n, fields in enumerate([{"event": "opened"}, *found], start=1)
    ]
    path = tmp_path / "odd.jsonl"
    path.write_bytes(("\n".join(lines) + "\n").encode("utf-8", "surrogatepass"))
    (filed,) = read(tmp_path).jobs
    by_engine, plain = filed.job(), read_job(path)
    assert by_engine.problem == plain.problem
    assert _typed([r.fields for r in by_engine.records]) == _typed([r.fields for r in plain.records])


def _typed(found: Any) -> Any:
    """With the type of every value, so that 1, 1.0 and True differ."""
    if isinstance(found, Mapping):
        return {key: _typed(value) for key, value in found.items()}
    return [_typed(one) for one in found] if isinstance(found, list | tuple) else (type(found), found)


def test_every_shipped_job_is_read_as_the_journal_reads_it() -> None:
    """And the overview says what was carried out."""
    archive, plain = read(FOLDER), jobs_in(FOLDER)
    assert [filed.job() for filed in archive.jobs] == list(plain)
    for filed, job in zip(archive.jobs, plain, strict=True):
        state = replay(job.records)
        done = [entry.fields["remedy"] for entry in state.standing("remedied")]
        assert list(filed.remedies) == done and filed.vehicle_file == job.vehicle_file
        assert filed.answers == len(state.standing("answered", "found"))
        assert (filed.opened_at, filed.last_at) == (job.records[0].at, job.records[-1].at)


def test_damaged_files_are_named_and_stop_nothing(tmp_path: Path) -> None:
    """Torn, foreign, newer, not UTF-8, empty, full of zeros, nested too deep; a folder and a broken link."""
    good = (FOLDER / "horn-fuse.jsonl").read_bytes()
    files = {
        "good": good,
        "torn": good[:700],
        "foreign": b"hello\nworld\n",
        "latin": good + b"\xff\xfe\n",
        "newer": good.replace(b'"v":1', b'"v":99', 1),
        "empty": b"",
        "zeros": b"\0\0\0\0\n",
        "deep": b"[" * 90_000 + b"\n",
        "gap": good.replace(b'"seq":3', b'"seq":9', 1),
    }
    for name, content in files.items():
        (tmp_path / f"{name}.jsonl").write_bytes(content)
    (tmp_path / "folder.jsonl").mkdir()
    (tmp_path / "link.jsonl").symlink_to(tmp_path / "nowhere")
    jobs = {filed.name: filed.job() for filed in read(tmp_path).jobs}
    assert jobs.keys() == files.keys()
    assert {name for name, job in jobs.items() if job.problem} == {"foreign", "latin", "newer", "deep", "gap"}
    assert "torn.jsonl: the last line was cut short" in jobs["torn"].messages[0]
    assert f"{tmp_path}/newer.jsonl:1:1: found format version 99" in jobs["newer"].problem
    assert jobs["good"].records == read_journal(tmp_path / "good.jsonl")[0]


def test_names_that_are_patterns_to_the_engine_are_names(tmp_path: Path) -> None:
    """A file called `*.jsonl` must not stand for all the others."""
    for name in ("*", "a[1]", "a1", "what?", "käse"):
        (tmp_path / f"{name}.jsonl").write_text(line(1, "opened", vehicle=name) + "\n", encoding="utf-8")
    assert {filed.name: filed.vehicle for filed in read(tmp_path).jobs} == {
        n: n for n in ("*", "a[1]", "a1", "what?", "käse")
    }


def test_what_was_taken_back_does_not_count_in_the_overview(tmp_path: Path) -> None:
    """Undone by itself, or with others by one key."""
    lines = [
        line(1, "opened", vehicle="van"),
        line(2, "answered", check="a", value="x"),
        line(3, "answered", check="b", value="x"),
        line(4, "answered", check="c", value="x"),
        line(5, "remedied", remedy="fuse.renew"),
        line(6, "remedied", remedy="lamp.renew"),
        line(7, "undone", target=3, also=[4]),
        line(8, "undone", target=5),
        line(9, "answered", check="a", value="y", replaces=2),
    ]
    (tmp_path / "a.jsonl").write_text("\n".join(lines) + "\n", encoding="utf-8")
    (filed,) = read(tmp_path).jobs
    assert (filed.answers, filed.remedies) == (1, ("lamp.renew",))


@pytest.mark.parametrize(
    ("wanted", "names"),
    [
        (ANY, "old van-job"),
        (Wanted(vehicle="van"), "van-job"),
        (Wanted(vehicle="my-van"), "van-job"),
        (Wanted(vehicle="my-van.yaml"), "van-job"),
        (Wanted(since="2026-02-01"), "van-job"),
        (Wanted(since="2025-01-01T00:00:00Z"), "old van-job"),
        (Wanted(remedy="fuse.renew"), "old"),
        (Wanted(vehicle="x' or 1=1 --"), ""),
        (Wanted(remedy="%"), ""),
    ],
)
def test_filters(tmp_path: Path, wanted: Wanted, names: str) -> None:
    """By vehicle, day and remedy; what is asked for is never part of a statement."""
    (tmp_path / "old.jsonl").write_text(
        '{"v":1,"seq":1,"at":"2025-06-01T08:00:00Z","event":"opened","vehicle":"car","vehicle-file":"/x/car.yaml"}\n'
        '{"v":1,"seq":2,"at":"2025-06-01T09:00:00Z","event":"remedied","remedy":"fuse.renew"}\n'
    )
    (tmp_path / "van-job.jsonl").write_text(
        '{"v":1,"seq":1,"at":"2026-03-01T08:00:00Z","event":"opened","vehicle":"van","vehicle-file":"/x/my-van.yaml"}\n'
    )
    assert [filed.name for filed in read(tmp_path, wanted).jobs] == names.split()


def test_mistakes_are_told_in_words(tmp_path: Path) -> None:
    """No folder, no day, an address that the engine cannot read here."""
    with pytest.raises(DiagError, match="found no such folder; expected one with recorded jobs"):
        read(tmp_path / "nowhere")
    with pytest.raises(DiagError, match="--since: found `soon`; expected a day such as 2026-03-01"):
        read(tmp_path, Wanted(since="soon"))
    with pytest.raises(DiagError, match="this address could not be read .*expected a DuckDB with its extension httpfs"):
        read_archive([Folder("s3://nowhere/jobs")], ANY)


def test_one_file_and_several_folders(tmp_path: Path) -> None:
    """A job by itself, and jobs of another layer under its name."""
    shutil.copy(FOLDER / "horn-fuse.jsonl", tmp_path / "x.jsonl")
    folders = [Folder(str(FOLDER / "horn-fuse.jsonl")), Folder(str(tmp_path), "wet/")]
    assert [filed.name for filed in read_archive(folders, ANY).jobs] == ["horn-fuse", "wet/x"]


def test_every_different_answer_is_told_once(tmp_path: Path) -> None:
    """So that a vehicle is looked at where any of them was."""
    for name in ("a", "b"):
        shutil.copy(FOLDER / "horn-fuse.jsonl", tmp_path / f"{name}.jsonl")
    (deeds,) = read(tmp_path).deeds.values()
    assert len(deeds) == 6
    assert {"kind": "measure", "operate": {}, "red": "fuse-horn.in", "black": "body", "unit": "V"} in deeds
