"""Motors, relays, starter and valve from the network to the answers of a person, on a small invented vehicle.

Whoever watches a wiper or listens to a relay must be asked, understood and believed like at a lamp.
"""

from __future__ import annotations

import numpy as np
import pytest

from diag.circuit.behaviour import MOTORS
from diag.circuit.observe import SOUNDS
from diag.circuit.predict import Predictor
from diag.circuit.reach import Reach
from diag.knowledge.load import load_knowledge
from diag.reason.matcher import PlainMatcher
from diag.reason.operates import step_operates
from diag.reason.reasoner import Reasoner
from diag.reason.steps import Deed, Step
from diag.talk.conversation import Conversation
from diag.talk.demo import play_through
from diag.talk.opening import Rehearsed
from diag.talk.rehearsal import SimulatedFitter
from diag.talk.typed import numbered, value_of
from tests.circuit.vehicles import write_vehicle

_CONTROLS = """\
  ignition: ["off", "on"]
  engine: [stopped, running]
  key: [released, start]
  wiper: ["off", slow, fast]
  blower: ["off", "on"]
  battery: [connected, disconnected]
"""
_BENCH = """\
parts:
  key-switch: {kind: switch, title: Key switch, place: bench, control: ignition, terminals: ["30", "15"],
    contacts: {"off": [], "on": [["30", "15"]]}}
  start-switch: {kind: switch, title: Start button, place: bench, control: key, terminals: ["30", "50"],
    contacts: {released: [], start: [["30", "50"]]}}
  bar: {kind: joint, title: Key feed bar, place: bench, terminals: [in, "1", "2", "3", "4"]}
  wiper-switch: {kind: switch, title: Wiper switch, place: bench, control: wiper,
    terminals: [53a, "53", 53b, 53e],
    contacts: {"off": [["53", 53e]], slow: [[53a, "53"]], fast: [[53a, 53b]]}}
  wiper: {kind: wiper-motor, title: Wiper motor, place: bench}
  blower-switch: {kind: switch, title: Blower switch, place: bench, control: blower, terminals: ["15", "86"],
    contacts: {"off": [], "on": [["15", "86"]]}}
  relay: {kind: relay, title: Blower relay, place: bench}
  blower: {kind: motor, title: Blower, place: bench, terminals: ["+", "-"], current-a: 6 A}
  starter: {kind: starter, title: Starter, place: bench}
  valve: {kind: valve, title: Idle cut-off valve, place: bench, terminals: ["15", "31"], current-a: 0.5 A}
fuses:
  fuse-wiper: {title: Wiper fuse, place: bench, rating-a: 8 A}
wires:
  key-feed: {from: feed.1, to: key-switch.30, colour: red, section-mm2: 4 mm2, length-m: 1 m}
  key-out: {from: key-switch.15, to: bar.in, colour: black, section-mm2: 4 mm2, length-m: 1 m}
  start-feed: {from: feed.2, to: start-switch.30, colour: red, section-mm2: 4 mm2, length-m: 1 m}
  start-wire: {from: start-switch.50, to: starter.50, colour: red, section-mm2: 4 mm2, length-m: 1 m}
  starter-cable: {from: feed.3, to: starter.30, colour: black, section-mm2: 35 mm2, length-m: 1 m}
  fuse-feed: {from: bar.1, to: fuse-wiper.in, colour: black, section-mm2: 1.5 mm2, length-m: 1 m}
  wiper-feed: {from: fuse-wiper.out, to: wiper-switch.53a, colour: green, section-mm2: 1.5 mm2, length-m: 1 m}
  park-feed: {from: fuse-wiper.out, to: wiper.53a, colour: green, section-mm2: 1.5 mm2, length-m: 1 m}
  wire-53: {from: wiper-switch.53, to: wiper.53, colour: green, section-mm2: 1.5 mm2, length-m: 1 m}
  wire-53b: {from: wiper-switch.53b, to: wiper.53b, colour: yellow, section-mm2: 1.5 mm2, length-m: 1 m}
  wire-53e: {from: wiper-switch.53e, to: wiper.53e, colour: white, section-mm2: 1.5 mm2, length-m: 1 m}
  wiper-ground: {from: wiper.31, to: ground-2.31, colour: brown, section-mm2: 1.5 mm2, length-m: 1 m}
  blower-feed: {from: bar.2, to: blower-switch.15, colour: black, section-mm2: 1.5 mm2, length-m: 1 m}
  coil-wire: {from: blower-switch.86, to: relay.86, colour: white, section-mm2: 0.75 mm2, length-m: 1 m}
  coil-ground: {from: relay.85, to: ground-2.31, colour: brown, section-mm2: 0.75 mm2, length-m: 1 m}
  relay-feed: {from: feed.4, to: relay.30, colour: red, section-mm2: 2.5 mm2, length-m: 1 m}
  blower-wire: {from: relay.87, to: blower.+, colour: red, section-mm2: 2.5 mm2, length-m: 1 m}
  blower-ground: {from: blower.-, to: ground-2.31, colour: brown, section-mm2: 2.5 mm2, length-m: 1 m}
  valve-feed: {from: bar.3, to: valve.15, colour: black, section-mm2: 0.75 mm2, length-m: 1 m}
  valve-ground: {from: valve.31, to: ground-2.31, colour: brown, section-mm2: 0.75 mm2, length-m: 1 m}
checks:
  - {id: wiper-off, title: Wiper switched off, kind: look, target: wiper, operate: {ignition: "on"}, place: bench,
     usual: {still: 0.9, does-not-park: 0.1}}
  - {id: wiper-slow, title: Wiper slow, kind: look, target: wiper, operate: {ignition: "on", wiper: slow},
     place: bench}
  - {id: wiper-fast, title: Wiper fast, kind: look, target: wiper, operate: {ignition: "on", wiper: fast},
     place: bench}
  - {id: blower-on, title: Blower on, kind: look, target: blower, operate: {ignition: "on", blower: "on"},
     place: bench}
  - {id: relay-on, title: Blower relay, kind: listen, target: relay, operate: {ignition: "on", blower: "on"},
     place: bench}
  - {id: crank, title: Starter, kind: listen, target: starter, operate: {key: start}, place: bench}
  - {id: valve-on, title: Idle valve as the key goes on, kind: listen, target: valve, operate: {ignition: "on"},
     place: bench}
symptoms:
  - {id: wiper-stops-anywhere, title: Wiper stops where it is, phrases: [wiper does not park],
     shows: [[{check: wiper-off, is: does-not-park}]]}
  - {id: no-blower, title: Blower dead, shows: [[{check: blower-on, is: still}]]}
  - {id: no-cranking, title: Engine does not crank, shows: [[{check: crank, is: none}], [{check: crank, is: click}]]}
"""


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory) -> Reasoner:
    folder = tmp_path_factory.mktemp("motors")
    knowledge = load_knowledge(write_vehicle(folder, _BENCH, controls=_CONTROLS), folder)
    return Reasoner(knowledge, Predictor(knowledge, step_operates(knowledge)), PlainMatcher())


def _said(small: Reasoner, check: str, cause: str | None = None) -> str:
    """What the network holds likeliest, misjudging included."""
    step = small.steps[check]
    assert small.chances.computed(step)
    row = 0 if cause is None else 1 + small.index[cause]
    return str(step.outcomes[int(small.chances.table(step)[row].argmax())])


@pytest.mark.parametrize(
    ("check", "outcomes", "sound"),
    [
        ("wiper-off", MOTORS, "still"),
        ("wiper-slow", MOTORS, "runs"),
        ("wiper-fast", MOTORS, "runs"),
        ("blower-on", MOTORS, "runs"),
        ("relay-on", ("none", "click", "buzz"), "click"),
        ("crank", SOUNDS, "sound"),
        ("valve-on", ("none", "click"), "click"),
    ],
)
def test_a_sound_vehicle_shows_what_it_should(
    small: Reasoner, check: str, outcomes: tuple[str, ...], sound: str
) -> None:
    """And a person has just the words that the part can answer to."""
    assert small.steps[check].outcomes == outcomes
    assert _said(small, check) == sound


@pytest.mark.parametrize(
    ("cause", "check", "said"),
    [
        ("park-feed.open", "wiper-off", "does-not-park"),
        ("park-feed.open", "wiper-slow", "runs"),
        ("wiper.park-feed-open", "wiper-off", "does-not-park"),
        ("wire-53e.open", "wiper-off", "does-not-park"),
        ("wiper.park-stuck", "wiper-off", "runs"),
        ("wiper.park-earth-open", "wiper-off", "runs"),
        ("fuse-wiper.blown", "wiper-off", "still"),
        ("fuse-wiper.blown", "wiper-slow", "still"),
        ("wire-53b.open", "wiper-fast", "still"),
        ("wire-53b.open", "wiper-slow", "runs"),
        ("wiper.swapped-53-53b", "wiper-fast", "slow"),
        ("wiper.seized", "wiper-slow", "still"),
        ("blower-wire.open", "blower-on", "still"),
        ("blower-wire.open", "relay-on", "click"),
        ("coil-wire.open", "relay-on", "none"),
        ("relay.coil-open", "relay-on", "none"),
        ("relay.stuck", "relay-on", "none"),
        ("relay.stuck", "blower-on", "runs"),
        ("blower.seized", "relay-on", "click"),
        ("wiper.seized", "relay-on", "click"),
        ("start-wire.open", "crank", "none"),
        ("starter-cable.open", "crank", "click"),
        ("starter.motor-open", "crank", "click"),
        ("battery.flat", "crank", "buzz"),
        ("valve-ground.open", "valve-on", "none"),
    ],
)
def test_each_fault_is_seen_or_heard_as_the_trade_says(small: Reasoner, cause: str, check: str, said: str) -> None:
    """Common practice, no source: wipers by 53a, 53b and 31; a solenoid that clicks, a relay that does not."""
    assert _said(small, check, cause) == said


def test_leaving_out_what_cannot_matter_changes_nothing_seen(small: Reasoner, monkeypatch: pytest.MonkeyPatch) -> None:
    """A wiper at rest draws nothing; yet what feeds it on its way home decides whether it got there."""
    operates = step_operates(small.knowledge)
    with monkeypatch.context() as patch:
        patch.setattr(Reach, "touched", lambda self, *given, **more: np.ones(self._count, dtype=bool))
        full = Predictor(small.knowledge, operates)
    assert small.predictor is not None
    for operate in operates:
        quick, whole = small.predictor.shown(operate), full.shown(operate)
        for name in ("motor", "relay", "volts", "branch_a"):
            np.testing.assert_allclose(
                getattr(quick, name), getattr(whole, name), atol=1e-3, err_msg=f"{name} under {operate}"
            )


def test_one_looks_and_listens_of_ones_own_accord(small: Reasoner) -> None:
    """Not only at lamps, and not only where a check is written."""
    wiped = small.step_like("", Deed("look", {"ignition": "on", "wiper": "fast"}, "wiper"))
    heard = small.step_like("", Deed("listen", {"ignition": "on"}, "relay"))
    assert isinstance(wiped, Step) and wiped.outcomes == MOTORS
    assert isinstance(heard, Step) and heard.outcomes == ("none", "click", "buzz")


def test_an_answer_about_a_motor_is_taken_in_words(small: Reasoner) -> None:
    """Understood as spoken, and refused where a motor has no such word."""
    conversation = Conversation(small, Rehearsed.opened(small), "test")
    (ask,) = [m for m in conversation.say() if m["type"] == "ask"]
    assert conversation.take({"answer": ask["id"], "value": "wiper does not park"})["type"] == "tell"
    found = {"target": "wiper", "operate": {"ignition": "on", "wiper": "slow"}}
    refused = conversation.take({"found": {**found, "value": "dim"}})
    assert refused["type"] == "error" and "does-not-park" in str(refused)
    assert conversation.take({"found": {**found, "value": "runs"}})["type"] == "tell"
    said = conversation.take({"found": {"target": "wiper", "operate": {"ignition": "on"}, "value": "Does not park"}})
    assert said["type"] == "tell", said


@pytest.mark.parametrize(
    "cause",
    [
        "park-feed.open",
        "wire-53b.open",
        "wiper.park-stuck",
        "coil-wire.open",
        "blower-wire.open",
        "relay.coil-open",
        "start-wire.open",
        "starter.solenoid-open",
        "valve-feed.open",
        "blower.seized",
    ],
)
def test_a_hidden_fault_of_motor_relay_or_starter_is_found_and_cured(small: Reasoner, cause: str) -> None:
    """From complaint to proof with looks at motors and listens to relays on the way."""
    fitter = SimulatedFitter(small, [cause])
    assert fitter.complaint() is not None
    conversation = Conversation(small, Rehearsed.opened(small), "rehearsal")
    played = play_through(conversation, fitter, lambda found: None, lambda message: None)
    assert played.cured, played


def test_a_motor_is_answered_by_number_or_word(small: Reasoner) -> None:
    """The same keys as for any choice, 1 to 4, and its words as they are spoken."""
    fitter = SimulatedFitter(small, ["wiper.park-stuck"])
    conversation = Conversation(small, Rehearsed.opened(small), "test")
    seen = []
    for _ in range(20):
        ask = conversation.say()[-1]
        if ask["type"] != "ask":
            break
        if ask["kind"] == "look" and ask["check"] in small.steps and small.steps[ask["check"]].outcomes == MOTORS:
            seen.append(ask["check"])
            assert [value for value, _ in numbered(ask)] == list(MOTORS)
            assert value_of(ask, "4") == "does-not-park"
            assert value_of(ask, "does not park") == "does not park"
        conversation.take(fitter.answer(ask))
    assert seen, "nobody was asked to look at a motor"
