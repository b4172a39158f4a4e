"""Relays by hand: they pull in and let go by the volts on their coils, and chatter where nothing is stable.

Coil 85 ohm, pulls in at 8 V, lets go below 1.5 V, unless a case says otherwise (data sheet of an ISO 7588 relay).
"""

from __future__ import annotations

import numpy as np
import pytest

from diag.circuit.network import Change
from tests.circuit.loom import Loom, Tried

_ON = {"button": "on"}
_REST = {"button": "off"}


def _horn_relay(feed_ohm: float = 0.05, load_ohm: float = 3.0) -> Tried:
    """Button to the coil, contact 30-87 to a load, both from one feed."""
    loom = Loom()
    loom.battery("plus")
    loom.wire("feed", "plus", "30", feed_ohm)
    loom.link("button", "30", "86", 0.01, "contact", "button=on")
    loom.relay("relay", ("86", "body"), make=("30", "87"))
    loom.wire("load-wire", "87", "load")
    loom.link("load", "load", "body", load_ohm)
    return loom.tried(_REST)


def test_a_relay_closes_its_contact_when_its_coil_is_fed() -> None:
    """The plain case: released the load is dead, pulled in it has its volts but for what feed and contact lose."""
    tried = _horn_relay()
    assert tried.relay("relay") == 0
    assert abs(tried.volts("load")) < 1e-3
    assert tried.relay("relay", _ON) == 1
    amps = 12.6 / (0.02 + 0.05 + 1 / (1 / 85.01 + 1 / 3.015))
    assert tried.volts("load", _ON) == pytest.approx((12.6 - 0.07 * amps) * 3.0 / 3.015, abs=0.002)


@pytest.mark.parametrize(("coil_v", "pulls"), [(7.9, False), (8.1, True)])
def test_a_coil_pulls_in_from_its_pull_in_volts(coil_v: float, pulls: bool) -> None:
    """Hot, long or corroded feeds bring a coil below them, and the relay is dead though the meter shows volts."""
    loom = Loom()
    loom.battery("plus")
    loom.link("poor", "plus", "86", 85.0 * (12.6 / coil_v - 1) - 0.02)
    loom.relay("relay", ("86", "body"), make=("plus", "87"))
    tried = loom.tried()
    assert tried.volts("86") == pytest.approx(coil_v, abs=0.01)
    assert (tried.relay("relay") == 1) is pulls


def test_a_relay_that_pulled_in_stays_in_between_its_two_limits() -> None:
    """Hysteresis: the load drags the coil to about 5 V, too little to pull in and enough to hold."""
    tried = _horn_relay(feed_ohm=4.0)
    assert tried.relay("relay", _ON) == 1
    assert 1.5 < tried.volts("86", _ON) < 8.0


def test_a_relay_chatters_where_its_own_load_takes_the_volts_from_its_coil() -> None:
    """Low coil voltage under load: in, volts gone, out, volts back. Given as pulled in, the phase that works."""
    tried = _horn_relay(feed_ohm=3.0, load_ohm=0.2)
    shown = tried.shown(_ON)
    assert tried.relay("relay", _ON) == 2
    assert shown.branch_a[0, tried.network.branch("relay:87")] > 2.0


def test_a_relay_whose_break_contact_feeds_its_coil_chatters() -> None:
    """87a wired where 87 belongs: the bell circuit, and the usual slip on a square relay."""
    loom = Loom()
    loom.battery("plus")
    loom.link("button", "87a", "86", 0.01, "contact", "button=on")
    loom.relay("relay", ("86", "body"), make=("plus", "87"), rest=("plus", "87a"))
    loom.link("load", "87", "body", 5.0)
    tried = loom.tried(_REST)
    assert tried.relay("relay") == 0
    assert tried.relay("relay", _ON) == 2


def test_a_relay_that_holds_itself_goes_in_and_one_that_nobody_started_does_not() -> None:
    """From released: its own make contact feeding its coil holds it, and can never begin it."""
    loom = Loom()
    loom.battery("plus")
    loom.link("button", "plus", "86", 0.01, "contact", "button=on")
    loom.relay("relay", ("86", "body"), make=("plus", "86"))
    tried = loom.tried(_REST)
    assert tried.relay("relay") == 0
    assert tried.relay("relay", _ON) == 1


def test_a_relay_works_another_relay() -> None:
    """Ignition relay feeds the coil of the next: both are in, in one operate."""
    loom = Loom()
    loom.battery("plus")
    loom.link("button", "plus", "first.86", 0.01, "contact", "button=on")
    loom.relay("first", ("first.86", "body"), make=("plus", "bar"))
    loom.relay("second", ("bar", "body"), make=("plus", "load"))
    loom.link("load", "load", "body", 6.0)
    tried = loom.tried(_REST)
    assert [tried.relay(name) for name in ("first", "second")] == [0, 0]
    assert [tried.relay(name, _ON) for name in ("first", "second")] == [1, 1]
    assert tried.amps("load", _ON) == pytest.approx(2.1, abs=0.05)


def test_two_relays_that_lock_each_other_out_settle_one_way() -> None:
    """Each coil hangs on the other's break contact: a race, which one wins, and no chatter."""
    loom = Loom()
    loom.battery("plus")
    loom.relay("first", ("a", "body"), rest=("plus", "b"))
    loom.relay("second", ("b", "body"), rest=("plus", "a"))
    tried = loom.tried()
    assert sorted(tried.relay(name) for name in ("first", "second")) == [0, 1]


def test_an_open_coil_never_pulls_in_and_a_welded_contact_never_lets_go() -> None:
    """The two ways in which a relay fails outright."""
    tried = _horn_relay()
    net = tried.network
    dead = Change(added_ohm={net.branch("relay:coil"): np.inf})
    assert tried.relay("relay", _ON, dead) == 0
    for flag in ("relay:stuck", "relay:contact-stuck"):
        welded = Change(closed=frozenset({net.branch("relay:87")}), flags=frozenset({flag}))
        assert tried.volts("load", {}, welded) > 11.5
        assert tried.relay("relay", {}, welded) == 1


def test_a_burnt_contact_stays_burnt_however_often_it_closes() -> None:
    """Half an ohm in series with the contact costs the load its volts; the coil does not mind."""
    tried = _horn_relay()
    burnt = Change(added_ohm={tried.network.branch("relay:87"): 0.5})
    assert tried.relay("relay", _ON, burnt) == 1
    lost = tried.volts("30", _ON, burnt) - tried.volts("87", _ON, burnt)
    assert lost == pytest.approx(0.505 * tried.amps("load", _ON, burnt), abs=1e-3)


def test_many_rows_each_have_their_own_relay() -> None:
    """Side by side in one batch, no row hears the click of another."""
    tried = _horn_relay()
    net = tried.network
    changes = [
        Change(),
        Change(added_ohm={net.branch("feed"): 500.0}),
        Change(added_ohm={net.branch("relay:coil"): np.inf}),
        Change(added_ohm={net.branch("feed"): 3.0}, closed=frozenset()),
        Change(flags=frozenset({"relay:stuck"})),
    ]
    together = tried.bench.operate(_ON, changes)[0]
    for row, change in enumerate(changes):
        alone = tried.shown(_ON, change)
        np.testing.assert_allclose(together.volts[row], alone.volts[0], atol=1e-9)
        assert together.relay[row, 0] == alone.relay[0, 0]
    assert together.relay[:, 0].tolist() == [1, 0, 0, 1, 1]


def test_a_starter_solenoid_chatters_on_a_weak_battery() -> None:
    """The rattle of a flat battery: the solenoid pulls in, the motor drags the volts away, it lets go."""
    loom = Loom()
    loom.battery("plus", emf_v=12.0, ohm=0.4)
    loom.link("key", "plus", "50", 0.02, "contact", "button=on")
    loom.relay("starter", ("50", "body"), make=("plus", "motor"), pull_v=6.6, drop_v=3.6, ohm=1.2)
    loom.link("motor", "motor", "body", 0.055)
    assert loom.tried(_REST).relay("starter", _ON) == 2
    loom.sources.clear()
    loom.battery("plus", emf_v=12.6, ohm=0.012)
    assert loom.tried(_REST).relay("starter", _ON) == 1
