"""What a file may say of each kind of part: what loads, and how a slip is told."""

from __future__ import annotations

from pathlib import Path

import pytest

from diag.knowledge import schema
from diag.knowledge.assemble import terminals_of
from diag.knowledge.crossref import answers
from diag.knowledge.load import load_knowledge
from diag.knowledge.units import UnitError, parse_quantity
from tests.circuit.vehicles import EVERY_KIND, write_vehicle
from tests.knowledge.small import Small, write_small

LAMP, CAR = "circuits/lamp.yaml", "vehicles/small.yaml"
_PART = "  work-lamp: {kind: lamp"
_HEAD = '{kind: two-filament-lamp, title: Headlamp, place: front, terminals: [56a, 56b, "31"], test-w: [75 W, 68 W]}'
_LOOK = """\
  - id: head-main
    title: Main beam
    kind: look
    target: %s
    place: front
symptoms:
"""


def _with(tmp_path: Path, part: str, *more: tuple[str, str, str]) -> Small:
    return write_small(tmp_path, (LAMP, _PART, f"  added: {part}\n{_PART}"), *more)


@pytest.mark.parametrize(
    ("part", "spot", "says"),
    [
        # shapes
        (
            "{kind: relay, title: Relay, place: front, coil: 85 ohm}",
            "coil:",
            ["`coil` is not known here", "Did you mean `coil-ohm`?"],
        ),
        ("{kind: relais, title: Relay, place: front}", "relais", ["this `kind` is not known", "Did you mean `relay`?"]),
        ("{kind: heatr, title: Choke, place: front}", "heatr", ["this `kind` is not known", "Did you mean `heater`?"]),
        (
            '{kind: heater, title: Choke, place: front, terminals: ["15", "31"], amps: 4 A}',
            "amps",
            ["`amps` is not known here", "`current-a`"],
        ),
        (
            '{kind: two-filament-lamp, title: Lamp, place: front, terminals: [56a, 56b, "31"], test-w: [75 W]}',
            "[75 W]",
            ["`test-w` has a wrong value", "found 1 entries", "at least 2 entries"],
        ),
        (
            "{kind: plug, title: Plug, place: front, pins: [31-t]}",
            "31-t",
            ["a pin of at most 10 letters and digits, such as `58L`"],
        ),
        ("{kind: plug, title: Plug, place: front, pins: []}", "[]", ["at least 1 entries"]),
        (
            "{kind: rheostat, title: Dimmer, place: front, control: ignition, positions: {'on': 5 ohm}}",
            "{'on': 5 ohm}",
            ["`positions` has a wrong value", "at least 2 entries"],
        ),
        (
            "{kind: fuse, title: Fuse, place: front, rating-a: 8 A, link: wire}",
            "wire}",
            ["`link` has a wrong value", "`blade`", "`torpedo`"],
        ),
        ("{kind: relay, title: Relay, place: front, pull-in: 1.5}", "1.5", ["`pull-in`", "at most 1"]),
        # references
        (
            "{kind: rheostat, title: Dimmer, place: front, control: dimer, positions: {a: 1 ohm, b: 2 ohm}}",
            "dimer",
            ["there is no such control", "`dimer`"],
        ),
        (
            "{kind: rheostat, title: Dimmer, place: front, control: ignition, positions: {'on': 1 ohm, half: 2 ohm}}",
            "half",
            ["there is no such position of `ignition`", "Known are `off` or `on`"],
        ),
        (
            "{kind: level-sender, title: Tank, place: front, control: tank, positions: {a: 1 ohm, b: 2 ohm}}",
            "tank,",
            ["there is no such control", "`tank`"],
        ),
        (
            "{kind: breaker, title: Points, place: front, closed-when: [stoped]}",
            "stoped",
            ["there is no such position of `engine`", "Did you mean `stopped`?"],
        ),
        (
            "{kind: plug, title: Plug, place: front, pins: [L, R, L]}",
            "L]",
            ["a pin is given twice", "`L`", "each pin once"],
        ),
        (
            "{kind: plug, title: Plug, place: front, pins: [L], control: ignition, joined-when: [plugged]}",
            "plugged",
            ["there is no such position of `ignition`"],
        ),
        (
            "{kind: plug, title: Plug, place: front, pins: [L], control: ignition}",
            "ignition",
            ["nothing says when this plug is joined", "Add `joined-when:`"],
        ),
        (
            "{kind: plug, title: Plug, place: front, pins: [L], joined-when: ['on']}",
            "['on']",
            ["a plug that nobody pulls has no `joined-when`"],
        ),
        (
            "{kind: relay, title: Relay, place: front, pull-in: 0.3, drop-out: 0.5}",
            "0.5}",
            ["it would let go at volts that pull it in", "Correct one of them"],
        ),
        (
            "{kind: starter, title: Starter, place: front, pull-in: 0.2}",
            "0.2}",
            ["it would let go at volts that pull it in", "drop-out 0.3, pull-in 0.2"],
        ),
        (
            '{kind: two-filament-lamp, title: Lamp, place: front, terminals: [holder, 58, "31"], test-w: [25 W, 6 W]}',
            "holder",
            ["the name of what is inside the lamp", "Give it another name"],
        ),
        ("{kind: relay, title: Relay, place: front, sealed: [87a]}", "87a", ["there is no such terminal"]),
    ],
)
def test_a_slip_in_a_part_is_told_at_its_place(tmp_path: Path, part: str, spot: str, says: list[str]) -> None:
    """The person who writes the file sees line, column and a way to mend it."""
    small = _with(tmp_path, part)
    problems = small.problems()
    here = small.at(LAMP, spot, after="added: ")
    told = [problem for problem in problems if problem.place == here]
    assert told, [str(problem) for problem in problems]
    for words in says:
        assert words in str(told[0])


@pytest.mark.parametrize(
    ("part", "terminal", "has"),
    [
        ("{kind: relay, title: Relay, place: front}", "87a", "`added.85`, `added.86`, `added.30` or `added.87`"),
        ("{kind: plug, title: Plug, place: front, pins: [L]}", "R", "`added.L` or `added.L-t`"),
        ("{kind: wiper-motor, title: Wiper, place: front}", "53c", "`added.53`, `added.53b`, `added.53a`"),
        (_HEAD, "holder", "`added.56a`, `added.56b` or `added.31`"),
    ],
)
def test_a_wire_ends_on_terminals_that_are_there(tmp_path: Path, part: str, terminal: str, has: str) -> None:
    """A wire on a terminal that the kind does not have is most often a wrong number."""
    small = _with(tmp_path, part, (LAMP, "to: work-lamp.55", f"to: added.{terminal}"))
    (problem,) = small.problems()
    assert "`added` has no such terminal" in str(problem)
    assert has in str(problem)


def test_every_kind_has_the_terminals_of_its_standard(tmp_path: Path) -> None:
    """DIN 72552 numbers where the standard has them; the order is that in which faults name pairs."""
    small = _with(tmp_path, "{kind: relay, title: Relay, place: front, change-over: true}")
    know = small.load()
    assert terminals_of(know.parts["added"]) == ("85", "86", "30", "87", "87a")
    path = write_vehicle(tmp_path / "every", EVERY_KIND)
    parts = load_knowledge(path, tmp_path / "every").parts
    found = {name: terminals_of(part) for name, part in parts.items()}
    assert found["alternator"] == ("B+", "D+")
    assert found["starter"] == ("30", "50", "15a")
    assert found["wiper"] == ("53", "53b", "53a", "53e", "31")
    assert found["coil"] == ("15", "1")
    assert found["points"] == ("1",)
    assert found["tank"] == ("G",)
    assert found["gauge"] == ("15", "G")
    assert found["diode"] == ("A", "K")
    assert found["dimmer"] == ("58", "58d")
    assert found["tail"] == ("54", "58", "31")
    assert found["socket"] == ("L", "L-t", "31", "31-t")


# ---------------------------------------------------------------- looks at one filament


def test_a_look_may_be_at_one_filament(tmp_path: Path) -> None:
    """Main and dipped beam of one lamp are two findings."""
    small = _with(tmp_path, _HEAD, (LAMP, "symptoms:\n", _LOOK % "added.56a"))
    know = small.load()
    assert answers(know, know.checks["head-main"]) == know.vocabulary.light


@pytest.mark.parametrize(
    ("target", "says"),
    [
        ("added", ["`added` has two filaments and is looked at one by one", "`added.56a` or `added.56b`"]),
        ("added.31", ["`added` has two filaments", "`added.56a` or `added.56b`"]),
        ("work-lamp.55", ["`work-lamp` is looked at as a whole", "Leave the terminal out"]),
        ("aded.56a", ["there is no such part", "Did you mean `added.56a`?"]),
        ("Added", ["a part, or one of a lamp's two filaments, such as `headlamp-left.56a`"]),
    ],
)
def test_a_look_at_what_is_not_there_is_told(tmp_path: Path, target: str, says: list[str]) -> None:
    """Two filaments have no light in common, one filament no terminal to be named by."""
    small = _with(tmp_path, _HEAD, (LAMP, "symptoms:\n", _LOOK % target))
    (problem,) = small.problems()
    assert problem.place == small.at(LAMP, target, after="head-main")
    for words in says:
        assert words in str(problem)


def test_a_look_at_a_filament_goes_with_its_lamp(tmp_path: Path) -> None:
    """Where the vehicle does not have the lamp, nobody is asked about its filaments."""
    small = _with(
        tmp_path,
        _HEAD,
        (LAMP, "symptoms:\n", _LOOK % "added.56a"),
        (CAR, "circuits: [lamp]\n", "circuits: [lamp]\noverrides: {parts: {added: {fitted: absent}}}\n"),
    )
    assert "head-main" not in small.load().checks


# ---------------------------------------------------------------- temperature


@pytest.mark.parametrize(
    ("text", "celsius"),
    [("20 degC", 20.0), ("-15 degC", -15.0), ("0 °C", 0.0), ("4,5 degC", 4.5), ("14 degF", -10.0), ("95 °F", 35.0)],
)
def test_a_temperature_may_be_zero_and_below(text: str, celsius: float) -> None:
    """Looms freeze; every other quantity of a vehicle is above zero."""
    assert parse_quantity(text, "degC") == pytest.approx(celsius)


@pytest.mark.parametrize("text", ["20", "20 K", "20 A", "-273 degC", "900 degC", "warm", "20 ohm"])
def test_what_is_no_temperature_of_a_vehicle_is_refused(text: str) -> None:
    """An absolute temperature, a bare number or one at which the loom burns is a slip."""
    with pytest.raises(UnitError, match="temperature"):
        parse_quantity(text, "degC")


def test_the_vehicle_says_how_warm_its_loom_is(tmp_path: Path) -> None:
    """`ambient-c` is read with its unit, and told at its place where it is none."""
    good = write_small(tmp_path / "good", (CAR, "history:", "ambient-c: -5 degC\nhistory:"))
    assert good.load().vehicle.ambient_c == -5
    bad = write_small(tmp_path / "bad", (CAR, "history:", "ambient-c: 300 degC\nhistory:"))
    (problem,) = bad.problems()
    assert problem.place == bad.at(CAR, "300 degC")
    assert "a temperature of a believable size, such as `20 degC`" in str(problem)


def test_the_kinds_are_those_that_a_kinds_file_may_name(tmp_path: Path) -> None:
    """Modes of a kind that does not exist would never be met."""
    assert len(schema.PART_KINDS) == len(set(schema.PART_KINDS)) == 28
    small = write_small(tmp_path, ("kinds.yaml", "  battery:\n", "  batery:\n"))
    (problem,) = small.problems()
    assert "Did you mean `battery`?" in str(problem)


def test_a_mark_names_a_terminal_that_is_there(tmp_path: Path) -> None:
    """What is stamped on a part is told beside our name for it; a slip would be told beside none."""
    good = _with(tmp_path / "good", '{kind: regulator, title: Regulator, place: front, marks: {B+: "51"}}').load()
    assert [good.parts["added"].spelled(name) for name in ("B+", "61")] == ["51 (B+)", "61"]
    small = _with(tmp_path / "slip", '{kind: regulator, title: Regulator, place: front, marks: {BX: "51"}}')
    (problem,) = small.problems()
    assert "there is no such terminal" in str(problem)
    assert "`BX`" in str(problem)


def test_a_breaker_names_positions_of_its_own_control(tmp_path: Path) -> None:
    """An engine at rest leaves its points anyhow; a file may give them a control."""
    (problem,) = _with(tmp_path, "{kind: breaker, title: Points, place: front, closed-when: [shut]}").problems()
    assert "position of `engine`" in str(problem)
