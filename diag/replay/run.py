"""An archive replayed: vehicle by vehicle, with what was worked out before looked up.

Knows where vehicles and outcomes are found; nothing of how a job is weighed or how differences are told.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Protocol

from diag.errors import DiagError, KnowledgeError
from diag.knowledge.assemble import Knowledge
from diag.knowledge.layers import Layer, base_layer, installed_layers, layered_vehicle
from diag.knowledge.load import load_knowledge
from diag.replay.archive import Archive, Filed
from diag.replay.forms import Outcome
from diag.replay.store import Store, key_of
from diag.replay.workers import Replayed, Vehicle, opened, replay_side_by_side, room_for
from diag.texts import t

__all__ = ["Telling", "replay_archive"]


class Telling(Protocol):
    """What is told while it runs."""

    def jobs(self, done: int, total: int) -> None:
        """So many of all jobs are through."""

    def table(self, share: float) -> None:
        """Share of a vehicle's table that is computed, where it was not kept."""

    def note(self, text: str) -> None:
        """Something worth a line."""


def replay_archive(
    archive: Archive, workers: int, store: Store | None, telling: Telling, *, packs: bool = True
) -> list[Replayed]:
    """What came of every job, by name; the same however many `workers` there are. A vehicle that cannot be opened is
    the problem of each of its jobs. `packs` False: without rule packs and rules of the user's own. Raises
    KnowledgeError for packs that cannot be used."""
    layers = installed_layers() if packs else (base_layer(),)
    groups: dict[Vehicle | str, list[Filed]] = {}
    known: dict[tuple[str, str, str, tuple[str, ...]], Vehicle | str] = {}
    for filed in archive.jobs:
        key = (str(Path(filed.path).parent), filed.vehicle_file, filed.vehicle, filed.without)
        if key not in known:
            known[key] = _vehicle_of(filed, layers)
        groups.setdefault(known[key], []).append(filed)
    run = _Run(archive, workers, store, telling)
    for vehicle, jobs in sorted(groups.items(), key=lambda group: str(group[0])):
        run.take(vehicle, jobs)
    return sorted(run.done, key=lambda replayed: replayed.name)


def _vehicle_of(filed: Filed, layers: Sequence[Layer]) -> Vehicle | str:
    """The vehicle to replay a job on: the file that it names, one of that name near the job, else of the highest
    layer that has one; in words what is wrong where there is none."""
    path = Path(filed.vehicle_file or f"{filed.vehicle}.yaml")
    near = Path(filed.path).parent
    places: list[Path | None] = [path] if path.is_absolute() else []
    places += [near / path.name, near.parent / "vehicles" / path.name, layered_vehicle(path.name, layers)]
    without = filed.without if len(layers) > 1 or "packs" in filed.without else (*filed.without, "packs")
    for place in places:
        if place is not None and place.is_file():
            return Vehicle(place, tuple(sorted(without)))
    if not filed.vehicle:
        return ""
    return t(
        "found no vehicle file {path}; expected it where the job names it, beside the job, or in a layer.",
        path=path.name,
    )


class _Run:
    def __init__(self, archive: Archive, workers: int, store: Store | None, telling: Telling) -> None:
        self.archive, self.workers, self.store, self.telling = archive, workers, store, telling
        self.done: list[Replayed] = []

    def take(self, vehicle: Vehicle | str, jobs: Sequence[Filed]) -> None:
        """All jobs of one vehicle."""
        if isinstance(vehicle, str):
            self._fail(jobs, vehicle)
            return
        try:
            layers = (base_layer(),) if "packs" in vehicle.without else None
            knowledge = load_knowledge(vehicle.file, layers=layers)
            keys = {
                filed.name: key_of(knowledge.content_hash, vehicle.without, filed.sha, filed.beside) for filed in jobs
            }
            left = self._look_up(jobs, keys)
            if left:
                self._work_out(vehicle, knowledge, left, keys)
        except KnowledgeError as error:
            self._fail(jobs, _first(error, vehicle))
        except DiagError as error:
            self._fail(jobs, str(error))

    def _fail(self, jobs: Sequence[Filed], problem: str) -> None:
        """Jobs without a vehicle; what is wrong with a file itself goes before that."""
        through = {replayed.name for replayed in self.done}
        for filed in jobs:
            if filed.name not in through:
                job = filed.job()
                said = job.problem or problem or _headless(filed)
                self.done.append(Replayed(filed.name, Outcome(filed.name, filed.vehicle, problem=said), None))
        self.telling.jobs(len(self.done), len(self.archive.jobs))

    def _look_up(self, jobs: Sequence[Filed], keys: dict[str, str]) -> list[Filed]:
        """Takes what is kept; the jobs that are not."""
        kept = self.store.get(list(keys.values())) if self.store is not None else {}
        left = []
        for filed in jobs:
            known = _unpacked(filed.name, kept.get(keys[filed.name]))
            if known is None:
                left.append(filed)
            else:
                self.done.append(known)
        self.telling.jobs(len(self.done), len(self.archive.jobs))
        return left

    def _work_out(self, vehicle: Vehicle, knowledge: Knowledge, jobs: list[Filed], keys: dict[str, str]) -> None:
        deeds = [
            deed for name in sorted({filed.vehicle_file for filed in jobs}) for deed in self.archive.deeds.get(name, ())
        ]
        reasoner = opened(vehicle, self.telling.table, deeds, knowledge)
        workers, less = room_for(self.workers)
        if less:
            self.telling.note(less)
        jobs = sorted(jobs, key=lambda filed: (filed.remedies, filed.name))  # what is alike is solved together
        for row in replay_side_by_side(reasoner, vehicle, deeds, jobs, workers):
            self.done += row
            if self.store is not None:
                sound = [one for one in row if not one.now.problem and not one.messages]  # those name the file
                self.store.put({keys[one.name]: _packed(one) for one in sound})
            self.telling.jobs(len(self.done), len(self.archive.jobs))


def _headless(filed: Filed) -> str:
    first = filed.job().records[:1]
    found = f"`{first[0].event}`" if first else "nothing"
    return t(
        "{path}:1:1: a job begins with an `opened` record; found {found}. Use a file that diag wrote.",
        path=filed.path,
        found=found,
    )


def _first(error: KnowledgeError, vehicle: Vehicle) -> str:
    more = t(" ({number} more)", number=len(error.problems) - 1) if len(error.problems) > 1 else ""
    return t(
        "its vehicle {file} cannot be opened: {problems}{more}",
        file=vehicle.file,
        problems=error.problems[0],
        more=more,
    )


def _packed(replayed: Replayed) -> str:
    then = replayed.then.plain() if replayed.then is not None else None
    return json.dumps({"now": replayed.now.plain(), "then": then, "messages": list(replayed.messages)})


def _unpacked(name: str, text: str | None) -> Replayed | None:
    """None where nothing is kept, or what is kept is damaged."""
    if text is None:
        return None
    try:
        found = json.loads(text)
        now = Outcome.read(found["now"])
        then = None if found["then"] is None else replace(Outcome.read(found["then"]), job=name)
        messages = tuple(str(message) for message in found["messages"])
    except (ValueError, KeyError, TypeError, RecursionError):
        return None
    return Replayed(name, replace(now, job=name), then, messages)
