"""Motors by hand: their speed by their volts, and a wiper that finds its rest or does not.

Wiper after DIN 72552: 53 slow, 53b fast, 53a always live, 53e park switch, 31 earth; its switch joins 53
to 53e when it is off. Expectations are `common practice, no source`.
"""

from __future__ import annotations

import numpy as np
import pytest

from diag.circuit.network import Change, Extra, Motor
from tests.circuit.loom import Loom, Tried

_OFF = {"key": "on"}
_SLOW = {"key": "on", "wiper": "slow"}
_FAST = {"key": "on", "wiper": "fast"}
_REST = {"key": "off", "wiper": "off"}


def _wiper() -> Tried:
    loom = Loom()
    loom.battery("plus")
    loom.link("key", "plus", "15", 0.01, "contact", "key=on")
    loom.link("fuse", "15", "fused", 0.005, "fuse")
    loom.wire("feed", "fused", "motor.53a")
    loom.wire("switch-feed", "fused", "switch.53a")
    loom.link("switch:slow", "switch.53a", "switch.53", 0.015, "contact", "wiper=slow")
    loom.link("switch:fast", "switch.53a", "switch.53b", 0.015, "contact", "wiper=fast")
    loom.link("switch:off", "switch.53", "switch.53e", 0.015, "contact", "wiper=off")
    for terminal in ("53", "53b", "53e"):
        loom.wire(f"wire-{terminal}", f"switch.{terminal}", f"motor.{terminal}")
    loom.wire("earth", "motor.31", "body")
    slow = loom.link("motor:slow", "motor.53", "motor.31", 4.8, "motor")
    fast = loom.link("motor:fast", "motor.53b", "motor.31", 3.4, "motor")
    run = loom.link("motor:run", "motor.53a", "motor.53e", 0.02, "park")
    rest = loom.link("motor:rest", "motor.53e", "motor.31", 0.02, "park")
    loom.motors.append(Motor("motor", 12.0, slow, fast, (run, rest)))
    return loom.tried(_REST, fuse_a={"fuse": 8.0})


def _open(tried: Tried, *branches: str) -> Change:
    return Change(added_ohm={tried.network.branch(name): np.inf for name in branches})


# ---------------------------------------------------------------- a motor by its volts


def _blower(series_ohm: float = 0.02) -> Tried:
    loom = Loom()
    loom.battery("plus")
    loom.link("switch", "plus", "feed", 0.01, "contact", "blower=on")
    loom.wire("wire", "feed", "motor.+", series_ohm)
    branch = loom.link("motor:motor", "motor.+", "body", 2.0, "motor")
    loom.motors.append(Motor("blower", 12.0, branch))
    return loom.tried({"blower": "off"})


@pytest.mark.parametrize(("poor_ohm", "word"), [(0.0, "runs"), (0.3, "runs"), (1.5, "slow"), (12.0, "still")])
def test_a_motor_is_called_after_its_volts(poor_ohm: float, word: str) -> None:
    """A joint that leaves it 100, 87, 57 and 14 %: nobody hears the first loss, everybody the second."""
    tried = _blower()
    poor = Change(added_ohm={tried.network.branch("wire"): poor_ohm})
    assert tried.motor("blower", {"blower": "on"}, poor) == word
    assert tried.motor("blower", {}, poor) == "still"
    assert tried.motor("blower", {"blower": "on"}, _open(tried, "wire")) == "still"


def test_a_blower_on_its_slow_speed_is_not_called_slow() -> None:
    """What a person is used to is the measure; a speed resistor is no fault."""
    tried = _blower(series_ohm=2.0)
    assert tried.motor("blower", {"blower": "on"}) == "runs"


def test_a_seized_motor_stands_and_draws_a_multiple() -> None:
    """Held, it takes several times its running current, warms its wire and may blow its fuse."""
    tried = _blower()
    node = tried.network.node("motor.+")
    held = Change(extra=(Extra(node, 0, 4 / 2.0, 0),), flags=frozenset({"blower:seized"}))
    assert tried.motor("blower", {"blower": "on"}, held) == "still"
    running, blocked = (tried.amps("wire", {"blower": "on"}, change) for change in (Change(), held))
    assert blocked > 4 * running


# ---------------------------------------------------------------- a wiper that is on


def test_a_wiper_runs_slow_and_fast_and_stands_with_the_key_off() -> None:
    tried = _wiper()
    assert tried.motor("motor", _SLOW) == "runs"
    assert tried.motor("motor", _FAST) == "runs"
    assert tried.motor("motor") == "still"
    assert tried.motor("motor", {"wiper": "slow"}) == "still"


@pytest.mark.parametrize(
    ("branch", "slow", "fast"),
    [
        ("wire-53", "still", "runs"),
        ("wire-53b", "runs", "still"),
        ("earth", "still", "still"),
        ("motor:fast", "runs", "still"),
    ],
)
def test_the_speed_that_is_dead_tells_the_wire(branch: str, slow: str, fast: str) -> None:
    """Fast dead and slow running: 53b."""
    tried = _wiper()
    assert tried.motor("motor", _SLOW, _open(tried, branch)) == slow
    assert tried.motor("motor", _FAST, _open(tried, branch)) == fast


def test_fast_and_slow_changed_over_is_heard_as_slow_on_fast() -> None:
    """53 and 53b swapped at the motor: it runs in both, but the fast position is the slow one."""
    tried = _wiper()
    swapped = Change(swap=((tried.network.node("motor.53"), tried.network.node("motor.53b")),))
    assert tried.motor("motor", _FAST, swapped) == "slow"
    assert tried.motor("motor", _SLOW, swapped) == "runs"


# ---------------------------------------------------------------- a wiper that was switched off


def test_a_sound_wiper_parks() -> None:
    """Switched off it is fed by 53a through the cam until that earths it: at rest, and no current left."""
    tried = _wiper()
    assert tried.motor("motor", _OFF) == "still"
    settled = tried.bench.settle(_OFF, [Change()])
    assert settled.home[0, 0] and settled.could_run[0, 0]
    assert abs(tried.amps("feed", _OFF)) < 1e-3
    assert abs(tried.volts("motor.53e", _OFF)) < 1e-3


@pytest.mark.parametrize("branch", ["feed", "motor:run"])
def test_a_wiper_without_53a_stops_where_it_is(branch: str) -> None:
    """Its feed for the way home is gone; both speeds work."""
    tried = _wiper()
    fault = _open(tried, branch)
    assert tried.motor("motor", _SLOW, fault) == "runs"
    assert tried.motor("motor", _OFF, fault) == "does-not-park"
    assert not tried.bench.settle(_OFF, [fault]).home[0, 0]


@pytest.mark.parametrize("branch", ["wire-53e", "switch:off"])
def test_a_wiper_whose_park_wire_is_off_stops_where_it_is(branch: str) -> None:
    tried = _wiper()
    assert tried.motor("motor", _OFF, _open(tried, branch)) == "does-not-park"


def test_a_wiper_whose_park_switch_does_not_move_over_never_stops() -> None:
    """Still joined to 53a at rest: it goes on for ever."""
    assert _wiper().motor("motor", _OFF, Change(flags=frozenset({"motor:park-stuck"}))) == "runs"


def test_a_wiper_that_is_not_braked_runs_on_past_its_rest() -> None:
    """Park earth missing: it coasts over its rest and is fed again; now and then it stays."""
    tried = _wiper()
    chances = tried.shown(_OFF, _open(tried, "motor:rest")).motor[0, 0]
    assert chances[2] > 0.5 and chances[0] > 0.2
    assert tried.shown(_OFF).motor[0, 0, 0] > 0.95


@pytest.mark.parametrize("branch", ["earth", "fuse"])
def test_a_wiper_that_cannot_run_at_all_is_not_said_to_miss_its_rest(branch: str) -> None:
    """It never left it."""
    tried = _wiper()
    assert tried.motor("motor", _OFF, _open(tried, branch)) == "still"
    assert tried.motor("motor", _SLOW, _open(tried, branch)) == "still"


def test_a_wiper_seized_or_with_its_slow_brush_gone_stands() -> None:
    """The slow side is what takes it home: without it the fast position leaves it anywhere, the slow one is dead."""
    tried = _wiper()
    assert tried.motor("motor", _SLOW, Change(flags=frozenset({"motor:seized"}))) == "still"
    assert tried.motor("motor", _OFF, Change(flags=frozenset({"motor:seized"}))) == "still"
    assert tried.motor("motor", _FAST, _open(tried, "motor:slow")) == "runs"


def test_the_way_home_is_walked_by_every_row_for_itself() -> None:
    """Rows side by side, each under its own operate, give what each gives alone."""
    tried = _wiper()
    changes = [
        Change(),
        _open(tried, "feed"),
        Change(flags=frozenset({"motor:park-stuck"})),
        Change(),
        _open(tried, "fuse"),
    ]
    operates = [_OFF, _OFF, _OFF, _SLOW, _OFF]
    together = tried.bench.operate(operates, changes)[0]
    for row, (operate, change) in enumerate(zip(operates, changes, strict=True)):
        alone = tried.shown(operate, change)
        np.testing.assert_allclose(together.motor[row], alone.motor[0], atol=1e-9)
        np.testing.assert_allclose(together.volts[row], alone.volts[0], atol=1e-7)
