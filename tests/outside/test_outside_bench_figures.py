"""Bench formulas against cited tables, copied here a second time with the source beside each.

Codes: a published page or standard by name; `from memory`; `common practice, no source`.
"""

from __future__ import annotations

import math

import pytest

from diag.calc.battery import charge_from_gravity, charge_from_volts, days_of_standing, gravity_at_reference
from diag.calc.copper import (
    CLASS_5_OHM_PER_M,
    continuous_a,
    drop_share,
    drop_v,
    min_section_for,
    next_section,
    wire_ohm,
)
from diag.calc.copper import section_for_drop as for_drop
from diag.calc.filament import TEST_V, burning
from diag.calc.fusing import BLOW_MARKS, fuse_holds_wire, max_fuse_for_section, min_fuse_for_load
from diag.calc.turnlamps import flashes, lamps_a
from diag.knowledge.sizes import RATINGS_A, SECTIONS_MM2

# ---------------------------------------------------------------- copper

_DENSITY = {1.0: 10, 1.5: 15, 2.5: 25, 4.0: 40, 6.0: 36, 10.0: 60, 16.0: 96, 25.0: 100, 35.0: 140, 50.0: 200, 70.0: 210}
"""mm² to amps for good, 10 A/mm² falling to 3. Source: a trade journal's table (2017, table 1)."""

_AWG_MM2 = {20: 0.518, 18: 0.823, 16: 1.31, 14: 2.08, 12: 3.31, 10: 5.26, 8: 8.37, 6: 13.3, 4: 21.2, 2: 33.6}
_AWG_SOLID_MOHM_PER_M = {
    20: 33.3,
    18: 20.9,
    16: 13.2,
    14: 8.29,
    12: 5.21,
    10: 3.28,
    8: 2.06,
    6: 1.3,
    4: 0.815,
    2: 0.513,
}
"""Sections and solid copper at 20 °C. Source: definition of AWG (ASTM B258, from memory), 17.241 mohm·mm²/m
(IEC 60028)."""

_ISO_6722_MOHM_PER_M = {
    0.5: 37.1,
    0.75: 24.7,
    1.0: 18.5,
    1.5: 12.7,
    2.5: 7.60,
    4.0: 4.71,
    6.0: 3.14,
    10.0: 1.82,
    16.0: 1.16,
}
"""Most a metre of road-vehicle cable may have at 20 °C. Source: ISO 6722-1 (from memory)."""


@pytest.mark.parametrize("section", sorted(_DENSITY))
def test_a_wire_carries_what_the_table_says_and_never_more(section: float) -> None:
    """4 mm² alone is held to the 36 A of the next thicker wire in the same table."""
    held = min(amps for other, amps in _DENSITY.items() if other >= section)
    assert continuous_a(section) == pytest.approx(held)
    assert continuous_a(section) <= _DENSITY[section]
    assert continuous_a(section) == pytest.approx(_DENSITY[section]) or section == 4.0


@pytest.mark.parametrize("section", sorted(_DENSITY))
def test_the_section_for_a_current_is_the_smallest_of_the_table(section: float) -> None:
    amps = continuous_a(section)
    assert continuous_a(min_section_for(amps)) >= amps - 1e-9
    smaller = [other for other in SECTIONS_MM2 if other < min_section_for(amps)]
    assert all(continuous_a(other) < amps for other in smaller)


@pytest.mark.parametrize("section", sorted(_ISO_6722_MOHM_PER_M))
def test_road_vehicle_cable_is_a_little_better_than_what_is_reckoned_with(section: float) -> None:
    """So a drop is never told too small: within 8 % of the vehicle cable's own limit, on the safe side."""
    assert 1.0 <= 1000 * wire_ohm(section, 1.0) / _ISO_6722_MOHM_PER_M[section] < 1.08


@pytest.mark.parametrize("number", sorted(_AWG_MM2))
def test_awg_sizes_lie_just_above_solid_copper(number: int) -> None:
    """Stranded wire runs 2 to 5 % above solid; class 5 maxima up to 16 %."""
    from diag.knowledge.units import parse_quantity

    section = parse_quantity(f"{number} AWG", "mm2")
    assert section == pytest.approx(_AWG_MM2[number], rel=5e-3)
    assert 1.0 < 1000 * wire_ohm(section, 1.0) / _AWG_SOLID_MOHM_PER_M[number] < 1.17


def test_drops_worked_by_hand() -> None:
    """Each figure worked apart from the program to three figures (IEC 60228 class 5 resistances)."""
    assert drop_v(1.5, 4.5, 3.70) == pytest.approx(0.222, abs=1e-3)
    assert drop_share(1.5, 4.5, 7.70, 6.0) == pytest.approx(0.0768, abs=2e-4), "on 6 V the same lamps lose 7.7 %"
    assert drop_v(4.0, 4.5, 7.70) == pytest.approx(0.172, abs=1e-3), "4 mm² puts it right"
    assert drop_v(35.0, 2.0, 180.0) == pytest.approx(0.199, abs=1e-3)
    assert drop_v(2.5, 3.0, 10.3) == pytest.approx(0.247, abs=1e-3)
    assert wire_ohm(1.5, 1.0, 60.0) == pytest.approx(0.0154, abs=5e-5)


@pytest.mark.parametrize(
    ("limit_v", "length_m", "amps", "section"),
    [(0.5, 4.5, 3.70, 0.75), (0.25, 4.5, 7.70, 4.0), (0.3, 3.0, 10.3, 2.5), (0.5, 2.0, 180.0, 16.0)],
)
def test_sections_for_the_handbooks_limits(limit_v: float, length_m: float, amps: float, section: float) -> None:
    """Limits: automotive handbook (signal lamp 0.5, headlamp 0.3, starter cable 0.5 V; half on 6 V)."""
    assert for_drop(limit_v, length_m, amps) == section
    assert drop_v(section, length_m, amps) <= limit_v
    thinner = SECTIONS_MM2[SECTIONS_MM2.index(section) - 1]
    assert drop_v(thinner, length_m, amps) > limit_v


def test_the_starter_cable_is_chosen_by_current_and_not_by_drop_alone() -> None:
    """180 A in 16 mm² loses little enough over 2 m, but 16 mm² carries 96 A: 50 mm² is what exists above 140 A."""
    assert min_section_for(180.0) == 50.0
    assert next_section(17.0) == 25.0
    assert next_section(16.0) == 16.0


# ---------------------------------------------------------------- fuses

_BLADE = {1, 2, 3, 4, 5, 7.5, 10, 15, 20, 25, 30, 35, 40, 50, 60, 70, 80}
_TORPEDO = {5, 8, 16, 25, 40}
"""Ratings that exist. Source: ISO 8820-3 (blade; 35 and 40 A in some makes of the small size, above 40 A the large
one), DIN 72581 (torpedo, from memory)."""

_MARKED = {1.5: 3, 2.25: 4.5, 3: 6, 4: 8, 5: 10, 6: 12, 7.5: 15, 12.5: 25, 17.5: 35, 25: 50, 30: 60}
"""Glass and ceramic: continuous amps to mark. Source: a published table of older British fuses."""

_USUAL = {0.75: (5, 7.5), 1.0: (7.5, 10), 1.5: (10, 15), 2.5: (20, 25), 4.0: (30, 40), 6.0: (30, 50)}
"""Section to the span in which fuses are fitted. Source: common practice, no source."""


def test_ratings_are_those_that_exist() -> None:
    assert set(RATINGS_A["blade"]) == _BLADE
    assert set(RATINGS_A["torpedo"]) == _TORPEDO
    assert BLOW_MARKS == _MARKED
    assert set(SECTIONS_MM2) == set(CLASS_5_OHM_PER_M)
    assert all(mark == 2 * amps for amps, mark in BLOW_MARKS.items())


@pytest.mark.parametrize("section", sorted(_USUAL))
def test_the_largest_fuse_of_a_wire_is_the_usual_one(section: float) -> None:
    """And at the top of what is fitted, as it is the largest that is allowed."""
    least, most = _USUAL[section]
    assert least <= max_fuse_for_section(section) <= most


@pytest.mark.parametrize("link", ["blade", "torpedo", "glass"])
@pytest.mark.parametrize("section", [0.5, 0.75, 1.0, 1.5, 2.5, 4.0, 6.0, 10.0])
def test_the_largest_fuse_carries_no_more_than_the_wire_and_goes_before_it(section: float, link: str) -> None:
    """The table of amps for good, and Preece's law I = 80·d^1.5 (d in mm) for the wire's own end."""
    rating = max_fuse_for_section(section, link)
    assert rating <= min(10 * section, *(amps for other, amps in _DENSITY.items() if other >= section))
    assert 2 * rating < 80.0 * (2 * math.sqrt(section / math.pi)) ** 1.5
    larger = [other for other in RATINGS_A[link] if other > rating]
    assert not larger or not fuse_holds_wire(section, min(larger), link).holds


@pytest.mark.parametrize(
    ("load_a", "link", "rating"),
    [(4.0, "blade", 5), (4.1, "blade", 7.5), (5.15, "torpedo", 8), (10.3, "torpedo", 16), (8.0, "blade", 10)],
)
def test_a_load_is_at_most_four_fifths_of_its_fuse(load_a: float, link: str, rating: float) -> None:
    """70 to 80 % for good (common practice, no source); typical: 8 A for the lamps of one side, 16 A for horns."""
    assert min_fuse_for_load(load_a, link) == rating


# ---------------------------------------------------------------- batteries

_REST_V = {1.00: (12.65, 6.33), 0.75: (12.45, 6.23), 0.50: (12.24, 6.12), 0.25: (12.06, 6.03), 0.0: (11.89, 5.95)}
_GRAVITY = {1.00: 1.265, 0.75: 1.225, 0.50: 1.190, 0.25: 1.155, 0.0: 1.120}
"""State of charge to rest volts (12 V, 6 V) and specific gravity at 26.7 °C. Source: a published state-of-charge
table; 6 V a second page and half the 12 V column."""

_OTHER_SETS = [{1.0: 12.66, 0.75: 12.45, 0.5: 12.30, 0.25: 12.15}, {1.0: 12.6, 0.75: 12.4, 0.5: 12.2, 0.25: 12.0}]
"""Other published sets, which differ by a tenth of a volt."""


@pytest.mark.parametrize("share", sorted(_REST_V))
def test_state_of_charge_is_the_tables(share: float) -> None:
    """At the points of the table, for 12, 6 and 24 V and by hydrometer."""
    twelve, six = _REST_V[share]
    assert charge_from_volts(twelve, 12, 26.7).share == pytest.approx(share, abs=1e-9)
    assert charge_from_volts(six, 6, 26.7).share == pytest.approx(share, abs=0.02), "printed to a hundredth"
    assert charge_from_volts(2 * twelve, 24, 26.7).share == pytest.approx(share, abs=1e-9)
    assert charge_from_gravity(_GRAVITY[share], 26.7).share == pytest.approx(share, abs=1e-9)


def test_state_of_charge_between_the_points() -> None:
    """12.40 V is 69 %; 1.240 at 5 °C is 1.224 and 74.6 % (worked by hand from the table)."""
    assert charge_from_volts(12.40, 12, 26.7).share == pytest.approx(0.690, abs=1e-3)
    assert gravity_at_reference(1.240, 5.0) == pytest.approx(1.224, abs=5e-4)
    assert charge_from_gravity(1.240, 5.0).share == pytest.approx(0.746, abs=2e-3)


@pytest.mark.parametrize("table", _OTHER_SETS)
def test_other_tables_agree_within_what_they_are_worth(table: dict[float, float]) -> None:
    """A tenth of a volt, or about an eighth of the charge and a little more at the ends."""
    for share, volts in table.items():
        assert abs(charge_from_volts(volts, 12, 26.7).share - share) < 0.15


@pytest.mark.parametrize("gravity", [1.120, 1.155, 1.190, 1.225, 1.265])
def test_hydrometer_and_meter_tell_the_same_battery_alike(gravity: float) -> None:
    """Cell volts = specific gravity + 0.84 (from memory): both ways to the charge agree within what either is worth,
    0.025 V on a full battery, 0.14 V on a flatter one."""
    by_acid = charge_from_gravity(gravity, 26.7).share
    by_volts = charge_from_volts(6 * (gravity + 0.84), 12, 26.7).share
    assert by_volts == pytest.approx(by_acid, abs=0.04 if gravity == 1.265 else 0.20)


def test_a_full_battery_freezes_later_than_a_flat_one() -> None:
    """-57, -36, -26, -16 °C at 100, 75, 50, 25 % (published; of two sets the warmer), about -10 °C flat (memory)."""
    for volts, celsius in ((12.65, -57), (12.45, -36), (12.24, -26), (12.06, -16), (11.89, -10)):
        assert charge_from_volts(volts, 12, 26.7).freezes_c == pytest.approx(celsius)


def test_days_of_standing_worked_by_hand() -> None:
    """35 mA and 50 Ah down to half: 714 h, 29.8 days; a coil left on (4.2 A): 5.95 h."""
    assert days_of_standing(0.035, 50.0) == pytest.approx(29.8, abs=0.05)
    assert 24 * days_of_standing(4.2, 50.0) == pytest.approx(5.95, abs=0.01)


# ---------------------------------------------------------------- lamps


def test_a_lamp_one_volt_down() -> None:
    """k = 0.926: light 77.0 %, power 88.4 %, life 2.72 times (Fink & Beaty's exponents, worked by hand)."""
    found = burning(12.5, 25.0, 13.5)
    assert found.light == pytest.approx(0.770, abs=1e-3)
    assert found.watts / 25.0 == pytest.approx(0.884, abs=5e-3)
    assert found.life == pytest.approx(2.72, abs=0.01)


_RUNNING_A = [
    (21.0, 12, 1.85), (5.0, 12, 0.370), (10.0, 12, 0.741), (4.0, 12, 0.296), (21.0, 6, 3.85), (21.0, 24, 1.00),
]  # fmt: skip


@pytest.mark.parametrize(("cap_w", "system_v", "amps"), _RUNNING_A)
def test_running_current_at_test_volts(cap_w: float, system_v: int, amps: float) -> None:
    """Objective watts of UN R37 over 6.75, 13.5 and 28 V."""
    assert lamps_a([cap_w], TEST_V[system_v], system_v) == pytest.approx(amps, abs=5e-3)


def test_a_cold_lamp_reads_a_tenth_to_a_fifteenth() -> None:
    """Cold ohms by meter V²/(12·W); 0.4 to 0.7 ohm for 21 W (from memory)."""
    found = burning(13.5, 25.0, 13.5)
    assert 0.4 < found.cold_ohm < 0.7
    assert 10 < found.hot_ohm / found.cold_ohm < 15


def test_turn_lamps_with_one_out() -> None:
    """2 x 21 W, 5 W repeater, 2 W tell-tale at 12.6 V: 4.07 A; one 21 W out 2.28 A (worked by hand)."""
    assert lamps_a([21.0, 21.0, 5.0, 2.0], 12.6) == pytest.approx(4.07, abs=0.01)
    assert lamps_a([21.0, 5.0, 2.0], 12.6) == pytest.approx(2.28, abs=0.01)


def test_a_lamp_out_slows_a_thermal_unit_and_doubles_an_electronic_one() -> None:
    """60 to 120 a minute with all lamps (UN R48, 6.5); out: slow or steady, and about twice (common practice; an
    official letter of interpretation names doubling)."""
    for volts in (12.2, 12.6, 13.8):
        for thermal in (False, True):
            assert flashes([21.0, 21.0], 42.0, volts, thermal=thermal).state == "flashing"
    assert flashes([21.0], 42.0, 12.6, thermal=True).state in ("slow", "steady")
    whole, out = (flashes(lamps, 42.0, 12.6, thermal=False) for lamps in ([21.0, 21.0], [21.0]))
    assert out.rate / whole.rate == pytest.approx(2.0, abs=0.1)
    assert out.state == "fast"
