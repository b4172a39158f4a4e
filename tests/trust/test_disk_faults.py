"""Full disks, failing disks, files and folders that change under the program: told, and nothing acknowledged lost."""

from __future__ import annotations

import errno
import os
import shutil
import stat
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from diag.job import disk
from diag.job.journal import Journal, JournalError, read_journal
from diag.reason.reasoner import Reasoner
from diag.talk.opening import new_job, resume_job
from diag.talk.rehearsal import SimulatedFitter
from tests.trust.faulty import FAULT, failing_at, finished, reply, script, talk_in_fork, warm


@pytest.mark.parametrize(
    ("name", "code", "part"),
    [
        ("write", errno.ENOSPC, False),
        ("write", errno.EDQUOT, True),
        ("fsync", errno.EIO, False),
    ],
)
def test_refused_write_anywhere_in_a_job_is_told_and_the_job_goes_on(
    reasoner: Reasoner, tmp_path: Path, name: str, code: int, part: bool
) -> None:
    """At each write in turn: an answer that could not be kept comes back as an error, every other one is there."""
    with warm(reasoner):
        lines, _ = script(reasoner)
        refused = 0
        for number in range(1, 200):
            folder = tmp_path / str(number)
            folder.mkdir()
            job = folder / "job.jsonl"
            sitting = talk_in_fork(folder, lines, ["--job", str(job)], failing_at(number, name, code, 2, part))
            assert not sitting.killed and "Traceback" not in sitting.errors
            if not sitting.heard:
                assert sitting.code == 1
                assert "could not be begun" in sitting.errors or "NOT stored" in sitting.errors
                refused += 1
                continue
            assert sitting.code == 0
            errors = [one for one in sitting.heard if one["type"] == "error"]
            found = {record.seq: record.event for record in read_journal(job)[0]}
            acknowledged = sitting.acknowledged
            assert {seq: found.get(seq) for seq in acknowledged} == acknowledged, f"lost at {name} {number}"
            assert list(found) == list(range(1, len(found) + 1))
            told = [one for one in errors if one["code"] == "not-stored"]
            assert all("NOT stored" in one["text"] for one in told)
            refused += bool(told)
            if not told and len(acknowledged) == len(lines.splitlines()) and number > len(found) + 6:
                break
    assert refused > 5


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A real file system of 32 kB, where this user may mount one."""
    mount = shutil.which("mount")
    folder = tmp_path / "disk"
    folder.mkdir()
    command = [str(mount), "-t", "tmpfs", "-o", "size=32k", "tmpfs", str(folder)]
    if mount is None or os.geteuid() != 0 or subprocess.run(command, capture_output=True, check=False).returncode:
        pytest.skip("no file system can be mounted here; the same with refusals made by hand is above")
    yield folder
    subprocess.run(["umount", "-l", str(folder)], check=True)


def test_disk_that_is_really_full_loses_nothing(reasoner: Reasoner, small_disk: Path) -> None:
    """Nobody pretends here: the system takes what fits and refuses the rest; then somebody makes room."""
    ballast = small_disk / "ballast"
    ballast.write_bytes(b"x" * 20_000)
    job = small_disk / "job.jsonl"
    conversation, journal = new_job(reasoner, Path("pickup.yaml"), job, ("test-lamp", "meter"), frozenset())
    kept: list[int] = []
    with journal:
        for _ in range(200):
            conversation.say()
            told = conversation.take({"note": "x" * 700})
            if told["type"] == "error":
                break
            kept.append(told["seq"])
        assert told["code"] == "not-stored" and "disk full" in told["text"]
        assert {record.seq for record in read_journal(job)[0]} >= set(kept)
    with pytest.raises(JournalError, match="could not be begun|NOT stored"):  # its name may still fit, not its records
        full, other = new_job(reasoner, Path("pickup.yaml"), small_disk / "new.jsonl", ("meter",), frozenset())
        other.close()
    ballast.unlink()
    with warm(reasoner):
        conversation, journal, _ = resume_job(job)
    with journal:
        assert finished(reasoner, conversation)[1] == ["fuse-horn.renew"]
    assert {record.seq for record in read_journal(job)[0]} >= set(kept)


def test_new_job_on_a_disk_that_fills_up_leaves_the_lock_free(
    reasoner: Reasoner, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The second record of a job may be the one that does not fit; the next try must not find the job in use."""
    job = tmp_path / "job.jsonl"
    with monkeypatch.context() as patch:
        patch.setattr(os, "write", os.write)
        failing_at(1, "write", errno.ENOSPC, 99)()
        with pytest.raises(JournalError, match="NOT stored: found the disk full") as caught:
            new_job(reasoner, Path("pickup.yaml"), job, ("meter",), frozenset())
    with Journal.open(job) as journal:
        assert journal.records == ()
    assert caught.value.exit_code == 1


VANISHING: dict[str, Callable[[Path], None]] = {
    "folder removed": lambda job: shutil.rmtree(job.parent),
    "folder renamed": lambda job: job.parent.rename(job.parent.with_name("elsewhere")) and None,
    "folder is a file": lambda job: (shutil.rmtree(job.parent), job.parent.write_text("x"), None)[-1],
    "file is a folder": lambda job: (job.unlink(), job.mkdir(), None)[-1],
    "file is a pipe": lambda job: (job.unlink(), os.mkfifo(job), None)[-1],
    "file is a link to another": lambda job: (
        shutil.copy(job, job.with_name("other")),
        job.unlink(),
        job.symlink_to("other"),
        None,
    )[-1],
    "file is a link to itself": lambda job: (job.unlink(), job.symlink_to(job), None)[-1],
}


@pytest.mark.parametrize("how", VANISHING)
def test_what_happens_to_the_file_in_the_middle_of_a_job_is_told(reasoner: Reasoner, tmp_path: Path, how: str) -> None:
    """An answer that went into a file nobody will find again must not be acknowledged; and nothing may hang."""
    job = tmp_path / "jobs" / "job.jsonl"
    fitter = SimulatedFitter(reasoner, [FAULT])
    conversation, journal = new_job(reasoner, Path("pickup.yaml"), job, ("test-lamp", "meter"), frozenset())
    with journal:
        asked = conversation.say()[-1]
        assert conversation.take(reply(fitter, asked))["type"] == "tell"
        VANISHING[how](job)
        for _ in range(2):
            asked = conversation.say()[-1]
            told = conversation.take(reply(fitter, asked))
            assert told["type"] == "error" and "NOT stored" in told["text"], told
    for reader in (Journal.open, read_journal):
        if how != "file is a link to another":
            with pytest.raises(JournalError):
                reader(job)


ODD: dict[str, Callable[[Path], None]] = {
    "folder": lambda path: path.mkdir(),
    "pipe": lambda path: os.mkfifo(path),
    "link to a pipe": lambda path: (os.mkfifo(path.with_name("pipe")), path.symlink_to("pipe"), None)[-1],
    "link to a device": lambda path: path.symlink_to("/dev/zero"),
    "link to itself": lambda path: path.symlink_to(path),
    "link to nothing": lambda path: path.symlink_to("nothing"),
    "giant": lambda path: (path.touch(), os.truncate(path, 100_000_000), None)[-1],
}


@pytest.mark.parametrize("how", ODD)
def test_what_cannot_be_a_job_is_refused_at_once(tmp_path: Path, how: str) -> None:
    """A pipe would be waited for, a device never ends, and a giant would fill the memory."""
    job = tmp_path / "job.jsonl"
    ODD[how](job)
    there = sorted(tmp_path.iterdir())
    for reader in (Journal.open, read_journal, Journal.create):
        with pytest.raises(JournalError) as caught:
            reader(job)
        assert str(job) in str(caught.value) and "expected" in str(caught.value)
    assert [path for path in sorted(tmp_path.iterdir()) if not path.name.endswith(".lock")] == there


@pytest.mark.parametrize("sort", ["lock", "held-by"])
@pytest.mark.parametrize("how", ["folder", "pipe", "link to itself", "link to nothing"])
def test_odd_things_where_the_lock_goes_do_not_hang_or_get_overwritten(tmp_path: Path, sort: str, how: str) -> None:
    """Somebody else's folder for all: a link there could be made to empty any file of ours."""
    job = tmp_path / "job.jsonl"
    with Journal.create(job) as journal:
        journal.append("opened")
    for name in tmp_path.glob("job.jsonl.*"):
        name.unlink()
    ODD[how](tmp_path / f"job.jsonl.{sort}")
    try:
        with Journal.open(job) as journal:
            journal.append("noted", text="still kept")
    except JournalError as error:
        assert sort == "lock" and f"job.jsonl.{sort}" in str(error)
    assert not (tmp_path / "nothing").exists() or sort == "lock"
    assert read_journal(job)[0][0].event == "opened"


def test_a_job_grows_to_its_limit_and_no_further(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A job that could not be opened again because it had grown too large would lose every answer in it."""
    from diag.job import journal as module

    for one in (module, disk):
        monkeypatch.setattr(one, "LARGEST", 1000)
    job = tmp_path / "job.jsonl"
    with Journal.create(job) as journal:
        with pytest.raises(JournalError, match="go on in a new job") as caught:
            for number in range(100):
                journal.append("noted", text=f"{number}")
        kept = journal.records
    assert (caught.value.code, len(kept) > 3) == ("too-long", True)
    assert job.stat().st_size <= 1000
    with Journal.open(job) as journal:
        assert journal.records == kept


def test_setting_aside_on_a_full_disk_leaves_no_half_copy(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A half copy would be taken for the whole by whoever looks for the lost answer."""
    job = tmp_path / "job.jsonl"
    job.write_bytes(b'{"v":1,"seq":1')
    monkeypatch.setattr(os, "write", os.write)
    failing_at(1, "write", errno.ENOSPC, 9, part=True)()
    with pytest.raises(JournalError, match="disk full"):
        Journal.open(job)
    assert not list(tmp_path.glob("*.torn-*"))
    assert stat.S_IMODE((tmp_path / "job.jsonl.lock").stat().st_mode) == 0o600
