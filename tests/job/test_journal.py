"""The journal as a file: what is written, what is read back, what is refused and how it is said."""

from __future__ import annotations

import json
import os
import stat
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import pytest

from diag.errors import DiagError
from diag.job import journal as module
from diag.job.journal import (
    LINE_LIMIT,
    Journal,
    JournalError,
    jobs_folder,
    list_jobs,
    new_job_path,
    read_journal,
)

START = datetime(2026, 11, 25, 8, 30, tzinfo=UTC)
ROOT = Path(module.__file__).parents[2]


def ticking(*seconds: float) -> Any:
    """A clock that shows these seconds after START, one a look."""
    times = iter([START + timedelta(seconds=one) for one in seconds])
    return lambda: next(times)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "job.jsonl"


def filled(path: Path, count: int = 3) -> bytes:
    """A journal with `count` records, closed; gives its bytes."""
    with Journal.create(path) as journal:
        for number in range(count):
            journal.append("answered", check=f"c{number}", value={"light": "dim", "rhythm": "steady"})
    return path.read_bytes()


def refused(path: Path, content: bytes) -> JournalError:
    """The error that a file with this content gives, the same with and without a lock; file untouched."""
    path.write_bytes(content)
    with pytest.raises(JournalError) as reading:
        read_journal(path)
    with pytest.raises(JournalError) as opening:
        Journal.open(path)
    assert str(reading.value) == str(opening.value)
    assert path.read_bytes() == content
    return opening.value


def test_records_come_back_as_they_were_written(path: Path) -> None:
    """The file is a job's only memory."""
    with Journal.create(path, ticking(0, 1)) as journal:
        first = journal.append("opened", vehicle="old-van", without=[], **{"vehicle-file": "old van.yaml"})
        journal.append("answered", check="volts", value=12.6, unit="V", replaces=1)
        kept = journal.records
    assert (first.v, first.seq, first.at, first.event) == (1, 1, "2026-11-25T08:30:00.000000Z", "opened")
    assert first.fields == {"vehicle": "old-van", "vehicle-file": "old van.yaml", "without": []}
    with Journal.open(path) as journal:
        assert journal.records == kept
        assert journal.messages == ()
    assert read_journal(path) == (kept, ())


def test_record_cannot_be_changed(path: Path) -> None:
    """State is what replay of the file gives; a record changed in memory would differ from it."""
    with Journal.create(path) as journal:
        record = journal.append("noted", text="x")
        with pytest.raises(AttributeError):
            record.seq = 2  # type: ignore[misc]
        with pytest.raises(TypeError):
            record.fields["text"] = "y"  # type: ignore[index]


def test_lines_are_json_with_version_number_time_and_event(path: Path) -> None:
    """Other programs, and people, read the file too."""
    lines = filled(path).splitlines()
    for number, line in enumerate(lines, start=1):
        found = json.loads(line)
        assert list(found)[:4] == ["v", "seq", "at", "event"]
        assert (found["v"], found["seq"]) == (1, number)
        assert datetime.fromisoformat(found["at"]).utcoffset() == timedelta(0)


def test_append_continues_numbers_after_open(path: Path) -> None:
    """A job goes on over many sittings."""
    filled(path, 2)
    with Journal.open(path) as journal:
        assert journal.append("noted", text="x").seq == 3
    assert [record.seq for record in read_journal(path)[0]] == [1, 2, 3]


def test_record_is_on_disk_before_append_returns(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """An answer that was acknowledged must survive a pulled plug: the file, and first its name."""
    calls: list[tuple[str, str]] = []
    real_sync, real_write = os.fsync, os.write

    def sync(fd: int) -> None:
        calls.append(("sync", "folder" if stat.S_ISDIR(os.fstat(fd).st_mode) else "file"))
        real_sync(fd)

    def write(fd: int, line: Any) -> int:
        calls.append(("write", bytes(line).decode()[-2:]))
        return real_write(fd, line)

    monkeypatch.setattr(os, "fsync", sync)
    monkeypatch.setattr(os, "write", write)
    monkeypatch.delattr("fcntl.F_FULLFSYNC", raising=False)
    deep = path.parent / "a" / "b" / "job.jsonl"
    with Journal.create(deep) as journal:
        assert calls == [("sync", "folder"), ("sync", "folder"), ("sync", "file"), ("sync", "folder")]
        calls.clear()
        journal.append("noted", text="x")
        assert calls == [("write", "}\n"), ("sync", "file")]


def test_files_and_folders_are_for_this_user_only(tmp_path: Path) -> None:
    """Jobs can hold a customer's vehicle and words."""
    path = tmp_path / "new" / "jobs" / "job.jsonl"
    old = os.umask(0)
    try:
        content = filled(path)
        path.write_bytes(content + b'{"v":1')
        Journal.open(path).close()
    finally:
        os.umask(old)
    assert stat.S_IMODE(path.parent.stat().st_mode) == stat.S_IMODE(path.parent.parent.stat().st_mode) == 0o700
    assert {file.name: oct(stat.S_IMODE(file.stat().st_mode)) for file in path.parent.iterdir()} == {
        "job.jsonl": "0o600",
        "job.jsonl.torn-1": "0o600",
        "job.jsonl.lock": "0o600",
    }


def test_clock_set_back_does_not_turn_time_round(path: Path) -> None:
    """An old laptop's clock jumps; the log must still read forward."""
    with Journal.create(path, ticking(100, 40, 101)) as journal:
        times = [journal.append("noted", text="x").time for _ in range(3)]
    assert times == [START + timedelta(seconds=one) for one in (100, 100, 101)]
    with Journal.open(path, ticking(0)) as journal:
        assert journal.append("noted", text="x").time == times[-1]


def test_time_is_utc_whatever_zone_the_clock_has(path: Path) -> None:
    """Sittings before and after a change to summer time must stay in order."""
    with Journal.create(path, lambda: START.astimezone(timezone(timedelta(hours=5, minutes=30)))) as journal:
        assert journal.append("noted", text="x").at == "2026-11-25T08:30:00.000000Z"
    with Journal.open(path, lambda: datetime(2026, 11, 25)) as journal, pytest.raises(ValueError, match="zone"):
        journal.append("noted", text="x")


def test_edited_times_that_go_back_are_told_not_refused(path: Path) -> None:
    """Recorded jobs are edited by hand; only the order of lines counts."""
    lines = [
        b'{"v":1,"seq":1,"at":"2026-11-25T09:00:00Z","event":"noted"}',
        b'{"v":1,"seq":2,"at":"2026-11-25T08:00:00Z","event":"noted"}',
    ]
    path.write_bytes(b"\n".join(lines) + b"\n")
    records, messages = read_journal(path)
    assert len(records) == 2
    assert messages == (f"{path}:2:1: the time goes back (2026-11-25T08:00:00Z); the order of the lines counts.",)
    with Journal.open(path, ticking(0)) as journal:
        assert journal.append("noted").at == "2026-11-25T09:00:00.000000Z"


def test_torn_last_line_is_set_aside_at_every_byte(path: Path) -> None:
    """A pulled plug can leave any part of the line; the job must open, and nothing be thrown away."""
    content = filled(path)
    whole = content.rindex(b"\n", 0, -1) + 1
    assert len(content) - whole > 60
    for length in range(1, len(content) - whole):
        piece = content[whole : whole + length]
        path.write_bytes(content[:whole] + piece)
        records, messages = read_journal(path)
        assert [record.seq for record in records] == [1, 2]
        assert "cut short" in messages[0]
        with Journal.open(path) as journal:
            assert [record.seq for record in journal.records] == [1, 2]
            assert path.read_bytes() == content[:whole]
            aside = path.with_name(f"job.jsonl.torn-{length}")
            assert aside.read_bytes() == piece
            (message,) = journal.messages
            assert message.startswith(f"{path}: the last line was cut short ({length} bytes) and was set aside in ")
            assert f" {aside.name}. If the last answer is missing, give it again." in message
            assert journal.append("noted", text="again").seq == 3
        assert [record.seq for record in read_journal(path)[0]] == [1, 2, 3]


def test_piece_is_on_disk_before_it_is_cut_off(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The plug pulled a second time, while mending, must not lose it either."""
    content = filled(path)
    path.write_bytes(content + b"piece")
    calls: list[str] = []
    real_sync, real_cut = os.fsync, os.ftruncate

    def sync(fd: int) -> None:
        calls.append("folder" if stat.S_ISDIR(os.fstat(fd).st_mode) else f"file of {os.fstat(fd).st_size}")
        real_sync(fd)

    def cut(fd: int, length: int) -> None:
        calls.append("cut")
        real_cut(fd, length)

    monkeypatch.setattr(os, "fsync", sync)
    monkeypatch.setattr(os, "ftruncate", cut)
    monkeypatch.delattr("fcntl.F_FULLFSYNC", raising=False)
    Journal.open(path).close()
    assert calls == ["file of 5", "folder", "cut", f"file of {len(content)}"]


@pytest.mark.parametrize("piece", [b"\0" * 4096, b"\0" * 100 + b'"x"}\n', b"\xff\xfe", b"{}{}", b"\xe2\x82"])
def test_rubbish_that_a_power_cut_leaves_at_the_end_is_set_aside(path: Path, piece: bytes) -> None:
    """Some file systems keep the new length and lose the text, leaving zero bytes."""
    content = filled(path)
    path.write_bytes(content + piece)
    with Journal.open(path) as journal:
        assert len(journal.records) == 3
        assert len(journal.messages) == 1
    assert path.read_bytes() == content
    assert path.with_name("job.jsonl.torn-1").read_bytes() == piece


def test_file_with_only_a_torn_line_opens_empty(path: Path) -> None:
    """The plug pulled at the very first answer is no reason to refuse the job."""
    path.write_bytes(b'{"v":1,"se')
    with Journal.open(path) as journal:
        assert journal.records == ()
        assert journal.append("opened").seq == 1


def test_empty_file_opens_empty(path: Path) -> None:
    """The plug pulled between creation and the first record."""
    Journal.create(path).close()
    with Journal.open(path) as journal:
        assert (journal.records, journal.messages) == ((), ())


GOOD = '{"v":1,"seq":%d,"at":"2026-11-25T08:30:00Z","event":"noted"}\n'


@pytest.mark.parametrize(
    ("line", "column", "found"),
    [
        (b'{"v":1,"seq":2,"at":oops}', 21, "'o' where JSON needs something else"),
        (b'{"v":1,"seq":2,', 16, "the end of the line where JSON goes on"),
        (b"", 1, "an empty line"),
        (b"[1]", 1, "JSON that is not an object"),
        (b"\xff\xfe", 1, "bytes that are not UTF-8"),
        (b'{"v":1,"text":"\xc3("}', 16, "bytes that are not UTF-8"),
        (b"\0\0\0", 1, "'\\x00' where JSON needs something else"),
        (b"[" * 40_000, 1, "brackets nested too deep"),
        (b"{" + b" " * LINE_LIMIT, LINE_LIMIT, f"more than {LINE_LIMIT} bytes"),
        (b'{"v":1,"seq":2,"at":"2026-11-25T08:30:00Z","event":"noted","value":NaN}', 1, "the number NaN"),
        (b'{"v":1,"v":1,"seq":2,"at":"2026-11-25T08:30:00Z","event":"noted"}', 1, "the name 'v' twice"),
        (b'{"seq":2,"at":"2026-11-25T08:30:00Z","event":"noted"}', 1, "v nothing, expected 1"),
        (b'{"v":true,"seq":2,"at":"2026-11-25T08:30:00Z","event":"noted"}', 1, "v true, expected 1"),
        (b'{"v":1,"seq":"2","at":"2026-11-25T08:30:00Z","event":"noted"}', 1, 'seq "2", expected a whole number'),
        (b'{"v":1,"seq":0,"at":"2026-11-25T08:30:00Z","event":"noted"}', 1, "seq 0, expected a whole number"),
        (b'{"v":1,"seq":2,"at":"yesterdayZ","event":"noted"}', 1, 'at "yesterdayZ", expected a UTC time'),
        (b'{"v":1,"seq":2,"at":"2026-11-25T08:30:00","event":"noted"}', 1, "expected a UTC time"),
        (b'{"v":1,"seq":2,"at":"2026-11-25T08:30:00Z"}', 1, "event nothing, expected lower-case words"),
        (b'{"v":1,"seq":2,"at":"2026-11-25T08:30:00Z","event":"rm -rf"}', 1, 'event "rm -rf", expected'),
    ],
)
def test_corrupt_line_in_the_middle_is_told_with_its_place(
    path: Path,
    line: bytes,
    column: int,
    found: str,
) -> None:
    """Guessing past a bad line could leave out the one answer that mattered."""
    error = refused(path, (GOOD % 1).encode() + line + b"\n" + (GOOD % 3).encode())
    assert (error.code, error.exit_code) == ("corrupt", 1)
    assert str(error).startswith(f"{path}:2:{column}: ")
    assert found in str(error)
    assert "expected one JSON object" in str(error)
    assert "Nothing was changed." in str(error)
    assert len(str(error)) < len(str(path)) + 400


@pytest.mark.parametrize(
    ("numbers", "place", "text"),
    [
        ((1, 2, 4), 3, "found seq 4, a gap, records are missing; expected seq 3"),
        ((2, 3), 1, "found seq 2, a gap, records are missing; expected seq 1"),
        ((1, 2, 3, 2), 4, "found seq 2, a number that was used before; expected seq 4"),
    ],
)
def test_numbers_out_of_order_are_refused(path: Path, numbers: tuple[int, ...], place: int, text: str) -> None:
    """A missing record may be the one that undid another."""
    error = refused(path, "".join(GOOD % number for number in numbers).encode())
    assert error.code == "corrupt"
    assert str(error).startswith(f"{path}:{place}:1: {text}")


def test_two_different_records_with_one_number_are_refused(path: Path) -> None:
    """Two programs that both wrote without the lock: neither can be trusted silently."""
    error = refused(path, (GOOD % 1 + GOOD % 2 + (GOOD % 2).replace("noted", "undone")).encode())
    assert str(error).startswith(f"{path}:3:1: found seq 2, a number that was used before")


def test_exact_double_of_the_line_before_is_dropped_with_a_message(path: Path) -> None:
    """What a synchronising tool or a slip in an editor leaves, and harmless."""
    path.write_bytes((GOOD % 1 + GOOD % 2 + GOOD % 2 + GOOD % 2 + GOOD % 3).encode())
    with Journal.open(path) as journal:
        assert [record.seq for record in journal.records] == [1, 2, 3]
        assert [message.partition(": ")[0] for message in journal.messages] == [f"{path}:3:1", f"{path}:4:1"]
        assert journal.append("noted").seq == 4
    assert [record.seq for record in read_journal(path)[0]] == [1, 2, 3, 4]


def test_newer_format_is_told_as_such(path: Path) -> None:
    """The mend is a newer program, not an editor."""
    error = refused(path, (GOOD % 1 + '{"v":2,"number":2}\n').encode())
    assert error.code == "newer"
    assert str(error).startswith(f"{path}:2:1: found format version 2; expected at most 1.")


def test_control_characters_never_reach_the_file(path: Path) -> None:
    """A note pasted from a terminal could clear or recolour the screen of whoever shows the file."""
    text = "a\x1b[2Jb\nc\r\x00\x07\x7f\x9b\u2028\u202e\ud800 Ω"
    with Journal.create(path) as journal:
        journal.append("noted", text=text)
    content = path.read_bytes()
    assert content.count(b"\n") == 1
    assert all(32 <= byte < 127 for byte in content[:-1])
    assert read_journal(path)[0][0].fields["text"] == text.replace("\ud800", "\ufffd"), "half a sign is nobody's"


def test_line_length_is_limited_at_the_byte(path: Path) -> None:
    """A pasted file must not make every later opening slow, and is not an answer."""
    with Journal.create(path) as journal:
        room = LINE_LIMIT - len((GOOD % 1).replace("00Z", "00.000000Z").replace("}", ',"text":""}'))
        with pytest.raises(JournalError, match=f"NOT stored: found {LINE_LIMIT + 1} bytes; expected at most") as caught:
            journal.append("noted", text="x" * (room + 1))
        assert caught.value.code == "too-long"
        assert path.read_bytes() == b""
        assert journal.append("noted", text="x" * room).seq == 1
    assert path.stat().st_size == LINE_LIMIT
    assert len(read_journal(path)[0]) == 1


@pytest.mark.parametrize(
    "value",
    [float("nan"), float("inf"), [1.0, -float("inf")], 10**5000],
    ids=["nan", "inf", "inf-inside", "too-many-digits"],
)
def test_value_that_json_does_not_know_is_refused(path: Path, value: Any) -> None:
    """A line with NaN would make the whole job unreadable to others."""
    with Journal.create(path) as journal:
        with pytest.raises(JournalError, match="NOT stored") as caught:
            journal.append("answered", value=value)
        assert caught.value.code == "not-a-value"
        assert journal.append("answered", value=1).seq == 1


def test_misuse_by_our_own_code_is_an_error_of_its_own(path: Path) -> None:
    """A field that overwrote `seq` would corrupt the job from inside."""
    with Journal.create(path) as journal:
        with pytest.raises(ValueError, match="'seq' is the journal's own"):
            journal.append("noted", seq=7)
        with pytest.raises(ValueError, match="lower-case words"):
            journal.append("No Event")
        with pytest.raises(TypeError):
            journal.append("noted", text=object())
        assert journal.records == ()
    assert path.read_bytes() == b""


def test_create_does_not_touch_a_job_that_is_there(path: Path) -> None:
    """A slip in a name must not cost yesterday's work."""
    content = filled(path)
    with pytest.raises(JournalError, match="found a file; expected none") as caught:
        Journal.create(path)
    assert caught.value.code == "exists"
    assert path.read_bytes() == content
    Journal.open(path).close()


def test_open_of_what_is_not_there_says_so_and_leaves_nothing(path: Path) -> None:
    """A wrong name must not leave a lock file behind."""
    with pytest.raises(JournalError, match="found no such file") as caught:
        Journal.open(path)
    assert caught.value.code == "missing"
    assert list(path.parent.iterdir()) == []


def test_what_is_not_a_file_is_refused(tmp_path: Path) -> None:
    """A folder, or a pipe that would wait for ever."""
    os.mkfifo(tmp_path / "pipe")
    for odd in (tmp_path, tmp_path / "pipe", Path(os.devnull)):
        for reader in (Journal.open, read_journal):
            with pytest.raises(JournalError, match="not a file") as caught:
                reader(odd)
            assert isinstance(caught.value, DiagError)
    with pytest.raises(JournalError, match="could not be opened"):
        Journal.open("nul\0byte")


def test_two_programs_cannot_hold_one_job(path: Path) -> None:
    """Both would number their records alike."""
    with Journal.create(path) as journal:
        journal.append("noted", text="x")
        code = f"from diag.job.journal import Journal; Journal.open({str(path)!r})"
        done = subprocess.run(
            [sys.executable, "-c", code],
            capture_output=True,
            text=True,
            timeout=120,
            check=False,
            cwd=ROOT,
        )
        assert "found another program at work on this job" in done.stderr
        with pytest.raises(JournalError, match="another program at work") as caught:
            Journal.open(path)
        assert caught.value.code == "in-use"
        assert len(read_journal(path)[0]) == 1
        journal.append("noted", text="still ours")
    with Journal.open(path) as journal:
        assert len(journal.records) == 2


def test_lock_is_free_after_a_failed_open(path: Path) -> None:
    """After mending the file the next opening must work, in the same program too."""
    good = filled(path)
    path.write_bytes(b"rubbish\n" + good)
    with pytest.raises(JournalError, match="not a record") as caught:
        Journal.open(path)
    path.write_bytes(good)
    Journal.open(path).close()
    assert caught.value.place is not None  # held until here, so that no collected object gave the lock back


def test_closed_journal_says_that_nothing_was_stored(path: Path) -> None:
    """And may be closed twice."""
    journal = Journal.create(path)
    journal.close()
    journal.close()
    with pytest.raises(JournalError, match="NOT stored") as caught:
        journal.append("noted", text="x")
    assert caught.value.code == "closed"


@pytest.mark.parametrize("how", ["deleted", "replaced", "lengthened", "shortened"])
def test_file_changed_by_others_while_open_is_noticed(path: Path, how: str) -> None:
    """Answers appended to a deleted file would be acknowledged and lost."""
    filled(path)
    with Journal.open(path) as journal:
        content = path.read_bytes()
        if how == "deleted":
            path.unlink()
        elif how == "replaced":
            path.with_name("other").write_bytes(content)
            path.with_name("other").replace(path)
        else:
            path.write_bytes(content + b"more" if how == "lengthened" else content[:-1])
        with pytest.raises(JournalError, match="NOT stored") as caught:
            journal.append("noted", text="x")
        assert caught.value.code == "changed"


@pytest.fixture
def nobody() -> Iterator[Path]:
    """A folder of its own, and a user who may read but not write in it."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        content = filled(folder / "job.jsonl")
        (folder / "job.jsonl").write_bytes(content)
        (folder / "job.jsonl").chmod(0o444)
        (folder / "job.jsonl.lock").unlink(missing_ok=True)
        folder.chmod(0o555)
        was = os.geteuid()
        if was == 0:
            os.seteuid(65534)
        try:
            yield folder
        finally:
            os.seteuid(was)
            folder.chmod(0o700)


def test_read_only_folder_is_told_and_can_still_be_read(nobody: Path) -> None:
    """Recorded jobs stand in the installed package; a full stick's folder may be write-protected."""
    with pytest.raises(JournalError, match="could not be opened: found: Permission denied") as caught:
        Journal.open(nobody / "job.jsonl")
    assert caught.value.code == "unreadable"
    for name in ("new.jsonl", "deeper/new.jsonl"):
        with pytest.raises(JournalError, match="could not be begun: found: Permission denied"):
            Journal.create(nobody / name)
    assert len(read_journal(nobody / "job.jsonl")[0]) == 3
    assert sorted(file.name for file in nobody.iterdir()) == ["job.jsonl"]


def test_jobs_folder_follows_diag_home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Tests and shared machines keep their jobs apart."""
    monkeypatch.setenv("DIAG_HOME", str(tmp_path))
    assert jobs_folder() == tmp_path / "jobs"
    for unset in ("", "  "):
        monkeypatch.setenv("DIAG_HOME", unset)
        monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
        assert jobs_folder().name == "jobs"
        assert jobs_folder() != tmp_path / "jobs"


def test_new_job_paths_are_free_and_sort_by_time(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Two jobs begun in one second, or a vehicle id with a slash, must not collide or climb out."""
    monkeypatch.setenv("DIAG_HOME", str(tmp_path))
    assert list_jobs() == []
    made = []
    for vehicle, seconds in (("old-van", 0), ("old-van", 0), ("../../etc/Pass wd", 1), ("", 2)):
        path = new_job_path(vehicle, START + timedelta(seconds=seconds))
        Journal.create(path).close()
        made.append(path)
    assert [path.name for path in made] == [
        "2026-11-25-083000-old-van.jsonl",
        "2026-11-25-083000-old-van-2.jsonl",
        "2026-11-25-083001-etc-pass-wd.jsonl",
        "2026-11-25-083002-vehicle.jsonl",
    ]
    assert {path.parent for path in made} == {tmp_path / "jobs"}
    assert list_jobs()[:2] == made[:1:-1]
    assert sorted(list_jobs()) == sorted(made)
