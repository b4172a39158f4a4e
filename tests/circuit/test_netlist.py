"""A netlist must say what the network says, load as it is, and carry nothing that its author did not put in.

Expected volts are worked out on paper; ngspice and our own solver must both find them.
"""

from __future__ import annotations

import math
import re
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq  # type: ignore[import-untyped]

from diag.calc.copper import wire_ohm
from diag.circuit.netlist import About, Names, write_netlist
from diag.circuit.network import Diode, Filament, Network
from diag.circuit.solve import Solver, Variants
from tests.circuit.bench import filament_a, network
from tests.circuit.spice import ABOUT, Gathered, needs_ngspice, run, spice_volts

_MILLIVOLT = 1e-3
_TERMINAL = st.from_regex(r"[a-z0-9]{1,4}(-[a-z0-9]{1,3}){0,2}\.[A-Za-z0-9+-]{1,12}", fullmatch=True)
"""`part.terminal` as the schema of knowledge files allows it."""


def _as_it_stands(net: Network, **changed: object) -> Variants:
    arrays: dict[str, object] = {
        "branch_s": np.array([[1.0 / branch.ohm for branch in net.branches]]),
        "ends": np.array([[[branch.a, branch.b] for branch in net.branches]]),
        "extra": np.zeros((1, 0, 2), dtype=int),
        "extra_s": np.zeros((1, 0)),
        "scale": np.ones((1, len(net.filaments))),
        "led": np.zeros((1, len(net.filaments))),
        "valve": np.ones((1, len(net.diodes))),
        "emf_v": np.array([[source.emf_v for source in net.sources]]),
        "source_s": np.array([[1.0 / source.ohm for source in net.sources]]),
    }
    return Variants(**{**arrays, **changed})  # type: ignore[arg-type]


def _both(net: Network, variants: Variants) -> tuple[np.ndarray, np.ndarray]:
    """Volts of the first row by ngspice and by our solver, which must agree."""
    gathered = Gathered(net)
    gathered.add(variants)
    spice, ours = spice_volts(gathered)[0], Solver(net).solve(variants).volts[0]
    np.testing.assert_allclose(ours, spice, atol=1e-6)
    return spice, ours


# ---------------------------------------------------------------- by hand


@needs_ngspice
def test_two_equal_lamps_in_series_through_a_missing_earth_halve_the_volts() -> None:
    """Both lamps of a cluster whose earth is off, fed from one side only: they are alike, so each gets half,
    whatever the law of the lamp. (By symmetry; no source needed.)"""
    net = network(
        ["body", "feed", "shared"], [], [("feed", "shared", 13.5, 25.0), ("shared", "body", 13.5, 25.0)],
        ("feed", "body", 12.6, 1e-6),
    )  # fmt: skip
    for volts in _both(net, _as_it_stands(net)):
        assert volts[2] == pytest.approx(12.6 / 2, abs=_MILLIVOLT)


@needs_ngspice
def test_a_wire_loses_what_its_section_length_and_current_say() -> None:
    """10 A through 4.5 m of 1.5 mm²: 13.3 milliohm a metre (IEC 60228 class 5, plain copper, 20 °C) make
    59.85 milliohm and lose 0.5985 V."""
    load_ohm = (12.0 - 0.5985) / 10.0
    net = network(
        ["body", "battery", "load"], [("battery", "load", wire_ohm(1.5, 4.5)), ("load", "body", load_ohm)], [],
        ("battery", "body", 12.0, 1e-5),
    )  # fmt: skip
    for volts in _both(net, _as_it_stands(net)):
        assert volts[1] - volts[2] == pytest.approx(0.5985, abs=_MILLIVOLT)


@needs_ngspice
def test_a_voltage_divider_divides() -> None:
    """Ohm's law: 12 V over 100 ohm and 50 ohm leave 4 V on the 50 ohm; a third of 1e-7 S each changes nothing
    that a meter shows. Behind 10 Mohm instead of 100 ohm the 10 Mohm leak is the lower half: 6 V."""
    net = network(
        ["body", "feed", "middle"], [("feed", "middle", 100.0), ("middle", "body", 50.0)], [],
        ("feed", "body", 12.0, 1e-6),
    )  # fmt: skip
    for volts in _both(net, _as_it_stands(net)):
        assert volts[2] == pytest.approx(4.0, abs=_MILLIVOLT)
    high = network(["body", "feed", "middle"], [("feed", "middle", 1e7)], [], ("feed", "body", 12.0, 1e-6))
    for volts in _both(high, _as_it_stands(high)):
        assert volts[2] == pytest.approx(6.0, abs=_MILLIVOLT)


@needs_ngspice
def test_a_lamp_behind_a_corroded_joint_is_a_cold_one() -> None:
    """1 kilohm before a 25 W lamp leaves it millivolts, where its law is that of a cold filament: V solves
    (12.6 - V)/1000 = I0·k·(k² + 1.6e-5)^-0.225 (solved here by bisection)."""
    net = network(
        ["body", "feed", "lamp"], [("feed", "lamp", 1000.0)], [("lamp", "body", 13.5, 25.0)],
        ("feed", "body", 12.6, 1e-6),
    )  # fmt: skip
    by_hand = brentq(lambda v: (12.6 - v) / 1000.0 - filament_a(v, 13.5, 25.0), 0.0, 1.0, xtol=1e-13)
    assert 0.005 < by_hand < 0.01
    for volts in _both(net, _as_it_stands(net)):
        assert volts[2] == pytest.approx(by_hand, rel=1e-4)


def _valves(way: float, lamp_watts: float = 25.0) -> tuple[Network, Variants]:
    """Battery, a lamp, a diode towards body behind it."""
    plain = network(["body", "feed", "anode"], [], [("feed", "anode", 13.5, lamp_watts)], ("feed", "body", 12.6, 1e-6))
    net = Network(plain.nodes, plain.branches, plain.filaments, plain.sources, (Diode("valve", 2, 0, 0.7, 0.05),))
    return net, _as_it_stands(net, valve=np.array([[way]]))


@needs_ngspice
def test_a_diode_takes_its_step_and_a_reversed_or_broken_one_takes_all() -> None:
    """Forward the lamp has 12.6 V less the diode's drop, where I = s/ohm·ln(1 + exp((V - 0.7)/s)) meets the
    lamp's law (solved here by bisection); the other way round or broken nothing flows."""

    def diode_a(volts: float) -> float:
        x = (volts - 0.7) / 0.05
        return 0.05 / 0.05 * (x + math.log1p(math.exp(-x)) if x > 0 else math.log1p(math.exp(x)))

    drop_v = brentq(lambda v: filament_a(12.6 - v, 13.5, 25.0) - diode_a(v), 0.0, 3.0, xtol=1e-13)
    for volts in _both(*_valves(1.0)):
        assert volts[2] == pytest.approx(drop_v, abs=_MILLIVOLT)
    for way in (-1.0, 0.0):
        for volts in _both(*_valves(way)):
            assert volts[2] > 12.59


@needs_ngspice
def test_an_led_in_a_lamps_place_draws_its_share_and_dark_below_half_the_volts() -> None:
    """A tenth of 25 W at 13.5 V is 0.185 A; below 55 % of the test volts it draws next to nothing; reversed
    it draws nothing at all. Two in series have 6.3 V each: dark."""
    one = network(["body", "feed", "lamp"], [("feed", "lamp", 1.0)], [("lamp", "body", 13.5, 25.0)],
                  ("feed", "body", 13.5 + 0.1852, 1e-6))  # fmt: skip
    led, scale = np.array([[1.0]]), np.array([[0.1]])
    for volts in _both(one, _as_it_stands(one, led=led, scale=scale)):
        assert volts[1] - volts[2] == pytest.approx(0.1852, abs=_MILLIVOLT)
    for volts in _both(one, _as_it_stands(one, led=-led, scale=scale)):
        assert volts[1] - volts[2] < 1e-5
    two = network(["body", "feed", "shared"], [], [("feed", "shared", 13.5, 25.0), ("shared", "body", 13.5, 25.0)],
                  ("feed", "body", 12.6, 1e-6))  # fmt: skip
    variants = _as_it_stands(two, led=np.ones((1, 2)), scale=np.full((1, 2), 0.1))
    for volts in _both(two, variants):
        assert filament_a(volts[2], 13.5, 25.0) > 1.0, "filaments would be alight"
        assert volts[2] < 0.55 * 13.5


# ---------------------------------------------------------------- as a file


def _printed(stdout: str) -> dict[str, float]:
    """Node voltages of ngspice's own table."""
    return {name: float(value) for name, value in re.findall(r"^\s*(\w+)\s+(-?\d\.\d+e[+-]\d+)\s*$", stdout, re.M)}


_HOSTILE = (
    "Pickup\n.include /etc/passwd",
    "Pickup\r\nR666 battery_bplus 0 0.001",
    "x\x0b\x0c\x1c\u2028\u2029\x85.control\nshell echo gone\n.endc",
    "# echo OBEYED",
    "*# echo OBEYED",
    ".end",
    "+ 5",
    "naïve 1,5 mm² \u0000",
    "",
)


@pytest.mark.parametrize("text", _HOSTILE, ids=range(len(_HOSTILE)))
def test_no_text_of_a_file_becomes_a_line_of_the_netlist(text: str) -> None:
    """Titles are written by strangers; an element, a directive or a command must not come out of one."""
    net = network(["body", "feed"], [], [("feed", "body", 13.5, 25.0)], ("feed", "body", 12.6, 0.04))
    plain = write_netlist(net, _as_it_stands(net), About("a", "b", {"c": "d"}, "closed")).text
    hostile = write_netlist(net, _as_it_stands(net), About(text, text, {text: text}, text)).text
    assert hostile.isascii()

    def active(deck: str) -> list[str]:
        """What a simulator obeys: all but the title and comments; `*#` is obeyed too."""
        lines = re.split(r"[\n\r\v\f\x1c-\x1e\x85\u2028\u2029]", deck)[1:]
        return [line for line in lines if not line.startswith("*") or line.startswith("*#")]

    assert active(hostile) == active(plain)
    assert hostile.splitlines()[0].startswith("diag netlist:")


@needs_ngspice
def test_a_hostile_title_is_not_obeyed(tmp_path: Path) -> None:
    """The same by the simulator itself: nothing is said that was not asked for, and the volts are the same."""
    net = network(["body", "feed"], [("feed", "body", 10.0)], [], ("feed", "body", 12.6, 0.04))
    for text in _HOSTILE:
        done = run(write_netlist(net, _as_it_stands(net), About(text, text, {text: text}, text)).text, tmp_path)
        assert "obeyed" not in [line.strip().lower() for line in done.stdout.splitlines()]
        assert _printed(done.stdout)["feed"] == pytest.approx(12.6 * 10 / 10.04, abs=_MILLIVOLT)


@given(st.lists(_TERMINAL, min_size=1, max_size=60, unique=True))
@settings(max_examples=200, deadline=None)
def test_every_terminal_name_of_the_schema_gets_a_name_of_its_own(terminals: list[str]) -> None:
    """Simulators know no difference between L and l and no plus or minus in a name; two terminals under one
    name would be joined without a wire."""
    names = Names()
    given_names = [names.give(terminal) for terminal in terminals]
    assert len({name.lower() for name in given_names}) == len(terminals)
    assert all(re.fullmatch(r"[a-z][a-z0-9_]*", name) for name in given_names)
    assert not {"0", "gnd"} & set(given_names)


def test_a_name_that_the_syntax_allows_stays() -> None:
    """A reader should find the terminal that he knows."""
    names = Names()
    assert names.give("fuse_1") == "fuse_1"
    assert names.give("flasher-unit.49a") == "flasher_unit_49a"
    assert [names.give("battery.B+"), names.give("battery.B-")] == ["battery_bplus", "battery_bminus"]
    assert names.give("gnd") != "gnd"
    assert names.give("GND") != "GND"


def test_the_table_of_names_is_whole() -> None:
    """Without it nobody can carry a result back to the vehicle."""
    net = network(
        ["body", "a-b.L", "a-b.l", "a-b.B+"], [("a-b.L", "a-b.l", 1.0)], [("a-b.l", "body", 13.5, 5.0)],
        ("a-b.B+", "body", 12.6, 0.04),
    )  # fmt: skip
    text = write_netlist(net, _as_it_stands(net), ABOUT).text
    table = dict(re.findall(r"^\*   (\S+) = (.+)$", text, re.M))
    assert {table[name] for name in table} >= {*net.nodes, "battery", *(branch.id for branch in net.branches)}
    deck = [line.split() for line in text.splitlines()[1:] if line and line[0] in "RVB"]
    used = {name for line in deck for name in line[1:3]}
    assert used <= table.keys(), "every node of an element is in the table"
    assert {line[0] for line in deck if not line[0].startswith("Rleak")} <= table.keys()


def test_what_does_not_conduct_is_left_out_and_every_node_has_its_leak() -> None:
    """An open switch as a huge resistor would read as a bad contact."""
    net = network(
        ["body", "feed", "lamp", "lost"], [("feed", "lamp", 0.1), ("feed", "lost", 0.1)], [("lamp", "body", 13.5, 5.0)],
        ("feed", "body", 12.6, 0.04),
    )  # fmt: skip
    variants = _as_it_stands(net, branch_s=np.array([[10.0, 0.0, 1.0]]), scale=np.array([[0.0]]))
    found = write_netlist(net, variants, ABOUT)
    assert found.branches[1] == "" and found.branches[0] != ""
    elements = [line for line in found.text.splitlines()[1:] if line and line[0] in "RVB"]
    assert not any(line.startswith("B") for line in elements), "no filament where the lamp is broken"
    leaks = {line.split()[1]: line.split()[2:] for line in elements if line.startswith("Rleak")}
    assert leaks == {name: ["0", "10000000"] for name in found.nodes[1:]}


def test_elements_keep_their_names_apart_from_each_other() -> None:
    """Part `a` with a contact `b` and a wire `a-b` would both be `Ra_b`."""
    plain = network(["body", "x", "y"], [("x", "y", 1.0)], [], ("x", "body", 12.0, 0.1))
    lamps = (Filament("x-y", 1, 2, 13.5, 5.0), Filament("x_y", 2, 0, 13.5, 5.0), Filament("X.Y", 2, 0, 13.5, 5.0))
    net = Network(plain.nodes, plain.branches, lamps, plain.sources)
    text = write_netlist(net, _as_it_stands(net), ABOUT).text
    names = [line.split()[0].lower() for line in text.splitlines()[1:] if line and line[0] in "RVB"]
    assert len(names) == len(set(names)) == 2 + 1 + 1 + 3 + 3
