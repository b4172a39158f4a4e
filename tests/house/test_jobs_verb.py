"""`diag jobs`: what is listed, how it is looked for, what a damaged or empty job does to it, putting away.

source of all expectations: common practice, no source
"""

from __future__ import annotations

import json
import os
import shutil
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pexpect
import pytest
from click.testing import CliRunner, Result

from diag.cli import main
from diag.job.folder import find_job
from diag.job.glance import glance
from diag.job.journal import Journal
from diag.log.listing import job_block

ROOT = Path(__file__).parents[2]
START = datetime(2026, 3, 1, 8, 30, tzinfo=UTC)
HORN: list[tuple[str, dict[str, Any]]] = [
    ("answered", {"check": "start", "kind": "choose", "operate": {}, "value": "horn-silent"}),
    ("answered", {"check": "horn-sound", "kind": "listen", "operate": {}, "target": "horn", "value": "none"}),
    ("noted", {"text": "Owner says: since the Bodywork at Müller's yard"}),
]
CURED: list[tuple[str, dict[str, Any]]] = [
    (
        "concluded",
        {
            "final": True,
            "remedies": [
                {
                    "id": "fuse-horn.renew",
                    "title": "Renew Horn fuse",
                    "causes": [{"id": "fuse-horn.blown", "title": "Horn fuse: fuse blown or missing"}],
                }
            ],
        },
    ),
    ("remedied", {"remedy": "fuse-horn.renew"}),
    ("proved", {"open": []}),
]


def run(*arguments: str, typed: str = "") -> Result:
    """One call of the command in this process."""
    result = CliRunner().invoke(main, list(arguments), input=typed)
    assert result.exception is None or isinstance(result.exception, SystemExit), repr(result.exception)
    return result


def folder() -> Path:
    """The jobs of this test."""
    return Path(os.environ["DIAG_HOME"]) / "jobs"


def a_job(name: str, records: list[tuple[str, dict[str, Any]]], day: int = 0, vehicle: str = "my-van") -> Path:
    """A job in the jobs folder, begun so many days after the first of March."""
    times = iter(START + timedelta(days=day, minutes=minute) for minute in range(100))
    path = folder() / f"{name}.jsonl"
    with Journal.create(path, lambda: next(times)) as journal:
        opened = {"vehicle": vehicle, "vehicle-file": f"/home/me/{vehicle}.yaml"}
        for event, fields in (("opened", opened), ("instruments", {"have": ["meter"]}), *records):
            journal.append(event, **fields)
    return path


def names(*arguments: str) -> list[str]:
    """Names of the jobs listed, in that order."""
    result = run("jobs", *arguments)
    assert result.exit_code == 0, result.output
    return [line.split()[0] for line in result.stdout.splitlines()]


@pytest.fixture
def three() -> None:
    """An older one that is closed, one that is not finished, an empty one."""
    a_job("2026-03-01-083000-my-van", [*HORN, *CURED])
    a_job("2026-03-05-083000-demo-pickup", HORN[:1], 4, "demo-pickup")
    a_job("2026-03-09-083000-my-van", [], 8)


# ---------------------------------------------------------------- what is listed


@pytest.mark.usefixtures("three")
def test_newest_first_and_what_nobody_answered_is_only_counted() -> None:
    """A job that was opened and left again is noise; how many there are is said, beside the list."""
    result = run("jobs")
    assert [line.split()[0] for line in result.stdout.splitlines()] == [
        "2026-03-05-083000-demo-pickup",
        "2026-03-01-083000-my-van",
    ]
    assert "1 with nothing answered" in result.stderr and "--all" in result.stderr
    assert names("--all")[0] == "2026-03-09-083000-my-van"


def test_an_answer_that_was_taken_back_leaves_the_job_empty() -> None:
    """What counts is what stands."""
    a_job("2026-03-01-083000-my-van", [*HORN[:1], ("undone", {"target": 3})])
    assert run("jobs").stdout == "No job in which anything was answered.\n"


@pytest.mark.usefixtures("three")
@pytest.mark.parametrize(
    ("content", "reason"),
    [
        (b"not a journal\n", "1:1"),
        (b"", "nothing was kept"),
        (b'{"v":99,"seq":1}\n', "newer"),
        (b"\xff\xfe\n", "UTF-8"),
        (b'{"v":1,"seq":1,"at":"2026-01-01T00:00:00Z","event":"noted"}\n', "opened"),
    ],
)
def test_a_damaged_job_is_one_line_with_its_reason(content: bytes, reason: str) -> None:
    """It stops nothing, and a search tells it too: nobody knows what stands in it."""
    (folder() / "2026-03-07-083000-my-van.jsonl").write_bytes(content)
    for arguments in ((), ("horn",), ("--open",)):
        lines = [line for line in run("jobs", *arguments).stdout.splitlines() if line.startswith("2026-03-07")]
        assert len(lines) == 1
        assert "cannot be read" in lines[0] and reason in lines[0]
        assert names(*arguments)[0] == "2026-03-07-083000-my-van"
        assert len(names(*arguments)) > 1


def test_a_last_line_that_was_cut_short_does_no_harm() -> None:
    """What a plug that was pulled leaves: the rest of the job is good."""
    path = a_job("2026-03-01-083000-my-van", HORN)
    path.write_bytes(path.read_bytes()[:-9])
    assert names() == ["2026-03-01-083000-my-van"]


@pytest.mark.usefixtures("three")
def test_json_has_every_time_in_utc_and_titles_of_what_was_done() -> None:
    """For programs: one list, newest first, damaged ones with their problem."""
    (folder() / "2026-03-07-083000-my-van.jsonl").write_bytes(b"x\n")
    damaged, open_, closed = json.loads(run("jobs", "--as", "json").stdout)
    assert "1:1" in damaged["problem"]
    assert (open_["ended"], open_["vehicle"], open_["begun"]) == (False, "demo-pickup", "2026-03-05T08:30:00.000000Z")
    assert closed["remedies"] == [{"id": "fuse-horn.renew", "title": "Renew Horn fuse", "in-vain": False}]
    assert (closed["ended"], closed["answers"], closed["complaints"]) == (True, 2, ["horn-silent"])


def concluded(remedy: str, *spoke: int) -> tuple[str, dict[str, Any]]:
    """What the program concluded, from which answers."""
    evidence = [{"seq": seq, "weight": 12.0} for seq in spoke] + [{"seq": 4, "weight": 1.1}]
    return "concluded", {"final": True, "remedies": [{"id": remedy, "title": remedy, "evidence": evidence}]}


def horn_sounds(word: str) -> tuple[str, dict[str, Any]]:
    """The horn pressed again."""
    return "answered", {"check": "horn-sound", "kind": "listen", "operate": {}, "target": "horn", "value": word}


def test_work_that_did_not_cure_is_told_as_such() -> None:
    """The horn was still silent after the fuse, and the complaint is laid to something else. Of two faults each work
    cured its own."""
    fuse, strap = ("remedied", {"remedy": "fuse-horn.renew"}), ("remedied", {"remedy": "strap-make"})
    first, second = concluded("fuse-horn.renew", 3), concluded("strap-make", 3, 7)
    vain = [HORN[0], HORN[2], first, fuse, horn_sounds("none"), second]  # seqs 3 to 8, the answer after it 7
    a_job("2026-03-01-083000-my-van", [*vain, strap, horn_sounds("sound"), ("proved", {"open": []})])
    a_job("2026-03-02-083000-my-van", [*vain], 1)
    other = concluded("strap-make", 7)
    a_job("2026-03-03-083000-my-van", [*vain[:-1], other, strap, ("proved", {"open": []})], 2)
    two, open_, one = run("jobs").stdout.splitlines()
    assert "tried fuse-horn.renew, cured by strap-make; proved" in one
    assert "tried fuse-horn.renew, which did not cure; not finished" in open_
    assert "cured by fuse-horn.renew, strap-make" in two
    listed = json.loads(run("jobs", "--as", "json").stdout)
    assert [work["in-vain"] for work in listed[-1]["remedies"]] == [True, False]


@pytest.mark.parametrize("columns", [40, 80])
def test_a_screen_gets_short_lines(columns: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """On a phone held upright nothing is cut: the name, both times, how far it came, what was done."""
    monkeypatch.setenv("TZ", "EST5")
    path = a_job("2026-03-01-083000-my-van", [*HORN, *CURED])
    import time

    time.tzset()
    try:
        lines = job_block(glance(path), columns)
    finally:
        monkeypatch.undo()
        time.tzset()
    assert max(map(len, lines)) <= columns
    text = " ".join(" ".join(lines).split())
    assert lines[0] == "2026-03-01-083000-my-van"
    assert "2026-03-01 03:37 EST (08:37 UTC), 2 answers: proved" in text
    assert "horn silent: cured by Renew Horn fuse" in text


def test_a_strangers_job_cannot_move_the_cursor() -> None:
    """Journals are sent by mail."""
    path = a_job("2026-03-01-083000-my-van", [("answered", {"check": "start", "value": "\x1b[2Jhorn"})], 0, "v\x1b[2J")
    assert "\x1b" not in run("jobs").stdout + "\n".join(job_block(glance(path), 40))


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="names that are no text are a matter of Linux")
def test_a_name_that_is_no_text_is_listed_all_the_same() -> None:
    """Copied from an old disk: what cannot be shown is a question mark, in JSON its escape."""
    path = a_job("2026-03-01-083000-my-van", HORN)
    path.rename(Path(os.fsdecode(os.fsencode(path.parent) + b"/old-\xff.jsonl")))
    assert names() == ["old-?"]
    assert json.loads(run("jobs", "--as", "json").stdout)[0]["name"] == "old-\udcff"


# ---------------------------------------------------------------- looking for


@pytest.mark.usefixtures("three")
@pytest.mark.parametrize(
    ("arguments", "found"),
    [
        (("HORN",), ["2026-03-05", "2026-03-01"]),
        (("horn", "bodywork"), ["2026-03-01"]),
        (("muller",), ["2026-03-01"]),
        (("renew", "fuse"), ["2026-03-01"]),
        (("blown",), ["2026-03-01"]),
        (("pickup",), ["2026-03-05"]),
        (("pressed",), ["2026-03-05"]),  # of the title of the complaint, in the shipped circuit
        (("orn",), []),
        (("--open",), ["2026-03-05"]),
        (("--closed",), ["2026-03-01"]),
        (("--since", "2026-03-05"), ["2026-03-05"]),
        (("--vehicle", "My-Van"), ["2026-03-01"]),
        (("--vehicle", "demo-pickup.yaml", "horn"), ["2026-03-05"]),
    ],
)
def test_jobs_are_found_by_what_stands_in_them(arguments: tuple[str, ...], found: list[str]) -> None:
    """By words, whatever their case and accents, each at the beginning of a word; by day, vehicle, and end."""
    result = run("jobs", *arguments)
    listed = [line[:10] for line in result.stdout.splitlines() if line.startswith("2026")]
    assert listed == found
    assert bool(found) or "None of the jobs" in result.stdout or "No job" in result.stdout


@pytest.mark.usefixtures("three")
def test_a_piece_of_the_name_is_enough_where_only_one_has_it() -> None:
    """Where several have it they are named, and nothing is opened."""
    assert find_job("05-083000").stem == "2026-03-05-083000-demo-pickup"
    several = run("export", "083000")
    assert several.exit_code == 2
    assert "2026-03-05-083000-demo-pickup" in several.stderr and "3 jobs" in several.stderr


@pytest.mark.usefixtures("three")
def test_what_cannot_go_together_is_refused() -> None:
    """Exit code 2 and what to do instead."""
    for arguments, says in (
        (("--since", "lately"), "2026-03-01"),
        (("--open", "--closed"), "one of them"),
        (("--put-away", "2026-03-05", "--open"), "by itself"),
        (("--put-away", "2026-03-05", "--bring-back", "x"), "by itself"),
        (("--pick", "--as", "json"), "neither"),
    ):
        result = run("jobs", *arguments)
        assert (result.exit_code, says in result.stderr) == (2, True), (arguments, result.output)


# ---------------------------------------------------------------- going on with one


@pytest.mark.usefixtures("three")
def test_the_newest_in_which_anything_was_answered_is_gone_on_with(monkeypatch: pytest.MonkeyPatch) -> None:
    """A job that was opened by mistake must not hide yesterday's."""
    opened: list[Path] = []

    def resumed(path: Path, *_: object) -> None:
        opened.append(path)
        raise SystemExit(0)

    monkeypatch.setattr("diag.talk.opening.resume_job", resumed)
    run("resume")
    assert opened.pop().name.startswith("2026-03-05")
    run("jobs", "--pick", typed="7\n2\n")
    assert opened.pop().name.startswith("2026-03-01")
    run("jobs", "bodywork", "--pick")
    assert opened.pop().name.startswith("2026-03-01")
    assert run("jobs", "--pick", typed="q\n").exit_code == 0
    assert run("jobs", "nowhere", "--pick").exit_code == 2
    assert opened == []


# ---------------------------------------------------------------- putting away


@pytest.mark.usefixtures("three")
def test_a_job_that_is_put_away_is_in_no_list_and_comes_back_whole() -> None:
    """Moved, with its log beside it, and never deleted."""
    path = folder() / "2026-03-01-083000-my-van.jsonl"
    path.with_suffix(".md").write_text("log")
    content = path.read_bytes()
    assert run("jobs", "--put-away", "2026-03-01").exit_code == 0
    assert not list(folder().glob("2026-03-01*"))
    assert names() == ["2026-03-05-083000-demo-pickup"]
    assert names("--away") == ["2026-03-01-083000-my-van"]
    assert run("resume", "2026-03-01").exit_code == 2
    assert run("jobs", "--bring-back", "2026-03-01").exit_code == 0
    assert path.read_bytes() == content
    assert path.with_suffix(".md").read_text() == "log"
    assert names("--away") == ["No"]


@pytest.mark.usefixtures("three")
def test_a_job_in_use_stays_where_it_is() -> None:
    """Somebody is answering in it."""
    path = folder() / "2026-03-05-083000-demo-pickup.jsonl"
    with Journal.open(path):
        result = run("jobs", "--put-away", "2026-03-05")
    assert (result.exit_code, "another program" in result.stderr) == (1, True)
    assert path.exists()


@pytest.mark.usefixtures("three")
def test_a_job_that_is_kept_elsewhere_is_not_moved(tmp_path: Path) -> None:
    """It is the person's own file, in a folder of their own; and one of the same name is not written over."""
    mine = tmp_path / "mine.jsonl"
    shutil.copy(folder() / "2026-03-01-083000-my-van.jsonl", mine)
    assert run("jobs", "--put-away", str(mine)).exit_code == 1
    run("jobs", "--put-away", "2026-03-01")
    shutil.copy(mine, folder() / "2026-03-01-083000-my-van.jsonl")
    result = run("jobs", "--put-away", "2026-03-01")
    assert (result.exit_code, "of that name" in result.stderr) == (1, True)
    assert (folder() / "2026-03-01-083000-my-van.jsonl").exists()


# ---------------------------------------------------------------- on a screen


def test_a_screen_is_told_the_newest_and_how_many_there_are() -> None:
    """Ten thousand jobs must not run past; a pipe gets them all."""
    for day in range(32):
        a_job(f"2026-03-{day + 1:02}-083000-my-van", HORN, day)
    env = {name: value for name, value in os.environ.items() if name not in ("COLUMNS", "LINES")}
    child = pexpect.spawn(
        sys.executable,
        ["-m", "diag", "jobs"],
        cwd=str(ROOT),
        env=env,
        dimensions=(24, 40),
        encoding="utf-8",
        timeout=60,
    )
    text = child.read()
    assert "2026-03-32-083000-my-van\r\n" in text and "2026-03-03-083000" in text
    assert "2026-03-02-083000" not in text
    assert "2 older" in text
    assert max(map(len, text.split("\r\n"))) <= 40
    assert len(names()) == 32


@pytest.mark.parametrize("form", ["owner", "html"])
def test_a_page_is_not_poured_over_a_screen(form: str) -> None:
    """It says what to type instead; into a pipe a page goes as it did."""
    a_job("2026-03-01-083000-my-van", HORN)
    words = ["-m", "diag", "export", "2026-03-01", "--as", form]
    child = pexpect.spawn(sys.executable, words, cwd=str(ROOT), encoding="utf-8", timeout=60, dimensions=(24, 80))
    told = " ".join(child.read().split())
    child.close()
    assert child.exitstatus == 2 and f"--as {form}" in told and "--out job.html" in told and "<" not in told
