"""Steps with a fused jumper: where one goes, where it never goes, and what its answers tell.

source of all expectations: common practice, no source
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from diag.circuit.observe import LOOKS
from diag.circuit.predict import Predictor
from diag.knowledge import schema
from diag.knowledge.bridging import BODY, BRIDGED, bridge_ends
from diag.knowledge.load import load_knowledge
from diag.reason.engine import default_matcher
from diag.reason.jumpers import CAUTION, jumps
from diag.reason.operates import step_operates
from diag.reason.reasoner import Reasoner
from diag.reason.steps import Step
from tests.circuit.vehicles import wire, write_vehicle

_DARK, _LIT = ("dark", "none"), ("normal", "steady")
_UNIT = "flasher-unit.49+flasher-unit.49a"


def _jumped(reasoner: Reasoner) -> list[Step]:
    return [step for step in reasoner.steps.values() if BRIDGED in step.operate]


def _step(reasoner: Reasoner, target: str, position: str) -> Step:
    return next(s for s in _jumped(reasoner) if s.target == target and s.operate[BRIDGED] == position)


def _lift(reasoner: Reasoner, step: Step, value: object, cause: str) -> float:
    """How many times likelier the answer is with the cause than on the sound vehicle."""
    rows = reasoner.chances.told(step, value).rows  # type: ignore[arg-type]
    return float(rows[1 + reasoner.index[cause]] / rows[0])


def test_the_moves_of_the_trade_are_among_the_steps_and_few(reasoner: Reasoner) -> None:
    """Switch, flasher unit, sender, push button, feed and earth; more would only slow the choice."""
    places = {step.operate[BRIDGED] for step in _jumped(reasoner)}
    assert {
        "pedal-switch.15+pedal-switch.54",
        "light-switch.30+light-switch.58",
        "key-switch.15+key-switch.30",
        "flasher-unit.49+flasher-unit.49a",
        "oil-sender.G+body",
        "horn-button.31b+body",
        "horn.31b+body",
        "battery.B++stop-lamp-left.54",
        "stop-lamp-left.31+body",
    } <= places
    assert len(_jumped(reasoner)) < 60
    assert len([o for o in step_operates(reasoner.knowledge) if BRIDGED in o]) <= 40


def test_no_step_goes_across_a_fuse_or_joins_the_battery_to_body(reasoner: Reasoner) -> None:
    """A bridged fuse protects nothing, and a feed put to body burns."""
    knowledge = reasoner.knowledge
    assert reasoner.predictor is not None
    for step in _jumped(reasoner):
        ends = bridge_ends(step.operate[BRIDGED])
        assert ends is not None
        parts = [knowledge.parts[end.split(".")[0]] for end in ends if end != BODY]
        assert not any(isinstance(part, schema.FusePart) for part in parts), step.id
        _, blown = reasoner.predictor.bench.operate(step.operate, [reasoner.predictor.lasting(0)])
        assert blown == [frozenset()], step.id
        assert reasoner.chances.table(step)[0].max() > 0.6, step.id
        shown = step.outcomes[int(reasoner.chances.table(step)[0].argmax())]
        assert shown not in (_DARK, "none"), f"{step.id}: a sound vehicle shows it at work"


def test_every_such_step_needs_the_lead_and_warns_first(reasoner: Reasoner) -> None:
    """Nobody is asked for a lead that is not there, nor told too late to have a fuse in it."""
    caution = reasoner.knowledge.cautions[CAUTION]
    assert caution.harm and "remove it before going on" in caution.text
    for step in _jumped(reasoner):
        assert "jumper" in step.instruments and step.caution == CAUTION


def test_the_control_that_the_jumper_stands_in_for_is_at_rest(reasoner: Reasoner) -> None:
    """Else the switch may be what lights the lamp."""
    step = _step(reasoner, "stop-lamp-left", "pedal-switch.15+pedal-switch.54")
    assert step.operate == {"ignition": "on", BRIDGED: "pedal-switch.15+pedal-switch.54"}
    assert _step(reasoner, "horn", "horn-button.31b+body").operate == {BRIDGED: "horn-button.31b+body"}


@pytest.mark.parametrize(
    ("target", "position", "value", "guilty", "cleared"),
    [
        ("stop-lamp-left", "pedal-switch.15+pedal-switch.54", _LIT, "pedal-switch.open-15-54", "stop-wire.open"),
        ("stop-lamp-left", "battery.B++stop-lamp-left.54", _LIT, "stop-left-wire.open", "stop-lamp-left.open"),
        ("tail-lamp-left", "tail-lamp-left.31+body", _LIT, "return-tail-left.open", "tail-lamp-left.open"),
        ("oil-lamp", "oil-sender.G+body", _LIT, "oil-sender.stuck-open", "oil-sender-wire.open"),
        ("turn-lamp-front-left", _UNIT, _LIT, "flasher-unit.never-closes", "hazard-feed.open"),
        ("horn", "horn.31b+body", "sound", "horn-button.open-31b-31", "horn.open"),
    ],
)  # fmt: skip
def test_what_works_with_the_jumper_was_dead_before_it(
    reasoner: Reasoner, target: str, position: str, value: object, guilty: str, cleared: str
) -> None:
    """The bridged part stays under suspicion, what lies beyond it is cleared."""
    step = _step(reasoner, target, position)
    assert _lift(reasoner, step, value, guilty) == pytest.approx(1.0, abs=0.2)
    assert _lift(reasoner, step, value, cleared) < 0.1


# ---------------------------------------------------------------- vehicles of other sorts

_RELAY = (
    """\
parts:
  lamp: {kind: lamp, title: Lamp, place: bench, terminals: ["58", "31"], test-w: 25 W}
  switch: {kind: switch, title: Switch, place: bench, control: lights, terminals: ["30", "58"],
    contacts: {side: [["30", "58"]]}}
  relay: {kind: relay, title: Relay, place: bench}
wires:
"""
    + wire("one", "feed.1", "switch.30")
    + wire("two", "switch.58", "relay.86")
    + wire("three", "relay.85", "ground.31")
    + wire("four", "feed.2", "relay.30")
    + wire("five", "relay.87", "lamp.58")
    + wire("six", "lamp.31", "ground.31")
    + """\
checks:
  - {id: lamp-on, title: Lamp on, kind: look, target: lamp, operate: {lights: side}, place: bench}
"""
)
_CAUTION = "cautions:\n  - {id: fused-jumper, text: Fused only., source: from memory}\n"


@pytest.mark.parametrize(("earth", "post"), [("negative", "battery.B+"), ("positive", "battery.B-")])
def test_a_relay_is_bridged_from_30_to_87_and_the_feed_comes_from_the_live_post(
    tmp_path: Path, earth: str, post: str
) -> None:
    """On a vehicle whose plus is at body the live post is minus."""
    knowledge = load_knowledge(write_vehicle(tmp_path, _RELAY + _CAUTION, earth=earth), tmp_path)
    found = {jump.operate[BRIDGED]: dict(jump.operate) for jump in jumps(knowledge)}
    assert found["relay.30+relay.87"] == {BRIDGED: "relay.30+relay.87"}
    assert found["switch.30+switch.58"] == {BRIDGED: "switch.30+switch.58"}
    assert f"{post}+lamp.58" in found and found["lamp.31+body"]["lights"] == "side"
    reasoner = Reasoner(knowledge, Predictor(knowledge, step_operates(knowledge)), default_matcher())
    lit = LOOKS.index(_LIT)
    for step in _jumped(reasoner):
        table = reasoner.chances.table(step)
        assert int(table[0].argmax()) == lit, step.id
    relay = reasoner.chances.table(_step(reasoner, "lamp", "relay.30+relay.87"))
    assert int(relay[1 + reasoner.index["relay.coil-open"]].argmax()) == lit
    assert int(relay[1 + reasoner.index["five.open"]].argmax()) == LOOKS.index(_DARK)


def test_files_without_the_caution_get_no_such_steps(tmp_path: Path) -> None:
    """A lead without a warning is worse than none."""
    knowledge = load_knowledge(write_vehicle(tmp_path, _RELAY), tmp_path)
    assert jumps(knowledge) == ()
    assert not any(BRIDGED in operate for operate in step_operates(knowledge))


def test_a_written_check_with_a_jumper_is_computed_whichever_end_comes_first(tmp_path: Path) -> None:
    """Authors may write their own; one that is the same as another is the same operate."""
    own = "  - {id: own, title: Past the switch, kind: look, target: lamp, operate: {bridged: %s}, place: bench}\n"
    steps = []
    for n, position in enumerate(("switch.58+switch.30", "switch.30+switch.58")):
        folder = tmp_path / str(n)
        folder.mkdir()
        knowledge = load_knowledge(write_vehicle(folder, _RELAY + own % position), folder)
        reasoner = Reasoner(knowledge, Predictor(knowledge, step_operates(knowledge)), default_matcher())
        steps.append(reasoner.steps["own"])
        assert reasoner.chances.computed(steps[-1])
        np.testing.assert_array_equal(reasoner.chances.table(steps[-1])[0].argmax(), LOOKS.index(_LIT))
    assert steps[0].operate == steps[1].operate == {BRIDGED: "switch.30+switch.58"}
