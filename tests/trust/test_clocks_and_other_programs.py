"""Clocks that jump, two programs on one job, knowledge that moved on, a terminal that goes away in mid-answer."""

from __future__ import annotations

import errno
import os
import pty
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from filelock import FileLock

from diag.cli import main
from diag.job.journal import Journal, JournalError, read_journal
from diag.job.records import encode
from diag.log.listing import job_line
from diag.reason.reasoner import Reasoner
from diag.talk.conversation import Conversation
from diag.talk.opening import new_job, resume_job
from tests.talk.outsider import ROOT
from tests.trust.faulty import finished, warm


@pytest.fixture
def job(tmp_path: Path) -> Path:
    """Where a job goes."""
    return tmp_path / "job.jsonl"


@pytest.fixture
def zone() -> Iterator[Any]:
    """Sets the time zone of this process; put back afterwards."""
    was = os.environ.get("TZ")

    def set_to(name: str) -> None:
        os.environ["TZ"] = name
        time.tzset()

    yield set_to
    os.environ.pop("TZ", None)
    if was is not None:
        os.environ["TZ"] = was
    time.tzset()


# ---------------------------------------------------------------- clocks


def test_any_clock_keeps_the_order_and_the_job_ends_the_same(reasoner: Reasoner, job: Path) -> None:
    """An empty clock battery gives 1970, a wrong one 2199; neither may reorder the job or stop it."""
    days = iter([datetime(1970, 1, 1, tzinfo=UTC), datetime(2199, 1, 1, tzinfo=UTC), datetime(2026, 3, 29, tzinfo=UTC)])
    current = next(days)

    def clock() -> datetime:
        return current

    with warm(reasoner):
        conversation, journal = new_job(reasoner, Path("pickup.yaml"), job, ("test-lamp", "meter"), frozenset())
        journal.close()
        job.write_bytes(job.read_bytes().replace(b'"at":"20', b'"at":"19').replace(b'"at":"1926', b'"at":"1971'))
        for current in (*days, datetime(1970, 1, 2, tzinfo=UTC)):
            with Journal.open(job, clock) as journal:
                conversation = Conversation(reasoner, journal, str(job))
                conversation.say()
                assert conversation.take({"note": f"{current}"})["type"] == "tell"
        conversation, journal, messages = resume_job(job)
        with journal:
            assert finished(reasoner, conversation)[1] == ["fuse-horn.renew"]
    records, said = read_journal(job)
    assert said == ()
    assert [record.time for record in records] == sorted(record.time for record in records)
    assert "not finished" not in job_line(job)


@pytest.mark.parametrize("name", ["Europe/Berlin", "America/New_York", "Pacific/Kiritimati", "Etc/GMT+12"])
def test_summer_time_and_odd_zones_do_not_turn_answers_round(job: Path, zone: Any, name: str) -> None:
    """The hour that comes twice: local clocks go back, the job's times do not."""
    zone(name)
    turns = datetime(2026, 10, 25, 0, 59, 59, tzinfo=UTC)
    times = iter([turns + timedelta(seconds=2 * step) for step in range(4)])
    with Journal.create(job, lambda: next(times).astimezone()) as journal:
        for _ in range(4):
            journal.append("opened", vehicle="old-van")
    found = [record.time for record in read_journal(job)[0]]
    assert found == [turns + timedelta(seconds=2 * step) for step in range(4)]
    assert "old-van" in job_line(job)


@pytest.mark.parametrize("at", ["0001-01-01T00:00:00Z", "9999-12-31T23:59:59Z", "1969-12-31T23:59:59Z"])
@pytest.mark.parametrize("name", ["Pacific/Kiritimati", "Etc/GMT+12"])
def test_times_beyond_all_calendars_are_refused_not_tripped_over(job: Path, zone: Any, name: str, at: str) -> None:
    """Another zone's day before the first or after the last cannot be shown."""
    zone(name)
    job.write_bytes(encode(1, at, "opened", {"vehicle": "old-van"}))
    with pytest.raises(JournalError, match="expected a UTC time"):
        read_journal(job)
    assert "cannot be read" in job_line(job)


# ---------------------------------------------------------------- two programs


HOLDER = """
import sys
from diag.job.journal import Journal
with Journal.open(sys.argv[1]) as journal:
    print("open", flush=True)
    sys.stdin.read()
"""


@pytest.fixture
def holder(job: Path) -> Iterator[subprocess.Popen[str]]:
    """Another program at work on the job."""
    with Journal.create(job) as journal:
        journal.append("opened", vehicle="old-van")
    with subprocess.Popen(
        [sys.executable, "-c", HOLDER, str(job)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        cwd=ROOT,
    ) as process:
        assert process.stdout is not None and process.stdout.readline() == "open\n"
        yield process
        process.kill()


def test_the_second_program_hears_who_is_at_work_and_a_dead_one_is_no_obstacle(
    job: Path, holder: subprocess.Popen[str]
) -> None:
    """By process and machine, also through a link to the job; killed, it lets go without anybody's help."""
    link = job.with_name("link.jsonl")
    link.symlink_to(job)
    for name in (job, link):
        with pytest.raises(
            JournalError, match=rf"another program at work .*on this machine \(process {holder.pid}, since 2"
        ):
            Journal.open(name)
    assert CliRunner().invoke(main, ["jobs"]).exit_code == 0
    holder.kill()
    holder.wait()
    assert (job.parent / "job.jsonl.held-by").exists(), "it had no time to tidy up"
    with Journal.open(link) as journal:
        journal.append("noted", text="mine now")
        with pytest.raises(JournalError, match=f"process {os.getpid()}, since"):
            Journal.open(job)
    assert not (job.parent / "job.jsonl.held-by").exists()


def test_what_a_holder_left_behind_cannot_steer_a_terminal(job: Path, holder: subprocess.Popen[str]) -> None:
    """In a folder for all anybody may write that file."""
    (job.parent / "job.jsonl.held-by").write_bytes(b"\x1b[2Jgone\x07\n" + b"x" * 10_000)
    with pytest.raises(JournalError) as caught:
        Journal.open(job)
    assert "(?[2Jgone??xxx" in str(caught.value) and len(str(caught.value)) < len(str(job)) + 400


@pytest.mark.parametrize("code", [errno.ENOLCK, errno.EOPNOTSUPP, errno.ENOSYS, None])
def test_file_system_without_locks_is_told_and_the_job_goes_on(
    job: Path, monkeypatch: pytest.MonkeyPatch, code: int | None
) -> None:
    """A network folder may know none; a second writer is then noticed by what it wrote."""

    def refuse(*_: object, **__: object) -> None:
        raise NotImplementedError("no locks") if code is None else OSError(code, os.strerror(code))

    monkeypatch.setattr(FileLock, "acquire", refuse)
    with Journal.create(job) as first:
        assert "knows no locks" in "".join(first.messages)
        first.append("opened", vehicle="old-van")
        with Journal.open(job) as second:
            assert "knows no locks" in "".join(second.messages)
            second.append("noted", text="from elsewhere")
        with pytest.raises(JournalError, match="Another program changed the file"):
            first.append("noted", text="too late")
    assert [record.event for record in read_journal(job)[0]] == ["opened", "noted"]


# ---------------------------------------------------------------- knowledge that moved on


def test_job_whose_checks_and_causes_are_gone_opens_and_says_what_it_leaves_aside(
    reasoner: Reasoner, job: Path
) -> None:
    """Rules are mended between two sittings; an answer to a check that no longer exists is kept, told, and passed
    over, and so is a remedy, a symptom and a circuit that nobody knows any more."""
    conversation, journal = new_job(reasoner, Path("pickup.yaml"), job, ("test-lamp", "meter"), frozenset())
    with journal:
        journal.append("answered", check="start", value="horn-silent")
        gone = {"kind": "look", "operate": {"wipers": "fast"}, "target": "wiper-motor", "value": "runs"}
        lost = [
            journal.append("answered", check="wipers-gone", **gone).seq,
            journal.append("answered", check="horn-sound", kind="listen", operate={}, value="a new word").seq,
            journal.append("found", check="symptom", value="wipers-gone").seq,
        ]
        journal.append("remedied", remedy="wiper-motor.polish")
        journal.append("acknowledged", check="wipers-gone", caution="gone")
        journal.append("skipped", check="wipers-gone", reason="later")
        journal.append("stage", stage="polish")
    text = job.read_bytes().replace(reasoner.knowledge.content_hash.encode(), b"0123456789abcdef", 1)
    job.write_bytes(text)
    before = job.read_bytes()
    with warm(reasoner):
        conversation, journal, messages = resume_job(job)
    with journal:
        said = " ".join(messages)
        assert "knowledge changed since this job began" in said
        assert f"Answers {', '.join(map(str, lost))} mean nothing to today's knowledge" in said
        conversation.say()
        assert "fuse-horn.renew" in finished(reasoner, conversation)[1]
    assert job.read_bytes().startswith(before)


# ---------------------------------------------------------------- a terminal that goes away


@pytest.mark.parametrize("how", ["hang-up", "closed"])
def test_terminal_lost_in_mid_answer_keeps_what_was_acknowledged(reasoner: Reasoner, job: Path, how: str) -> None:
    """A window closed, a connection dropped: the program ends without a word more, and the job goes on later."""
    child, screen = pty.fork()
    if child == 0:
        code = 70
        try:
            if how == "closed":
                signal.signal(signal.SIGHUP, signal.SIG_IGN)
            sys.stdin, sys.stdout, sys.stderr = os.fdopen(0), os.fdopen(1, "w"), os.fdopen(2, "w")
            with warm(reasoner):
                code = main(["talk", "--job", str(job)], standalone_mode=False) or 0
        except BaseException as error:
            job.with_name("trace").write_text(repr(error))
        finally:
            os._exit(code)
    heard = b""
    while b'"ask"' not in heard:
        heard += os.read(screen, 65536)
    os.write(screen, b'{"note": "first"}\n')
    heard = b""
    while b'"stored"' not in heard:
        heard += os.read(screen, 65536)
    os.write(screen, b'{"note": "second"}\n{"note": "third"}\n')
    os.close(screen)
    _, status = os.waitpid(child, 0)
    assert os.waitstatus_to_exitcode(status) in (0, 1, -signal.SIGHUP)
    assert not job.with_name("trace").exists(), job.with_name("trace").read_text()
    notes = [record.fields["text"] for record in read_journal(job)[0] if record.event == "noted"]
    assert notes in (["first"], ["first", "second"], ["first", "second", "third"])
    with warm(reasoner):
        conversation, journal, _ = resume_job(job)
    with journal:
        assert finished(reasoner, conversation)[1] == ["fuse-horn.renew"]
