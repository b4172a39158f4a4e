"""Values of a vehicle's file taken to other system volts. Knows keys and quantities only."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from diag.calc.copper import next_section
from diag.calc.fusing import next_rating
from diag.errors import DiagError
from diag.knowledge.adapt import POWERS
from diag.knowledge.units import UnitError, parse_quantity, plain

__all__ = ["at_volts"]

_UNITS = {"v": "V", "a": "A", "ohm": "ohm", "mm2": "mm2"}


def at_volts(entry: Mapping[str, Any], ratio: float, link: str = "blade") -> dict[str, Any]:
    """An override or a whole part, its values taken to `ratio` times the volts: lamps keep their watts.

    `link`: class of a fuse that does not say its own. What is no quantity is left as it is, for the reader of
    the file to refuse.
    """
    if ratio == 1.0:
        return dict(entry)
    return {key: _converted(key, found, ratio, str(entry.get("link", link))) for key, found in entry.items()}


def _converted(key: str, found: Any, ratio: float, link: str) -> Any:
    power = POWERS.get(key.replace("-", "_"))
    if power is None:
        return found
    if isinstance(found, dict):
        return {position: _quantity(key, ohm, ratio**power, link) for position, ohm in found.items()}
    return _quantity(key, found, ratio**power, link)


def _quantity(key: str, found: Any, factor: float, link: str) -> Any:
    unit = "ohm" if key == "positions" else _UNITS[key.rsplit("-", 1)[-1]]
    try:
        value = parse_quantity(str(found), unit) * factor
        if key == "rating-a":
            value = next_rating(value, link)
        elif key == "section-mm2":
            value = next_section(value)
    except (UnitError, DiagError, KeyError):
        return found
    return plain(value, unit)
