"""`diag calc ...` from outside: figures as a person types them, the answer, refusals with exit code 2.

source of all expectations: common practice, no source
"""

from __future__ import annotations

import re

import pytest
from click.testing import CliRunner, Result

from diag.calc_verbs import calc
from diag.cli import main

VERBS = sorted(calc.commands)
GOOD = {
    "drop": ["--section", "1.5 mm2", "--length", "4.5 m", "--current", "3.7 A"],
    "section": ["--drop", "0.3 V", "--length", "3 m", "--current", "10.3 A"],
    "fuse": ["--section", "1.5 mm2", "--load", "8 A"],
    "lamp": ["--watts", "21 W", "--volts", "12.5 V"],
    "flasher": ["--rated", "2x21W", "--lamps", "2x21W"],
    "battery": ["--volts", "12.4 V"],
    "standing": ["--current", "35 mA", "--capacity", "50 Ah"],
}


def run(*arguments: str) -> Result:
    result = CliRunner().invoke(main, ["calc", *arguments])
    assert result.exception is None or isinstance(result.exception, SystemExit), repr(result.exception)
    return result


def first(*arguments: str) -> str:
    """The answer's own line, past any caution."""
    result = run(*arguments)
    assert result.exit_code == 0, result.output
    text = result.output
    return (text.split("\n\n", 1)[1] if text.startswith("CAUTION") else text).splitlines()[0]


def test_every_verb_is_tried_here() -> None:
    assert set(GOOD) == set(VERBS)


@pytest.mark.parametrize("verb", VERBS)
def test_help_has_an_example_that_works(verb: str) -> None:
    """What help shows must run as it stands."""
    text = run(verb, "--help").output.replace("\\\n", " ")  # long ones go on on the next line
    examples = re.findall(rf"^ *diag calc ({verb} --.*)$", text, flags=re.MULTILINE)
    assert examples
    for example in examples:
        assert run(*example.split()).exit_code == 0, example
    for option in calc.commands[verb].params:
        assert getattr(option, "help", None), option.name


@pytest.mark.parametrize("verb", VERBS)
def test_an_answer_tells_result_formula_values_and_source(verb: str) -> None:
    text = run(verb, *GOOD[verb]).output
    for heading in ("Put in", "Formula", "Source"):
        assert f"\n{heading}\n" in text
    for value in GOOD[verb][1::2]:
        figure = re.findall(r"[\d.]+", value)[0 if "x" not in value else 1]
        assert figure in text, f"{value} was put in and is not told"


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("drop", "--section", "0.75mm2", "--length", "2", "--current", "350 mA"), "18.2 mV, 0.152 % of 12 V"),
        (("drop", "--section", "18 AWG", "--length", "10 ft", "--current", "2"), "Drop 0.144 V"),
        (("drop", "--section", "1,5 mm2", "--length", "4,5", "--current", "3,7"), "Drop 0.221 V"),
        (("drop", "--section", "1.5mm2", "--length", "1", "--current", "10", "--temperature", "60"), "Drop 0.154 V"),
        (("section", "--drop", "3%", "--length", "4", "--current", "8", "--system", "6"), "Section 4 mm²"),
        (("section", "--drop", "300 mV", "--length", "3", "--current", "10.3"), "Section 2.5 mm²"),
        (("fuse", "--section", "1mm2", "--link", "torpedo"), "Largest torpedo fuse for 1 mm²: 8 A"),
        (("fuse", "--load", "4 A"), "Smallest blade fuse for 4 A: 5 A"),
        (("fuse", "--section", "2.5mm2", "--load", "8"), "Fuse: 10 to 25 A"),
        (("lamp", "--watts", "21", "--volts", "6.75", "--system", "6"), "3.85 A, 26 W"),
        (("lamp", "--watts", "60", "--test-watts", "68", "--test-volts", "13.2", "--volts", "13.2"), "5.15 A, 68 W"),
        (("flasher", "--rated", "42", "--lamps", "2 x 21 W", "--volts", "12.6"), "Lamps 3.57 A, 102 %"),
        (("battery", "--volts", "12.65", "--temperature", "26.7"), "State of charge 100 %"),
        (("battery", "--volts", "6.1", "--system", "6 V"), "State of charge 4"),
        (("standing", "--current", "35 mA", "--capacity", "50"), "Stands 29.8 days"),
        (("standing", "--current", "4.2", "--capacity", "50 Ah"), "Stands 5.95 h"),
        (("standing", "--current", "35 mA", "--capacity", "50", "--charge", "75 %"), "Stands 14.9 days"),
        (("standing", "--current", "35 mA", "--capacity", "50", "--volts", "12.1"), "! It may not start now"),
    ],
)
def test_figures_as_a_person_types_them(arguments: tuple[str, ...], says: str) -> None:
    assert says in first(*arguments)


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("drop", "--section", "18", "--length", "2", "--current", "1"), "1.5 mm2"),
        (("drop", "--section", "1.5 V", "--length", "2", "--current", "1"), "not a unit of section"),
        (("drop", "--section", "0 mm2", "--length", "2", "--current", "1"), "above zero"),
        (("drop", "--section", "1mm2", "--length", "-2", "--current", "1"), "above zero"),
        (("drop", "--section", "1mm2", "--length", "two", "--current", "1"), "`two`"),
        (("drop", "--section", "1mm2", "--length", "2", "--current", "1", "--system", "48"), "6 V, 12 V or 24 V"),
        (("drop", "--section", "1mm2", "--length", "2", "--current", "1", "--temperature", "900"), "believable"),
        (("drop", "--length", "2", "--current", "1"), "--section"),
        (("section", "--drop", "0 %", "--length", "2", "--current", "1"), "more than nothing"),
        (("section", "--drop", "10 mV", "--length", "10", "--current", "100"), "70 mm²"),
        (("fuse",), "--section"),
        (("fuse", "--load", "90 A"), "two fuses"),
        (("fuse", "--section", "0.3mm2", "--link", "torpedo"), "thicker wire"),
        (("fuse", "--load", "5", "--link", "wooden"), "torpedo"),
        (("lamp", "--watts", "21"), "--volts"),
        (("flasher", "--rated", "42 W", "--lamps", "0x21"), "2x21W"),
        (("flasher", "--rated", "42 W", "--lamps", "2x"), "2x"),
        (("battery",), "neither"),
        (("battery", "--volts", "12.4", "--gravity", "1.2"), "both"),
        (("battery", "--gravity", "0.5"), "1.0"),
        (("standing", "--current", "1", "--capacity", "50", "--charge", "120 %"), "0 to 100"),
        (("standing", "--current", "1", "--capacity", "50", "--charge", "80", "--volts", "12.4"), "both"),
    ],
)
def test_bad_input_is_told_with_exit_code_two(arguments: tuple[str, ...], says: str) -> None:
    """What was found, what is expected; nothing on standard output, no traceback."""
    result = run(*arguments)
    assert result.exit_code == 2, result.output
    assert says in result.stderr
    assert result.stdout == ""
    assert "Traceback" not in result.output


def test_harm_is_told_before_the_figures() -> None:
    """Fuses burn wires, batteries burst, lamps burn fingers."""
    for verb in ("fuse", "battery", "lamp"):
        assert run(verb, *GOOD[verb]).output.startswith("CAUTION: ")
