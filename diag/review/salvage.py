"""Reads a knowledge file as far as it can be read: entries that are wrong are told and left out, the rest goes on.

So one mistake hides no other. Must not know what any entry means.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Generic, TypeVar

from pydantic import BaseModel, ValidationError

from diag.errors import KnowledgeError, Place, Problem
from diag.knowledge.reader import Loc, Marked, file_bytes, read_yaml
from diag.knowledge.translate import problems_of
from diag.knowledge.variants import LISTS, MAPPINGS

__all__ = ["Salvaged", "cut", "entry_at", "names_in", "salvage"]

M = TypeVar("M", bound=BaseModel)
_ROUNDS = 6
_DEPTH = {"controls": 2, "places": 2, "options": 2, "overrides": 3, "kinds": 3, **dict.fromkeys((*MAPPINGS, *LISTS), 2)}
"""How deep below the top an entry of a section lies."""
_ID = re.compile(r"\bid:\s*[\"']?([A-Za-z0-9/._-]+)|^ {2}([a-z0-9-]+):", re.MULTILINE)


@dataclass(frozen=True)
class Salvaged(Generic[M]):
    """What could be read. `whole`: the content as written, None where it is no YAML; `marked` and `model`: without
    what is wrong, None where nothing is left; `lost`: ids of what was left out."""

    path: Path
    whole: Marked | None
    marked: Marked | None
    model: M | None
    problems: tuple[Problem, ...]
    lost: frozenset[str] = field(default=frozenset())


def salvage(
    path: Path,
    model: type[M],
    lent: Mapping[str, Any] | None = None,
    silent: Collection[str] = (),
    prepare: Callable[[Marked], None] | None = None,
) -> Salvaged[M]:
    """Read one file. `lent`: top-level keys and what is taken where one is missing or wrong; that those of `silent`
    are missing is not told. `prepare` is applied to the marked content first."""
    try:
        whole = read_yaml(path)
    except KnowledgeError as error:
        return Salvaged(path, None, None, None, tuple(error.problems), _ids_in(path))
    if prepare is not None:
        prepare(whole)
    lent = dict(lent or {})
    marked = _lend(whole, {key: lent[key] for key in silent if key not in whole.data})
    problems: list[Problem] = []
    lost: set[str] = set()
    for turn in range(_ROUNDS):
        try:
            found = model.model_validate(marked.data, by_alias=True, by_name=False)
        except ValidationError as error:
            if turn == 0:
                problems += problems_of(error, marked.place, model)
            mistakes = error.errors(include_url=False)
        else:
            return Salvaged(path, whole, marked, found, tuple(problems), frozenset(lost))
        wrong: set[Loc] = set()
        for mistake in mistakes:
            loc = tuple(mistake["loc"])
            missing = str(loc[0]) if mistake["type"] == "missing" and len(loc) == 1 else ""
            entry = (missing,) if missing in lent else entry_at(marked.path(loc))
            if not entry:  # nothing that could be left out
                return Salvaged(path, whole, None, None, tuple(problems), _ids_in(path))
            wrong.add(entry)
        lost |= {name for entry in wrong if entry[0] not in lent for name in names_in(marked, entry)}
        borrowed = {str(entry[0]): lent[str(entry[0])] for entry in wrong if len(entry) == 1 and entry[0] in lent}
        marked = _lend(cut(marked, wrong), borrowed)
    return Salvaged(path, whole, None, None, tuple(problems), _ids_in(path))


def _lend(marked: Marked, borrowed: Mapping[str, Any]) -> Marked:
    """The same with values for keys that it does not have."""
    return Marked(marked.file, {**borrowed, **marked.data}, marked.places, marked.key_places)


def entry_at(path: Loc) -> Loc:
    """The smallest thing around a spot that can be left out of a file."""
    if path[:1] == ("variants",) and len(path) > 2:
        inner = entry_at(path[2:])
        return (*path[:2], *inner) if path[2] not in ("only", "without") else path[:2]
    return path[: _DEPTH.get(str(path[0]), 1)] if path else ()


def names_in(marked: Marked, entry: Loc) -> Iterable[str]:
    """Ids that go with an entry that is left out."""
    found = marked.get(entry)
    if isinstance(entry[-1], str):
        yield entry[-1]
    yield from _given(found)
    if isinstance(found, dict):
        sections = found.values() if entry[0] == "variants" else [found] if len(entry) == 1 else []
        yield from (str(name) for section in sections if isinstance(section, dict) for name in section)


def _given(found: Any) -> Iterable[str]:
    """Ids and conclusions anywhere inside."""
    if isinstance(found, dict):
        yield from (found[key] for key in ("id", "establish") if isinstance(found.get(key), str))
    for value in found.values() if isinstance(found, dict) else found if isinstance(found, list) else ():
        yield from _given(value)


def _ids_in(path: Path) -> frozenset[str]:
    """What looks like an id in a file that cannot be read as a whole."""
    try:
        text = file_bytes(path).decode("utf-8", "replace")
    except KnowledgeError:
        return frozenset()
    return frozenset(one or two for one, two in _ID.findall(text)) | {path.stem}


def cut(marked: Marked, entries: Iterable[Loc]) -> Marked:
    """The content without some entries; what stands behind one in a list moves up, with its places."""
    for entry in sorted(entries, key=_in_order, reverse=True):
        marked = _cut(marked, entry)
    return marked


def _in_order(loc: Loc) -> tuple[str, ...]:
    return tuple(f"{step:08d}" if isinstance(step, int) else step for step in loc)


def _cut(marked: Marked, entry: Loc) -> Marked:
    if marked.path(entry) != entry:
        return marked
    *above, last = entry
    data = _copied(marked.data, tuple(above), last)

    def moved(places: Mapping[Loc, Place]) -> dict[Loc, Place]:
        depth, out = len(above), {}
        for loc, place in places.items():
            if len(loc) <= depth or loc[:depth] != tuple(above):
                out[loc] = place
            elif loc[depth] != last:
                step = loc[depth]
                behind = isinstance(step, int) and isinstance(last, int) and step > last
                out[(*loc[:depth], step - 1, *loc[depth + 1 :]) if behind else loc] = place  # type: ignore[operator]
        return out

    return Marked(marked.file, data, moved(marked.places), moved(marked.key_places))


def _copied(node: Any, above: Loc, last: str | int) -> Any:
    if above:
        new = list(node) if isinstance(node, list) else dict(node)
        step: Any = above[0]
        new[step] = _copied(node[step], above[1:], last)
        return new
    if isinstance(node, list):
        return [item for index, item in enumerate(node) if index != last]
    return {key: value for key, value in node.items() if key != last}
