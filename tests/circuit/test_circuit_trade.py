"""Each fault of the usual list made on the demo vehicle shows what the trade says it shows.

Expectations are `common practice, no source` unless a line says more. None marks a healthy vehicle.
"""

from __future__ import annotations

import pytest

from tests.circuit.demo import CHARGING, DIPPED, HAZARD, HORN, KEY, LEFT, MAIN, REST, RIGHT, SIDE, STOP, Demo, Operate

_LIT, _DARK, _FLASHING, _FAST = "normal/steady", "dark/none", "normal/flashing", "normal/fast"
_TURN_LEFT = ("turn-lamp-front-left", "turn-lamp-rear-left")
_TURN_RIGHT = ("turn-lamp-front-right", "turn-lamp-rear-right")
_BEAM, _DIP = ("headlamp-left.56a", "headlamp-right.56a"), ("headlamp-left.56b", "headlamp-right.56b")
_TAIL = {"tail-lamp-left": _LIT, "turn-lamp-front-left": _DARK}

_HEALTHY: list[tuple[Operate, dict[str, str]]] = [
    (LEFT, {**dict.fromkeys(_TURN_LEFT, _FLASHING), **dict.fromkeys(_TURN_RIGHT, _DARK), "turn-tell-tale": _FLASHING}),
    (RIGHT, {**dict.fromkeys(_TURN_RIGHT, _FLASHING), **dict.fromkeys(_TURN_LEFT, _DARK), "turn-tell-tale": _FLASHING}),
    (HAZARD, {**dict.fromkeys((*_TURN_LEFT, *_TURN_RIGHT), _FLASHING), "turn-tell-tale": _DARK}),
    (STOP, {"stop-lamp-left": _LIT, "stop-lamp-right": _LIT, "tail-lamp-left": _DARK, "plate-lamp": _DARK}),
    (SIDE, {"tail-lamp-left": _LIT, "tail-lamp-right": _LIT, "plate-lamp": _LIT, "stop-lamp-left": _DARK}),
    (KEY, {"oil-lamp": _LIT, "charge-lamp": _LIT, "stop-lamp-left": _DARK, "turn-lamp-front-left": _DARK}),
    (CHARGING, {"oil-lamp": _DARK, "charge-lamp": _DARK}),
    (DIPPED, {**dict.fromkeys(_DIP, _LIT), **dict.fromkeys(_BEAM, _DARK), "main-beam-tell-tale": _DARK, **_TAIL}),
    (MAIN, {**dict.fromkeys(_BEAM, _LIT), **dict.fromkeys(_DIP, _DARK), "main-beam-tell-tale": _LIT, **_TAIL}),
]

_FAULTS: list[tuple[str, Operate, dict[str, str]]] = [
    # lamp open: that lamp is dark, the other of its side goes on at about twice the rate
    ("turn-lamp-rear-left.open", LEFT, {"turn-lamp-rear-left": _DARK, "turn-lamp-front-left": _FAST}),
    ("turn-lamp-rear-left.open", RIGHT, dict.fromkeys(_TURN_RIGHT, _FLASHING)),
    ("stop-lamp-left.open", STOP, {"stop-lamp-left": _DARK, "stop-lamp-right": _LIT}),
    # tell-tale lamp open: everything else as before
    ("turn-tell-tale.open", LEFT, {"turn-tell-tale": _DARK, **dict.fromkeys(_TURN_LEFT, _FLASHING)}),
    ("oil-lamp.open", KEY, {"oil-lamp": _DARK, "charge-lamp": _LIT}),
    ("charge-lamp.open", KEY, {"charge-lamp": _DARK, "oil-lamp": _LIT}),
    # fuse blown
    ("fuse-turn.blown", LEFT, {**dict.fromkeys(_TURN_LEFT, _DARK), "turn-tell-tale": _DARK}),
    ("fuse-turn.blown", HAZARD, dict.fromkeys((*_TURN_LEFT, *_TURN_RIGHT), _FLASHING)),
    ("fuse-hazard.blown", HAZARD, dict.fromkeys((*_TURN_LEFT, *_TURN_RIGHT), _DARK)),
    ("fuse-stop.blown", STOP, {"stop-lamp-left": _DARK, "stop-lamp-right": _DARK}),
    ("fuse-instruments.blown", KEY, {"oil-lamp": _DARK, "charge-lamp": _DARK}),
    # wire open
    ("turn-rear-left-wire.open", LEFT, {"turn-lamp-rear-left": _DARK, "turn-lamp-front-left": _FAST}),
    ("stop-wire.open", STOP, {"stop-lamp-left": _DARK, "stop-lamp-right": _DARK}),
    ("tail-wire.open", SIDE, {"tail-lamp-left": _DARK, "tail-lamp-right": _DARK, "plate-lamp": _DARK}),
    # wire resistive: an ohm in the common feed dims both stop lamps, which lose more than a quarter of their volts
    ("stop-wire.resistive", STOP, {"stop-lamp-left": "dim/steady", "stop-lamp-right": "dim/steady"}),
    # earth open or resistive: dark or dim, and only the lamps on that earth
    ("earth-wire-front-left.open", LEFT, {"turn-lamp-front-left": _DARK, "turn-lamp-rear-left": _FAST}),
    ("earth-rear-left.resistive", LEFT, {"turn-lamp-rear-left": "dim/flashing", "turn-lamp-front-left": _FLASHING}),
    ("earth-rear-left.resistive", RIGHT, dict.fromkeys(_TURN_RIGHT, _FLASHING)),
    ("earth-plate.open", SIDE, {"plate-lamp": _DARK, "tail-lamp-left": _LIT}),
    # switch contact open or stuck
    ("turn-switch.open-49a-L", LEFT, dict.fromkeys(_TURN_LEFT, _DARK)),
    ("turn-switch.open-49a-L", RIGHT, dict.fromkeys(_TURN_RIGHT, _FLASHING)),
    ("turn-switch.open-49a-L", HAZARD, dict.fromkeys(_TURN_LEFT, _FLASHING)),
    ("pedal-switch.open-15-54", STOP, {"stop-lamp-left": _DARK, "stop-lamp-right": _DARK}),
    ("pedal-switch.stuck-15-54", KEY, {"stop-lamp-left": _LIT, "stop-lamp-right": _LIT}),
    ("hazard-switch.open-15-49", LEFT, dict.fromkeys(_TURN_LEFT, _DARK)),
    ("hazard-switch.open-15-49", HAZARD, dict.fromkeys(_TURN_LEFT, _FLASHING)),
    ("key-switch.open-30-15", KEY, {"oil-lamp": _DARK, "charge-lamp": _DARK}),
    ("key-switch.stuck-30-15", REST, {"oil-lamp": _LIT, "charge-lamp": _LIT}),
    # two wires swapped
    ("turn-switch.swapped-L-R", LEFT, {**dict.fromkeys(_TURN_RIGHT, _FLASHING), **dict.fromkeys(_TURN_LEFT, _DARK)}),
    ("turn-switch.swapped-L-R", HAZARD, dict.fromkeys((*_TURN_LEFT, *_TURN_RIGHT), _FLASHING)),
    ("hazard-switch.swapped-15-30", {"turn": "left"}, dict.fromkeys(_TURN_LEFT, _FLASHING)),
    ("hazard-switch.swapped-15-30", HAZARD, dict.fromkeys(_TURN_LEFT, _DARK)),
    # flasher unit
    ("flasher-unit.never-opens", LEFT, dict.fromkeys(_TURN_LEFT, _LIT)),
    ("flasher-unit.never-opens", RIGHT, dict.fromkeys(_TURN_RIGHT, _LIT)),
    ("flasher-unit.never-opens", HAZARD, dict.fromkeys((*_TURN_LEFT, *_TURN_RIGHT), _LIT)),
    ("flasher-unit.never-closes", LEFT, {**dict.fromkeys(_TURN_LEFT, _DARK), "turn-tell-tale": _DARK}),
    ("tell-tale-right-wire.open", LEFT, {"turn-tell-tale": _DARK, **dict.fromkeys(_TURN_LEFT, _FLASHING)}),
    # across L and R: dark while both sides flash, lit where one side is missing
    ("hazard-switch.open-49a-L", HAZARD, {**dict.fromkeys(_TURN_LEFT, _DARK), "turn-tell-tale": _FLASHING}),
    # sender stuck, and its wire to body
    ("oil-sender.stuck-open", KEY, {"oil-lamp": _DARK, "charge-lamp": _LIT}),
    ("oil-sender.stuck-closed", CHARGING, {"oil-lamp": _LIT, "charge-lamp": _DARK}),
    ("oil-sender-wire.to-body", CHARGING, {"oil-lamp": _LIT}),
    ("oil-sender-wire.to-body", {**KEY, "unplugged": "oil-sender.G"}, {"oil-lamp": _LIT}),
    ("oil-sender.stuck-closed", {**KEY, "unplugged": "oil-sender.G"}, {"oil-lamp": _DARK}),
    # headlamps
    ("headlamp-left.open-56b", DIPPED, {"headlamp-left.56b": _DARK, "headlamp-right.56b": _LIT}),
    ("headlamp-left.open-56b", MAIN, dict.fromkeys(_BEAM, _LIT)),
    (
        "fuse-main-left.blown",
        MAIN,
        {"headlamp-left.56a": _DARK, "main-beam-tell-tale": _DARK, "headlamp-right.56a": _LIT},
    ),
    ("dip-switch.open-56-56b", DIPPED, dict.fromkeys(_DIP, _DARK)),
    ("dip-switch.open-56-56b", MAIN, dict.fromkeys(_BEAM, _LIT)),
    ("light-switch.open-30-56", DIPPED, {**dict.fromkeys(_DIP, _DARK), "tail-lamp-left": _LIT}),
    ("light-switch.swapped-58-56", SIDE, {"headlamp-left.56b": _LIT, "tail-lamp-left": _DARK}),
    ("dip-switch.swapped-56a-56b", DIPPED, {**dict.fromkeys(_BEAM, _LIT), "main-beam-tell-tale": _LIT}),
    ("dip-switch.swapped-56a-56b", MAIN, {**dict.fromkeys(_DIP, _LIT), "main-beam-tell-tale": _DARK}),
    ("headlamp-left.swapped-56a-56b", DIPPED, {"headlamp-left.56a": _LIT, "headlamp-right.56b": _LIT}),
    ("headlamp-left.swapped-56a-56b", MAIN, {"headlamp-left.56b": _LIT, "headlamp-right.56a": _LIT}),
    # a filament that lies on the other: dipped, its fuse carries both main beams and burns; on main it is fed
    (
        "headlamp-left.bridged",
        DIPPED,
        {"headlamp-left.56b": _DARK, "headlamp-right.56b": _LIT, "main-beam-tell-tale": _DARK},
    ),
    (
        "headlamp-left.bridged",
        MAIN,
        {**dict.fromkeys(_BEAM, _LIT), "headlamp-left.56b": _LIT, "headlamp-right.56b": _DARK},
    ),
    # one headlamp dim, the other right: its earth; both dim: switch, dip switch or feed
    ("earth-front-left.resistive", DIPPED, {"headlamp-left.56b": "dim/steady", "headlamp-right.56b": _LIT}),
    ("dip-switch.resistive-56-56b", DIPPED, dict.fromkeys(_DIP, "dim/steady")),
    # charging
    ("dynamo.no-output", CHARGING, {"charge-lamp": _LIT, "oil-lamp": _DARK}),
    ("charge-61-wire.to-body", CHARGING, {"charge-lamp": _LIT}),
    ("charge-61-wire.open", KEY, {"charge-lamp": _DARK, "oil-lamp": _LIT}),
]


@pytest.mark.parametrize(("operate", "shows"), _HEALTHY, ids=lambda value: str(value) if "turn" not in value else None)
def test_a_healthy_vehicle_shows_what_it_should(demo: Demo, operate: Operate, shows: dict[str, str]) -> None:
    """All that follows is a difference from this."""
    assert {lamp: demo.look(lamp, operate) for lamp in shows} == shows


@pytest.mark.parametrize(
    ("cause", "operate", "shows"),
    _FAULTS,
    ids=[f"{cause}-{'+'.join(operate.values())}" for cause, operate, _ in _FAULTS],
)
def test_a_fault_shows_what_the_trade_says(demo: Demo, cause: str, operate: Operate, shows: dict[str, str]) -> None:
    """What the network computes is only worth asking for if it is what a mechanic would see."""
    assert {lamp: demo.look(lamp, operate, cause) for lamp in shows} == shows


@pytest.mark.parametrize(
    ("cause", "operate", "heard"),
    [
        (None, REST, "none"),
        (None, HORN, "sound"),
        ("horn.open", HORN, "none"),
        ("horn.seized", HORN, "click"),
        ("fuse-horn.blown", HORN, "none"),
        ("horn-button.open-31b-31", HORN, "none"),
        ("horn-button.stuck-31b-31", REST, "sound"),
        ("horn-to-column.to-body", REST, "sound"),
        ("horn-to-column.to-body", {"unplugged": "horn.31b"}, "none"),
        ("horn-to-column.to-body", {"unplugged": "column-slip-ring.brush"}, "sound"),
        ("horn-feed.resistive", HORN, "weak"),
        ("earth-column.open", HORN, "none"),
    ],
)
def test_the_horn_is_heard_as_the_trade_says(demo: Demo, cause: str | None, operate: Operate, heard: str) -> None:
    """The horn is live at rest and earthed through the column, so a short sounds it and an open silences it."""
    assert demo.horn(operate, cause) == heard


def test_both_terminals_of_a_horn_without_earth_are_live(demo: Demo) -> None:
    """Dead with the button pressed and 12 V on both of its terminals: the earth side."""
    for terminal in ("horn.71", "horn.31b"):
        assert demo.volts(terminal, HORN, "column-strap.open") > 12.0
    assert demo.volts("horn.31b", HORN) < 0.6


@pytest.mark.parametrize(
    ("cause", "operate", "heard"),
    [
        (None, LEFT, "click"),
        ("flasher-unit.never-opens", LEFT, "buzz"),
        ("flasher-unit.never-closes", LEFT, "none"),
        ("fuse-turn.blown", LEFT, "none"),
    ],
)
def test_the_flasher_unit_is_heard_as_the_trade_says(
    demo: Demo, cause: str | None, operate: Operate, heard: str
) -> None:
    """A unit that buzzes has feed and load and does not open; a silent one has no feed or does not close."""
    assert demo.unit(operate, cause) == heard


@pytest.mark.parametrize(
    ("wire", "fuse", "operate"),
    [
        ("stop-wire", "fuse-stop", STOP),
        ("turn-key-feed", "fuse-turn", KEY),
        ("tail-wire", "fuse-tail", SIDE),
        ("instrument-feed", "fuse-instruments", KEY),
        ("horn-feed", "fuse-horn", REST),
        ("hazard-feed", "fuse-hazard", REST),
    ],
)
def test_a_short_to_body_blows_the_fuse_of_its_branch(demo: Demo, wire: str, fuse: str, operate: Operate) -> None:
    """A blown fuse is a consequence: dead behind it, live before it, and it stays so after the control is back."""
    cause = f"{wire}.to-body"
    for when in (operate, {**operate, **KEY, **SIDE}):
        assert abs(demo.volts(f"{fuse}.out", when, cause)) < 0.05
        assert demo.volts(f"{fuse}.in", when, cause) > 11.5
        assert abs(demo.amps(fuse, when, cause)) < 1e-3
    whole = {**KEY, **SIDE}
    fed = [f for f in demo.knowledge.parts if f.startswith("fuse-") and demo.volts(f"{f}.out", whole) > 11.5]
    others = [f for f in fed if f != fuse]
    assert len(others) >= 5
    for other in others:
        assert demo.volts(f"{other}.out", whole, cause) > 11.5, f"{other} blew as well"


def test_an_intermittent_branch_short_spares_the_fuse_until_it_is_switched_on(demo: Demo) -> None:
    """Pressed once, the pedal blows the fuse for good: the feed of the switch is dead with the pedal up."""
    assert demo.volts("pedal-switch.15", KEY) > 12.0
    assert abs(demo.volts("pedal-switch.15", KEY, "stop-wire.to-body")) < 0.05


def test_stop_pedal_makes_the_tail_lamp_glow_when_the_rear_earth_is_missing(demo: Demo) -> None:
    """Backfeed: with no earth of its own the stop lamp returns through the tail lamp and the other side's earth."""
    cause = "earth-rear-left.open"
    assert demo.look("tail-lamp-left", STOP, cause) == "glow/steady"
    assert demo.look("tail-lamp-left", STOP) == _DARK
    assert demo.look("stop-lamp-left", STOP, cause) in ("glow/steady", "dim/steady")
    assert demo.look("stop-lamp-right", STOP, cause) == _LIT
    assert demo.volts("cluster-left.31", STOP, cause) > 3.0 > abs(demo.volts("cluster-left.31", STOP)) * 30
    assert demo.lamp_volts("tail-lamp-left", STOP, cause) < -3.0, "backwards, from the lamp body to the feed"


def test_turn_signal_makes_the_tail_lamp_pulse_when_the_rear_earth_is_missing(demo: Demo) -> None:
    """The same backfeed in the rhythm of the flasher."""
    assert demo.look("tail-lamp-left", LEFT, "earth-rear-left.open") == "glow/flashing"
    assert demo.look("tail-lamp-right", LEFT, "earth-rear-left.open") == _DARK


def test_a_test_lamp_tells_a_resistive_feed_from_a_good_one(demo: Demo) -> None:
    """Full volts to a meter and a dim test lamp: a test lamp loads the wire it is put on."""
    assert demo.probe("horn.71", REST) == _LIT
    assert demo.probe("horn.71", REST, "horn-feed.open") == _DARK
    assert demo.volts("horn.71", REST, "horn-feed.resistive") == pytest.approx(demo.volts("horn.71", REST), abs=0.01)


def test_a_flat_battery_makes_the_turn_signals_slow_or_steady_until_the_engine_runs(demo: Demo) -> None:
    """Very slow or none with the engine off and right with it on: low voltage, not the unit."""
    low = demo.look("turn-lamp-front-left", LEFT, "battery.flat")
    assert low.endswith(("/slow", "/steady"))
    assert demo.look("turn-lamp-front-left", {**LEFT, **CHARGING}, "battery.flat").endswith("/flashing")


def test_a_cut_out_that_stays_closed_empties_the_battery_and_feeds_the_charge_lamp_backwards(demo: Demo) -> None:
    """Cut-out welded, key off: tens of amps through the armature, and volts on the lamp from its terminal 61."""
    assert demo.look("charge-lamp", REST) == _DARK
    assert demo.amps("regulator-feed", REST, "regulator.cut-out-stuck") < -30.0
    assert demo.lamp_volts("charge-lamp", REST, "regulator.cut-out-stuck") < -3.0
    assert abs(demo.lamp_volts("charge-lamp", REST)) < 0.01


@pytest.mark.parametrize(
    ("cause", "operate"), [(None, KEY), ("turn-switch.open-49a-L", LEFT)], ids=["healthy-at-rest", "turn-switch-dead"]
)
def test_the_turn_tell_tale_is_dark_while_no_turn_lamp_draws_current(
    demo: Demo, cause: str | None, operate: Operate
) -> None:
    """No signal chosen, no tell-tale: with only the key on it must not light on any vehicle."""
    assert demo.look("turn-tell-tale", operate, cause) == _DARK


def test_lamps_lit_alike_are_called_alike(demo: Demo) -> None:
    """Turn switch bridged: all four lamps flash within 0.2 V of each other, and nobody would call two of them dim."""
    lamps = (*_TURN_LEFT, *_TURN_RIGHT)
    volts = [demo.lamp_volts(lamp, RIGHT, "turn-switch.stuck-49a-L") for lamp in lamps]
    assert max(volts) - min(volts) < 0.2
    assert len({demo.look(lamp, RIGHT, "turn-switch.stuck-49a-L") for lamp in lamps}) == 1


def test_an_led_lamp_looks_right_and_the_wrong_way_round_dark(demo: Demo) -> None:
    """It is made to be as bright as the filament; only its current, and its polarity, give it away."""
    for lamp, operate in (("plate-lamp", SIDE), ("stop-lamp-left", STOP)):
        assert demo.look(lamp, operate, f"{lamp}.led") == _LIT
        assert demo.look(lamp, operate, f"{lamp}.led-reversed") == _DARK
        assert demo.look(lamp, REST, f"{lamp}.led") == _DARK


def test_led_turn_lamps_flash_fast_on_a_unit_that_misses_their_load(demo: Demo) -> None:
    """Some 0.25 A in place of 1.8 A is a lamp out to an electronic unit."""
    assert demo.look("turn-lamp-rear-left", LEFT, "turn-lamp-rear-left.led") == _FAST
    assert demo.look("turn-lamp-front-left", LEFT, "turn-lamp-rear-left.led") == _FAST
    assert demo.look("turn-lamp-rear-left", LEFT, "turn-lamp-rear-left.led-reversed") == _DARK
