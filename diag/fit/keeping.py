"""Answers on disk: the draft that grows with every answer, a file of answers, and the vehicle's file itself.

Nothing is half written, and nothing that stood there goes without saying.
"""

from __future__ import annotations

import json
import os
import re
from pathlib import Path

from diag.errors import DiagError, KnowledgeError, Problem, UnfitError
from diag.fit.interview import Answers, known_ids, path, read_answer
from diag.fit.questions import Catalogue
from diag.knowledge.names import nearest, quoted, shown, words
from diag.knowledge.reader import read_yaml
from diag.knowledge.writer import put_new, replaced
from diag.texts import t

__all__ = ["draft_of", "keep_draft", "read_answers", "scalar", "write_new"]

_PLAIN = re.compile(r"[A-Za-z0-9](?:[A-Za-z0-9 ./+%()_-]{0,200}[A-Za-z0-9.)%+])?")


def scalar(text: str) -> str:
    """A text as YAML has it on one line, quoted where it must be."""
    return text if _PLAIN.fullmatch(text) else json.dumps(text, ensure_ascii=False)


def draft_of(out: Path) -> Path:
    """Where the answers for a vehicle's file are kept until it is written."""
    return out.with_name(f"{out.name}.draft")


def keep_draft(file: Path, answers: Answers, by: str = "diag vehicle new") -> None:
    """Put all answers on disk, whole or not at all; without any the file goes. `by`: the call they are for. Raises
    OSError."""
    if not answers:
        file.unlink(missing_ok=True)
        return
    lines = [f"# Answers of `{by}`, one a line; the same call goes on with them."]
    lines += [f"{name}: {scalar(value)}" for name, value in answers.items()]
    replaced(file, ("\n".join(lines) + "\n").encode("utf-8"), _ordinary())


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
                    t("there is no such question"),
                    quoted(str(name)),
                    words(known),
                    nearest(str(name), known),
                    "unknown-key",
                )
            )
        elif not isinstance(value, str):
            problems.append(
                Problem(
                    marked.place((name,)),
                    t("`{name}` has no single answer", name=name),
                    shown(value),
                    t("one word"),
                    code="wrong-value",
                )
            )
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
            expected = error.expected if isinstance(error, UnfitError) else str(error)
            what = t("the answer to `{asked}` will not do", asked=asked.id)
            problems.append(
                Problem(marked.place((asked.id,)), what, quoted(given[asked.id]), expected, code="wrong-value")
            )
    if problems:
        raise KnowledgeError(problems)
    return answers, [name for name in given if name not in answers]


def write_new(file: Path, text: str, *, replace: bool) -> bool:
    """Write a file whole or not at all; True where one was replaced. Raises DiagError where one is there
    already and `replace` is not given, OSError where it cannot be written."""
    there = os.path.lexists(file)
    if there and not replace:
        raise DiagError(
            t("{file}: there is such a file already; expected a new name. Give another, or --replace.", file=file)
        )
    if there:
        replaced(file, text.encode("utf-8"), _ordinary())
        return True
    try:
        put_new(file, text.encode("utf-8"), _ordinary())
    except FileExistsError:
        raise DiagError(
            t("{file}: there is such a file by now; expected a new name. Nothing was changed.", file=file)
        ) from None
    return False


def _ordinary() -> int:
    """Permissions that a new file has by the user's mask."""
    mask = os.umask(0)
    os.umask(mask)
    return 0o666 & ~mask
