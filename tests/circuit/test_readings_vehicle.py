"""Instruments on the demo vehicle: the quick way against the exact one, and what only the exact one knows."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
import pytest

from diag.circuit import observe, readings
from diag.circuit.instruments import Hookup, LedTester, Ohmmeter, ProbeLamp
from diag.circuit.network import Change
from diag.circuit.probing import Probing
from tests.circuit.demo import HORN, KEY, LEFT, REST, STOP, Demo, Operate

_OFF: Operate = {"battery": "disconnected"}
_LAMP = ProbeLamp()


@pytest.fixture(scope="module")
def probing(demo: Demo) -> Probing:
    return Probing(demo.predictor)


def _look(demo: Demo, probing: Probing, operate: Operate, red: str, black: str, cause: str | None = None) -> str:
    """Likeliest light of a test lamp between two points, solved in the network."""
    seen = probing.read(operate, _LAMP, red, black).rows([demo.row(cause)])
    words = observe.tester_looks(seen, np.zeros(1), dict(demo.knowledge.vocabulary.light_limits), 12.0)
    return "/".join(observe.LOOKS[int(words[0].argmax())])


# ---------------------------------------------------------------- quick against exact


@pytest.mark.parametrize(
    ("operate", "red", "stiff_ohm"),
    [
        pytest.param(LEFT, "turn-lamp-rear-left.L", 1.2, id="turn"),
        pytest.param(STOP, "stop-lamp-left.54", 1.2, id="stop"),
        pytest.param(HORN, "horn.71", 1.2, id="horn"),
        pytest.param(REST, "horn.31b", 5.0, id="through-the-horns-own-coil"),
    ],
)
def test_quick_and_exact_test_lamps_agree_where_the_feed_is_stiff(
    demo: Demo, probing: Probing, operate: Operate, red: str, stiff_ohm: float
) -> None:
    """Every fault of the vehicle: within 0.1 V wherever the point is fed through copper, contacts and coils, not
    through a filament (or is dead)."""
    shown, net = demo.predictor.shown(operate), demo.network
    quick = readings.quick_lamp(shown, net, red, "body", 5.0, 12.0)
    exact = probing.read(operate, _LAMP, red, "body")
    idle = shown.flasher[:, 0] > 0.5
    stands = np.abs(np.where(idle, shown.off_volts[:, net.node(red)], shown.volts[:, net.node(red)]))
    applies = (shown.inner_ohm[:, net.node(red)] < stiff_ohm) | (stands < 0.2)
    assert applies.mean() > 0.8
    for number, off in ((exact.number, quick.number), (exact.off, quick.off)):
        assert np.abs(np.abs(number) - off)[applies].max() < 0.1


@pytest.mark.parametrize("red", ["oil-sender.G", "flasher-unit.31", "stop-lamp-left.54", "dynamo.D+", "battery.B+"])
def test_quick_and_exact_ohms_agree_for_every_fault(demo: Demo, probing: Probing, red: str) -> None:
    """With what little a meter sends through it a loom is straight: within 2 %, OL where the other says OL."""
    shown = demo.predictor.shown(_OFF)
    none = np.zeros(len(shown.volts))
    quick = readings.quick_ohms(shown, demo.network, red, none)
    exact = readings.ohms_readings(probing.read(_OFF, Ohmmeter(), red, "body").number, none)
    np.testing.assert_allclose(exact.mean, quick.mean, atol=0.01)


def test_quick_and_exact_volts_are_the_same_between_points_that_do_not_float(demo: Demo, probing: Probing) -> None:
    """A 10 Mohm meter across a contact under load changes nothing."""
    shown, net = demo.predictor.shown(STOP), demo.network
    exact, unsure = probing.volts(STOP, "pedal-switch.15", "pedal-switch.54")
    quick = readings.quick_volts(shown, net, "pedal-switch.15", "pedal-switch.54", np.zeros(len(shown.volts)))
    ends = [net.node("pedal-switch.15"), net.node("pedal-switch.54")]
    fixed = (shown.inner_ohm[:, ends] < 1e4).all(axis=1)
    assert fixed.mean() > 0.9
    peak = readings.highest(exact.number, exact.off, exact.flasher)
    np.testing.assert_allclose(peak[fixed], quick.mean[fixed], atol=1e-6)
    assert unsure[fixed].max() < 0.01


def test_rows_left_out_would_have_shown_what_the_sound_vehicle_shows(demo: Demo, probing: Probing) -> None:
    """Causes that change nothing at the probe are not solved; solved all the same, they give the same reading."""
    red = "stop-lamp-left.54"
    changes = [demo.predictor.lasting(row) for row in range(1 + len(demo.predictor.causes))]
    full = Hookup(demo.predictor.bench, _LAMP, red, "body").read(STOP, changes)
    kept = probing.read(STOP, _LAMP, red, "body")
    np.testing.assert_allclose(kept.number, full.number, atol=0.02)


# ---------------------------------------------------------------- what loads, feeds and floats


def test_a_bulb_of_21_watts_for_a_test_lamp_makes_the_unit_flash(demo: Demo) -> None:
    """Both left lamps out: no load, no flashing. A 21 W lamp held to the wire is load again, and the unit trips;
    seen from the volts alone nothing of this shows."""
    out = Change(scale={demo.network.filament(lamp): 0.0 for lamp in ("turn-lamp-front-left", "turn-lamp-rear-left")})
    small = Hookup(demo.predictor.bench, LedTester(), "turn-lamp-rear-left.L", "body").read(LEFT, [out])
    large = Hookup(demo.predictor.bench, ProbeLamp(12.0, 21.0), "turn-lamp-rear-left.L", "body").read(LEFT, [out])
    assert small.flasher[0, :2].sum() > 0.9, "idle or steady"
    assert large.flasher[0, 2:].sum() > 0.5, "some rhythm"


@pytest.mark.parametrize("earth", ["earth-dash", "earth-column", "earth-regulator", "earth-plate"])
def test_a_lamp_clipped_to_a_live_point_finds_a_missing_earth(demo: Demo, probing: Probing, earth: str) -> None:
    """Lit on a good earth, dark or at most dim on one that is gone, everything off."""
    assert _look(demo, probing, REST, "battery.B+", f"{earth}.31") == "normal/steady"
    assert _look(demo, probing, REST, "battery.B+", f"{earth}.31", f"{earth}.open").split("/")[0] in (
        "dark",
        "glow",
        "dim",
    )


@pytest.mark.parametrize("earth", ["earth-front-left", "earth-rear-left"])
def test_cold_bulbs_of_21_watts_stand_in_for_a_missing_earth(demo: Demo, probing: Probing, earth: str) -> None:
    """The same test is fooled where two large bulbs lead on to another earth: cold, they have half an ohm each.
    Nothing flows there without the test lamp, so no table of plain volts could tell."""
    assert _look(demo, probing, REST, "battery.B+", f"{earth}.31", f"{earth}.open") == "normal/steady"
    seen = probing.read(REST, _LAMP, "battery.B+", f"{earth}.31").number
    assert seen[demo.row(f"{earth}.open")] < seen[0] - 0.1


def test_ohms_across_a_fuse_tell_a_blown_one_where_nothing_bridges_it(demo: Demo, probing: Probing) -> None:
    """Horn button at rest: no way round. The sound one shows its clips and the leads."""
    ohm = probing.read(_OFF, Ohmmeter(), "fuse-horn.in", "fuse-horn.out").number
    assert ohm[demo.row(None)] == pytest.approx(0.2, abs=0.05)
    assert math.isinf(ohm[demo.row("fuse-horn.blown")])


def test_ohms_from_lamp_to_lamp_go_through_both_bulbs_when_their_wire_is_off(demo: Demo, probing: Probing) -> None:
    """From the front lamp to the rear one along the wires next to nothing; with the front wire off still only two
    cold filaments, by way of body: continuity that proves nothing."""
    ohm = probing.read(_OFF, Ohmmeter(), "turn-lamp-front-left.L", "turn-lamp-rear-left.L").number
    wire = next(
        c.id
        for c in demo.predictor.causes
        if c.mode == "open" and c.subject in demo.knowledge.wires
        and demo.knowledge.wires[c.subject].to == "turn-lamp-front-left.L"
    )  # fmt: skip
    assert ohm[demo.row(None)] < 0.6
    assert 1.0 < ohm[demo.row(wire)] < 2.5


def test_ohms_are_no_number_while_the_key_is_on(demo: Demo, probing: Probing) -> None:
    """12 V on the probes; a point that the fault keeps dead is read all the same."""
    ohm = probing.read(KEY, Ohmmeter(), "key-switch.15", "body").number
    assert math.isnan(ohm[demo.row(None)])
    assert not math.isnan(ohm[demo.row("key-switch.open-30-15")])


def test_a_meter_from_a_live_point_to_a_floating_one_is_not_sure_of_anything(demo: Demo, probing: Probing) -> None:
    """Horn fuse blown: the wire behind the horn floats, and what a meter shows there hangs on its own input."""
    seen, unsure = probing.volts(REST, "battery.B+", "horn.31b")
    row = demo.row("fuse-horn.blown")
    assert 0.0 < seen.number[row] < 12.6
    assert unsure[row] > 1.0 > 0.01 > unsure[demo.row(None)]


def test_a_meter_in_place_of_a_fuse_that_is_blown_shows_the_lamps_current(demo: Demo, probing: Probing) -> None:
    """Nothing flows through the blown fuse; through the meter in its place two stop lamps' current does."""
    amps = probing.amps(STOP, "fuse-stop")
    blown = demo.row("fuse-stop.blown")
    assert demo.predictor.shown(STOP).branch_a[blown, demo.network.branch("fuse-stop")] == pytest.approx(0.0, abs=1e-6)
    assert amps[blown] == pytest.approx(amps[0], rel=0.03)
    assert amps[demo.row("stop-wire.to-body")] > 19.0, "the short that blew the fuse takes the meter's too"


# ---------------------------------------------------------------- several causes, and keeping


def test_sets_of_causes_are_read_as_solved_together(demo: Demo, probing: Probing) -> None:
    """A set of one is that cause; two dead lamps leave a parallel reading that neither alone does."""
    names = ["stop-lamp-left.open", "stop-lamp-right.open"]
    left, right = (demo.row(name) - 1 for name in names)
    sets = [frozenset([left]), frozenset([left, right])]
    alone = probing.read(_OFF, Ohmmeter(), "stop-lamp-left.54", "body").number
    found = probing.read(_OFF, Ohmmeter(), "stop-lamp-left.54", "body", sets).number
    assert found[0] == pytest.approx(alone[0])
    assert found[1] == pytest.approx(alone[1 + left], rel=1e-6)
    assert found[2] > 2 * found[1]
    amps = probing.amps(STOP, "fuse-stop", sets)
    assert amps[2] < 0.3 * amps[1] < 0.3 * amps[0]


def test_what_was_read_once_is_not_solved_again(demo: Demo, probing: Probing, monkeypatch: pytest.MonkeyPatch) -> None:
    """Replaying a job asks for the same readings over and over."""
    first = probing.read(STOP, _LAMP, "stop-lamp-right.54", "body")

    def never(*_: object, **__: object) -> None:
        raise AssertionError("solved again")

    monkeypatch.setattr(Hookup, "read", never)
    operate: Mapping[str, str] = dict(reversed(list(STOP.items())))
    np.testing.assert_array_equal(probing.read(operate, _LAMP, "stop-lamp-right.54", "body").number, first.number)


def test_an_instrument_at_an_unknown_point_is_refused(probing: Probing) -> None:
    """A misspelt terminal must not read as a dead one."""
    with pytest.raises(KeyError):
        probing.read(STOP, _LAMP, "stop-lamp-left.55", "body")
