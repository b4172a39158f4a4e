"""One program on a job at a time: a lock beside the journal that goes with its holder, and who the holder is.

Knows a path to lock; nothing of what is in the file.
"""

from __future__ import annotations

import contextlib
import errno
import json
import os
import platform
import sys
from datetime import UTC, datetime
from pathlib import Path

from filelock import FileLock, Timeout

from diag.job.records import JournalError
from diag.texts import t

__all__ = ["JobLock"]

_NO_LOCKS = (errno.ENOLCK, errno.ENOSYS, errno.ENOTSUP, errno.EOPNOTSUPP)
_LONGEST, _SHOWN = 400, 160
_ROOMS = {"pages": t("in the pages of diag serve"), "terminal": t("in a terminal"), "other": t("in another program")}


class JobLock:
    """The lock of a job's file, taken at once or not at all; the system lets go of it however we end.

    It goes by the file itself, whatever links lead to it. `message` says where the file system knows no locks.
    """

    def __init__(self, path: Path) -> None:
        """Takes the lock. Raises JournalError where another program has it, OSError where it cannot be made."""
        file = os.path.realpath(path)
        self.message = ""
        self._holder = Path(f"{file}.held-by")
        self._lock: FileLock | None = FileLock(f"{file}.lock", timeout=0, mode=0o600, thread_local=False)
        try:
            self._lock.acquire()
        except Timeout as error:
            raise JournalError(
                "in-use",
                t(
                    "{name}: found another program at work on this job{told_holder}; expected to be "
                    "the only one. Close it there first, or begin another job.",
                    name=path.name,
                    told_holder=self._told_holder(),
                ),
            ) from error
        except (NotImplementedError, OSError) as error:
            if isinstance(error, OSError) and error.errno not in _NO_LOCKS:
                said = error.strerror or t("it cannot be made")
                raise OSError(
                    error.errno, t("{said} (the lock {basename}.lock)", said=said, basename=os.path.basename(file))
                ) from error
            self._lock = None
            self.message = t(
                "{path}: this file system knows no locks. Work on the job from one program only, "
                "or keep it on a disk of this machine.",
                path=path,
            )
        self._tell_holder()

    def release(self) -> None:
        """Gives the lock back; may be called twice."""
        lock, self._lock = self._lock, None
        if lock is not None:
            with contextlib.suppress(OSError):
                self._holder.unlink(missing_ok=True)
            lock.release()

    def _tell_holder(self) -> None:
        """For the message that others get; where it cannot be written, they hear less."""
        if self._lock is None:
            return
        flags = os.O_WRONLY | os.O_CREAT | os.O_TRUNC | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0)
        with (
            contextlib.suppress(OSError),
            os.fdopen(os.open(self._holder, flags, 0o600), "w", encoding="utf-8") as file,
        ):
            since = datetime.now(UTC).isoformat(timespec="minutes")
            json.dump({"in": _room(), "process": os.getpid(), "machine": platform.node(), "since": since}, file)

    def _told_holder(self) -> str:
        flags = os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0)
        try:
            with os.fdopen(os.open(self._holder, flags), "rb") as file:
                said = file.read(_LONGEST).decode("utf-8", "replace")
        except OSError:
            return ""
        try:
            told = json.loads(said)
            where = t("this machine") if told["machine"] == platform.node() else str(told["machine"])
            since = datetime.fromisoformat(str(told["since"]))
            number = int(told["process"])
            line = t(
                "{room} on {where} (process {number}, since {since:%Y-%m-%d %H:%M} UTC)",
                room=_ROOMS.get(str(told["in"]), _ROOMS["other"]),
                where=where,
                number=number,
                since=since,
            )
        except (ValueError, TypeError, KeyError, AttributeError, RecursionError):
            line = f"({said[:_SHOWN]})" if said else ""  # of an older program, or of none
        shown = "".join(sign if sign.isprintable() else "?" for sign in line)
        return f" {shown}" if shown else ""


def _room() -> str:
    """What a person would look for: pages, a terminal, or something else."""
    if sys.argv[1:2] == ["serve"]:
        return "pages"
    try:
        return "terminal" if os.isatty(0) else "other"
    except OSError:
        return "other"
