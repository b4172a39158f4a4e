"""The journal's line format: one record to one line of JSON, and back, with errors that say where.

Must not know of files on disk, nor of what an event means.
"""

from __future__ import annotations

import errno
import json
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from types import MappingProxyType
from typing import Any, Literal, NoReturn, TypeGuard

from diag.errors import DiagError, Place
from diag.texts import t

__all__ = [
    "LINE_LIMIT",
    "MEND",
    "OLDEST",
    "VERSION",
    "Code",
    "JournalError",
    "Record",
    "decode",
    "encode",
    "stamp",
    "why",
]

VERSION = 1
"""Of the format of a record; raised when an older program could misread a newer line."""
OLDEST = 1
"""The oldest format that is still read; what is written is VERSION."""
LINE_LIMIT = 64 * 1024
"""Bytes of one line with its newline."""
MEND = t(
    "Nothing was changed. `diag resume JOB --mend` keeps a copy and goes on with what is good; or put the line right."
)
_RESERVED = ("v", "seq", "at", "event")
_EVENT = re.compile(r"[a-z]+(-[a-z]+)*", re.ASCII)
_HALF = re.compile(rb"\\u[dD][89a-fA-F]")
_LEAP = re.compile(r"(\d\d:\d\d):60(\.\d+)?Z")
_YEARS = range(1970, 9999)
"""Of a record: with a day to spare on both sides for the reader's own zone."""

Code = Literal[
    "not-stored",
    "too-long",
    "not-a-value",
    "in-use",
    "exists",
    "missing",
    "unreadable",
    "corrupt",
    "newer",
    "changed",
    "closed",
]


class JournalError(DiagError):
    """A journal that cannot be read or written; `code` for programs, `place` where a line is meant."""

    exit_code = 1

    def __init__(self, code: Code, message: str, place: Place | None = None) -> None:
        self.code = code
        self.place = place
        super().__init__(message if place is None else f"{place}: {message}")


def why(error: OSError) -> str:
    """What the system found, in plain words, for an error message."""
    if error.errno in (errno.ENOSPC, errno.EDQUOT):
        return t("found the disk full, expected room for it")
    if error.errno == errno.EFBIG:
        return t("found the file at the size limit, expected room for it")
    return t("found: {strerror}", strerror=error.strerror or error)


@dataclass(frozen=True)
class Record:
    """One event of a job. `v` format version, `seq` from 1 without gaps, `at` UTC in ISO 8601 with Z."""

    v: int
    seq: int
    at: str
    event: str
    fields: Mapping[str, Any]

    @property
    def time(self) -> datetime:
        """`at` as an aware UTC time."""
        return datetime.fromisoformat(self.at)


def stamp(time: datetime) -> str:
    """UTC in ISO 8601 with microseconds and Z; sorts as text. Raises ValueError without a time zone."""
    if time.tzinfo is None:
        raise ValueError(t("expected a time with its zone"))
    return time.astimezone(UTC).isoformat(timespec="microseconds").removesuffix("+00:00") + "Z"


def encode(seq: int, at: str, event: str, fields: Mapping[str, Any]) -> bytes:
    """The line, with its newline. Everything but plain ASCII is escaped, so that no control
    character can reach a terminal that shows the file.

    Raises JournalError for a line that is too long or a value that JSON does not know (NaN),
    ValueError for an event or field name that is not allowed, TypeError for other objects.
    """
    if not _EVENT.fullmatch(event):
        raise ValueError(t("event {event!r}: expected lower-case words with hyphens", event=event))
    if taken := [name for name in _RESERVED if name in fields]:
        raise ValueError(t("field {taken!r} is the journal's own", taken=taken[0]))
    try:
        text = json.dumps(
            {"v": VERSION, "seq": seq, "at": at, "event": event, **fields}, allow_nan=False, separators=(",", ":")
        )
    except (ValueError, RecursionError) as error:
        raise JournalError(
            "not-a-value",
            t(
                "the {event} record was NOT stored: found a value that cannot be written ({error}); "
                "expected finite numbers and plain text. Give the value again.",
                event=event,
                error=error,
            ),
        ) from error
    line = text.encode("ascii") + b"\n"
    if len(line) > LINE_LIMIT:
        raise JournalError(
            "too-long",
            t(
                "the {event} record was NOT stored: found {count} bytes; expected at most "
                "{line_limit}. Shorten the text, or divide it over several notes.",
                event=event,
                count=len(line),
                line_limit=LINE_LIMIT,
            ),
        )
    return line


def decode(line: bytes, file: str, number: int) -> Record:
    """The record of a line (without its newline); `number` counts from 1. Raises JournalError."""

    def bad(found: str, column: int = 1, code: Code = "corrupt", mend: str = "") -> NoReturn:
        raise JournalError(
            code,
            t(
                "this line is not a record of a job; found {found}; expected one JSON object with v, "
                "seq, at and event. {mend}",
                found=found,
                mend=mend or MEND,
            ),
            Place(file, number, column),
        )

    if len(line) + 1 > LINE_LIMIT:
        bad(t("more than {line_limit} bytes", line_limit=LINE_LIMIT), LINE_LIMIT)
    try:
        text = line.decode("utf-8")
        if number == 1:
            text = text.removeprefix("\ufeff")  # some editors put one in front when they save
        found = json.loads(text, parse_constant=_refuse, parse_float=_finite, object_pairs_hook=_once)
    except UnicodeDecodeError as error:
        bad(t("bytes that are not UTF-8"), error.start + 1)
    except json.JSONDecodeError as error:
        bad(_spoken(line, error), error.colno)
    except (ValueError, RecursionError) as error:
        bad(_refused_number(error) if isinstance(error, ValueError) else t("brackets nested too deep"))
    if not isinstance(found, dict):
        bad(t("JSON that is not an object"))
    version = found.get("v")
    if _whole(version) and version > VERSION:
        raise JournalError(
            "newer",
            t(
                "found format version {version}; expected at most {version_2}. This job was written "
                "by a newer version of the program: install that one, nothing was changed.",
                version=version,
                version_2=VERSION,
            ),
            Place(file, number, 1),
        )
    if not _whole(version) or version < OLDEST:
        bad(t("v {short}, expected {version}", short=_short(version), version=VERSION))
    seq, at, event = found.get("seq"), found.get("at"), found.get("event")
    if not _whole(seq) or seq < 1:
        bad(t("seq {short}, expected a whole number from 1", short=_short(seq)))
    at = _without_leap(at)
    if not _is_time(at):
        bad(t("at {short}, expected a UTC time such as 2026-11-25T08:30:00Z", short=_short(at)))
    if not isinstance(event, str) or not _EVENT.fullmatch(event):
        bad(t("event {short}, expected lower-case words with hyphens", short=_short(event)))
    fields = {key: one for key, one in found.items() if key not in _RESERVED}
    if _HALF.search(line):
        fields = _whole_signs(fields)
    return Record(version, seq, at, event, MappingProxyType(fields))


def _whole(found: Any) -> TypeGuard[int]:
    return isinstance(found, int) and not isinstance(found, bool)


def _short(found: Any) -> str:
    return t("nothing") if found is None else json.dumps(found)[:40]


def _spoken(line: bytes, error: json.JSONDecodeError) -> str:
    if not line.strip():
        return t("an empty line")
    if error.pos >= len(line.decode("utf-8")):
        return t("the end of the line where JSON goes on")
    return t("{doc!a} where JSON needs something else", doc=error.doc[error.pos])


def _refuse(word: str) -> NoReturn:
    raise ValueError(t("the number {word}", word=word))


def _finite(digits: str) -> float:
    if not math.isfinite(found := float(digits)):
        raise ValueError(t("the number {digits}, which is too large", digits=digits[:20]))
    return found


def _refused_number(error: ValueError) -> str:
    said = str(error)
    return t("a whole number of thousands of digits") if "digits" in said and "limit" in said else said


def _without_leap(found: Any) -> Any:
    """A clock that shows a leap second says :60, which Python's times do not know."""
    return _LEAP.sub(r"\1:59.999999Z", found) if isinstance(found, str) and len(found) <= 40 else found


def _whole_signs(found: Any) -> Any:
    """With a mark in place of half signs, which JSON can spell and nothing can show, hash or send."""
    if isinstance(found, str):
        return found.encode("utf-16", "surrogatepass").decode("utf-16", "replace")
    if isinstance(found, list):
        return [_whole_signs(one) for one in found]
    if isinstance(found, dict):
        return {_whole_signs(key): _whole_signs(one) for key, one in found.items()}
    return found


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    result = dict(pairs)
    if len(result) != len(pairs):
        names = [name for name, _ in pairs]
        raise ValueError(t("the name {names!a} twice", names=next(name for name in names if names.count(name) > 1)))
    return result


def _is_time(found: Any) -> TypeGuard[str]:
    if not isinstance(found, str) or not found.endswith("Z") or not found.isascii() or len(found) > 40:
        return False
    try:
        time = datetime.fromisoformat(found)
    except ValueError:
        return False
    return time.tzinfo is not None and time.year in _YEARS
