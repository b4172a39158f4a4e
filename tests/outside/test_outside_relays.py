"""Relays and solenoids against data sheets: coils, pull-in and drop-out volts, contact drops.

Figures of ISO 7588 relays from a data sheet; solenoids are common practice, no source.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from diag.circuit.network import Change
from diag.circuit.predict import bench_of
from diag.knowledge.schema import RelayPart, StarterPart
from tests.circuit.vehicles import vehicle, wires

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


_RELAY = """\
parts:
  button: {kind: switch, title: Button, place: bench, control: key, terminals: ["30", "86"],
    contacts: {start: [["30", "86"]]}}
  relay: {kind: relay, title: Relay, place: bench, coil-ohm: %s}
""" + wires(
    a=("feed.1", "relay.30"),
    b=("feed.2", "button.30"),
    c=("button.86", "relay.86"),
    d=("relay.85", "ground-2.31"),
)
_COIL_BY_V = {12.0: "85 ohm", 24.0: "255 ohm"}


def _pulled(folder: Path, coil_v: float, system_v: float) -> bool:
    """Whether a relay in a vehicle of that system pulls in when its battery gives only `coil_v`."""
    lab = vehicle(folder, _RELAY % _COIL_BY_V[system_v], system_v=system_v)
    weak = replace(lab.network, sources=tuple(replace(one, emf_v=coil_v) for one in lab.network.sources))
    shown, _ = bench_of(lab.knowledge, weak).operate([{"key": "start"}], [Change()])
    return int(shown.relay[0, 0]) == 1


def test_the_coil_is_a_usual_one() -> None:
    """Within a tenth of the data sheet; 0.14 A at 12 V."""
    assert _part().coil_ohm == pytest.approx(_COIL_OHM, rel=0.1)
    assert 12.0 / _part().coil_ohm == pytest.approx(0.141, rel=0.1)


@pytest.mark.parametrize("system_v", [12.0, 24.0])
def test_a_relay_has_pulled_in_by_the_data_sheets_volts(system_v: float, tmp_path: Path) -> None:
    """And not at half of them. A tenth of a volt more is lost on the way to the coil."""
    assert _pulled(tmp_path / "enough", _PULLS_BY_V[system_v] + 0.1, system_v)
    assert not _pulled(tmp_path / "half", 0.5 * _PULLS_BY_V[system_v], system_v)


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
