"""Outcomes of a run saved to a file, to compare a later run with. Knows JSON and outcomes."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path

from diag.errors import DiagError, KnowledgeError
from diag.knowledge.reader import file_bytes
from diag.knowledge.writer import replaced
from diag.replay.forms import Outcome
from diag.texts import t

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
            t(
                "{path}: could not be written: {strerror}; expected a place that can be written to.",
                path=path,
                strerror=error.strerror or error,
            )
        ) from error


def read_baseline(path: Path, option: str = "--against") -> dict[str, Outcome]:
    """Outcomes by job. Raises DiagError saying where the file is not as it should be."""
    expected = t("expected a file that `diag replay --save` wrote")
    try:
        content = file_bytes(path, _LARGEST, t("a file that `diag replay --save` wrote"))
    except KnowledgeError as error:
        raise DiagError(f"{option} {error}") from error
    try:
        found = json.loads(content.decode("utf-8"))
    except UnicodeDecodeError as error:
        raise DiagError(
            t(
                "{option} {path}:1:1: found bytes that are not UTF-8; {expected}.",
                option=option,
                path=path,
                expected=expected,
            )
        ) from error
    except json.JSONDecodeError as error:
        raise DiagError(
            t(
                "{option} {path}:{lineno}:{colno}: found no JSON there; {expected}.",
                option=option,
                path=path,
                lineno=error.lineno,
                colno=error.colno,
                expected=expected,
            )
        ) from error
    except RecursionError as error:
        raise DiagError(
            t(
                "{option} {path}:1:1: found brackets nested too deep; {expected}.",
                option=option,
                path=path,
                expected=expected,
            )
        ) from error
    form = found.get(_NAME) if isinstance(found, dict) else None
    if isinstance(form, int) and not isinstance(form, bool) and form > _FORM:
        raise DiagError(
            t(
                "{option} {path}:1:1: found form {form}; expected at most {form_2}. Save it anew.",
                option=option,
                path=path,
                form=form,
                form_2=_FORM,
            )
        )
    if form != _FORM or not isinstance(found.get("outcomes"), list):
        raise DiagError(
            t("{option} {path}:1:1: found something else; {expected}.", option=option, path=path, expected=expected)
        )
    outcomes = {}
    for number, one in enumerate(found["outcomes"]):
        try:
            outcome = Outcome.read(one)
        except ValueError as error:
            raise DiagError(
                t(
                    "{option} {path}:{number}:1: outcome {number_2}: {error}. Save it anew.",
                    option=option,
                    path=path,
                    number=number + 2,
                    number_2=number + 1,
                    error=error,
                )
            ) from error
        outcomes[outcome.job] = outcome
    return outcomes
