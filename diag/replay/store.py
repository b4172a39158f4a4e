"""Outcomes that were worked out before, kept in the cache: an unchanged job under unchanged knowledge is a look-up.

A damaged store or entry only costs working it out again; two programs may use it at once; the least lately used
entries go when it grows too large. Knows texts and their keys; nothing of jobs.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import sqlite3
import time
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

import diag
from diag import __version__

__all__ = ["Store", "key_of", "program_digest"]

_NAME = "outcomes.sqlite"
_BYTES_KEPT = 200_000_000
_WAITS_S = 5.0
_AT_ONCE = 500
"""Keys asked for in one statement."""


def key_of(knowledge: str, without: Sequence[str], job: str, beside: bytes | None) -> str:
    """Where an outcome is kept. `knowledge`: hash of the content, `job`: hash of the job's bytes, `beside`: what it
    must come to. Another version of the program, or a changed module of it, has keys of its own."""
    digest = hashlib.sha256()
    for text in (program_digest(), knowledge, ",".join(without), job, hashlib.sha256(beside or b"").hexdigest()):
        digest.update(text.encode() + b"\n")
    return digest.hexdigest()


_PROGRAM: list[str] = []


def program_digest() -> str:
    """Version and digest of the program's own modules."""
    if not _PROGRAM:
        digest = hashlib.sha256(__version__.encode())
        for path in sorted(Path(diag.__file__).parent.rglob("*.py")):
            digest.update(path.read_bytes())
        _PROGRAM.append(digest.hexdigest())
    return _PROGRAM[0]


class Store:
    """Texts by key in one file of a folder. Nothing it does raises: where the disk is full, read-only or rotten it
    holds nothing. `limit` bytes of text are kept."""

    def __init__(self, folder: Path, limit: int = _BYTES_KEPT) -> None:
        self._path, self._limit = folder / _NAME, limit

    def get(self, keys: Sequence[str]) -> dict[str, str]:
        """The texts that are kept for these keys."""
        found: dict[str, str] = {}
        with self._open() as base:
            if base is not None:
                for start in range(0, len(keys), _AT_ONCE):
                    some = list(keys[start : start + _AT_ONCE])
                    marks = ",".join("?" * len(some))
                    rows = base.execute(f"select key, text from outcome where key in ({marks})", some).fetchall()
                    found.update((key, text) for key, text in rows if isinstance(text, str))
                    base.execute(f"update outcome set used = ? where key in ({marks})", [int(time.time()), *some])
        return found

    def put(self, texts: Mapping[str, str]) -> None:
        """Keep these, and let go what was not used for longest where there is too much."""
        with self._open() as base:
            if base is not None:
                now = int(time.time())
                rows = [(key, text, now, len(text)) for key, text in texts.items()]
                base.executemany("insert or replace into outcome (key, text, used, size) values (?, ?, ?, ?)", rows)
                (held,) = base.execute("select coalesce(sum(size), 0) from outcome").fetchone()
                if held > self._limit:
                    base.execute(
                        "delete from outcome where key in (select key from (select key, sum(size) over "
                        "(order by used desc, key) as held from outcome) where held > ?)",
                        [self._limit // 2],
                    )

    @contextlib.contextmanager
    def _open(self) -> Iterator[sqlite3.Connection | None]:
        base = self._opened()
        try:
            yield base
            if base is not None:
                base.commit()
        except sqlite3.OperationalError:  # locked for too long, full or read-only: this once without it
            pass
        except sqlite3.DatabaseError:
            self._discard()
        finally:
            if base is not None:
                base.close()

    def _opened(self) -> sqlite3.Connection | None:
        for _ in range(2):
            base: sqlite3.Connection | None = None
            try:
                self._path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
                os.close(os.open(self._path, os.O_RDWR | os.O_CREAT, 0o600))  # for this user only, as jobs are
                base = sqlite3.connect(self._path, timeout=_WAITS_S)
                base.execute("pragma synchronous = off")  # what a power cut takes is worked out again
                base.execute(
                    "create table if not exists outcome "
                    "(key text primary key, text text not null, used integer not null, size integer not null)"
                )
                base.execute("select key, text, used, size from outcome limit 1").fetchall()
                return base
            except (sqlite3.OperationalError, OSError) as error:
                if base is not None:
                    base.close()
                if "no such column" not in str(error):
                    return None
                self._discard()
            except sqlite3.DatabaseError:
                if base is not None:
                    base.close()
                self._discard()
        return None

    def _discard(self) -> None:
        with contextlib.suppress(OSError):
            self._path.unlink()
