"""What must hold whatever the fault: Kirchhoff's current law, one answer by either way of solving,
and no answer changed by leaving out what cannot matter.
"""

from __future__ import annotations

import random

import numpy as np
import pytest

from diag.circuit import observe
from diag.circuit.behaviour import Shown
from diag.circuit.network import LEAK_S, Change, Network
from diag.circuit.predict import Predictor
from diag.circuit.reach import Reach
from diag.circuit.solve import Solution, Variants
from tests.circuit.bench import filament_a, led_a
from tests.circuit.demo import CHARGING, HAZARD, HORN, KEY, LEFT, REST, SIDE, STOP, Demo, Operate

_SIX: tuple[Operate, ...] = (LEFT, HAZARD, STOP, SIDE, HORN, CHARGING)
_UNPLUGGED: Operate = {**KEY, "unplugged": "oil-sender.G"}
_BATTERY_OFF: Operate = {"battery": "disconnected"}
_MILLIVOLT = 1e-3
"""Floating terminals stray by a tenth of it through a 10 megohm meter; no finding shows that."""


def _changes(demo: Demo) -> list[Change]:
    return [Change(), *(cause.change for cause in demo.predictor.causes if cause.change is not None)]


def _solved(demo: Demo, operate: Operate, changes: list[Change], *, dense: bool = False) -> tuple[Variants, Solution]:
    bench = demo.predictor.bench
    variants = bench.variants(operate, changes)
    return variants, bench._solver.solve(variants, dense=dense)


def test_the_demo_vehicle_has_at_least_150_causes(demo: Demo) -> None:
    """Causes come from parts and wires by kind; a slip in the derivation shows as a fall in their number."""
    causes = demo.predictor.causes
    print(f"{len(causes)} causes, {sum(c.change is not None for c in causes)} of them electrical")
    assert len(causes) >= 150
    assert len({cause.id for cause in causes}) == len(causes)
    assert sum(cause.change is not None for cause in causes) >= 150


@pytest.mark.parametrize("operate", _SIX, ids=str)
def test_sparse_and_dense_solutions_agree_for_every_cause(demo: Demo, operate: Operate) -> None:
    """The fast way must give what plain matrix inversion gives, to 0.01 mV at every node."""
    changes = _changes(demo)
    _, fast = _solved(demo, operate, changes)
    _, plain = _solved(demo, operate, changes, dense=True)
    np.testing.assert_allclose(fast.volts, plain.volts, atol=1e-5)
    np.testing.assert_allclose(fast.lamp_v, plain.lamp_v, atol=1e-5)
    np.testing.assert_allclose(fast.source_a, plain.source_a, atol=1e-3)
    np.testing.assert_allclose(
        fast.inner_ohm, plain.inner_ohm, rtol=1e-4, atol=0.05
    )  # swapped wires cost digits, far below any meter


@pytest.mark.parametrize("operate", [LEFT, {**STOP, **SIDE}, CHARGING, _UNPLUGGED], ids=str)
def test_currents_into_every_node_add_up_to_nothing(demo: Demo, operate: Operate) -> None:
    """Kirchhoff's current law at every node but body, for eighty random causes and pairs of causes."""
    chance = random.Random(20)
    singles = [cause.change for cause in demo.predictor.causes if cause.change is not None]
    changes = chance.sample(singles, 60)
    changes += [chance.choice(singles).merged(chance.choice(singles)) for _ in range(20)]
    variants, found = _solved(demo, operate, [Change(), *changes])
    net = demo.network
    for row in range(len(found.volts)):
        sums = _sums(net, variants, found, row)
        worst = int(np.abs(sums[1:]).argmax()) + 1
        assert abs(sums[worst]) < 1e-6, f"row {row}: {sums[worst]:g} A too much at {net.nodes[worst]}"


def _sums(net: Network, variants: Variants, found: Solution, row: int) -> np.ndarray:
    volts = found.volts[row]
    sums: np.ndarray = LEAK_S * volts
    for branch, siemens in enumerate(variants.branch_s[row]):
        a, b = variants.ends[row, branch]
        amps = siemens * (volts[a] - volts[b])
        sums[a] += amps
        sums[b] -= amps
    for k, siemens in enumerate(variants.extra_s[row]):
        a, b = variants.extra[row, k]
        amps = siemens * (volts[a] - volts[b])
        sums[a] += amps
        sums[b] -= amps
    for i, lamp in enumerate(net.filaments):
        across, share, way = volts[lamp.a] - volts[lamp.b], variants.scale[row, i], variants.led[row, i]
        if way:
            amps = led_a(across, lamp.test_v, share * lamp.test_w / lamp.test_v, way) if share else 0.0
        else:
            amps = share * filament_a(across, lamp.test_v, lamp.test_w)
        sums[lamp.a] += amps
        sums[lamp.b] -= amps
    for i, source in enumerate(net.sources):
        amps = variants.source_s[row, i] * (variants.emf_v[row, i] - volts[source.a] + volts[source.b])
        sums[source.a] -= amps
        sums[source.b] += amps
    return sums


@pytest.mark.parametrize("operate", [REST, KEY, LEFT, HAZARD, SIDE, HORN, _UNPLUGGED, CHARGING, _BATTERY_OFF], ids=str)
def test_leaving_out_what_cannot_matter_changes_no_answer(
    demo: Demo, operate: Operate, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two thirds of all points are not computed; forced to compute them, every finding stays the same."""
    quick = Predictor(demo.knowledge, []).shown(operate)
    with monkeypatch.context() as patch:
        patch.setattr(Reach, "touched", lambda self, *given, **more: np.ones(self._count, dtype=bool))
        full = Predictor(demo.knowledge, []).shown(operate)
    for name in ("volts", "off_volts", "branch_a", "flasher", "buzzing", "lamp_on_v", "lamp_off_v"):
        fed = _fed(full) if name.startswith("lamp") else 1.0  # the volts across a lamp that is not there say nothing
        np.testing.assert_allclose(
            getattr(quick, name) * fed, getattr(full, name) * fed, atol=_MILLIVOLT, err_msg=f"{name} under {operate}"
        )
    spread, limits = np.zeros(len(full.volts)), dict(demo.knowledge.vocabulary.light_limits)
    volts = demo.knowledge.vehicle.system_v
    for lamp in demo.lamps:
        words = [observe.lamp_looks(shown, demo.network, lamp, spread, limits) for shown in (quick, full)]
        np.testing.assert_allclose(words[0], words[1], atol=1e-4, err_msg=lamp)
    for terminal in demo.knowledge.terminals:
        words = [
            observe.test_lamp_looks(shown, demo.network, terminal, spread, limits, volts) for shown in (quick, full)
        ]
        np.testing.assert_allclose(words[0], words[1], atol=1e-4, err_msg=f"test lamp at {terminal}")


def _fed(shown: Shown) -> np.ndarray:
    return (shown.scale > 0).astype(float)


def test_ohms_change_wherever_a_path_changes(demo: Demo) -> None:
    """With the battery off nothing flows, so nothing may be left out by its current: ohms see every open wire."""
    assert demo.ohms("cluster-left.31", _BATTERY_OFF) < 0.1
    lost = demo.ohms("cluster-left.31", _BATTERY_OFF, "earth-rear-left.open")
    assert 0.3 < lost < 5.0, "what is left are the cold filaments of the left rear lamps"
    assert demo.ohms("cluster-left.31", _BATTERY_OFF, "earth-rear-left.resistive") == pytest.approx(
        1 / (1 / 2.0 + 1 / lost), rel=0.1
    ), "two ohms beside the filaments"


def test_an_open_is_no_small_conductance(demo: Demo) -> None:
    """Behind a wire that is off a meter reads millivolts, not a share of the battery's volts."""
    assert abs(demo.volts("stop-joint.in", STOP, "stop-wire.open")) < 1e-3
    assert demo.volts("pedal-switch.54", STOP, "stop-wire.open") > 12.3
