"""The command's verbs from outside: help, messages, exit codes; no traceback reaches a person.

source of all expectations: common practice, no source
"""

from __future__ import annotations

import importlib.util
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from diag.cli import main
from tests.vehicles import SIX

ROOT = Path(__file__).parents[2]
DEMO = SIX.read_text(encoding="utf-8")
FAULT = "fuse-horn.blown"
HAS_ENGINE = importlib.util.find_spec("durable") is not None


def run(*arguments: str, typed: str = "") -> Result:
    """One call of the command in this process."""
    result = CliRunner().invoke(main, list(arguments), input=typed)
    assert result.exception is None or isinstance(result.exception, SystemExit), repr(result.exception)
    return result


def run_process(*arguments: str, typed: str = "", **env: str) -> subprocess.CompletedProcess[str]:
    """One call of the command in a process of its own, as a person makes it."""
    return subprocess.run(
        [sys.executable, "-m", "diag", *arguments],
        input=typed,
        capture_output=True,
        text=True,
        encoding="utf-8",
        cwd=ROOT,
        env={**os.environ, **env},
        timeout=300,
        check=False,
    )


def home() -> Path:
    """This test's own home."""
    return Path(os.environ["DIAG_HOME"])


# ---------------------------------------------------------------- help and version


@pytest.mark.parametrize("verb", sorted(main.commands))
def test_every_verb_has_help_that_says_what_it_does(verb: str) -> None:
    """And every option of it is explained."""
    result = run(verb, "--help")
    assert result.exit_code == 0
    command = main.commands[verb]
    assert command.help
    for option in command.params:
        if option.param_type_name == "option":
            assert getattr(option, "help", None), f"{verb} {option.name}"
            assert option.opts[0] in result.output


def test_bare_command_lists_all_verbs_and_where_to_begin() -> None:
    """Someone who types the name only must see the way in."""
    text = run("--help").output
    assert all(verb in text for verb in main.commands)
    assert "diag demo" in text


@pytest.mark.skipif(not HAS_ENGINE, reason="the rule engine is not installed")
def test_version_names_the_engine_and_the_plain_one_can_be_chosen() -> None:
    """Whoever reports an oddity must be able to say which engine ran."""
    both = [run_process("--version", DIAG_ENGINE=engine) for engine in ("durable", "plain")]
    assert [found.returncode for found in both] == [0, 0]
    assert all(re.match(r"diag \d+\.\d+", found.stdout) for found in both)
    assert "durable" in both[0].stdout
    assert "plain" in both[1].stdout and "durable" not in both[1].stdout


def test_unknown_engine_is_a_message_and_not_a_traceback() -> None:
    """Also at `--version`, which is answered before any verb."""
    for arguments in (["--version"], ["talk"]):
        found = run_process(*arguments, DIAG_ENGINE="steam")
        assert found.returncode == 2
        assert "`steam`" in found.stderr and "plain" in found.stderr
        assert "Traceback" not in found.stderr + found.stdout


# ---------------------------------------------------------------- bad input


@pytest.mark.parametrize(
    ("text", "line", "column", "says"),
    [
        (DEMO.replace("system-v: 12 V", "system-v: twelve"), 4, 11, "twelve"),
        (DEMO.replace("earth: negative", "earth: sideways"), 5, 8, "sideways"),
        (DEMO.replace("horn, oil-warning", "hron, oil-warning"), 7, 49, "hron"),
        (DEMO.replace("title:", "titel:"), 3, 1, "titel"),
        ("vehicle: demo\n  title: [", 2, 8, "YAML"),
    ],
)
@pytest.mark.parametrize("verb", ["start", "talk", "demo"])
def test_bad_vehicle_file_is_told_with_line_and_column(
    tmp_path: Path, verb: str, text: str, line: int, column: int, says: str
) -> None:
    """The person mends the file in an editor: the place must be right, the word quoted, nothing begun."""
    file = tmp_path / "my-van.yaml"
    file.write_text(text, encoding="utf-8")
    assert text != DEMO
    result = run(verb, "--vehicle", str(file))
    assert result.exit_code == 2
    places = re.findall(re.escape(str(file)) + r":(\d+):(\d+): ", result.stderr)
    assert (str(line), str(column)) in places, result.stderr
    assert says in result.stderr
    assert "Traceback" not in result.output
    assert not (home() / "jobs").exists()


def test_missing_files_and_unknown_jobs_are_told() -> None:
    """What was found, what is expected; exit code 2."""
    for arguments, says in (
        (("talk", "--vehicle", "no-such-van.yaml"), "no-such-van.yaml"),
        (("resume", "yesterdays"), "diag jobs"),
        (("export", "yesterdays"), "diag jobs"),
        (("talk", "--instruments", "hammer"), "test-lamp"),
        (("talk", "--without-wiring", "--without-rules"), "nothing is left"),
    ):
        result = run(*arguments)
        assert result.exit_code == 2, (arguments, result.output)
        assert says in result.stderr
        assert result.stdout == ""


@pytest.mark.parametrize("content", [b"not a journal\n", b'{"v":1}\n', b'{"v":99,"seq":1}\n'])
def test_damaged_job_is_told_and_left_as_it_is(tmp_path: Path, content: bytes) -> None:
    """A file that we cannot read may still be worth something to its owner; what a power cut leaves is set
    aside in a file of its own, and never thrown away."""
    job = tmp_path / "job.jsonl"
    job.write_bytes(content)
    for arguments in (("talk", "--job", str(job)), ("resume", str(job)), ("export", str(job))):
        result = run(*arguments)
        assert result.exit_code in (1, 2)
        assert str(job) in result.stderr
        assert content in [path.read_bytes() for path in tmp_path.glob("job.jsonl*")]


def test_jobs_folder_that_cannot_be_written_is_told() -> None:
    """A file where the folder of jobs should be: said in words, exit code 1."""
    (home() / "jobs").write_text("x")
    result = run("talk")
    assert result.exit_code == 1
    assert str(home() / "jobs") in result.stderr


def test_reader_that_goes_away_is_no_error() -> None:
    """`diag demo --fault list | head -1` is daily use."""
    found = subprocess.run(
        f"{sys.executable} -m diag demo --fault list | head -n 1; exit ${{PIPESTATUS[0]}}",
        shell=True,
        executable="/bin/bash",
        capture_output=True,
        text=True,
        cwd=ROOT,
        timeout=300,
        check=False,
    )
    assert found.stdout.count("\n") == 1
    assert "Traceback" not in found.stderr
    assert "BrokenPipe" not in found.stderr


# ---------------------------------------------------------------- jobs, demo, start


def test_jobs_are_listed_newest_first_with_what_came_of_them() -> None:
    """None at first, then the demo's with its remedy; and its name is enough to resume and to export."""
    empty = run("jobs")
    assert (empty.exit_code, "diag start" in empty.output) == (0, True)
    assert run("demo", "--fault", FAULT).exit_code == 0
    listed = run("jobs").output.splitlines()
    assert len(listed) == 1
    assert "fuse-horn.renew" in listed[0]
    name = listed[0].split()[0]
    assert run("resume", name).exit_code == 0
    exported = run("export", name)
    assert exported.exit_code == 0
    assert "fuse" in exported.output.lower()


def test_demo_ends_cured_and_writes_the_log() -> None:
    """The first thing a newcomer runs: the fault named, the cause found, the log where it says."""
    result = run("demo", "--fault", FAULT)
    assert result.exit_code == 0
    assert re.search(r"fault is cured", result.output)
    assert "NOT cured" not in result.output
    written = re.search(r"Log written: (.*\.md)", result.output)
    assert written is not None
    log = Path(written[1]).read_text(encoding="utf-8")
    assert Path(written[1]).is_relative_to(home())
    assert "horn fuse" in log.lower()
    assert Path(written[1]).with_suffix(".jsonl").exists()


def test_demo_lists_its_faults_and_knows_the_nearest_to_a_misspelt_one() -> None:
    """More than a hundred ids: nobody types one without a slip."""
    listed = run("demo", "--fault", "list")
    assert listed.exit_code == 0
    ids = [line.split()[0] for line in listed.output.splitlines()]
    assert FAULT in ids
    assert len(ids) == len(set(ids)) > 100
    slip = run("demo", "--fault", "fuse-horn.blwon")
    assert slip.exit_code == 2
    assert FAULT in slip.stderr


@pytest.mark.skipif(not HAS_ENGINE, reason="the rule engine is not installed")
@pytest.mark.parametrize("fault", ["flasher-unit.never-opens", FAULT])
def test_both_engines_play_the_same_demo(fault: str) -> None:
    """The plain matcher stands in where the other cannot be built; a person must not notice."""
    played = [run_process("demo", "--fault", fault, DIAG_ENGINE=engine) for engine in ("durable", "plain")]
    assert [one.returncode for one in played] == [0, 0]
    texts = [re.sub(r"Log written: .*", "", one.stdout) for one in played]
    assert texts[0] == texts[1]
    assert "cured" in texts[0]


def test_start_without_a_screen_talks_in_plain_lines() -> None:
    """In a pipe, over a serial line, with a screen reader: the same conversation, and what is known at the end."""
    found = run_process("start", typed="the horn is dead\nquit\n")
    assert found.returncode == 0
    assert "\x1b" not in found.stdout
    assert "horn" in found.stdout.lower()
    assert "diag resume" in found.stdout
    assert len(list((home() / "jobs").glob("*.jsonl"))) == 1
