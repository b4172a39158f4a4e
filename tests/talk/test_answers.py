"""Typed answers: what a person writes of a reading, a word or a look is understood or refused, never bent."""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diag.talk.answers import AnswerError, Unit, choice_of, look_of, parse_reading, reading_of, word_of

UNITS: tuple[Unit, ...] = ("V", "A", "ohm")


def refused(text: object, unit: Unit, system_v: float = 12.0) -> AnswerError:
    with pytest.raises(AnswerError) as caught:
        reading_of(text, unit, system_v)
    error = caught.value
    assert error.found in str(error)
    assert error.expected in str(error)
    return error


@pytest.mark.parametrize(
    ("text", "unit", "expected"),
    [
        ("11.8", "V", 11.8),
        ("11,8 V", "V", 11.8),
        (".5", "V", 0.5),
        ("-0.1 V", "V", -0.1),
        ("+12.6 volts", "V", 12.6),
        ("\u22120.1", "V", -0.1),
        ("  12.60 V\n", "V", 12.6),
        ("5 mV", "V", 0.005),
        ("5mv", "V", 0.005),
        ("12,600", "V", 12.6),
        ("350 mA", "A", 0.35),
        ("350ma", "A", 0.35),
        ("8 amps", "A", 8.0),
        ("1,200 A", "A", 1.2),
        ("-3.5", "A", -3.5),
        ("0.4 ohm", "ohm", 0.4),
        ("0,400", "ohm", 0.4),
        ("4.7 kohm", "ohm", 4700.0),
        ("4.7 K\u03a9", "ohm", 4700.0),
        ("3\u2126", "ohm", 3.0),
        ("2.2 Mohm", "ohm", 2.2e6),
        ("2200000", "ohm", 2.2e6),
        ("0", "ohm", 0.0),
    ],
)
def test_readings_are_read_as_people_write_them(text: str, unit: Unit, expected: float) -> None:
    """Nobody at a meter should have to learn a notation."""
    assert parse_reading(text, unit, 12.0) == pytest.approx(expected, rel=1e-9, abs=1e-12)


@pytest.mark.parametrize(
    "text", ["OL", "ol", "o.l.", "O.L", "0L", "0.L", "open", "Open  circuit", "inf", "no continuity", "\u221e"]
)
def test_no_continuity_is_infinite_for_a_resistance_and_refused_for_the_rest(text: str) -> None:
    """A dead point reads 0 V; taking OL for a voltage would invent a reading."""
    assert parse_reading(text, "ohm", 12.0) == math.inf
    assert refused(text, "V").code == "wrong-unit"
    assert refused(text, "A").code == "wrong-unit"


@pytest.mark.parametrize(
    ("text", "unit", "code"),
    [
        ("", "V", "empty"),
        (" \t ", "ohm", "empty"),
        ("1" * 41, "V", "too-long"),
        ("1" * 10_000, "ohm", "too-long"),
        ("12 V", "ohm", "wrong-unit"),
        ("0.4 ohm", "V", "wrong-unit"),
        ("3 A", "V", "wrong-unit"),
        ("21 W", "A", "wrong-unit"),
        ("1k2", "ohm", "not-a-reading"),
        ("11.8 12.0", "V", "not-a-reading"),
        ("11.8/12", "V", "not-a-reading"),
        ("1.2.3", "V", "not-a-reading"),
        ("twelve", "V", "not-a-reading"),
        ("nan", "V", "not-a-reading"),
        ("\u0661\u0662", "V", "not-a-reading"),
        ("12 furlongs", "V", "not-a-reading"),
        ("1 V^9^9^9", "V", "not-a-reading"),
        ("-inf", "ohm", "not-a-reading"),
        ("V", "V", "not-a-reading"),
        ("0x10", "V", "not-a-reading"),
        ("31", "V", "unbelievable"),
        ("-30.1", "V", "unbelievable"),
        ("1e99", "V", "unbelievable"),
        ("601", "A", "unbelievable"),
        ("-0.2", "ohm", "unbelievable"),
        ("101 Mohm", "ohm", "unbelievable"),
        ("1,200", "ohm", "two-meanings"),
        ("350,000 mA", "A", "two-meanings"),
    ],
)
def test_what_is_no_reading_of_the_asked_unit_is_refused_with_its_reason(text: str, unit: Unit, code: str) -> None:
    """A wrong number taken in silently would accuse the wrong part."""
    assert refused(text, unit).code == code


def test_believable_volts_follow_the_vehicle() -> None:
    """20 V on a 6 V vehicle is a slip of the range; on a 24 V one it is a low battery."""
    assert refused("20", "V", 6.0).code == "unbelievable"
    assert parse_reading("20", "V", 24.0) == pytest.approx(20.0)
    assert parse_reading("15", "V", 6.0) == pytest.approx(15.0)


def test_an_ambiguous_comma_names_both_meanings() -> None:
    """The person knows which was meant; the program does not."""
    error = refused("1,200", "ohm")
    assert "`1200`" in error.expected
    assert "`1.200`" in error.expected


@pytest.mark.parametrize(("number", "unit"), [(11.8, "V"), (0, "ohm"), (-3, "A"), (math.inf, "ohm")])
def test_plain_numbers_are_already_in_the_unit(number: float, unit: Unit) -> None:
    """The lines of the conversation may carry JSON numbers."""
    assert reading_of(number, unit, 12.0) == pytest.approx(number)


@pytest.mark.parametrize(
    ("value", "code"),
    [
        (True, "not-a-reading"),
        (False, "not-a-reading"),
        (None, "not-a-reading"),
        ([12], "not-a-reading"),
        ({"value": 12}, "not-a-reading"),
        (math.nan, "unbelievable"),
        (math.inf, "unbelievable"),
        (10**400, "unbelievable"),
        (-(10**400), "unbelievable"),
        (31.0, "unbelievable"),
    ],
)
def test_other_json_values_are_no_reading(value: object, code: str) -> None:
    """`true` is the number 1 to Python and nothing to a meter."""
    assert refused(value, "V").code == code


def test_minus_zero_is_zero() -> None:
    """Or a log would print a reading of -0 ohm."""
    assert math.copysign(1.0, parse_reading("-0", "ohm", 12.0)) == 1.0
    assert math.copysign(1.0, reading_of(-0.0, "V", 12.0)) == 1.0


def test_an_error_holds_no_sign_that_moves_a_screen() -> None:
    """What was typed goes back to a terminal; escape codes must not."""
    error = refused("\x1b[2J\x9b31m\ud800", "V")
    assert str(error).isprintable()


@settings(deadline=None)  # the unit library is imported by the first odd unit
@given(
    st.one_of(
        st.text(max_size=60),
        st.from_regex(r"[+-]?[0-9.,]{1,12} ?[kKmMu\u00b5GV A\u03a9ohmep^*0-9]{0,10}", fullmatch=True),
    ),
    st.sampled_from(UNITS),
    st.sampled_from((6.0, 12.0, 24.0)),
)
def test_any_text_gives_a_believable_reading_or_an_answer_error(text: str, unit: Unit, system_v: float) -> None:
    """Whatever is typed, the conversation goes on, and nothing impossible reaches the belief."""
    try:
        number = parse_reading(text, unit, system_v)
    except AnswerError as error:
        assert str(error).isprintable()
        assert len(str(error)) < 400
        return
    assert type(number) is float
    if unit == "ohm":
        assert number == math.inf or 0 <= number <= 1e8
    else:
        assert abs(number) <= (600.0 if unit == "A" else 2.5 * system_v)


@settings(deadline=None)
@given(st.floats(-29.9, 29.9))
def test_a_reading_written_out_is_read_back(number: float) -> None:
    """A point or a comma, the reading is the same."""
    text = f"{number:.2f}"
    assert parse_reading(text, "V", 12.0) == pytest.approx(float(text))
    assert parse_reading(text.replace(".", ",") + " V", "V", 12.0) == pytest.approx(float(text))


# ---------------------------------------------------------------- words, looks, choices

SOUNDS = ("none", "click", "buzz", "weak", "sound")
MOTOR = ("still", "slow", "runs", "does-not-park")


@pytest.mark.parametrize(("typed", "word"), [("click", "click"), (" Click ", "click"), ("BUZZ", "buzz")])
def test_words_are_known_in_any_case(typed: str, word: str) -> None:
    """Phones begin every line with a capital."""
    assert word_of(typed, SOUNDS) == word


def test_spaces_stand_for_hyphens() -> None:
    """Nobody says `does-not-park`."""
    assert word_of("does not park", MOTOR) == "does-not-park"


@pytest.mark.parametrize(("typed", "near"), [("clik", "click"), ("buz", "buzz"), ("clicks", "click"), ("wek", "weak")])
def test_an_unknown_word_is_refused_with_the_nearest(typed: str, near: str) -> None:
    """A guess is offered, never taken: click and buzz lead to different parts."""
    with pytest.raises(AnswerError, match=f"Did you mean `{near}`") as caught:
        word_of(typed, SOUNDS)
    assert caught.value.code == "not-a-word"


@pytest.mark.parametrize(
    ("value", "code"),
    [(None, "not-a-word"), (3, "not-a-word"), ("", "empty"), ("x" * 300, "too-long"), (["click"], "not-a-word")],
)
def test_what_is_no_word_is_refused(value: object, code: str) -> None:
    """Each with its own code, so that a program can tell an empty line from a wrong one."""
    with pytest.raises(AnswerError) as caught:
        word_of(value, SOUNDS)
    assert caught.value.code == code


@pytest.mark.parametrize(
    ("value", "look"),
    [
        ({"light": "normal", "rhythm": "steady"}, ("normal", "steady")),
        ({"light": "Too bright", "rhythm": "FAST"}, ("too-bright", "fast")),
        ({"light": "dark"}, ("dark", "none")),
        ({"light": "dark", "rhythm": "steady"}, ("dark", "none")),
        ({"light": "dark", "rhythm": None}, ("dark", "none")),
    ],
)
def test_looks_have_a_light_and_a_rhythm(value: object, look: tuple[str, str]) -> None:
    """A dark lamp has no rhythm, whatever was said of it."""
    assert look_of(value) == look


@pytest.mark.parametrize(
    ("value", "code", "field"),
    [
        ("dark", "not-a-look", "value"),
        (None, "not-a-look", "value"),
        ({}, "not-a-look", "light"),
        ({"rhythm": "steady"}, "not-a-look", "light"),
        ({"light": "normal"}, "not-a-look", "rhythm"),
        ({"light": "normal", "rhythm": "none"}, "not-a-word", "rhythm"),
        ({"light": "brite", "rhythm": "fast"}, "not-a-word", "light"),
        ({"light": "dark", "rhythm": "wobbly"}, "not-a-word", "rhythm"),
        ({"light": True, "rhythm": "fast"}, "not-a-word", "light"),
        ({"light": "dim", "rhythm": "slow", "colour": "red"}, "not-a-look", "value"),
        ({"light": "dim", "rhythm": "stedy"}, "not-a-word", "rhythm"),
    ],
)
def test_a_look_that_is_not_whole_names_the_field(value: object, code: str, field: str) -> None:
    """The open ask is repeated; the person must see which half was wrong."""
    with pytest.raises(AnswerError) as caught:
        look_of(value)
    assert (caught.value.code, caught.value.field) == (code, field)


CHOICES = {"all": "At all steering angles", "only-some": "Only at some", "never": "Never"}


@pytest.mark.parametrize(
    ("typed", "value"),
    [("only-some", "only-some"), ("Only some", "only-some"), ("only at some", "only-some"), ("NEVER", "never")],
)
def test_choices_are_taken_by_value_or_label(typed: str, value: str) -> None:
    """The screen shows labels; lines carry values."""
    assert choice_of(typed, CHOICES) == value


def test_two_labels_alike_are_not_chosen_between() -> None:
    """Taking the first would answer for the person."""
    with pytest.raises(AnswerError) as caught:
        choice_of("same", {"a": "Same", "b": "same"})
    assert caught.value.code == "not-a-choice"


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=30),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=6,
)


@settings(deadline=None)
@given(JSON | st.fixed_dictionaries({"light": JSON, "rhythm": JSON}))
def test_any_json_value_gives_a_known_answer_or_an_answer_error(value: Any) -> None:
    """A program may send anything; only AnswerError is told to it."""
    for read, known in (
        (lambda: word_of(value, SOUNDS), SOUNDS),
        (lambda: choice_of(value, CHOICES), tuple(CHOICES)),
        (lambda: "/".join(look_of(value)), None),
        (lambda: reading_of(value, "ohm", 12.0), None),
    ):
        try:
            answer = read()
        except AnswerError as error:
            assert str(error).isprintable()
        else:
            assert known is None or answer in known
