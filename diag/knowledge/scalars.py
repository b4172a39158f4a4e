"""The words of which every knowledge model is made: ids, terminals, texts, quantities in their unit.

Every scalar arrives as text (see `reader`); a quantity carries its unit in the file and becomes a
float in the unit that its field's name ends in. Must not know of parts or rules.
"""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, StringConstraints

from diag.errors import UnfitError
from diag.knowledge.units import quantity
from diag.texts import t

__all__ = [
    "Amps",
    "Bool",
    "CauseRef",
    "Celsius",
    "Id",
    "Metres",
    "Minutes",
    "Model",
    "Number",
    "Ohms",
    "PerMinute",
    "Positive",
    "RuleId",
    "Share",
    "SquareMillimetres",
    "TEST_LAMP",
    "TargetRef",
    "TerminalName",
    "TerminalRef",
    "Text",
    "Volts",
    "Watts",
    "Weight",
    "read_number",
    "read_truth",
]


def _kebab(name: str) -> str:
    return name.rstrip("_").replace("_", "-")


class Model(BaseModel):
    """Common settings: unknown keys refused, values immutable, keys in kebab case."""

    model_config = ConfigDict(extra="forbid", frozen=True, alias_generator=_kebab, populate_by_name=True)


def read_truth(found: Any) -> Any:
    """Only `true` and `false` are booleans; `on`, `off`, `yes`, `no` stay words."""
    if found in ("true", "false"):
        return found == "true"
    if isinstance(found, bool):
        return found
    raise UnfitError(t("true or false"))


def read_number(found: Any) -> Any:
    """Text of a number without a unit, as it is. Raises ValueError for digits of other scripts."""
    if isinstance(found, str) and not found.strip().lstrip("+-").isascii():
        raise UnfitError(t("a number in plain digits"))
    return found


Id = Annotated[str, StringConstraints(pattern=r"^[a-z0-9]+(-[a-z0-9]+)*$", max_length=60)]
TerminalName = Annotated[str, StringConstraints(pattern=r"^[A-Za-z0-9+-]{1,12}$")]
TerminalRef = Annotated[str, StringConstraints(pattern=r"^[a-z0-9-]+\.[A-Za-z0-9+-]{1,12}$")]
"""`part.terminal`, or the word `body` where a field says so."""
TargetRef = Annotated[
    str, StringConstraints(pattern=r"^[a-z0-9]+(-[a-z0-9]+)*(\.[A-Za-z0-9+-]{1,12})?$", max_length=73)
]
"""A part, or one filament of a lamp with two: `part.terminal`."""
TEST_LAMP = "test-lamp"
"""Target of a look at a test lamp between `red` and `black`; of a step to body where no black is named."""
CauseRef = Annotated[str, StringConstraints(pattern=r"^[a-z0-9-]+\.[A-Za-z0-9+-]+$", max_length=140)]
"""`part-or-wire.mode`; a mode may name another wire."""
RuleId = Annotated[str, StringConstraints(pattern=r"^[a-z0-9-]+/[a-z0-9-]+$", max_length=90)]
Text = Annotated[str, StringConstraints(min_length=1, max_length=600, strip_whitespace=True)]
Bool = Annotated[bool, BeforeValidator(read_truth)]
Number = Annotated[float, BeforeValidator(read_number), Field(allow_inf_nan=False, ge=-1e6, le=1e6)]
Share = Annotated[float, BeforeValidator(read_number), Field(allow_inf_nan=False, gt=0, le=1)]
Weight = Annotated[float, BeforeValidator(read_number), Field(allow_inf_nan=False, ge=0.02, le=50)]
"""Likelihood ratio between 1/50 and 50."""
Positive = Annotated[float, BeforeValidator(read_number), Field(allow_inf_nan=False, gt=0, le=1e6)]

Volts = Annotated[float, BeforeValidator(quantity("V"))]
Amps = Annotated[float, BeforeValidator(quantity("A"))]
Ohms = Annotated[float, BeforeValidator(quantity("ohm"))]
Watts = Annotated[float, BeforeValidator(quantity("W"))]
Metres = Annotated[float, BeforeValidator(quantity("m"))]
SquareMillimetres = Annotated[float, BeforeValidator(quantity("mm2"))]
Minutes = Annotated[float, BeforeValidator(quantity("min"))]
PerMinute = Annotated[float, BeforeValidator(quantity("/min"))]
Celsius = Annotated[float, BeforeValidator(quantity("degC"))]
"""Below zero too."""
