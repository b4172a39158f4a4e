"""Causes that a circuit's file adds: there only in some positions of the controls, or of another value."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import numpy as np
import pytest

from diag.circuit.doubts import cause_problems
from diag.circuit.faults import derive_causes
from diag.circuit.netlist import settled_netlist
from diag.circuit.parts import build_network
from diag.circuit.predict import Predictor
from diag.knowledge.lint import warnings
from diag.reason.engine import default_matcher
from diag.reason.operates import looked_at, moved, step_operates
from diag.reason.reasoner import Reasoner
from diag.reason.steps import Finding, working_operates
from diag.sheet.figures import FAULTY, Figures
from diag.sheet.table import make_sheet
from diag.sheet.ways import Ways
from diag.talk.rehearsal import SimulatedFitter
from diag.talk.whys import why_of
from diag.talk.wording import only_words, operate_words, step_words
from tests.bench.fitter import Fitter, Question
from tests.bench.vehicle import Described, Vehicle
from tests.knowledge.small import Small, write_small

SHUT, OPEN = {"ignition": "on"}, {"ignition": "on", "boot-lid": "open"}
_SOURCE = 'source: "common practice, no source"'
_LID = f"""\
causes:
  - {{id: lamp-feed.chafed-in-hinge, title: Feed chafed through in the hinge, frequency: 9, like: lamp-feed.open,
     while: {{boot-lid: open}}, remedy: reconnect, {_SOURCE}}}
  - {{id: lamp-feed.rubs-in-hinge, title: Feed rubs on the lid, frequency: 9, like: lamp-feed.to-body,
     while: {{boot-lid: [open]}}, remedy: insulate, {_SOURCE}}}
  - {{id: lamp-feed.weak-in-hinge, title: Few strands left in the hinge, frequency: 9, like: lamp-feed.resistive,
     ohm: 40 ohm, spread: 0.2, while: {{boot-lid: open}}, remedy: reconnect, {_SOURCE}}}
  - {{id: work-lamp.bright, title: Lamp of many watts, frequency: 2, like: work-lamp.wrong-wattage, factor: 2.2,
     remedy: lamp-renew, {_SOURCE}}}
"""
_CHECK = """\
  - id: lamp-lid-open
    title: Work lamp with the lid open
    kind: look
    operate: {ignition: "on", boot-lid: open}
    target: work-lamp
    place: front
"""


def written(folder: Path, *changes: tuple[str, str, str]) -> Small:
    """The small vehicle with a lid, and causes that show only while it is open."""
    lamp = "circuits/lamp.yaml"
    return write_small(
        folder,
        (lamp, "title: Work lamp\n", "title: Work lamp\ncontrols:\n  boot-lid: [shut, open]\n"),
        (lamp, "checks:\n", "checks:\n" + _CHECK),
        (lamp, "causes:\n", _LID),
        ("kinds.yaml", "  lamp:\n", f"  lamp:\n    wrong-wattage: {{title: of other watts, frequency: 1, rewired: 1, "
         f"remedy: renew, factor: 0.2, {_SOURCE}}}\n"),
        *changes,
    )  # fmt: skip


@pytest.fixture(scope="module")
def reasoner(tmp_path_factory: pytest.TempPathFactory) -> Reasoner:
    knowledge = written(tmp_path_factory.mktemp("rules")).load()
    predictor = Predictor(knowledge, step_operates(knowledge), None, None, looked_at(knowledge))
    return Reasoner(knowledge, predictor, default_matcher())


def _lamp_v(reasoner: Reasoner, cause: str | None, operate: Mapping[str, str]) -> float:
    predictor = reasoner.predictor
    assert predictor is not None
    row = 0 if cause is None else 1 + reasoner.index[cause]
    return float(predictor.shown(operate).lamp_on_v[row, predictor.network.filament("work-lamp")])


# ---------------------------------------------------------------- there only in some positions


def test_where_the_lid_is_shut_the_vehicle_is_as_sound(reasoner: Reasoner) -> None:
    """The very row of the sound vehicle, and with the lid open that of the fault which it is like."""
    sound = _lamp_v(reasoner, None, SHUT)
    assert sound > 11.5
    assert _lamp_v(reasoner, "lamp-feed.chafed-in-hinge", SHUT) == sound
    assert abs(_lamp_v(reasoner, "lamp-feed.chafed-in-hinge", OPEN)) < 0.1
    assert abs(_lamp_v(reasoner, "lamp-feed.open", SHUT)) < 0.1
    assert reasoner.predictor is not None
    stirred = [reasoner.predictor.stirred(operate) for operate in (SHUT, OPEN)]
    assert [bool(found[1 + reasoner.index["lamp-feed.chafed-in-hinge"]]) for found in stirred] == [False, True]


def test_a_fuse_blows_only_where_the_short_is_and_stays_blown(reasoner: Reasoner) -> None:
    """The fuse blew when the lid was opened: with the lid shut again nothing touches body, and the fuse is blown."""
    predictor = reasoner.predictor
    assert predictor is not None
    row, fuse = 1 + reasoner.index["lamp-feed.rubs-in-hinge"], predictor.network.branch("fuse-lamp")
    assert predictor.lasting(row, OPEN).extra and predictor.lasting(row, OPEN).added_ohm == {fuse: np.inf}
    assert not predictor.lasting(row, SHUT).extra and predictor.lasting(row, SHUT).added_ohm == {fuse: np.inf}
    assert abs(_lamp_v(reasoner, "lamp-feed.rubs-in-hinge", SHUT)) < 0.1
    ohm = predictor.shown({"battery": "disconnected"}).inner_ohm[:, predictor.network.node("work-lamp.55")]
    assert ohm[row] > 0.5, "battery off and lid shut: only the lamp leads to body"


def test_a_short_that_is_not_there_under_any_operate_blows_nothing(tmp_path: Path) -> None:
    """Nobody ever opened the lid with the key on."""
    knowledge = written(tmp_path, ("circuits/lamp.yaml", _CHECK, "")).load()
    predictor = Predictor(knowledge, step_operates(knowledge))
    row = 1 + [cause.id for cause in predictor.causes].index("lamp-feed.rubs-in-hinge")
    assert predictor.lasting(row, SHUT) == predictor.lasting(0)
    assert not predictor.lasting(row, OPEN).added_ohm
    slips = [slip for slip in warnings(knowledge) if "nobody would find" in slip.what]
    assert {slip.found for slip in slips} == {"`boot-lid: open`"} and len(slips) == 3


def test_of_several_faults_the_one_that_is_not_there_drops_out(reasoner: Reasoner) -> None:
    """A pair with the lid shut shows what the other shows alone; open, both."""
    predictor = reasoner.predictor
    assert predictor is not None
    weak, other = reasoner.index["lamp-feed.weak-in-hinge"], reasoner.index["earth-front.resistive"]
    lamp = predictor.network.filament("work-lamp")
    for operate in (SHUT, OPEN):
        both = float(predictor.shown_sets(operate, [frozenset({weak, other})]).lamp_on_v[0, lamp])
        alone = _lamp_v(reasoner, "earth-front.resistive", operate)
        assert (both == pytest.approx(alone, abs=1e-3)) == (operate is SHUT)
    assert predictor.change_of([weak, other], SHUT) == predictor.change_of([other])


def test_meters_and_testers_know_where_it_is(reasoner: Reasoner) -> None:
    """Instruments are solved in the network on a way of their own."""
    there = frozenset({reasoner.index["lamp-feed.chafed-in-hinge"]})
    steps = {bool(step.operate.get("boot-lid")): step for step in reasoner.steps.values()
             if step.target == "test-lamp" and step.red == "work-lamp.55"}  # fmt: skip
    assert steps.keys() == {True, False}, "the points are probed with the lid open too"
    assert reasoner.chances.shown(steps[True], there) == ("dark", "none")
    assert reasoner.chances.shown(steps[False], there) == reasoner.chances.shown(steps[False])
    pair = there | {reasoner.index["fuse-lamp.resistive"]}
    assert reasoner.chances.shown(steps[True], pair) == ("dark", "none")
    assert reasoner.chances.shown(steps[False], pair) != ("dark", "none")


def test_a_kept_table_serves_with_and_without_the_added_causes(tmp_path: Path, reasoner: Reasoner) -> None:
    """Rows are kept by what a change does and where: what was worked out before the cause was added stays right."""
    plain = written(tmp_path / "plain", ("circuits/lamp.yaml", _LID, "causes:\n")).load()
    Predictor(plain, step_operates(plain), tmp_path / "tables", None, looked_at(plain))
    (kept,) = (tmp_path / "tables").glob("*.npz")
    knowledge = written(tmp_path / "added").load()
    for _ in range(2):
        predictor = Predictor(knowledge, step_operates(knowledge), tmp_path / "tables", None, looked_at(knowledge))
        assert list((tmp_path / "tables").glob("*.npz")) == [kept]
        assert reasoner.predictor is not None
        for operate in (SHUT, OPEN):
            here, there = predictor.shown(operate), reasoner.predictor.shown(operate)
            np.testing.assert_array_equal(here.lamp_on_v, there.lamp_on_v)


def test_points_are_probed_with_the_lid_open_only_where_a_fault_needs_it(tmp_path: Path) -> None:
    """Without such a cause the lid puts nothing else to work, and no test lamp is held twice."""
    plain = written(tmp_path, ("circuits/lamp.yaml", _LID, "causes:\n")).load()
    predictor = Predictor(plain, step_operates(plain))
    assert working_operates(plain, predictor, "lamp") == [SHUT]


def test_ohms_are_measured_with_the_lid_open_and_as_it_rests(reasoner: Reasoner) -> None:
    """A short that is there only with the lid open shows no ohms with the battery off and the lid shut."""
    there = frozenset({reasoner.index["lamp-feed.rubs-in-hinge"]})
    lifted, shut = reasoner.steps["ohm:work-lamp.55:boot-lid=open"], reasoner.steps["ohm:work-lamp.55"]
    assert lifted.operate == {"boot-lid": "open", "battery": "disconnected"}
    numbers = [reasoner.chances.shown(step, there) for step in (lifted, shut)]
    assert isinstance(numbers[0], float) and isinstance(numbers[1], float)
    assert numbers[0] < 0.3 < numbers[1]
    assert not any("boot-lid" in step.operate for step in reasoner.steps.values() if step.red == "battery.B+")


def test_no_ohms_are_measured_with_the_engine_running(tmp_path: Path) -> None:
    """A wire that parts when the engine shakes is looked at with the engine running, and measured at rest."""
    shaking = _LID.replace("while: {boot-lid: open}", "while: {engine: running}")
    knowledge = written(tmp_path, ("circuits/lamp.yaml", _LID, shaking)).load()
    assert moved(knowledge) == {"lamp": [{"boot-lid": "open"}]}, "of the one that is left"


def test_answers_with_the_lid_open_and_shut_find_it(reasoner: Reasoner) -> None:
    """Dark with the lid open and lit with it shut: no fault that is always there does that."""
    dark, lit = ("dark", "none"), ("normal", "steady")
    found = [
        Finding(1, reasoner.steps["lamp-lid-open"], dark, 0),
        Finding(2, reasoner.steps["lamp-on"], lit, 0),
    ]
    beliefs = reasoner.beliefs(found)
    best = max(range(len(reasoner.causes)), key=lambda i: float(beliefs.posterior.present[i]))
    assert reasoner.causes[best].id in ("lamp-feed.chafed-in-hinge", "lamp-feed.weak-in-hinge")
    told = why_of(reasoner, beliefs, lambda step: True, "lamp-feed.chafed-in-hinge")
    assert "only with boot lid open" in told["text"]


def test_fitters_see_it_only_with_the_lid_open(reasoner: Reasoner) -> None:
    """The one of the program, and the one of the trials who solves a vehicle of its own."""
    ours = SimulatedFitter(reasoner, ["lamp-feed.chafed-in-hinge"])
    assert ours.truth(reasoner.steps["lamp-lid-open"]) == ("dark", "none")
    assert ours.truth(reasoner.steps["lamp-on"]) == ("normal", "steady")
    described = Described(reasoner.knowledge)
    theirs = Fitter(Vehicle(described, ["lamp-feed.chafed-in-hinge"]))
    checks = reasoner.knowledge.checks
    assert theirs.truth(Question.written(checks["lamp-lid-open"]))[0] == ("dark", "none")
    assert theirs.truth(Question.written(checks["lamp-on"]))[0] == ("normal", "steady")


def test_sheet_and_netlist_show_it_where_it_is(reasoner: Reasoner) -> None:
    """`diag vehicle show` and `netlist` with the fault, lid shut: the sound figures, and a word why."""
    predictor = reasoner.predictor
    assert predictor is not None
    cause = predictor.causes[reasoner.index["lamp-feed.chafed-in-hinge"]]
    ways = Ways.of(predictor.knowledge, predictor.network)
    looks = {}
    for name, operate in (("shut", SHUT), ("open", OPEN)):
        figures = Figures.of(predictor, operate, [cause])
        looks[name] = figures.look(FAULTY, "work-lamp")
        notes = " ".join(make_sheet(figures, ways, ("lamp",)).notes)
        assert ("there only with boot lid open" in notes) == (name == "shut")
    assert looks == {"shut": ("normal", "steady"), "open": ("dark", "none")}
    texts = [settled_netlist(predictor, operate, [cause], "closed") for operate in (SHUT, OPEN)]
    assert ["not there in this operate" in text for text in texts] == [True, False]


# ---------------------------------------------------------------- values of its own


def test_an_added_cause_has_its_own_ohm_and_factor(reasoner: Reasoner) -> None:
    """40 ohm in place of the usual 1; a lamp of more watts in place of one of fewer."""
    causes = {cause.id: cause for cause in reasoner.causes}
    weak, usual = causes["lamp-feed.weak-in-hinge"], causes["lamp-feed.resistive"]
    assert weak.change is not None and list(weak.change.added_ohm.values()) == [40.0] and weak.spread == 0.2
    assert usual.change is not None and list(usual.change.added_ohm.values()) == [1.0]
    bright = causes["work-lamp.bright"]
    assert bright.change is not None and list(bright.change.scale.values()) == [2.2]
    assert reasoner.chances.shown(reasoner.steps["lamp-on"], frozenset({reasoner.index[bright.id]})) == (
        "too-bright",
        "steady",
    )


def test_a_derived_cause_can_be_given_its_own_value(tmp_path: Path) -> None:
    """Of this one wire, whose terminal is known to be bad."""
    own = f"causes:\n  - {{id: lamp-feed.resistive, like: lamp-feed.resistive, ohm: 5 ohm, {_SOURCE}}}\n"
    knowledge = written(tmp_path, ("circuits/lamp.yaml", "causes:\n", own)).load()
    causes = {cause.id: cause for cause in derive_causes(knowledge, build_network(knowledge))}
    change = causes["lamp-feed.resistive"].change
    assert change is not None and list(change.added_ohm.values()) == [5.0]
    assert causes["lamp-feed.resistive"].title.endswith("has a poor joint")


@pytest.mark.parametrize(
    ("old", "new", "what", "mend"),
    [
        ("while: {boot-lid: open}, remedy: r", "while: {boot-lit: open}, remedy: r", "no such control", "`boot-lid`"),
        ("while: {boot-lid: [open]}", "while: {boot-lid: [opened]}", "no such position of `boot-lid`", "`open`"),
        ("while: {boot-lid: [open]}", "while: {boot-lid: [open, shut]}", "all positions of the control", "Leave"),
        ("factor: 2.2", "ohm: 2.2 ohm", "no `ohm`", "Leave it out"),
        ("like: lamp-feed.open,\n", "like: lamp-feed.open, ohm: 3 ohm,\n", "no `ohm`", "`lamp-feed.resistive`"),
        ("ohm: 40 ohm", "ohm: 40 V", "ohm", "ohm"),
        ("like: work-lamp.wrong-wattage", "like: work-lamp.wrong-watts", "no such cause", "work-lamp.wrong-wattage"),
        ("like: lamp-feed.resistive,\n     ", "", "`ohm` needs a `like`", ""),
    ],
)  # fmt: skip
def test_mistakes_are_told_with_the_nearest_word(tmp_path: Path, old: str, new: str, what: str, mend: str) -> None:
    """At the very key, and how to mend it."""
    lid = _LID.replace(old, new, 1)
    assert lid != _LID
    small = written(tmp_path, ("circuits/lamp.yaml", _LID, lid))
    problems = small.problems()
    if not problems:
        knowledge = small.load()
        network = build_network(knowledge)
        known = {cause.id for cause in derive_causes(knowledge, network)}
        problems = cause_problems(knowledge, network, known)
    assert len(problems) == 1
    told = " ".join(str(part) for part in (problems[0].what, problems[0].found, problems[0].expected, problems[0].mend))
    assert what in told and mend in told
    assert problems[0].place.file.endswith("lamp.yaml") and problems[0].place.line


_BESIDE = f"""\
circuit: load-bay
title: Load bay lamp
beside: [lid]
parts:
  bay-lamp: {{kind: lamp, title: Bay lamp, place: front, terminals: ["55", "31"], test-w: 5 W}}
earths:
  earth-bay: {{title: Earth of the bay lamp, place: front}}
wires:
  bay-feed: {{from: key-switch.15, to: bay-lamp.55, colour: green, section-mm2: 1.5 mm2, length-m: 2 m}}
  bay-earth: {{from: bay-lamp.31, to: earth-bay.31, colour: brown, section-mm2: 1.5 mm2, length-m: 0.3 m}}
checks:
  - {{id: bay-on, title: Bay lamp, kind: look, operate: {{ignition: "on"}}, target: bay-lamp, place: front}}
  - {{id: bay-lid, title: Bay lamp, kind: look, operate: {{ignition: "on", hatch: open}}, target: bay-lamp,
      place: front}}
causes:
  - {{id: bay-feed.hatch, title: Feed cut by the hatch, frequency: 1, like: bay-feed.open, while: {{hatch: open}},
      remedy: reconnect, {_SOURCE}}}
"""
_LID_CIRCUIT = "circuit: lid\ntitle: Lid\ncontrols:\n  hatch: [shut, open]\n"


@pytest.mark.parametrize("fitted", [True, False])
def test_what_rests_on_the_control_of_a_circuit_that_is_not_fitted_is_left_out(tmp_path: Path, fitted: bool) -> None:
    """The check goes and so does the fault; another vehicle that has the lid keeps both."""
    circuits = "[lamp, load-bay, lid]" if fitted else "[lamp, load-bay]"
    vehicle = ("vehicles/small.yaml", "circuits: [lamp]", f"circuits: {circuits}")
    knowledge = write_small(tmp_path, vehicle, load_bay=_BESIDE, lid=_LID_CIRCUIT).load()
    assert ("bay-lid" in knowledge.checks, "bay-feed.hatch" in knowledge.causes) == (fitted, fitted)
    assert "bay-on" in knowledge.checks


# ---------------------------------------------------------------- words


def test_a_circuit_says_how_its_control_is_worked(tmp_path: Path, reasoner: Reasoner) -> None:
    """`boot lid open` reads as a state; the file may give the instruction."""
    assert operate_words(reasoner.knowledge, OPEN) == "key on, boot lid open"
    says = "says:\n  boot-lid: {open: open the boot lid}\nchecks:\n"
    knowledge = written(tmp_path, ("circuits/lamp.yaml", "checks:\n", says)).load()
    assert operate_words(knowledge, OPEN) == "key on, open the boot lid"
    assert operate_words(knowledge, {"boot-lid": "open"}) == "key off, open the boot lid"
    step = reasoner.steps["lamp-lid-open"]
    assert step_words(knowledge, step) == "Key on, open the boot lid. Watch: Work lamp."
    cause = next(c for c in reasoner.causes if c.id == "lamp-feed.chafed-in-hinge")
    assert only_words(knowledge, cause.only) == "boot lid open"


def test_words_for_a_position_that_is_not_there(tmp_path: Path) -> None:
    """A slip in the words is told like any other."""
    says = "says:\n  boot-lid: {opened: open the boot lid}\nchecks:\n"
    problems = written(tmp_path, ("circuits/lamp.yaml", "checks:\n", says)).problems()
    assert [problem.mend for problem in problems] == ["Did you mean `open`?"]
