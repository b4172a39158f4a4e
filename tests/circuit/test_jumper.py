"""A fused jumper lead as one more link of the network: what it makes light, and when its own fuse goes.

Circuits are solved a second time on paper or by root finding, to a millivolt.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import brentq  # type: ignore[import-untyped]

from diag.calc.melting import opens_from
from diag.circuit.jumper import JUMPER_FUSE_A, JUMPER_OHM
from diag.circuit.network import Change, Extra
from diag.circuit.predict import Predictor
from tests.circuit.bench import filament_a
from tests.circuit.demo import HORN, KEY, Demo
from tests.circuit.loom import Loom, Tried

_MILLIVOLT = 1e-3


def _lamp_behind_a_switch(ohm: float | None = None, fuse_a: float = 30.0) -> Tried:
    """Battery of 12.6 V and 0.04 ohm, fuse, switch, a wire of 0.05 ohm to a 25 W lamp or to a load of `ohm`."""
    loom = Loom()
    loom.battery("battery.B+", emf_v=12.6, ohm=0.04)
    loom.link("fuse", "battery.B+", "switch.30", 0.01, "fuse")
    loom.link("switch:30-58", "switch.30", "switch.58", 0.01, "contact", "lights=side")
    loom.wire("feed", "switch.58", "lamp.58", 0.05)
    if ohm is None:
        loom.lamp("lamp", "lamp.58", "lamp.31", 25.0)
    else:
        loom.link("load", "lamp.58", "lamp.31", ohm)
    loom.wire("earth", "lamp.31", "body", 0.05)
    return loom.tried({"lights": "off"}, fuse_a={"fuse": fuse_a})


@pytest.mark.parametrize(
    ("bridged", "ohm"),
    [
        ("switch.30+switch.58", 0.04 + 0.01 + JUMPER_OHM + 0.05 + 0.05),
        ("battery.B++lamp.58", 0.04 + JUMPER_OHM + 0.05),
        ("lamp.58+battery.B+", 0.04 + JUMPER_OHM + 0.05),
    ],
)
def test_a_jumper_lights_the_lamp_by_its_own_way(bridged: str, ohm: float) -> None:
    """Across the open switch, and from the battery past fuse, switch and wire; whichever end is named first."""
    tried = _lamp_behind_a_switch()
    lamp_v = brentq(lambda volts: 12.6 - ohm * filament_a(volts, 13.5, 25.0) - volts, 0.0, 12.6, xtol=1e-12)
    assert tried.lamp_v("lamp", {"bridged": bridged}) == pytest.approx(lamp_v, abs=_MILLIVOLT)
    assert tried.lamp_v("lamp") == pytest.approx(0.0, abs=_MILLIVOLT)


def test_a_jumper_to_body_stands_in_for_a_lost_earth() -> None:
    """The lamp of an open earth wire lights as soon as its terminal is put to body."""
    tried = _lamp_behind_a_switch()
    lost = Change(added_ohm={tried.network.branch("earth"): np.inf})
    side = {"lights": "side"}
    assert tried.lamp_v("lamp", side, lost) == pytest.approx(0.0, abs=_MILLIVOLT)
    assert tried.lamp_v("lamp", {**side, "bridged": "lamp.31+body"}, lost) > 12.0


@pytest.mark.parametrize(
    ("multiple", "holds"),
    [(0.9, True), (1.05, True), (0.99 * opens_from("blade"), True), (1.2 * opens_from("blade"), False)],
)
def test_a_jumper_is_as_if_absent_once_its_own_fuse_went(multiple: float, holds: bool) -> None:
    """Ten amps are what its fuse is made for; what the load draws decides, by the time-current band of its class."""
    wanted_a = multiple * JUMPER_FUSE_A
    rest = 0.04 + JUMPER_OHM + 0.05
    tried = _lamp_behind_a_switch(12.6 / wanted_a - rest)
    operate = {"bridged": "battery.B++lamp.58"}
    amps = tried.amps("load", operate)
    assert amps == pytest.approx(wanted_a if holds else 0.0, abs=0.01)
    assert tried.gone(operate) == set(), "the lead's fuse is no fuse of the vehicle"


def test_of_two_fuses_the_weaker_goes_first() -> None:
    """A 4 A fuse of the vehicle gives way before the jumper's; then nothing flows, and the jumper is whole."""
    tried = _lamp_behind_a_switch(0.4, fuse_a=4.0)
    operate = {"bridged": "switch.30+switch.58"}
    assert tried.gone(operate) == {"fuse"}
    assert tried.amps("load", operate) == pytest.approx(0.0, abs=1e-4)


def test_clips_hold_on_to_a_terminal_whose_wires_are_off() -> None:
    """That is how a feed is replaced for a test: wire off, jumper on."""
    tried = _lamp_behind_a_switch()
    operate = {"lights": "side", "unplugged": "lamp.58"}
    assert tried.lamp_v("lamp", operate) == pytest.approx(0.0, abs=_MILLIVOLT)
    assert tried.lamp_v("lamp", {**operate, "bridged": "battery.B++lamp.58"}) > 12.0


def test_a_jumper_beside_links_that_a_fault_adds() -> None:
    """A fault with added links of its own keeps them: a feed rubbed through to body blows the jumper's fuse."""
    tried = _lamp_behind_a_switch()

    node = tried.network.node("lamp.58")
    short = Change(extra=(Extra(node, 0, 50.0, 0),))
    light = Change(extra=(Extra(node, 0, 0.01, 0),))
    operate = {"bridged": "battery.B++lamp.58"}
    shown, blown = tried.bench.operate(operate, [Change(), short, light])
    lamp = tried.network.filament("lamp")
    assert shown.lamp_on_v[0, lamp] > 12.0
    assert shown.lamp_on_v[1, lamp] == pytest.approx(0.0, abs=1e-3)
    assert shown.lamp_on_v[2, lamp] > 12.0
    assert blown == [frozenset()] * 3


def test_operates_with_and_without_a_jumper_are_solved_side_by_side() -> None:
    """The table solves many operates in one batch."""
    tried = _lamp_behind_a_switch()
    operates = [{}, {"bridged": "switch.30+switch.58"}, {"lights": "side"}, {"bridged": "battery.B++lamp.58"}]
    shown, _ = tried.bench.operate(operates, [Change()] * 4)
    alone = [tried.lamp_v("lamp", operate) for operate in operates]
    np.testing.assert_allclose(shown.lamp_on_v[:, tried.network.filament("lamp")], alone, atol=1e-6)


# ---------------------------------------------------------------- the demo vehicle


def test_the_jumper_parts_a_dead_pedal_switch_from_a_broken_wire_behind_it(demo: Demo) -> None:
    """The move of the trade: past the switch the lamps light, past a broken wire they do not."""
    across = {**KEY, "bridged": "pedal-switch.15+pedal-switch.54"}
    assert demo.look("stop-lamp-left", across) == "normal/steady"
    assert demo.look("stop-lamp-left", across, "pedal-switch.open-15-54") == "normal/steady"
    assert demo.look("stop-lamp-left", across, "stop-wire.open") == "dark/none"
    fed = {"bridged": "battery.B++stop-lamp-left.54"}
    assert demo.look("stop-lamp-left", fed, "stop-left-wire.open") == "normal/steady"
    assert demo.look("stop-lamp-left", fed, "return-stop-left.open") == "dark/none"


def test_a_jumper_from_the_horn_to_body_does_what_the_button_should(demo: Demo) -> None:
    """The button is proved without taking the column apart."""
    past = {"bridged": "horn.31b+body"}
    assert demo.horn(past) == "sound"
    for cause in ("horn-button.open-31b-31", "column-slip-ring.open", "earth-column.open"):
        assert (demo.horn(HORN, cause), demo.horn(past, cause)) == ("none", "sound"), cause
    assert demo.horn(past, "horn.open") == "none"


def test_a_fuse_that_only_a_jumper_blew_is_whole_under_other_operates(demo: Demo) -> None:
    """Nobody has held the jumper there yet; else a fault would be seen by what a later step does."""
    across = {**KEY, "bridged": "pedal-switch.15+pedal-switch.54"}
    predictor = Predictor(demo.knowledge, [{}, KEY, across])
    row = 1 + next(i for i, cause in enumerate(predictor.causes) if cause.id == "stop-wire.to-body")
    cause = predictor.causes[row - 1]
    assert cause.change is not None
    _, blown = predictor.bench.operate(across, [cause.change])
    assert {demo.network.branches[i].id for i in blown[0]} == {"fuse-stop"}
    assert predictor.lasting(row) == cause.change
    node = demo.network.node("pedal-switch.15")
    assert predictor.shown(KEY).volts[row, node] > 12.0
