"""What jobs say of rules, kept on disk by content, so that a long list of jobs is gone through once.

A damaged entry is worked out anew. Knows nothing of what the facts mean.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Sequence
from pathlib import Path

from diag.knowledge.assemble import Knowledge
from diag.life.jobs import JobFacts, facts_of
from diag.reason.engine import default_matcher
from diag.reason.reasoner import Reasoner
from diag.replay.jobs import Job
from diag.replay.store import Store, program_digest

__all__ = ["indexed"]


def indexed(
    knowledge: Knowledge, jobs: Sequence[Job], cache: Path | None, bare: Callable[[], Reasoner] | None = None
) -> list[JobFacts]:
    """What jobs of one vehicle say, from `cache` where it is there. `bare` makes the reasoner without a network.

    Raises DiagError where the rule engine fails.
    """
    store = None if cache is None else Store(cache)
    keys = [_key(knowledge, job) for job in jobs]
    known = _read(store.get(keys)) if store is not None else {}
    waiting = [(key, job) for key, job in zip(keys, jobs, strict=True) if key not in known]
    if waiting:
        made = bare() if bare is not None else Reasoner(knowledge, None, default_matcher())
        found = facts_of(made, [job for _, job in waiting])
        fresh = {key: facts for (key, _), facts in zip(waiting, found, strict=True)}
        known |= fresh
        if store is not None:
            store.put({key: json.dumps(facts.to_plain()) for key, facts in fresh.items()})
    return [_named(known[key], job) for key, job in zip(keys, jobs, strict=True)]


def _named(facts: JobFacts, job: Job) -> JobFacts:
    """A copy of a job under another name is not read again."""
    return JobFacts(**{**facts.__dict__, "name": job.name, "file": job.path})


def _key(knowledge: Knowledge, job: Job) -> str:
    """Of rules at work in a job; another version of the program, or a changed module of it, has keys of its own."""
    records = [(record.event, record.at, dict(record.fields)) for record in job.records]
    told = f"rules at work {program_digest()} {knowledge.content_hash} {records!r} {job.expected!r}"
    return hashlib.sha256(told.encode()).hexdigest()


def _read(texts: dict[str, str]) -> dict[str, JobFacts]:
    known = {}
    for key, text in texts.items():
        try:
            known[key] = JobFacts.from_plain(json.loads(text))
        except (ValueError, TypeError, KeyError, AttributeError, RecursionError):
            continue
    return known
