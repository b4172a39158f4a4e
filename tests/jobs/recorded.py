"""Recorded jobs as the tests see them: what was answered before each remedy, and what leads then."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any
from weakref import WeakKeyDictionary

import yaml

from diag.job.journal import read_journal
from diag.job.records import Record
from diag.job.state import replay
from diag.reason.reasoner import Beliefs, Reasoner
from diag.talk.findings import findings_of

FOLDER = Path(__file__).parents[2] / "transcripts"
NAMES = sorted(path.stem for path in FOLDER.glob("*.jsonl"))


def names_on(vehicle: str) -> list[str]:
    """The jobs recorded on one shipped vehicle, by its file name."""
    return [name for name in NAMES if Recorded.read(name).vehicle == vehicle]


@dataclass(frozen=True)
class Recorded:
    """A recorded job with what it must come to."""

    name: str
    records: tuple[Record, ...]
    expect: dict[str, Any]

    @staticmethod
    def read(name: str) -> Recorded:
        records, _ = read_journal(FOLDER / f"{name}.jsonl")
        return Recorded(name, records, yaml.safe_load((FOLDER / f"{name}.expect.yaml").read_text(encoding="utf-8")))

    @property
    def vehicle(self) -> str:
        """File name of the vehicle that it was recorded on."""
        return str(self.records[0].fields["vehicle-file"])

    def remedies(self) -> list[str]:
        return [str(record.fields["remedy"]) for record in self.records if record.event == "remedied"]

    def before_remedies(self) -> list[tuple[Record, ...]]:
        """The records up to each remedy."""
        return [self.records[:i] for i, record in enumerate(self.records) if record.event == "remedied"]

    def with_answer(self, seq: int, value: Any) -> Recorded:
        """The job with one answer changed."""
        changed = tuple(
            Record(r.v, r.seq, r.at, r.event, {**r.fields, "value": value}) if r.seq == seq else r for r in self.records
        )
        return Recorded(self.name, changed, self.expect)


def believed(reasoner: Reasoner, records: tuple[Record, ...]) -> Beliefs:
    """Beliefs after those records."""
    findings, treated, proving, _ = findings_of(reasoner, replay(records))
    return reasoner.beliefs(findings, treated, proving=proving is not None)


_LED: WeakKeyDictionary[Reasoner, dict[str, list[tuple[str, float]]]] = WeakKeyDictionary()


def leaders(reasoner: Reasoner, job: Recorded) -> list[tuple[str, float]]:
    """The remedy that leads before each one that was carried out, with its chance; worked out once a job as it is
    recorded."""
    known = _LED.setdefault(reasoner, {})
    if job.name not in known:
        known[job.name] = []
        for records in job.before_remedies():
            ranking = believed(reasoner, records).ranking
            known[job.name].append(ranking[0] if ranking else ("", 0.0))
    return known[job.name]
