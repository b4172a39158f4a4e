"""Copper, fusing currents and fuses against published tables, copied here a second time."""

from __future__ import annotations

import math

import numpy as np
import pytest

from diag.calc.copper import CLASS_5_OHM_PER_M, wire_ohm
from diag.calc.melting import burns_a
from diag.circuit.behaviour import Bench
from diag.circuit.network import Branch, Change, Network, Source
from diag.knowledge.schema import FusePart
from tests.circuit.demo import Demo

_IEC_60228_CLASS_5_PLAIN = {
    0.5: 39.0, 0.75: 26.0, 1.0: 19.5, 1.5: 13.3, 2.5: 7.98, 4.0: 4.95, 6.0: 3.30,
    10.0: 1.91, 16.0: 1.21, 25.0: 0.780, 35.0: 0.554, 50.0: 0.386, 70.0: 0.272,
}  # fmt: skip
"""mm² to milliohm a metre at 20 °C, plain copper. Source: IEC 60228, class 5."""

_RHO_OHM_MM2_PER_M = 0.017241
"""Annealed copper at 20 °C. Source: IEC 60028."""

_ALLOWED_A = {1.0: 10, 1.5: 15, 2.5: 25, 4.0: 40, 6.0: 36, 10.0: 60, 16.0: 96, 25.0: 100}
"""Continuous amps by section, 10 A/mm² falling to 4. Source: common practice, no source."""

_TORPEDO_A = {5, 8, 16, 25, 40}
_BLADE_A = {1, 2, 3, 4, 5, 7.5, 10, 15, 20, 25, 30, 35, 40}
"""Ratings that exist. Source: DIN 72581 (torpedo; from memory), ISO 8820-3 (blade)."""


@pytest.mark.parametrize("section", sorted(_IEC_60228_CLASS_5_PLAIN))
def test_wire_resistance_is_the_published_one(section: float) -> None:
    """Every predicted drop rests on this table."""
    assert 1000 * CLASS_5_OHM_PER_M[section] == pytest.approx(_IEC_60228_CLASS_5_PLAIN[section], rel=1e-12)
    assert 1000 * wire_ohm(section, 1.0) == pytest.approx(_IEC_60228_CLASS_5_PLAIN[section], rel=1e-9)
    assert wire_ohm(section, 7.3) == pytest.approx(7.3 * wire_ohm(section, 1.0), rel=1e-12)


def test_no_section_is_missing_or_added() -> None:
    """A section of the standard that is not in the table would be interpolated without anybody noticing."""
    assert set(CLASS_5_OHM_PER_M) == set(_IEC_60228_CLASS_5_PLAIN)


@pytest.mark.parametrize("section", [0.6, 0.9, 1.2, 2.0, 3.0, 5.0, 8.0, 20.0, 60.0])
def test_sections_between_the_standard_ones_lie_where_copper_puts_them(section: float) -> None:
    """Class 5 lies above solid copper by its stranding and by the maximum's margin (1.02 to 1.16)."""
    solid = _RHO_OHM_MM2_PER_M / section
    assert 1.02 < wire_ohm(section, 1.0) / solid < 1.16


@pytest.mark.parametrize(("temperature_c", "factor"), [(20.0, 1.0), (60.0, 1.1572), (-10.0, 0.8821), (80.0, 1.2358)])
def test_copper_warms_as_published(temperature_c: float, factor: float) -> None:
    """0.00393 per kelvin at 20 °C (IEC 60028, from memory); 1.5 mm² at 60 °C has 15.4 milliohm a metre."""
    assert wire_ohm(1.5, 1.0, temperature_c) / wire_ohm(1.5, 1.0) == pytest.approx(factor, abs=1e-4)
    assert 1000 * wire_ohm(1.5, 1.0, 60.0) == pytest.approx(15.4, abs=0.05)


@pytest.mark.parametrize("section", [0.0, -1.0])
def test_no_section_no_resistance(section: float) -> None:
    with pytest.raises(ValueError, match="above zero"):
        wire_ohm(section, 1.0)


def _one_wire(amps: float, section: float | None, fuse_a: float | None) -> frozenset[int]:
    """What burns or blows when a battery drives that current through one fuse and one wire."""
    net = Network(
        ("body", "plus", "between", "end"),
        (
            Branch("fuse", 1, 2, 1e-4, "fuse"),
            Branch("wire", 2, 3, 1e-4, "wire"),
            Branch("load", 3, 0, 12.0 / amps - 3e-4),
        ),
        (),
        (Source("battery", 1, 0, 12.0, 1e-4, "battery"),),
    )
    fuses = {} if fuse_a is None else {"fuse": fuse_a}
    wires = {} if section is None else {"wire": section}
    bench = Bench(net, {}, fuses, wires, {}, {})
    _, gone = bench.operate({}, [Change()])
    return gone[0]


@pytest.mark.parametrize("section", [0.75, 1.5, 6.0])
def test_wires_burn_at_preeces_current(section: float) -> None:
    """I = 80·d^1.5 for bare copper in free air, d in mm (Preece's law)."""
    limit = 80.0 * (2.0 * math.sqrt(section / math.pi)) ** 1.5
    assert _one_wire(0.99 * limit, section, None) == frozenset()
    assert _one_wire(1.01 * limit, section, None) == frozenset({1})


def test_fuses_of_the_demo_vehicle_are_of_a_rating_that_exists(demo: Demo) -> None:
    """Torpedo fuses come in few sizes; a rating between them is a slip of the pen."""
    for name, part in demo.knowledge.parts.items():
        if isinstance(part, FusePart):
            assert part.rating_a in {"torpedo": _TORPEDO_A, "blade": _BLADE_A}[part.link], name


def test_every_fused_wire_of_the_demo_vehicle_outlasts_its_fuse(demo: Demo) -> None:
    """The fuse must be the weakest: 200 % of its rating lies far below the fusing current of every wire behind it.

    Preece's law and the 200 % point of ISO 8820-3.
    """
    fuses = [part.rating_a for part in demo.knowledge.parts.values() if isinstance(part, FusePart)]
    for name, wire in demo.knowledge.wires.items():
        assert burns_a(wire.section_mm2) > 2.0 * max(fuses), name


def test_no_healthy_wire_of_the_demo_vehicle_carries_more_than_it_may(demo: Demo) -> None:
    """Continuous amps by section; smaller wires than 1 mm² take 10 A/mm² too (common practice, no source)."""
    sections = np.array(sorted(_ALLOWED_A))
    for operate in ({"hazard": "on", "lights": "side"}, {"ignition": "on", "engine": "running", "lights": "head"}):
        for name, wire in demo.knowledge.wires.items():
            fits = sections[sections <= wire.section_mm2]
            allowed = _ALLOWED_A[float(fits.max())] if len(fits) else 10.0 * wire.section_mm2
            assert abs(demo.amps(name, operate)) <= allowed, f"{name} under {operate}"
