"""Opens what a conversation needs: knowledge, predictions, the rule engine, and the job's journal.

Knows where things live; nothing of what is asked.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import platformdirs

from diag import __version__
from diag.circuit.predict import Predictor
from diag.errors import DiagError, KnowledgeError
from diag.job.folder import new_job_path
from diag.job.journal import Journal
from diag.job.records import Record
from diag.job.state import JobState, replay
from diag.knowledge.lint import check_causes
from diag.knowledge.load import default_vehicle, load_knowledge
from diag.reason.engine import default_matcher
from diag.reason.forward import Matcher
from diag.reason.operates import looked_at, step_operates
from diag.reason.reasoner import Reasoner
from diag.talk.conversation import Conversation

__all__ = [
    "INSTRUMENTS",
    "WITHOUT",
    "Rehearsed",
    "cache_folder",
    "known_vehicle",
    "new_job",
    "open_reasoner",
    "resume_job",
    "vehicle_file",
]

INSTRUMENTS = ("test-lamp", "meter", "jumper", "helper")
WITHOUT = ("wiring", "rules")


def cache_folder() -> Path:
    """Where computed tables are kept: the platform's cache, or below DIAG_HOME."""
    home = os.environ.get("DIAG_HOME")
    return Path(home) / "cache" if home else Path(platformdirs.user_cache_dir("diag", appauthor=False))


def vehicle_file(given: str | None) -> Path:
    """A vehicle file by path, or by the name of a shipped one. Where none is given, the one that DIAG_VEHICLE
    names, else the demo vehicle."""
    demo = default_vehicle()
    given = given if given is not None else os.environ.get("DIAG_VEHICLE")
    if given is None:
        return demo
    path = Path(given)
    shipped = demo.parent / path.name
    return shipped if not path.exists() and path.name == given and shipped.exists() else path


def open_reasoner(
    vehicle: Path,
    without: frozenset[str] = frozenset(),
    progress: Callable[[float], None] | None = None,
    matcher: Matcher | None = None,
) -> Reasoner:
    """The reasoner of a vehicle. Raises KnowledgeError for files that cannot be used, DiagError where
    both halves are left out or the wanted engine is absent."""
    if without >= frozenset(WITHOUT):
        raise DiagError("without wiring and without rules nothing is left to reason with; leave one of them in")
    knowledge = load_knowledge(vehicle)
    predictor = None
    if "wiring" not in without:
        predictor = Predictor(knowledge, step_operates(knowledge), cache_folder(), progress, looked_at(knowledge))
    reasoner = Reasoner(knowledge, predictor, matcher or default_matcher(), with_rules="rules" not in without)
    if not without:
        problems = check_causes(knowledge, set(reasoner.index))
        if problems:
            raise KnowledgeError(problems)
    return reasoner


def _opened(reasoner: Reasoner, vehicle: Path, without: frozenset[str]) -> dict[str, Any]:
    return {
        "vehicle": reasoner.knowledge.vehicle.vehicle,
        "vehicle-file": str(vehicle.resolve()),
        "knowledge": reasoner.knowledge.content_hash,
        "tool": __version__,
        "engine": reasoner.matcher.name,
        "without": sorted(without),
    }


def new_job(
    reasoner: Reasoner,
    vehicle: Path,
    path: Path | None,
    instruments: tuple[str, ...],
    without: frozenset[str],
    simulated: bool = False,
) -> tuple[Conversation, Journal]:
    """A fresh job on disk; one that is `simulated` says so, as nothing can be learned from it. Raises JournalError
    where it cannot be made."""
    where = path or new_job_path(reasoner.knowledge.vehicle.vehicle, datetime.now(UTC))
    journal = Journal.create(where)
    journal.append("opened", **_opened(reasoner, vehicle, without), **({"simulated": True} if simulated else {}))
    journal.append("instruments", have=list(instruments))
    return Conversation(reasoner, journal, str(where)), journal


def resume_job(
    path: Path,
    vehicle: Path | None = None,
    progress: Callable[[float], None] | None = None,
    instruments: tuple[str, ...] | None = None,
) -> tuple[Conversation, Journal, list[str]]:
    """An old job again, with messages on what changed since. Raises JournalError, KnowledgeError, DiagError."""
    journal = Journal.open(path)
    try:
        if not journal.records:
            raise DiagError(f"{path}: the journal is empty; nothing was kept. Begin the job again.")
        try:
            state: JobState = replay(journal.records)
        except ValueError as error:
            raise DiagError(
                f"{path}:1:1: {error}; found `{journal.records[0].event}`. Use a file that diag wrote."
            ) from error
        without = frozenset(state.without)
        file = vehicle or known_vehicle(state)
        reasoner = open_reasoner(file, without, progress)
        messages = list(journal.messages)
        now = reasoner.knowledge.content_hash
        if state.knowledge != now:
            messages.append(
                f"The knowledge changed since this job began ({state.knowledge} then, {now} now); "
                "all answers are weighed again with today's."
            )
        journal.append("resumed", knowledge=now, tool=__version__, engine=reasoner.matcher.name)
        if instruments is not None:
            journal.append("instruments", have=list(instruments))
        conversation = Conversation(reasoner, journal, str(path))
        lost = conversation.unknown_answers()
        if lost:
            messages.append(
                f"Answers {', '.join(map(str, lost))} mean nothing to today's knowledge and are left aside."
            )
        return conversation, journal, messages
    except BaseException:
        journal.close()
        raise


def known_vehicle(state: JobState) -> Path:
    """The vehicle file of a job: where it was, else the shipped one of that name."""
    path = Path(state.vehicle_file)
    if path.is_absolute() and path.exists():
        return path
    shipped = default_vehicle().parent / (path.name or f"{state.vehicle}.yaml")
    return shipped if shipped.exists() else path


class Rehearsed:
    """A keeper in memory, for rehearsals and replays."""

    def __init__(self, records: list[Record] | None = None) -> None:
        self._records: list[Record] = list(records or [])

    @property
    def records(self) -> tuple[Record, ...]:
        """All records so far."""
        return tuple(self._records)

    def append(self, event: str, /, **fields: Any) -> Record:
        """Keep one record."""
        at = self._records[-1].at if self._records else "2026-01-01T00:00:00Z"
        record = Record(1, len(self._records) + 1, at, event, fields)
        self._records.append(record)
        return record

    @staticmethod
    def opened(reasoner: Reasoner, instruments: tuple[str, ...] = INSTRUMENTS[:2]) -> Rehearsed:
        """A keeper with an open job."""
        keeper = Rehearsed()
        file = Path(reasoner.knowledge.vehicle.vehicle)
        keeper.append("opened", **_opened(reasoner, file, frozenset()), simulated=True)
        keeper.append("instruments", have=list(instruments))
        return keeper
