"""Outcomes of a run saved to a file, to compare a later run with. Knows JSON and outcomes."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path

from diag.errors import DiagError, KnowledgeError
from diag.knowledge.reader import file_bytes
from diag.knowledge.writer import replaced
from diag.replay.forms import Outcome

__all__ = ["read_baseline", "write_baseline"]

_FORM = 1
"""Of the file; raised when an older program could misread a newer one."""
_LARGEST = 200_000_000
_NAME = "diag-outcomes"


def write_baseline(path: Path, outcomes: Sequence[Outcome]) -> None:
    """Save the outcomes, one a line, in place of what the file held. Raises DiagError where it cannot be written or
    the file holds something else."""
    if path.exists():
        read_baseline(path, "--save")  # what is not ours is not written over
    lines = ",\n".join(json.dumps(outcome.plain(), separators=(",", ":")) for outcome in outcomes)
    text = f'{{"{_NAME}": {_FORM}, "outcomes": [\n{lines}\n]}}\n'
    try:
        replaced(path, text.encode("ascii"), 0o600)
    except OSError as error:
        raise DiagError(
            f"{path}: could not be written: {error.strerror or error}; expected a place that can be written to."
        ) from error


def read_baseline(path: Path, option: str = "--against") -> dict[str, Outcome]:
    """Outcomes by job. Raises DiagError saying where the file is not as it should be."""
    expected = "expected a file that `diag replay --save` wrote"
    try:
        content = file_bytes(path, _LARGEST, "a file that `diag replay --save` wrote")
    except KnowledgeError as error:
        raise DiagError(f"{option} {error}") from error
    try:
        found = json.loads(content.decode("utf-8"))
    except UnicodeDecodeError as error:
        raise DiagError(f"{option} {path}:1:1: found bytes that are not UTF-8; {expected}.") from error
    except json.JSONDecodeError as error:
        raise DiagError(f"{option} {path}:{error.lineno}:{error.colno}: found no JSON there; {expected}.") from error
    except RecursionError as error:
        raise DiagError(f"{option} {path}:1:1: found brackets nested too deep; {expected}.") from error
    form = found.get(_NAME) if isinstance(found, dict) else None
    if isinstance(form, int) and not isinstance(form, bool) and form > _FORM:
        raise DiagError(f"{option} {path}:1:1: found form {form}; expected at most {_FORM}. Save it anew.")
    if form != _FORM or not isinstance(found.get("outcomes"), list):
        raise DiagError(f"{option} {path}:1:1: found something else; {expected}.")
    outcomes = {}
    for number, one in enumerate(found["outcomes"]):
        try:
            outcome = Outcome.read(one)
        except ValueError as error:
            raise DiagError(f"{option} {path}:{number + 2}:1: outcome {number + 1}: {error}. Save it anew.") from error
        outcomes[outcome.job] = outcome
    return outcomes
