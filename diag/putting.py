"""Puts what a verb made into a file that the person named: never over another one unasked, whole or not at all."""

from __future__ import annotations

from pathlib import Path

import click

from diag.errors import DiagError

__all__ = ["put", "refuse_over"]


def refuse_over(out: Path | None, over: bool, source: Path | None = None) -> None:
    """Before long work is done for it: raises DiagError where `out` is a file and `over` is not given, where it is
    the `source` itself, or where its folder is missing."""
    if out is None:
        return
    if source is not None and out.exists() and out.samefile(source):
        raise DiagError(f"{out}: this is the job itself; expected another name. It was left as it is.")
    if out.is_dir():
        raise DiagError(f"{out}: found a folder; expected the name of a file in it.")
    if out.is_file() and not over:
        raise _there(out)
    if not out.parent.is_dir():
        raise DiagError(f"{out}: there is no folder `{out.parent}`; expected one that exists. Make it first.")


def put(out: Path, content: bytes, over: bool) -> None:
    """Writes the file and says so. Raises DiagError where it is there already or cannot be written."""
    from diag.knowledge.writer import put_new, replaced

    if out.exists() and not out.is_file():  # a device or a pipe takes what it is given
        out.write_bytes(content)
        click.echo(f"Written: {out}")
        return
    was = over and out.exists()
    try:
        if was:
            replaced(out, content)
        else:
            put_new(out, content, 0o644)
    except FileExistsError:
        raise _there(out) from None
    except OSError as error:
        raise DiagError(f"{out}: {error.strerror or error}; expected a place that can be written to.") from None
    click.echo(f"{'Replaced' if was else 'Written'}: {out}")


def _there(out: Path) -> DiagError:
    return DiagError(f"{out}: there is such a file already; expected a new name. Give another, or --replace.")
