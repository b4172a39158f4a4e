"""The verb `diag rules packs`: the layers that knowledge is made of, and the list of packs.

Opens what it needs and hands over; errors are the caller's to turn into messages.
"""

from __future__ import annotations

import json
import textwrap
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from diag.completing import pack_names
from diag.teaching import Verb
from diag.texts import t, tn

if TYPE_CHECKING:
    from diag.knowledge.additions import Replaced
    from diag.knowledge.packing import Held

__all__ = ["packs"]

_WIDEST = 80
_FROM = {
    "shipped": t("with the program"),
    "wheel": "wheel",
    "folder": "folder",
    "local": t("your own folder"),
    "learned": t("from closed jobs"),
}


@click.command(cls=Verb)
@click.option(
    "--add",
    "added",
    metavar="FOLDER",
    type=click.Path(),
    help=t("Put a pack on the list, once it loads with all others."),
)
@click.option(
    "--remove",
    "removed",
    metavar="NAME",
    shell_complete=pack_names,
    help=t("Take a pack off the list; its files stay."),
)
@click.option(
    "--format", "form", type=click.Choice(["text", "json"]), default="text", show_default=True, help=t("Form.")
)
def packs(added: str | None, removed: str | None, form: str) -> None:
    """The layers of rules, lowest first: name, version, hash, what each holds and replaces.

    A higher layer adds to those below, or replaces single entries by id. Exit code 2 where a layer
    cannot be used; `diag start --without-packs` goes on without them.

    \b
    diag rules packs
    diag rules packs --add fleet-rules
    diag rules packs --remove fleet-rules
    """
    from diag.errors import DiagError, KnowledgeError
    from diag.knowledge.folders import packs_left_out
    from diag.knowledge.layers import WAY_OUT, base_layer, found_layers
    from diag.knowledge.packing import add_pack, held, hidden_of, remove_pack

    if added is not None and removed is not None:
        raise DiagError(t("--add and --remove: found both; expected one of them. Do one after the other."))
    if added is not None:
        layer = add_pack(Path(added))
        click.echo(t("Added: {called} ({folder})", called=layer.called, folder=layer.folder))
        _tell_hidden(hidden_of(layer))
        click.echo(t("What it changes in recorded jobs: diag replay"))
        return
    if removed is not None:
        click.echo(t("Taken off the list: {remove_pack}", remove_pack=remove_pack(removed)))
        return
    left_out = packs_left_out()
    layers, problems = ((base_layer(),), []) if left_out else found_layers()
    told, mistakes = held(layers)
    if form == "json":
        click.echo(json.dumps([_plain(one) for one in told], indent=2))
    else:
        for number, one in enumerate(told, start=1):
            click.echo("\n".join(_lines(number, one)))
        if left_out:
            click.echo(t("DIAG_PACKS=none: rule packs and rules of your own are left out."))
    if problems or mistakes:
        raise KnowledgeError(problems + mistakes, WAY_OUT)


def _tell_hidden(found: Sequence[Replaced]) -> None:
    """What of a pack does not count, and because of which file: else somebody waits for it in vain."""
    if not found:
        return
    click.echo(
        tn(
            "{n} of it does not count, for a higher layer goes before:",
            "{n} of it do not count, for a higher layer goes before:",
            len(found),
        )
    )
    for each in found:
        click.echo(
            t(
                "  {section} {each}: {by} has its own ({place})",
                section=each.section,
                each=each.id,
                by=each.by,
                place=each.place,
            )
        )


def _lines(number: int, one: Held) -> Iterator[str]:
    import shutil

    room = min(shutil.get_terminal_size().columns, _WIDEST)
    layer = one.layer

    def told(text: str, indent: str = "   ") -> Iterator[str]:
        yield from textwrap.wrap(
            text, room, initial_indent=indent, subsequent_indent=f"{indent}  ", break_on_hyphens=False
        )

    yield from told(f"{number}. {layer.called}: {layer.title}", "")
    yield from told(f"{_FROM[layer.origin]}: {layer.folder}")
    yield from told(t("hash {digest}", digest=layer.digest))
    if layer.after:
        yield from told(t("laid over {after}", after=", ".join(sorted(layer.after))))
    if layer.origin == "learned":
        yield from told(t("see `diag rules learn --show`"))
        return
    yield from told(
        t(
            "rules {rules}, circuits {count}, vehicles {count_2}",
            rules=one.rules,
            count=len(one.circuits),
            count_2=len(one.vehicles),
        )
    )
    if layer.origin != "shipped":
        if one.adds_to:
            yield from told(t("adds to {adds_to}", adds_to=", ".join(one.adds_to)))
        if one.circuits:
            yield from told(t("new: {circuits}", circuits=", ".join(one.circuits)))
        if one.vehicles:
            yield from told(t("vehicles: {vehicles}", vehicles=", ".join(one.vehicles)))
        yield from told(t("replaces {count}", count=len(one.replaced) or t("nothing")))
        for each in one.replaced:
            yield from told(t("{section} {each} of {of}", section=each.section, each=each.id, of=each.of), "     ")


def _plain(one: Held) -> dict[str, Any]:
    layer = one.layer
    return {
        "name": layer.name,
        "title": layer.title,
        "version": layer.version,
        "origin": layer.origin,
        "folder": str(layer.folder),
        "hash": layer.digest,
        "after": sorted(layer.after),
        "rules": one.rules,
        "circuits": list(one.circuits),
        "adds-to": list(one.adds_to),
        "vehicles": list(one.vehicles),
        "replaced": [
            {"id": each.id, "section": each.section, "of": each.of, "place": str(each.place), "was": str(each.was)}
            for each in one.replaced
        ],
    }
