"""Makes a circuit written for some volts and earth into the same circuit of a vehicle that has others.

At other volts lamps and loads keep their watts, so currents go the other way; wires and fuses follow the
currents to sizes that exist.
Where the other pole is earthed the battery is turned round and a probe changes places with the other, so that what a
limit or a rule says of a reading holds as written. Must not know of options, files or overrides.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from diag.knowledge import schema
from diag.knowledge.schema import Check, CircuitFile, Condition
from diag.knowledge.sizes import RATINGS_A, SECTIONS_MM2

__all__ = ["POWERS", "WRITTEN_FOR_V", "adapted", "stretched", "without_amps", "without_idle_taps"]

WRITTEN_FOR_V = schema.WrittenFor().system_v
"""Volts that a circuit's file is written for where it does not say."""
POWERS: Mapping[str, float] = {
    "rest_v": 1,
    "test_v": 1,
    "emf_v": 1,
    "regulated_v": 1,
    "current_a": -1,
    "slow_a": -1,
    "fast_a": -1,
    "rating_a": -1,
    "section_mm2": -1,
    "resistance_ohm": 2,
    "coil_ohm": 2,
    "low_ohm": 2,
    "high_ohm": 2,
    "winding_ohm": 2,
    "solenoid_ohm": 2,
    "motor_ohm": 2,
    "armature_ohm": 2,
    "field_ohm": 2,
    "inner_ohm": 2,
    "primary_ohm": 2,
    "ohm": 2,
    "positions": 2,
}
"""Power of the ratio of volts with which a field goes; diodes and watts stay, and contacts at more volts."""
_CONTACTS = ("contact_ohm", "holder_ohm")
_UNIT_POWERS = {"V": 1, "A": -1, "ohm": 2}
_FIXED_KINDS = ("diode",)
_TURNED = {"battery.B+": "battery.B-", "battery.B-": "battery.B+"}


def adapted(file: CircuitFile, system_v: float, earth: str, units: Mapping[str, str]) -> CircuitFile:
    """The circuit at `system_v` volts with that pole earthed. `units`: unit of every check of the vehicle."""
    ratio = system_v / file.written_for.system_v
    if ratio != 1.0:
        file = _at_volts(file, ratio, units)
    return _turned(file) if earth != file.written_for.earth else file


# ---------------------------------------------------------------- volts


def _at_volts(file: CircuitFile, ratio: float, units: Mapping[str, str]) -> CircuitFile:
    def condition(found: Condition) -> Condition:
        power = _UNIT_POWERS.get(units.get(found.check or "", ""), 0)
        scale = _scaler(ratio**power)
        update = {name: scale(getattr(found, name)) for name in ("below", "above")}
        between = tuple(scale(edge) for edge in found.between) if found.between is not None else None
        return found.model_copy(update={**update, "between": between})

    def conditions(found: Sequence[Condition]) -> tuple[Condition, ...]:
        return tuple(condition(one) for one in found)

    return file.model_copy(
        update={
            **{
                section: {name: _sized(entry, ratio) for name, entry in getattr(file, section).items()}
                for section in ("parts", "fuses", "earths", "wires")
            },
            "checks": tuple(_limits(check, ratio) for check in file.checks),
            "rules": tuple(rule.model_copy(update={"when": conditions(rule.when)}) for rule in file.rules),
            "symptoms": tuple(
                symptom.model_copy(update={"shows": tuple(conditions(way) for way in symptom.shows)})
                for symptom in file.symptoms
            ),
        }
    )


def _scaler(factor: float) -> Callable[[float | None], float | None]:
    return lambda found: None if found is None else found * factor


def _sized(entry: Any, ratio: float) -> Any:
    if getattr(entry, "kind", "") in _FIXED_KINDS:
        return entry
    update: dict[str, Any] = {}
    if ratio < 1:  # contacts are made for the amps: a good one loses the same share of fewer volts
        made = {name: getattr(entry, name, None) for name in _CONTACTS}
        update |= {name: ohm * ratio**2 for name, ohm in made.items() if isinstance(ohm, float)}
    for name, power in POWERS.items():
        found = getattr(entry, name, None)
        if isinstance(found, float):
            value = found * ratio**power
            update[name] = _to_be_had(name, value, entry)
        elif name == "positions" and found is not None:
            update[name] = {position: ohm * ratio**power for position, ohm in found.items()}
    return entry.model_copy(update=update) if update else entry


def _to_be_had(field: str, value: float, entry: Any) -> float:
    """The value, or where it comes in sizes the next of them; a fuse stays one of its class."""
    if field == "section_mm2":
        return _next(value, SECTIONS_MM2)
    return _next(value, RATINGS_A[entry.link]) if field == "rating_a" else value


def _next(value: float, sizes: Sequence[float]) -> float:
    """The smallest size that is not below the value, or the largest there is."""
    return next((size for size in sizes if size >= value * 0.999), sizes[-1])


def _limits(check: Check, ratio: float) -> Check:
    if check.limits is None or check.unit is None:
        return check
    scale = _scaler(ratio ** _UNIT_POWERS[check.unit])
    update = {"min": scale(check.limits.min), "max": scale(check.limits.max)}
    return check.model_copy(update={"limits": check.limits.model_copy(update=update)})


def without_amps(file: CircuitFile) -> CircuitFile:
    """The circuit without limits in A: they were written for the lamps and loads that its file names."""
    checks = tuple(c.model_copy(update={"limits": None}) if c.unit == "A" else c for c in file.checks)
    return file.model_copy(update={"checks": checks})


# ---------------------------------------------------------------- earth


def _turned(file: CircuitFile) -> CircuitFile:
    """The battery turned round: the pole that fed is earthed."""
    wires = {
        name: wire.model_copy(
            update={"from_": _TURNED.get(wire.from_, wire.from_), "to": _TURNED.get(wire.to, wire.to)}
        )
        for name, wire in file.wires.items()
    }
    return file.model_copy(update={"wires": wires, "checks": tuple(map(_probes, file.checks))})


def _probes(check: Check) -> Check:
    if check.kind != "measure" or check.red is None or check.black is None:
        return check
    red, black = _TURNED.get(check.red, check.red), _TURNED.get(check.black, check.black)
    return check.model_copy(update={"red": black, "black": red} if check.unit == "V" else {"red": red, "black": black})


# ---------------------------------------------------------------- size of the vehicle, unused taps


def stretched(file: CircuitFile, factor: float) -> CircuitFile:
    """The circuit with every wire `factor` times as long."""
    if factor == 1.0:
        return file
    wires = {n: wire.model_copy(update={"length_m": wire.length_m * factor}) for n, wire in file.wires.items()}
    return file.model_copy(update={"wires": wires})


def without_idle_taps(files: Mapping[str, CircuitFile]) -> dict[str, CircuitFile]:
    """The circuits with those terminals of joints left away that no wire ends at and no check touches; a joint
    keeps two at least."""
    used = {end for file in files.values() for wire in file.wires.values() for end in (wire.from_, wire.to)}
    for file in files.values():
        for check in file.checks:
            used |= {check.red or "", check.black or ""}
            used |= {end for position in check.operate.values() for end in position.split("+")}

    def pruned(name: str, part: Any) -> Any:
        if not isinstance(part, schema.JointPart):
            return part
        kept = tuple(t for t in part.terminals if f"{name}.{t}" in used)
        kept = kept if len(kept) >= 2 else part.terminals[:2]
        return part if kept == part.terminals else part.model_copy(update={"terminals": kept})

    return {
        circuit: file.model_copy(update={"parts": {name: pruned(name, part) for name, part in file.parts.items()}})
        for circuit, file in files.items()
    }
