"""The wheel carries everything: from any folder it finds its rules, its recorded jobs and its templates."""

from __future__ import annotations

import importlib.util
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The wheel built from this checkout."""
    out = tmp_path_factory.mktemp("wheel")
    isolated = [] if importlib.util.find_spec("hatchling") is None else ["--no-build-isolation"]
    built = subprocess.run(
        [sys.executable, "-m", "pip", "wheel", str(ROOT), "--no-deps", "-q", "-w", str(out), *isolated],
        capture_output=True,
        text=True,
        check=False,
    )
    if built.returncode and not isolated and "hatchling" in built.stderr:
        pytest.skip("hatchling is neither installed nor to be had")
    assert built.returncode == 0, built.stderr
    (found,) = out.glob("diag-*.whl")
    return found


def below(folder: str, pattern: str) -> set[str]:
    """Files of the checkout, relative to a folder of it."""
    return {path.relative_to(ROOT / folder).as_posix() for path in (ROOT / folder).rglob(pattern) if path.is_file()}


def test_wheel_carries_all_rules_recorded_jobs_and_templates(wheel: Path) -> None:
    """A circuit that is left behind would simply be missing on every other machine."""
    names = set(zipfile.ZipFile(wheel).namelist())
    for folder, inside, pattern, least in (
        ("rules", "diag/_rules", "*.yaml", 9),
        ("transcripts", "diag/_transcripts", "*", 20),
    ):
        wanted = {f"{inside}/{name}" for name in below(folder, pattern)}
        assert len(wanted) >= least
        assert wanted <= names
    assert any(name.startswith("diag/_rules/circuits/") for name in names)
    assert {f"diag/{name}" for name in below("diag", "*") if "__pycache__" not in name} <= names
    assert not [name for name in names if name.startswith("tests/") or "__pycache__" in name]


def test_installed_from_the_wheel_it_works_from_any_folder(wheel: Path, tmp_path: Path) -> None:
    """No path of the checkout may be left in it: rules load, a vehicle opens, the command answers."""
    site, elsewhere = tmp_path / "site", tmp_path / "elsewhere"
    zipfile.ZipFile(wheel).extractall(site)
    elsewhere.mkdir()
    program = (
        "import sys; sys.path.insert(0, sys.argv[1])\n"
        "import diag, pathlib\n"
        "from diag.knowledge.load import default_vehicle, load_knowledge, rules_folder\n"
        "knowledge = load_knowledge(default_vehicle())\n"
        "print(pathlib.Path(diag.__file__).parent, rules_folder(), len(knowledge.circuits), sep='\\n')\n"
    )
    found = subprocess.run(
        [sys.executable, "-P", "-c", program, str(site)], cwd=elsewhere, capture_output=True, text=True, check=False
    )
    assert found.returncode == 0, found.stderr
    package, rules, circuits = found.stdout.splitlines()
    assert Path(package) == site / "diag"
    assert Path(rules) == site / "diag" / "_rules"
    assert int(circuits) >= 5
    command = "import sys; sys.path.insert(0, sys.argv.pop(1)); from diag.cli import main; main()"
    listed = subprocess.run(
        [sys.executable, "-P", "-c", command, str(site), "--help"],
        cwd=elsewhere,
        capture_output=True,
        text=True,
        check=False,
    )
    assert listed.returncode == 0
    assert "demo" in listed.stdout
