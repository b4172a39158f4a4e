"""The log of a job in all its forms, to look at or to take along. Made from the journal, once for as long as it stands.

Hands the journal to the rooms that make papers; knows what a browser must be told of each form.
"""

from __future__ import annotations

import re
from concurrent.futures import Future
from html import escape
from typing import Literal, cast
from urllib.parse import quote

from starlette.responses import Response

from diag.errors import DiagError
from diag.log.export import export_job, open_job
from diag.paper.browser import find_browser, print_pdf
from diag.paper.export import paper_bytes
from diag.paper.page import as_html
from diag.serve.held import Held
from diag.serve.marked import pieces_of
from diag.serve.pages import page
from diag.serve.worker import Worker
from diag.talk.conversation import Conversation
from diag.texts import t

__all__ = ["FORMS", "can_print", "finished", "start_paper"]

FORMS = {
    "html": ("text/html", ""),
    "owner": ("text/html", ""),
    "pdf": ("application/pdf", "pdf"),
    "parts": ("text/html", ""),
    "handover": ("text/html", ""),
    "markdown": ("text/markdown", "md"),
    "json": ("application/json", "json"),
    "csv": ("text/csv", "csv"),
}
"""Forms by name: their type, and the ending of the file where it is one to take along."""
_CSP = (
    "sandbox allow-same-origin; default-src 'none'; style-src 'unsafe-inline'; img-src data:; "
    "frame-ancestors 'none'; base-uri 'none'"
)
"""A log carries its style in itself, and nothing else; of our own origin, so that its way back is followed with the
session."""
_MARKED = ("parts", "handover")
_BACK = (
    "<style>.way-back{{margin:0;padding:0 .75rem}}.way-back a{{display:inline-block;padding:.8rem 0}}"
    '@media print{{.way-back{{display:none}}}}</style><p class="way-back"><a href="/job/{job}/papers">{words}</a></p>'
)


_PLAIN = re.compile(r"[^A-Za-z0-9._-]+")


def can_print() -> bool:
    """Whether a browser is on this machine that prints."""
    try:
        find_browser()
    except DiagError:
        return False
    return True


def start_paper(held: Held, conversation: Conversation, form: str) -> Future[bytes]:
    """Begin to make a paper of the job as it stands, for the job's worker; the same again until something is added."""
    key = ("paper", form)
    stands = len(conversation.keeper.records)
    known = held.kept.get(key)
    if known is None or known[0] != stands:
        held.kept[key] = (stands, _started(held, conversation, form))
    future: Future[bytes] = held.kept[key][1]
    return future


def _started(held: Held, conversation: Conversation, form: str) -> Future[bytes]:
    path, reasoner = held.path, conversation.reasoner
    if form == "pdf":
        browser = find_browser()
        lived, report = open_job(path, reasoner=reasoner)
        whole = as_html(lived, report, "a4")
        printer = Worker("printer")  # apart from the job, which need not wait for it
        future = printer.submit(lambda: print_pdf(whole, report.last.utc, browser))
        printer.stop()
        return future
    made: Future[bytes] = Future()
    if form in ("html", "owner", "parts"):
        made.set_result(paper_bytes(path, cast("Literal['html', 'owner', 'parts']", form), reasoner=reasoner))
    else:
        wanted = cast("Literal['markdown', 'json', 'csv', 'handover']", form)
        made.set_result(export_job(path, wanted, reasoner=reasoner).encode())
    return made


def finished(job: str, form: str, made: bytes) -> Response:
    """The paper for a browser."""
    kind, ending = FORMS[form]
    if form in _MARKED:
        title = {"parts": t("Parts"), "handover": t("Handover")}[form]
        return page("sheet.html.j2", title=title, job=job, pieces=pieces_of(made.decode()))
    if kind == "text/html":
        made = _with_way_back(job, made)
    headers = {"content-security-policy": _CSP}
    if ending:
        headers["content-disposition"] = f'attachment; filename="{_PLAIN.sub("-", job)}.{ending}"'
    return Response(made, media_type=kind, headers=headers)


def _with_way_back(job: str, made: bytes) -> bytes:
    """A log's page with a link to the papers at its head, which is not printed."""
    link = _BACK.format(job=quote(job, safe=""), words=escape(t("Back to the papers")))
    return re.sub(rb"(<body[^>]*>)", lambda found: found[1] + link.encode(), made, count=1)
