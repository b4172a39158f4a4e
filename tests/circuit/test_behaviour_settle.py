"""What settling gives: arrays that solve to what is shown, in both phases, with wires where a fault put them."""

from __future__ import annotations

import numpy as np
import pytest

from diag.circuit.network import Change
from diag.circuit.solve import Solver
from tests.circuit.demo import CHARGING, HAZARD, KEY, LEFT, REST, STOP, Demo, Operate
from tests.circuit.loom import Loom, Tried, flashers


@pytest.mark.parametrize("operate", [REST, KEY, LEFT, HAZARD, STOP, CHARGING], ids=str)
def test_settled_arrays_solve_to_what_is_shown(demo: Demo, operate: Operate) -> None:
    """Whoever measures between two points, or writes the network down, works on just what the lamps showed."""
    changes = [Change(), *(cause.change for cause in demo.predictor.causes[::7] if cause.change is not None)]
    bench = demo.predictor.bench
    settled = bench.settle(operate, changes)
    shown, gone = bench.operate(operate, changes)
    solver = Solver(demo.network)
    for variants, solution, volts in (
        (settled.closed, settled.closed_solution, shown.volts),
        (settled.open, settled.open_solution, shown.off_volts),
    ):
        again = solver.solve(variants)
        np.testing.assert_allclose(again.volts, solution.volts, atol=1e-5)
        np.testing.assert_allclose(solution.volts, volts, atol=1e-9)
    assert list(settled.blown) == gone


def test_a_blown_fuse_is_open_in_both_phases(demo: Demo) -> None:
    """What melted while the contact was closed is gone when it opens."""
    row = next(c for c in demo.predictor.causes if c.id == "turn-key-feed.to-body")
    assert row.change is not None
    settled = demo.predictor.bench.settle(LEFT, [row.change])
    (gone,) = settled.blown
    assert {demo.network.branches[i].id for i in gone} == {"fuse-turn"}
    fuse = demo.network.branch("fuse-turn")
    assert settled.closed.branch_s[0, fuse] == settled.open.branch_s[0, fuse] == 0.0


def test_the_phases_differ_in_the_contact_and_only_where_it_works(demo: Demo) -> None:
    """A unit without feed never closes: there is one state, and both phases are it."""
    net = demo.network
    contact = net.branch("flasher-unit:contact")
    healthy = demo.predictor.bench.settle(LEFT, [Change()])
    assert healthy.closed.branch_s[0, contact] > 0 == healthy.open.branch_s[0, contact]
    dead = Change(added_ohm={net.branch("fuse-turn"): np.inf})
    idle = demo.predictor.bench.settle(LEFT, [dead])
    np.testing.assert_array_equal(idle.closed.branch_s, idle.open.branch_s)
    assert idle.closed.branch_s[0, contact] == 0.0


# ---------------------------------------------------------------- wires on other terminals


def _two_lamps() -> Tried:
    loom = Loom()
    loom.battery("plus")
    loom.link("switch:58", "plus", "switch.58", 0.01, "contact", "lights=side/head")
    loom.link("switch:56", "plus", "switch.56", 0.01, "contact", "lights=head")
    loom.wire("side-wire", "switch.58", "side")
    loom.wire("head-wire", "switch.56", "head")
    loom.lamp("side-lamp", "side", "body", 5.0)
    loom.lamp("head-lamp", "head", "body", 45.0)
    return loom.tried({"lights": "off"})


def _side_on_56(tried: Tried) -> Change:
    net = tried.network
    return Change(moved={net.branch("side-wire"): (net.node("switch.56"), net.node("side"))})


def test_a_wire_on_another_terminal_follows_that_terminal() -> None:
    """The side lamp comes on with the headlamps only."""
    tried = _two_lamps()
    moved = _side_on_56(tried)
    side, head = {"lights": "side"}, {"lights": "head"}
    assert tried.lamp_v("side-lamp", side) > 12.0 > 0.1 > abs(tried.lamp_v("side-lamp", side, moved))
    assert tried.lamp_v("side-lamp", head, moved) > 12.0
    assert tried.amps("side-wire", head, moved) > 0.3


def test_taking_the_wires_off_a_terminal_takes_the_misplaced_one_too() -> None:
    """It hangs where it was put, not where it belongs."""
    tried = _two_lamps()
    moved = _side_on_56(tried)
    off_56, off_58 = ({"lights": "head", "unplugged": f"switch.{name}"} for name in ("56", "58"))
    assert abs(tried.lamp_v("side-lamp", off_56, moved)) < 0.1
    assert abs(tried.lamp_v("head-lamp", off_56, moved)) < 0.1
    assert tried.lamp_v("side-lamp", off_58, moved) > 12.0
    assert abs(tried.lamp_v("side-lamp", off_58)) < 0.1


def test_a_relay_on_the_flashing_side_moves_with_the_flasher() -> None:
    """A trailer relay worked by the turn line: its contact is in with the lamps and out between them."""
    loom = Loom()
    loom.battery("plus")
    loom.wire("feed", "plus", "unit.49", 0.02)
    loom.flasher()
    loom.wire("unit-earth", "unit.31", "body")
    loom.lamp("tell-tale", "unit.C", "body", 2.0)
    loom.wire("side", "unit.49a", "L")
    for name in ("front", "rear"):
        loom.lamp(name, "L", "body", 25.0)
    loom.relay("trailer", ("L", "body"), make=("plus", "trailer-L"))
    loom.lamp("trailer-lamp", "trailer-L", "body", 25.0)
    tried = loom.tried(flashers=flashers(3.5))
    shown = tried.shown()
    lamp = tried.network.filament("trailer-lamp")
    assert shown.lamp_on_v[0, lamp] > 11.5
    assert abs(shown.lamp_off_v[0, lamp]) < 0.05
    assert shown.flasher[0, 3] > 0.95
