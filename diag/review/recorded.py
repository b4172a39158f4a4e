"""Recorded jobs of the layers: read, and told where a file of a job cannot be used or lacks the other.

Knows files and records only.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from diag.errors import DiagError, Place, Problem
from diag.job.journal import read_journal
from diag.job.records import Record
from diag.knowledge.layers import SHIPPED, Layer
from diag.knowledge.load import rules_folder
from diag.replay.jobs import shipped_jobs

__all__ = ["jobs_of", "lone_files"]

_EXPECT = ".expect.yaml"


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
                    problems.append(_bad(path, "it does not begin with the opening of a job"))
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
    return Problem(
        place, f"this recorded job cannot be used: {what}", "", "",
        "Record it again, or take the line away.", "bad-job", "warning" if severity == "warning" else "error",
    )  # fmt: skip


def lone_files(files: Mapping[Path, str]) -> list[Problem]:
    """Jobs without what they must come to, and the other way round."""
    out = []
    for path, sort in files.items():
        if sort == "job" and not path.with_name(path.stem + _EXPECT).exists():
            out.append(
                Problem(
                    Place(str(path)), "nothing says what this recorded job must come to", "",
                    f"a file `{path.stem}{_EXPECT}` beside it", "Write it, with `cause` and `ends-at`.",
                    "lone-job", "warning",
                )
            )  # fmt: skip
        elif sort == "expect" and not path.with_name(path.name.removesuffix(_EXPECT) + ".jsonl").exists():
            out.append(
                Problem(
                    Place(str(path)), "there is no recorded job beside this", "",
                    f"a file `{path.name.removesuffix(_EXPECT)}.jsonl`", "Put the job beside it, or take this away.",
                    "lone-job",
                )
            )  # fmt: skip
    return out
