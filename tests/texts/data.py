"""What is data and not a text of the program: titles, cautions and words of the rules, with ids and names."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

import yaml

__all__ = ["Phrases"]

_WORD = re.compile(r"[^\W_]+(?:['’][a-z]+)?|[^\s\w]")
_JOINING = frozenset(
    [
        "a",
        "an",
        "and",
        "are",
        "by",
        "for",
        "from",
        "is",
        "it",
        "no",
        "not",
        "nothing",
        "of",
        "or",
        "the",
        "to",
        "was",
        "with",
    ]
)
"""Words that alone are no data, though a file has them as keys: they tell a sentence."""
_FIELD = re.compile(r"\{[^{}]*\}")


def _words(text: str) -> tuple[str, ...]:
    return tuple(word.lower() for word in _WORD.findall(text) if word[0].isalnum())


class Phrases:
    """Every text of the files, as sequences of words; the longest that fits is taken away first."""

    def __init__(self, files: Iterable[Path]) -> None:
        self._by_first: dict[str, set[tuple[str, ...]]] = {}
        for path in files:
            for text in _texts(yaml.load(path.read_text(encoding="utf-8"), yaml.BaseLoader)):
                for piece in _FIELD.split(text):
                    self.add(piece)

    def add(self, text: str) -> None:
        words = _words(text)
        if words and (len(words) > 1 or words[0] not in _JOINING):
            self._by_first.setdefault(words[0], set()).add(words)

    def left(self, text: str) -> list[str]:
        """Words of a text that belong to no phrase."""
        words, out, at = _words(text), [], 0
        while at < len(words):
            fitting = [len(one) for one in self._by_first.get(words[at], ()) if words[at : at + len(one)] == one]
            if fitting:
                at += max(fitting)
                continue
            out.append(words[at])
            at += 1
        return out


def _texts(found: Any) -> Iterator[str]:
    if isinstance(found, dict):
        for key, value in found.items():
            yield str(key)
            yield from _texts(value)
    elif isinstance(found, list):
        for value in found:
            yield from _texts(value)
    elif isinstance(found, str):
        yield found
