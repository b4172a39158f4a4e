"""Starter, ignition, gauges, headlamp flasher, and the variants of horn, headlamps and charging, by facts of the trade.

Every vehicle here has only the circuits that the fact is about. source of the facts: common practice, no source,
unless a line says more.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path

import numpy as np
import pytest

from diag.circuit import observe
from diag.circuit.network import Change
from diag.circuit.predict import Predictor
from diag.knowledge.lint import check_causes
from diag.knowledge.load import load_knowledge
from diag.knowledge.targets import part_of_target
from diag.sheet.ways import end_part
from diag.talk.wording import point_words

Operate = Mapping[str, str]
_REST: Operate = {}
_KEY: Operate = {"ignition": "on"}
_POINTS: Operate = {"ignition": "on", "points": "closed"}
_START: Operate = {"ignition": "start"}
_RUNS: Operate = {"ignition": "on", "engine": "running"}
_PRESSED: Operate = {"horn-button": "pressed"}
_PULLED: Operate = {"headlamp-flash": "pulled"}
_VEHICLE = """\
vehicle: small
title: Small invented vehicle
system-v: {volts} V
earth: {earth}
history: rewired
circuits: [{circuits}]
options: {options}
{more}
"""
_LIGHTS = "turn-signals, stop-lamps, headlamps, headlamp-flasher"
_MACHINES = ("{machine: dynamo}", "{machine: dynamo, field: to-output}", "{machine: alternator}")


class Tried:
    """A vehicle asked by names, sound or with one cause."""

    def __init__(self, path: Path) -> None:
        self.knowledge = load_knowledge(path)
        self.predictor = Predictor(self.knowledge, [])
        self.network = self.predictor.network
        self.causes = {cause.id: cause for cause in self.predictor.causes}

    def _shown(self, operate: Operate, cause: str | None):  # type: ignore[no-untyped-def]
        change = self.causes[cause].change if cause is not None else None
        return self.predictor.bench.operate(operate, [Change(), change or Change()])[0]

    def volts(self, red: str, operate: Operate, cause: str | None = None, black: str = "body") -> float:
        found = self._shown(operate, cause).volts[1]
        return float(found[self.network.node(red)] - found[self.network.node(black)])

    def amps(self, through: str, operate: Operate, cause: str | None = None) -> float:
        return abs(float(self._shown(operate, cause).branch_a[1, self.network.branch(through)]))

    def says(self, target: str, operate: Operate, cause: str | None = None) -> str:
        """The likeliest word of a look at a part, or else of a listen to it."""
        part = part_of_target(self.knowledge, target)
        assert part is not None
        looked = part.kind in ("lamp", "two-filament-lamp", "gauge")
        words = observe.part_words(
            self._shown(operate, cause),
            self.network,
            target,
            part.kind,
            np.zeros(2),
            dict(self.knowledge.vocabulary.light_limits),
            self.knowledge.vehicle.system_v,
            np.zeros(2),
            looked=looked,
        )
        word = observe.answers_of(part.kind, looked=looked)[int(words[1].argmax())]
        return word[0] if isinstance(word, tuple) else word


Make = Callable[..., Tried]


@pytest.fixture(scope="module")
def make(tmp_path_factory: pytest.TempPathFactory) -> Make:
    """A vehicle of those circuits with those options; each is made once."""
    made: dict[tuple[object, ...], Tried] = {}

    def one(circuits: str, options: str = "{}", volts: float = 12, earth: str = "negative", more: str = "") -> Tried:
        key = (circuits, options, volts, earth, more)
        if key not in made:
            path = tmp_path_factory.mktemp("engine") / "small.yaml"
            text = _VEHICLE.format(circuits=circuits, options=options, volts=volts, earth=earth, more=more)
            path.write_text(text, encoding="utf-8")
            made[key] = Tried(path)
        return made[key]

    return one


# ---------------------------------------------------------------- every file in every form


_FORMS = [
    ("starting, ignition", f"{{ignition: {{ballast: {ballast}, carburettor: {carburettor}}}}}")
    for ballast in ("none", "resistor")
    for carburettor in ("plain", "heated-choke-and-idle-valve")
]
_FORMS += [("ignition", "{ignition: {ballast: resistor}}"), ("starting", "{}"), ("gauges", "{}")]
_FORMS += [
    (f"{_LIGHTS}, horn", f"{{horn: {{switched: {switched}}}, headlamps: {{relays: {relays}}}}}")
    for switched, relays in (("earth", "none"), ("feed", "both"), ("relay", "both"))
]
_FORMS += [("oil-warning, charge-warning, stop-lamps, turn-signals", f"{{charge-warning: {m}}}") for m in _MACHINES]


@pytest.mark.parametrize(("circuits", "options"), _FORMS)
def test_a_sound_vehicle_passes_every_check_and_every_cited_cause_exists(
    make: Make, circuits: str, options: str
) -> None:
    """Readings within their limits, and what is looked at or listened to is as people mostly find it."""
    tried = make(circuits, options)
    assert check_causes(tried.knowledge, set(tried.causes)) == []
    for check in tried.knowledge.checks.values():
        if check.kind in ("look", "listen") and check.usual:
            said = tried.says(check.target or "", check.operate)
            usual = max(check.usual, key=lambda word: check.usual[word])
            assert said == usual.partition("/")[0], check.id
        if check.unit == "V" and check.limits is not None:
            volts = tried.volts(check.red or "", check.operate, black=check.black or "")
            assert (check.limits.min or -np.inf) <= volts <= (check.limits.max or np.inf), check.id
        if check.unit == "A" and check.limits is not None:
            amps = tried.amps(check.through or "", check.operate)
            assert (check.limits.min or 0.0) <= amps <= (check.limits.max or np.inf), check.id


# ---------------------------------------------------------------- starter


def test_the_starter_cranks_at_start_only_and_only_by_its_50(make: Make) -> None:
    tried = make("starting")
    assert [tried.says("starter", operate) for operate in (_REST, _KEY, _START)] == ["none", "none", "sound"]
    assert tried.says("starter", {**_START, "unplugged": "starter.50"}) == "none"
    assert tried.says("starter", _START, "starter-50-wire.open") == "none"
    assert tried.says("starter", _START, "key-switch.open-30-50") == "none"
    assert tried.says("starter", _START, "key-switch.open-30-15") == "sound", "15 has nothing to do with it"


def test_cranking_leaves_the_battery_the_volts_that_a_warm_engine_should(make: Make) -> None:
    """At least 9.6 V at the posts, cranking a warm engine (common practice, no source), and well below rest."""
    for circuits in ("starting", "starting, ignition"):
        assert 9.6 <= make(circuits).volts("battery.B+", _START, black="battery.B-") < 11.0


def test_cranking_drops_keep_to_the_tables(make: Make) -> None:
    """Main cable 0.5 V, switch to 50 with a single winding 1.4 V (automotive handbook drop table); positive side
    0.6 V and negative side 0.3 V at most while cranking (voltage-drop test as published in an encyclopaedia)."""
    tried = make("starting")
    assert tried.volts("battery.B+", _START, black="starter.30") < 0.5
    assert tried.volts("key-switch.30", _START, black="starter.50") < 1.4
    assert tried.volts("starter.31", _START, black="battery.B-") < 0.3


@pytest.mark.parametrize("cause", ["engine-strap.open", "earth-engine.open", "engine-strap.resistive"])
def test_an_engine_without_its_strap_lifts_its_case_and_does_not_crank(make: Make, cause: str) -> None:
    """What returns by throttle and choke cables is too little to turn it; the solenoid clicks or chatters."""
    tried = make("starting")
    assert tried.says("starter", _START, cause) in ("click", "buzz")
    assert tried.volts("starter.31", _START, cause) > 3.0
    assert tried.volts("starter.31", _START) < 0.2
    assert tried.amps("starter:stray", _START, cause) > 10 > 1 > tried.amps("starter:stray", _START)


def test_a_bad_lug_and_a_flat_battery_click_and_only_the_posts_tell_them_apart(make: Make) -> None:
    tried = make("starting")
    for cause in ("starter-lug.resistive", "battery-cable.resistive", "battery.flat"):
        assert tried.says("starter", _START, cause) in ("click", "buzz"), cause
    assert tried.volts("battery.B+", _START, "starter-lug.resistive", black="battery.B-") > 11
    assert tried.volts("battery.B+", _START, "battery.flat", black="battery.B-") < 6
    assert tried.volts("battery.B+", _START, "starter-lug.resistive", black="starter.30") > 5


def test_a_welded_contact_runs_on_with_the_key_off_and_its_50_off(make: Make) -> None:
    tried = make("starting")
    for operate in (_REST, _KEY, {"unplugged": "starter.50"}):
        assert tried.says("starter", operate, "starter.contact-stuck") == "sound"
    assert tried.says("starter", {"battery": "disconnected"}, "starter.contact-stuck") == "none"
    assert tried.says("starter", _KEY, "key-switch.stuck-30-50") == "sound"
    assert tried.says("starter", {**_KEY, "unplugged": "starter.50"}, "key-switch.stuck-30-50") == "none"


def test_a_jammed_starter_pulls_the_battery_down_and_a_worn_one_does_not(make: Make) -> None:
    tried = make("starting")
    assert tried.says("starter", _START, "starter.seized") == tried.says("starter", _START, "starter.motor-open")
    assert tried.volts("battery.B+", _START, "starter.seized", black="battery.B-") < 8.5
    assert tried.volts("battery.B+", _START, "starter.motor-open", black="battery.B-") > 12
    assert tried.says("starter", _START, "starter.contact-burnt") == "weak"


# ---------------------------------------------------------------- ignition


def test_a_coil_takes_three_to_five_amps_with_points_closed(make: Make) -> None:
    """3 to 5 A (from memory); none with points open or the engine running past them."""
    for ballast in ("none", "resistor"):
        tried = make("starting, ignition", f"{{ignition: {{ballast: {ballast}, carburettor: plain}}}}")
        assert 3 < tried.amps("breaker-wire", _POINTS) < 5
        for operate, cause in (({"points": "closed"}, None), (_KEY, None), (_POINTS, "breaker.stuck-open")):
            assert tried.amps("breaker-wire", operate, cause) < 1e-3
        assert tried.amps("breaker-wire", _KEY, "breaker.stuck-closed") > 3
        assert tried.amps("breaker-wire", _POINTS, "ignition-coil.shorted-turns") > 5


@pytest.mark.parametrize("ballast", ["none", "resistor"])
def test_choke_heater_and_idle_valve_are_live_with_the_coil(make: Make, ballast: str) -> None:
    tried = make(
        "starting, ignition", f"{{ignition: {{ballast: {ballast}, carburettor: heated-choke-and-idle-valve}}}}"
    )
    for part in ("choke-heater", "idle-valve"):
        assert tried.volts(f"{part}.15", _KEY) > 11.5
        assert abs(tried.volts(f"{part}.15", _REST)) < 0.01
        assert tried.volts(f"{part}.15", _KEY, "coil-feed.open") < 2
        assert tried.volts(f"{part}.15", _KEY, "key-switch.open-30-15") < 2
    assert [tried.says("idle-valve", operate) for operate in (_REST, _KEY)] == ["none", "click"]
    assert tried.says("idle-valve", _KEY, "idle-valve.open") == "none"


def test_the_starter_bypasses_the_ballast(make: Make) -> None:
    """About half of the volts behind the ballast, all that the battery has left while cranking; with the ballast
    or contact 15 open the engine fires on the starter and dies as the key springs back."""
    tried = make("starting, ignition", "{ignition: {ballast: resistor, carburettor: plain}}")
    assert 5.5 < tried.volts("ignition-coil.15", _POINTS) < 8
    posts = tried.volts("battery.B+", _START, black="battery.B-")
    assert posts - 1.0 < tried.volts("ignition-coil.15", _START) < posts
    for cause in ("ballast.open", "key-switch.open-30-15", "coil-feed.open"):
        assert tried.volts("ignition-coil.15", _KEY, cause) < 0.5
        assert tried.volts("ignition-coil.15", _START, cause) > 8.5
    assert tried.volts("ignition-coil.15", {**_START, "points": "closed"}, "starter.bypass-open") < 6
    assert tried.volts("ignition-coil.15", _POINTS, "ballast.bridged") > 11.5


def test_a_live_wire_of_the_bundle_keeps_the_coil_alive_past_the_key(make: Make) -> None:
    """The engine runs on with the key off, and goes on with the wire off the key switch."""
    tried = make("starting, ignition")
    rubbed, off = "main-feed.to-wire-coil-feed", {"unplugged": "key-switch.15"}
    assert abs(tried.volts("ignition-coil.15", _REST)) < 0.01
    for cause, without in ((rubbed, True), ("key-switch.stuck-30-15", False)):
        assert tried.volts("ignition-coil.15", _REST, cause) > 11
        assert (tried.volts("ignition-coil.15", off, cause) > 11) is without


# ---------------------------------------------------------------- gauges


def test_needles_go_with_their_senders(make: Make) -> None:
    """Few ohms drive a needle high: earthed wire full or hot, open wire empty or cold."""
    tried = make("gauges")
    for gauge, control, wire, positions in (
        ("fuel-gauge", "fuel", "fuel-sender-wire", ("empty", "half", "full")),
        ("temperature-gauge", "coolant", "temperature-sender-wire", ("cold", "warm", "hot")),
    ):
        assert [tried.says(gauge, {**_KEY, control: at}) for at in positions] == ["low", "middle", "high"]
        for at in positions:
            assert tried.says(gauge, {**_KEY, control: at}, f"{wire}.to-body") == "high"
            assert tried.says(gauge, {**_KEY, control: at}, f"{wire}.open") == "low"
        assert tried.says(gauge, {control: positions[2]}) == "low", "without the key it rests"
        assert tried.says(gauge, {**_KEY, control: positions[2]}, "gauge-feed.open") == "low"
    assert tried.says("fuel-gauge", {**_KEY, "fuel": "half"}, "gauge-link.open") == "middle"


def test_an_earthed_sender_lets_go_with_its_wire_off_and_an_earthed_wire_does_not(make: Make) -> None:
    tried = make("gauges")
    off = {**_KEY, "unplugged": "fuel-sender.G"}
    assert tried.says("fuel-gauge", off, "fuel-sender.shorted") == "low"
    assert tried.says("fuel-gauge", off, "fuel-sender-wire.to-body") == "high"


# ---------------------------------------------------------------- headlamps


@pytest.mark.parametrize("relays", ["none", "both"])
def test_the_flasher_lights_main_beam_and_blue_tell_tale_with_the_lights_off(make: Make, relays: str) -> None:
    tried = make(f"{_LIGHTS}, horn", f"{{headlamps: {{relays: {relays}}}, horn: {{switched: earth}}}}")
    for lamp in ("headlamp-left.56a", "headlamp-right.56a", "main-beam-tell-tale"):
        assert tried.says(lamp, _PULLED) == "normal"
        assert tried.says(lamp, _REST) == "dark"
        assert tried.says(lamp, _PULLED, "flash-feed.open") == "dark"
        assert tried.says(lamp, {"lights": "head", "dip": "main"}, "flash-feed.open") == "normal"
    assert tried.says("headlamp-left.56b", _PULLED) == "dark"
    assert tried.knowledge.parts["main-beam-tell-tale"].colour == "blue"  # type: ignore[union-attr]


def test_with_relays_the_switches_carry_coils_and_the_relays_the_lamps(make: Make) -> None:
    """A tenth of an amp a coil (85 ohm, data sheet of an ISO 7588 relay) against some 8 A of two lamps."""
    plain = make(f"{_LIGHTS}, horn", "{headlamps: {relays: none}, horn: {switched: earth}}")
    by_relay = make(f"{_LIGHTS}, horn", "{headlamps: {relays: both}, horn: {switched: earth}}")
    for dip, wire, relay in (("dipped", "56b", "dip-relay"), ("main", "56a", "main-relay")):
        operate = {"lights": "head", "dip": dip}
        assert plain.amps("headlamp-feed", operate) > 6
        assert 0.1 < by_relay.amps("headlamp-feed", operate) < 0.2
        for side in ("left", "right"):
            lamp = f"headlamp-{side}.{wire}"
            assert by_relay.says(lamp, operate) == "normal"
            for cause in (f"{relay}.coil-open", f"{relay}.contact-open", f"fuse-{relay}.blown", f"{relay}-earth.open"):
                assert by_relay.says(lamp, operate, cause) == "dark", cause
            assert by_relay.says(lamp, _REST, f"{relay}.stuck") == "normal"
        assert by_relay.says(relay, operate) == "click"
        assert by_relay.says(relay, operate, f"{relay}.coil-open") == "none"


# ---------------------------------------------------------------- horn


@pytest.mark.parametrize("switched", ["earth", "feed", "relay"])
def test_the_horn_sounds_when_pressed_in_all_three_ways(make: Make, switched: str) -> None:
    tried = make(f"{_LIGHTS}, horn", f"{{horn: {{switched: {switched}}}}}")
    assert tried.says("horn", _PRESSED) == "sound"
    assert tried.says("horn", _REST) == "none"
    assert tried.says("horn", _PRESSED, "fuse-horn.blown") == "none"
    assert tried.says("horn", _PRESSED, "horn-feed.open") == "none"


def test_what_is_live_at_rest_tells_the_three_ways_apart(make: Make) -> None:
    """Earth-switched: both terminals at battery volts. Feed-switched and relay: both dead."""
    at_rest = {}
    for switched in ("earth", "feed", "relay"):
        tried = make(f"{_LIGHTS}, horn", f"{{horn: {{switched: {switched}}}}}")
        at_rest[switched] = [tried.volts(f"horn.{terminal}", _REST) > 11 for terminal in ("71", "31b")]
    assert at_rest == {"earth": [True, True], "feed": [False, False], "relay": [False, False]}


def test_a_horn_relay_is_earthed_through_the_column(make: Make) -> None:
    """Strap off: silent relay, and volts through its coil up to the strap. Earthed column wire: horn by itself."""
    tried = make(f"{_LIGHTS}, horn", "{horn: {switched: relay}}")
    for cause in ("column-strap.open", "column-slip-ring.open", "horn-button.open-31b-31"):
        assert tried.says("horn-relay", _PRESSED, cause) == "none"
        assert tried.volts("horn-relay.85", _PRESSED, cause) > 11
    assert tried.says("horn", _REST, "horn-to-column.to-body") == "sound"
    assert tried.says("horn", {"unplugged": "horn-relay.85"}, "horn-relay.stuck") == "sound"
    assert tried.amps("slip-ring-wire", _PRESSED) < 0.2 < 3 < tried.amps("fuse-horn", _PRESSED)


# ---------------------------------------------------------------- charging


@pytest.mark.parametrize("earth", ["negative", "positive"])
@pytest.mark.parametrize("machine", _MACHINES)
def test_every_machine_charges_within_its_window_in_either_polarity(make: Make, machine: str, earth: str) -> None:
    """Dynamo 13.5 to 15.0 V, alternator 13.8 to 14.4 V and 14.8 at most, battery charged (from memory); tell-tale
    lit with the key on, out when it charges; rise of half a volt at least."""
    tried = make("oil-warning, charge-warning, stop-lamps, turn-signals", f"{{charge-warning: {machine}}}", earth=earth)
    low, high = (13.5, 15.0) if "dynamo" in machine else (13.8, 14.8)
    volts = tried.volts("battery.B+", _RUNS, black="battery.B-")
    assert low < volts < high
    assert volts > tried.volts("battery.B+", _REST, black="battery.B-") + 0.5
    assert [tried.says("charge-lamp", operate) for operate in (_REST, _KEY, _RUNS)] == ["dark", "normal", "dark"]


@pytest.mark.parametrize("machine", _MACHINES[:2])
def test_on_a_regulator_b_plus_is_the_battery_and_61_the_lamp(make: Make, machine: str) -> None:
    """B+ battery feed always, 61 near body standing and at battery volts charging (DIN 72552; state from memory)."""
    tried = make("oil-warning, charge-warning, stop-lamps, turn-signals", f"{{charge-warning: {machine}}}")
    assert tried.volts("regulator.B+", _REST) > 12
    assert tried.volts("regulator.61", _KEY) < 2
    assert tried.volts("regulator.61", _RUNS) > 13
    wires = {end: name for name, wire in tried.knowledge.wires.items() for end in (wire.from_, wire.to)}
    assert end_part(tried.knowledge.wires["regulator-feed"].to) == "bus-30"
    assert wires["regulator.B+"] == "regulator-feed"
    assert wires["regulator.61"] == "charge-61-wire"


def test_the_two_field_types_answer_an_earthed_field_wire_and_a_lost_earth_the_other_way_round(make: Make) -> None:
    """Field to earth: DF at body is no field, a regulator without earth runs away. Field to D+: DF at body is full
    field, a regulator without earth leaves none."""
    circuits = "oil-warning, charge-warning, stop-lamps, turn-signals"
    to_earth, to_output = (make(circuits, f"{{charge-warning: {machine}}}") for machine in _MACHINES[:2])

    def charged(tried: Tried, cause: str) -> str:
        volts = tried.volts("battery.B+", _RUNS, cause, black="battery.B-")
        return "high" if volts > 15.1 else "none" if volts < 12.7 else "right"

    assert charged(to_earth, "dynamo-field-wire.to-body") == "none"
    assert charged(to_output, "dynamo-field-wire.to-body") == "high"
    for cause in ("regulator-earth-wire.open", "earth-regulator.open"):
        assert charged(to_earth, cause) == "high"
        assert charged(to_output, cause) == "none"
    for tried in (to_earth, to_output):
        for cause in ("dynamo-field-wire.open", "dynamo.field-open", "regulator.field-contact-open"):
            assert charged(tried, cause) == "none"
        for cause in ("dynamo.swapped-D+-DF", "regulator.swapped-D+-DF"):
            assert charged(tried, cause) == "none", cause
        assert charged(tried, "regulator.set-too-high") == "high"


def test_an_alternator_without_its_lamp_does_not_begin_and_a_shorted_diode_feeds_d_plus(make: Make) -> None:
    tried = make("oil-warning, charge-warning, stop-lamps, turn-signals", f"{{charge-warning: {_MACHINES[2]}}}")
    for cause in ("charge-lamp.open", "charge-61-wire.open"):
        assert tried.says("charge-lamp", _KEY, cause) == "dark"
        assert tried.volts("battery.B+", _RUNS, cause, black="battery.B-") < 12.7
    assert tried.volts("alternator.D+", _REST, "alternator.diode-short") > 11
    assert tried.volts("alternator.D+", _REST) < 0.1


# ---------------------------------------------------------------- what is stamped on a part


def test_a_person_is_told_what_is_stamped_on_the_part(make: Make) -> None:
    """51 stands for B+ on old regulators, 61 is D+ on some (old marks converted, an article on vehicle electrics)."""
    marks = 'overrides: {parts: {regulator: {marks: {B+: "51"}}}}'
    tried = make("charge-warning", more=marks)
    assert point_words(tried.knowledge, "regulator.B+") == "Regulator with cut-out terminal 51 (B+)"
    assert point_words(tried.knowledge, "regulator.DF") == "Regulator with cut-out terminal DF"
    assert "51 (B+)" in tried.causes["regulator.swapped-B+-D+"].title
