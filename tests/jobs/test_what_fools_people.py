"""Situations that fool people after a rewire, each a recorded job that ends right.

source of every situation: common practice, no source
"""

from __future__ import annotations

import pytest

from tests.jobs.recorded import NAMES, Recorded

SITUATIONS: dict[str, dict[str, str]] = {
    "both sides steady and the unit buzzes": {"steady-both-sides": "flasher-unit.never-opens"},
    "one side fast: a lamp, or its watts": {
        "one-side-fast": "turn-lamp-front-left.open",
        "wrong-wattage-left": "turn-lamp-front-left.wrong-wattage",
    },
    "everything slow with the engine off": {"low-battery": "battery.flat"},
    "turn dead, hazard works": {"turn-dead-hazard-works": "hazard-switch.open-15-49"},
    "hazard dead, turn works": {"hazard-dead-turn-works": "fuse-hazard.blown"},
    "side lamps change the rate, lamps dim each other": {"lights-change-turn-rate": "cluster-left-earth-wire.open"},
    "the stop pedal lights what it should not": {
        "pedal-lights-turn-tell-tale": "earth-rear-right.open",
        "stop-lamp-missing-earth": "earth-rear-left.open",
    },
    "the meter says 12 V, the lamp says no": {"stop-wire-resistive": "stop-wire.resistive"},
    "one headlamp dim: its earth": {"one-headlamp-dim": "earth-front-left.resistive"},
    "both headlamps dim": {"both-headlamps-dim": "dip-switch.resistive-56-56b"},
    "lamps brighter with the engine and short-lived": {"lamps-too-bright-with-engine": "regulator.set-too-high"},
    "main-beam tell-tale on dipped beam": {"main-tell-tale-on-dip": "dip-switch.swapped-56a-56b"},
    "one lamp on main while the other dips": {"one-lamp-mixed": "headlamp-left.swapped-56a-56b"},
    "the horn sounds as the battery goes on": {"horn-at-once": "horn-to-column.to-body"},
    "the horn sounds when steering": {"horn-when-steering": "slip-ring-wire.to-body"},
    "the horn clicks": {"horn-clicks-seized": "horn.seized"},
    "the horn is dead with volts on both terminals": {"horn-button-earth": "column-strap.open"},
    "charge tell-tale dark with the key on": {
        "charge-dark-lamp": "charge-lamp.open",
        "charge-dark-61-wire": "charge-61-wire.open",
    },
    "charge tell-tale never goes out": {"belt-off": "dynamo.belt-off"},
    "charge tell-tale glows while charging": {"glows-while-charging": "key-switch.resistive-30-15"},
    "charge tell-tale lit with the key off": {"charge-glows-key-off": "regulator.cut-out-stuck"},
    "oil tell-tale lit with its wire off": {"oil-lit-wire-off": "oil-sender-wire.to-body"},
    "both tell-tales dark": {"both-red-tell-tales-dark": "fuse-instruments.blown"},
    "the starter clicks": {"starter-clicks-lug": "starter-lug.resistive", "starter-clicks-strap": "engine-strap.open"},
    "the starter is silent": {"starter-silent-50-wire": "starter-50-wire.open"},
    "the starter runs on": {"starter-runs-on-welded": "starter.contact-stuck"},
    "the engine dies as the key springs back": {"dies-at-release-ballast": "ballast.open"},
    "the engine runs on with the key off": {"runs-on-live-wire": "main-feed.to-wire-coil-feed"},
    "the fuse blows at once": {"fuse-blows-at-once": "stop-wire.to-body"},
    "the fuse blows with one control only": {"fuse-blows-with-left-signal": "turn-rear-left-wire.to-body"},
    "the wiper does not park": {"wiper-stops-where-it-is": "wiper-park-feed.open"},
    "the wiper never stops": {"wiper-never-stops": "wiper-motor.park-earth-open"},
    "fast dead, slow runs": {"wiper-no-fast-speed": "wiper-fast-wire.open"},
    "interior lamp on with the doors shut": {"interior-lamp-stays-on": "door-switch-left.stuck-31b-body"},
    "interior lamp works with one door": {"interior-lamp-one-door": "door-switch-right.open-31b-body"},
    "instrument lamps do not dim": {"instrument-lamps-do-not-dim": "dimmer.bypassed"},
    "instrument lamps dark": {"instrument-lamps-dark": "dimmer.open"},
    "a relay that is silent": {"horn-relay-silent": "column-strap.open"},
    "an LED lamp flashes fast": {"led-flashes-fast": "turn-lamp-rear-right.led"},
    "a later engine with other terminals": {"dynamo-wires-changed-over": "dynamo.swapped-D+-DF"},
    "positive earth": {"motorcycle-dynamo-wire-off": "dynamo-field-wire.open"},
    "the battery is flat each Monday": {"flat-each-monday": "door-switch-left.stuck-31b-body"},
}
"""What is seen, and the recorded jobs of it with their cause. That they end there is tested with all jobs."""


@pytest.mark.parametrize("situation", SITUATIONS)
def test_every_situation_has_its_recorded_job(situation: str) -> None:
    for name, cause in SITUATIONS[situation].items():
        job = Recorded.read(name)
        assert cause in job.expect["cause"]
        assert job.expect["not-at"], "a situation that tempts nobody fools nobody"


def test_forty_single_faults_over_all_circuits_and_six_double_ones_over_five_vehicles() -> None:
    """Breadth of the record."""
    jobs = [Recorded.read(name) for name in NAMES]
    single = [job for job in jobs if len(job.remedies()) == 1]
    double = [job for job in jobs if len(set(job.remedies())) == 2]
    print(f"{len(single)} jobs with one remedy, {len(double)} with two")
    assert len({job.expect["cause"][0] for job in single}) >= 40
    assert len(double) >= 6
    assert len({job.vehicle for job in jobs}) == 5
    assert len({job.vehicle for job in double}) == 5
