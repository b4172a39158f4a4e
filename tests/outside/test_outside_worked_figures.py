"""Published figures and worked cases, each through the program's own formulas and solver.

Sources stand beside each check. The cases of the solver (lamps through a length of wire or a poor earth) were worked
apart from it to three figures, with a lamp's current going as volts to the power 0.55 (Fink & Beaty).
"""

from __future__ import annotations

import math

import pytest
from scipy.optimize import brentq  # type: ignore[import-untyped]

from diag.calc import filament
from diag.calc.battery import charge_from_gravity, charge_from_volts
from diag.calc.copper import CLASS_5_OHM_PER_M, copper_factor, section_for_drop, wire_ohm
from diag.calc.filament import TEST_V, burning
from diag.calc.fusing import BLOW_MARKS
from diag.calc.melting import burns_a
from diag.calc.turnlamps import flashes, lamps_a
from diag.circuit.readings import drop_limit_v
from diag.knowledge.schema import FlasherPart
from diag.knowledge.sizes import RATINGS_A, SECTIONS_MM2
from diag.knowledge.units import parse_quantity
from tests.circuit.bench import network, solve
from tests.circuit.demo import LEFT, Demo

# ---------------------------------------------------------------- copper

_ISO_6722_MOHM = {25.0: 0.743, 35.0: 0.527, 50.0: 0.368}
"""Thick vehicle cable, most milliohm a metre at 20 °C. Source: ISO 6722-1 (from memory)."""


@pytest.mark.parametrize("section", sorted(_ISO_6722_MOHM))
def test_thick_vehicle_cable_is_a_little_better_than_what_is_reckoned_with(section: float) -> None:
    assert 1.0 <= 1000 * wire_ohm(section, 1.0) / _ISO_6722_MOHM[section] < 1.08


@pytest.mark.parametrize(("number", "section", "mohm"), [(1, 42.4, 0.407), (0, 53.5, 0.322)])
def test_the_two_thickest_gauges(number: int, section: float, mohm: float) -> None:
    """d = 0.127 · 92^((36-n)/39) mm, 17.241 mohm·mm²/m. Source: ASTM B258 (from memory), IEC 60028."""
    found = parse_quantity(f"{number} AWG", "mm2")
    assert found == pytest.approx(section, rel=2e-3)
    assert 1.0 < 1000 * wire_ohm(found, 1.0) / mohm < 1.17


@pytest.mark.parametrize(("celsius", "back"), [(15.0, 1.020), (30.0, 0.962), (50.0, 0.893)])
def test_readings_are_brought_back_to_20_degrees_by_the_published_factors(celsius: float, back: float) -> None:
    """Source: a page on power conductors after IEC 60228; its factors take 0.004 a kelvin, ours 0.00393."""
    assert 1 / copper_factor(celsius) == pytest.approx(back, rel=3e-3)


@pytest.mark.parametrize("section", [s for s in SECTIONS_MM2 if s >= 1.0])
def test_class_5_lies_above_solid_copper_by_its_stranding(section: float) -> None:
    """Source: IEC 60028 for copper; 1.02 to 1.16 from a page on the classes of IEC 60228 (1.05 to 1.08 for most)."""
    ratio = 1000 * CLASS_5_OHM_PER_M[section] * section / 17.241
    assert 1.02 < ratio < 1.16


@pytest.mark.parametrize(
    ("amps", "length_m", "limit_v"), [(3.7, 4.5, 0.5), (7.7, 4.5, 0.25), (10.3, 3.0, 0.3), (20, 6, 0.5)]
)
def test_the_rule_of_thumb_for_a_section_comes_to_the_same_size_or_the_next(
    amps: float, length_m: float, limit_v: float
) -> None:
    """A = I · 0.018 · l / U, then the next size up. Source: a page on cable sections (trade, published)."""
    thumb = amps * 0.018 * length_m / limit_v
    size = min(s for s in SECTIONS_MM2 if s >= thumb)
    ours = section_for_drop(limit_v, length_m, amps)
    assert SECTIONS_MM2.index(ours) - SECTIONS_MM2.index(size) in (0, 1)


@pytest.mark.parametrize("section", [0.5, 1.5, 4.0])
def test_preeces_law_in_inches_is_the_same_law(section: float) -> None:
    """I = 10244 · d^1.5, d in inches, copper (Preece's law, as a page on fuse equations gives it)."""
    inches = 2 * math.sqrt(section / math.pi) / 25.4
    assert burns_a(section) == pytest.approx(10244 * inches**1.5, rel=2e-3)


@pytest.mark.parametrize(
    ("kind", "at_12"), [("wire", 0.20), ("contact", 0.30), ("fuse", 0.10), ("joint", 0.10), ("earth", 0.10)]
)
def test_joint_by_joint_limits_are_the_published_ones(kind: str, at_12: float) -> None:
    """Wire 0.20, switch 0.30, earth 0.10 V (published voltage-drop test); fuse and joint as the earth, 6 V half, 24 V
    twice (common practice, no source)."""
    assert [drop_limit_v(kind, volts) for volts in (6.0, 12.0, 24.0)] == pytest.approx([at_12 / 2, at_12, 2 * at_12])


# ---------------------------------------------------------------- lamps

_R37_W = {
    21.0: (26.0, 25.0, 28.0),
    10.0: (10.0, 10.0, 12.5),
    5.0: (5.0, 5.0, 7.0),
    4.0: (4.0, 4.0, 5.0),
    3.0: (3.0, 3.0, 4.0),
}
"""Watts on the cap to watts at 6.75, 13.5 and 28 V: P21W, R10W, R5W with W5W and C5W, T4W, W3W. Source: UN R37; the
12 V figures of R5W, R10W and T4W seen in a national lamp standard, the rest from memory."""


@pytest.mark.parametrize("cap", sorted(_R37_W))
def test_watts_at_test_volts_are_those_of_the_categories(cap: float) -> None:
    assert TEST_V == {6: 6.75, 12: 13.5, 24: 28.0}
    assert tuple(filament.test_watts(cap, system) for system in (6, 12, 24)) == _R37_W[cap]


@pytest.mark.parametrize("cap", [2.0, 45.0, 60.0])
def test_watts_outside_the_categories_are_taken_as_they_stand(cap: float) -> None:
    """2 W tell-tales are no category of UN R37; headlamps are given at 13.2 V by their own sheets (from memory)."""
    assert filament.test_watts(cap, 12) == cap


@pytest.mark.parametrize(
    ("law", "power", "bound"),
    [("light", 3.4, 1e-9), ("life", -13.0, 1e-9), ("amps", 0.55, 1e-4), ("hot_ohm", 0.45, 1e-4)],
)
@pytest.mark.parametrize("ratio", [0.7, 0.85, 0.95, 1.05, 1.3])
def test_each_law_of_a_filament_is_the_handbooks(law: str, power: float, bound: float, ratio: float) -> None:
    """Light 3.4, life -12 to -16, current 0.55, and with it resistance 0.45. Source: Fink & Beaty, Standard Handbook
    for Electrical Engineers, as a page on lamp rerating quotes it."""
    at, own = burning(ratio * 13.5, 25.0, 13.5), burning(13.5, 25.0, 13.5)
    assert getattr(at, law) / getattr(own, law) == pytest.approx(ratio**power, rel=bound)
    assert at.watts / own.watts == pytest.approx(ratio**1.6, rel=0.02), "1.55, printed as 1.6"
    assert at.laws_hold
    assert not burning(0.6 * 13.5, 25.0, 13.5).laws_hold and not burning(1.4 * 13.5, 25.0, 13.5).laws_hold


def test_a_repeater_out_can_hardly_be_seen_on_a_meter() -> None:
    """2 x 21 W, 5 W and 2 W at 12.6 V: 4.07 A; without the repeater 3.71 A, a twelfth less (worked apart)."""
    whole, without = lamps_a([21.0, 21.0, 5.0, 2.0], 12.6), lamps_a([21.0, 21.0, 2.0], 12.6)
    assert without == pytest.approx(3.71, abs=0.01)
    assert 1 - without / whole == pytest.approx(0.0877, abs=5e-4)


# ---------------------------------------------------------------- through the solver


@pytest.mark.parametrize(
    ("source_v", "test_v", "lamps_w", "section", "length_m", "amps", "lost_v"),
    [
        pytest.param(13.5, 13.5, (25.0, 25.0), 1.5, 4.5, 3.67, 0.220, id="two of 21 W on 12 V"),
        pytest.param(6.75, 6.75, (26.0, 26.0), 1.5, 4.5, 7.42, 0.444, id="the same on 6 V"),
        pytest.param(13.2, 13.2, (68.0, 68.0), 2.5, 3.0, 10.2, 0.244, id="two dipped beams"),
    ],
)
def test_lamps_at_the_end_of_a_wire(
    source_v: float,
    test_v: float,
    lamps_w: tuple[float, ...],
    section: float,
    length_m: float,
    amps: float,
    lost_v: float,
) -> None:
    """Source: worked apart, wire by IEC 60228 class 5, lamps by UN R37; and SciPy's root of the one equation."""
    ohm = wire_ohm(section, length_m)
    net = network(
        ["body", "plus", "lamps"],
        [("plus", "lamps", ohm)],
        [("lamps", "body", test_v, watts) for watts in lamps_w],
        ("plus", "body", source_v, 1e-6),
    )
    found = solve(net)
    lamp_v = float(found.lamp_v[0, 0])
    assert source_v - lamp_v == pytest.approx(lost_v, abs=2e-3)
    assert float(found.lamp_a[0].sum()) == pytest.approx(amps, rel=5e-3)
    rated = sum(watts / test_v for watts in lamps_w)
    root = brentq(lambda v: source_v - v - ohm * rated * (v / test_v) ** 0.55, 0.5 * source_v, source_v)
    assert lamp_v == pytest.approx(root, abs=2e-4)


def test_two_dipped_beams_lose_a_sixteenth_of_their_light() -> None:
    """0.244 V lost of 13.2 V leaves 93.9 % (worked apart; light with V^3.4, Fink & Beaty)."""
    assert burning(13.2 - 0.244, 68.0, 13.2).light == pytest.approx(0.939, abs=1e-3)


def test_half_an_ohm_in_the_earth_of_one_lamp() -> None:
    """25 W at 13.5 V: 1.78 A, 0.892 V lost, 12.6 V left, 79.3 % of the light, 1.59 W in the joint (worked apart)."""
    net = network(
        ["body", "plus", "earth"],
        [("earth", "body", 0.5)],
        [("plus", "earth", 13.5, 25.0)],
        ("plus", "body", 13.5, 1e-6),
    )
    found = solve(net)
    volts, amps = float(found.lamp_v[0, 0]), float(found.lamp_a[0, 0])
    assert amps == pytest.approx(1.78, abs=5e-3)
    assert 13.5 - volts == pytest.approx(0.892, abs=2e-3)
    assert burning(volts, 25.0, 13.5).light == pytest.approx(0.793, abs=2e-3)
    assert amps**2 * 0.5 == pytest.approx(1.59, abs=0.01)


def test_starter_cable_and_strap_with_four_joints() -> None:
    """180 A through 2 m of 35 mm²: 1.11 mohm, 0.199 V; with four joints of half a milliohm 0.559 V (worked apart)."""
    ohm = wire_ohm(35.0, 2.0)
    assert ohm == pytest.approx(1.11e-3, rel=5e-3)
    links = [
        ("plus", "a", ohm),
        ("a", "b", 5e-4),
        ("b", "c", 5e-4),
        ("c", "d", 5e-4),
        ("d", "e", 5e-4),
        ("e", "body", 12.0 / 180 - ohm - 2e-3),
    ]
    net = network(["body", "plus", "a", "b", "c", "d", "e"], links, [], ("plus", "body", 12.0, 1e-9))
    volts = solve(net).volts[0]
    assert volts[net.nodes.index("plus")] - volts[net.nodes.index("a")] == pytest.approx(0.199, abs=2e-3)
    assert volts[net.nodes.index("plus")] - volts[net.nodes.index("e")] == pytest.approx(0.559, abs=2e-3)


# ---------------------------------------------------------------- flashing

_J590 = (12.8, 12.0, 15.0, 11.0, 14.0)
"""Volts at which a 12 V flasher is tried (24, -17, -17, 50, 50 °C). Source: a published article on SAE J590-1999."""


@pytest.mark.parametrize("volts", _J590)
@pytest.mark.parametrize("thermal", [False, True], ids=["electronic", "thermal"])
def test_a_unit_with_all_lamps_flashes_within_the_law_at_the_volts_it_is_tried_at(volts: float, thermal: bool) -> None:
    """60 to 120 a minute: SAE J945 for variable-load units by official letters of interpretation, UN R48 6.5 the same.
    Temperature is left out of the bench formula, so a heated wire may be a little quick at the 15 V of a cold day."""
    found = flashes([21.0, 21.0], 42.0, volts, thermal=thermal)
    if thermal and volts == 15.0:
        assert 120.0 <= found.rate <= 130.0
    else:
        assert found.state == "flashing"
        assert 60.0 <= found.rate <= 120.0


def test_a_lamp_out_is_told_by_every_unit_described_here() -> None:
    """Steady on, steady off, or a rate that is clearly another. Source: SAE J588e, 4.5, by letters of interpretation;
    UN R48, 6.5.8. A variable-load unit, which gives no sign (SAE J590-1999), is not described."""
    for thermal in (False, True):
        whole, out = (flashes(lamps, 42.0, 12.8, thermal=thermal) for lamps in ([21.0, 21.0], [21.0]))
        assert whole.state == "flashing"
        assert out.state == "steady" or abs(math.log(out.rate / whole.rate)) > math.log(1.5)


def test_a_unit_loses_no_more_than_an_old_one_may(demo: Demo) -> None:
    """0.45 V across the unit at its rated load (SAE J590, J823, from memory)."""
    unit = demo.knowledge.parts["flasher-unit"]
    assert isinstance(unit, FlasherPart)
    lost = demo.volts("flasher-unit.49", LEFT, None, "flasher-unit.49a")
    assert 0.0 < lost < 0.45


# ---------------------------------------------------------------- batteries, fuses


@pytest.mark.parametrize(("celsius", "volts"), [(26.7, 12.45), (6.7, 12.45 - 0.024), (36.7, 12.45 + 0.012)])
def test_rest_volts_move_with_temperature_as_a_cell_does(celsius: float, volts: float) -> None:
    """0.2 mV a kelvin and cell, 1.2 mV for six (from memory): 20 K are 0.024 V, where the figure printed beside some
    tables for the same 0.024 V is 10 °F, which copies the hydrometer's shift."""
    assert charge_from_volts(volts, 12, celsius).share == pytest.approx(0.75, abs=1e-6)


@pytest.mark.parametrize(("read", "celsius"), [(1.225, 26.7), (1.233, 15.58), (1.221, 32.26)])
def test_hydrometers_are_corrected_as_published(read: float, celsius: float) -> None:
    """0.004 for each 5.56 K (10 °F) above 26.7 °C is added, below it taken off (published state-of-charge table)."""
    assert charge_from_gravity(read, celsius).share == pytest.approx(0.75, abs=1e-3)


@pytest.mark.parametrize("rating", RATINGS_A["glass"])
def test_the_older_marks_are_twice_what_a_fuse_carries(rating: float) -> None:
    """Source: a published table of older British fuses: 35 marked carries 17.5, 50 carries 25, 25 carries 12.5, 10
    carries 5."""
    assert {17.5: 35, 25: 50, 12.5: 25, 5: 10}.items() <= BLOW_MARKS.items()
    if rating in BLOW_MARKS:
        assert BLOW_MARKS[rating] == 2 * rating
