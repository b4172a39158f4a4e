"""The journal under violence: killed at any instant, disk full, write errors, Ctrl-C."""

from __future__ import annotations

import errno
import os
import random
import resource
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from diag.job import journal as module
from diag.job.journal import Journal, JournalError, read_journal

ROOT = Path(module.__file__).parents[2]
KILLS = 45

WRITER = """
import os, sys
from diag.job.journal import Journal
with Journal.open(sys.argv[1]) as journal:
    print("open", len(journal.records), flush=True)
    while True:
        record = journal.append("answered", check="c", value="x" * (journal.records[-1].seq * 997 % 6000))
        os.write(1, b"%d\\n" % record.seq)
"""


def test_every_acknowledged_record_survives_kill_at_any_instant(tmp_path: Path) -> None:
    """The person was told that the answer is kept; and a killed program must not keep the lock."""
    path = tmp_path / "job.jsonl"
    with Journal.create(path) as journal:
        journal.append("opened", vehicle="old-van")
    rng = random.Random(7)
    kept = 1
    for kill in range(KILLS):
        writer = subprocess.Popen(
            [sys.executable, "-c", WRITER, str(path)],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            cwd=ROOT,
        )
        assert writer.stdout is not None and writer.stderr is not None
        first = writer.stdout.readline()
        if not first:
            pytest.fail(writer.stderr.read().decode())
        time.sleep(rng.random() * 0.03)
        writer.send_signal(signal.SIGKILL)
        heard, _ = writer.communicate()
        assert writer.returncode == -signal.SIGKILL
        assert int(first.split()[1]) >= kept, "a record of an earlier sitting was lost"
        acknowledged = [int(line) for line in heard.splitlines(keepends=True) if line.endswith(b"\n")]
        with Journal.open(path) as journal:
            numbers = [record.seq for record in journal.records]
            assert numbers == list(range(1, len(numbers) + 1))
            assert set(acknowledged) <= set(numbers), f"kill {kill}"
            kept = len(numbers)
    assert kept > KILLS, "writers that never came to write prove nothing"


def failing(monkeypatch: pytest.MonkeyPatch, name: str, code: int, part: int = 0) -> Callable[[], None]:
    """Makes os.NAME of files fail from now on; a write puts `part` bytes down first. Gives the cure."""
    real: dict[str, Any] = {"write": os.write, "fsync": os.fsync, "ftruncate": os.ftruncate}
    spent = [False]

    def fail(fd: int, *rest: Any) -> int:
        if name == "write" and part and not spent[0]:
            spent[0] = True
            return int(real["write"](fd, bytes(rest[0])[:part]))
        raise OSError(code, os.strerror(code))

    monkeypatch.setattr(os, name, fail)
    monkeypatch.delattr("fcntl.F_FULLFSYNC", raising=False)
    return lambda: monkeypatch.setattr(os, name, real[name])


@pytest.mark.parametrize(
    ("name", "code", "part", "text"),
    [
        ("write", errno.ENOSPC, 0, "found the disk full"),
        ("write", errno.ENOSPC, 17, "found the disk full"),
        ("write", errno.EDQUOT, 1, "found the disk full"),
        ("write", errno.EIO, 5, "found: Input/output error"),
        ("fsync", errno.ENOSPC, 0, "found the disk full"),
        ("fsync", errno.EIO, 0, "found: Input/output error"),
    ],
)
def test_failed_write_is_told_and_leaves_the_file_whole(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    name: str,
    code: int,
    part: int,
    text: str,
) -> None:
    """Half a line would spoil the next answer, and a silent failure would lose this one."""
    path = tmp_path / "job.jsonl"
    with Journal.create(path) as journal:
        journal.append("noted", text="first")
        before = path.read_bytes()
        cure = failing(monkeypatch, name, code, part)
        with pytest.raises(JournalError, match="NOT stored") as caught:
            journal.append("noted", text="second")
        assert caught.value.code == "not-stored"
        assert text in str(caught.value)
        assert path.read_bytes() == before
        assert [record.fields["text"] for record in journal.records] == ["first"]
        cure()
        assert journal.append("noted", text="third").seq == 2
    assert [record.fields["text"] for record in read_journal(path)[0]] == ["first", "third"]


def test_piece_that_cannot_be_cut_off_at_once_is_cut_before_the_next_record(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A failing disk may refuse the cure too; the next record must not be glued to the piece."""
    path = tmp_path / "job.jsonl"
    with Journal.create(path) as journal:
        journal.append("noted", text="first")
        cures = [failing(monkeypatch, "write", errno.EIO, 9), failing(monkeypatch, "ftruncate", errno.EIO)]
        for _ in range(2):
            with pytest.raises(JournalError, match="NOT stored"):
                journal.append("noted", text="second")
        assert not path.read_bytes().endswith(b"\n")
        for cure in cures:
            cure()
        assert journal.append("noted", text="third").seq == 2
    assert [record.fields["text"] for record in read_journal(path)[0]] == ["first", "third"]


@pytest.mark.parametrize("name", ["write", "fsync"])
def test_ctrl_c_in_the_middle_of_a_record_leaves_the_file_whole(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    name: str,
) -> None:
    """People press it whenever the program seems slow, so most likely just there."""
    path = tmp_path / "job.jsonl"
    real = getattr(os, name)

    def strike(fd: int, *rest: Any) -> Any:
        monkeypatch.setattr(os, name, real)
        real(fd, *rest)
        raise KeyboardInterrupt

    with Journal.create(path) as journal:
        journal.append("noted", text="first")
        monkeypatch.delattr("fcntl.F_FULLFSYNC", raising=False)
        monkeypatch.setattr(os, name, strike)
        with pytest.raises(KeyboardInterrupt):
            journal.append("noted", text="second")
        assert journal.append("noted", text="third").seq == 2
    assert [record.fields["text"] for record in read_journal(path)[0]] == ["first", "third"]


def test_record_written_in_small_pieces_is_whole(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Network folders may take only part of a line at a time."""
    real = os.write
    monkeypatch.setattr(os, "write", lambda fd, line: real(fd, bytes(line)[:7]))
    path = tmp_path / "job.jsonl"
    with Journal.create(path) as journal:
        record = journal.append("noted", text="x" * 100)
    monkeypatch.undo()
    assert read_journal(path)[0] == (record,)


def test_real_size_limit_of_the_system_is_told(tmp_path: Path) -> None:
    """The same with the system's own refusal instead of a pretended one, in the middle of a line."""
    path = tmp_path / "job.jsonl"
    with Journal.create(path) as journal:
        first = journal.append("noted", text="first")
        size = path.stat().st_size
        soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
        resource.setrlimit(resource.RLIMIT_FSIZE, (size + 20, hard))
        try:
            with pytest.raises(JournalError, match="NOT stored: found the file at the size limit"):
                journal.append("noted", text="second")
            assert path.stat().st_size == size
        finally:
            resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
        third = journal.append("noted", text="third")
    assert read_journal(path)[0] == (first, third)


def test_full_disk_while_a_torn_line_is_set_aside_loses_nothing(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The piece may be cut off only after its copy is on the disk."""
    path = tmp_path / "job.jsonl"
    with Journal.create(path) as journal:
        journal.append("noted", text="first")
    content = path.read_bytes() + b'{"v":1,"seq":2'
    path.write_bytes(content)
    cure = failing(monkeypatch, "write", errno.ENOSPC)
    with pytest.raises(JournalError, match="could not be opened: found the disk full"):
        Journal.open(path)
    assert path.read_bytes() == content
    cure()
    with Journal.open(path) as journal:
        assert len(journal.records) == 1


def test_job_that_cannot_be_begun_on_a_full_disk_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """And the lock is given back, so that the next try can work."""
    cure = failing(monkeypatch, "fsync", errno.ENOSPC)
    with pytest.raises(JournalError, match="could not be begun: found the disk full"):
        Journal.create(tmp_path / "job.jsonl")
    cure()
    Journal.create(tmp_path / "other.jsonl").close()
    with Journal.open(tmp_path / "job.jsonl") as journal:
        assert journal.records == ()
