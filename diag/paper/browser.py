"""Prints a page to PDF through a browser that is on the machine. No library: what lays pages out well is there already,
and the page asks nothing of it but to be printed.

Knows how to find one and to run it apart from anything of the user's; nothing of what the page holds.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path

from diag.errors import DiagError
from diag.texts import t

__all__ = ["BROWSER", "find_browser", "print_pdf"]

BROWSER = "DIAG_BROWSER"
"""Names the browser's program where it is not found by itself."""
_NAMES = (
    "chromium",
    "chromium-browser",
    "google-chrome",
    "google-chrome-stable",
    "chrome",
    "microsoft-edge",
    "microsoft-edge-stable",
    "msedge",
)
_ELSEWHERE = (
    "/Applications/Chromium.app/Contents/MacOS/Chromium",
    "/Applications/Google Chrome.app/Contents/MacOS/Google Chrome",
    "/Applications/Microsoft Edge.app/Contents/MacOS/Microsoft Edge",
    r"C:\Program Files\Google\Chrome\Application\chrome.exe",
    r"C:\Program Files (x86)\Microsoft\Edge\Application\msedge.exe",
)
_QUIET = (
    "--headless",
    "--disable-gpu",
    "--disable-quic",
    "--disable-extensions",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
    "--no-default-browser-check",
    "--no-pdf-header-footer",
)
_PATIENCE_S = 180
_DATES = re.compile(rb"/(CreationDate|ModDate) \(D:(\d{14})[^)]*\)")
_HINT = t(
    "Or write the page with `--as html --out job.html`, open it in any browser and print it from "
    "there: it is made for A4 and US Letter."
)


def find_browser(environ: Mapping[str, str] = os.environ) -> str:
    """The program of a browser that prints without a window. Raises DiagError where there is none, with the hint to
    print the page from any other."""
    named = environ.get(BROWSER)
    if named:
        found = shutil.which(named)
        if found is None:
            raise DiagError(
                t(
                    "{browser}: found `{named}`, which cannot be run; expected a Chromium browser. {hint}",
                    browser=BROWSER,
                    named=named,
                    hint=_HINT,
                )
            )
        return found
    for name in (*_NAMES, *_ELSEWHERE):
        found = shutil.which(name, path=environ.get("PATH"))
        if found is not None:
            return found
    raise DiagError(
        t(
            "No browser was found to print a PDF with; looked for {names}. Install Chromium, or name "
            "one in {browser}. {hint}",
            names=", ".join(_NAMES),
            browser=BROWSER,
            hint=_HINT,
        )
    )


def print_pdf(page: str, at: str, browser: str | None = None) -> bytes:
    """A page (HTML) as PDF. `at`: the time put into the file (ISO 8601), so that the same page gives the same bytes.
    Raises DiagError where there is no browser or it does not print."""
    program = browser or find_browser()
    with tempfile.TemporaryDirectory(prefix="diag-print-", ignore_cleanup_errors=True) as folder:
        source, target = Path(folder) / "page.html", Path(folder) / "page.pdf"
        source.write_text(page, encoding="utf-8")
        options = [*_QUIET, f"--user-data-dir={Path(folder) / 'profile'}", f"--print-to-pdf={target}"]
        if sys.platform.startswith("linux") and os.geteuid() == 0:
            options.append("--no-sandbox")  # its sandbox refuses to run as root; the page has no script
        try:
            ran = subprocess.run(
                [program, *options, source.as_uri()], capture_output=True, timeout=_PATIENCE_S, check=False
            )
        except (OSError, subprocess.TimeoutExpired) as error:
            raise DiagError(
                t("{program} did not print the page: {error}. {hint}", program=program, error=error, hint=_HINT)
            ) from error
        if not target.exists() or not target.stat().st_size:
            said = ran.stderr.decode("utf-8", "replace").strip().splitlines()
            last = said[-1] if said else t("exit code {returncode}", returncode=ran.returncode)
            raise DiagError(
                t("{program} did not print the page; it said: {last}. {hint}", program=program, last=last, hint=_HINT)
            )
        return _dated(target.read_bytes(), at)


def _dated(pdf: bytes, at: str) -> bytes:
    """The PDF with the job's time in place of the clock's; as many bytes, or the file's table of places would lie."""
    stamp = datetime.fromisoformat(at).strftime("%Y%m%d%H%M%S").encode("ascii")

    def replaced(found: re.Match[bytes]) -> bytes:
        return found[0].replace(found[2], stamp, 1)

    return _DATES.sub(replaced, pdf)
