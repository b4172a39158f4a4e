"""What one vehicle's knowledge holds after joining its files, overrides and leaving out."""

from __future__ import annotations

from pathlib import Path

import pytest

from diag.errors import KnowledgeError
from diag.knowledge.assemble import operate_key, terminals_of
from diag.knowledge.schema import FusePart, LampPart
from tests.knowledge.small import SMALL, write_small

LAMP, SHARED, CAR = "circuits/lamp.yaml", "shared.yaml", "vehicles/small.yaml"

SECOND = """\
circuit: second
title: Second lamp
needs: [lamp]
parts:
  side-lamp: {kind: lamp, title: Side lamp, place: front, terminals: ["58", "31"], test-w: 5 W}
wires:
  side-feed: {from: fuse-lamp.out, to: side-lamp.58, colour: yellow, section-mm2: 0.75 mm2, length-m: 2 m}
  side-earth: {from: side-lamp.31, to: earth-front.31, colour: brown, section-mm2: 0.75 mm2, length-m: 0.3 m}
checks:
  - {id: side-on, title: Side lamp, kind: look, operate: {ignition: "on"}, target: side-lamp, place: front}
rules:
  - id: second/side-dark
    title: Side lamp dark
    when: [{check: side-on, light: dark}, {check: lamp-on, light: dark}]
    then: [{points-to: fuse-lamp.blown, weight: 3}, {establish: both-dark}]
    because: They share the fuse.
    source: common practice, no source
    state: draft
"""
SPANNING = """\
  - id: shared/both-dark-with-volts
    title: Both dark
    when: [{established: both-dark}, {check: battery-volts, above: 12}]
    then: [{points-to: fuse-lamp.blown, weight: 3}]
    because: They share the fuse.
    source: common practice, no source
    state: draft
"""


def car(text: str) -> tuple[str, str, str]:
    return CAR, "circuits: [lamp]\n", f"circuits: [lamp]\n{text}"


def test_parts_fuses_and_earths_are_one_mapping_in_the_order_of_the_files(tmp_path: Path) -> None:
    """Everything after this room speaks of parts and terminals alone."""
    know = write_small(tmp_path).load()
    assert list(know.parts) == ["battery", "key-switch", "earth-main", "work-lamp", "fuse-lamp", "earth-front"]
    assert know.terminals == (
        "battery.B+",
        "battery.B-",
        "key-switch.30",
        "key-switch.15",
        "earth-main.31",
        "work-lamp.55",
        "work-lamp.31",
        "fuse-lamp.in",
        "fuse-lamp.out",
        "earth-front.31",
    )
    assert list(know.circuits) == ["supply", "lamp", "shared"]
    assert know.controls["ignition"] == ("off", "on")
    assert know.places["front"] == "in front of the vehicle"
    assert isinstance(know.parts["fuse-lamp"], FusePart)
    assert know.circuit_of["lamp-feed"] == "lamp"
    assert know.circuit_of["shared/low-battery-dims"] == "shared"
    assert know.circuit_of["work-lamp.glass-painted"] == "lamp"
    assert set(know.rules) == {"shared/low-battery-dims", "lamp/feed-without-light", "lamp/fed-with-right-fuse"}


def test_places_lead_to_the_entry_and_inside_it(tmp_path: Path) -> None:
    """Later rooms report a wrong cause at the very word that cites it."""
    small = write_small(tmp_path)
    know = small.load()
    assert know.places_of["lamp-feed"] == small.at(LAMP, "lamp-feed")
    assert know.spots.place("lamp-feed", "colour") == small.at(LAMP, "green/white")
    assert know.spots.place("lamp/feed-without-light", "then", 0, "points-to") == small.at(LAMP, "work-lamp.open")


def test_kinds_without_a_list_have_their_usual_terminals(tmp_path: Path) -> None:
    """The numbers follow DIN 72552."""
    know = write_small(
        tmp_path,
        (
            LAMP,
            "parts:\n",
            """parts:
  unit: {kind: flasher-unit, title: Unit, place: front, rated-w: 92 W}
  horn: {kind: horn, title: Horn, place: front, current-a: 4 A}
  sender: {kind: sender, title: Sender, place: front, closed-when: [stopped]}
  dynamo: {kind: dynamo, title: Dynamo, place: front, emf-v: 15 V}
  regulator: {kind: regulator, title: Regulator, place: front}
""",
        ),
    ).load()
    found = {name: terminals_of(know.parts[name]) for name in ("unit", "horn", "sender", "dynamo", "regulator")}
    assert found == {
        "unit": ("49", "49a", "C", "31"),
        "horn": ("71", "31b"),
        "sender": ("G",),
        "dynamo": ("D+", "DF"),
        "regulator": ("B+", "D+", "DF", "61", "31"),
    }


def test_operates_that_say_the_same_have_one_key() -> None:
    """Predictions are kept by it."""
    assert operate_key({"turn": "left", "ignition": "on"}) == (("ignition", "on"), ("turn", "left"))
    assert operate_key({}) == ()


def test_an_override_changes_only_what_it_names(tmp_path: Path) -> None:
    """A vehicle with another lamp needs one line."""
    small = write_small(tmp_path, car("overrides: {parts: {work-lamp: {test-w: 45 W}}}\n"))
    know = small.load()
    lamp = know.parts["work-lamp"]
    assert isinstance(lamp, LampPart)
    assert lamp.test_w == pytest.approx(45)
    assert lamp.title == "Work lamp"
    assert know.circuits["lamp"].parts["work-lamp"] == lamp
    assert know.spots.place("work-lamp", "test-w") == small.at(CAR, "45 W")
    assert know.spots.place("work-lamp", "title") == small.at(LAMP, "Work lamp", after="work-lamp: {")


@pytest.mark.parametrize(
    ("override", "spot", "says"),
    [
        ("{parts: {work-lamp: {test-w: 45 A}}}", "45 A", "not a unit of power"),
        ("{parts: {work-lamp: {test-wt: 45 W}}}", "test-wt", "Did you mean `test-w`?"),
        ("{parts: {work-lam: {test-w: 45 W}}}", "work-lam:", "Did you mean `work-lamp`?"),
        ("{parts: {fuse-lamp: {rating-a: 8 A}}}", "fuse-lamp", "Move it under `fuses`."),
        ("{parts: {work-lamp: {fitted: no}}}", "no}", "`fitted: absent`"),
        ("{wires: {lamp-feed: {to: work-lamp.57}}}", "work-lamp.57", "no such terminal"),
        ("{wire: {lamp-feed: {length-m: 3 m}}}", "wire:", "cannot be used as a key"),
    ],
)
def test_a_wrong_override_is_told_in_the_vehicles_file(tmp_path: Path, override: str, spot: str, says: str) -> None:
    """The mistake is in the vehicle's file, not in the circuit's."""
    small = write_small(tmp_path, car(f"overrides: {override}\n"))
    (problem,) = small.problems()
    assert says in str(problem)
    assert problem.place == small.at(CAR, spot)


def test_an_override_may_add_a_wire_of_its_own(tmp_path: Path) -> None:
    """Alterations add wires that no circuit file knows."""
    added = (
        "overrides: {wires: {second-earth: {from: work-lamp.31, to: earth-main.31, colour: black,"
        " section-mm2: 1 mm2, length-m: 2 m}}}\n"
    )
    know = write_small(tmp_path, car(added)).load()
    assert know.wires["second-earth"].to == "earth-main.31"
    assert know.circuit_of["second-earth"] == "shared"
    assert Path(know.places_of["second-earth"].file).name == "small.yaml"


def test_needed_circuits_are_loaded_too(tmp_path: Path) -> None:
    """A circuit that uses another's fuse must not depend on the vehicle's author knowing it."""
    know = write_small(tmp_path, (CAR, "[lamp]", "[second]"), second=SECOND).load()
    assert list(know.circuits) == ["supply", "second", "lamp", "shared"]


def test_a_part_that_is_absent_takes_with_it_what_rests_on_it(tmp_path: Path) -> None:
    """A check of a lamp that is not there would be asked in vain."""
    know = write_small(
        tmp_path,
        (CAR, "circuits: [lamp]\n", "circuits: [lamp, second]\noverrides: {parts: {side-lamp: {fitted: absent}}}\n"),
        (SHARED, "rules:\n", "rules:\n" + SPANNING),
        second=SECOND,
    ).load()
    assert "side-lamp" not in know.parts
    assert not {"side-feed", "side-earth"} & set(know.wires)
    assert "side-on" not in know.checks
    assert not {"second/side-dark", "shared/both-dark-with-volts"} & set(know.rules)
    assert "lamp/feed-without-light" in know.rules, "what does not rest on it stays"
    assert "side-lamp" not in know.circuit_of


def test_shared_rules_of_circuits_that_are_not_fitted_are_left_out(tmp_path: Path) -> None:
    """One shared file serves vehicles with many circuits and with few."""
    changes = (SHARED, "rules:\n", "rules:\n" + SPANNING)
    few = write_small(tmp_path / "few", changes, second=SECOND).load()
    assert "shared/both-dark-with-volts" not in few.rules
    many = write_small(tmp_path / "many", changes, (CAR, "[lamp]", "[lamp, second]"), second=SECOND).load()
    assert "shared/both-dark-with-volts" in many.rules


def test_a_slip_in_shared_is_told_even_if_a_circuit_is_not_fitted(tmp_path: Path) -> None:
    """Leaving out must not hide mistakes."""
    wrong = SPANNING.replace("established: both-dark", "established: both-drak")
    small = write_small(tmp_path, (SHARED, "rules:\n", "rules:\n" + wrong), second=SECOND)
    (problem,) = small.problems()
    assert problem.place == small.at(SHARED, "both-drak")


def test_a_circuit_that_uses_another_without_needing_it_is_told(tmp_path: Path) -> None:
    """It would work on one vehicle and fail on the next."""
    small = write_small(
        tmp_path,
        (CAR, "[lamp]", "[second]"),
        (SHARED, SMALL[SHARED], "circuit: shared\ntitle: None\n"),
        second=SECOND.replace("needs: [lamp]\n", ""),
    )
    told = [str(problem) for problem in small.problems()]
    assert any("`lamp-on`" in text and "add that circuit to `needs`" in text for text in told)
    assert any("fuse-lamp.out" in text and "add that circuit to `needs`" in text for text in told)


BESIDE = """\
circuit: third
title: Third lamp
beside: [second]
parts:
  third-lamp: {kind: lamp, title: Third lamp, place: front, terminals: ["58", "31"], test-w: 5 W}
wires:
  third-feed: {from: key-switch.15, to: third-lamp.58, colour: yellow, section-mm2: 0.75 mm2, length-m: 2 m}
checks:
  - {id: third-on, title: Third lamp, kind: look, operate: {ignition: "on"}, target: third-lamp, place: front}
  - {id: third-and-side, title: Side lamp, kind: look, operate: {ignition: "on"}, target: side-lamp, place: front}
rules:
  - id: third/both
    title: Third lamp dark and side lamp lit
    when: [{check: third-on, light: dark}]
    then: [{points-to: third-feed.open, weight: 3}, {clears: side-feed.open}, {ask: side-on}]
    because: The side lamp has a feed.
    source: common practice, no source
    state: draft
"""


def test_a_circuit_may_speak_of_another_only_where_that_is_fitted(tmp_path: Path) -> None:
    """A motorcycle has headlamps without turn lamps; what is said of both drops out there and stands elsewhere."""
    alone = write_small(tmp_path / "alone", (CAR, "[lamp]", "[lamp, third]"), second=SECOND, third=BESIDE).load()
    assert "second" not in alone.circuits
    assert ("third-on" in alone.checks, "third-and-side" in alone.checks) == (True, False)
    assert [effect.points_to for effect in alone.rules["third/both"].then] == ["third-feed.open"]
    both = write_small(tmp_path / "both", (CAR, "[lamp]", "[lamp, second, third]"), second=SECOND, third=BESIDE).load()
    assert "third-and-side" in both.checks
    assert len(both.rules["third/both"].then) == 3


def test_beside_names_circuits_that_exist_and_forgives_no_others(tmp_path: Path) -> None:
    """A slip in it, or in what is said of a third circuit, must not be hidden by leaving out."""
    wrong = BESIDE.replace("beside: [second]", "beside: [secnd]")
    told = write_small(tmp_path / "slip", (CAR, "[lamp]", "[lamp, third]"), second=SECOND, third=wrong).problems()
    assert any("`secnd`" in str(problem) and "Did you mean `second`" in str(problem) for problem in told)
    wrong = BESIDE.replace("beside: [second]\n", "")
    told = write_small(tmp_path / "none", (CAR, "[lamp]", "[lamp, third]"), second=SECOND, third=wrong).problems()
    assert any("`beside`" in str(problem) for problem in told)


def test_a_check_that_makes_no_sense_is_taken_away_with_what_rests_on_it(tmp_path: Path) -> None:
    """A question about both headlamps is none for a motorcycle; a slip in its id is told."""
    over = "circuits: [lamp]\noverrides: {checks: {lamp-on: {fitted: absent}}}\n"
    know = write_small(tmp_path / "gone", (CAR, "circuits: [lamp]\n", over)).load()
    assert "lamp-on" not in know.checks
    assert not [rule for rule in know.rules.values() if any(one.check == "lamp-on" for one in rule.when)]
    for wrong, says in (("lamp-no: {fitted: absent}", "Did you mean `lamp-on`?"), ("lamp-on: {title: x}", "absent")):
        small = write_small(
            tmp_path / wrong[:7] / says[:3],
            (CAR, "circuits: [lamp]\n", f"circuits: [lamp]\noverrides: {{checks: {{{wrong}}}}}\n"),
        )
        assert any(says in str(problem) for problem in small.problems())


def test_a_part_called_otherwise_is_called_so_wherever_it_is_read(tmp_path: Path) -> None:
    """On a motorcycle nobody looks for a left lamp; names of one word stay, they mean too much else."""
    over = "overrides: {parts: {side-lamp: {title: Pilot lamp}, key-switch: {title: Ignition switch}}}\n"
    second = SECOND.replace("title: Side lamp dark", "title: The side lamp is dark, sides are lit")
    know = write_small(tmp_path, (CAR, "circuits: [lamp]\n", f"circuits: [lamp, second]\n{over}"), second=second).load()
    assert know.parts["side-lamp"].title == "Pilot lamp"
    assert know.checks["side-on"].title == "Pilot lamp"
    assert know.rules["second/side-dark"].title == "The pilot lamp is dark, sides are lit"


def test_the_hash_follows_the_content_and_not_the_layout(tmp_path: Path) -> None:
    """A journal says by it whether the knowledge is still the same."""
    plain = write_small(tmp_path / "a").load().content_hash
    layout = write_small(tmp_path / "b", (LAMP, "title: Work lamp\n", "# a comment\ntitle:   'Work lamp'\n")).load()
    words = write_small(tmp_path / "c", (LAMP, "title: Work lamp\n", "title: Work lamps\n")).load()
    override = write_small(tmp_path / "d", car("overrides: {parts: {work-lamp: {test-w: 45 W}}}\n")).load()
    assert len(plain) == 16
    assert layout.content_hash == plain
    assert len({plain, words.content_hash, override.content_hash}) == 3


def test_fuses_and_earths_need_not_say_their_kind(tmp_path: Path) -> None:
    """The heading says it; a wrong one is still refused."""
    write_small(tmp_path / "said", (LAMP, "fuse-lamp: {", "fuse-lamp: {kind: fuse, ")).load()
    with pytest.raises(KnowledgeError, match="found `lamp`"):
        write_small(tmp_path / "wrong", (LAMP, "fuse-lamp: {", "fuse-lamp: {kind: lamp, ")).load()
