"""Who may come in over the network: one key at a time, spent by the first device that brings it; then a session.

Only digests of sessions are kept, also on disk so that devices go on after a crash. Knows nothing of pages.
"""

from __future__ import annotations

import hashlib
import hmac
import json
import os
import secrets
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

__all__ = ["Doors", "form_token", "new_session"]

TRIES = 10
"""Wrong keys after which the key of the moment is void; another is made by hand."""
LASTS_S = 12 * 3600
"""A session ends after a day's work. Common practice, no source."""
_BITS = 16
"""Bytes of chance in keys and sessions."""


def new_session() -> str:
    """A session of 128 random bits."""
    return secrets.token_urlsafe(_BITS)


def form_token(session: str) -> str:
    """What every form of a session carries; nobody without the session can work it out."""
    return hmac.new(session.encode(), b"form", hashlib.sha256).hexdigest()[:32]


def _digest(session: str) -> str:
    return hashlib.sha256(session.encode()).hexdigest()


class Doors:
    """Key and sessions. `file`: where digests of sessions are kept; `clock` gives seconds since 1970 (UTC)."""

    def __init__(self, file: Path | None, clock: Callable[[], float] = time.time) -> None:
        self._file, self._clock = file, clock
        self._lock = threading.Lock()
        self._tries = 0
        self._key: str | None = None
        self.told: Callable[[str], None] = lambda _: None
        """Is told `spent` where a device was let in, `void` where too many wrong keys came."""
        self._sessions: dict[str, float] = self._read()

    def new_key(self) -> str:
        """Another key; the one before is void."""
        with self._lock:
            self._key, self._tries = secrets.token_urlsafe(_BITS), 0
            return self._key

    @property
    def key(self) -> str:
        """The key of the moment; empty where it was spent or is void."""
        return self._key or ""

    @property
    def returning(self) -> bool:
        """Whether devices that were let in before may come again."""
        return bool(self._sessions)

    def enter(self, key: str) -> str | None:
        """A session for whoever brings the key, which is spent by that; None for a wrong one."""
        with self._lock:
            if self._key is None:
                return None
            if not hmac.compare_digest(key.encode(), self._key.encode()):
                self._tries += 1
                if self._tries >= TRIES:
                    self._key = None
                    self.told("void")
                return None
            self._key = None
            session = new_session()
            self._sessions[_digest(session)] = self._clock() + LASTS_S
            self._write()
            self.told("spent")
            return session

    def knows(self, session: str) -> bool:
        """Whether a session was let in and has not ended."""
        ends = self._sessions.get(_digest(session))
        return ends is not None and ends > self._clock()

    def forget(self) -> None:
        """End all sessions: the program ends properly."""
        with self._lock:
            self._sessions, self._key = {}, None
            if self._file is not None:
                with suppress(OSError):
                    self._file.unlink()

    def _read(self) -> dict[str, float]:
        """Sessions that a program left which was ended from outside; none from anything else."""
        if self._file is None:
            return {}
        try:
            found = json.loads(self._file.read_text(encoding="utf-8"))
        except (OSError, ValueError):
            return {}
        now = self._clock()
        pairs = found.items() if isinstance(found, dict) else ()
        return {str(k): float(v) for k, v in pairs if isinstance(v, int | float) and now < v <= now + LASTS_S}

    def _write(self) -> None:
        """A session that cannot be kept on disk lasts until the program ends; nothing else hangs on it."""
        if self._file is None:
            return
        with suppress(OSError):
            self._file.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
            aside = self._file.with_suffix(".new")
            with suppress(FileNotFoundError):
                aside.unlink()
            fd = os.open(aside, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
            with os.fdopen(fd, "w", encoding="utf-8") as out:
                json.dump(self._sessions, out)
            os.replace(aside, self._file)
