"""The shell completes verbs, options and names from where they are kept: through click, and in real shells.

source of all expectations: common practice, no source
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from click.shell_completion import ShellComplete
from click.testing import CliRunner

from diag.circuit.predict import Predictor
from diag.cli import main
from diag.job.journal import Journal

ROOT = Path(__file__).parents[2]
PICKUP = "demo-pickup.yaml"


def offered(line: str) -> list[str]:
    """What is offered for the last word of a line, which may be empty."""
    *args, incomplete = line.split(" ")[1:]
    found = ShellComplete(main, {}, "diag", "_DIAG_COMPLETE").get_completions(args, incomplete)
    return [f"<{item.type}>" if item.type != "plain" else item.value for item in found]


def home() -> Path:
    """This test's own home."""
    return Path(os.environ["DIAG_HOME"])


def a_job(name: str) -> None:
    """A job of that name, with nothing but its beginning."""
    with Journal.create(home() / "jobs" / f"{name}.jsonl") as journal:
        journal.append("opened", vehicle="van")


@pytest.mark.parametrize(
    ("line", "among"),
    [
        ("diag re", ["replay", "resume"]),
        ("diag vehicle n", ["netlist", "new"]),
        ("diag export x --as p", ["pdf", "parts"]),
        ("diag jobs --put", ["--put-away"]),
        ("diag start --vehicle demo-s", ["demo-sports-car.yaml"]),
        ("diag vehicle show demo-mo", ["demo-motorcycle.yaml"]),
        ("diag vehicle show other-folder/de", ["<file>"]),
        ("diag demo --fault fuse-horn.b", ["fuse-horn.blown"]),
        ("diag demo --fault lis", ["list"]),
        ("diag vehicle show --fault fuse-horn.blown,fuse-stop.bl", ["fuse-horn.blown,fuse-stop.blown"]),
        ("diag vehicle show --circuit hor", ["horn"]),
        ("diag vehicle show --operate turn=l", ["turn=left"]),
        ("diag vehicle show --operate horn-b", ["horn-button="]),
        ("diag vehicle alter demo-van.yaml horn", ["horn-relay"]),
        ("diag vehicle alter demo-van.yaml flasher-unit --set unit=tw", ["unit=two"]),
        ("diag rules show horn/silent-alone", ["horn/silent-alone"]),
        ("diag rules show fuse-horn.blo", ["fuse-horn.blown"]),
        ("diag rules state horn/silent-al", ["horn/silent-alone"]),
        ("diag rules state horn/silent-alone te", ["tested"]),
        ("diag rules add --template oil", ["oil-warning"]),
        ("diag rules check --only unknown-circ", ["unknown-circuit"]),
        ("diag start --instruments test-lamp,me", ["test-lamp,meter"]),
        ("diag settings vie", ["view"]),
        ("diag settings view li", ["lines"]),
        ("diag start --print b", ["big"]),
        ("diag serve --vehicle demo-va", ["demo-van.yaml"]),
        ("diag completion ", ["bash", "zsh", "fish"]),
    ],
)
def test_what_is_offered(line: str, among: list[str]) -> None:
    """Each sort of name, from where it is kept."""
    assert offered(line) == among


def test_the_vehicle_in_the_line_decides_which_faults_are_offered() -> None:
    """A motorcycle has no brushes of a wiper motor, and an option may come before or after."""
    assert offered("diag demo --vehicle demo-motorcycle.yaml --fault wiper-mo") == []
    assert offered("diag vehicle show demo-sports-car.yaml --fault wiper-mo") != []


def test_jobs_are_offered_newest_first_and_those_put_away_only_to_be_brought_back() -> None:
    """What was put away is out of the way here too."""
    for name in ("2026-01-01-080000-van", "2026-02-01-080000-van"):
        a_job(name)
    assert CliRunner().invoke(main, ["jobs", "--put-away", "2026-01"]).exit_code == 0
    assert offered("diag resume ") == ["2026-02-01-080000-van"]
    assert offered("diag export 2026") == ["2026-02-01-080000-van"]
    assert offered("diag jobs --bring-back ") == ["2026-01-01-080000-van"]


def test_nothing_is_solved_for_a_list_of_faults(monkeypatch: pytest.MonkeyPatch) -> None:
    """Twenty seconds after a press of Tab nobody waits any more."""

    def solved(*_: object, **__: object) -> None:
        raise AssertionError("the network was solved")

    monkeypatch.setattr(Predictor, "_prepare", solved)
    assert len(offered("diag demo --fault fuse-")) > 10


def test_a_broken_file_offers_nothing_and_says_nothing(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A message in the middle of a half-typed line helps nobody."""
    broken = tmp_path / "van.yaml"
    broken.write_text("vehicle: [\n", encoding="utf-8")
    for line in (f"diag demo --vehicle {broken} --fault fu", f"diag vehicle show {broken} --circuit h"):
        assert offered(line) == []
    (home() / "jobs").write_text("x")
    assert offered("diag resume ") == []
    assert capsys.readouterr() == ("", "")


# ---------------------------------------------------------------- real shells


def _environment(tmp_path: Path) -> dict[str, str]:
    """A `diag` on the path, as an installed one is."""
    command = tmp_path / "diag"
    command.write_text(f'#!/bin/sh\nexec "{sys.executable}" -m diag "$@"\n', encoding="utf-8")
    command.chmod(0o755)
    return {**os.environ, "PATH": f"{tmp_path}:{os.environ['PATH']}", "PYTHONPATH": str(ROOT)}


def _shell(*command: str, tmp_path: Path) -> str:
    found = subprocess.run(
        list(command),
        capture_output=True,
        text=True,
        env=_environment(tmp_path),
        cwd=tmp_path,
        timeout=120,
        check=False,
    )
    assert found.stderr == ""
    return found.stdout


@pytest.mark.skipif(shutil.which("bash") is None, reason="there is no bash here")
def test_bash_completes_what_is_typed(tmp_path: Path) -> None:
    """The script as it is printed, in a bash of its own; bash hands `turn=l` over in three words."""
    script = CliRunner().invoke(main, ["completion", "bash"]).output
    text = _shell(
        "bash",
        "--norc",
        "-c",
        script
        + """
complete -p diag
try() { COMP_WORDS=("$@"); COMP_CWORD=$(($# - 1)); COMPREPLY=(); _diag_completion diag; echo "${COMPREPLY[*]}"; }
try diag pla
try diag vehicle show --operate turn = l
""",
        tmp_path=tmp_path,
    )
    first, verbs, position = text.splitlines()
    assert first == "complete -o nosort -F _diag_completion diag"
    assert (verbs, position) == ("places", "left")


@pytest.mark.skipif(shutil.which("fish") is None, reason="there is no fish here")
def test_fish_completes_what_is_typed(tmp_path: Path) -> None:
    """With the purpose beside the name."""
    script = "diag completion fish | source; complete -C 'diag pla'; complete -C 'diag vehicle show --circuit hor'"
    places, horn = _shell("fish", "-N", "-c", script, tmp_path=tmp_path).splitlines()
    assert places.startswith("places\t")
    assert horn.startswith("horn\t")


@pytest.mark.skipif(shutil.which("zsh") is None, reason="there is no zsh here")
def test_zsh_takes_the_script(tmp_path: Path) -> None:
    """It is bound to the command once zsh's own completion is on."""
    script = 'autoload -Uz compinit; compinit -D; eval "$(diag completion zsh)"; echo ${_comps[diag]}'
    assert _shell("zsh", "-fc", script, tmp_path=tmp_path) == "_diag_completion\n"
