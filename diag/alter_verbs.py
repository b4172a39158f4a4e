"""The verb `diag vehicle alter`: lists recipes, prints the work sheet, writes the vehicle's file.

Opens what it needs and hands over; errors are the caller's to turn into messages.
"""

from __future__ import annotations

import datetime
import re
import shutil
from pathlib import Path
from typing import TYPE_CHECKING

import click

from diag.completing import alterations, vehicle_names
from diag.completing import settings as settings_of
from diag.errors import DiagError
from diag.teaching import Verb
from diag.texts import t

if TYPE_CHECKING:
    from diag.knowledge.alterations import Recipe

__all__ = ["alter"]


@click.command(cls=Verb)
@click.argument("file", required=False, shell_complete=vehicle_names)
@click.argument("kind", required=False, shell_complete=alterations)
@click.option(
    "--set",
    "settings",
    metavar="NAME=VALUE",
    multiple=True,
    shell_complete=settings_of,
    help=t("A choice of the recipe; again for more."),
)
@click.option(
    "--out", type=click.Path(path_type=Path), help=t("Write the new vehicle file here, and leave the old one.")
)
@click.option("--sheet", type=click.Path(path_type=Path), help=t("Write the work sheet here too: .md or .txt."))
@click.option("--date", metavar="YYYY-MM-DD", help=t("Day of the work; today where none is given."))
@click.option("--dry-run", is_flag=True, help=t("Show the work sheet and write nothing."))
@click.option("--narrow", is_flag=True, help=t("Forty columns, for a phone or a strip of paper."))
def alter(
    file: str | None,
    kind: str | None,
    settings: tuple[str, ...],
    out: Path | None,
    sheet: Path | None,
    date: str | None,
    dry_run: bool,
    narrow: bool,
) -> None:
    """Plan an alteration: a work sheet, the checks that prove it, and the vehicle's file as it is afterwards.

    Without arguments the kinds are listed; KIND may also be the file of a recipe of your own. The old vehicle
    file is kept beside the new one.

    \b
    diag vehicle alter
    diag vehicle alter demo-van.yaml horn-relay --dry-run
    diag vehicle alter demo-van.yaml flasher-unit --set unit=two --out van-later.yaml --sheet work.md
    diag vehicle alter my-van.yaml headlamp-relay
    """
    if kind is None:
        if file is not None:
            raise DiagError(
                t(
                    "found {file} and no kind of alteration; expected one of those below.\n{kinds}",
                    file=file,
                    kinds=_kinds(),
                )
            )
        click.echo(_kinds(), nl=False)
        return
    assert file is not None
    _carry_out(file, kind, settings, out, sheet, _day(date), dry_run, narrow)


def _day(date: str | None) -> str:
    if date is None:
        return datetime.date.today().isoformat()
    try:
        if not re.fullmatch(r"\d{4}-\d{2}-\d{2}", date, re.ASCII):
            raise ValueError
        return datetime.date.fromisoformat(date).isoformat()
    except ValueError:
        raise DiagError(t("--date: found `{date}`; expected a day such as `2026-11-28`.", date=date)) from None


def _kinds() -> str:
    from diag.knowledge.alterations import alteration_names, load_alteration
    from diag.knowledge.load import rules_folder

    lines = []
    for name in alteration_names():
        recipe = load_alteration(rules_folder() / "alterations" / f"{name}.yaml").model
        lines.append(f"{name}: {recipe.title}")
        for choice, option in recipe.choices.items():
            usual, *others = option.choices
            lines.append(
                t(
                    "    --set {choice}={usual} ({others}): {option}",
                    choice=choice,
                    usual=usual,
                    others=", ".join(others),
                    option=option.title,
                )
            )
        for asked, quantity in recipe.asks.items():
            lines.append(
                t(
                    "    --set {asked}={usual}: {quantity}",
                    asked=asked,
                    usual=quantity.usual.replace(" ", ""),
                    quantity=quantity.title,
                )
            )
    return "\n".join(lines) + "\n"


def _carry_out(
    file: str,
    kind: str,
    settings: tuple[str, ...],
    out: Path | None,
    sheet: Path | None,
    date: str,
    dry_run: bool,
    narrow: bool,
) -> None:
    from diag.alter.keep import old_name, put_in_place, write_new
    from diag.alter.text import NARROW, WIDE, as_markdown, as_text
    from diag.alter.work import alter as carry_through
    from diag.knowledge.layers import LOCAL, found_layers, holder_of
    from diag.talk.opening import vehicle_file

    vehicle = vehicle_file(file)
    recipe = _recipe(kind)
    holder = holder_of(vehicle, found_layers()[0])
    if holder is not None and holder.origin != LOCAL and out is None and not dry_run:
        whose = (
            t("shipped with the program")
            if holder.origin == "shipped"
            else t("of the rule pack `{holder}`", holder=holder.name)
        )
        raise DiagError(
            t("{vehicle}: found a vehicle {whose}; expected --out FILE for the new one.", vehicle=vehicle, whose=whose)
        )
    for target in (out, sheet):
        if target is not None and target.exists():
            raise DiagError(t("{target}: there is such a file already; expected a new name.", target=target))
    if sheet is not None and sheet.suffix.lower() not in (".md", ".txt"):
        raise DiagError(t("--sheet: found `{sheet}`; expected a name that ends in .md or .txt.", sheet=sheet.name))
    earlier = vehicle if out is not None else old_name(vehicle, recipe.model.alteration)
    done = carry_through(vehicle, recipe, settings, date, earlier.name)
    columns = NARROW if narrow else min(WIDE, shutil.get_terminal_size().columns)
    click.echo(as_text(done.sheet, columns), nl=False)
    if dry_run:
        click.echo(t("\nNothing written."))
        return
    if sheet is not None:
        text = as_markdown(done.sheet) if sheet.suffix.lower() == ".md" else as_text(done.sheet, WIDE)
        write_new(sheet, text.encode("utf-8"))
        click.echo(t("\nWork sheet: {sheet}", sheet=sheet))
    if out is not None:
        write_new(out, done.text.encode("utf-8"))
        click.echo(t("\nNew vehicle file: {out}", out=out))
    else:
        put_in_place(vehicle, done.text, earlier)
        click.echo(t("\nVehicle file: {vehicle}\nAs it was before: {earlier}", vehicle=vehicle, earlier=earlier))


def _recipe(kind: str) -> Recipe:
    from diag.knowledge.alterations import alteration_names, load_alteration
    from diag.knowledge.load import rules_folder
    from diag.knowledge.names import nearest, quoted, words

    names = alteration_names()
    if kind in names:
        return load_alteration(rules_folder() / "alterations" / f"{kind}.yaml")
    if kind.endswith((".yaml", ".yml")):
        return load_alteration(Path(kind))
    raise DiagError(
        t(
            "found the kind {kind}; expected {names}, or the file of a recipe. {nearest}",
            kind=quoted(kind),
            names=words(names),
            nearest=nearest(kind, names),
        ).rstrip()
    )
