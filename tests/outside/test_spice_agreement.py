"""Every electrical state behind the predictions, solved a second time by an independent simulator.

source: ngspice, a general circuit simulator that shares no code and no method with ours. It runs with
reltol 1e-9, vntol 1e-6 V, abstol 1e-12 A and gmin 1e-18 S, so that its own error is far below the
millivolt asked for. States equal to the last bit are solved once; none is left out.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from diag.circuit import observe
from diag.circuit.behaviour import Shown
from diag.circuit.netlist import About, write_netlist
from diag.circuit.network import Change, Floats, Network
from diag.circuit.predict import Predictor
from diag.knowledge.assemble import operate_key
from diag.knowledge.load import load_knowledge
from diag.reason.operates import step_operates
from tests.circuit.demo import LEFT, Demo
from tests.circuit.generated import generated_vehicle
from tests.circuit.settled import States, settled_states
from tests.circuit.spice import Gathered, needs_ngspice, run, spice_volts
from tests.reasoners import file_of

pytestmark = needs_ngspice
_MILLIVOLT = 1e-3
_ENGINE = ("supply", "starting", "ignition", "charge-warning", "horn")


def _agree(states: States, spice: Floats, names: Sequence[str]) -> None:
    """All node voltages within a millivolt; the failure names the worst state and terminal."""
    worst, where = 0.0, ""
    for state in states.found:
        away, place = _furthest(
            state.volts, spice[state.place], states.gathered.network, [names[r] for r in state.rows]
        )
        if away > worst:
            worst, where = away, f"{place}, {dict(state.operate)}, flasher contact {state.phase}"
    print(f"{states.points} states, {len(states.gathered)} different; {worst:.2g} V apart at most, at {where}")
    assert worst < _MILLIVOLT, f"{worst:.6f} V apart at {where}"


def _furthest(ours: Floats, spice: Floats, network: Network, names: Sequence[str]) -> tuple[float, str]:
    """Volts of the largest difference, and the terminal and row where it is."""
    away = np.abs(ours - spice)
    row, node = np.unravel_index(int(away.argmax()), away.shape)
    return float(away[row, node]), f"{network.nodes[node]}, {names[row]}"


def test_every_state_of_every_fifth_cause_agrees_with_the_simulator(demo: Demo) -> None:
    """What the program claims of volts, lamps and words is only worth what its solution of the circuit is:
    node voltages of every fifth cause under every operate of its checks within a millivolt, then the table of
    predictions made from them, then what each lamp is said to show."""
    predictor = demo.predictor
    operates = step_operates(demo.knowledge)
    rows = [0, *range(1, 1 + len(predictor.causes), 5)]
    causes = [predictor.causes[row - 1] for row in rows[1:]]
    changes = [Change(), *(cause.change or Change() for cause in causes)]
    names = ["healthy", *(cause.id for cause in causes)]
    states = settled_states(predictor.bench, operates, changes)
    assert states.points >= 2 * len(operates) * len(changes)
    spice = spice_volts(states.gathered)
    _agree(states, spice, names)
    for operate in operates:
        closed, opened = (spice[states.last[operate_key(operate), phase]] for phase in ("closed", "open"))
        shown = predictor.shown(operate).rows(rows)
        for kept, solved in ((shown.volts, closed), (shown.off_volts, opened)):
            away, where = _furthest(kept, solved, predictor.network, names)
            assert away < _MILLIVOLT, f"the table is {away:.6f} V away at {where}, {operate}"
        same = _words(predictor, shown) == _words(predictor, _with_lamps(predictor, shown, closed, opened))
        wrong = [f"{predictor.network.filaments[i].id}, {names[row]}" for row, i in np.argwhere(~same)]
        assert not wrong, f"called otherwise under {operate}: {wrong}"


def _with_lamps(predictor: Predictor, shown: Shown, closed: Floats, opened: Floats) -> Shown:
    """What is shown, with the lamps' volts of both phases taken from node voltages."""
    lamps = predictor.network.filaments
    on, off = (np.stack([volts[:, lamp.a] - volts[:, lamp.b] for lamp in lamps], axis=1) for volts in (closed, opened))
    return replace(shown, volts=closed, off_volts=opened, lamp_on_v=on, lamp_off_v=off)


def _words(predictor: Predictor, shown: Shown) -> np.ndarray:
    """(rows, lamps) number of the likeliest light and rhythm of each lamp."""
    limits, spread = dict(predictor.knowledge.vocabulary.light_limits), np.zeros(len(shown.volts))
    looks = [
        observe.lamp_looks(shown, predictor.network, lamp.id, spread, limits).argmax(axis=1)
        for lamp in predictor.network.filaments
    ]
    return np.stack(looks, axis=1)


def test_every_state_of_a_generated_vehicle_of_500_wires_agrees_with_the_simulator() -> None:
    """A vehicle nobody tuned the solver for: relays with diodes across their coils, two-filament lamps, LEDs,
    reversed diodes and a reversed battery, wires on wrong terminals and wires that touch."""
    vehicle = generated_vehicle(500, seed=20)
    assert len(vehicle.section_mm2) >= 500
    faults = dict(list(vehicle.faults.items())[::4])
    states = settled_states(vehicle.bench(), vehicle.operates, [Change(), *faults.values()])
    _agree(states, spice_volts(states.gathered), ["healthy", *faults])
    net = vehicle.network
    lit = {node for state in states.found for node in np.nonzero(np.abs(state.volts[0]) > 5.0)[0].tolist()}
    assert len(lit) > len(net.nodes) / 4, "a vehicle with everything off would agree with anything"


def test_every_cause_as_a_file_of_its_own_loads_and_agrees(demo: Demo, tmp_path: Path) -> None:
    """What a person gets is one file, with what does not conduct left out; the simulator prints seven digits."""
    causes = [cause for cause in demo.predictor.causes if cause.change is not None]
    settled = demo.predictor.bench.settle(LEFT, [Change(), *(c.change for c in causes if c.change is not None)])
    gathered = Gathered(demo.network)
    files: dict[int, tuple[str, tuple[str, ...], Floats]] = {}
    for phase, variants, volts in (
        ("closed", settled.closed, settled.closed_solution.volts),
        ("open", settled.open, settled.open_solution.volts),
    ):
        for row, place in enumerate(gathered.add(variants).tolist()):
            if place not in files:
                about = About(demo.knowledge.vehicle.title, causes[row - 1].id if row else "none", LEFT, phase)
                found = write_netlist(demo.network, variants, about, row)
                files[place] = (found.text, found.nodes, volts[row])
    assert len(files) > 400

    def apart(place: int) -> float:
        text, nodes, ours = files[place]
        folder = tmp_path / str(place)
        folder.mkdir()
        table = dict(re.findall(r"^\t(\w+) +(-?\d\S*)$", run(text, folder).stdout, re.MULTILINE))
        return max(abs(float(table[name]) - ours[i]) for i, name in enumerate(nodes) if i)

    with ThreadPoolExecutor(2) as pool:
        worst = max(pool.map(apart, files))
    assert worst < _MILLIVOLT


@pytest.mark.parametrize("vehicle", ["demo-van.yaml", "demo-sports-car.yaml", "demo-motorcycle.yaml"])
def test_every_cause_of_the_other_vehicles_agrees_with_the_simulator(vehicle: str) -> None:
    """Starter and its strap, ballast, field on D+, alternator, horn relay, 6 V and positive earth: under every operate
    in which something is looked at or listened to. The circuits of lamps are gone through on the pickup."""
    knowledge = load_knowledge(file_of(vehicle))
    predictor = Predictor(knowledge, [])
    causes = [cause for cause in predictor.causes if knowledge.circuit_of[cause.subject] in _ENGINE]
    watched = {
        operate_key(check.operate): dict(check.operate)
        for check in knowledge.checks.values()
        if check.kind in ("look", "listen") and knowledge.circuit_of[check.id] in _ENGINE
    }
    changes = [Change(), *(cause.change or Change() for cause in causes)]
    states = settled_states(predictor.bench, list(watched.values()), changes)
    _agree(states, spice_volts(states.gathered), ["healthy", *(cause.id for cause in causes)])
