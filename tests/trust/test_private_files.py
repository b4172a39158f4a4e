"""What holds a customer's vehicle and words is for this user alone; what is made to be given away follows the umask."""

from __future__ import annotations

import os
import stat
from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner

from diag.cli import main
from diag.reason.reasoner import Reasoner
from diag.replay.store import Store
from tests.trust.faulty import script, warm


@pytest.fixture
def open_umask() -> Iterator[None]:
    """Somebody whose files are for all unless a program says otherwise."""
    was = os.umask(0o022)
    yield
    os.umask(was)


def for_others(folder: Path) -> dict[str, str]:
    """Files and folders below that anybody else may read or write, with their permissions."""
    found = {}
    for path in [folder, *folder.rglob("*")]:
        mode = stat.S_IMODE(path.lstat().st_mode)
        if not path.is_symlink() and mode & 0o077:
            found[path.relative_to(folder).as_posix()] = oct(mode)
    return found


@pytest.mark.usefixtures("open_umask")
def test_jobs_and_all_that_is_kept_beside_them_are_private(
    reasoner: Reasoner, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A job from start to its log: journal, lock, torn piece, damaged copy, drafts, counted causes."""
    home = tmp_path / "home"
    monkeypatch.setenv("DIAG_HOME", str(home))
    monkeypatch.chdir(tmp_path)  # drafts lie where one stands
    lines, _ = script(reasoner)
    with warm(reasoner):
        runner = CliRunner()
        assert runner.invoke(main, ["talk"], input=lines).exit_code == 0
        (job,) = (home / "jobs").glob("*.jsonl")
        content = job.read_bytes()
        job.write_bytes(content + b'{"v":1,"se')
        assert runner.invoke(main, ["talk", "--job", str(job)], input="").exit_code == 0
        lines = job.read_bytes().splitlines(keepends=True)
        job.write_bytes(b"".join([*lines[:3], b"damaged\n", *lines[4:]]))
        assert runner.invoke(main, ["resume", str(job), "--mend"], input="").exit_code == 0
        assert runner.invoke(main, ["vehicle", "new"], input="1\n").exit_code in (0, 1)
    Store(home / "store").put({"key": "text"})
    assert {path.name.partition(".jsonl")[2] for path in (home / "jobs").iterdir()} == {
        "",
        ".lock",
        ".torn-1",
        ".damaged-1",
    }
    assert for_others(home) == {}


@pytest.mark.usefixtures("open_umask")
def test_logs_and_vehicle_files_are_ordinary_files(reasoner: Reasoner, tmp_path: Path) -> None:
    """They are made to be handed on; who wants them private says so by the umask."""
    job, out = tmp_path / "job.jsonl", tmp_path / "log.md"
    with warm(reasoner):
        runner = CliRunner()
        assert runner.invoke(main, ["talk", "--job", str(job)], input=script(reasoner)[0]).exit_code == 0
        assert runner.invoke(main, ["export", str(job), "--out", str(out)]).exit_code == 0
        assert stat.S_IMODE(out.stat().st_mode) == 0o644
        out.unlink()
        os.umask(0o077)
        assert runner.invoke(main, ["export", str(job), "--out", str(out)]).exit_code == 0
    assert stat.S_IMODE(out.stat().st_mode) == 0o600


@pytest.mark.usefixtures("open_umask")
def test_what_is_made_for_the_machine_is_private_too(tmp_path: Path) -> None:
    """Rules of one's own, the list of packs, computed tables and kept outcomes tell of one's vehicles."""
    from diag.circuit.kept import write_sheets
    from diag.knowledge.writer import put_new

    write_sheets(tmp_path / "cache" / "table.npz", {})
    Store(tmp_path / "outcomes").put({"key": "text"})
    put_new(tmp_path / "new.yaml", b"x", 0o600)
    found = for_others(tmp_path)
    found.pop(".", None)
    assert found == {}
