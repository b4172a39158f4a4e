"""Verbs of the bench: `diag calc drop`, `section`, `fuse`, `lamp`, `flasher`, `battery`, `standing`.

Each reads quantities with their units and hands over; errors are click's or the caller's to tell.
"""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import click

from diag.errors import DiagError
from diag.teaching import Group
from diag.texts import t

if TYPE_CHECKING:
    from diag.calc.answer import Answer

    _Typed = click.ParamType[Any]
else:
    _Typed = click.ParamType

__all__ = ["calc"]

_WIDEST = 80
_SYSTEMS = (6, 12, 24)
Decorator = Callable[[Callable[..., Any]], Callable[..., Any]]


class _Quantity(_Typed):
    """A quantity in `unit`; a bare number too where no other unit could be meant."""

    def __init__(self, unit: str, *, bare: bool = True, zero: bool = False) -> None:
        self._unit, self._bare, self._zero = unit, bare, zero
        self.name = unit

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        from diag.knowledge.units import CANONICAL, UnitError, parse_quantity

        if isinstance(value, int | float):
            return float(value)
        try:
            number = parse_quantity(str(value), self._unit, bare=self._bare)
        except UnitError as error:
            self.fail(t("found `{value}`; {error}.", value=value, error=error), param, ctx)
        if self._unit != "degC" and (number < 0 or (number == 0 and not self._zero)):
            what, example = CANONICAL[self._unit]
            self.fail(
                t(
                    "found `{value}`; expected {what} above zero, such as `{example}`.",
                    value=value,
                    what=what,
                    example=example,
                ),
                param,
                ctx,
            )
        return number


class _System(_Typed):
    """6, 12 or 24 V."""

    name = "V"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> int:
        volts = _Quantity("V").convert(value, param, ctx)
        if volts not in _SYSTEMS:
            self.fail(t("found `{value}`; expected 6 V, 12 V or 24 V.", value=value), param, ctx)
        return int(volts)


class _Percent(_Typed):
    """A share in per cent, as 0 to 1."""

    name = "%"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        if isinstance(value, float):
            return value
        match = re.fullmatch(r"\s*(\d{1,3}(?:[.,]\d{1,6})?)\s*%?\s*", str(value), re.ASCII)
        share = float(match[1].replace(",", ".")) / 100 if match else -1.0
        if not 0 <= share <= 1:
            self.fail(t("found `{value}`; expected per cent from 0 to 100, such as `75 %`.", value=value), param, ctx)
        return share


class _Drop(_Typed):
    """Volts, or per cent of the system's (then below zero: minus the share)."""

    name = t("V or %")

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        if "%" not in str(value):
            return _Quantity("V").convert(value, param, ctx)
        share = _Percent().convert(value, param, ctx)
        if share == 0:
            self.fail(t("found `{value}`; expected more than nothing, such as `3 %`.", value=value), param, ctx)
        return -share


class _Lamps(_Typed):
    """Lamps as `2x21W` or `21 W`."""

    name = "NxW"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> list[float]:
        if isinstance(value, list):
            return value
        match = re.fullmatch(r"\s*(?:(\d{1,2})\s*[x×*])?\s*(.{1,20})", str(value), re.ASCII | re.DOTALL)
        if match is None or (match[1] is not None and int(match[1]) == 0):
            self.fail(t("found `{value}`; expected lamps such as `2x21W`.", value=value), param, ctx)
        return [_Quantity("W").convert(match[2], param, ctx)] * int(match[1] or 1)


_system: Decorator = click.option(
    "--system", type=_System(), default="12 V", show_default=True, help=t("Nominal volts: 6, 12 or 24 V.")
)
_section: Decorator = click.option(
    "--section", type=_Quantity("mm2", bare=False), required=True, help=t("Section of the wire, with its unit.")
)
_length: Decorator = click.option(
    "--length", type=_Quantity("m"), required=True, help=t("All the wire that the current goes through.")
)
_current: Decorator = click.option(
    "--current", type=_Quantity("A"), required=True, help=t("Current, e.g. 8 A or 350 mA.")
)
_copper_at: Decorator = click.option(
    "--temperature", type=_Quantity("degC"), default="20 degC", show_default=True, help=t("Of the copper.")
)
_battery_at: Decorator = click.option(
    "--temperature", type=_Quantity("degC"), default="20 degC", show_default=True, help=t("Of the battery's acid.")
)


@click.group(cls=Group)
def calc() -> None:
    """Bench formulas: drop, section, fuse, lamp, flasher unit, battery, standing.

    Quantities carry their unit: 0.75mm2, 18AWG, 350mA, 12.4V; in quotes where there is a space.

    \b
    diag calc drop --section 1.5mm2 --length 4.5m --current 3.7A
    diag calc drop --help
    """


def _tell(answer: Answer) -> None:
    from diag.calc.answer import as_text

    click.echo(as_text(answer, min(_WIDEST, shutil.get_terminal_size().columns)), nl=False)


@calc.command()
@_section
@_length
@_current
@_system
@_copper_at
def drop(section: float, length: float, current: float, system: int, temperature: float) -> None:
    """Volts lost in a wire, and their share of the system's.

    \b
    diag calc drop --section 1.5mm2 --length 4.5m --current 3.7A
    diag calc drop --section 18AWG --length 3m --current 350mA --temperature 60degC
    """
    from diag.calc.wires_worked import drop_answer

    _tell(drop_answer(section, length, current, system, temperature))


@calc.command()
@click.option(
    "--drop", "limit", type=_Drop(), required=True, help=t("Most that may be lost: 0.3 V, or 3 % of --system.")
)
@_length
@_current
@_system
@_copper_at
def section(limit: float, length: float, current: float, system: int, temperature: float) -> None:
    """The next section that exists for a limit of drop, and whether it carries the current.

    \b
    diag calc section --drop 0.3V --length 3m --current 10.3A
    diag calc section --drop 3% --length 4m --current 8A --system 6V
    """
    from diag.calc.wires_worked import section_answer

    volts = limit if limit > 0 else -limit * system
    _tell(section_answer(volts, length, current, system, temperature))


@calc.command()
@click.option("--section", type=_Quantity("mm2", bare=False), help=t("Section of the thinnest wire behind the fuse."))
@click.option("--load", type=_Quantity("A"), help=t("Current that flows for good."))
@click.option(
    "--link",
    type=click.Choice(["blade", "torpedo", "glass"]),
    default="blade",
    show_default=True,
    help=t("Class of the fuse."),
)
def fuse(section: float | None, load: float | None, link: str) -> None:
    """The largest fuse for a wire, and the smallest that carries a load.

    \b
    diag calc fuse --section 1.5mm2 --load 8A
    diag calc fuse --section 1mm2 --link torpedo
    """
    from diag.calc.wires_worked import fuse_answer

    if section is None and load is None:
        raise DiagError(
            t("found neither --section nor --load; expected one or both, e.g. `--section 1.5mm2 --load 8A`.")
        )
    _tell(fuse_answer(section, load, link))


@calc.command()
@click.option("--watts", type=_Quantity("W"), required=True, help=t("Watts on the lamp's cap."))
@click.option("--volts", type=_Quantity("V"), required=True, help=t("Volts across the lamp."))
@_system
@click.option("--test-volts", type=_Quantity("V"), help=t("Volts of its watts; 6.75, 13.5 or 28 V where left out."))
@click.option("--test-watts", type=_Quantity("W"), help=t("Watts at those volts, where they are known to differ."))
def lamp(watts: float, volts: float, system: int, test_volts: float | None, test_watts: float | None) -> None:
    """Current, power, light and life of a filament at some volts.

    \b
    diag calc lamp --watts 21W --volts 12V
    diag calc lamp --watts 60W --test-watts 68W --test-volts 13.2V --volts 11.9V
    """
    from diag.calc import filament
    from diag.calc.lamps_worked import lamp_answer

    given_w = test_watts or (watts if test_volts else filament.test_watts(watts, system))
    _tell(lamp_answer(volts, given_w, test_volts or filament.TEST_V[system], watts))


@calc.command()
@click.option(
    "--lamps", type=_Lamps(), multiple=True, required=True, help=t("Lamps lit together: 2x21W; again for more.")
)
@click.option("--rated", type=_Lamps(), multiple=True, required=True, help=t("Lamps the unit is made for: 2x21W, 42W."))
@click.option("--volts", type=_Quantity("V"), help=t("Volts at terminal 49; 12.6 V (6.3, 25.2) where left out."))
@_system
@click.option("--technique", type=click.Choice(["thermal", "electronic"]), help=t("One only; both where left out."))
def flasher(
    lamps: tuple[list[float], ...],
    rated: tuple[list[float], ...],
    volts: float | None,
    system: int,
    technique: str | None,
) -> None:
    """What a flasher unit does with these lamps, and with one of them out.

    \b
    diag calc flasher --rated 2x21W --lamps 2x21W
    diag calc flasher --rated 2x21W --lamps 2x21W --lamps 5W --volts 11V --technique thermal
    """
    from diag.calc.lamps_worked import flasher_answer

    caps = [watts for group in lamps for watts in group]
    made_for = sum(watts for group in rated for watts in group)
    techniques = ("thermal", "electronic") if technique is None else (technique,)
    _tell(flasher_answer(caps, made_for, volts or 1.05 * system, system, techniques))


@calc.command()
@click.option("--volts", type=_Quantity("V"), help=t("Volts at rest, everything off for hours."))
@click.option("--gravity", type=click.FloatRange(1.0, 1.4), help=t("Hydrometer reading, e.g. 1.240."))
@_system
@_battery_at
def battery(volts: float | None, gravity: float | None, system: int, temperature: float) -> None:
    """State of charge of a lead-acid battery from its volts at rest or its acid.

    \b
    diag calc battery --volts 12.4V
    diag calc battery --volts 6.2V --system 6V --temperature 5degC
    diag calc battery --gravity 1.24 --temperature 5degC
    """
    from diag.calc.batteries_worked import charge_answer

    if (volts is None) == (gravity is None):
        found = "neither" if volts is None else "both"
        raise DiagError(
            t("found {found} of --volts and --gravity; expected one of them, e.g. `--volts 12.4V`.", found=found)
        )
    _tell(charge_answer(volts, gravity, system, temperature))


@calc.command()
@click.option(
    "--current", type=_Quantity("A", zero=True), required=True, help=t("Current with the key off, e.g. 35 mA.")
)
@click.option("--capacity", type=_Quantity("Ah"), required=True, help=t("Capacity on the battery's label, e.g. 50 Ah."))
@click.option("--charge", type=_Percent(), help=t("State of charge now in per cent; full where nothing is given."))
@click.option("--volts", type=_Quantity("V"), help=t("Or its volts at rest."))
@click.option(
    "--starts-from", type=_Percent(), default="50 %", show_default=True, help=t("Charge below which it will not start.")
)
@_system
@_battery_at
def standing(
    current: float,
    capacity: float,
    charge: float | None,
    volts: float | None,
    starts_from: float,
    system: int,
    temperature: float,
) -> None:
    """Days a vehicle stands with a key-off current until it will not start.

    \b
    diag calc standing --current 35mA --capacity 50Ah
    diag calc standing --current 0.2A --capacity 44Ah --volts 12.4V
    """
    from diag.calc.batteries_worked import standing_answer
    from diag.calc.battery import charge_from_volts
    from diag.knowledge.units import written

    if charge is not None and volts is not None:
        raise DiagError(
            t("found both --charge and --volts; expected one of them, as each says how full the battery is.")
        )
    read = None
    if volts is not None:
        charge, read = (
            charge_from_volts(volts, system, temperature).share,
            t("by {volts} at rest", volts=written(volts, "V")),
        )
    _tell(standing_answer(current, capacity, 1.0 if charge is None else charge, starts_from, read))
