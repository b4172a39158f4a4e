"""Bench formulas as laws: monotone where nature is, refusing what has no sense, one answer in every room.

source of all expectations: common practice, no source
"""

from __future__ import annotations

import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diag.calc.answer import NARROWEST, as_text
from diag.calc.batteries_worked import charge_answer, standing_answer
from diag.calc.battery import charge_from_gravity, charge_from_volts, days_of_standing
from diag.calc.copper import (
    continuous_a,
    drop_share,
    drop_v,
    min_section_for,
    next_section,
    section_for_drop,
)
from diag.calc.filament import burning
from diag.calc.fusing import fuse_holds_wire, max_fuse_for_section, min_fuse_for_load, next_rating
from diag.calc.lamps_worked import flasher_answer, lamp_answer
from diag.calc.turnlamps import flashes
from diag.calc.wires_worked import drop_answer, fuse_answer, section_answer
from diag.errors import DiagError
from diag.knowledge.sizes import RATINGS_A, SECTIONS_MM2
from diag.knowledge.units import parse_quantity, written

SECTION = st.floats(0.3, 90.0)
AMPS = st.floats(0.01, 180.0)
LENGTH = st.floats(0.05, 12.0)


@given(SECTION, SECTION, LENGTH, AMPS)
def test_a_thicker_wire_loses_less_and_carries_no_less(one: float, other: float, length: float, amps: float) -> None:
    thin, thick = sorted((one, other))
    assert drop_v(thick, length, amps) <= drop_v(thin, length, amps) * (1 + 1e-9)
    assert continuous_a(thick) >= continuous_a(thin) - 1e-9


@given(st.floats(0.05, 2.0), LENGTH, st.floats(0.05, 20.0))
def test_the_section_found_keeps_the_limit_and_no_thinner_one_does(limit: float, length: float, amps: float) -> None:
    try:
        found = section_for_drop(limit, length, amps)
    except DiagError:
        assert drop_v(SECTIONS_MM2[-1], length, amps) > limit
        return
    assert drop_v(found, length, amps) <= limit * (1 + 1e-6)
    thinner = [section for section in SECTIONS_MM2 if section < found]
    assert all(drop_v(section, length, amps) > limit * (1 - 1e-6) for section in thinner)


@given(SECTION, st.sampled_from(sorted(RATINGS_A)))
def test_the_largest_fuse_holds_its_wire(section: float, link: str) -> None:
    try:
        rating = max_fuse_for_section(section, link)
    except DiagError as error:
        assert not fuse_holds_wire(section, RATINGS_A[link][0], link).holds
        assert "Lay a thicker wire" in str(error)
        return
    assert rating in RATINGS_A[link]
    assert fuse_holds_wire(section, rating, link).holds
    assert all(not fuse_holds_wire(section, more, link).holds for more in RATINGS_A[link] if more > rating)


def test_a_fuse_may_hold_a_wire_or_merely_go_before_it_melts() -> None:
    """Three cases: it holds; it lets more flow than is good, but still goes first; the wire goes first."""
    good, heavy, mad = (fuse_holds_wire(section, rating) for section, rating in ((1.5, 10), (1.5, 25), (0.35, 40)))
    assert (good.holds, good.within, good.goes_first) == (True, True, True)
    assert (heavy.holds, heavy.within, heavy.goes_first) == (False, False, True)
    assert (mad.holds, mad.goes_first) == (False, False)


@given(st.floats(0.01, 75.0), st.sampled_from(sorted(RATINGS_A)))
def test_the_smallest_fuse_carries_its_load(load: float, link: str) -> None:
    try:
        rating = min_fuse_for_load(load, link)
    except DiagError:
        assert load / 0.8 > max(RATINGS_A[link])
        return
    assert load <= 0.8 * rating * (1 + 1e-9)
    assert all(load > 0.8 * less * (1 - 1e-9) for less in RATINGS_A[link] if less < rating)


@given(st.floats(5.5, 30.0), st.floats(5.5, 30.0), st.sampled_from([6, 12, 24]))
def test_more_volts_are_never_less_charge(one: float, other: float, system: int) -> None:
    low, high = sorted((one, other))
    assert charge_from_volts(low, system).share <= charge_from_volts(high, system).share
    assert charge_from_volts(low, system).freezes_c >= charge_from_volts(high, system).freezes_c


def test_readings_outside_the_table_are_named() -> None:
    """A charger left on, and a dead cell, are the two that fool people."""
    assert charge_from_volts(13.4).beyond == "above"
    assert charge_from_volts(10.5).beyond == "below"
    assert charge_from_volts(12.4).beyond == ""
    assert charge_from_gravity(1.05).beyond == "below"
    assert any("dead" in line for line in charge_answer(10.5, None, 12, 20.0).result)
    assert any("charger" in line for line in charge_answer(13.4, None, 12, 20.0).result)


def test_a_battery_colder_than_its_acid_bears_is_said_to_be_frozen() -> None:
    """Charging ice bursts the case; source: common practice, no source."""
    flat = charge_from_volts(11.8, 12, -15.0)
    for degrees in (flat.freezes_c - 2, flat.freezes_c + 5):
        told = charge_answer(11.8, None, 12, degrees).result
        colder = degrees <= charge_from_volts(11.8, 12, degrees).freezes_c
        assert colder == (degrees < flat.freezes_c)
        assert any("frozen" in line for line in told) == colder


@given(st.floats(0.001, 5.0), st.floats(5.0, 200.0), st.floats(0.0, 1.0))
def test_standing_is_what_is_left_over_what_is_drawn(amps: float, capacity: float, charge: float) -> None:
    days = days_of_standing(amps, capacity, charge)
    assert days * 24 * amps == pytest.approx(max(0.0, charge - 0.5) * capacity, abs=1e-9)
    assert days_of_standing(2 * amps, capacity, charge) == pytest.approx(days / 2)


def test_standing_without_a_current_and_without_a_charge() -> None:
    assert math.isinf(days_of_standing(0.0, 50.0))
    assert days_of_standing(0.1, 50.0, 0.4) == 0.0
    assert "charge it first" in standing_answer(0.1, 50.0, 0.4, 0.5).result[0]
    assert "months" in standing_answer(0.0, 50.0, 1.0, 0.5).result[0]


@given(st.floats(2.0, 20.0), st.floats(1.0, 80.0))
def test_a_lamp_obeys_ohm_and_watt(volts: float, watts: float) -> None:
    found = burning(volts, watts, 13.5)
    assert found.watts == pytest.approx(volts * found.amps)
    assert found.hot_ohm * found.amps == pytest.approx(volts)
    assert (found.light > 1) == (volts > 13.5)


def test_a_load_too_small_and_volts_too_low_stop_a_unit() -> None:
    """One LED on a unit for two lamps lights and stays; at 5 V nothing works; on 6 V its own volts count."""
    assert flashes([5.0], 42.0, 12.6, thermal=True).state == "steady"
    assert flashes([5.0], 42.0, 12.6, thermal=False).state == "steady"
    assert flashes([21.0, 21.0], 42.0, 5.0, thermal=False).state == "idle"
    assert flashes([21.0, 21.0], 42.0, 6.3, 6, thermal=False).state == "flashing"


@pytest.mark.parametrize("wrong", [0.0, -1.0])
def test_what_has_no_sense_is_refused(wrong: float) -> None:
    for call in (
        lambda: drop_v(wrong, 1.0, 1.0),
        lambda: drop_v(1.0, wrong, 1.0),
        lambda: drop_share(1.0, 1.0, 1.0, wrong),
        lambda: continuous_a(wrong),
        lambda: section_for_drop(wrong, 1.0, 1.0),
        lambda: fuse_holds_wire(1.0, wrong),
        lambda: min_fuse_for_load(wrong),
        lambda: charge_from_volts(wrong),
        lambda: charge_from_gravity(wrong),
        lambda: days_of_standing(0.1, wrong),
        lambda: burning(wrong, 21.0, 13.5),
        lambda: flashes([21.0], wrong, 12.6, thermal=True),
    ):
        with pytest.raises(ValueError, match="above zero|heavier"):
            call()
    with pytest.raises(ValueError, match="between 0 and 1"):
        days_of_standing(0.1, 50.0, 1.5)


def test_what_is_beyond_all_that_exists_says_what_to_do() -> None:
    for call, says in (
        (lambda: next_section(71.0), "70 mm²"),
        (lambda: min_section_for(500.0), "two wires"),
        (lambda: next_rating(90.0), "80 A"),
        (lambda: section_for_drop(0.01, 10.0, 100.0), "relay"),
        (lambda: max_fuse_for_section(0.3, "torpedo"), "thicker wire"),
    ):
        with pytest.raises(DiagError, match=re.escape(says)):
            call()
    with pytest.raises(KeyError):
        max_fuse_for_section(1.5, "wooden")


@given(st.floats(1e-4, 9e4, allow_subnormal=False), st.sampled_from(["V", "A", "ohm", "W", "m", "mm2", "Ah"]))
def test_what_is_written_is_read_again(number: float, unit: str) -> None:
    """A figure of the bench put in elsewhere is the same figure, to its three digits."""
    assert parse_quantity(written(number, unit), unit) == pytest.approx(number, rel=6e-3)


ANSWERS = [
    drop_answer(1.5, 4.5, 3.7, 12, 20.0),
    drop_answer(0.5, 40.0, 30.0, 12, 20.0),
    section_answer(0.3, 3.0, 10.3, 12, 20.0),
    section_answer(0.5, 0.5, 60.0, 12, 20.0),
    fuse_answer(1.5, 8.0, "glass"),
    fuse_answer(0.5, 8.0, "blade"),
    lamp_answer(12.0, 25.0, 13.5, 21.0),
    lamp_answer(13.5, 26.0, 6.75, 21.0),
    flasher_answer([21.0, 21.0, 5.0], 42.0, 12.6, 12),
    charge_answer(12.4, None, 12, 20.0),
    charge_answer(None, 1.24, 12, 5.0),
    standing_answer(0.035, 50.0, 1.0, 0.5),
    standing_answer(4.2, 50.0, 1.0, 0.5),
]


@pytest.mark.parametrize("answer", ANSWERS)
@pytest.mark.parametrize("columns", [10, NARROWEST, 80])
def test_every_answer_fits_its_columns_and_tells_all_five_things(answer, columns: int) -> None:  # type: ignore[no-untyped-def]
    """Result first (after the caution), values put in, formula in words and symbols, source."""
    text = as_text(answer, columns)
    assert max(len(line) for line in text.splitlines()) <= max(columns, NARROWEST)
    order = [text.index(f"\n{heading}\n") for heading in ("Put in", "Formula", "Source")]
    assert order == sorted(order)
    flat = " ".join(text.split())
    for said in (*answer.result, *answer.cautions, answer.words, answer.symbols, answer.worked, *answer.sources):
        assert " ".join(said.split()) in flat
    assert not answer.cautions or text.startswith("CAUTION: ")


def test_a_wire_too_thin_for_its_current_is_marked() -> None:
    assert any(line.startswith("! ") for line in drop_answer(0.5, 1.0, 9.0, 12, 20.0).result)
    assert not any(line.startswith("! ") for line in drop_answer(1.5, 1.0, 9.0, 12, 20.0).result)
    by_current = section_answer(0.5, 0.5, 60.0, 12, 20.0)
    assert by_current.result[0].startswith("Section 10 mm²")
    assert any("too little for 60 A" in line for line in by_current.result)
    assert fuse_answer(0.5, 8.0, "blade").result[0].startswith("! No fuse")


def test_a_current_that_cannot_flow_is_said_so() -> None:
    """Ohm: 78 ohm-metres of thin wire would lose more than the battery has."""
    assert "cannot flow" in drop_answer(0.5, 40.0, 30.0, 12, 20.0).result[0]
