"""Journals of a folder sorted for counting: each closed job once, and why the others are set aside.

Reads records only; knows nothing of what the answers in them mean.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from diag.errors import DiagError
from diag.job.folder import SUFFIX
from diag.job.journal import read_journal
from diag.job.records import JournalError, Record, why
from diag.job.state import JobState, replay
from diag.replay.jobs import EXPECT
from diag.texts import t

__all__ = ["Aside", "Closed", "Gathered", "gather", "hash_of", "jobs_below", "sorted_out"]

_SAYS_NOTHING = ("asked", "concluded", "resumed", "noted", "instruments", "stage")
_FREE = ("text", "reason", "batch", "stage")
"""Fields that a person words freely, or that say how an answer was put in."""


@dataclass(frozen=True)
class Aside:
    """A job that is not counted, and why. `odd`: a person should look at it; else it is only not done."""

    name: str
    reason: str
    odd: bool = False


@dataclass(frozen=True)
class Closed:
    """A job that came to its end. `hash`: 16 hex digits of the SHA-256 of what was answered and done."""

    name: str
    path: Path
    records: tuple[Record, ...]
    state: JobState
    hash: str


@dataclass(frozen=True)
class Gathered:
    """Jobs to be counted, by hash, and those set aside, by name."""

    closed: tuple[Closed, ...]
    aside: tuple[Aside, ...]


@dataclass(frozen=True)
class _Version:
    """A journal as it may stand beside others of the same job; `over`: it came to its end."""

    job: Closed
    over: bool
    lines: list[str]

    def is_like(self, other: _Version) -> bool:
        """Whether it is another version of the same job, not another job that began in the same second."""
        shared = len(set(self.lines) & set(other.lines))
        return 2 * shared > min(len(self.lines), len(other.lines)) or not self.lines or not other.lines


def jobs_below(folder: Path) -> list[Path]:
    """The journals of a folder and those below it. Raises DiagError where it cannot be read."""
    try:
        next(folder.iterdir(), None)
        return sorted(path for path in folder.rglob(f"*{SUFFIX}") if path.is_file())
    except OSError as error:
        raise DiagError(
            t(
                "--from {folder}: the jobs could not be listed: {why}; expected a folder of jobs. "
                "Name the folder that `diag jobs` reads, or another one with journals in it.",
                folder=folder,
                why=why(error),
            )
        ) from error


def gather(folder: Path) -> Gathered:
    """All journals below a folder. Raises DiagError where the folder cannot be read; a journal that cannot is set
    aside with its name."""
    return sorted_out(jobs_below(folder))


def sorted_out(paths: Iterable[Path]) -> Gathered:
    """Those journals, whatever their order: each job once, however often and under whatever name it was copied."""
    aside: list[Aside] = []
    begun: dict[tuple[str, str], list[list[_Version]]] = {}
    for path in paths:
        try:
            records, messages = read_journal(path)
            state = replay(records)
        except JournalError as error:
            aside.append(Aside(path.stem, t("damaged: {error}", error=error), odd=True))
            continue
        except (ValueError, DiagError) as error:
            aside.append(Aside(path.stem, t("no job: {error}", error=error), odd=True))
            continue
        if messages:
            aside.append(Aside(path.stem, t("damaged: {messages}", messages=messages[0]), odd=True))
            continue
        if records[0].fields.get("simulated") is True:
            aside.append(Aside(path.stem, t("simulated: no vehicle stood there")))
            continue
        lines = _lines(records)
        job = Closed(path.stem, path, records, state, hash_of(state, lines))
        version = _Version(job, _is_over(path, records), lines)
        families = begun.setdefault((state.opened_at, state.vehicle), [])
        kin = next((family for family in families if version.is_like(family[0])), None)
        if kin is None:
            families.append([version])
        else:
            kin.append(version)
    closed = [job for families in begun.values() for family in families for job in _one(family, aside)]
    return Gathered(
        tuple(sorted(closed, key=lambda job: job.hash)), tuple(sorted(aside, key=lambda a: (a.name, a.reason)))
    )


def hash_of(state: JobState, lines: Sequence[str]) -> str:
    """What tells a job from every other: vehicle, when it was opened, what was answered and done."""
    content = "\n".join([state.vehicle, state.opened_at, *lines])
    return hashlib.sha256(content.encode()).hexdigest()[:16]


def _one(versions: Sequence[_Version], aside: list[Aside]) -> Sequence[Closed]:
    """The job among its versions: the longest, if the others are copies of it or of its beginning."""
    longest = min(versions, key=lambda version: (-len(version.lines), not version.over, version.job.name))
    for version in versions:
        if longest.lines[: len(version.lines)] != version.lines:
            for odd in versions:
                others = ", ".join(sorted(other.job.name for other in versions if other is not odd))
                reason = t("changed by hand? It differs from {others}, which began as the same job", others=others)
                aside.append(Aside(odd.job.name, reason, odd=True))
            return ()
    aside += [Aside(v.job.name, t("a copy of {job}", job=longest.job.name)) for v in versions if v is not longest]
    if not longest.over:
        aside.append(Aside(longest.job.name, t("not finished")))
        return ()
    return (longest.job,)


def _is_over(path: Path, records: Sequence[Record]) -> bool:
    """Whether a job came to its end, and was not gone on with."""
    last = next((record for record in reversed(records) if record.event not in _SAYS_NOTHING), None)
    return (last is not None and last.event == "proved") or path.with_name(path.stem + EXPECT).exists()


def _lines(records: Sequence[Record]) -> list[str]:
    """What was put in, one line a record, without what is worded freely: notes may be taken out of a copy."""
    return [
        json.dumps([record.event, _bare(record.fields)], sort_keys=True)
        for record in records[1:]
        if record.event not in (*_SAYS_NOTHING, "proved")
    ]


def _bare(fields: Mapping[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in fields.items() if name not in _FREE}
