"""Relays and solenoids against data sheets: coils, pull-in and drop-out volts, contact drops.

Figures of ISO 7588 relays from a data sheet; solenoids are common practice, no source.
"""

from __future__ import annotations

import pytest

from diag.knowledge.schema import RelayPart, StarterPart
from tests.circuit.loom import Loom, Tried

_COIL_OHM = 85.0
"""12 V, ± 10 %: 1.7 W, about 0.141 A."""
_PULLS_BY_V = {12.0: 8.0, 24.0: 16.0}
_HOLDS_ABOVE_V = {12.0: 1.5, 24.0: 3.0}
"""A relay has pulled in by the first, and has let go by the second."""
_DROP_AT_10_A = 0.2
"""V across a new make contact at most (15 mV typical)."""
_SOLENOID_OHM = (0.9, 1.5)
"""Hold-in winding, 12 V."""


def _part() -> RelayPart:
    return RelayPart(kind="relay", title="Relay", place="bench")


def _fed(coil_v: float, system_v: float) -> Tried:
    part = _part()
    loom = Loom()
    loom.battery("plus", emf_v=coil_v, ohm=1e-4)
    loom.link("button", "plus", "86", 1e-3, "contact", "button=on")
    loom.relay(
        "relay",
        ("86", "body"),
        make=("plus", "87"),
        pull_v=part.pull_in * system_v,
        drop_v=part.drop_out * system_v,
        ohm=part.coil_ohm * (system_v / 12.0) ** 2,
    )
    return loom.tried({"button": "off"})


def test_the_coil_is_a_usual_one() -> None:
    """Within a tenth of the data sheet; 0.14 A at 12 V."""
    assert _part().coil_ohm == pytest.approx(_COIL_OHM, rel=0.1)
    assert 12.0 / _part().coil_ohm == pytest.approx(0.141, rel=0.1)


@pytest.mark.parametrize("system_v", [12.0, 24.0])
def test_a_relay_has_pulled_in_by_the_data_sheets_volts(system_v: float) -> None:
    """And not at half of them."""
    on = {"button": "on"}
    assert _fed(_PULLS_BY_V[system_v], system_v).relay("relay", on) == 1
    assert _fed(0.5 * _PULLS_BY_V[system_v], system_v).relay("relay", on) == 0


@pytest.mark.parametrize("system_v", [12.0, 24.0])
def test_a_relay_does_not_hold_below_the_data_sheets_volts(system_v: float) -> None:
    """It lets go at 1.5 V (3 V) at the latest, so its drop-out lies above."""
    part = _part()
    assert part.drop_out * system_v >= _HOLDS_ABOVE_V[system_v]
    assert part.drop_out < part.pull_in


def test_a_new_contact_loses_less_than_the_data_sheet_allows() -> None:
    """At 10 A."""
    assert 10.0 * _part().contact_ohm <= _DROP_AT_10_A


def test_a_solenoid_has_a_usual_winding_and_pulls_in_on_a_cranking_battery() -> None:
    """Cranking leaves 9.6 V at the battery, some of it lost on the way: it must hold then."""
    part = StarterPart(kind="starter", title="Starter", place="bench")
    assert _SOLENOID_OHM[0] <= part.solenoid_ohm <= _SOLENOID_OHM[1]
    assert part.drop_out * 12.0 < 9.0
    assert part.pull_in * 12.0 < 9.6
