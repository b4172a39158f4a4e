"""What a fitter knows of these alterations, held against what the sheet says and the network computes.

source of all expectations: common practice, no source; terminal marks DIN 72552
"""

from __future__ import annotations

from functools import partial
from pathlib import Path

import pytest

from diag.alter.guarding import unguarded
from diag.alter.work import Altered
from diag.calc.copper import continuous_a
from diag.circuit.parts import build_network
from diag.errors import DiagError
from diag.knowledge.load import load_knowledge
from tests.alter.vehicles import altered, vehicle


def proofs(done: Altered) -> dict[str, str]:
    return {row.check_id: row.shows for row in done.sheet.proofs}


def actions(done: Altered) -> dict[str, tuple[str, str, str]]:
    return {row.wire.split(" (")[0]: (row.action, row.was, row.now) for row in done.sheet.map}


turning = partial(vehicle, circuits="turn-signals")
charging = partial(vehicle, circuits="charge-warning")
heading = partial(vehicle, circuits="headlamps")
horning = partial(vehicle, circuits="horn")


# ---------------------------------------------------------------- flasher unit


def test_battery_off_before_a_flasher_unit_is_replaced(tmp_path: Path) -> None:
    """49 may be live with the key off, by the hazard switch: a spanner there finds the body."""
    steps = altered(turning(tmp_path), "flasher-unit").sheet.steps
    off = next(i for i, step in enumerate(steps) if step.startswith("Battery off"))
    replaced = next(i for i, step in enumerate(steps) if step.startswith("Replace: Flasher unit"))
    assert off < replaced


@pytest.mark.parametrize("unit", ["four", "three", "two"])
def test_after_a_flasher_unit_left_right_and_hazard_are_proved_with_the_tell_tale(tmp_path: Path, unit: str) -> None:
    """Hazard with the key off too: it has a feed and a fuse of its own."""
    found = proofs(altered(turning(tmp_path), "flasher-unit", f"unit={unit}"))
    for check in ("turn-left-front", "turn-left-rear", "turn-right-front", "turn-right-rear"):
        assert found[check] == "normal, flashing"
    for check in ("hazard-front-left", "hazard-rear-left", "hazard-front-right", "hazard-rear-right"):
        assert found[check] == "normal, flashing"
    for check in ("turn-left-tell-tale", "turn-right-tell-tale"):
        assert found[check] == "normal, flashing"
    assert found["hazard-key-on-front-left"] == "normal, flashing"


def test_the_tell_tale_on_hazard_goes_by_where_it_hangs(tmp_path: Path) -> None:
    """Between the sides both its ends rise together and it stays dark; on C it flashes."""
    across = proofs(altered(turning(tmp_path / "a"), "flasher-unit"))
    at_c = proofs(altered(turning(tmp_path / "b"), "flasher-unit", "unit=three", "tell-tale=at-c"))
    assert across["hazard-tell-tale"] == "dark"
    assert at_c["hazard-c-tell-tale"] == "normal, flashing"
    assert "hazard-tell-tale" not in at_c


def test_a_unit_with_fewer_terminals_leaves_wires_over(tmp_path: Path) -> None:
    """Two terminals: 49 and 49a stay, the earth wire comes off and is insulated."""
    done = altered(turning(tmp_path), "flasher-unit", "unit=two")
    found = actions(done)
    assert found["Earth of the flasher unit"][0] == "off"
    assert found["Feed of the flasher unit"][::2] == ("back", "Hazard switch 49 - Flasher unit 49")
    assert found["Flasher unit to turn switch"][::2] == ("back", "Flasher unit 49a - Turn switch 49a")
    assert any("Insulate" in step for step in done.sheet.steps)
    assert any("Flasher unit 31" in text and "insulate" in text for text in done.sheet.marks)


def test_a_tell_tale_needs_c_on_the_unit(tmp_path: Path) -> None:
    with pytest.raises(DiagError, match="do not go together"):
        altered(turning(tmp_path), "flasher-unit", "unit=two", "tell-tale=at-c")


def test_old_marks_lead_to_the_new_ones(tmp_path: Path) -> None:
    """15+ is 49, S and 54L are 49a, K and P are C: published lists of old and new marks."""
    marks = altered(turning(tmp_path), "flasher-unit").sheet.marks
    for old, new in (("15+", "-> 49"), ("54L", "-> 49a"), ("K1", "-> C")):
        assert next(text for text in marks if old in text).endswith(new)


def test_a_thermal_unit_for_one_side_is_doubted_with_hazard(tmp_path: Path) -> None:
    """Twice the load heats it twice as much: hazard goes fast, left and right are right."""
    done = altered(turning(tmp_path), "flasher-unit", "technique=thermal")
    doubts = " ".join(done.sheet.doubts)
    assert "hazard" in doubts and "fast" in doubts
    assert "left signal" not in doubts


def test_a_unit_made_for_twice_the_lamps_is_doubted(tmp_path: Path) -> None:
    """With half its load an electronic unit flashes fast, as if a lamp were out."""
    done = altered(turning(tmp_path), "flasher-unit", "rated-w=84 W")
    assert any("left signal" in text and "fast" in text for text in done.sheet.doubts)


# ---------------------------------------------------------------- regulator


def test_on_the_regulator_every_wire_comes_to_the_terminal_of_its_meaning(tmp_path: Path) -> None:
    """B+ carries the battery feed, 61 the charge lamp, D+ and DF go to the same names on the dynamo."""
    known = altered(charging(tmp_path), "regulator").after.knowledge
    ends = {name: {wire.from_, wire.to} for name, wire in known.wires.items()}
    at = {end: name for name, pair in ends.items() for end in pair if end.startswith("regulator.")}
    assert ends[at["regulator.B+"]] == {"regulator.B+", "bus-30.B+"}
    assert ends[at["regulator.61"]] == {"regulator.61", "charge-lamp.61"}
    assert ends[at["regulator.D+"]] == {"regulator.D+", "dynamo.D+"}
    assert ends[at["regulator.DF"]] == {"regulator.DF", "dynamo.DF"}


def test_an_older_loom_with_tell_tale_and_output_on_one_terminal_is_parted(tmp_path: Path) -> None:
    """D+/61 of an older regulator: the tell-tale's wire moves to 61 and the sheet says from where."""
    joined = "overrides:\n  wires:\n    charge-61-wire: {to: regulator.D+}\n"
    done = altered(charging(tmp_path, more=joined), "regulator")
    action, was, now = actions(done)["Charge tell-tale to the regulator"]
    assert action == "move"
    assert was.endswith("D+") and now.endswith("61")
    assert "to: regulator.61" in done.text and "to: regulator.D+" in done.text  # the dynamo's own
    found = proofs(done)
    assert found["charge-key-on"] == "normal, steady"
    assert found["charge-running"] == "dark"


def test_swapped_dynamo_wires_are_put_right(tmp_path: Path) -> None:
    """Another order of the terminals: D+ and DF had changed places."""
    swapped = (
        "overrides:\n  wires:\n    dynamo-main-wire: {to: regulator.DF}\n    dynamo-field-wire: {to: regulator.D+}\n"
    )
    found = actions(altered(charging(tmp_path, more=swapped), "regulator"))
    assert found["Dynamo output to the regulator"][0] == "move"
    assert found["Field wire of the dynamo"][0] == "move"


def test_marks_of_the_old_part_stand_before_the_new_ones(tmp_path: Path) -> None:
    """A regulator stamped with other letters: the sheet leads from what is read to what is read."""
    stamped = "overrides:\n  parts:\n    regulator: {marks: {B+: BAT, D+: GEN}}\n"
    done = altered(charging(tmp_path, more=stamped), "regulator")
    action, was, now = actions(done)["Regulator to the battery feed"]
    assert (action, was.split(" - ")[0], now.split(" - ")[0]) == (
        "back",
        "Regulator with cut-out BAT (B+)",
        "Regulator with cut-out B+",
    )
    assert "marks" not in done.text


@pytest.mark.parametrize(("field", "touched"), [("to-earth", "DF of the dynamo"), ("to-output", "D+ of the dynamo")])
def test_a_dynamo_is_polarised_by_the_way_of_its_field(tmp_path: Path, field: str, touched: str) -> None:
    """With DF off the regulator in either case, or its contacts burn; after the battery is on, before the proof."""
    described = f"options: {{charge-warning: {{field: {field}}}}}\n"
    steps = altered(charging(tmp_path, more=described), "regulator").sheet.steps
    (at,) = [i for i, step in enumerate(steps) if step.startswith("Polarise")]
    assert f"pole to {touched}" in " ".join(steps[at].split())
    assert "DF off the regulator" in steps[at]
    assert at > next(i for i, step in enumerate(steps) if step.startswith("Battery on"))


# ---------------------------------------------------------------- headlamp relay


@pytest.mark.parametrize("system_v", [6, 12])
def test_relays_bring_the_lamps_more_volts_and_spare_the_switches(tmp_path: Path, system_v: int) -> None:
    """Dipped beam: more volts on each lamp, less lost on the way, a twentieth of the current in the dip switch."""
    done = altered(heading(tmp_path, system_v), "headlamp-relay")
    lights = {"lights": "head"}
    for side in ("left", "right"):
        ends = f"headlamp-{side}.56b", f"headlamp-{side}.31"
        was, now = done.before.volts(lights, *ends), done.after.volts(lights, *ends)
        assert was is not None and now is not None and now > was
        lost_was, lost_now = (part.volts(lights, "battery.B+", ends[0]) for part in (done.before, done.after))
        assert lost_was is not None and lost_now is not None and lost_now < lost_was
    was_a, now_a = (part.amps(lights, "headlamp-feed") for part in (done.before, done.after))
    assert was_a is not None and now_a is not None and now_a < was_a / 20


def test_a_tired_light_switch_gains_most_by_a_relay(tmp_path: Path) -> None:
    """A tenth of an ohm in the old switch costs most of a volt; behind a relay next to nothing."""
    tired = "overrides:\n  parts:\n    light-switch: {contact-ohm: 0.1 ohm}\n"
    done = altered(heading(tmp_path, more=tired), "headlamp-relay")
    ends = "headlamp-left.56b", "headlamp-left.31"
    was, now = (part.volts({"lights": "head"}, *ends) or 0.0 for part in (done.before, done.after))
    assert now - was > 0.5


def test_wires_that_no_fuse_guards_are_named(tmp_path: Path) -> None:
    """Old light switches are fed unfused: so then are the wires to the coils, and what runs to the relay is not."""
    done = altered(heading(tmp_path), "headlamp-relay")
    said = " ".join(done.sheet.unguarded)
    assert "Dip switch to the relay of the dipped beam" in said
    assert "Feed of the relay" not in said and "Earth wire" not in said
    fused = (
        "overrides:\n  fuses:\n    fuse-lights: {title: Fuse of the light switch, place: fuse-box, rating-a: 25 A}\n"
        "  wires:\n    light-switch-feed: {from: fuse-lights.out}\n    lights-fuse-feed: {from: bus-30.2, to: "
        "fuse-lights.in, colour: red, section-mm2: 4 mm2, length-m: 0.1 m}\n"
    )
    assert altered(heading(tmp_path / "b", more=fused), "headlamp-relay").sheet.unguarded == ()


@pytest.mark.parametrize("earth", ["negative", "positive"])
def test_starter_cable_and_feed_bar_stand_before_every_fuse(tmp_path: Path, earth: str) -> None:
    """Whichever pole is earthed; behind a fuse, or behind a winding, nothing is unguarded."""
    known = load_knowledge(vehicle(tmp_path, earth=earth))
    bare = unguarded(known, build_network(known))
    assert {"battery-cable", "main-feed", "key-switch-feed", "headlamp-feed", "regulator-feed"} <= bare
    assert bare.isdisjoint({"turn-key-feed", "horn-feed", "dip-left-wire", "stop-wire", "main-earth-cable"})


def test_a_longer_way_wants_a_thicker_wire(tmp_path: Path) -> None:
    """The section is worked out, not typed in: the same loss at four times the length."""
    short, long = (
        altered(heading(tmp_path / name), "headlamp-relay", f"length={length}").after.knowledge.wires["dip-relay-feed"]
        for name, length in (("a", "0.5 m"), ("b", "2 m"))
    )
    assert (short.length_m, long.length_m) == (0.5, 2.0)
    assert long.section_mm2 > short.section_mm2


def test_relays_are_not_fitted_twice(tmp_path: Path) -> None:
    path = heading(tmp_path)
    path.write_text(altered(path, "headlamp-relay").text, encoding="utf-8")
    with pytest.raises(DiagError, match="headlamps.relays `both`; expected `none`"):
        altered(path, "headlamp-relay")


# ---------------------------------------------------------------- horn relay, alternator


def test_a_horn_relay_spares_the_column_and_brings_the_horn_its_volts(tmp_path: Path) -> None:
    """The column carries a coil's seventh of an ampere; the horn hangs on fuse and earth by short wires."""
    done = altered(horning(tmp_path), "horn-relay")
    press = {"horn-button": "pressed"}
    was, now = (side.amps(press, "slip-ring-wire") for side in (done.before, done.after))
    assert was is not None and now is not None and now < 0.05 * was
    volts = [side.volts(press, "horn.71", "horn.31b") or 0.0 for side in (done.before, done.after)]
    assert volts[1] > volts[0]
    assert proofs(done)["horn-sound"] == "sound" and proofs(done)["horn-rest"] == "none"


def test_an_alternators_cable_bears_its_full_output(tmp_path: Path) -> None:
    """Not what flows in the test, but what is stamped on it: 45 A in 4 mm² would cook."""
    small, large = (
        altered(charging(tmp_path / name), "alternator", f"output={amps}").after.knowledge.wires
        for name, amps in (("a", "25 A"), ("b", "55 A"))
    )
    for wires, amps in ((small, 25.0), (large, 55.0)):
        assert continuous_a(wires["alternator-cable"].section_mm2) >= amps
        assert continuous_a(wires["main-feed"].section_mm2) >= amps
    assert small["main-feed"].section_mm2 == 6.0, "what is thick enough stays"
    assert large["main-feed"].section_mm2 > 6.0


def test_with_an_alternator_the_tell_tale_comes_to_d_plus_and_the_regulators_wires_go(tmp_path: Path) -> None:
    """Lamp on D+, which first feeds the field; nothing is left hanging on B+ of a regulator that is gone."""
    done = altered(charging(tmp_path), "alternator")
    found = actions(done)
    assert found["Charge tell-tale to the alternator"][0] == "move"
    assert found["Charge tell-tale to the alternator"][2].endswith("Alternator D+")
    assert {row.action for row in done.sheet.map if "Dynamo" in row.was} == {"off"}
    assert "charge-lamp.61" in {done.after.knowledge.wires["charge-61-wire"].from_}
    assert proofs(done)["charge-key-on"] == "normal, steady" and proofs(done)["charge-running"] == "dark"


def test_an_alternator_is_refused_where_plus_is_earthed(tmp_path: Path) -> None:
    """Its diodes would be gone at the first touch of the clamp."""
    with pytest.raises(DiagError, match="earth `positive`; expected `negative`"):
        altered(charging(tmp_path, earth="positive"), "alternator")


def test_volts_that_a_wire_loses_are_its_own(tmp_path: Path) -> None:
    """Not the battery's that stand across a wire taken off for a check."""
    done = altered(horning(tmp_path), "horn-relay")
    assert done.after.most_lost_v("horn-to-column") < 0.1


# ---------------------------------------------------------------- from 6 V to 12 V


@pytest.fixture(scope="module")
def twelve(tmp_path_factory: pytest.TempPathFactory) -> Altered:
    measured = (
        "overrides:\n  parts:\n    turn-tell-tale: {test-w: 1.2 W, test-v: 6.75 V}\n    horn: {current-a: 9 A}\n"
        "  fuses:\n    fuse-horn: {rating-a: 25 A}\n  wires:\n    main-feed: {section-mm2: 16 mm2}\n"
    )
    return altered(vehicle(tmp_path_factory.mktemp("six"), 6, more=measured, earth="positive"), "six-to-twelve")


def test_every_lamp_is_changed_for_one_of_the_same_watts(twelve: Altered) -> None:
    """What is forgotten lights once."""
    was, now = twelve.before.knowledge.parts, twelve.after.knowledge.parts
    needed = " ".join(twelve.sheet.needed)
    lamps = [name for name, part in was.items() if part.kind in ("lamp", "two-filament-lamp")]
    assert len(lamps) >= 10
    for name in lamps:
        assert now[name].test_w == was[name].test_w  # type: ignore[union-attr]
        assert now[name].test_v == pytest.approx(2 * was[name].test_v)  # type: ignore[union-attr]
        assert was[name].title in needed


def test_what_was_measured_on_the_vehicle_is_taken_along(twelve: Altered) -> None:
    """A tell-tale of its own watts, a horn of its own current, a fuse; and the pole stays earthed."""
    parts = twelve.after.knowledge.parts
    assert parts["horn"].current_a == pytest.approx(4.5)  # type: ignore[union-attr]
    assert parts["fuse-horn"].rating_a == 16  # type: ignore[union-attr]
    assert parts["turn-tell-tale"].test_v == pytest.approx(13.5)  # type: ignore[union-attr]
    assert twelve.after.knowledge.vehicle.earth == "positive"


def test_wires_stay_and_their_currents_and_drops_halve(twelve: Altered) -> None:
    """The loom is not touched: half the current in the same copper loses half the volts."""
    assert twelve.sheet.map == ()
    for name, wire in twelve.before.knowledge.wires.items():
        assert twelve.after.knowledge.wires[name].section_mm2 == wire.section_mm2
    ratio = twelve.after.most_amps("main-feed") / twelve.before.most_amps("main-feed")
    assert 0.45 < ratio < 0.58
    lost = twelve.after.most_lost_v("main-feed") / twelve.before.most_lost_v("main-feed")
    assert lost == pytest.approx(ratio, rel=1e-3)


def test_only_a_six_volt_vehicle_becomes_one_of_twelve(tmp_path: Path) -> None:
    with pytest.raises(DiagError, match="6 V"):
        altered(vehicle(tmp_path), "six-to-twelve")
