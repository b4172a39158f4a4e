"""Dynamo with regulator, and alternator, by hand: what lets them charge and what each fault does to the volts.

12 V. Expectations are `common practice, no source` unless a line says more.
"""

from __future__ import annotations

import numpy as np
import pytest

from diag.circuit.network import Change, Extra, Source
from tests.circuit.loom import Loom, Tried

_RUNS = {"engine": "running", "key": "on"}
_KEY = {"key": "on"}
_REST = {"engine": "stopped", "key": "off"}


def _supply(loom: Loom) -> None:
    loom.battery("plus", emf_v=12.6, ohm=0.04)
    loom.wire("battery-cable", "plus", "bar", 0.005)
    loom.link("key", "bar", "15", 0.01, "contact", "key=on")
    loom.lamp("lamp", "15", "61", 2.0)
    loom.link("lights", "bar", "body", 3.0, "contact", "lights=on")


def _dynamo() -> Tried:
    """Regulator terminals reg.B+ D+ DF 61 31, dynamo terminals dyn.D+ DF; 15.2 V, field 6 ohm to body."""
    loom = Loom()
    _supply(loom)
    loom.wire("lamp-wire", "61", "reg.61")
    loom.link("reg:61", "reg.D+", "reg.61", 0.001)
    loom.link("reg:cut-out", "reg.D+", "reg.B+", 0.02, "cut-out")
    loom.link("reg:field-contact", "reg.D+", "reg.DF", 0.02)
    loom.link("reg:winding", "reg.D+", "reg.31", 80.0)
    loom.wire("reg-earth", "reg.31", "body", 0.005)
    loom.wire("reg-feed", "reg.B+", "bar", 0.005)
    loom.wire("main", "dyn.D+", "reg.D+", 0.005)
    loom.wire("field-wire", "dyn.DF", "reg.DF", 0.02)
    loom.sources.append(Source("dyn", loom.at("dyn.D+"), 0, 0.0, 0.06, "dynamo"))
    loom.link("dyn:field", "dyn.DF", "body", 6.0, "field")
    return loom.tried(_REST, emf_v={"dyn": 15.2})


def _alternator(lamp: bool = True) -> Tried:
    """Terminals alt.B+ and alt.D+; 14.2 V."""
    loom = Loom()
    _supply(loom)
    if lamp:
        loom.wire("lamp-wire", "61", "alt.D+")
    loom.sources.append(Source("alt", loom.at("alt.B+"), 0, 14.2, 0.03, "alternator"))
    loom.link("alt:field", "alt.D+", "body", 4.0, "field")
    loom.link("alt:lamp-diode", "alt.B+", "alt.D+", 0.001, "excited")
    loom.wire("alt-cable", "alt.B+", "bar", 0.005)
    return loom.tried(_REST)


def _open(tried: Tried, *branches: str) -> Change:
    return Change(added_ohm={tried.network.branch(name): np.inf for name in branches})


def _flag(name: str) -> Change:
    return Change(flags=frozenset({name}))


def _swap(tried: Tried, a: str, b: str) -> Change:
    return Change(swap=((tried.network.node(a), tried.network.node(b)),))


# ---------------------------------------------------------------- dynamo


def test_a_dynamo_charges_within_the_published_window_and_darkens_its_lamp() -> None:
    """13.5 to 15.0 V at a charged battery with a vibrating-contact regulator (from memory)."""
    tried = _dynamo()
    for operate in (_RUNS, {**_RUNS, "lights": "on"}):
        assert 13.5 < tried.volts("plus", operate) < 15.0
        assert abs(tried.lamp_v("lamp", operate)) < 1.0
    assert tried.amps("reg-feed", _RUNS) > 2.0, "from the regulator to the battery"
    assert tried.amps("reg-feed", _RUNS) < 25.0, "a charged battery takes amps, not tens of amps"


def test_a_dynamo_that_stands_still_lights_its_lamp_and_takes_nothing() -> None:
    """Key on: the lamp's current returns through regulator and armature; key off: the cut-out parts the two."""
    tried = _dynamo()
    assert tried.lamp_v("lamp", _KEY) > 12.0
    assert abs(tried.amps("reg-feed", _REST)) < 1e-3
    assert abs(tried.volts("dyn.D+", _REST)) < 1e-3


@pytest.mark.parametrize("what", ["no-output", "field-open", "field-contact", "field-wire", "main", "armature"])
def test_a_dynamo_without_field_or_armature_gives_nothing_and_its_lamp_stays_lit(what: str) -> None:
    """Each way to lose it: residual magnetism, winding, contact, either wire, brushes."""
    tried = _dynamo()
    change = {
        "no-output": _flag("dyn:no-output"),
        "field-open": _open(tried, "dyn:field"),
        "field-contact": _open(tried, "reg:field-contact"),
        "field-wire": _open(tried, "field-wire"),
        "main": _open(tried, "main"),
        "armature": Change(emf={1: (0.0, np.inf)}, flags=frozenset({"dyn:no-output"})),
    }[what]
    assert tried.volts("plus", _RUNS, change) < 12.7
    assert tried.lamp_v("lamp", _RUNS, change) > 11.0


@pytest.mark.parametrize(("a", "b"), [("dyn.D+", "dyn.DF"), ("reg.D+", "reg.DF")])
def test_a_dynamo_with_main_and_field_wire_changed_over_does_not_charge(a: str, b: str) -> None:
    """The whole output goes through the field contact and burns it; nothing charges and the lamp stays lit."""
    tried = _dynamo()
    swapped = _swap(tried, a, b)
    assert tried.volts("plus", _RUNS, swapped) < 12.7
    assert tried.lamp_v("lamp", _RUNS, swapped) > 11.0


def test_a_regulator_set_too_high_overcharges() -> None:
    """Above 15.1 V at the battery, with a lamp that still goes out."""
    tried = _dynamo()
    assert 15.1 < tried.volts("plus", _RUNS, _flag("reg:set-too-high")) < 16.5
    assert abs(tried.lamp_v("lamp", _RUNS, _flag("reg:set-too-high"))) < 1.0


def test_a_regulator_that_lost_its_earth_lets_the_volts_run_away() -> None:
    """Its winding feels nothing, so the contact never opens: full field. A poor earth raises them a little."""
    tried = _dynamo()
    healthy = tried.volts("plus", _RUNS)
    lost = tried.volts("plus", _RUNS, _open(tried, "reg-earth"))
    assert lost > 16.0
    assert tried.volts("reg.31", _RUNS, _open(tried, "reg-earth")) > 15.0
    poor = Change(added_ohm={tried.network.branch("reg-earth"): 4.0})
    assert healthy + 0.1 < tried.volts("plus", _RUNS, poor) < lost


def test_a_field_fed_past_its_contact_is_not_regulated() -> None:
    """DF joined to D+ by two wires that touch: full field whatever the contact does."""
    tried = _dynamo()
    healthy = tried.volts("plus", _RUNS)
    assert tried.volts("plus", _RUNS, _open(tried, "reg:field-contact")) < 12.7
    moved = Change(
        moved={tried.network.branch("field-wire"): (tried.network.node("dyn.DF"), tried.network.node("reg.B+"))}
    )
    assert tried.volts("plus", _RUNS, moved) > healthy + 1.0


def test_a_cut_out_that_does_not_close_leaves_volts_at_the_dynamo_only() -> None:
    """The battery stays where it is, D+ is high, and the lamp between them stays dark or glows."""
    tried = _dynamo()
    stays = _flag("reg:cut-out-open")
    assert tried.volts("plus", _RUNS, stays) < 12.7
    assert tried.volts("dyn.D+", _RUNS, stays) > 14.0
    assert abs(tried.lamp_v("lamp", _RUNS, stays)) < 3.0


def test_a_welded_cut_out_empties_the_battery_and_feeds_back_into_the_lamp_with_the_key_off() -> None:
    """D+ lies at battery volts; whatever hangs on 15 pulls current through the lamp from behind."""
    loom_with_coil, without = _welded(True), _welded(False)
    for tried, load in ((loom_with_coil, True), (without, False)):
        stuck = Change(closed=frozenset({tried.network.branch("reg:cut-out")}), flags=frozenset({"reg:cut-out-stuck"}))
        assert tried.amps("reg-feed", _REST, stuck) < -20.0, "from the battery into the armature"
        if load:
            assert tried.lamp_v("lamp", _REST, stuck) < -3.0
            assert tried.volts("15", _REST, stuck) > 0.2
        else:
            assert abs(tried.lamp_v("lamp", _REST, stuck)) < 0.05, "nothing else on 15: no way back, no light"
        assert abs(tried.lamp_v("lamp", _REST)) < 1e-3


def _welded(coil: bool) -> Tried:
    tried = _dynamo()
    loom = Loom(
        dict(zip(tried.network.nodes, range(len(tried.network.nodes)), strict=True)),
        list(tried.network.branches),
        list(tried.network.filaments),
        list(tried.network.sources),
    )
    if coil:
        loom.link("coil", "15", "body", 3.0)
    return loom.tried(_REST, emf_v={"dyn": 15.2})


def test_a_shorted_output_kills_the_field_and_comes_back_when_the_fuse_has_gone() -> None:
    """A shunt dynamo collapses on a short; one behind a fuse is cleared by the battery, and charging goes on."""
    tried = _dynamo()
    node = tried.network.node("dyn.D+")
    short = Change(extra=(Extra(node, 0, 50.0, node),))
    assert tried.volts("plus", _RUNS, short) < 12.7
    assert tried.lamp_v("lamp", _RUNS, short) > 11.0

    loom = Loom(
        dict(zip(tried.network.nodes, range(len(tried.network.nodes)), strict=True)),
        list(tried.network.branches),
        list(tried.network.filaments),
        list(tried.network.sources),
    )
    loom.link("fuse", "bar", "behind", 0.005, "fuse")
    fused = loom.tried(_REST, emf_v={"dyn": 15.2}, fuse_a={"fuse": 8.0})
    behind = fused.network.node("behind")
    short = Change(extra=(Extra(behind, 0, 50.0, behind),))
    assert fused.gone(_RUNS, short) == {"fuse"}
    assert fused.volts("plus", _RUNS, short) == pytest.approx(fused.volts("plus", _RUNS), abs=0.01)


def test_a_battery_resists_more_while_it_is_charged_than_while_it_is_drained() -> None:
    """Polarisation: the few volts between a machine and a charged battery drive a few amps."""
    tried, lights = _dynamo(), {**_RUNS, "lights": "on"}
    dead = _flag("dyn:no-output")
    drained_ohm = (12.6 - tried.volts("plus", lights, dead)) / tried.amps("battery-cable", lights, dead)
    charged_ohm = (12.6 - tried.volts("plus", _RUNS)) / tried.amps("battery-cable", _RUNS)
    assert drained_ohm == pytest.approx(0.04, rel=1e-3)
    assert charged_ohm == pytest.approx(4 * 0.04, rel=1e-3)


# ---------------------------------------------------------------- alternator


def test_an_alternator_charges_within_the_published_window() -> None:
    """13.8 to 14.4 V, 14.8 at most, with an electromechanical or first electronic regulator (from memory)."""
    tried = _alternator()
    assert 13.7 < tried.volts("plus", _RUNS) < 14.4
    assert abs(tried.lamp_v("lamp", _RUNS)) < 0.6
    assert tried.lamp_v("lamp", _KEY) > 11.0, "lit before it turns: its current is the first field"


def test_an_alternator_without_its_lamp_does_not_begin() -> None:
    """The lamp feeds the field at first: blown, missing, or its wire off, and it may not charge at all."""
    tried = _alternator()
    assert tried.volts("plus", _RUNS, Change(scale={0: 0.0})) < 12.7
    assert tried.volts("plus", _RUNS, _open(tried, "lamp-wire")) < 12.7
    assert _alternator(lamp=False).volts("plus", _RUNS) < 12.7


@pytest.mark.parametrize("mode", ["no-output", "exciter-open"])
def test_an_alternator_that_gives_nothing_keeps_its_lamp_lit(mode: str) -> None:
    tried = _alternator()
    change = Change(
        flags=frozenset({f"alt:{mode}"}),
        added_ohm={tried.network.branch("alt:lamp-diode"): np.inf} if mode == "exciter-open" else {},
    )
    assert tried.volts("plus", _RUNS, change) < 12.7
    assert tried.lamp_v("lamp", _RUNS, change) > 10.0


def test_an_alternator_with_a_lost_diode_sags_under_load() -> None:
    """A third of the output is gone: less volts, and much less with lights on."""
    tried = _alternator()
    worse = _flag("alt:diode-open")
    for operate in (_RUNS, {**_RUNS, "lights": "on"}):
        assert tried.volts("plus", operate, worse) < tried.volts("plus", operate) - 0.2
    assert tried.volts("plus", {**_RUNS, "lights": "on"}, worse) < 13.5


def test_a_shorted_diode_feeds_field_and_lamp_with_the_key_off() -> None:
    """Through the winding and the exciter diodes the battery reaches D+: amps all night, and the lamp from behind."""
    tried = _alternator()
    assert abs(tried.amps("alt:field", _REST)) < 1e-3
    shorted = Change(closed=frozenset({tried.network.branch("alt:lamp-diode")}), flags=frozenset({"alt:diode-short"}))
    assert tried.amps("alt:field", _REST, shorted) > 2.5


def test_an_alternator_set_too_high_overcharges() -> None:
    assert 15.1 < _alternator().volts("plus", _RUNS, _flag("alt:set-too-high")) < 16.5


def test_an_alternator_that_stands_still_lets_nothing_back() -> None:
    """Its diodes do what a cut-out does for a dynamo."""
    tried = _alternator()
    assert abs(tried.amps("alt-cable", _REST)) < 1e-3
    assert abs(tried.lamp_v("lamp", _REST)) < 1e-3


# ---------------------------------------------------------------- other systems


@pytest.mark.parametrize("by", [0.5, 2.0], ids=["6 V", "24 V"])
def test_what_holds_for_12_volts_holds_for_6_and_24(by: float) -> None:
    """Thresholds go with the machine's own volts, so a 6 V dynamo closes its cut-out too."""
    loom = Loom()
    loom.battery("bar", emf_v=12.6 * by, ohm=0.04 * by)
    loom.link("reg:cut-out", "reg.D+", "reg.B+", 0.02, "cut-out")
    loom.link("reg:field-contact", "reg.D+", "reg.DF", 0.02)
    loom.link("reg:winding", "reg.D+", "body", 80.0)
    loom.wire("reg-feed", "reg.B+", "bar", 0.005)
    loom.wire("main", "dyn.D+", "reg.D+", 0.005)
    loom.wire("field-wire", "dyn.DF", "reg.DF", 0.02)
    loom.sources.append(Source("dyn", loom.at("dyn.D+"), 0, 0.0, 0.06 * by, "dynamo"))
    loom.link("dyn:field", "dyn.DF", "body", 6.0, "field")
    tried = loom.tried(_REST, emf_v={"dyn": 15.2 * by}, system_v=12.0 * by)
    assert 13.5 * by < tried.volts("bar", _RUNS) < 15.0 * by
    assert tried.volts("bar", _RUNS, _flag("reg:set-too-high")) > 15.0 * by


def test_on_a_vehicle_with_body_plus_all_volts_are_mirrored() -> None:
    """Positive earth: the machine makes its volts below body, and nothing else changes."""
    there = _dynamo()
    net = there.network
    loom = Loom(dict(zip(net.nodes, range(len(net.nodes)), strict=True)), filaments=list(net.filaments))
    for branch in net.branches:
        turned = branch.role == "cut-out"  # so that charging is a positive current
        loom.branches.append(
            type(branch)(
                branch.id,
                branch.b if turned else branch.a,
                branch.a if turned else branch.b,
                branch.ohm,
                branch.role,
                branch.closed_when,
            )
        )
    for source in net.sources:
        loom.sources.append(Source(source.id, source.b, source.a, source.emf_v, source.ohm, source.kind))
    back = loom.tried(_REST, emf_v={"dyn": 15.2})
    for operate in (_RUNS, _KEY, _REST):
        np.testing.assert_allclose(back.shown(operate).volts, -there.shown(operate).volts, atol=1e-6)
