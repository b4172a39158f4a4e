"""Whatever is named where a file is expected: one message, in time, and nothing that steers a terminal.

Pipes and devices must not be waited for, giants not be read, and a name is shown as text only.
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from diag.cli import main
from diag.reason.reasoner import Reasoner
from tests.talk.outsider import ROOT
from tests.trust.faulty import warm

WAITS_S = 60
"""Nothing here takes a tenth of this; a program that waits for a pipe is stopped so that the test fails."""

VERBS: dict[str, tuple[str, ...]] = {
    "vehicle of a new job": ("start", "--vehicle", "FILE"),
    "vehicle of lines": ("talk", "--vehicle", "FILE"),
    "job of lines": ("talk", "--job", "FILE"),
    "job to go on": ("resume", "FILE"),
    "job to mend": ("resume", "FILE", "--mend"),
    "job to export": ("export", "FILE"),
    "job as a page": ("export", "FILE", "--as", "html"),
    "job to bundle": ("bundle", "FILE", "--out", "OUT"),
    "bundle": ("unbundle", "FILE", "--into", "OUT"),
    "vehicle to check": ("vehicle", "check", "FILE"),
    "vehicle to show": ("vehicle", "show", "FILE"),
    "vehicle as a netlist": ("vehicle", "netlist", "FILE"),
    "answers for a vehicle": ("vehicle", "new", "--answers", "FILE", "--out", "OUT"),
    "vehicle to alter": ("vehicle", "alter", "FILE", "horn-relay", "--dry-run"),
    "recipe": ("vehicle", "alter", "VEHICLE", "FILE", "--dry-run"),
    "rules to check": ("rules", "check", "FILE"),
    "job that taught": ("rules", "add", "FILE"),
    "pack": ("rules", "packs", "--add", "FILE"),
    "folder of rules": ("rules", "state", "--in", "FILE"),
    "jobs to learn from": ("rules", "learn", "--from", "FILE"),
    "jobs to replay": ("replay", "FILE", "--list"),
    "earlier run": ("replay", "EMPTY", "--against", "FILE"),
}
ODD: dict[str, Callable[[Path], None]] = {
    "pipe": lambda path: os.mkfifo(path),
    "device": lambda path: path.symlink_to("/dev/zero"),
    "link to itself": lambda path: path.symlink_to(path),
    "giant": lambda path: (path.touch(), os.truncate(path, 100_000_000), None)[-1],
    "binary": lambda path: path.write_bytes(bytes(range(256)) * 40) and None,
    "empty": lambda path: path.touch(),
    "folder in a circle": lambda path: (path.mkdir(), (path / "again").symlink_to(path), None)[-1],
    "nothing": lambda path: None,
    "closed to all": lambda path: (path.write_text("{}"), path.chmod(0), None)[-1],
}


@pytest.fixture
def in_time() -> Iterator[None]:
    """A program that hangs fails the test."""

    def late(*_: object) -> None:
        raise AssertionError("the program waits")

    was = signal.signal(signal.SIGALRM, late)
    signal.alarm(WAITS_S)
    yield
    signal.alarm(0)
    signal.signal(signal.SIGALRM, was)


@pytest.fixture
def opened(reasoner: Reasoner) -> Iterator[None]:
    """A vehicle that could be opened after all is not worked out anew each time."""
    with warm(reasoner):
        yield


def said(arguments: tuple[str, ...], folder: Path, file: str) -> Result:
    """One call of a verb with that file."""
    (folder / "empty").mkdir(exist_ok=True)
    words = {"FILE": file, "OUT": str(folder / "out"), "EMPTY": str(folder / "empty")}
    words["VEHICLE"] = os.environ["DIAG_VEHICLE"]
    return CliRunner().invoke(main, [words.get(word, word) for word in arguments], input="")


def must_be_told(result: Result, ends_well: bool = False) -> None:
    """A message, no traceback, and no sign that a terminal would act on."""
    assert result.exception is None or isinstance(result.exception, SystemExit), repr(result.exception)
    assert result.exit_code in (0, 1, 2)
    shown = result.stdout + result.stderr
    assert "Traceback" not in shown and "Errno" not in shown
    assert ends_well or result.exit_code != 0 or shown
    odd = {sign for sign in shown if not sign.isprintable() and sign not in "\n"}
    assert not odd, f"reaches the terminal: {odd!a}"


@pytest.mark.usefixtures("in_time", "opened")
@pytest.mark.parametrize("verb", VERBS)
def test_odd_file_is_told_in_time(tmp_path: Path, verb: str) -> None:
    """Every sort of thing that is no file for this verb."""
    for how, make in ODD.items():
        folder = tmp_path / how.replace(" ", "-")
        folder.mkdir()
        file = folder / "odd.jsonl" if "job" in verb else folder / "odd.yaml"
        make(file)
        result = said(VERBS[verb], folder, str(file))
        must_be_told(result)
        assert len(result.output) < 20_000, how


NAMES = (
    "esc\x1b[2J\x1b]0;x\x07",
    "turn\u202eround\u2066",
    "c1\x9b31m",
    "line\nbreak\rback",
    "not-utf8-\udcff\udcfe",
    "~nobody",
    "..",
    "../../../../etc/passwd",
    "CON",
    "NUL.yaml",
    "{part.__class__}",
    "%s%n",
    "-rf",
    "x" * 300,
    " ",
    "",
)


@pytest.mark.usefixtures("in_time", "opened")
@pytest.mark.parametrize("verb", VERBS)
def test_odd_name_is_shown_as_text_only(tmp_path: Path, verb: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Names that are not there, and files of such names that hold nothing good."""
    (tmp_path / "a" / "b").mkdir(parents=True)
    monkeypatch.chdir(tmp_path / "a" / "b")
    for number, name in enumerate(NAMES):
        for there in (False, True):
            if there:
                try:
                    with open(os.fsencode(name), "x", encoding="ascii") as file:
                        file.write('{"v": 1}\nnot: [a, file\n')
                except (OSError, ValueError):
                    continue
            folder = tmp_path / f"{number}-{there}"
            folder.mkdir()
            result = said(VERBS[verb], folder, name)
            if "No such option" in result.output:
                continue
            must_be_told(result)
    assert sorted(path.name for path in tmp_path.iterdir() if path.name[0] not in "0123456789") == ["a"]


def test_names_of_kept_jobs_are_listed_as_text_only(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A job that came from elsewhere, by its file's name and by what it says of its vehicle; on the real streams,
    which refuse bytes that are no text."""
    jobs = tmp_path / "jobs"
    jobs.mkdir()
    monkeypatch.setenv("DIAG_HOME", str(tmp_path))
    opened = {"v": 1, "seq": 1, "at": "2026-11-25T08:30:00Z", "event": "opened", "vehicle": "\x1b[2Jvan\u202e\ud800"}
    done = {"v": 1, "seq": 2, "at": "2026-11-25T08:30:00Z", "event": "remedied", "remedy": "\x1b[31mred\x07"}
    text = json.dumps(opened) + "\n" + json.dumps(done) + "\n"
    for name in ("good\x1b[2J", "not-utf8-\udcff", "plain"):
        (jobs / f"{name}.jsonl").write_text(text)
    (jobs / "bad\x1b[2J.jsonl").write_text("\x1b[2J\n")
    must_be_told(CliRunner().invoke(main, ["jobs"]))
    must_be_told(CliRunner().invoke(main, ["replay", str(jobs), "--list"]))
    must_be_told(CliRunner().invoke(main, ["rules", "learn", "--from", str(jobs)]), ends_well=True)
    found = subprocess.run(
        [sys.executable, "-m", "diag", "jobs"],
        capture_output=True,
        check=False,
        timeout=120,
        cwd=ROOT,
        env={**os.environ, "PYTHONIOENCODING": "utf-8:strict"},
    )
    assert (found.returncode, found.stderr) == (0, b"")
    assert b"\x1b" not in found.stdout and found.stdout.count(b"\n") == 4
