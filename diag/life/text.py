"""The text of a knowledge file after a rule of it has moved on: only what says where it stands changes.

Comments, order and every other line stay to the letter. Knows YAML and the keys of a rule's life, nothing of what a
state needs.
"""

from __future__ import annotations

import json
import textwrap
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import yaml

from diag.knowledge.schema import Moved
from diag.texts import t

__all__ = ["Step", "moved_on", "text_of_rule", "with_rule"]

_LOADER: Any = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
_PLAIN: Any = getattr(yaml, "CBaseLoader", yaml.BaseLoader)
_WIDTH = 112


@dataclass(frozen=True)
class Step:
    """What changes of one rule; None: stays as it is. `moved` is added to its life."""

    rule: str
    state: str | None = None
    leads_there: tuple[str, ...] | None = None
    near_miss: tuple[str, ...] | None = None
    replaced_by: str | None = None
    moved: Moved | None = None


@dataclass(frozen=True)
class _Edit:
    """Characters `start` to `end` become `text`."""

    start: int
    end: int
    text: str


def moved_on(text: str, steps: Sequence[Step]) -> str:
    """The file with those rules moved on, each in every form that the file's variants give it.

    Raises KeyError where the file does not hold one of them, ValueError where the text cannot be changed without
    changing more.
    """
    body = text.removeprefix("\ufeff")
    starts = _line_starts(body)
    nodes = _by_id(_rules(yaml.compose(body, Loader=_LOADER)))
    edits = [edit for step in steps for node in nodes[step.rule] for edit in _edits(body, starts, node, step)]
    out, ending = body, "\r\n" if "\r\n" in body else "\n"
    for edit in sorted(edits, key=lambda e: (e.start, e.end), reverse=True):
        out = out[: edit.start] + edit.text.replace("\n", ending) + out[edit.end :]
    _same_but_for(body, out, steps)
    return text[: len(text) - len(body)] + out


def text_of_rule(text: str, rule: str) -> str:
    """A rule's own lines as an entry of a list, set in by two, comments within it too. Raises KeyError where the file
    does not hold it, ValueError where it holds several forms of it."""
    body = text.removeprefix("\ufeff")
    starts = _line_starts(body)
    node, *others = _by_id(_rules(yaml.compose(body, Loader=_LOADER)))[rule]
    if others:
        raise ValueError(t("its variants give it in {value} forms", value=1 + len(others)))
    first = starts[node.start_mark.line]
    lines = body[first : _line_end(body, _last(starts, node))].splitlines()
    column = node.start_mark.column
    lines[0] = " " * column + lines[0][column:]  # without the dash
    inner = textwrap.dedent("\n".join(lines)).splitlines()
    return "\n".join([f"  - {inner[0]}", *(f"    {line}".rstrip() for line in inner[1:])]) + "\n"


def with_rule(text: str, circuit: str, entry: str) -> str:
    """The text of a circuit's file with one rule more, behind those it has; a new file where there is no text.

    `entry`: from `text_of_rule`, comments above it too. Raises ValueError where its rules stand in brackets.
    """
    if not text.strip():
        return f"circuit: {circuit}\nrules:\n{entry}"
    body = text.removeprefix("\ufeff")
    ending = "\r\n" if "\r\n" in body else "\n"
    whole = body if body.endswith("\n") else body + ending
    root: Any = yaml.compose(whole, Loader=_LOADER)
    found = _get(root, "rules") if isinstance(root, yaml.MappingNode) else None
    lines = entry.splitlines()
    if found is None:
        end, lines = len(whole), ["rules:", *lines]
    elif not isinstance(found, yaml.SequenceNode) or found.flow_style:
        raise ValueError(t("its rules stand in brackets"))
    else:
        end = _line_end(whole, _last(_line_starts(whole), found)) + len(ending)
        lines = [f"{' ' * found.start_mark.column}{line[2:]}".rstrip() for line in lines]
    return text[: len(text) - len(body)] + whole[:end] + "".join(line + ending for line in lines) + whole[end:]


# ---------------------------------------------------------------- where things stand


def _line_starts(text: str) -> list[int]:
    starts = [0]
    for line in text.splitlines(keepends=True):
        starts.append(starts[-1] + len(line))
    return starts


def _rules(root: Any) -> Iterator[tuple[str, Any]]:
    """Every rule of the file, of its variants too, by id."""
    for key, value in root.value if isinstance(root, yaml.MappingNode) else ():
        if key.value == "rules" and isinstance(value, yaml.SequenceNode):
            for rule in value.value:
                yield _get(rule, "id").value, rule
        elif key.value == "variants" and isinstance(value, yaml.SequenceNode):
            for variant in value.value:
                yield from _rules(variant)


def _by_id(found: Iterable[tuple[str, Any]]) -> dict[str, list[Any]]:
    out: dict[str, list[Any]] = {}
    for name, rule in found:
        out.setdefault(name, []).append(rule)
    return out


def _get(mapping: Any, key: str) -> Any:
    return next((value for name, value in mapping.value if name.value == key), None)


def _at(starts: Sequence[int], mark: Any) -> int:
    return int(starts[mark.line] + mark.column)


def _last(starts: Sequence[int], node: Any) -> int:
    """Where a node's own text ends; what libyaml calls the end of a block is the beginning of what follows."""
    if isinstance(node, yaml.ScalarNode) or node.flow_style:
        return _at(starts, node.end_mark)
    last = node.value[-1]
    return _last(starts, last[1] if isinstance(last, tuple) else last)


def _line_end(text: str, at: int) -> int:
    """The end of the line in which something ends that ends at `at`, its line break left out."""
    if at > 0 and text[at - 1] == "\n":  # a block of text ends with its line
        at -= 1
    rest = text.find("\n", at)
    return len(text) if rest < 0 else rest - (text[rest - 1] == "\r")


# ---------------------------------------------------------------- edits


def _edits(text: str, starts: Sequence[int], rule: Any, step: Step) -> Iterator[_Edit]:
    wanted: dict[str, str | Sequence[str] | None] = {
        "state": step.state,
        "replaced-by": step.replaced_by,
        "leads-there": step.leads_there,
        "near-miss": step.near_miss,
    }
    column = rule.value[0][0].start_mark.column
    new: list[str] = []
    for key, value in wanted.items():
        found = _get(rule, key)
        if value is None or _plain(found) == (value if isinstance(value, str) else list(value)):
            continue
        if found is None:
            if value:
                new.append(_line(key, value, column))
            continue
        if isinstance(found, yaml.SequenceNode) and not found.flow_style and value:
            items = f"\n{' ' * found.start_mark.column}".join(f"- {item}" for item in value)
            yield _Edit(_at(starts, found.start_mark), _last(starts, found), items)
            continue
        name = next(name for name, _ in rule.value if name.value == key)
        yield _Edit(_at(starts, name.start_mark), _last(starts, found), _line(key, value, column))
    life = _get(rule, "moved")
    if step.moved is not None:
        entry = _entry(step.moved)
        if life is None:
            flow = f"moved: [{entry}]"
            new.append(flow if rule.flow_style else f"moved:\n{' ' * (column + 2)}- {entry}")
        elif life.flow_style:
            end = _last(starts, life) - 1
            yield _Edit(end, end, f", {entry}" if life.value else entry)
        else:
            end, dash = _last(starts, life), life.start_mark.column
            yield _Edit(end, end, f"\n{' ' * dash}- {entry}")
    if new:  # behind what says where it stands, so that a life is read in one place
        last = max(_last(starts, found) for key in ("state", *wanted) if (found := _get(rule, key)) is not None)
        if rule.flow_style:
            yield _Edit(last, last, "".join(f", {line}" for line in new))
        else:
            end = _line_end(text, last)
            yield _Edit(end, end, "".join(f"\n{' ' * column}{line}" for line in new))


def _plain(node: Any) -> Any:
    if node is None:
        return None
    return node.value if isinstance(node, yaml.ScalarNode) else [item.value for item in node.value]


def _line(key: str, value: str | Sequence[str], column: int) -> str:
    if isinstance(value, str):
        return f"{key}: {value}"
    whole = f"{key}: [{', '.join(value)}]"
    wrapped = textwrap.wrap(whole, max(_WIDTH - column, 40), break_long_words=False, break_on_hyphens=False)
    return f"\n{' ' * (column + 2)}".join(wrapped)


def _entry(moved: Moved) -> str:
    because = f", because: {json.dumps(moved.because, ensure_ascii=False)}" if moved.because else ""
    return f"{{date: {moved.date}, from: {moved.from_}, to: {moved.to}{because}}}"


# ---------------------------------------------------------------- nothing else has changed


def _same_but_for(before: str, after: str, steps: Sequence[Step]) -> None:
    old, new = yaml.load(before, Loader=_PLAIN), yaml.load(after, Loader=_PLAIN)
    rules = _by_id(_data_rules(old))
    for step, rule in [(one, rule) for one in steps for rule in rules[one.rule]]:
        for key, value in (("state", step.state), ("replaced-by", step.replaced_by)):
            if value is not None:
                rule[key] = value
        for key, several in (("leads-there", step.leads_there), ("near-miss", step.near_miss)):
            if several or (several is not None and key in rule):
                rule[key] = list(several)
        if step.moved is not None:
            rule["moved"] = [*rule.get("moved", []), step.moved.model_dump(by_alias=True, exclude_none=True)]
    if old != new:
        raise ValueError(t("more than the rule's state would change"))


def _data_rules(data: Mapping[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    for rule in data.get("rules") or ():
        yield rule["id"], rule
    for variant in data.get("variants") or ():
        yield from _data_rules(variant)
