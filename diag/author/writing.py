"""Entries put into the text of a circuit's file: what stands there stays to the letter, comments and order too.

Knows YAML and sections; nothing of what an entry means or where files lie.
"""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence
from typing import Any

import yaml

from diag.errors import DiagError
from diag.knowledge.names import quoted
from diag.texts import t

__all__ = ["entry_text", "with_added"]

Section = Sequence[Mapping[str, Any]] | Mapping[str, Sequence[str]]
_WIDTH = 110
_NOTHING = ("", "~", "null")
_ORDER = ("controls", "places", "parts", "wires", "checks", "symptoms", "causes", "rules", "remedies", "cautions")


class _Dumper(yaml.SafeDumper):
    """Without aliases: an entry stands for itself."""

    def ignore_aliases(self, data: Any) -> bool:
        return True


def with_added(text: str, circuit: str, entries: Mapping[str, Section], comment: str) -> str:
    """The file's text with entries added at the end of their sections. `comment`: a line put above each; `text` may
    be empty. Raises DiagError where the file is written so that nothing can be put in without touching the rest."""
    newline = "\r\n" if "\r\n" in text else "\n"
    if not text.strip():
        text += f"# Added to the circuit that the program brings along; a copy is kept of every change.{newline}"
        text += f"circuit: {circuit}{newline}"
    old = _loaded(text)
    for section in sorted(entries, key=_ORDER.index):
        if entries[section]:
            text = _section_added(text, section, entries[section], comment, newline)
    _must_hold(old, _loaded(text), entries)
    return text


def _loaded(text: str) -> Any:
    try:
        return yaml.load(text, Loader=yaml.BaseLoader)  # all scalars stay texts
    except yaml.YAMLError as error:
        raise DiagError(t("the file cannot be read as YAML: {error}", error=" ".join(str(error).split()))) from error


def _must_hold(old: Any, new: Any, entries: Mapping[str, Section]) -> None:
    """What was there is there, and behind it what was added: nothing else."""
    wanted = dict(old)
    for section, added in entries.items():
        plain = yaml.load(yaml.dump(_tidy(added), Dumper=_Dumper, allow_unicode=True), Loader=yaml.BaseLoader)
        before: Any = wanted.get(section)
        if before in (None, *_NOTHING):
            before = type(plain)()
        if plain:
            wanted[section] = [*before, *plain] if isinstance(plain, list) else {**before, **plain}
    if new != wanted:
        raise DiagError(t("found a layout into which nothing can be put; write its sections one below the other"))


# ---------------------------------------------------------------- where it goes


def _section_added(text: str, section: str, added: Section, comment: str, newline: str) -> str:
    root = yaml.compose(text, Loader=yaml.SafeLoader)
    if not isinstance(root, yaml.MappingNode) or root.flow_style:
        raise DiagError(t("found a file that is no plain list of sections; expected `circuit:` and sections below it"))
    pair = next(((key, node) for key, node in root.value if key.value == section), None)
    if pair is None:
        body = _joined(_block(section, added, 2, comment), newline)
        gap = "" if text.endswith((newline, "\n")) else newline
        return f"{text}{gap}{newline}{section}:{newline}{body}"
    key, node = pair
    if isinstance(node, yaml.ScalarNode) or not node.value:  # nothing there yet: `rules:` or `rules: []`
        if isinstance(node, yaml.ScalarNode) and node.value not in _NOTHING:
            raise DiagError(t("`{section}` holds {value}; expected entries", section=section, value=quoted(node.value)))
        body = _joined(_block(section, added, 2, comment), newline)
        return _after_empty(text, key, node, body, newline)
    if node.flow_style:
        return _into_flow(text, node, added)
    at = _line_after(text, node)
    body = _joined(_block(section, added, node.start_mark.column, comment), newline)
    gap = newline if at == len(text) and not text.endswith("\n") else ""
    return f"{text[:at]}{gap}{body}{text[at:]}"


def _after_empty(text: str, key: yaml.Node, node: yaml.Node, body: str, newline: str) -> str:
    start, end = node.start_mark.index, node.end_mark.index
    if isinstance(node, yaml.ScalarNode) and start == end:  # nothing at all behind the colon
        colon = text.index(":", key.end_mark.index) + 1
        line = text.find("\n", colon)
        at = len(text) if line < 0 else line + 1
        return f"{text[:at]}{'' if line >= 0 else newline}{body}{text[at:]}"
    line = text.find("\n", end)
    at = len(text) if line < 0 else line + 1
    rest = text[end:at]
    return f"{text[:start].rstrip(' ')}{rest}{'' if rest.endswith(chr(10)) else newline}{body}{text[at:]}"


def _into_flow(text: str, node: yaml.Node, added: Section) -> str:
    """Into a list or mapping in brackets, behind its last entry."""
    last = node.value[-1]
    at = (last[1] if isinstance(last, tuple) else last).end_mark.index
    if isinstance(added, Mapping):
        pieces = [f"{name}: {_flow(list(value))}" for name, value in added.items()]
    else:
        pieces = [_flow(dict(entry)) for entry in added]
    return text[:at] + "".join(f", {piece}" for piece in pieces) + text[at:]


def _line_after(text: str, node: yaml.Node) -> int:
    """The beginning of the line after the last that belongs to a node; comments behind it are not its own."""
    mark = _last(node)
    if mark.column == 0 and mark.index > 0:  # a block of text ends where the next line begins
        at = mark.index
        while at > 0 and text[:at].endswith(("\n\n", "\n\r\n")):
            at = text.rindex("\n", 0, at - 1) + 1
        return at
    line = text.find("\n", mark.index)
    return len(text) if line < 0 else line + 1


def _last(node: yaml.Node) -> yaml.Mark:
    if not isinstance(node, yaml.CollectionNode) or node.flow_style or not node.value:
        return node.end_mark
    last = node.value[-1]
    return _last(last[1] if isinstance(last, tuple) else last)


# ---------------------------------------------------------------- how it looks


def _joined(lines: Sequence[str], newline: str) -> str:
    return "".join(f"{line}{newline}" for line in lines)


def _block(section: str, added: Section, indent: int, comment: str) -> list[str]:
    """Lines of all entries; a list's dash stands at `indent`, a mapping's keys too."""
    lines = []
    pad = " " * indent
    if isinstance(added, Mapping):
        for name, value in added.items():
            lines += [f"{pad}# {comment}", f"{pad}{name}: {_flow(list(value))}"]
        return lines
    for entry in added:
        lines += [f"{pad}# {comment}", *entry_text(entry, indent)]
    return lines


def entry_text(entry: Mapping[str, Any], indent: int) -> list[str]:
    """One entry of a list as lines, its dash at `indent`."""
    lines: list[str] = []
    for key, value in entry.items():
        nested = isinstance(value, list) and (any(isinstance(v, dict) for v in value) or len(_flow(value)) > 60)
        if nested:
            lines.append(f"{key}:")
            for item in value:
                first, *more = _scalar_lines("- ", item, indent + 4)
                lines += [f"  {first}", *(f"    {line}" for line in more)]
        else:
            first, *more = _scalar_lines(f"{key}: ", value, indent + 2)
            lines += [first, *(f"  {line}" for line in more)]
    pad = " " * indent
    return [f"{pad}{'- ' if i == 0 else '  '}{line}" for i, line in enumerate(lines)]


def _scalar_lines(head: str, value: Any, indent: int) -> list[str]:
    """`head` and the value, folded over further lines where it is long."""
    if isinstance(value, str) and len(value) + len(head) + indent > _WIDTH:
        words = " ".join(value.split())
        return [f"{head}>-", *textwrap.wrap(words, _WIDTH - indent - 4)]
    return [head + _flow(value)]


def _flow(value: Any) -> str:
    """A value on one line."""
    out = yaml.dump(
        _tidy(value), Dumper=_Dumper, allow_unicode=True, default_flow_style=True, width=100_000, sort_keys=False
    )
    return str(out).removesuffix("\n").removesuffix("\n...").rstrip("\n")


def _tidy(value: Any) -> Any:
    """Whole numbers without a point, texts without blanks that no reader sees."""
    if isinstance(value, str):
        return " ".join(value.split())
    if isinstance(value, float) and value.is_integer():
        return int(value)
    if isinstance(value, Mapping):
        return {key: _tidy(inner) for key, inner in value.items()}
    return [_tidy(inner) for inner in value] if isinstance(value, list | tuple) else value
