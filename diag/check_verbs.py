"""Verbs that look knowledge over: `diag rules check` and `diag rules schema`.

Each opens what it needs and hands over; errors are the caller's to turn into messages.
"""

from __future__ import annotations

import json
import shutil
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import click

from diag.completing import mistake_codes
from diag.errors import DiagError, harmless
from diag.teaching import Verb
from diag.texts import t

__all__ = ["check", "schema"]

_WIDEST = 100
_SORTS = ("circuit", "shared", "kinds", "vehicle", "pack", "expect", "supply", "vocabulary")


def _list_codes(ctx: click.Context, _: click.Parameter, wanted: bool) -> None:
    if not wanted:
        return
    from diag.review.codes import CODES

    for code, meaning in CODES.items():
        click.echo(f"{code}\n  {meaning}")
    ctx.exit(0)


@click.command(
    cls=Verb,
    epilog=t(
        "Exit code: 0 where nothing is wrong, or warnings only; 1 where errors were found (with "
        "--strict: warnings too); 2 where the path cannot be read at all, or an option is wrong."
    ),
)
@click.argument("path", required=False, type=click.Path(path_type=Path))
@click.option(
    "--format",
    "form",
    type=click.Choice(["text", "json"]),
    default="text",
    show_default=True,
    help=t("json: a list of objects with file, line, column, code, severity, text, found, expected, mend."),
)
@click.option("--strict", is_flag=True, help=t("Warnings count as errors in the exit code."))
@click.option("--quick", is_flag=True, help=t("Leave out what takes long: asking the network which way rules point."))
@click.option(
    "--only",
    metavar="CODES",
    shell_complete=mistake_codes,
    help=t("Tell only of these sorts of mistakes, parted by commas; or `error`."),
)
@click.option(
    "--codes",
    is_flag=True,
    is_eager=True,
    expose_value=False,
    callback=_list_codes,
    help=t("List the short words for sorts of mistakes, and what each means."),
)
@click.pass_context
def check(ctx: click.Context, path: Path | None, form: str, strict: bool, quick: bool, only: str | None) -> None:
    """Look over rules before they are used: every mistake and slip, where it stands, how to mend it.

    PATH is the folder of a rule pack, a whole rules folder, or one file; without it all rule packs of this machine and
    the folder of your own rules. A pack is looked over together with the shipped rules below it.

    \b
    diag rules check
    diag rules check my-pack
    diag rules check my-pack/circuits/horn.yaml
    diag rules check my-pack --format json --strict
    """
    from diag.review.report import as_plain, as_text
    from diag.review.run import review
    from diag.talk.opening import cache_folder

    wanted = _codes(only)
    with _progress(hidden=quick) as tell:
        found = review(path, compute=not quick, cache=cache_folder(), progress=tell)
    if wanted:
        kept = tuple(one for one in found.problems if one.code in wanted or one.severity in wanted)
        found = replace(found, problems=kept, only=wanted)
    if form == "json":
        click.echo(json.dumps(as_plain(found), indent=1))
    else:
        for line in as_text(found, min(_WIDEST, shutil.get_terminal_size().columns)):
            click.echo(harmless(line))
    ctx.exit(1 if found.errors or (strict and found.problems) else 0)


def _codes(only: str | None) -> frozenset[str]:
    from diag.knowledge.names import nearest
    from diag.review.codes import CODES

    names = frozenset(name.strip() for name in (only or "").split(",") if name.strip())
    for name in sorted(names - CODES.keys() - {"error", "warning"}):
        raise DiagError(
            t(
                "--only: found `{name}`; expected a code that `diag rules check --codes` lists. {nearest}",
                name=name,
                nearest=nearest(name, CODES),
            )
        )
    return names


@contextmanager
def _progress(hidden: bool) -> Iterator[Callable[[float], None]]:
    """A bar on standard error, where somebody looks at it."""
    if hidden or not sys.stderr.isatty():
        yield lambda share: None
        return
    width = max(8, min(50, shutil.get_terminal_size().columns - 12))
    with click.progressbar(length=100, width=width, show_eta=False, file=sys.stderr) as bar:
        yield lambda share: bar.update(round(100 * share) - bar.pos)


@click.command(cls=Verb)
@click.option("--for", "sort", type=click.Choice(_SORTS), default="circuit", show_default=True, help=t("Sort of file."))
@click.option("--out", type=click.Path(path_type=Path), help=t("Write to this file instead of the screen."))
@click.option("--replace", "over", is_flag=True, help=t("Write over a file that is there."))
def schema(sort: str, out: Path | None, over: bool) -> None:
    """The shape of a file as JSON Schema, so that an editor completes keys and marks slips while you write.

    In editors that use the YAML language server the first line of the YAML file names it, as
    `# yaml-language-server: $schema=circuit.schema.json`.

    \b
    diag rules schema --for circuit --out circuit.schema.json
    """
    from diag.review.json_schema import json_schema

    text = json.dumps(json_schema(sort), indent=1) + "\n"
    if out is None:
        click.echo(text, nl=False)
        return
    _put(out, text, over)
    click.echo(t("Written: {out}", out=out))


def _put(out: Path, text: str, over: bool) -> None:
    from diag.knowledge.writer import put_new, replaced

    write: Any = replaced if over else put_new
    try:
        write(out, text.encode("utf-8"), 0o644)
    except FileExistsError:
        raise DiagError(
            t("{out}: found a file; expected none. Choose another name, or give --replace.", out=out)
        ) from None
    except OSError as error:
        raise DiagError(
            t("{out}: {strerror}; expected a place that can be written to.", out=out, strerror=error.strerror or error)
        ) from None
