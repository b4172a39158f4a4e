"""Voltage-drop limits, battery volts and the checks' own limits against what a healthy vehicle shows."""

from __future__ import annotations

import numpy as np
import pytest

from diag.knowledge.schema import BatteryPart
from tests.circuit.demo import CHARGING, DIPPED, HAZARD, HORN, LEFT, MAIN, REST, RIGHT, SIDE, STOP, Demo, Operate

_WIRE_V, _EARTH_V, _CONTACT_V = 0.20, 0.10, 0.30
"""Limits joint by joint under load, 12 V. Source: common practice, no source."""
_SOC_V = {0: 11.89, 25: 12.06, 50: 12.24, 75: 12.45, 100: 12.65}
"""Per cent to volts of a rested 12 V flooded battery at 27 °C. Source: common practice, no source."""
_ALL: tuple[Operate, ...] = (LEFT, RIGHT, HAZARD, STOP, SIDE, HORN, {**HAZARD, **SIDE}, DIPPED, MAIN)


@pytest.mark.parametrize("operate", _ALL, ids=str)
def test_no_part_of_a_healthy_vehicle_loses_more_than_a_good_joint_may(demo: Demo, operate: Operate) -> None:
    """The demo vehicle must pass the checks a mechanic makes, or it would send people after sound joints."""
    shown = demo.predictor.shown(operate)
    limits = {"wire": _WIRE_V, "contact": _CONTACT_V, "fuse": _EARTH_V, "joint": _EARTH_V, "flasher": _CONTACT_V}
    for i, branch in enumerate(demo.network.branches):
        earth = branch.id in demo.knowledge.parts and demo.knowledge.parts[branch.id].kind == "earth"
        limit = _EARTH_V if earth else limits.get(branch.role)
        lost_v = abs(shown.branch_a[0, i]) * branch.ohm
        if limit is not None:
            assert lost_v < limit, f"{branch.id} loses {lost_v:.3f} V under {operate}"


@pytest.mark.parametrize(
    ("operate", "start", "end", "limit_v"),
    [
        pytest.param(SIDE, "light-switch.58", "tail-lamp-left.58", 0.1, id="tail-left"),
        pytest.param(SIDE, "light-switch.58", "tail-lamp-right.58", 0.1, id="tail-right"),
        pytest.param(SIDE, "light-switch.58", "plate-lamp.58", 0.1, id="plate"),
        pytest.param(STOP, "pedal-switch.15", "stop-lamp-right.54", 0.5, id="stop"),
        pytest.param(LEFT, "turn-switch.49a", "turn-lamp-rear-left.L", 0.5, id="turn-left"),
        pytest.param(RIGHT, "turn-switch.49a", "turn-lamp-rear-right.R", 0.5, id="turn-right"),
        pytest.param(CHARGING, "regulator.B+", "battery.B+", 0.4, id="charging"),
        pytest.param(CHARGING, "body", "battery.B-", 0.2, id="charging-earth"),
        pytest.param(HORN, "bus-30.4", "horn.71", 0.5, id="horn"),
    ],
)
def test_lines_of_the_healthy_vehicle_keep_to_the_handbook_table(
    demo: Demo, operate: Operate, start: str, end: str, limit_v: float
) -> None:
    """Positive line from its switch to the lamp: 0.1 V below 15 W, 0.5 V above, charging 0.4 V, horn 0.5 V
    (automotive handbook table; common practice, no source)."""
    assert 0.0 < abs(demo.volts(start, operate, None, end)) < limit_v


@pytest.mark.parametrize("operate", _ALL, ids=str)
def test_whole_circuits_of_the_healthy_vehicle_keep_to_the_handbook_table(demo: Demo, operate: Operate) -> None:
    """From battery to lamp and back, switches and joints included: 0.6 V below 15 W, 0.9 V above (from memory)."""
    source_v = demo.volts("battery.B+", operate, None, "battery.B-")
    lit = 0
    for lamp in demo.lamps:
        across = abs(demo.lamp_volts(lamp, operate))
        if across > 3.0:
            lit += 1
            watts = demo.network.filaments[demo.network.filament(lamp)].test_w
            assert source_v - across < (0.6 if watts < 15 else 0.9), f"{lamp} under {operate}"
    assert lit or operate is HORN


def test_the_demo_battery_is_a_charged_one(demo: Demo) -> None:
    """12.6 V at rest is more than 75 % and not more than a battery can rest at."""
    battery = next(part for part in demo.knowledge.parts.values() if isinstance(part, BatteryPart))
    charge = float(np.interp(battery.rest_v, list(_SOC_V.values()), list(_SOC_V)))
    assert charge > 75
    assert battery.rest_v <= _SOC_V[100]
    flat = demo.knowledge.kinds.kinds["battery"]["flat"].volts
    assert flat is not None and flat < _SOC_V[0], "a battery that is called flat is below 0 % at rest"


def test_limits_of_battery_volts_lie_between_half_and_freshly_charged(demo: Demo) -> None:
    """Below 50 % it must be charged before anything else is believed; above 12.9 V it was just on a charger."""
    limits = demo.knowledge.checks["battery-volts"].limits
    assert limits is not None and limits.min is not None and limits.max is not None
    assert _SOC_V[25] < limits.min <= _SOC_V[50]
    assert _SOC_V[100] < limits.max <= 13.0


def test_charging_raises_the_battery_by_half_a_volt_and_does_not_boil_it(demo: Demo) -> None:
    """At least 0.5 V above rest and at most 15 V (common practice, no source; from memory)."""
    rest_v = demo.volts("battery.B+", REST, None, "battery.B-")
    running_v = demo.volts("battery.B+", CHARGING, None, "battery.B-")
    assert rest_v + 0.5 < running_v < 15.0


def test_a_healthy_vehicle_passes_every_limit_of_its_own_checks(demo: Demo) -> None:
    """A limit that a sound vehicle fails would condemn good parts."""
    tried = 0
    for check in demo.knowledge.checks.values():
        if check.limits is None or check.kind != "measure":
            continue
        if check.unit == "V":
            found = demo.volts(check.red or "", check.operate, None, check.black or "body")
        elif check.unit == "A":
            found = demo.amps(check.through or "", check.operate)
        elif check.black == "body":
            found = demo.ohms(check.red or "", {**check.operate, "battery": "disconnected"}) + 0.2  # the meter's leads
        else:
            continue
        tried += 1
        low, high = check.limits.min, check.limits.max
        assert low is None or found >= low, f"{check.id}: {found:.3f} {check.unit} below {low}"
        assert high is None or found <= high, f"{check.id}: {found:.3f} {check.unit} above {high}"
    assert tried >= 30
