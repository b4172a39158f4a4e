"""What jobs say of rules, kept on disk by content, so that a long list of jobs is gone through once.

A damaged file is worked out anew. Knows nothing of what the facts mean.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Callable, Sequence
from functools import lru_cache
from pathlib import Path

from diag.knowledge.assemble import Knowledge
from diag.knowledge.writer import replaced
from diag.life import jobs
from diag.life.jobs import JobFacts, facts_of
from diag.reason import forward, reasoner, ruled
from diag.reason.engine import default_matcher
from diag.reason.reasoner import Reasoner
from diag.replay.jobs import Job
from diag.talk import findings

__all__ = ["indexed"]

_FORMAT = 1
_FILES_KEPT = 24


def indexed(
    knowledge: Knowledge, jobs: Sequence[Job], cache: Path | None, bare: Callable[[], Reasoner] | None = None
) -> list[JobFacts]:
    """What jobs of one vehicle say, from `cache` where it is there. `bare` makes the reasoner without a network.

    Raises DiagError where the rule engine fails.
    """
    path = None if cache is None else cache / "rules-at-work" / f"{knowledge.content_hash}-{_code()}.json"
    known = _read(path)
    keys = [_key(job) for job in jobs]
    waiting = [(key, job) for key, job in zip(keys, jobs, strict=True) if key not in known]
    if waiting:
        made = bare() if bare is not None else Reasoner(knowledge, None, default_matcher())
        found = facts_of(made, [job for _, job in waiting])
        known |= {key: facts for (key, _), facts in zip(waiting, found, strict=True)}
        _write(path, known)
    return [_named(known[key], job) for key, job in zip(keys, jobs, strict=True)]


def _named(facts: JobFacts, job: Job) -> JobFacts:
    """A copy of a job under another name is not read again."""
    return JobFacts(**{**facts.__dict__, "name": job.name, "file": job.path})


def _key(job: Job) -> str:
    records = [(record.event, record.at, dict(record.fields)) for record in job.records]
    return hashlib.sha256(f"{records!r} {job.expected!r}".encode()).hexdigest()[:32]


@lru_cache(maxsize=1)
def _code() -> str:
    """Changes with any module that has a say in what a job says."""
    digest = hashlib.sha256(str(_FORMAT).encode())
    for module in (jobs, forward, reasoner, ruled, findings):
        digest.update(Path(str(module.__file__)).read_bytes())
    return digest.hexdigest()[:12]


def _read(path: Path | None) -> dict[str, JobFacts]:
    if path is None:
        return {}
    try:
        found = json.loads(path.read_text(encoding="utf-8"))
        return {key: JobFacts.from_plain(facts) for key, facts in found.items()}
    except (OSError, ValueError, TypeError, KeyError, AttributeError, RecursionError):
        return {}


def _write(path: Path | None, known: dict[str, JobFacts]) -> None:
    """A cache that cannot be written is no reason to stop."""
    if path is None:
        return
    try:
        path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        replaced(path, json.dumps({key: facts.to_plain() for key, facts in known.items()}).encode(), 0o600)
        kept = sorted(path.parent.glob("*.json"), key=lambda one: -one.stat().st_mtime)
        for old in kept[_FILES_KEPT:]:
            os.unlink(old)
    except OSError:
        return
