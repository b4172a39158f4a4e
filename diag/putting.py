"""Puts what a verb made into a file that the person named: never over another one unasked, whole or not at all."""

from __future__ import annotations

from pathlib import Path

import click

from diag.errors import DiagError
from diag.texts import t

__all__ = ["put", "refuse_over"]


def refuse_over(out: Path | None, over: bool, source: Path | None = None) -> None:
    """Before long work is done for it: raises DiagError where `out` is a file and `over` is not given, where it is
    the `source` itself, or where its folder is missing."""
    if out is None:
        return
    if source is not None and out.exists() and out.samefile(source):
        raise DiagError(t("{out}: this is the job itself; expected another name. It was left as it is.", out=out))
    if out.is_dir():
        raise DiagError(t("{out}: found a folder; expected the name of a file in it.", out=out))
    if out.is_file() and not over:
        raise _there(out)
    if not out.parent.is_dir():
        raise DiagError(
            t(
                "{out}: there is no folder `{parent}`; expected one that exists. Make it first.",
                out=out,
                parent=out.parent,
            )
        )


def put(out: Path, content: bytes, over: bool) -> None:
    """Writes the file and says so. Raises DiagError where it is there already or cannot be written."""
    from diag.knowledge.writer import put_new, replaced

    if out.exists() and not out.is_file():  # a device or a pipe takes what it is given
        out.write_bytes(content)
        click.echo(t("Written: {out}", out=out))
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
        raise DiagError(
            t("{out}: {strerror}; expected a place that can be written to.", out=out, strerror=error.strerror or error)
        ) from None
    click.echo(f"{(t('Replaced') if was else t('Written'))}: {out}")


def _there(out: Path) -> DiagError:
    return DiagError(
        t("{out}: there is such a file already; expected a new name. Give another, or --replace.", out=out)
    )
