"""Headlamps with two filaments on the demo vehicle: what backfeed through them shows, and how a meter reads it.

Expectations are `common practice, no source` unless a line says more. None marks a healthy vehicle.
"""

from __future__ import annotations

import pytest

from tests.circuit.demo import DIPPED, KEY, LEFT, MAIN, REST, SIDE, STOP, Demo, Operate

_LIT, _DARK, _GLOW = "normal/steady", "dark/none", "glow/steady"
_BEAM, _DIP = ("headlamp-left.56a", "headlamp-right.56a"), ("headlamp-left.56b", "headlamp-right.56b")


def test_stop_pedal_makes_the_turn_tell_tale_glow_when_a_rear_earth_is_missing(demo: Demo) -> None:
    """The stop lamp's current goes on through the turn lamp of its body to the tell-tale between the two sides."""
    for side, sign in (("left", 1), ("right", -1)):
        cause = f"earth-rear-{side}.open"
        assert demo.look("turn-tell-tale", STOP, cause) == _GLOW
        assert sign * demo.lamp_volts("turn-tell-tale", STOP, cause) > 2.0, "from the side that lost its earth"
        assert demo.look("turn-tell-tale", SIDE, cause) == _DARK, "a tail lamp alone is too small to show"
    assert demo.look("turn-tell-tale", STOP) == _DARK


@pytest.mark.parametrize(("side", "far"), [("left", "right"), ("right", "left")])
def test_a_headlamp_without_earth_lights_the_main_beam_tell_tale_on_dip(demo: Demo, side: str, far: str) -> None:
    """Its dipped current goes on through its main filament into the main-beam wires of both sides."""
    for cause in (f"headlamp-earth-{side}.open", f"headlamp-{side}.holder-open"):
        shown = {lamp: demo.look(lamp, DIPPED, cause) for lamp in (*_BEAM, *_DIP, "main-beam-tell-tale")}
        assert shown == {
            f"headlamp-{side}.56b": _GLOW,
            f"headlamp-{side}.56a": _GLOW,
            f"headlamp-{far}.56a": _GLOW,
            f"headlamp-{far}.56b": _LIT,
            "main-beam-tell-tale": _GLOW,
        }
        assert demo.look(f"headlamp-{far}.56a", MAIN, cause) == _LIT
        assert demo.look(f"headlamp-{side}.56a", MAIN, cause) == _GLOW


@pytest.mark.parametrize("side", ["left", "right"])
def test_main_beam_makes_the_turn_lamp_glow_when_their_common_earth_is_missing(demo: Demo, side: str) -> None:
    """Headlamp and turn lamp share the earth point of the wing; the headlamp's own earth wire does not show it."""
    assert demo.look(f"turn-lamp-front-{side}", MAIN, f"earth-front-{side}.open") == _GLOW
    assert demo.look(f"turn-lamp-front-{side}", MAIN, f"headlamp-earth-{side}.open") == _DARK
    assert demo.look(f"turn-lamp-front-{side}", MAIN) == _DARK


def test_cold_headlamp_filaments_stand_in_for_a_missing_front_earth(demo: Demo) -> None:
    """The turn lamp flashes all but rightly through them, so only a meter, or the headlamps, tell of the earth."""
    cause = "earth-front-left.open"
    assert demo.look("turn-lamp-front-left", LEFT, cause) == "normal/flashing"
    assert 0.5 < demo.volts("turn-lamp-front-left.31", LEFT, cause) < 3.0
    assert demo.volts("turn-lamp-front-left.31", LEFT) < 0.1
    assert demo.look("turn-lamp-front-left", {**LEFT, **DIPPED}, cause) != "normal/flashing"
    assert 0.1 < demo.ohms("headlamp-left.31", {"battery": "disconnected"}, cause) < 1.0
    assert demo.ohms("headlamp-left.31", {"battery": "disconnected"}) < 0.05


def test_a_lamp_turned_or_miswired_shows_at_one_side_and_a_switch_at_both(demo: Demo) -> None:
    """One lamp main while the other dips: at that lamp. Both the wrong way round: at the dip switch."""
    one, both = "headlamp-right.swapped-56a-56b", "dip-switch.swapped-56a-56b"
    assert [demo.look(lamp, DIPPED, one) for lamp in _BEAM] == [_DARK, _LIT]
    assert [demo.look(lamp, DIPPED, both) for lamp in _BEAM] == [_LIT, _LIT]
    assert demo.look("main-beam-tell-tale", DIPPED, one) == _DARK
    assert demo.look("main-beam-tell-tale", DIPPED, both) == _LIT


@pytest.mark.parametrize(
    ("wire", "fuse", "operate"),
    [
        ("dip-left-wire", "fuse-dip-left", DIPPED),
        ("dip-right-wire", "fuse-dip-right", DIPPED),
        ("main-left-wire", "fuse-main-left", MAIN),
        ("main-tell-tale-wire", "fuse-main-left", MAIN),
        ("main-right-wire", "fuse-main-right", MAIN),
    ],
)
def test_a_short_in_a_beam_blows_its_own_fuse_only(demo: Demo, wire: str, fuse: str, operate: Operate) -> None:
    """Fused apart by side and beam, so that one chafed wire never leaves the road dark."""
    cause = f"{wire}.to-body"
    assert abs(demo.volts(f"{fuse}.out", operate, cause)) < 0.1
    assert demo.volts(f"{fuse}.in", operate, cause) > 11.5
    others = {f for f in demo.knowledge.parts if f.startswith(("fuse-dip", "fuse-main"))} - {fuse}
    lit = [demo.volts(f"{other}.out", {**DIPPED, **when}, cause) for other in others for when in ({}, MAIN)]
    assert sum(volts > 11.5 for volts in lit) == len(others), "each of the other three in its own position"


def test_headlamps_are_fed_only_in_the_last_position_of_the_light_switch(demo: Demo) -> None:
    """56 follows the head position, 56a and 56b the dip switch (DIN 72552)."""
    for operate in (REST, SIDE, {**SIDE, "dip": "main"}, KEY):
        assert abs(demo.volts("light-switch.56", operate)) < 0.1
    assert demo.volts("dip-switch.56b", DIPPED) > 11.5 > 1.0 > demo.volts("dip-switch.56a", DIPPED)
    assert demo.volts("dip-switch.56a", MAIN) > 11.5 > 1.0 > demo.volts("dip-switch.56b", MAIN)


@pytest.mark.parametrize(("lamp", "operate"), [*((beam, MAIN) for beam in _BEAM), *((dip, DIPPED) for dip in _DIP)])
def test_headlamp_lines_keep_to_the_handbook_table(demo: Demo, lamp: str, operate: Operate) -> None:
    """From light switch to headlamp 0.3 V in the wires and their fuse, 0.6 V in the whole circuit (automotive
    handbook table; common practice, no source; whole circuit from memory)."""
    switch = demo.volts("dip-switch.56", operate, None, "dip-switch.56a" if operate is MAIN else "dip-switch.56b")
    assert 0.0 < demo.volts("light-switch.56", operate, None, lamp) - switch < 0.3
    source_v = demo.volts("battery.B+", operate, None, "battery.B-")
    assert source_v - demo.lamp_volts(lamp, operate) < 0.6


def test_a_headlamp_draws_what_regulation_37_says(demo: Demo) -> None:
    """Category R2, 45/40 W: at most 57 W and 51 W at 13.2 V (UN R37, from memory), less on a standing battery."""
    for lamp, watts, operate in (*((b, 57.0, MAIN) for b in _BEAM), *((d, 51.0, DIPPED) for d in _DIP)):
        filament = demo.network.filaments[demo.network.filament(lamp)]
        assert (filament.test_w, filament.test_v) == (watts, 13.2)
        fuse = f"fuse-{'main' if operate is MAIN else 'dip'}-{'left' if 'left' in lamp else 'right'}"
        volts = demo.lamp_volts(lamp, operate)
        amps = watts / 13.2 * (volts / 13.2) ** 0.55
        tell_tale_a = 0.15 if fuse == "fuse-main-left" else 0.0
        assert demo.amps(fuse, operate) == pytest.approx(amps + tell_tale_a, abs=0.03)
