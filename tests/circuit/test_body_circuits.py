"""Lamps, wiper, washer, blower, radio and trailer of the shipped circuits against facts of the trade.

source of all expectations: common practice, no source; pins of the trailer socket: ISO 1724
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from itertools import product
from pathlib import Path

import numpy as np
import pytest

from diag.circuit import observe
from diag.circuit.behaviour import MOTORS, Shown
from diag.circuit.faults import Cause, derive_causes
from diag.circuit.network import Change, Network
from diag.circuit.parts import build_network
from diag.circuit.predict import Predictor, bench_of
from diag.knowledge.assemble import Knowledge
from diag.knowledge.lint import check_causes
from diag.knowledge.load import load_knowledge

Operate = Mapping[str, str]
REST: Operate = {}
KEY: Operate = {"ignition": "on"}
SIDE: Operate = {"lights": "side"}
LIT, DARK = "normal/steady", "dark/none"
BODY = (
    "side-lamps",
    "instrument-lamps",
    "interior-lamp",
    "reversing-lamp",
    "fog-lamps",
    "wipers",
    "washer",
    "heater-blower",
    "radio",
    "trailer-socket",
)


@dataclass(frozen=True)
class Body:
    """A small vehicle with some circuits: what is seen with one fault (None: sound) under one operate."""

    knowledge: Knowledge
    network: Network
    causes: Mapping[str, Cause]

    @staticmethod
    def read(path: Path) -> Body:
        knowledge = load_knowledge(path)
        network = build_network(knowledge)
        return Body(knowledge, network, {cause.id: cause for cause in derive_causes(knowledge, network)})

    def shown(self, operate: Operate, cause: str | None) -> Shown:
        """Two rows: sound, and with the fault."""
        change = Change() if cause is None else self.causes[cause].change
        assert change is not None
        found, _ = bench_of(self.knowledge, self.network).operate([operate, operate], [Change(), change])
        return found

    def look(self, lamp: str, operate: Operate, cause: str | None = None) -> str:
        """`light/rhythm`, without anybody's misjudging."""
        limits = dict(self.knowledge.vocabulary.light_limits)
        words = observe.lamp_looks(self.shown(operate, cause), self.network, lamp, np.zeros(2), limits)
        return "/".join(observe.LOOKS[int(words[1].argmax())])

    def motor(self, motor: str, operate: Operate, cause: str | None = None) -> str:
        words = observe.motor_looks(self.shown(operate, cause), self.network, motor)
        return MOTORS[int(words[1].argmax())]

    def volts(self, red: str, operate: Operate, cause: str | None = None, black: str = "body") -> float:
        found = self.shown(operate, cause).volts[1]
        return float(found[self.network.node(red)] - found[self.network.node(black)])

    def amps(self, branch: str, operate: Operate, cause: str | None = None) -> float:
        return float(abs(self.shown(operate, cause).branch_a[1, self.network.branch(branch)]))


def _file(
    folder: Path, circuits: tuple[str, ...], options: str = "{}", volts: int = 12, earth: str = "negative"
) -> Path:
    path = folder / "body.yaml"
    path.write_text(
        f"vehicle: body\ntitle: A small invented vehicle\nsystem-v: {volts} V\nearth: {earth}\nhistory: rewired\n"
        f"circuits: [{', '.join(circuits)}]\noptions: {options}\n",
        encoding="utf-8",
    )
    return path


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory):  # type: ignore[no-untyped-def]
    """Vehicles by their circuits and options, each built once."""

    @cache
    def built(*circuits: str, options: str = "{}") -> Body:
        return Body.read(_file(tmp_path_factory.mktemp("body"), circuits, options))

    return built


# ---------------------------------------------------------------- side, instrument and interior lamps

_ON_58 = ("side-lamp-left", "side-lamp-right", "tail-lamp-left", "tail-lamp-right", "plate-lamp")
_INSTRUMENTS = ("speedometer-lamp", "gauge-lamp")
_LIGHTS = ("turn-signals", "stop-lamps", "side-lamps", "instrument-lamps")


@pytest.mark.parametrize("fuses", ["shared", "own"])
def test_the_side_position_lights_everything_that_hangs_on_58(small, fuses: str) -> None:  # type: ignore[no-untyped-def]
    """Side, tail, number-plate and instrument lamps, with the headlamps on too, and nothing at rest."""
    body = small(*_LIGHTS, options=f"{{side-lamps: {{fuses: {fuses}}}}}")
    for lamp in (*_ON_58, *_INSTRUMENTS):
        assert body.look(lamp, SIDE) == body.look(lamp, {"lights": "head"}) == LIT, lamp
        assert body.look(lamp, REST) == body.look(lamp, KEY) == DARK, lamp


def test_the_dimmer_dims_the_instrument_lamps_and_nothing_else(small) -> None:  # type: ignore[no-untyped-def]
    body = small(*_LIGHTS)
    dim = {**SIDE, "dimmer": "dim"}
    for lamp in _INSTRUMENTS:
        assert 5 < body.volts(f"{lamp}.58d", dim) < body.volts(f"{lamp}.58d", SIDE) - 3
    for lamp in _ON_58:
        assert body.volts(f"{lamp}.58", dim) == pytest.approx(body.volts(f"{lamp}.58", SIDE), abs=0.05)


def test_a_bridged_dimmer_does_not_dim_and_an_open_one_leaves_the_instruments_dark(small) -> None:  # type: ignore[no-untyped-def]
    body = small(*_LIGHTS)
    dim = {**SIDE, "dimmer": "dim"}
    for lamp in _INSTRUMENTS:
        assert body.look(lamp, dim, "dimmer.bypassed") == "too-bright/steady"
        assert body.look(lamp, SIDE, "dimmer.bypassed") == LIT
        assert body.look(lamp, SIDE, "dimmer.open") == DARK
    assert body.look("tail-lamp-left", SIDE, "dimmer.open") == LIT


def test_a_lost_front_earth_makes_the_side_lamp_flash_in_place_of_the_turn_lamp(small) -> None:  # type: ignore[no-untyped-def]
    """Both share the earth: the signal's current then goes home through the side lamp."""
    body = small(*_LIGHTS)
    left = {**KEY, "turn": "left"}
    lost = "earth-front-left.open"
    assert body.look("turn-lamp-front-left", left, lost) == DARK
    assert body.look("side-lamp-left", left, lost).split("/")[1] in ("flashing", "fast")
    assert body.look("side-lamp-left", {**left, **SIDE}, "earth-front-left.resistive") == "normal/flashing"
    assert body.look("side-lamp-left", {**left, **SIDE}) == LIT
    assert body.look("side-lamp-right", {**KEY, **SIDE, "turn": "right"}, lost) == LIT


@pytest.mark.parametrize(("left", "right"), list(product(["shut", "open"], repeat=2)))
def test_either_door_lights_the_interior_lamp_and_both_shut_darken_it(small, left: str, right: str) -> None:  # type: ignore[no-untyped-def]
    """The door switches stand side by side; pressing both in makes it dark. The lamp's own switch overrules them."""
    body = small("interior-lamp")
    doors = {"door-left": left, "door-right": right}
    assert body.look("interior-lamp", doors) == (LIT if "open" in (left, right) else DARK)
    assert body.look("interior-lamp", {**doors, "interior-switch": "on"}) == LIT
    assert body.look("interior-lamp", {**doors, "interior-switch": "off"}) == DARK


def test_an_earthed_door_switch_keeps_the_interior_lamp_lit(small) -> None:  # type: ignore[no-untyped-def]
    """And a door whose switch fails leaves it to the other door."""
    body = small("interior-lamp")
    assert body.look("interior-lamp", REST, "door-switch-left.stuck-31b-body") == LIT
    assert body.look("interior-lamp", {"unplugged": "door-switch-left.31b"}, "door-switch-left.stuck-31b-body") == DARK
    broken = "door-switch-right.open-31b-body"
    assert body.look("interior-lamp", {"door-right": "open"}, broken) == DARK
    assert body.look("interior-lamp", {"door-left": "open"}, broken) == LIT


# ---------------------------------------------------------------- reversing and fog lamps


@pytest.mark.parametrize(("ignition", "gear"), list(product(["off", "on"], ["neutral", "reverse"])))
def test_the_reversing_lamp_lights_only_in_reverse_with_the_key_on(small, ignition: str, gear: str) -> None:  # type: ignore[no-untyped-def]
    body = small("turn-signals", "stop-lamps", "reversing-lamp")
    expected = LIT if (ignition, gear) == ("on", "reverse") else DARK
    assert body.look("reversing-lamp", {"ignition": ignition, "gear": gear}) == expected


_FOG_LAMPS = {
    "front": ("fog-lamp-left", "fog-lamp-right"),
    "rear": ("fog-lamp-rear",),
    "both": ("fog-lamp-left", "fog-lamp-right", "fog-lamp-rear"),
}


@pytest.mark.parametrize(("lamps", "switched"), list(product(_FOG_LAMPS, ["relay", "directly"])))
def test_fog_lamps_light_only_with_the_side_lamps(small, lamps: str, switched: str) -> None:  # type: ignore[no-untyped-def]
    body = small(
        "turn-signals", "stop-lamps", "fog-lamps", options=f"{{fog-lamps: {{lamps: {lamps}, switched: {switched}}}}}"
    )
    fitted = {filament.id for filament in body.network.filaments if filament.id.startswith("fog-lamp")}
    assert fitted == set(_FOG_LAMPS[lamps])
    assert ("fog-relay" in body.knowledge.parts) == (switched == "relay")
    for lamp in (*fitted, "fog-tell-tale"):
        for lights in ("side", "head"):
            assert body.look(lamp, {"lights": lights, "fog-switch": "on"}) == LIT
            assert body.look(lamp, {"lights": lights}) == DARK
        assert body.look(lamp, {"fog-switch": "on"}) == body.look(lamp, {**KEY, "fog-switch": "on"}) == DARK


def test_a_welded_fog_relay_burns_its_lamps_without_side_lamps(small) -> None:  # type: ignore[no-untyped-def]
    body = small("turn-signals", "stop-lamps", "fog-lamps")
    assert body.look("fog-lamp-left", REST, "fog-relay.stuck") == LIT
    assert body.look("fog-tell-tale", REST, "fog-relay.stuck") == DARK
    assert body.volts("fog-relay.86", REST, "fog-relay.stuck") < 0.1


# ---------------------------------------------------------------- wiper, washer, blower

_SLOW, _FAST = {**KEY, "wiper": "slow"}, {**KEY, "wiper": "fast"}


def test_the_wiper_has_two_speeds_and_goes_home(small) -> None:  # type: ignore[no-untyped-def]
    """Fast takes more current than slow; without the key nothing moves."""
    body = small("wipers")
    assert body.motor("wiper-motor", _SLOW) == body.motor("wiper-motor", _FAST) == "runs"
    assert body.motor("wiper-motor", KEY) == "still"
    assert body.motor("wiper-motor", {"wiper": "slow"}) == "still"
    assert 1.5 < body.amps("fuse-wiper", _SLOW) < body.amps("fuse-wiper", _FAST) - 0.5
    assert body.amps("fuse-wiper", KEY) < 0.01


@pytest.mark.parametrize(
    ("cause", "slow", "fast", "off"),
    [
        ("wiper-park-feed.open", "runs", "runs", "does-not-park"),
        ("wiper-park-wire.open", "runs", "runs", "does-not-park"),
        ("wiper-motor.park-feed-open", "runs", "runs", "does-not-park"),
        ("wiper-motor.park-earth-open", "runs", "runs", "runs"),
        ("wiper-motor.park-stuck", "runs", "runs", "runs"),
        ("wiper-fast-wire.open", "runs", "still", "still"),
        ("wiper-slow-wire.open", "still", "runs", "does-not-park"),
        ("wiper-earth-wire.open", "still", "still", "still"),
        ("fuse-wiper.blown", "still", "still", "still"),
    ],
)
def test_each_fault_of_the_wiper_is_seen_as_the_trade_says(small, cause: str, slow: str, fast: str, off: str) -> None:  # type: ignore[no-untyped-def]
    """It stops at once without its live 53a, and never stops without the earth at rest."""
    body = small("wipers")
    assert [body.motor("wiper-motor", operate, cause) for operate in (_SLOW, _FAST, KEY)] == [slow, fast, off]


def test_a_lost_brake_is_not_left_out_of_the_table(tmp_path: Path) -> None:
    """The contact that earths a wiper at rest carries no current there, with nothing else on the same earth."""
    knowledge = load_knowledge(_file(tmp_path, ("wipers",)))
    predictor = Predictor(knowledge, [KEY])
    row = 1 + [cause.id for cause in predictor.causes].index("wiper-motor.park-earth-open")
    assert MOTORS[int(predictor.shown(KEY).motor[row, 0].argmax())] == "runs"


def test_a_wiper_of_one_speed_has_no_53b(small) -> None:  # type: ignore[no-untyped-def]
    body = small("wipers", options="{wipers: {speeds: one}}")
    assert body.knowledge.controls["wiper"] == ("off", "slow")
    assert not [wire for wire in body.knowledge.wires.values() if "53b" in wire.from_ + wire.to]
    assert body.motor("wiper-motor", _SLOW) == "runs"
    assert body.motor("wiper-motor", KEY, "wiper-park-feed.open") == "does-not-park"
    assert "wiper-dead" in body.knowledge.symptoms and "wiper-no-fast" not in body.knowledge.symptoms


def test_the_washer_runs_while_its_button_is_pressed_on_the_fuse_of_the_wiper(small) -> None:  # type: ignore[no-untyped-def]
    body = small("wipers", "washer")
    pressed = {**KEY, "washer": "pressed"}
    assert body.motor("washer-pump", pressed) == "runs"
    assert body.motor("washer-pump", KEY) == body.motor("washer-pump", {"washer": "pressed"}) == "still"
    assert body.motor("washer-pump", pressed, "fuse-wiper.blown") == "still"
    assert body.motor("wiper-motor", pressed) == "still", "washing alone does not wipe here"
    assert body.motor("washer-pump", {**pressed, "wiper": "fast"}) == "runs"


def test_the_blower_is_slow_through_its_resistor_and_fast_straight(small) -> None:  # type: ignore[no-untyped-def]
    """A burnt resistor leaves the fast speed; a bridged one makes both speeds alike."""
    body = small("heater-blower")
    slow, fast = {**KEY, "blower": "slow"}, {**KEY, "blower": "fast"}
    assert body.motor("blower-motor", slow) == body.motor("blower-motor", fast) == "runs"
    assert body.motor("blower-motor", KEY) == body.motor("blower-motor", {"blower": "fast"}) == "still"
    assert 5 < body.volts("blower-motor.83b", slow) < 8 < 11 < body.volts("blower-motor.83b", fast)
    assert body.motor("blower-motor", slow, "blower-resistor.open") == "still"
    assert body.motor("blower-motor", fast, "blower-resistor.open") == "runs"
    assert body.volts("blower-motor.83b", slow, "blower-resistor.bridged") > 11


# ---------------------------------------------------------------- radio


def test_the_radio_keeps_its_memory_with_the_key_off(small) -> None:  # type: ignore[no-untyped-def]
    """The memory hangs on 30 by the fuse of the interior lamp, the set on the key."""
    body = small("interior-lamp", "radio")
    assert body.volts("radio-memory.30", REST, None, "radio-memory.31") > 12.4
    assert 0.005 < body.amps("fuse-interior", REST) < 0.02
    assert abs(body.volts("radio-switch.75", REST)) < 0.1 and body.volts("radio-switch.75", KEY) > 12
    assert body.look("radio-dial", {**KEY, "radio": "on"}) == LIT
    assert body.look("radio-dial", {"radio": "on"}) == body.look("radio-dial", KEY) == DARK
    for lost, lamp in (("radio-memory-feed.open", LIT), ("fuse-interior.blown", DARK)):
        assert abs(body.volts("radio-memory.30", REST, lost)) < 0.1
        assert body.look("interior-lamp", {"door-left": "open"}, lost) == lamp
    assert body.look("radio-dial", {**KEY, "radio": "on"}, "fuse-interior.blown") == LIT


# ---------------------------------------------------------------- trailer

_ISO_1724 = ("L", "54g", "31", "R", "58R", "54", "58L")
"""Pins 1 to 7 of a 12 V trailer socket (ISO 1724)."""
_COLOURS = ("yellow", "blue", "white", "green", "brown", "red", "black")
"""Insulation of the cores of pins 1 to 7 (ISO 1724, from memory)."""
_HITCHED = {"trailer": "hitched"}
_TRAILER: dict[str, tuple[Operate, tuple[str, ...], str]] = {
    "L": ({**KEY, "turn": "left"}, ("trailer-turn-lamp-left",), "normal/flashing"),
    "R": ({**KEY, "turn": "right"}, ("trailer-turn-lamp-right",), "normal/flashing"),
    "58R": (SIDE, ("trailer-lamp-right.58",), LIT),
    "54": ({**KEY, "brake-pedal": "pressed"}, ("trailer-lamp-left.54", "trailer-lamp-right.54"), LIT),
    "58L": (SIDE, ("trailer-lamp-left.58",), LIT),
}
_TRAILER_LAMPS = {lamp for _, lamps, _ in _TRAILER.values() for lamp in lamps}


def _trailer(small) -> Body:  # type: ignore[no-untyped-def]
    body: Body = small("turn-signals", "stop-lamps", "trailer-socket")
    return body


def test_the_trailer_socket_has_the_pins_and_colours_of_the_standard(small) -> None:  # type: ignore[no-untyped-def]
    body = _trailer(small)
    assert body.knowledge.parts["trailer-socket"].pins == _ISO_1724  # type: ignore[union-attr]
    found = {wire.to: wire.colour for wire in body.knowledge.wires.values()}
    found |= {wire.from_: wire.colour for wire in body.knowledge.wires.values()}
    assert [found[f"trailer-socket.{pin}"] for pin in _ISO_1724] == list(_COLOURS)


@pytest.mark.parametrize("pin", list(_TRAILER))
def test_each_pin_lights_the_right_lamps_of_the_trailer(small, pin: str) -> None:  # type: ignore[no-untyped-def]
    """Its lamps and no others, and only while the trailer is hitched; with the pin dead they are dark."""
    body = _trailer(small)
    operate, lamps, shown = _TRAILER[pin]
    also = {lamp for op, names, _ in _TRAILER.values() if op == operate for lamp in names}
    for lamp in sorted(_TRAILER_LAMPS):
        assert body.look(lamp, operate) == DARK
        found = body.look(lamp, {**operate, **_HITCHED})
        assert (found == shown) if lamp in lamps else ((found != DARK) == (lamp in also)), lamp
        if lamp in lamps:
            assert body.look(lamp, {**operate, **_HITCHED}, f"trailer-socket.open-{pin}") == DARK


def test_pin_2_is_live_with_the_key_off(small) -> None:  # type: ignore[no-untyped-def]
    body = _trailer(small)
    assert body.volts("trailer-socket.54g", REST) > 12.4
    assert body.volts("trailer-socket.54g-t", _HITCHED) > 12.4
    assert abs(body.volts("trailer-socket.54g", REST, "fuse-trailer.blown")) < 0.1


def test_the_vehicles_own_lamps_do_not_mind_a_sound_trailer(small) -> None:  # type: ignore[no-untyped-def]
    body = _trailer(small)
    assert body.look("turn-lamp-rear-left", {**KEY, **_HITCHED, "turn": "left"}) == "normal/flashing"
    assert body.look("stop-lamp-left", {**KEY, **_HITCHED, "brake-pedal": "pressed"}) == LIT


@pytest.mark.parametrize("lost", ["trailer-socket.open-31", "trailer-earth-wire.open", "earth-trailer.open"])
def test_without_its_earth_the_lamps_of_a_trailer_dim_each_other(small, lost: str) -> None:  # type: ignore[no-untyped-def]
    """Stop lamps weak, tail lamps glow with the pedal and wink with the signal."""
    body = _trailer(small)
    stop = {**KEY, **_HITCHED, "brake-pedal": "pressed"}
    assert body.look("trailer-lamp-left.54", stop, lost) == "dim/steady"
    assert body.look("stop-lamp-left", stop, lost) == LIT
    assert body.look("trailer-lamp-left.58", stop, lost) == "glow/steady"
    assert body.look("trailer-lamp-left.58", {**KEY, **SIDE, **_HITCHED, "turn": "left"}, lost) == "normal/flashing"
    assert body.look("trailer-lamp-left.58", {**KEY, **SIDE, **_HITCHED, "turn": "left"}) == LIT


@pytest.mark.parametrize("half", ["", "-t"])
def test_exchanged_pins_make_signal_and_tail_lamp_answer_for_each_other(small, half: str) -> None:  # type: ignore[no-untyped-def]
    """In the socket or in the plug alike: only the volts on the pins tell which."""
    body = _trailer(small)
    cause = f"trailer-socket.swapped-L{half}-58L{half}"
    assert body.look("trailer-lamp-left.58", {**KEY, **_HITCHED, "turn": "left"}, cause) == "normal/flashing"
    assert body.look("trailer-turn-lamp-left", {**SIDE, **_HITCHED}, cause) == LIT
    assert (body.volts("trailer-socket.L", SIDE, cause) > 11) == (half == "")
    assert not any("swapped-L-58L-t" in each for each in body.causes), "nobody takes a screw of one half for the other"


def test_a_plug_that_is_not_home_leaves_the_trailer_dark(small) -> None:  # type: ignore[no-untyped-def]
    body = _trailer(small)
    for operate, lamps, _ in _TRAILER.values():
        for lamp in lamps:
            assert body.look(lamp, {**operate, **_HITCHED}, "trailer-socket.out") == DARK


# ---------------------------------------------------------------- all of them

_ALL = ("turn-signals", "stop-lamps", *BODY)


@pytest.mark.parametrize(("volts", "earth"), [(6, "negative"), (24, "negative"), (12, "positive")])
def test_the_circuits_serve_other_systems(tmp_path: Path, volts: int, earth: str) -> None:
    """6 and 24 V and plus on body: the same lamps burn and the same motors run."""
    body = Body.read(_file(tmp_path, _ALL, volts=volts, earth=earth))
    for lamp, operate in {
        "side-lamp-left": SIDE,
        "speedometer-lamp": SIDE,
        "interior-lamp": {"door-left": "open"},
        "reversing-lamp": {**KEY, "gear": "reverse"},
        "fog-lamp-left": {**SIDE, "fog-switch": "on"},
        "radio-dial": {**KEY, "radio": "on"},
        "trailer-lamp-left.54": {**KEY, **_HITCHED, "brake-pedal": "pressed"},
    }.items():
        across = abs(body.shown(operate, None).lamp_on_v[1, body.network.filament(lamp)])
        assert 0.75 * volts < across < 1.1 * volts, lamp
        assert body.look(lamp, REST) == DARK
    for motor, control in {"wiper-motor": "wiper", "blower-motor": "blower"}.items():
        assert body.motor(motor, {**KEY, control: "fast"}) == "runs"
        assert body.motor(motor, KEY) == "still"


def test_every_cause_that_the_circuits_cite_is_there(tmp_path: Path) -> None:
    """With every choice of every option: what a variant takes away its rules must not speak of."""
    choices = product(["shared", "own"], ["front", "rear", "both"], ["relay", "directly"], ["two", "one"])
    for fuses, lamps, switched, speeds in choices:
        options = (
            f"{{side-lamps: {{fuses: {fuses}}}, fog-lamps: {{lamps: {lamps}, switched: {switched}}}, "
            f"wipers: {{speeds: {speeds}}}}}"
        )
        body = Body.read(_file(tmp_path, _ALL, options))
        derived = [cause for cause in body.causes if body.causes[cause].kind != "added"]
        assert check_causes(body.knowledge, derived) == []


def test_no_two_checks_ask_for_the_same_deed(tmp_path: Path) -> None:
    """The answer to one would be filed under the other, which would be asked for ever."""
    deeds: dict[object, str] = {}
    for name, check in load_knowledge(_file(tmp_path, _ALL)).checks.items():
        if check.kind in ("look", "listen", "measure"):
            operate = tuple(sorted(check.operate.items()))
            what = (check.target, check.red, check.black, check.through, check.unit)
            deed = (check.kind, operate, *what)
            assert deeds.setdefault(deed, name) == name, f"{name} and {deeds[deed]}"


def test_every_circuit_has_a_way_in_and_a_way_to_prove_a_cure(tmp_path: Path) -> None:
    """Complaints with several phrases, rules that build on each other, remedies with steps and proof."""
    knowledge = load_knowledge(_file(tmp_path, _ALL))
    for name in BODY:
        circuit = knowledge.circuits[name]
        assert all(len(symptom.phrases) >= 3 for symptom in circuit.symptoms) and circuit.symptoms
        made = {effect.establish for rule in circuit.rules for effect in rule.then if effect.establish is not None}
        assert any(condition.established in made for rule in circuit.rules for condition in rule.when), name
        assert all(len(remedy.steps) >= 3 and remedy.proof for remedy in circuit.remedies) and circuit.remedies
        assert all(rule.looks_like for rule in circuit.rules)
