"""What `diag serve` says on the terminal: where the pages are, what is not promised, how to go on.

Words only; knows nothing of sockets.
"""

from __future__ import annotations

from pathlib import Path
from typing import TextIO
from urllib.parse import quote

from diag.job.folder import jobs_folder
from diag.serve.app import ENTRANCE
from diag.serve.doors import Doors
from diag.serve.host import qr
from diag.talk.standing import job_name
from diag.texts import t

__all__ = ["Telling", "sessions_file"]


def sessions_file(port: int) -> Path:
    """Where digests of the devices that were let in are kept, for a start after a crash."""
    return jobs_folder().parent / "serve" / f"devices-{port}.json"


class Telling:
    """`base`: the address without a path; `job`: the id of the one that the pages begin with, if any."""

    def __init__(self, base: str, doors: Doors | None, out: TextIO, job: str | None) -> None:
        self._base, self._doors, self._out, self._job = base, doors, out, job

    def tell(self) -> None:
        """What is printed first."""
        if self._doors is None:
            path = f"/job/{quote(self._job, safe='')}" if self._job is not None else "/"
            self._say(t("The pages are at  {base}{path}", base=self._base, path=path))
            self._say(t("for this machine only, and for whoever is logged in on it. For a phone: diag serve --network"))
            self._say(t("Ctrl-C ends it; everything is kept."))
            return
        self._say(t("Plain http, nothing is encrypted: whoever can listen on this network can read along."))
        if self._doors.returning:
            self._say(t("It did not end properly last time: devices that were let in then go on without a key."))
        self._doors.new_key()
        self.key()

    def key(self) -> None:
        """The key of the moment, as a code to scan and in letters."""
        assert self._doors is not None
        url = f"{self._base}{ENTRANCE}?key={self._doors.key}"
        self._say("")
        if self._out.isatty():
            qr(url, self._out)
        self._say(t("For one device:  {url}", url=url))
        self._say(t("Enter: a key for the next device (this one is void then). Ctrl-C ends it; everything is kept."))

    def door(self, what: str) -> None:
        """What happened to the key of the moment."""
        if what == "spent":
            self._say(t("A device was let in, the key is spent. Enter: a key for another device."))
        else:
            self._say(t("Too many wrong keys came in: this key is void. Enter: another one."))

    def end(self, job: Path | None) -> None:
        """What is printed last."""
        self._say("")
        self._say(
            t("Ended; everything is kept. Devices need a new key next time.")
            if self._doors
            else t("Ended; everything is kept.")
        )
        self._say(
            t("Go on with:\n  diag resume {job_name}", job_name=job_name(str(job)))
            if job is not None
            else t("Go on with:\n  diag resume")
        )

    def _say(self, text: str) -> None:
        self._out.write(text + "\n")
        self._out.flush()
