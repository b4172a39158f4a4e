"""Reads one YAML file into plain dicts, lists and texts, remembering where everything stands.

Every scalar stays text; what it means is the schema's business. Must not know any key or model.
"""

from __future__ import annotations

import re
import stat
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import yaml

from diag.errors import KnowledgeError, Place, Problem
from diag.knowledge.names import nearest, quoted, shown
from diag.texts import t

__all__ = ["DEEPEST", "LARGEST_BYTES", "Loc", "Marked", "file_bytes", "parse_yaml", "read_yaml"]

Loc = tuple[str | int, ...]
"""Path to a spot: mapping keys and list indexes, as pydantic's `loc`."""

LARGEST_BYTES = 1_000_000
DEEPEST = 30
_LOADER: Any = getattr(yaml, "CSafeLoader", yaml.SafeLoader)

# Characters that are invisible or change the order in which text is shown: what is read would not
# be what is seen, and a terminal could be made to act on them.
_UNSEEN = (
    "\u00ad\u0600-\u0605\u061c\u06dd\u070f\u180e\u200b-\u200f\u2028-\u202e\u2060-\u206f\ufeff\ufff9-\ufffb"
    "\ud800-\udfff\ufffe\uffff\U000e0000-\U000e007f"
)
_BAD_IN_FILE = re.compile(f"[\\x00-\\x08\\x0b\\x0c\\x0e-\\x1f\\x7f-\\x9f{_UNSEEN}]")
_BAD_IN_TEXT = re.compile(f"[\\x00-\\x08\\x0b-\\x1f\\x7f-\\x9f{_UNSEEN}]")


@dataclass(frozen=True)
class Marked:
    """Content of a file with the place of every key and value.

    `data` holds dicts, lists and str only. `places` and `key_places` go by path.
    """

    file: str
    data: Any
    places: Mapping[Loc, Place] = field(repr=False)
    key_places: Mapping[Loc, Place] = field(repr=False)

    def path(self, loc: Loc) -> Loc:
        """The part of a pydantic `loc` that stands in the file (without union tags and missing keys)."""
        node, path = self.data, ()  # type: Any, Loc
        for step in loc:
            inside = (isinstance(node, dict) and step in node) or (
                isinstance(node, list) and isinstance(step, int) and 0 <= step < len(node)
            )
            if inside:
                node, path = node[step], (*path, step)
        return path

    def place(self, loc: Loc = (), *, key: bool = False) -> Place:
        """Where the value at `loc` stands, or its key with `key`; the nearest thing above it if absent."""
        path = self.path(loc)
        if (key or "[key]" in loc) and path in self.key_places:
            return self.key_places[path]
        return self.places.get(path, Place(self.file))

    def get(self, loc: Loc) -> Any:
        """What stands at `loc`, or at the nearest thing above it."""
        node = self.data
        for step in self.path(loc):
            node = node[step]
        return node


def read_yaml(path: Path) -> Marked:
    """Read one file. Raises KnowledgeError with the line and column of what is wrong."""
    return parse_yaml(file_bytes(path), str(path))


def parse_yaml(content: bytes, file: str) -> Marked:
    """The same of the bytes of a file, wherever they were read."""
    if len(content) > LARGEST_BYTES:
        raise _too_large(file, len(content))
    text = _decode(file, content)
    bad = None if text.isascii() and text.isprintable() else _BAD_IN_FILE.search(text)
    if bad is not None:
        before = text[: bad.start()]
        raise _refused(
            Place(file, before.count("\n") + 1, len(before) - before.rfind("\n")),
            t("a control or invisible character stands here"),
            f"U+{ord(bad.group()):04X}",
            t("plain visible text"),
            t("Delete it."),
            code="odd-character",
        )
    return _Builder(file).build(text)


def _refused(
    place: Place, what: str, found: str = "", expected: str = "", mend: str = "", *, code: str
) -> KnowledgeError:
    return KnowledgeError([Problem(place, what, found, expected, mend, code)])


def file_bytes(path: Path, most: int = LARGEST_BYTES, sort: str = t("a YAML file")) -> bytes:
    """All of an ordinary file of at most `most` bytes; nothing is waited for and nothing larger is read. Raises
    KnowledgeError; `sort` says what was expected."""
    place = Place(str(path))
    try:
        status = path.stat()
        if stat.S_ISDIR(status.st_mode):
            raise _refused(
                place, t("this is a folder"), t("a folder"), sort, t("Name the file inside it."), code="unreadable"
            )
        if not stat.S_ISREG(status.st_mode):
            raise _refused(
                place,
                t("this is not an ordinary file"),
                t("a device or pipe"),
                sort,
                t("Copy the content to a file and name that."),
                code="unreadable",
            )
        if status.st_size <= most:
            with path.open("rb") as stream:
                content = stream.read(most + 1)  # it may have grown since
            if len(content) <= most:
                return content
    except FileNotFoundError:
        beside = [other.name for other in path.parent.glob("*.y*ml")] if path.parent.is_dir() else []
        raise _refused(
            place,
            t("there is no such file"),
            "",
            sort,
            nearest(path.name, beside) or t("Check the name."),
            code="unreadable",
        ) from None
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise _refused(
            place,
            t("the file cannot be read"),
            reason.lower(),
            t("{sort} that can be read", sort=sort),
            t("Check its name and permissions."),
            code="unreadable",
        ) from None
    raise _too_large(str(path), max(status.st_size, most + 1), most)


def _too_large(file: str, size: int, most: int = LARGEST_BYTES) -> KnowledgeError:
    return _refused(
        Place(file),
        t("the file is too large"),
        t("{size:,} bytes", size=size),
        t("at most {most:,} bytes", most=most),
        t("Split it, or check that it is the right file."),
        code="unreadable",
    )


def _decode(file: str, content: bytes) -> str:
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        # `error.object` is what was decoded, without the byte order mark that utf-8-sig takes off.
        before = error.object[: error.start]
        line_start = before.rfind(b"\n") + 1
        column = len(before[line_start:].decode("utf-8")) + 1
        raise _refused(
            Place(file, before.count(b"\n") + 1, column),
            t("the file is not UTF-8 text"),
            t("the byte 0x{object:02X}", object=error.object[error.start]),
            "UTF-8",
            t("Save it again with the encoding UTF-8."),
            code="unreadable",
        ) from None


def _tab_before(text: str, number: int) -> int | None:
    """The column of a tab among the blanks that begin a line (both from 1)."""
    lines = text.split("\n")
    line = lines[number - 1] if number <= len(lines) else ""
    at = line.find("\t", 0, len(line) - len(line.lstrip(" \t")))
    return at + 1 if at >= 0 else None


class _Builder:
    """Builds plain data from parser events; events, not nodes, so that depth is known before it hurts."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.places: dict[Loc, Place] = {}
        self.key_places: dict[Loc, Place] = {}

    def build(self, text: str) -> Marked:
        loader = _LOADER(text)
        try:
            data = self._document(self._events(loader))
        except yaml.MarkedYAMLError as error:
            mark = error.problem_mark or error.context_mark
            place = Place(self.file, mark.line + 1, mark.column + 1) if mark else Place(self.file)
            tab = _tab_before(text, place.line)
            if tab is not None:
                raise _refused(
                    Place(self.file, place.line, tab),
                    t("a tab stands where a line is indented"),
                    t("a tab"),
                    t("spaces, two for each step inwards"),
                    t("Put spaces in its place; an editor can be set to do so."),
                    code="not-yaml",
                ) from None
            what = " ".join(part for part in (error.context, error.problem) if part)
            if "nesting depth" in what:  # the C parser's own limit, met while it looks ahead
                raise self._too_deep(place) from None
            raise _refused(
                place,
                t("this is not valid YAML: {what}", what=what),
                "",
                "",
                t("Check indentation, colons and quotes here and on the line above."),
                code="not-yaml",
            ) from None
        except (yaml.YAMLError, RecursionError, ValueError, OverflowError) as error:
            raise _refused(
                Place(self.file),
                t("this is not valid YAML: {error}", error=" ".join(str(error).split())),
                code="not-yaml",
            ) from None
        finally:
            loader.dispose()
        return Marked(self.file, data, self.places, self.key_places)

    def _events(self, loader: Any) -> Iterator[Any]:
        while loader.check_event():
            event = loader.get_event()
            if isinstance(event, yaml.AliasEvent):
                raise self._at(
                    event,
                    t("an alias stands here"),
                    f"`*{event.anchor}`",
                    t("the text itself"),
                    t("Write the content out where it is needed."),
                    code="yaml-feature",
                )
            if getattr(event, "anchor", None) is not None:
                raise self._at(
                    event,
                    t("an anchor stands here"),
                    f"`&{event.anchor}`",
                    t("the text itself"),
                    t("Take the anchor away and write the content out where it is needed."),
                    code="yaml-feature",
                )
            tag = getattr(event, "tag", None)
            if tag is not None:
                raise self._at(
                    event,
                    t("a tag stands here"),
                    quoted(tag),
                    t("plain text, a list or a mapping"),
                    t("Take the tag away."),
                    code="yaml-feature",
                )
            yield event

    def _document(self, events: Iterator[Any]) -> Any:
        data: Any = None
        documents = 0
        for event in events:
            if isinstance(event, yaml.DocumentStartEvent):
                documents += 1
                if documents > 1:
                    raise self._at(
                        event,
                        t("a second document starts here"),
                        "`---`",
                        t("one document in a file"),
                        t("Put it in a file of its own."),
                        code="yaml-feature",
                    )
            elif isinstance(event, yaml.NodeEvent):
                data = self._value(event, events, ())
        if not isinstance(data, dict):
            what = t("the file is empty") if not documents or data == "" else t("the file does not hold a mapping")
            raise _refused(
                self.places.get((), Place(self.file)),
                what,
                shown(data),
                t("lines such as `key: value`"),
                t("See a shipped file of the same sort."),
                code="no-mapping",
            )
        return data

    def _value(self, event: Any, events: Iterator[Any], path: Loc) -> Any:
        self.places[path] = self._place(event)
        if isinstance(event, yaml.ScalarEvent):
            return self._text(event)
        if len(path) >= DEEPEST:
            raise self._too_deep(self._place(event))
        if isinstance(event, yaml.SequenceStartEvent):
            items: list[Any] = []
            while not isinstance(item := next(events), yaml.SequenceEndEvent):
                items.append(self._value(item, events, (*path, len(items))))
            return items
        return self._mapping(events, path)

    def _mapping(self, events: Iterator[Any], path: Loc) -> dict[str, Any]:
        mapping: dict[str, Any] = {}
        while not isinstance(event := next(events), yaml.MappingEndEvent):
            if not isinstance(event, yaml.ScalarEvent):
                raise self._at(
                    event,
                    t("a list or mapping stands where a key should"),
                    "",
                    t("a key that is plain text"),
                    t("Put `key:` before it."),
                    code="not-yaml",
                )
            key = self._text(event)
            if key == "<<" and event.implicit[0]:
                raise self._at(
                    event,
                    t("a merge key stands here"),
                    "`<<`",
                    t("the keys themselves"),
                    t("Write the keys out where they are needed."),
                    code="yaml-feature",
                )
            if key in mapping:
                raise self._at(
                    event,
                    t("the key {key} stands twice", key=quoted(key)),
                    t("the first at line {line}", line=self.key_places[*path, key].line),
                    t("each key once"),
                    t("Take one away or join the two."),
                    code="repeated-key",
                )
            self.key_places[*path, key] = self._place(event)
            mapping[key] = self._value(next(events), events, (*path, key))
        return mapping

    def _text(self, event: Any) -> str:
        text: str = event.value
        bad = None if text.isascii() and text.isprintable() else _BAD_IN_TEXT.search(text)
        if bad is not None:  # an escape such as "\x1b" brings in what the file itself may not hold
            raise self._at(
                event,
                t("an escape makes a control or invisible character"),
                f"U+{ord(bad.group()):04X}",
                t("plain visible text"),
                t("Delete it."),
                code="odd-character",
            )
        return text

    def _place(self, event: Any) -> Place:
        return Place(self.file, event.start_mark.line + 1, event.start_mark.column + 1)

    def _too_deep(self, place: Place) -> KnowledgeError:
        return _refused(
            place,
            t("lists and mappings are nested too deep"),
            t("more than {deepest} levels", deepest=DEEPEST),
            t("at most {deepest} levels", deepest=DEEPEST),
            t("Check the indentation and brackets."),
            code="too-deep",
        )

    def _at(self, event: Any, what: str, found: str, expected: str, mend: str, *, code: str) -> KnowledgeError:
        return _refused(self._place(event), what, found, expected, mend, code=code)
