"""One addition from its answers to the folder of one's own: made, tried on recorded jobs, told, put in its place.

Knows where things lie; how questions are put and keys are read is for others.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import Any

import yaml

from diag.author.draft import Draft
from diag.author.effects import Effects, earlier_jobs, effects_of, ends_right
from diag.author.guide import Guide
from diag.author.layering import planned, put, taken_ids, trial
from diag.author.naming import free_id
from diag.author.proof import copied, expected, journal_bytes
from diag.author.signs import story_of
from diag.errors import DiagError
from diag.job.journal import read_journal
from diag.job.records import Record
from diag.job.state import replay
from diag.knowledge.folders import packs_left_out
from diag.knowledge.layers import Layer, installed_layers, layered_vehicle, local_folder
from diag.knowledge.load import load_knowledge
from diag.log.replayed import replayed
from diag.reason.reasoner import Reasoner
from diag.replay.jobs import EXPECT, jobs_in
from diag.talk.opening import known_vehicle, reasoner_of
from diag.texts import t

__all__ = ["Adding", "Tried"]

Share = Callable[[float], None]


@dataclass(frozen=True)
class Tried:
    """An addition that was tried: how it will be written, and what it changes. `good`: nothing is worse, and its own
    job (where it has one) ends at its cure."""

    draft: Draft
    effects: Effects
    copy: tuple[Record, ...]

    @property
    def ends(self) -> bool:
        """Whether its own job, if it has one, ends at its cure."""
        return self.effects.own is None or ends_right(self.effects.own, self.draft.remedy)

    @property
    def good(self) -> bool:
        """Whether it may be saved without asking twice."""
        return self.ends and not self.effects.worse


class Adding:
    """An addition to the rules of this machine. `job`: the closed job that it comes from (None: from nothing);
    `vehicle`: the file that it is tried on, else the one of the job.

    Raises JournalError, KnowledgeError, DiagError where job, vehicle or rules cannot be used.
    """

    def __init__(self, job: Path | None, vehicle: Path | None, share: Share, today: date) -> None:
        if packs_left_out():
            raise DiagError(
                t("DIAG_PACKS=none leaves out rules of your own; expected it unset. Unset it and try again.")
            )
        self.job, self.today, self.share = job, today, share
        self.layers = installed_layers()
        self.folder = local_folder()
        self.records: tuple[Record, ...] = ()
        self.without: frozenset[str] = frozenset()
        if job is not None:
            self.records, _ = read_journal(job)
            try:
                state = replay(self.records)
            except ValueError as error:
                raise DiagError(t("{job}:1:1: {error}. Use a file that diag wrote.", job=job, error=error)) from error
            vehicle = vehicle or known_vehicle(state)
            self.without = frozenset(state.without) & {"wiring", "rules"}
        assert vehicle is not None
        self.vehicle = vehicle
        self.opening = True
        self.reasoner = self._open(vehicle, self.layers)
        self.opening = False
        story = None
        self.day = today.isoformat()
        if job is not None:
            lived = replayed(self.reasoner, self.records)
            story = story_of(lived)
            self.day = lived.state.opened_at[:10]
            if not story.signs and not story.cures:
                raise DiagError(
                    t(
                        "{job}: found nothing odd and nothing that was done; expected a job with a "
                        "fault. `diag rules add --from-nothing` asks for everything.",
                        job=job,
                    )
                )
        taken = taken_ids(self.layers) | set(self.reasoner.remedies)
        self.guide = Guide(self.reasoner, story, self.day, frozenset(taken))

    def _open(self, vehicle: Path, layers: Sequence[Layer]) -> Reasoner:
        own = vehicle.resolve() == self.vehicle.resolve()
        knowledge = load_knowledge(vehicle, layers=tuple(layers))
        return reasoner_of(knowledge, self.without if own else frozenset(), self.share if self.opening else None)

    # ------------------------------------------------------------ trying it

    def tried(self, answers: Mapping[str, str], progress: Callable[[float], None], *, whole: bool = False) -> Tried:
        """What the answers add, replayed on every recorded job that it can touch (`whole`: on the whole vehicle, not
        only on the circuits that a job is about). Raises ValueError for answers that
        make nothing, KnowledgeError for entries that do not load."""
        draft = self.guide.draft(answers)
        copy = copied(self.records, draft) if self.job is not None else ()
        plan = planned(self.folder, draft, self._comment(draft), {})
        with trial(plan, self.layers) as tried:
            jobs = earlier_jobs(self.layers, str(self.job) if self.job is not None else "")
            own = (self.vehicle, copy) if self.job is not None else None
            if own is None:
                self._open(self.vehicle, tried)  # tells what is wrong with causes; no job of its own would
            effects = effects_of(
                draft,
                own,
                jobs,
                self.layers,
                tried,
                self._open,
                self.reasoner,
                progress,
                whole=whole,
            )
        return Tried(draft, effects, copy)

    def _comment(self, draft: Draft) -> str:
        today = f"added {self.today.isoformat()} by `diag rules add`"
        if self.job is None:
            return today
        return f"{today} from a job of {self.day}" if draft.strip else f"{today} from the job {self.job.stem}"

    # ------------------------------------------------------------ keeping it

    def save(self, found: Tried) -> list[Path]:
        """Write rules, and the job that proves them where it ends at its cure; every file written or changed.
        Raises DiagError or OSError, and then nothing is changed."""
        draft, more = found.draft, dict[str, bytes]()
        if found.copy and found.ends:
            name = self._job_name(draft)
            rules = [dict(rule) for rule in draft.entries["rules"]]  # type: ignore[arg-type]
            rules[0]["leads-there"] = [name]
            draft = replace(draft, entries={**draft.entries, "rules": rules})
            more[f"jobs/{name}.jsonl"] = journal_bytes(self._with_vehicle(found.copy, draft, more))
            more[f"jobs/{name}{EXPECT}"] = expected(found.copy, draft, self._source(draft)).encode("utf-8")
        plan = planned(self.folder, draft, self._comment(draft), more)
        with trial(plan, self.layers) as tried:  # once more, with what came since
            load_knowledge(self.vehicle, layers=tried)
        earlier = put(plan)
        return [*([earlier] if earlier is not None else []), plan.path, *(self.folder / name for name in more)]

    @staticmethod
    def _source(draft: Draft) -> str:
        (rule,) = draft.entries["rules"]
        return str(rule["source"])  # type: ignore[index]

    def _job_name(self, draft: Draft) -> str:
        taken = {job.name for job in earlier_jobs(self.layers)}
        if (self.folder / "jobs").is_dir():
            taken |= {job.name for job in jobs_in(self.folder / "jobs")}
        return free_id(draft.rule.split("/")[1][:55].strip("-"), taken)

    def _with_vehicle(self, records: Sequence[Record], draft: Draft, more: dict[str, bytes]) -> Sequence[Record]:
        """The records, naming a vehicle that can be found again: one that no layer has is copied beside them."""
        opened = records[0]
        name = (
            Path(str(opened.fields.get("vehicle-file", ""))).name or f"{self.reasoner.knowledge.vehicle.vehicle}.yaml"
        )
        known = layered_vehicle(name, self.layers)
        mine = _vehicle_bytes(self.vehicle, draft.strip)
        here = known is not None and known.resolve() == self.vehicle.resolve()
        if known is not None and not here and known.read_bytes() not in (mine, self.vehicle.read_bytes()):
            stem, number = Path(name).stem, 2
            while layered_vehicle(f"{stem}-{number}.yaml", self.layers) is not None:
                number += 1
            name, known = f"{stem}-{number}.yaml", None
        if known is None:
            more[f"vehicles/{name}"] = mine
        if not draft.strip:
            return records
        fields = {**opened.fields, "vehicle-file": name}
        return (replace(opened, fields=fields), *records[1:])


def _vehicle_bytes(path: Path, strip: bool) -> bytes:
    """A vehicle's file to keep; stripped of its name, what was written about it, and comments."""
    content = path.read_bytes()
    if not strip:
        return content
    data: dict[str, Any] = yaml.load(content, Loader=yaml.BaseLoader)
    data["title"] = str(data.get("vehicle", "vehicle")).replace("-", " ").capitalize()
    for key in ("alterations", "history-of-alterations"):
        data.pop(key, None)
    out: str = yaml.safe_dump(data, sort_keys=False, allow_unicode=True, width=110)
    return out.encode("utf-8")
