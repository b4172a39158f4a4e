"""The verb `diag rules packs`: the layers that knowledge is made of, and the list of packs.

Opens what it needs and hands over; errors are the caller's to turn into messages.
"""

from __future__ import annotations

import json
import textwrap
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from diag.knowledge.packing import Held

__all__ = ["packs"]

_WIDEST = 80
_FROM = {
    "shipped": "with the program",
    "wheel": "wheel",
    "folder": "folder",
    "local": "your own folder",
    "learned": "from closed jobs",
}


@click.command()
@click.option("--add", "added", metavar="FOLDER", help="Put a pack on the list, once it loads with all others.")
@click.option("--remove", "removed", metavar="NAME", help="Take a pack off the list; its files stay.")
@click.option("--format", "form", type=click.Choice(["text", "json"]), default="text", show_default=True)
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
    from diag.knowledge.packing import add_pack, held, remove_pack

    if added is not None and removed is not None:
        raise DiagError("--add and --remove: found both; expected one of them. Do one after the other.")
    if added is not None:
        layer = add_pack(Path(added))
        click.echo(f"Added: {layer.called} ({layer.folder})")
        click.echo("What it changes in recorded jobs: diag replay")
        return
    if removed is not None:
        click.echo(f"Taken off the list: {remove_pack(removed)}")
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
            click.echo("DIAG_PACKS=none: rule packs and rules of your own are left out.")
    if problems or mistakes:
        raise KnowledgeError(problems + mistakes, WAY_OUT)


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
    yield from told(f"hash {layer.digest}")
    if layer.after:
        yield from told(f"laid over {', '.join(sorted(layer.after))}")
    if layer.origin == "learned":
        yield from told("see `diag rules learn --show`")
        return
    yield from told(f"rules {one.rules}, circuits {len(one.circuits)}, vehicles {len(one.vehicles)}")
    if layer.origin != "shipped":
        if one.adds_to:
            yield from told(f"adds to {', '.join(one.adds_to)}")
        if one.circuits:
            yield from told(f"new: {', '.join(one.circuits)}")
        if one.vehicles:
            yield from told(f"vehicles: {', '.join(one.vehicles)}")
        yield from told(f"replaces {len(one.replaced) or 'nothing'}")
        for each in one.replaced:
            yield from told(f"{each.section} {each.id} of {each.of}", "     ")


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
