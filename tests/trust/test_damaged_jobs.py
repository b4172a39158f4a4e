"""Damage of every sort to a job's file: a clear message, what is good is kept, the damaged copy is set aside."""

from __future__ import annotations

import json
import random
from pathlib import Path

import pytest
from click.testing import CliRunner

from diag.cli import main
from diag.job.journal import Journal, JournalError, is_blank, read_journal
from diag.job.mend import mend_journal, mended
from diag.job.state import replay
from diag.reason.reasoner import Reasoner
from diag.talk.conversation import Conversation
from diag.talk.opening import Rehearsed, new_job
from tests.trust.faulty import finished, warm

COUNT = 8
LINES = [
    json.dumps(
        {"v": 1, "seq": seq, "at": f"2026-11-25T08:30:{seq:02}Z", "event": "opened" if seq == 1 else "noted"}
        | ({"vehicle": "old-van"} if seq == 1 else {"text": f"answer {seq}"})
    ).encode()
    for seq in range(1, COUNT + 1)
]
WHOLE = b"\n".join(LINES) + b"\n"


def with_line(number: int, line: bytes) -> bytes:
    """The job with that line (from 1) replaced."""
    return b"\n".join([*LINES[: number - 1], line, *LINES[number:]]) + b"\n"


DAMAGE: dict[str, tuple[bytes, set[int], str]] = {
    "torn in the middle": (with_line(4, LINES[3][:30]), {4}, "record 4 is lost"),
    "two lines run into one": (WHOLE.replace(b"\n", b"", 4).replace(b"}{", b"}\n{", 3), {4, 5}, "record 5 is lost"),
    "zero bytes over a line": (with_line(3, b"\0" * len(LINES[2])), {3}, "record 3 is lost"),
    "a block of zero bytes": (WHOLE[:200] + b"\0" * 150 + WHOLE[350:], {3, 4}, "is lost"),
    "binary over a line": (with_line(5, bytes(range(128, 256))), {5}, "record 5 is lost"),
    "a huge line": (with_line(5, b'{"v":1,"text":"' + b"x" * 3_000_000), {5}, "record 5 is lost"),
    "empty lines between": (WHOLE.replace(b"\n", b"\n\n", 2), set(), "line 2 could not be read"),
    "lines swapped": (b"\n".join([LINES[0], LINES[2], LINES[1], *LINES[3:]]) + b"\n", set(), "another order"),
    "all lines backwards": (b"\n".join(reversed(LINES)) + b"\n", set(), "another order"),
    "an earlier line again": (WHOLE + LINES[2] + b"\n", set(), "line 9 is the same as an earlier"),
    "the whole file twice": (WHOLE + WHOLE, set(), "line 16 is the same as an earlier"),
    "another record of one number": (
        WHOLE + LINES[2].replace(b"answer 3", b"something") + b"\n",
        set(),
        "line 9 is another record with the number of an earlier",
    ),
    "a line is missing": (with_line(6, b"").replace(b"\n\n", b"\n"), {6}, "record 6 is lost"),
    "the first line is torn": (LINES[0][10:] + WHOLE[len(LINES[0]) :], {1}, "give --vehicle"),
    "a number gone mad": (
        with_line(8, LINES[7].replace(b'"seq": 8', b'"seq": 4000000000')),
        {8},
        "record 4000000000 is far",
    ),
    "an odd value": (with_line(4, LINES[3].replace(b'"answer 4"', b"1e999999")), {4}, "record 4 is lost"),
    "a number of 9000 digits": (with_line(4, LINES[3].replace(b'"answer 4"', b"9" * 9000)), {4}, "record 4 is lost"),
}


@pytest.mark.parametrize("how", DAMAGE)
def test_damage_is_refused_in_words_and_mended_without_losing_what_is_good(tmp_path: Path, how: str) -> None:
    """Opening touches nothing and says which verb helps; mending keeps every good record under its number, and the
    file as it was beside it to the byte."""
    content, lost, words = DAMAGE[how]
    job = tmp_path / "job.jsonl"
    job.write_bytes(content)
    with pytest.raises(JournalError) as caught:
        Journal.open(job)
    assert "--mend" in str(caught.value) and len(str(caught.value)) < len(str(job)) + 400
    assert job.read_bytes() == content
    (message,) = mend_journal(job)
    assert words in message and "job.jsonl.damaged-1" in message
    assert (tmp_path / "job.jsonl.damaged-1").read_bytes() == content
    with Journal.open(job) as journal:
        records, messages = journal.records, journal.messages
        assert journal.append("noted", text="goes on").seq == len(records) + 1
    lost = lost - {COUNT}  # of what was behind the last good record nobody knows
    assert not messages
    good = {record.seq: record for record in read_journal_of(WHOLE)}
    for record in records:
        if record.seq in lost:
            assert record.fields["lost"] is True
        else:
            assert dict(record.fields) == dict(good[record.seq].fields)
    assert {record.seq for record in records} == set(good) - ({COUNT} if how == "a number gone mad" else set())
    assert replay(records).seq == len(records)
    assert mend_journal(job) == ()


def read_journal_of(content: bytes):  # type: ignore[no-untyped-def]
    """Records of sound bytes."""
    from diag.job.journal import parse_journal

    return parse_journal(content, "sound")[0]


@pytest.mark.parametrize("seed", range(60))
def test_random_damage_never_loses_a_line_that_can_be_read(tmp_path: Path, seed: int) -> None:
    """Bytes flipped, cut out, put in, blocks moved: every untouched line is kept, and the mended file opens."""
    rng = random.Random(seed)
    content = bytearray(WHOLE)
    for _ in range(rng.randint(1, 4)):
        at, size = rng.randrange(len(content)), rng.randint(1, 80)
        match rng.randrange(4):
            case 0:
                content[at : at + size] = rng.randbytes(size)
            case 1:
                del content[at : at + size]
            case 2:
                content[at:at] = rng.randbytes(size)
            case _:
                piece = bytes(content[at : at + size])
                del content[at : at + size]
                where = rng.randrange(len(content) + 1)
                content[where:where] = piece
    damaged = bytes(content)
    untouched = set(damaged.split(b"\n")) & set(LINES)
    job = tmp_path / "job.jsonl"
    job.write_bytes(damaged)
    try:
        mend_journal(job)
    except JournalError as error:
        assert not untouched and "Nothing was changed" in str(error)
        assert job.read_bytes() == damaged
        return
    assert untouched <= set(job.read_bytes().split(b"\n"))
    Journal.open(job).close()


HARMLESS: dict[str, bytes] = {
    "a mark of an editor in front": b"\xef\xbb\xbf" + WHOLE,
    "line ends of another system": WHOLE.replace(b"\n", b"\r\n"),
    "both": b"\xef\xbb\xbf" + WHOLE.replace(b"\n", b"\r\n"),
    "a second that was put in": WHOLE.replace(b"08:30:08Z", b"08:30:60Z"),
    "a leap second with parts": WHOLE.replace(b"08:30:08Z", b"08:30:60.5Z"),
}


@pytest.mark.parametrize("how", HARMLESS)
def test_what_editors_and_clocks_leave_is_read_and_written_on(tmp_path: Path, how: str) -> None:
    """No reason to refuse a job, and nothing is changed in it."""
    job = tmp_path / "job.jsonl"
    job.write_bytes(HARMLESS[how])
    with Journal.open(job) as journal:
        assert [record.fields.get("text") for record in journal.records[1:]] == [
            f"answer {seq}" for seq in range(2, COUNT + 1)
        ]
        assert journal.messages == ()
        journal.append("noted", text="more")
    assert job.read_bytes().startswith(HARMLESS[how])
    assert len(read_journal(job)[0]) == COUNT + 1
    assert mend_journal(job) == ()


def test_nothing_that_can_be_read_is_said_so_and_touched_not(tmp_path: Path) -> None:
    """Somebody named the wrong file."""
    job = tmp_path / "photo.jsonl"
    job.write_bytes(random.Random(1).randbytes(5000))
    before = job.read_bytes()
    with pytest.raises(JournalError, match="no record that can be read"):
        mend_journal(job)
    assert job.read_bytes() == before
    job.write_bytes(b"")
    assert mend_journal(job) == ()
    assert [path.name for path in tmp_path.iterdir() if path.name.startswith("photo.jsonl.d")] == []


def test_mending_on_a_full_disk_leaves_the_job_as_it_was(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The damaged file may be all there is."""
    import errno
    import os

    from tests.trust.faulty import failing_at

    job = tmp_path / "job.jsonl"
    damaged = DAMAGE["torn in the middle"][0]
    for number in (1, 2):
        job.write_bytes(damaged)
        with monkeypatch.context() as patch:
            patch.setattr(os, "write", os.write)
            failing_at(number, "write", errno.ENOSPC, 9, part=True)()
            with pytest.raises(JournalError, match="disk full.*as it was"):
                mend_journal(job)
        assert job.read_bytes() == damaged
    assert len(mend_journal(job)) == 1


def test_a_job_of_a_newer_program_is_neither_opened_nor_mended(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What looks like damage to an old program may be sense to a new one; and a later program reads older jobs."""
    from diag.job import records

    job = tmp_path / "job.jsonl"
    newer = WHOLE + LINES[0].replace(b'"v": 1', b'"v": 2').replace(b'"seq": 1', b'"seq": 9') + b"\n"
    job.write_bytes(newer + b"damaged\n")
    for act in (Journal.open, read_journal, mend_journal):
        with pytest.raises(JournalError, match="found format version 2; expected at most 1") as caught:
            act(job)
        assert caught.value.code == "newer"
    assert job.read_bytes() == newer + b"damaged\n"
    assert not list(tmp_path.glob("*.damaged-*"))
    monkeypatch.setattr(records, "VERSION", 2)
    job.write_bytes(newer)
    with Journal.open(job) as journal:
        assert [record.v for record in journal.records] == [1] * COUNT + [2]
        assert journal.append("noted", text="as of now").v == 2
    older = LINES[0].replace(b'"v": 1', b'"v": 0')
    job.write_bytes(older + b"\n")
    with pytest.raises(JournalError, match="found v 0, expected"):
        Journal.open(job)


def test_the_verb_mends_and_the_job_ends_as_it_would(reasoner: Reasoner, tmp_path: Path) -> None:
    """From outside: refused with the way out, mended on request, and the rest of the job is as good as ever."""
    job = tmp_path / "job.jsonl"
    conversation, journal = new_job(reasoner, Path("pickup.yaml"), job, ("test-lamp", "meter"), frozenset())
    with journal:
        conversation.say()
        conversation.take({"note": "before"})
        conversation.take({"symptom": "horn-silent"})
        conversation.take({"note": "after"})
    lines = job.read_bytes().splitlines(keepends=True)
    job.write_bytes(lines[0] + lines[1] + b"\x1b[2J" + lines[2][9:] + b"".join(lines[3:]))
    runner = CliRunner()
    with warm(reasoner):
        refused = runner.invoke(main, ["talk", "--job", str(job)])
        assert refused.exit_code == 1 and "--mend" in refused.stderr and "\x1b" not in refused.stderr
        going_on = runner.invoke(main, ["resume", str(job), "--mend"], input="")
        assert going_on.exit_code == 0, going_on.output
        assert "record 3 is lost" in going_on.stderr and ".damaged-1" in going_on.stderr
        assert "nothing to mend" in runner.invoke(main, ["resume", str(job), "--mend"], input="").stderr
    with Journal.open(job) as journal:
        state = replay(journal.records)
        assert [entry.fields.get("text") for entry in state.standing("noted")][1] == "after"
        assert finished(reasoner, Conversation(reasoner, journal, str(job)))[1] == ["fuse-horn.renew"]


@pytest.mark.parametrize(
    ("content", "blank"),
    [
        (b"", True),
        (b'{"', True),
        (b'{"v":1,"seq":1,"at":"2026', True),
        (b"\0" * 300, True),
        (WHOLE, False),
        (WHOLE[:-5], False),
        (b"my shopping list", False),
        (b'{"v":1}\n', False),
        (b'{"v":' + b"1" * 100_000, False),
    ],
)
def test_a_job_cut_off_before_its_first_record_begins_anew_and_nothing_else_does(
    reasoner: Reasoner, tmp_path: Path, content: bytes, blank: bool
) -> None:
    """The plug pulled in the first instant must not make the same call fail for ever; other files are not ours."""
    job = tmp_path / "job.jsonl"
    job.write_bytes(content)
    assert is_blank(job) == blank
    with warm(reasoner):
        found = CliRunner().invoke(main, ["talk", "--job", str(job)], input="")
    if blank:
        assert found.exit_code == 0 and read_journal(job)[0][0].event == "opened"
    elif not content.startswith(LINES[0]):
        assert found.exit_code in (1, 2) and "Traceback" not in found.output
        assert b"".join(sorted(p.read_bytes() for p in tmp_path.glob("job.jsonl*")))


def test_values_of_the_wrong_sort_in_a_readable_line_break_nothing(reasoner: Reasoner) -> None:
    """A line may be sound JSON and nonsense: whoever folds the job gets a state, and a conversation over it goes on."""
    rng = random.Random(5)
    odd = [None, True, -1, 10**15, "", "x" * 500, [], [[]], {}, {"a": []}, [1, "a"], 0.5]
    events = ("instruments", "answered", "found", "undone", "remedied", "changed", "stage", "left-open", "concluded")
    events += ("resumed", "skipped", "not-sure", "acknowledged", "noted", "proved", "asked")
    names = ("check", "kind", "operate", "value", "target", "replaces", "also", "batch", "have", "remedy", "seqs")
    names += ("reason", "stage", "skip", "without", "layers", "text", "caution", "restored", "how", "open", "remedies")
    for _ in range(40):
        keeper = Rehearsed.opened(reasoner)
        keeper.append("found", check="symptom", value="horn-silent")
        for _ in range(3):
            fields = {name: rng.choice(odd) for name in rng.sample(names, 8)}
            fields |= {"check": rng.choice(["horn-sound", "start", fields.get("check")])}
            keeper.append(rng.choice(events), **fields)
        state = replay(keeper.records)
        assert state.seq == len(keeper.records)
        conversation = Conversation(reasoner, keeper, "job")
        assert conversation.say()
        assert conversation.take({"undo": True})["type"] in ("tell", "error")


def test_mended_bytes_are_the_same_where_nothing_is_wrong() -> None:
    """Mending must be safe to try."""
    assert mended(WHOLE, "job") == (WHOLE, ())
