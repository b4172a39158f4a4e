"""Whole jobs of a fitter who shares nothing with the program but the prediction, at vehicles with hidden faults."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

from diag.reason.reasoner import Reasoner
from tests.bench import fitter as fitter_module
from tests.bench import vehicle as vehicle_module
from tests.bench.fitter import Fitter, Question
from tests.bench.played import play, play_outside
from tests.bench.trials import Garage, Task
from tests.talk.outsider import home

SEED = "tests"


@pytest.fixture(scope="module")
def garage(reasoner: Reasoner) -> Garage:
    return Garage(reasoner)


# ------------------------------------------------------------ the fitter is honest


@pytest.mark.parametrize("module", [fitter_module, vehicle_module], ids=["fitter", "vehicle"])
def test_fitter_shares_the_prediction_and_the_files_alone(module: object) -> None:
    """A fitter who knew the program's chances or beliefs would answer what it expects."""
    tree = ast.parse(Path(str(module.__file__)).read_text(encoding="utf-8"))  # type: ignore[attr-defined]
    found = {node.module or "" for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
    found |= {name.name for node in ast.walk(tree) if isinstance(node, ast.Import) for name in node.names}
    rooms = {name.split(".")[1] for name in found if name.startswith("diag.")}
    assert rooms == {"circuit", "knowledge"}


@pytest.mark.parametrize("seed", ["a", "b", "c"])
def test_nobody_complains_of_a_sound_vehicle_however_it_strays(garage: Garage, seed: str) -> None:
    """Light is judged against the same vehicle sound, so a vehicle of its own resistances shows nothing odd."""
    fitter = garage.fitter(["horn-feed.open"], seed, strays=seed)
    assert fitter.complaints() == ["horn-silent"]
    assert fitter.vehicle.remedy("horn-feed.reconnect") == ["horn-feed.open"]
    for check in garage.reasoner.knowledge.checks.values():
        if check.kind == "look" and "unplugged" not in check.operate:
            question = Question.written(check)
            assert fitter.truth(question)[0] == fitter._seen(question, row=0), check.id


def test_vehicles_stray_as_far_as_they_say(garage: Garage) -> None:
    """Every wire and contact within e^±0.5 of the described one, lamps within 7 %, loads as they are."""
    one = garage.fitter(["fuse-horn.resistive"], "0", strays="far").vehicle
    pairs = list(zip(one.network.branches, garage.described.network.branches, strict=True))
    ratios = [a.ohm / b.ohm for a, b in pairs if b.role == "wire"]
    assert 0.6 < min(ratios) < 0.75 and 1.35 < max(ratios) < 1.65
    assert all(a.ohm == b.ohm for a, b in pairs if b.role in ("horn", "field"))
    lamps = list(zip(one.network.filaments, garage.described.network.filaments, strict=True))
    assert all(0.93 <= a.test_w / b.test_w <= 1.07 for a, b in lamps)
    assert 12.0 <= one.network.sources[0].emf_v <= 12.7
    assert 0.2 <= next(iter(one.change({}).added_ohm.values())) <= 2.0


def test_a_fuse_that_a_short_has_blown_stays_blown(garage: Garage) -> None:
    """It blew when the pedal was pressed; with the pedal up nothing leaves the fuse either, and it is renewed
    with the chafed wire, not before."""
    vehicle = garage.fitter(["stop-wire.to-body"], "0").vehicle
    assert vehicle.volts({"ignition": "on"}, "fuse-stop.out", "body") > 11
    vehicle.work([{"ignition": "on", "brake-pedal": "pressed"}])
    assert vehicle.volts({"ignition": "on"}, "fuse-stop.out", "body") < 0.1
    assert vehicle.remedy("fuse-stop.renew") == []
    assert vehicle.volts({"ignition": "on"}, "fuse-stop.out", "body") < 0.1
    assert vehicle.remedy("stop-wire.insulate") == ["stop-wire.to-body"]
    assert vehicle.volts({"ignition": "on", "brake-pedal": "pressed"}, "fuse-stop.out", "body") > 11


def test_only_the_answer_that_is_to_be_wrong_is_wrong(garage: Garage) -> None:
    """The same asks, answered with each of them wrong in turn: no other answer changes."""
    choices = [{"value": word} for word in ("none", "click", "buzz", "weak", "sound")]
    look, listen, volts, ohms = "main-tell-tale", "horn-sound", "horn-71-volts", "oil-sender-ohm"
    asks = [{"type": "ask", "id": "q0", "check": "start", "kind": "choose", "operate": {}, "choices": []}]
    for name in (look, listen, volts, ohms):
        question = Question.written(garage.reasoner.knowledge.checks[name])
        asks.append({"type": "ask", "id": name, "choices": choices if name == listen else [], **vars(question)})

    def answered(wrong_at: int | None) -> list[object]:
        fitter = garage.fitter(["horn-feed.open"], "0", wrong_at=wrong_at)
        return [(fitter.reply(ask) or {})["value"] for ask in asks]

    true = answered(None)
    assert true[:3] == ["horn-silent", {"light": "normal", "rhythm": "steady"}, "none"]
    assert true[3] == pytest.approx(0.0, abs=0.03) and true[4] == pytest.approx(0.25, abs=0.25)
    for wrong_at in range(len(asks)):
        found = answered(wrong_at)
        differ = [i for i, (a, b) in enumerate(zip(found, true, strict=True)) if a != b]
        near = [i for i in differ if i != wrong_at and found[i] == pytest.approx(true[i], abs=0.5)]
        assert wrong_at in differ
        assert [i for i in differ if i != wrong_at] == near, "the meter's own noise is all that may differ"


def test_fitter_is_not_sure_of_what_nothing_computes_and_no_rule_names(garage: Garage) -> None:
    """What a fitter sees of a clean slip ring while the feed is off would be made up."""
    ask = Question("slip-ring-look", "choose", {})
    assert garage.fitter(["horn-feed.open"], "0").truth(ask) == (None, "not computed")
    found, source = garage.fitter(["column-slip-ring.open"], "0").truth(ask)
    assert found in ("dirty", "worn", "no-touch") and source == "named by rule"


# ------------------------------------------------------------ jobs


def test_known_flasher_fault_takes_at_most_four_answers_of_an_independent_fitter(garage: Garage) -> None:
    """Someone whose turn lamps light and never flash gets to the unit in four answers, the complaint included."""
    job = play(garage.reasoner, garage.fitter(["flasher-unit.never-opens"], SEED))
    assert job.complaint == "steady-turn-lamps"
    assert job.remedies[0][0] == "flasher-unit-renew" and job.first_right
    assert job.to_right is not None and job.to_right[0] <= 4
    assert job.cured and job.ended


def test_drawn_faults_with_true_answers_are_cured_and_nearly_all_at_once(garage: Garage) -> None:
    """Drawn by how often they are met, so that what is common weighs most."""
    jobs = [garage.play(Task("single", number, SEED)) for number in range(1, 8)]
    assert len({job.faults for job in jobs}) > 5
    assert [job.faults for job in jobs if not (job.cured and job.ended)] == []
    assert sum(job.first_right for job in jobs) >= 6


@pytest.mark.parametrize(("number", "wrong_at"), [(1, 0), (2, 1)])
def test_drawn_faults_with_one_wrong_answer_are_cured(garage: Garage, number: int, wrong_at: int) -> None:
    """Whichever answer is wrong, the complaint included, the job still comes to its end cured."""
    vehicle = garage.draw(Task("wrong", number, SEED))
    job = play(garage.reasoner, Fitter(vehicle, SEED, wrong_at=wrong_at))
    assert "wrong" in [source for *_, source in job.answers]
    assert job.cured and job.ended, (job.faults, job.answers, job.remedies)


@pytest.mark.parametrize("number", range(1, 3))
def test_drawn_faults_of_vehicles_unlike_the_described_one_are_cured(garage: Garage, number: int) -> None:
    """No vehicle has the resistances, lamps and battery of the files."""
    job = garage.play(Task("unlike", number, SEED))
    assert job.complaint and job.cured and job.ended, (job.faults, job.answers, job.remedies)


@pytest.mark.parametrize("number", [1, 2])
def test_two_drawn_faults_are_both_cured(garage: Garage, number: int) -> None:
    """Just after a rewire two faults at once are common; neither may be left behind."""
    job = garage.play(Task("double", number, SEED))
    assert len(job.faults) == 2
    assert job.cured and job.ended, (job.faults, job.answers, job.remedies)


def test_real_program_says_the_same_as_the_conversation_in_process(garage: Garage, tmp_path: Path) -> None:
    """What many jobs in one process say holds for the program that a user starts."""
    inside = play(garage.reasoner, garage.fitter(["horn-feed.open"], SEED))
    outside = play_outside(garage.reasoner, garage.fitter(["horn-feed.open"], SEED), (), home(tmp_path / "home"))
    assert outside.cured and outside.ended
    assert (outside.answers, outside.remedies) == (inside.answers, inside.remedies)
