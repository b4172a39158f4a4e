"""The shape of a job's report: plain values that every form of the log is made from.

Knows no journal, no reasoner and no wording. Field names, with hyphens for underscores, are the keys of
the JSON form; numbers are the journal's own (`number` = seq), chances run from 0 to 1.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from diag.job.layered import LayerTold

__all__ = [
    "FORMAT",
    "Candidate",
    "Cause",
    "Chance",
    "Conflict",
    "Done",
    "Evidence",
    "FiredRule",
    "Item",
    "Limits",
    "Moment",
    "OddAnswer",
    "Proof",
    "Report",
    "RuleRef",
    "RuledOut",
    "Stage",
    "Suspect",
    "Trail",
    "TrailRow",
    "Vehicle",
    "Versions",
]

FORMAT = 1
"""Of the JSON form; raised when a key changes its meaning or goes away."""


@dataclass(frozen=True)
class Moment:
    """A time. `utc`: ISO 8601 with Z. `local`: the same with its offset. `zone`: name of the local zone."""

    utc: str
    local: str
    zone: str


@dataclass(frozen=True)
class Chance:
    """A chance. `p`: 0 to 1, four digits. `words`: in words. `percent`: to be read, never a bare 0 or 100."""

    p: float
    words: str
    percent: str


@dataclass(frozen=True)
class Vehicle:
    """The vehicle. `id`, `title`; `file`: name of its file; `system_v` volts; `earth` polarity; `history`:
    rewired or aged; `alterations` done to it, in words."""

    id: str
    title: str
    file: str
    system_v: float
    earth: str
    history: str
    alterations: tuple[str, ...]


@dataclass(frozen=True)
class Versions:
    """What worked on the job. `tool`, `engine`, `knowledge` as it began; `tool_now`, `engine_now`,
    `knowledge_now` at this export; `knowledge_differs` where the answers are weighed by other knowledge. `layers`
    and `layers_now`: shipped rules, rule packs and the local folder, each with `name`, `version` and `hash`, lowest
    first (`layers` is None in a job from before there were any); `changes` of them in words; `replaced`: how many
    entries of lower layers stand others for, at this export."""

    tool: str
    engine: str
    knowledge: str
    tool_now: str
    engine_now: str
    knowledge_now: str
    knowledge_differs: bool
    layers: tuple[LayerTold, ...] | None
    layers_now: tuple[LayerTold, ...]
    changes: tuple[str, ...]
    replaced: int


@dataclass(frozen=True)
class Limits:
    """A good reading lies from `min` to `max` (None: no bound), in the item's unit; `source` of the two;
    `met` by the reading."""

    min: float | None
    max: float | None
    source: str
    met: bool


@dataclass(frozen=True)
class Item:
    """One thing that happened. `number`, `at`; `event` as in the journal; `status`: standing, withdrawn or
    corrected, by record `marked_by`; `corrects`: number of the answer it replaces; `period`: 0 before the
    first remedy or change. `known`: whether today's knowledge knows the check and the answer.

    `check`, `title`, `instruction` (operated, watched or probed), `operated` (controls); `expected` on a
    healthy vehicle, from `expected_from` (computed, usual answer, or empty); `found` in words, `value` as
    kept, `unit`; `limits`; `sound`: whether a healthy vehicle gives this answer (None: cannot be said).
    `text`: a note, a change, a caution or a reason, in words."""

    number: int
    at: Moment
    event: str
    period: int
    status: str = "standing"
    marked_by: int | None = None
    corrects: int | None = None
    known: bool = True
    check: str = ""
    title: str = ""
    instruction: str = ""
    operated: str = ""
    expected: str = ""
    expected_from: str = ""
    found: str = ""
    value: Any = None
    unit: str = ""
    limits: Limits | None = None
    sound: bool | None = None
    text: str = ""


@dataclass(frozen=True)
class Cause:
    """A fault. `id`, `title`, `chance` that it is there."""

    id: str
    title: str
    chance: Chance


@dataclass(frozen=True)
class Candidate:
    """A remedy held likely. `id`, `title`, `chance` that it is needed, `causes` it would cure, likeliest
    first; `steps`, `cautions`, `parts` at hand, `minutes`; `learned`: what closed jobs taught of it, where that
    says much."""

    id: str
    title: str
    chance: Chance
    causes: tuple[Cause, ...]
    steps: tuple[str, ...]
    cautions: tuple[str, ...]
    parts: tuple[str, ...]
    minutes: float
    learned: str = ""


@dataclass(frozen=True)
class RuleRef:
    """A rule. `id`, `title`, `because` (the physical reason), `source` of it."""

    id: str
    title: str
    because: str
    source: str


@dataclass(frozen=True)
class Evidence:
    """What one answer says of a remedy. `remedy` id; `number` and `finding` of the answer; `weight`: how
    many times likelier the answer is with it than with its rivals; `words` for the weight; `source`:
    computed, a rule's id, or usual share; `predicted` with the fault, `healthy` on a healthy vehicle;
    `rules` that say the same; `explained_by`: title of another remedy, carried out later, that explains it."""

    remedy: str
    number: int
    finding: str
    weight: float
    words: str
    source: str
    predicted: str
    healthy: str
    rules: tuple[RuleRef, ...]
    explained_by: str


@dataclass(frozen=True)
class FiredRule:
    """A rule that fired. `rule`; `rests_on`: answers and established words; `concludes` in words;
    `established`: words it adds for other rules."""

    rule: RuleRef
    rests_on: tuple[str, ...]
    concludes: tuple[str, ...]
    established: tuple[str, ...]


@dataclass(frozen=True)
class RuledOut:
    """A remedy that was once suspected. `id`, `title`; `peak` and `now` chances; the answer that speaks
    most against it: `number`, `finding`, `weight`, `words` (None and empty: nothing of its own, others fit
    far better); `against`: title of the remedy it is compared with (empty: all rivals)."""

    id: str
    title: str
    peak: Chance
    now: Chance
    number: int | None
    finding: str
    weight: float | None
    words: str
    against: str


@dataclass(frozen=True)
class OddAnswer:
    """An answer that speaks against the rest. `number`, `finding`; `misread`: chance that it was misread or
    mistyped, were the cause one that the knowledge holds."""

    number: int
    finding: str
    misread: Chance


@dataclass(frozen=True)
class Conflict:
    """An answer that what is held likeliest does not explain. `number`, `finding`; `explained_by`: title of
    a remedy carried out later that explains it (empty: nothing does)."""

    number: int
    finding: str
    explained_by: str


@dataclass(frozen=True)
class Stage:
    """What was held to be wrong at one point, computed anew. `kind`: remedy, change or end; `number`, `at`
    of the record it stands before (`number` None at the end); `chosen`: id of the remedy carried out (empty
    if none); `reason` the program has to conclude (empty: it would have asked on); `candidates` likeliest
    first; `sound` chance that nothing is wrong, `outside` chance of a cause not in the model; `evidence`,
    `rules` that fired since the last remedy, `ruled_out` anew, `unexplained` answers; `odd` answers, the one
    most worth repeating first; `contradictions`: numbers of answers that nothing explains together."""

    kind: str
    number: int | None
    at: Moment
    chosen: str
    reason: str
    candidates: tuple[Candidate, ...]
    sound: Chance
    outside: Chance
    evidence: tuple[Evidence, ...]
    rules: tuple[FiredRule, ...]
    ruled_out: tuple[RuledOut, ...]
    unexplained: tuple[Conflict, ...]
    odd: tuple[OddAnswer, ...] = ()
    contradictions: tuple[tuple[int, ...], ...] = ()


@dataclass(frozen=True)
class Proof:
    """One check after a remedy. `number`, `check`, `title`, `found`, `expected`, `sound`."""

    number: int
    check: str
    title: str
    found: str
    expected: str
    sound: bool


@dataclass(frozen=True)
class Done:
    """Work on the vehicle. `number`, `at`; `kind`: remedy or change; `remedy` id (empty for a change),
    `title`; `known` to today's knowledge; `before`: chance that it was needed, just before; `steps`,
    `cautions`; `proofs`, `unproved`: titles of proof checks not carried out; `verdict`: proved,
    proved-together, failed or not-proved; `still_needed`: chance now."""

    number: int
    at: Moment
    kind: str
    remedy: str
    title: str
    known: bool
    before: Chance | None
    steps: tuple[str, ...]
    cautions: tuple[str, ...]
    proofs: tuple[Proof, ...]
    unproved: tuple[str, ...]
    verdict: str
    still_needed: Chance | None


@dataclass(frozen=True)
class Suspect:
    """A column of the trail. `letter`, `id` and `title` of the remedy."""

    letter: str
    id: str
    title: str


@dataclass(frozen=True)
class TrailRow:
    """Chances after one record. `number`, `finding`; `chances` in the order of the suspects; `sound`, `outside`."""

    number: int
    finding: str
    chances: tuple[Chance, ...]
    sound: Chance
    outside: Chance


@dataclass(frozen=True)
class Trail:
    """How chances moved. `suspects` are the columns, `rows` one a record that counts; of `counted` records of a long
    job a spread, with the last of each period."""

    suspects: tuple[Suspect, ...] = ()
    rows: tuple[TrailRow, ...] = ()
    counted: int = 0

    @property
    def spread(self) -> bool:
        """Whether not every record that counts has a row."""
        return len(self.rows) < self.counted


@dataclass(frozen=True)
class Report:
    """A job. `format` of this report; `job`: name of its file; `vehicle`; `opened`, `last`: of the first
    record and of what was put in last; `versions`; `without` (wiring, rules); `instruments` (None: not told);
    `file_messages` on the journal; `status`: not-begun, in-progress, concluded, nothing-in-the-model, no-fault-found
    or done; `complaints` in words; `items` in order; `stages`; `done`; `trail`; `conflicts` now; `unknown`: numbers of
    answers that mean nothing to today's knowledge; `open_items` in words; `to_tell` in words: no work is open there,
    and whoever takes the vehicle over still has to know it."""

    job: str
    vehicle: Vehicle
    opened: Moment
    last: Moment
    versions: Versions
    without: tuple[str, ...]
    instruments: tuple[str, ...] | None
    file_messages: tuple[str, ...]
    status: str
    complaints: tuple[str, ...]
    items: tuple[Item, ...]
    stages: tuple[Stage, ...]
    done: tuple[Done, ...]
    trail: Trail
    conflicts: tuple[Conflict, ...]
    unknown: tuple[int, ...]
    open_items: tuple[str, ...]
    to_tell: tuple[str, ...] = ()
    format: int = field(default=FORMAT)
