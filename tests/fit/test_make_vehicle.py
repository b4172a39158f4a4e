"""Whatever is answered, what comes out is a vehicle's file that loads and says what was answered."""

from __future__ import annotations

from pathlib import Path
from random import Random

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from diag.circuit.parts import build_network
from diag.fit.checking import doubts
from diag.fit.compose import make_vehicle, vehicle_id
from diag.fit.interview import fitted, length_m, next_asked, path
from diag.fit.questions import Catalogue
from diag.knowledge.load import load_knowledge
from diag.knowledge.schema import BatteryPart, LampPart
from tests.fit.answering import answers_by_chance
from tests.vehicles.healthy import Vehicle, broken_limits

CATALOGUE = Catalogue.read()


@pytest.mark.parametrize("volts", ["6", "12", "24"])
@pytest.mark.parametrize("earth", ["negative", "positive"])
@settings(max_examples=2, deadline=None, phases=[Phase.generate], suppress_health_check=list(HealthCheck))
@given(seed=st.integers(0, 2**32))
def test_any_answers_make_a_vehicle_that_loads(
    tmp_path_factory: pytest.TempPathFactory, volts: str, earth: str, seed: int
) -> None:
    """Twenty questions have millions of ways through; none may end in a file that the program refuses."""
    answers = answers_by_chance(CATALOGUE, Random(seed), system_v=volts, earth=earth)
    made = make_vehicle(CATALOGUE, answers)
    file = tmp_path_factory.mktemp("made") / "vehicle.yaml"
    file.write_text(made.text, encoding="utf-8")
    knowledge = load_knowledge(file)
    vehicle = knowledge.vehicle
    assert knowledge.content_hash == made.knowledge.content_hash
    earth = answers.get("earth", "negative")  # nobody is asked that of a trailer
    assert (vehicle.title, vehicle.earth, vehicle.history) == (answers["title"], earth, answers["history"])
    assert vehicle.system_v == float(volts)
    assert vehicle.assumed == "all"
    assert set(fitted(CATALOGUE, answers)) <= set(knowledge.circuits)
    for name, choices in vehicle.options.items():
        for option, value in choices.items():
            assert answers.get(f"{name}.{option}", value) == value
    # the battery is right: cells for the volts, the earthed pole on body's side
    battery = next(part for part in knowledge.parts.values() if isinstance(part, BatteryPart))
    assert battery.rest_v == pytest.approx(12.6 * float(volts) / 12, rel=0.02)
    source = next(one for one in build_network(knowledge).sources if one.kind == "battery")
    assert source.emf_v > 0
    # every lamp is one of the system volts
    for part in knowledge.parts.values():
        if isinstance(part, LampPart):
            assert part.test_v == pytest.approx(13.5 * float(volts) / 12, rel=0.05)
    assert all(wire.length_m > 0 for wire in knowledge.wires.values())


def test_typical_answers_are_the_usual_vehicle() -> None:
    """Enter all the way: 12 V, negative earth, nothing overridden, every length assumed."""
    answers = {asked.id: asked.typical for asked in path(CATALOGUE, {})}
    assert next_asked(CATALOGUE, answers) is None
    made = make_vehicle(CATALOGUE, {})
    assert make_vehicle(CATALOGUE, answers).text == made.text
    vehicle = made.knowledge.vehicle
    assert (vehicle.system_v, vehicle.earth, vehicle.assumed) == (12.0, "negative", "all")
    assert vehicle.overrides == {}


def test_engine_at_the_rear_lengthens_what_goes_to_it_and_leaves_the_rest() -> None:
    """The wire from the oil tell-tale to its sender gains what the engine moved; that of a headlamp nothing."""
    usual = make_vehicle(CATALOGUE, {"length": "4 m"}).knowledge
    rear = make_vehicle(CATALOGUE, {"length": "4 m", "engine": "rear"}).knowledge
    stands = CATALOGUE.file.stands
    moved = CATALOGUE.question("engine").moves["rear"]["engine-bay"]
    gained = ((moved - stands["under-dash"]) - (stands["under-dash"] - stands["engine-bay"])) * 4
    wire = "oil-sender-wire"
    assert rear.wires[wire].length_m == pytest.approx(usual.wires[wire].length_m + gained, abs=0.06)
    assert rear.wires["tail-wire"] == usual.wires["tail-wire"]
    assert rear.parts["horn"].place == "front"


def test_longer_vehicle_has_longer_wires() -> None:
    """In proportion to the overall length, a wheelbase taken for what it belongs to."""
    short, long = ({"length": text} for text in ("3 m", "6 m"))
    one, two = (make_vehicle(CATALOGUE, answers).knowledge for answers in (short, long))
    assert two.wires["tail-wire"].length_m == pytest.approx(2 * one.wires["tail-wire"].length_m, rel=0.01)
    assert length_m(CATALOGUE, {"length": "w 2 m"}) == pytest.approx(2 * CATALOGUE.file.wheelbase_to_length)


def test_lamp_and_fuse_answers_change_the_parts() -> None:
    """What the caps and the fuse box say stands in the file with its values, not as a remark."""
    answers = {"lamps": "other", "turn-watts": "w18", "fuses": "glass", "flasher-technique": "thermal"}
    knowledge = make_vehicle(CATALOGUE, answers).knowledge
    lamp = knowledge.parts["turn-lamp-rear-left"]
    assert isinstance(lamp, LampPart) and lamp.test_w == 21.0
    assert {part.link for part in knowledge.parts.values() if part.kind == "fuse"} == {"glass"}  # type: ignore[union-attr]
    assert knowledge.parts["flasher-unit"].technique == "thermal"  # type: ignore[union-attr]


def test_trailer_is_asked_nothing_of_cars_and_no_car_anything_of_trailers() -> None:
    """A trailer by itself has no key and no engine; its box would stand beside a car's supply."""
    asked = {one.id for one in path(CATALOGUE, {"sort": "trailer"})}
    assert not asked & {"engine", "battery", "earth", "fitted", "lamps"}
    knowledge = make_vehicle(CATALOGUE, {"sort": "trailer"}).knowledge
    assert list(knowledge.circuits) == ["supply", "trailer-lamps", "shared"]
    assert "fitted.trailer-lamps" not in {one.id for one in path(CATALOGUE, {"fitted": "each"})}


def test_motorcycle_has_one_headlamp_and_one_rear_lamp_called_so() -> None:
    """Nobody looks for a left headlamp on a motorcycle; with turn signals the right side stays for those."""
    bare = make_vehicle(CATALOGUE, {"sort": "motorcycle", "system-v": "6", "earth": "positive"}).knowledge
    lamps = {part.title for part in bare.parts.values() if "lamp" in part.kind}
    assert {"Headlamp", "Stop lamp", "Tail lamp"} <= lamps
    assert not [title for title in lamps if "ight " in title.replace("Light ", "") or "eft " in title]
    assert not [name for name in bare.parts if "right" in name], "nothing is left that hangs in the air"
    assert bare.checks["dip-left"].title.startswith("Headlamp, dipped beam")
    assert bare.places["driver-seat"] == "in the saddle"
    fitted_too = {"fitted": "each", "fitted.turn-signals": "yes", "fitted.headlamps": "yes"}
    signals = make_vehicle(CATALOGUE, {"sort": "motorcycle", **fitted_too}).knowledge
    assert "turn-lamp-rear-right" in signals.parts and "cluster-right" in signals.parts
    assert "headlamp-right" not in signals.parts


@pytest.mark.parametrize(
    ("sort", "volts", "earth"),
    [
        ("motorcycle", "6", "positive"),
        ("motorcycle", "24", "negative"),
        ("van", "12", "positive"),
        ("trailer", "12", ""),
    ],
)
def test_typical_vehicle_of_any_sort_is_sound(sort: str, volts: str, earth: str) -> None:
    """Guessed lengths and sections must not make a healthy vehicle break the limits of its own checks, nor may
    anything be said of a fault that it cannot have."""
    answers = {"sort": sort, "system-v": volts} | ({"earth": earth} if earth else {})
    knowledge = make_vehicle(CATALOGUE, answers).knowledge
    assert broken_limits(Vehicle.of(knowledge)) == []
    assert doubts(knowledge)[0] == []


def test_circuit_that_another_needs_comes_with_it() -> None:
    """Turn signals return through the rear lamps' earths; a vehicle cannot have them without."""
    answers = {"fitted": "each"} | {f"fitted.{name}": "no" for name in CATALOGUE.circuits}
    answers["fitted.turn-signals"] = "yes"
    assert set(fitted(CATALOGUE, answers)) == {"turn-signals", "stop-lamps"}
    assert "turn-signals" in make_vehicle(CATALOGUE, answers).knowledge.circuits


@pytest.mark.parametrize(
    ("title", "expected"), [("Old faithful", "old-faithful"), ("Вездеход", "my-vehicle"), ("--", "my-vehicle")]
)
def test_name_becomes_an_id(title: str, expected: str) -> None:
    """Whatever the letters: the id is the name of a file on any system."""
    assert vehicle_id(title) == expected


def test_comments_name_the_wires_that_matter_most(tmp_path: Path) -> None:
    """Ten wires at most, worst first, in the file that the person keeps."""
    made = make_vehicle(CATALOGUE, {})
    lines = [line for line in made.text.splitlines() if "twice as long costs" in line]
    told = [line for line in made.told if "twice as long costs" in line]
    assert 1 <= len(told) <= 10
    assert len(lines) <= len(told)  # wrapped lines may part the words
    first = made.told[1].split(" (")[0]
    assert f"# {first}" in made.text
