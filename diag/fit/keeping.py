"""Answers on disk: the draft that grows with every answer, a file of answers, and the vehicle's file itself.

Nothing is half written, and nothing that stood there goes without saying.
"""

from __future__ import annotations

import json
import os
import re
import tempfile
from pathlib import Path

from diag.errors import DiagError, KnowledgeError, Problem
from diag.fit.interview import Answers, known_ids, path, read_answer
from diag.fit.questions import Catalogue
from diag.knowledge.names import nearest, quoted, shown, words
from diag.knowledge.reader import read_yaml

__all__ = ["draft_of", "keep_draft", "read_answers", "scalar", "write_new"]

_PLAIN = re.compile(r"[A-Za-z0-9](?:[A-Za-z0-9 ./+%()_-]{0,200}[A-Za-z0-9.)%+])?")


def scalar(text: str) -> str:
    """A text as YAML has it on one line, quoted where it must be."""
    return text if _PLAIN.fullmatch(text) else json.dumps(text, ensure_ascii=False)


def draft_of(out: Path) -> Path:
    """Where the answers for a vehicle's file are kept until it is written."""
    return out.with_name(f"{out.name}.draft")


def keep_draft(file: Path, answers: Answers) -> None:
    """Put all answers on disk, whole or not at all; without any the file goes. Raises OSError."""
    if not answers:
        file.unlink(missing_ok=True)
        return
    lines = ["# Answers of `diag vehicle new`, one a line; the same call goes on with them."]
    lines += [f"{name}: {scalar(value)}" for name, value in answers.items()]
    _replace(file, "\n".join(lines) + "\n")


def read_answers(catalogue: Catalogue, file: Path) -> tuple[dict[str, str], list[str]]:
    """Answers from a file, `question: answer` each, and those for which the others leave no room. Raises
    KnowledgeError with every mistake and its place."""
    marked = read_yaml(file)
    known = known_ids(catalogue)
    problems: list[Problem] = []
    for name, value in marked.data.items():
        if name not in known:
            problems.append(
                Problem(
                    marked.place((name,), key=True),
                    "there is no such question",
                    quoted(str(name)),
                    words(known),
                    nearest(str(name), known),
                )
            )
        elif not isinstance(value, str):
            problems.append(Problem(marked.place((name,)), f"`{name}` has no single answer", shown(value), "one word"))
    if problems:
        raise KnowledgeError(problems)
    given = {str(name): str(value) for name, value in marked.data.items()}
    answers: dict[str, str] = {}
    while True:  # what an answer makes of later questions is read anew with each
        asked = next((one for one in path(catalogue, answers) if one.id in given and one.id not in answers), None)
        if asked is None:
            break
        try:
            answers[asked.id] = read_answer(asked, given[asked.id])
        except ValueError as error:
            answers[asked.id] = asked.typical
            expected = str(error).removeprefix("expected ")
            what = f"the answer to `{asked.id}` will not do"
            problems.append(Problem(marked.place((asked.id,)), what, quoted(given[asked.id]), expected))
    if problems:
        raise KnowledgeError(problems)
    return answers, [name for name in given if name not in answers]


def write_new(file: Path, text: str, *, replace: bool) -> bool:
    """Write a file whole or not at all; True where one was replaced. Raises DiagError where one is there
    already and `replace` is not given, OSError where it cannot be written."""
    there = os.path.lexists(file)
    if there and not replace:
        raise DiagError(f"{file}: there is such a file already; expected a new name. Give another, or --replace.")
    if there:
        _replace(file, text)
        return True
    temporary = _beside(file, text)
    try:
        os.link(temporary, file)  # fails where somebody made one in the meantime
    except FileExistsError:
        raise DiagError(f"{file}: there is such a file by now; expected a new name. Nothing was changed.") from None
    except OSError:  # a stick's file system may know no links
        os.replace(temporary, file)
        return False
    finally:
        Path(temporary).unlink(missing_ok=True)
    return False


def _replace(file: Path, text: str) -> None:
    temporary = _beside(file, text)
    try:
        os.replace(temporary, file)
    finally:
        Path(temporary).unlink(missing_ok=True)


def _beside(file: Path, text: str) -> str:
    """The text on disk in a file beside it."""
    handle, name = tempfile.mkstemp(prefix=f".{file.name}.", dir=file.parent)
    with os.fdopen(handle, "w", encoding="utf-8") as stream:
        stream.write(text)
        stream.flush()
        os.fsync(stream.fileno())
    os.chmod(name, 0o666 & ~_umask())
    return name


def _umask() -> int:
    found = os.umask(0)
    os.umask(found)
    return found
