"""Exports a job on paper: opens it and hands it to the form wanted. Knows which forms there are, nothing of any."""

from __future__ import annotations

from datetime import tzinfo
from pathlib import Path
from typing import Literal

from diag.errors import DiagError
from diag.log.export import open_job
from diag.paper.browser import find_browser, print_pdf
from diag.paper.layout import Paper
from diag.paper.owner import as_owner
from diag.paper.page import as_html
from diag.paper.parts import as_parts
from diag.reason.reasoner import Reasoner
from diag.texts import t

__all__ = ["FORMS", "Form", "paper_bytes"]

Form = Literal["html", "pdf", "owner", "parts"]
FORMS: tuple[Form, ...] = ("html", "pdf", "owner", "parts")


def paper_bytes(
    path: Path,
    form: Form,
    vehicle: Path | None = None,
    *,
    out: Path | None = None,
    paper: Paper = "a4",
    reasoner: Reasoner | None = None,
    zone: tzinfo | None = None,
    packs: bool = True,
    today: bool = False,
) -> bytes:
    """The job in `path` as a file of that form: a web page (UTF-8), a PDF or Markdown.

    `out`: where it will be written; the owner's sheet for a name that ends in .pdf is a PDF. `paper`: size of a PDF.
    The rest and errors as in `diag.log.export.open_job`; DiagError also where a PDF is wanted and no browser is
    there to print it, or for a form that there is not.
    """
    if form not in FORMS:
        raise DiagError(
            t(
                "found the form `{form}`; expected one of {forms}. Choose one of these.",
                form=form,
                forms=", ".join(FORMS),
            )
        )
    printed = form == "pdf" or (form == "owner" and out is not None and out.suffix.lower() == ".pdf")
    browser = find_browser() if printed else None  # told before minutes of work are spent
    lived, report = open_job(path, vehicle, reasoner=reasoner, zone=zone, packs=packs, today=today)
    if form == "parts":
        return as_parts(lived, report).encode()
    make = as_owner if form == "owner" else as_html
    page = make(lived, report, paper if printed else None)
    return print_pdf(page, report.last.utc, browser) if printed else page.encode()
