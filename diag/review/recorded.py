"""Recorded jobs of the layers: read, and told where a file of a job cannot be used or lacks the other.

Knows files and records only.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from diag.errors import DiagError, Place, Problem
from diag.job.journal import read_journal
from diag.job.records import Record
from diag.knowledge.layers import SHIPPED, Layer
from diag.knowledge.load import rules_folder
from diag.knowledge.names import nearest, quoted
from diag.knowledge.reader import Loc, Marked
from diag.reason.ruled import ground
from diag.replay.jobs import EXPECT, shipped_jobs
from diag.review.expect import ExpectFile
from diag.review.fitting import Fitted
from diag.review.slips import Slips
from diag.texts import t

__all__ = ["Asked", "bad_job", "jobs_of", "judge_expected", "lone_files"]


@dataclass(frozen=True)
class Asked:
    """What the rules that are looked over ask of: `checks`, the `points` at which those look, `complaints` that mean
    one of them, and `named` jobs. A job that answers none of that exercises none of the rules."""

    checks: frozenset[str]
    points: frozenset[str]
    complaints: frozenset[str]
    named: frozenset[str]

    @staticmethod
    def of(looked: Iterable[Slips]) -> Asked:
        """Of the rules that stand in files looked over."""
        checks: set[str] = set()
        points: set[str | None] = set()
        complaints: set[str] = set()
        named: set[str] = set()
        for slips in looked:
            know = slips.know
            own = frozenset(slips.owned(iter(know.rules)))
            for grounded in ground(list(know.rules.values())) if own else ():
                checks |= grounded.conditions.keys() if grounded.rule_id in own else set()
            for check in (know.checks[name] for name in checks & know.checks.keys()):
                points |= {check.target, check.red, check.through}
            for name, symptom in know.symptoms.items():
                if any(condition.check in checks for way in symptom.shows for condition in way):
                    complaints.add(name)
            named |= {job for name in own for job in (*know.rules[name].leads_there, *know.rules[name].near_miss)}
        return Asked(frozenset(checks), frozenset(p for p in points if p), frozenset(complaints), frozenset(named))

    def __bool__(self) -> bool:
        return bool(self.checks or self.named)

    def in_job(self, name: str, records: Sequence[Record]) -> bool:
        """Whether a job may exercise one of the rules."""
        return name in self.named or any(
            str(record.fields.get("check")) in self.checks
            or str(record.fields.get("value")) in self.complaints
            or not self.points.isdisjoint(str(record.fields.get(key)) for key in ("target", "red", "through"))
            for record in records
            if record.event in ("answered", "found")
        )


def bad_job(layers: Sequence[Layer], name: str, why: str) -> Problem:
    """A job that could be read and not lived through."""
    paths = [folder / f"{name}.jsonl" for layer in layers for folder in _folders(layer)]
    return _bad(next((path for path in reversed(paths) if path.is_file()), Path(f"{name}.jsonl")), why)


def jobs_of(layers: Sequence[Layer]) -> tuple[dict[str, tuple[Record, ...]], list[Problem]]:
    """Every job by name, the highest layer's where two have one name; and those that cannot be read."""
    jobs: dict[str, tuple[Record, ...]] = {}
    problems = []
    for layer in layers:
        for folder in _folders(layer):
            for path in sorted(folder.glob("*.jsonl")) if folder.is_dir() else ():
                try:
                    records, messages = read_journal(path)
                except DiagError as error:
                    problems.append(_bad(path, str(error)))
                    continue
                if not records or records[0].event != "opened":
                    problems.append(_bad(path, t("it does not begin with the opening of a job")))
                    continue
                problems += [_bad(path, message, "warning") for message in messages]
                jobs[path.stem] = records
    return jobs, problems


def _folders(layer: Layer) -> list[Path]:
    shipped = layer.origin == SHIPPED and layer.folder.resolve() == rules_folder().resolve()
    return [layer.folder / "jobs", *([shipped_jobs()] if shipped else [])]


def _bad(path: Path, told: str, severity: str = "error") -> Problem:
    text = told.removeprefix(f"{path}:").removeprefix(f"{path}").strip(": ").removesuffix(".")
    line, _, rest = text.partition(":")
    place = Place(str(path), int(line)) if line.isdigit() else Place(str(path))
    what = rest.lstrip("0123456789:").strip() if line.isdigit() else text
    what, _, expected = what.partition("; expected ")
    return Problem(
        place,
        t("this recorded job cannot be used: {what}", what=what),
        "",
        expected.partition(". ")[0],
        t("Record it again, or take the line away."),
        "bad-job",
        "warning" if severity == "warning" else "error",
    )


def judge_expected(marked: Marked, expected: ExpectFile, found: Fitted) -> list[Problem]:
    """Causes and remedies that a job must come to and the vehicle does not have."""
    causes = {*(found.causes or ()), *found.knowledge.causes}
    cause = (expected.cause,) if isinstance(expected.cause, str) else expected.cause
    named: list[tuple[Loc, str, Collection[str], str]] = []
    for index, name in enumerate(cause) if found.causes is not None else ():
        named.append((("cause", index), name, causes, "cause"))
    for key, remedies in (("ends-at", expected.ends_at), ("not-at", expected.not_at)):
        named += [((key, index), name, found.remedies, "remedy") for index, name in enumerate(remedies)]
    vehicle = found.knowledge.vehicle.title
    return [
        Problem(
            marked.place(loc),
            t("there is no such {word} on the vehicle of this job", word=word),
            quoted(name),
            t("a {word} of: {vehicle}", word=word, vehicle=vehicle),
            nearest(name, among) or t("Correct the name."),
            f"unknown-{word}",
        )
        for loc, name, among, word in named
        if name not in among
    ]


def lone_files(files: Mapping[Path, str]) -> list[Problem]:
    """Jobs without what they must come to, and the other way round."""
    out = []
    for path, sort in files.items():
        if sort == "job" and not path.with_name(path.stem + EXPECT).exists():
            out.append(
                Problem(
                    Place(str(path)),
                    t("nothing says what this recorded job must come to"),
                    "",
                    t("a file `{stem}{expect}` beside it", stem=path.stem, expect=EXPECT),
                    t("Write it, with `cause` and `ends-at`."),
                    "lone-job",
                    "warning",
                )
            )
        elif sort == "expect" and not path.with_name(path.name.removesuffix(EXPECT) + ".jsonl").exists():
            out.append(
                Problem(
                    Place(str(path)),
                    t("there is no recorded job beside this"),
                    "",
                    t("a file `{path}.jsonl`", path=path.name.removesuffix(EXPECT)),
                    t("Put the job beside it, or take this away."),
                    "lone-job",
                    "warning",
                )
            )
    return out
