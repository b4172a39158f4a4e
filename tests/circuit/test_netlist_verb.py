"""`diag vehicle netlist` from outside: what it writes is what the program predicts, and wrong words are told.

source of all expectations: common practice, no source
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from diag.cli import main
from tests.circuit.demo import LEFT, Demo
from tests.circuit.spice import needs_ngspice, run

_TURN = ("--operate", "ignition=on", "--operate", "turn=left")


def _netlist(*arguments: str) -> Result:
    return CliRunner().invoke(main, ["vehicle", "netlist", *arguments])


def _volts(path: Path) -> dict[str, float]:
    """Terminal to volts, by ngspice and the table of names in the file."""
    names = dict(re.findall(r"^\*   (\S+) = (.+)$", path.read_text(encoding="ascii"), re.MULTILINE))
    done = run(path.read_text(encoding="ascii"), path.parent, "as-it-is.cir")
    found = re.findall(r"^\t(\w+) +(-?\d\S*)$", done.stdout, re.MULTILINE)
    return {names[name]: float(volts) for name, volts in found}


@needs_ngspice
def test_the_file_gives_the_volts_that_the_program_predicts(demo: Demo, tmp_path: Path) -> None:
    """One who doubts a prediction takes the file to another program and must find the same."""
    path = tmp_path / "turn.cir"
    result = _netlist(*_TURN, "--fault", "earth-rear-left.open", "--out", str(path))
    assert result.exit_code == 0 and str(path) in result.output
    for terminal, volts in _volts(path).items():
        if demo.network.has(terminal):
            assert volts == pytest.approx(demo.volts(terminal, LEFT, "earth-rear-left.open"), abs=1e-3), terminal


@needs_ngspice
def test_the_open_phase_has_the_lamps_out(tmp_path: Path) -> None:
    """The flasher unit has two states, and a netlist holds one of them."""
    volts = {}
    for phase in ("closed", "open"):
        path = tmp_path / f"{phase}.cir"
        assert _netlist(*_TURN, "--phase", phase, "--out", str(path)).exit_code == 0
        volts[phase] = _volts(path)["turn-lamp-rear-left.L"]
    assert volts["closed"] > 10.0
    assert abs(volts["open"]) < 0.1


def test_a_blown_fuse_is_open_and_named() -> None:
    """A state after everything has reacted: the fuse of a shorted line is gone."""
    healthy = _netlist("--operate", "lights=side").output
    shorted = _netlist("--operate", "lights=side", "--fault", "tail-wire.to-body").output
    assert "Rfuse_tail " in healthy and "Rfuse_tail " not in shorted
    assert "* Blown or burnt while operating: fuse-tail\n" in shorted


def test_several_faults_stand_in_one_file() -> None:
    """Real vehicles have more than one."""
    text = _netlist("--fault", "tail-wire.open,stop-wire.open").output
    assert "Rtail_wire " not in text and "Rstop_wire " not in text
    assert "tail-wire.open" in text.splitlines()[0] and "stop-wire.open" in text.splitlines()[0]


def test_the_comments_say_what_it_is_and_how_to_run_it() -> None:
    """A file that is found a year later must speak for itself."""
    text = _netlist(*_TURN, "--fault", "stop-wire.open").output
    comments = [line for line in text.splitlines() if line.startswith("* ")]
    for word in ("Demo pickup", "stop-wire.open", "ignition on, turn left", "closed", "diag ", "ngspice -b FILE"):
        assert any(word in line for line in comments), word
    assert text.rstrip().endswith(".end")


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("--fault", "stop-wire.opn"), "stop-wire.open"),
        (("--operate", "turn=lft"), "left"),
        (("--operate", "trn=left"), "turn"),
        (("--operate", "unplugged=horn.99"), "horn."),
        (("--phase", "half"), "open"),
        (("nowhere.yaml",), "there is no such file"),
    ],
)
def test_wrong_words_are_told_with_what_was_expected(arguments: tuple[str, ...], says: str) -> None:
    """Found, expected, how to mend; and no half a file."""
    result = _netlist(*arguments)
    assert result.exit_code == 2
    assert says in result.output
    assert "Traceback" not in result.output and ".end" not in result.output
