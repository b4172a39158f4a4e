"""All kinds of part together, by the model that a file's `kind` selects."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from diag.circuit.kinds import charging, contacts, feeding, lamps, loads, motors
from diag.circuit.kinds.base import Kind
from diag.knowledge import schema

__all__ = ["KINDS", "kind_of"]

KINDS: Mapping[type[Any], Kind[Any]] = {
    **feeding.KINDS,
    **contacts.KINDS,
    **lamps.KINDS,
    **charging.KINDS,
    **motors.KINDS,
    **loads.KINDS,
}


def kind_of(part: schema.AnyPart) -> Kind[Any]:
    """What a part is electrically and how it fails."""
    return KINDS[type(part)]
