"""Files live where the platform expects them, are told by the program, and are never written over unasked.

source of the Linux folders: XDG Base Directory Specification 0.8; of those of macOS and Windows: the library
platformdirs, whose classes are asked here; of the rest: common practice, no source
"""

from __future__ import annotations

import json
import os
import re
import sys
from collections.abc import Callable
from pathlib import Path

import platformdirs
import pytest
from click.testing import CliRunner, Result
from platformdirs.macos import MacOS
from platformdirs.windows import Windows

from diag.cli import main
from diag.desk_verbs import environment
from diag.job.folder import away_folder, jobs_folder
from diag.job.journal import Journal
from diag.knowledge.folders import cache_folder, local_folder, packs_file
from diag.talk.settings import SETTINGS, settings_file

ROOT = Path(__file__).parents[2]
KEPT: dict[str, Callable[[], Path]] = {
    "jobs": jobs_folder,
    "jobs-away": away_folder,
    "own-rules": local_folder,
    "packs": packs_file,
    "settings": settings_file,
    "tables": cache_folder,
}


def run(*arguments: str) -> Result:
    """One call of the command in this process."""
    result = CliRunner().invoke(main, list(arguments))
    assert result.exception is None or isinstance(result.exception, SystemExit), repr(result.exception)
    return result


def told() -> dict[str, Path]:
    """What `diag places` says, by name."""
    found = json.loads(run("places", "--as", "json").stdout)["places"]
    return {name: Path(one["path"]) for name, one in found.items()}


# ---------------------------------------------------------------- where


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="these variables count on Linux")
def test_linux_follows_the_xdg_variables(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Data, settings and what may be thrown away, each in its own folder; defaults where nothing is set."""
    monkeypatch.delenv("DIAG_HOME")
    for name in ("DATA", "CONFIG", "CACHE"):
        monkeypatch.setenv(f"XDG_{name}_HOME", str(tmp_path / name))
    wanted = {
        "jobs": "DATA/diag/jobs",
        "jobs-away": "DATA/diag/jobs-away",
        "own-rules": "DATA/diag/rules",
        "packs": "CONFIG/diag/packs.yaml",
        "settings": f"CONFIG/diag/{settings_file().name}",
        "tables": "CACHE/diag",
    }
    assert {name: find() for name, find in KEPT.items()} == {name: tmp_path / part for name, part in wanted.items()}
    for name in ("DATA", "CONFIG", "CACHE"):
        monkeypatch.delenv(f"XDG_{name}_HOME")
    monkeypatch.setenv("HOME", str(tmp_path))
    assert jobs_folder() == tmp_path / ".local/share/diag/jobs"
    assert packs_file() == tmp_path / ".config/diag/packs.yaml"
    assert cache_folder() == tmp_path / ".cache/diag"


@pytest.mark.parametrize("platform", [MacOS, Windows])
def test_other_platforms_follow_theirs(platform: type, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """As the library has it for them, and no two of ours in one place."""
    monkeypatch.delenv("DIAG_HOME")
    monkeypatch.setattr(platformdirs, "PlatformDirs", platform)
    for name in ("LOCALAPPDATA", "APPDATA", "USERPROFILE"):
        monkeypatch.setenv(name, str(tmp_path / "Local"))
    monkeypatch.setattr("platformdirs.windows.get_win_folder", lambda _: str(tmp_path / "Local"), raising=False)
    theirs = platform("diag", appauthor=False)
    assert jobs_folder() == Path(theirs.user_data_dir) / "jobs"
    assert packs_file() == Path(theirs.user_config_dir) / "packs.yaml"
    assert cache_folder() == Path(theirs.user_cache_dir)
    assert len({find() for find in KEPT.values()}) == len(KEPT)
    assert not any(find().is_relative_to(cache_folder()) for name, find in KEPT.items() if name != "tables")


def test_one_variable_moves_all_of_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A stick that goes from laptop to laptop; and nothing is made by asking."""
    monkeypatch.setenv("DIAG_HOME", str(tmp_path / "stick"))
    found = told()
    assert {name: found[name] for name in KEPT} == {name: find() for name, find in KEPT.items()}
    assert all(path.is_relative_to(tmp_path / "stick") for name, path in found.items() if name != "shipped-rules")
    assert not (tmp_path / "stick").exists()


# ---------------------------------------------------------------- told


def test_the_places_are_told_one_a_line_to_be_copied(monkeypatch: pytest.MonkeyPatch) -> None:
    """Paths are never broken, whatever the screen; what is set is shown with its value."""
    for columns in ("40", "80"):
        result = CliRunner().invoke(main, ["places"], env={"COLUMNS": columns})
        assert result.exit_code == 0
        lines = result.stdout.splitlines()
        assert all(f"  {path}" in lines for path in told().values())
        assert f"DIAG_HOME: {os.environ['DIAG_HOME']}" in " ".join(result.stdout.split())
        paths = [line for line in lines if "/" in line]
        assert max(len(line) for line in lines if line not in paths) <= int(columns)


def test_every_variable_that_the_program_reads_is_told() -> None:
    """Whoever wonders why it behaves so must find it in one list."""
    read = {
        name
        for path in (ROOT / "diag").rglob("*.py")
        for name in re.findall(r"\bDIAG_[A-Z_]+\b", path.read_text(encoding="utf-8"))
    }
    read |= {one.variable for one in SETTINGS.values()}
    assert read == set(environment())
    text = run("places").stdout
    assert all(name in text for name in environment())


# ---------------------------------------------------------------- never over another file


@pytest.fixture
def job(monkeypatch: pytest.MonkeyPatch) -> Path:
    """A job, and logs of it without the work of making them."""
    monkeypatch.setattr("diag.log.export.export_job", lambda *_, **__: "the log\n")
    path = jobs_folder() / "2026-03-01-083000-van.jsonl"
    with Journal.create(path) as journal:
        journal.append("opened", vehicle="van")
    return path


def test_a_log_is_not_written_over_another_file_unasked(job: Path, tmp_path: Path) -> None:
    """Least of all over the job itself."""
    out = tmp_path / "log.md"
    assert run("export", "2026-03-01", "--out", str(out)).exit_code == 0
    assert out.read_text() == "the log\n"
    out.write_text("signed\n")
    refused = run("export", "2026-03-01", "--out", str(out))
    assert (refused.exit_code, "--replace" in refused.stderr, out.read_text()) == (2, True, "signed\n")
    assert run("export", "2026-03-01", "--out", str(out), "--replace").exit_code == 0
    assert out.read_text() == "the log\n"
    content = job.read_bytes()
    over_itself = run("export", "2026-03-01", "--out", str(job), "--replace")
    assert (over_itself.exit_code, job.read_bytes()) == (2, content)


def test_the_demo_writes_its_log_over_nothing(tmp_path: Path) -> None:
    """The log goes beside the job, where a file of the person's own may be."""
    (tmp_path / "try.md").write_text("mine\n")
    result = run("demo", "--job", str(tmp_path / "try.jsonl"))
    assert (result.exit_code, "try.md" in result.stderr) == (2, True)
    assert [path.name for path in tmp_path.iterdir()] == ["try.md"]


@pytest.mark.usefixtures("job")
@pytest.mark.parametrize(("name", "says"), [("", "a folder"), ("no-such/log.md", "no folder")])
def test_a_place_that_cannot_be_written_is_told_before_the_work(tmp_path: Path, name: str, says: str) -> None:
    """Exit code 2 and what is expected."""
    result = run("export", "2026-03-01", "--out", str(tmp_path / name))
    assert (result.exit_code, says in result.stderr) == (2, True)


@pytest.mark.parametrize("verb", ["show", "netlist"])
def test_sheets_and_netlists_are_not_written_over_either(verb: str, tmp_path: Path) -> None:
    """The same rule for every verb with --out."""
    out = tmp_path / "sheet.txt"
    out.write_text("mine\n")
    result = run("vehicle", verb, "--out", str(out))
    assert (result.exit_code, out.read_text()) == (2, "mine\n")
    assert run("vehicle", verb, "--out", str(out), "--replace").exit_code == 0
    assert out.read_text() != "mine\n"
