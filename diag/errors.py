"""Errors that a user may see: one sentence of what is wrong, where, and how to mend it.

Nothing here knows of files' contents, circuits or terminals.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from diag.texts import t

__all__ = ["DiagError", "KnowledgeError", "Place", "Problem", "Severity", "UnfitError", "harmless"]

Severity = Literal["error", "warning"]


@dataclass(frozen=True, order=True)
class Place:
    """A spot in a text file; line and column count from 1."""

    file: str
    line: int = 1
    column: int = 1

    def __str__(self) -> str:
        return f"{self.file}:{self.line}:{self.column}"


def harmless(text: str) -> str:
    """Text with `?` for every sign that is not printed, lines as they are: names of files and what somebody typed may
    hold signs that steer a terminal or turn the text round."""
    if text.isascii() and text.isprintable():
        return text
    return "\n".join("".join(sign if sign.isprintable() else "?" for sign in line) for line in text.split("\n"))


class DiagError(Exception):
    """Base of every error that is the user's to mend; `str(error)` is the whole message.

    `exit_code` is what the command returns: 2 for bad input, 1 for work that could not be done.
    """

    exit_code = 2


class UnfitError(ValueError):
    """A value that will not do. `expected`: what would, in words; `detail`: what is wrong, where that says more;
    `code`: a short word for the sort of mistake, as in `Problem`. `str(error)` says both."""

    def __init__(self, expected: str, code: str = "wrong-value", detail: str = "") -> None:
        self.expected, self.code, self.detail = expected, code, detail
        wanted = t("expected {expected}", expected=expected)
        super().__init__(f"{detail}; {wanted}" if detail else wanted)


@dataclass(frozen=True, order=True)
class Problem:
    """One thing wrong in a knowledge file.

    `found` and `expected` may be empty; `mend` says what to do. `code` is a short word for the sort of mistake,
    which stays the same where the text changes.
    """

    place: Place
    what: str
    found: str = ""
    expected: str = ""
    mend: str = ""
    code: str = ""
    severity: Severity = "error"

    def __str__(self) -> str:
        parts = [f"{self.place}: {self.what}"]
        if self.found:
            parts.append(t("found {found}", found=self.found))
        if self.expected:
            parts.append(t("expected {expected}", expected=self.expected))
        text = "; ".join(parts)
        return f"{text}. {self.mend}" if self.mend else f"{text}."


class KnowledgeError(DiagError):
    """Knowledge files that cannot be used; carries every `Problem`, sorted by place. `hint`: another way out, told
    last."""

    def __init__(self, problems: list[Problem], hint: str = "") -> None:
        self.problems = sorted(problems)
        self.hint = hint
        super().__init__("\n".join([*map(str, self.problems), *([hint] if hint else [])]))
