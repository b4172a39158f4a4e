"""Quantities with units: text such as `1.5 mm2`, `16 AWG`, `350 mA` to a float in a wanted unit.

The usual spellings are read directly; anything else goes through pint, which is imported only
then because its start-up is longer than the rest of the program's. Knows nothing of circuits.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from diag.errors import UnfitError
from diag.texts import t

__all__ = ["CANONICAL", "Quantity", "UnitError", "parse_quantity", "plain", "quantity", "written"]

CANONICAL: dict[str, tuple[str, str]] = {
    "V": (t("a voltage"), "12.6 V"),
    "A": (t("a current"), "8 A"),
    "ohm": (t("a resistance"), "0.4 ohm"),
    "W": (t("a power"), "21 W"),
    "m": (t("a length"), "0.8 m"),
    "mm2": (t("a section"), "1.5 mm2"),
    "min": (t("a time in minutes"), "2 min"),
    "/min": (t("a rate"), "85 /min"),
    "degC": (t("a temperature"), "20 degC"),
    "Ah": (t("a capacity"), "50 Ah"),
}
"""Wanted unit: what it measures, and an example."""

_SPELLINGS = {
    "V": {"v", "volt", "volts"},
    "A": {"a", "amp", "amps", "ampere"},
    "ohm": {"ohm", "ohms", "ω", "Ω"},
    "W": {"w", "watt", "watts"},
    "m": {"m", "metre", "metres"},
    "mm2": {"mm2", "mm²", "mm^2"},
    "min": {"min", "minute", "minutes"},
    "/min": {"/min", "per min", "1/min"},
    "degC": {"degc", "°c", "celsius"},
    "Ah": {"ah"},
}
_NUMBER = re.compile(
    r"\s*([+-]?(?:\d{1,9}(?:[.,]\d{0,12})?|[.,]\d{1,12})(?:[eE][+-]?\d{1,2})?)\s*(.{0,24}?)\s*", re.ASCII | re.DOTALL
)
LIMIT = 1e6
"""No quantity on a vehicle is larger than this in its unit."""
COLDEST_C, HOTTEST_C = -60.0, 200.0
"""No vehicle is colder, no wire that still has its insulation hotter (common practice, no source)."""


class UnitError(UnfitError):
    """Text that is not a quantity of the wanted unit."""


_LONGEST = 80
"""Signs of a quantity as it is written."""


@lru_cache(maxsize=1)
def _registry() -> Any:
    import pint

    registry: Any = pint.UnitRegistry(None, autoconvert_offset_to_baseunit=False)
    for line in (
        "milli- = 1e-3 = m-",
        "micro- = 1e-6 = µ- = u-",
        "kilo- = 1e3 = k-",
        "mega- = 1e6 = M-",
        "centi- = 1e-2 = c-",
        "volt = [potential] = V = volts",
        "ampere = [current] = A = amp = amps",
        "ohm = volt / ampere = Ω = ohms = Ohm",
        "watt = volt * ampere = W = watts",
        "metre = [length] = m = metres = meter = meters",
        "inch = 0.0254 * metre = in",
        "foot = 0.3048 * metre = ft",
        "second = [time] = s = seconds = sec",
        "minute = 60 * second = min = minutes",
        "hour = 60 * minute = h",
        "hertz = 1 / second = Hz",
        "ampere_hour = ampere * hour = Ah",
    ):
        registry.define(line)
    return registry


def _awg_mm2(number: float) -> float:
    """Section of an AWG size in mm² (definition: d = 0.127 mm · 92^((36-n)/39); from memory, ASTM B258)."""
    diameter_mm: float = 0.127 * 92.0 ** ((36.0 - number) / 39.0)
    return math.pi / 4 * diameter_mm**2


def parse_quantity(text: str, unit: str, *, bare: bool = False) -> float:
    """Float in `unit` (one of CANONICAL) from text; a decimal comma is read as a point.

    `bare` allows a number without a unit. Raises UnitError.
    """
    what, example = CANONICAL[unit]
    text = text.strip()
    match = _NUMBER.fullmatch(text) if len(text) <= _LONGEST else None  # blanks without end would be tried in pairs
    if match is None:
        raise UnitError(t("{what} such as `{example}`", what=what, example=example))
    number = float(match[1].replace(",", "."))
    suffix = match[2]
    if not suffix and not bare:
        raise UnitError(t("{what} with its unit, such as `{example}`", what=what, example=example), "missing-unit")
    if suffix and suffix.lower() not in _SPELLINGS[unit] and suffix not in _SPELLINGS[unit]:
        number = _convert(number, suffix, unit, what, example)
    believable = COLDEST_C <= number <= HOTTEST_C if unit == "degC" else abs(number) <= LIMIT
    if not math.isfinite(number) or not believable:
        raise UnitError(t("{what} of a believable size, such as `{example}`", what=what, example=example))
    return number


def _convert(number: float, suffix: str, unit: str, what: str, example: str) -> float:
    wrong = UnitError(
        t("{what} such as `{example}`", what=what, example=example),
        "wrong-unit",
        t("`{suffix}` is not a unit of {what}", suffix=suffix, what=what.removeprefix("a ")),
    )
    if unit == "mm2" and suffix.upper() == "AWG":
        return _awg_mm2(number)
    if unit == "degC":  # an offset, not a factor
        if suffix.lower() in ("degf", "°f", "fahrenheit"):
            return (number - 32.0) / 1.8
        raise wrong
    if not re.fullmatch(r"(1?/)?\s?[A-Za-zµΩ]{1,12}(²|\^?2)?", suffix):  # one power at most: pint would compute any
        raise wrong
    wanted = {"mm2": "millimetre ** 2", "/min": "1 / minute"}.get(unit, unit)
    try:
        return float(_registry().Quantity(number, suffix.replace("²", "**2").replace("^", "**")).to(wanted).magnitude)
    except Exception as error:  # pint raises many kinds; all mean the same here
        raise wrong from error


_SIGNS = {"mm2": "mm²", "degC": "°C"}
_IN_MILLI = ("V", "A", "ohm")


def written(number: float, unit: str) -> str:
    """A number in `unit` as a person writes it: three significant figures, thousandths below a tenth of a unit."""
    if unit in _IN_MILLI and 0 < abs(number) < 0.0995:
        number, unit = number * 1000, f"m{unit}"
    digits = 0 if number == 0 else max(0, 2 - math.floor(math.log10(abs(number))))
    text = f"{number:.{digits}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return f"{text} {_SIGNS.get(unit, unit)}".rstrip()


def plain(number: float, unit: str) -> str:
    """A number in `unit` as a file holds it: six significant figures, no prefix."""
    return f"{number:.6g} {unit}"


@dataclass(frozen=True)
class Quantity:
    """Turns text with a unit into a float in `unit`; only a temperature may be 0 or below."""

    unit: str

    def __call__(self, found: Any) -> float:
        unit = self.unit
        if isinstance(found, bool) or not isinstance(found, str):
            if isinstance(found, int | float) and not isinstance(found, bool):
                return float(found)  # defaults and values already converted
            raise UnitError(
                t(
                    "{canonical} such as `{canonical_2}`",
                    canonical=CANONICAL[unit][0],
                    canonical_2=CANONICAL[unit][1],
                )
            )
        number = parse_quantity(found, unit)
        if number <= 0 and unit != "degC":
            raise UnitError(
                t(
                    "{canonical} above zero, such as `{canonical_2}`",
                    canonical=CANONICAL[unit][0],
                    canonical_2=CANONICAL[unit][1],
                )
            )
        return number


def quantity(unit: str) -> Quantity:
    """A pydantic validator for quantities in `unit`."""
    return Quantity(unit)
