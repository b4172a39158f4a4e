"""Opens what a conversation needs: knowledge, predictions, the rule engine, and the job's journal.

Knows where things live; nothing of what is asked.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from diag import __version__
from diag.circuit.doubts import cause_problems
from diag.circuit.predict import Predictor
from diag.errors import DiagError, KnowledgeError
from diag.job.folder import new_job_path
from diag.job.journal import Journal, is_blank
from diag.job.layered import layer_changes, told_of
from diag.job.records import Record
from diag.job.state import JobState, replay
from diag.knowledge.assemble import Knowledge
from diag.knowledge.copies import LIST, Copy, read_copy
from diag.knowledge.folders import cache_folder, packs_left_out
from diag.knowledge.layers import WAY_OUT, Layer, base_layer, found_layers, layered_vehicle
from diag.knowledge.load import default_vehicle, load_knowledge
from diag.reason.engine import default_matcher
from diag.reason.forward import Matcher, limit_problems
from diag.reason.operates import looked_at, step_operates
from diag.reason.reasoner import Reasoner
from diag.talk.conversation import Conversation
from diag.talk.settings import INSTRUMENTS, setting
from diag.texts import t

__all__ = [
    "INSTRUMENTS",
    "WITHOUT",
    "Rehearsed",
    "cache_folder",
    "knowledge_beside",
    "known_vehicle",
    "new_job",
    "open_reasoner",
    "reasoner_for",
    "reasoner_of",
    "resume_job",
    "vehicle_at",
    "vehicle_file",
    "vehicle_finder",
]

OTHERWISE = t(
    "These rules came with the job. To weigh it by this machine's: --today at resume and export; "
    "the log as it was lies beside the job."
)
"""Told after a mistake in rules that came with a job: an older or newer program wrote them."""
WITHOUT = ("wiring", "rules")
"""The two halves of reasoning. `packs` may be left out beside: then only the shipped rules count."""


def vehicle_file(given: str | None, packs: bool = True) -> Path:
    """A vehicle file by path, or by the name of one in a layer: shipped, of a pack, of the local folder. Where none
    is given, the one that DIAG_VEHICLE or the settings name, else the demo vehicle. Raises KnowledgeError where two
    packs have one of that name."""
    given = given if given is not None else setting("vehicle").value
    if not given:
        return default_vehicle()
    path = Path(given)
    if path.exists() or path.name != given:
        return path
    return _named(given, packs) or path


def _named(name: str, packs: bool) -> Path | None:
    """The vehicle of that file name in the highest layer that has one; a broken pack hides only its own."""
    layers = found_layers()[0] if packs and not packs_left_out() else (base_layer(),)
    return layered_vehicle(name, layers)


def open_reasoner(
    vehicle: Path,
    without: frozenset[str] = frozenset(),
    progress: Callable[[float], None] | None = None,
    matcher: Matcher | None = None,
    layers: Sequence[Layer] | None = None,
) -> Reasoner:
    """The reasoner of a vehicle. `layers`: these in place of this machine's. Raises KnowledgeError for files that
    cannot be used, DiagError where both halves are left out or the wanted engine is absent."""
    _something_left(without)
    if "packs" in without:
        layers = layers[:1] if layers else (base_layer(),)
    knowledge = load_knowledge(vehicle, layers=layers)
    return reasoner_of(knowledge, without, progress, matcher)


def reasoner_of(
    knowledge: Knowledge,
    without: frozenset[str] = frozenset(),
    progress: Callable[[float], None] | None = None,
    matcher: Matcher | None = None,
) -> Reasoner:
    """The same of knowledge that is loaded already. Raises KnowledgeError and DiagError likewise."""
    _something_left(without)
    predictor = None
    if "wiring" not in without:
        predictor = Predictor(knowledge, step_operates(knowledge), cache_folder(), progress, looked_at(knowledge))
    reasoner = Reasoner(knowledge, predictor, matcher or default_matcher(), with_rules="rules" not in without)
    problems = limit_problems(knowledge)
    if without.isdisjoint(WITHOUT) and predictor is not None:
        problems += cause_problems(knowledge, predictor.network, reasoner.index)
    if problems:
        raise KnowledgeError(problems, WAY_OUT if len(knowledge.layers) > 1 else "")
    return reasoner


def _something_left(without: frozenset[str]) -> None:
    if without >= frozenset(WITHOUT):
        raise DiagError(t("without wiring and without rules nothing is left to reason with; leave one of them in"))


def _opened(reasoner: Reasoner, vehicle: Path, without: frozenset[str]) -> dict[str, Any]:
    return {
        "vehicle": reasoner.knowledge.vehicle.vehicle,
        "vehicle-file": str(vehicle.resolve()),
        **_weighed_by(reasoner, without),
    }


def _weighed_by(reasoner: Reasoner, without: frozenset[str]) -> dict[str, Any]:
    """What the answers of a session are weighed by, for the journal."""
    knowledge = reasoner.knowledge
    return {
        "knowledge": knowledge.content_hash,
        "layers": [asdict(one) for one in told_of(knowledge.layers)],
        "replaced": len(knowledge.replaced),
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
    journal = Journal.open(where) if is_blank(where) else Journal.create(where)
    try:
        journal.append("opened", **_opened(reasoner, vehicle, without), **({"simulated": True} if simulated else {}))
        journal.append("instruments", have=list(instruments))
    except BaseException:
        journal.close()
        raise
    return Conversation(reasoner, journal, str(where)), journal


def resume_job(
    path: Path,
    vehicle: Path | None = None,
    progress: Callable[[float], None] | None = None,
    instruments: tuple[str, ...] | None = None,
    packs: bool = True,
    today: bool = False,
) -> tuple[Conversation, Journal, list[str]]:
    """An old job again, with messages on what changed since; whether rule packs count is asked anew each time.
    `today`: a job that came with the rules it was weighed by is weighed by this machine's. Raises JournalError,
    KnowledgeError, DiagError."""
    journal = Journal.open(path)
    try:
        if not journal.records:
            raise DiagError(t("{path}: the journal is empty; nothing was kept. Begin the job again.", path=path))
        try:
            state: JobState = replay(journal.records)
        except ValueError as error:
            raise DiagError(
                t(
                    "{path}:1:1: {error}; found `{event}`. Use a file that diag wrote.",
                    path=path,
                    error=error,
                    event=journal.records[0].event,
                )
            ) from error
        without = frozenset(state.without) - {"packs"} | (frozenset() if packs else {"packs"})
        reasoner = reasoner_for(path, state, without, vehicle, progress, today=today)
        messages = list(journal.messages)
        if state.knowledge != reasoner.knowledge.content_hash:
            messages.append(_what_changed(state, reasoner.knowledge))
        journal.append("resumed", **_weighed_by(reasoner, without))
        if instruments is not None:
            journal.append("instruments", have=list(instruments))
        conversation = Conversation(reasoner, journal, str(path))
        lost = conversation.unknown_answers()
        if lost:
            messages.append(
                t("Answers {map} mean nothing to today's knowledge and are left aside.", map=", ".join(map(str, lost)))
            )
        return conversation, journal, messages
    except BaseException:
        journal.close()
        raise


def reasoner_for(
    path: Path,
    state: JobState,
    without: frozenset[str],
    vehicle: Path | None = None,
    progress: Callable[[float], None] | None = None,
    *,
    today: bool = False,
) -> Reasoner:
    """The reasoner of the job in `path`: of its vehicle's file and this machine's layers, or of the copy of both that
    lies beside a job out of a bundle, unless `today` or another `vehicle` is wanted. Errors as of `open_reasoner`."""
    copy = knowledge_beside(path) if vehicle is None else None
    if copy is not None and not today:
        try:
            return open_reasoner(copy.vehicle, without, progress, layers=copy.layers)
        except KnowledgeError as error:
            raise KnowledgeError(error.problems, OTHERWISE) from error
    file = vehicle or (copy.vehicle if copy is not None else known_vehicle(state, "packs" not in without))
    try:
        return open_reasoner(file, without, progress)
    except KnowledgeError as error:
        if vehicle is not None or file.exists():
            raise
        raise DiagError(
            t(
                "{path}: its vehicle's file is gone: {file}; expected it where the job names it, or in a layer of "
                "rules. Put it back, or name it: --vehicle FILE.",
                path=path.name,
                file=file,
            )
        ) from error


def knowledge_beside(path: Path) -> Copy | None:
    """The copy of vehicle and rules that came with a job, None where it came with none. Raises DiagError where one is
    there that cannot be read."""
    folder = path.parent / "knowledge"
    return read_copy(folder) if (folder / LIST).is_file() else None


def _what_changed(state: JobState, knowledge: Knowledge) -> str:
    now = told_of(knowledge.layers)
    if state.layers is None:
        what = t(
            " ({knowledge} then, {content_hash} now)", knowledge=state.knowledge, content_hash=knowledge.content_hash
        )
    else:
        what = f": {'; '.join(layer_changes(state.layers, now)) or t('the vehicle file is another')}"
    return t("The knowledge changed since this job began{what}. All answers are weighed again with today's.", what=what)


def known_vehicle(state: JobState, packs: bool = True) -> Path:
    """The vehicle file of a job: where it was, else the one of that name in a layer."""
    return vehicle_at(state.vehicle_file, state.vehicle, packs)


def vehicle_at(file: str, vehicle: str, packs: bool = True) -> Path:
    """The same by the file that a job names, and its vehicle's id."""
    path = Path(file)
    if path.is_absolute() and path.exists():
        return path
    return _named(path.name or f"{vehicle}.yaml", packs) or path


def vehicle_finder() -> Callable[[JobState], Path]:
    """What finds the vehicle file of a job; of many jobs on one vehicle the layers are searched once."""
    found: dict[tuple[str, str], Path] = {}

    def find(state: JobState) -> Path:
        key = (state.vehicle_file, state.vehicle)
        if key not in found:
            found[key] = known_vehicle(state)
        return found[key]

    return find


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
