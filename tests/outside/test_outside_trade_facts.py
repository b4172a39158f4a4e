"""Facts of the trade, all `common practice, no source`, as looks and as conclusions of the reasoner."""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from diag.reason.reasoner import Beliefs, Reasoner
from diag.reason.steps import Finding, Value
from tests.circuit.demo import CHARGING, HAZARD, KEY, LEFT, REST, Demo

_TURN = [f"turn-lamp-{end}-{side}" for end in ("front", "rear") for side in ("left", "right")]
_NORMAL_STEADY: Value = ("normal", "steady")
_NORMAL_FLASHING: Value = ("normal", "flashing")
_DARK: Value = ("dark", "none")


def test_key_on_and_engine_stopped_lights_both_tell_tales(demo: Demo) -> None:
    """The lamp test every driver makes."""
    for lamp in ("oil-lamp", "charge-lamp"):
        assert demo.look(lamp, KEY) == "normal/steady"
        assert demo.look(lamp, REST) == "dark/none"
        assert demo.look(lamp, CHARGING) == "dark/none"


def test_unplugging_the_sender_wire_darkens_the_oil_lamp(demo: Demo) -> None:
    """So a lamp that stays lit with the wire off has its wire on the body."""
    off = {**KEY, "unplugged": "oil-sender.G"}
    assert demo.look("oil-lamp", off) == "dark/none"
    assert demo.look("charge-lamp", off) == "normal/steady"
    assert demo.look("oil-lamp", off, "oil-sender-wire.to-body") == "normal/steady"


def test_unplugging_61_darkens_the_charge_lamp(demo: Demo) -> None:
    """So a lamp that stays lit with the wire off has its wire on the body."""
    off = {**KEY, "unplugged": "regulator.61"}
    assert demo.look("charge-lamp", off) == "dark/none"
    assert demo.look("oil-lamp", off) == "normal/steady"
    assert demo.look("charge-lamp", off, "charge-61-wire.to-body") == "normal/steady"


def test_turn_signals_need_the_key_and_hazard_does_not(demo: Demo) -> None:
    """Hazard is fed from 30 by its own fuse."""
    for lamp in _TURN:
        assert demo.look(lamp, {"turn": "left"}) == "dark/none"
        assert demo.look(lamp, HAZARD) == "normal/flashing"
        assert demo.look(lamp, {**HAZARD, **KEY}) == "normal/flashing"
    assert demo.look("turn-lamp-front-left", LEFT) == "normal/flashing"


def test_a_dead_key_switch_leaves_hazard_and_horn(demo: Demo) -> None:
    """Turn dead and hazard works: key feed, fuse, or the rest contact of the hazard switch."""
    for cause in ("key-switch.open-30-15", "fuse-turn.blown", "hazard-switch.open-15-49"):
        assert demo.look("turn-lamp-front-left", LEFT, cause) == "dark/none"
        assert demo.look("turn-lamp-front-left", HAZARD, cause) == "normal/flashing"
        assert demo.horn({"horn-button": "pressed"}, cause) == "sound"


# ---------------------------------------------------------------- through the reasoner


def _beliefs(reasoner: Reasoner, answers: Sequence[tuple[str, Value]]) -> Beliefs:
    findings = [Finding(i, reasoner.steps[check], value) for i, (check, value) in enumerate(answers, start=1)]
    return reasoner.beliefs(findings)


def _remedy(reasoner: Reasoner, cause: str) -> str:
    return reasoner.remedy_of[reasoner.index[cause]]


_CASES: dict[str, tuple[list[tuple[str, Value]], str, float]] = {
    "steady-everywhere-and-buzzing-is-the-unit": (
        [
            ("turn-left-front", _NORMAL_STEADY),
            ("turn-right-front", _NORMAL_STEADY),
            ("hazard-front-left", _NORMAL_STEADY),
            ("hazard-sound", "buzz"),
        ],
        "flasher-unit.never-opens",
        0.95,
    ),
    "oil-lamp-lit-with-its-wire-off-is-the-wire": (
        [("oil-running", _NORMAL_STEADY), ("oil-wire-off", _NORMAL_STEADY)],
        "oil-sender-wire.to-body",
        0.90,
    ),
    "horn-that-falls-silent-with-its-wire-off-the-column-is-the-column": (
        [("horn-rest", "sound"), ("horn-column-unplugged", "none")],
        "column-slip-ring.brush-touches-column",
        0.15,
    ),
    "tail-lamp-that-glows-with-the-pedal-is-the-rear-earth": (
        [("stop-left", ("glow", "steady")), ("stop-tail-left", ("glow", "steady")), ("stop-right", _NORMAL_STEADY)],
        "earth-rear-left.open",
        0.40,
    ),
}


@pytest.mark.parametrize("name", list(_CASES))
def test_findings_of_the_trade_lead_to_its_conclusion(reasoner: Reasoner, name: str) -> None:
    """What a mechanic concludes from these findings, the program concludes first and at least so firmly."""
    answers, cause, least = _CASES[name]
    beliefs = _beliefs(reasoner, answers)
    remedy, chance = beliefs.ranking[0]
    assert remedy == _remedy(reasoner, cause), beliefs.ranking[:4]
    assert chance > least


def test_steady_on_both_sides_without_any_sound_still_means_unit_or_volts(reasoner: Reasoner) -> None:
    """Silent or buzzing, the unit leads; one side alone does not."""
    beliefs = _beliefs(reasoner, [("turn-left-front", _NORMAL_STEADY), ("turn-right-front", _NORMAL_STEADY)])
    assert beliefs.ranking[0][0] == _remedy(reasoner, "flasher-unit.never-opens")
    one = _beliefs(reasoner, [("turn-left-rear", _DARK), ("turn-right-front", _NORMAL_FLASHING)])
    assert dict(one.ranking).get(_remedy(reasoner, "flasher-unit.never-opens"), 0.0) < 0.01


def _of_one_lamp_only(reasoner: Reasoner, beliefs: Beliefs) -> float:
    """Chance of causes that lie in the circuit of the oil or the charge lamp alone."""
    own = {"oil-warning", "charge-warning"}
    circuit_of = reasoner.knowledge.circuit_of
    return sum(
        chance
        for members, chance in beliefs.posterior.sets
        if len(members) == 1 and all(circuit_of[reasoner.causes[i].subject] in own for i in members)
    )


def test_both_tell_tales_dark_is_their_common_feed(reasoner: Reasoner) -> None:
    """One finding worth more than two: nothing that belongs to one lamp alone explains both."""
    both = _beliefs(reasoner, [("oil-key-on", _DARK), ("charge-key-on", _DARK)])
    assert _of_one_lamp_only(reasoner, both) < 0.05
    one = _beliefs(reasoner, [("oil-key-on", _DARK), ("charge-key-on", _NORMAL_STEADY)])
    assert _of_one_lamp_only(reasoner, one) > 0.8


def test_a_charge_lamp_that_glows_with_the_key_off_points_to_the_cut_out(reasoner: Reasoner) -> None:
    """Welded contacts feed the lamp from the battery through 61 while the key is off."""
    beliefs = _beliefs(reasoner, [("charge-key-off", ("glow", "steady"))])
    assert beliefs.ranking[0][0] == _remedy(reasoner, "regulator.cut-out-stuck")


def test_a_horn_earthed_inside_sounds_with_its_button_wire_off(demo: Demo) -> None:
    """With the button wire off only the horn itself can find earth: the shipped rule of that name says so too."""
    assert demo.horn({"unplugged": "horn.31b"}, "horn.case-earthed") == "sound"


def test_a_horn_out_of_adjustment_does_not_sound_as_a_healthy_one(reasoner: Reasoner) -> None:
    """It is said to be like a seized horn; predicted to sound it can never be found."""
    step = reasoner.steps["horn-sound"]
    row = reasoner.chances.table(step)[1 + reasoner.index["horn.out-of-adjustment"]]
    assert step.outcomes[int(row.argmax())] in ("click", "weak", "none")


def test_a_welded_cut_out_lights_the_charge_lamp_with_the_key_off(demo: Demo) -> None:
    """Lit with the key off: cut-out welded. What is computed must not tell the practitioner that it stays dark."""
    assert demo.look("charge-lamp", REST, "regulator.cut-out-stuck") != "dark/none"
