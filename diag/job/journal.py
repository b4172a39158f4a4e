"""The journal: a job's only memory, an append-only file of records that survives a pulled plug.

A record is on the disk before `append` returns. Must not know of knowledge, questions or terminals.
"""

from __future__ import annotations

import contextlib
import os
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType
from typing import Any, NamedTuple, Self

from diag.errors import Place
from diag.job.disk import (
    LARGEST,
    make_folder,
    must_be_file,
    open_file,
    read_all,
    sync,
    sync_folder,
    write_all,
    write_beside,
)
from diag.job.folder import jobs_folder, list_jobs, new_job_path
from diag.job.lock import JobLock
from diag.job.records import LINE_LIMIT, MEND, VERSION, JournalError, Record, decode, encode, stamp, why
from diag.texts import t

__all__ = [
    "LINE_LIMIT",
    "VERSION",
    "Journal",
    "JournalError",
    "Record",
    "is_blank",
    "jobs_folder",
    "list_jobs",
    "new_job_path",
    "parse_journal",
    "read_journal",
]

_BEGINNING = b'{"v":'
_FLAGS = os.O_RDWR | os.O_APPEND
Clock = Callable[[], datetime]


def _now() -> datetime:
    return datetime.now(UTC)


class _Whole(NamedTuple):
    """What is surely on the disk; replaced in one step, so that Ctrl-C cannot leave it half told."""

    size: int
    records: int
    latest: datetime | None


class Journal:
    """An open journal, locked against other programs; make one with `create` or `open`.

    `messages` holds what the user should hear about the file (a torn line set aside, a double
    line dropped). Every method may raise JournalError.
    """

    def __init__(
        self,
        path: Path,
        fd: int,
        lock: JobLock,
        records: list[Record],
        size: int,
        clock: Clock,
        messages: tuple[str, ...],
    ) -> None:
        """For `create` and `open` only: takes over the open file and the lock."""
        self.path = path
        self.messages = messages
        self._fd = fd
        self._lock = lock
        self._records = records
        self._clock = clock
        self._whole = _Whole(size, len(records), max((record.time for record in records), default=None))
        self._unsure = False
        """True while the file may hold more than what is known to be whole."""

    @classmethod
    def create(cls, path: Path | str, clock: Clock = _now) -> Journal:
        """A new, empty journal; folders that are missing are made, for this user only."""
        path = Path(path)
        fd = -1
        lock: JobLock | None = None
        try:
            make_folder(path.parent)
            if os.path.lexists(path):
                raise FileExistsError
            lock = JobLock(path)
            fd = open_file(path, _FLAGS | os.O_CREAT | os.O_EXCL)
            sync(fd)
            sync_folder(path.parent)
        except BaseException as error:
            _drop(fd, lock)
            if isinstance(error, FileExistsError) and not path.parent.is_dir():
                raise JournalError(
                    "missing",
                    t(
                        "{parent}: found a file; expected a folder for jobs. Move it away or set DIAG_HOME.",
                        parent=path.parent,
                    ),
                ) from error
            if isinstance(error, FileExistsError):
                raise JournalError(
                    "exists",
                    t(
                        "{path}: found a file; expected none where a new job begins. Resume that "
                        "job, or choose another name.",
                        path=path,
                    ),
                ) from error
            if isinstance(error, OSError):
                raise JournalError(
                    "not-stored",
                    t(
                        "{path}: the job could not be begun: {why}; expected a folder that can be "
                        "written to. Choose another place, or set DIAG_HOME.",
                        path=path,
                        why=why(error),
                    ),
                ) from error
            raise
        return cls(path, fd, lock, [], 0, clock, (lock.message,) if lock.message else ())

    @classmethod
    def open(cls, path: Path | str, clock: Clock = _now) -> Journal:
        """An existing journal. A last line that was cut short is set aside in `NAME.torn-N`."""
        path = Path(path)
        must_be_file(path)
        fd = -1
        lock: JobLock | None = None
        try:
            lock = JobLock(path)
            fd = open_file(path, _FLAGS)
            content = read_all(fd)
            whole = _whole_length(content)
            records, messages = _parse(content[:whole], str(path))
            messages[:0] = [lock.message] if lock.message else []
            if whole < len(content):
                messages.append(_set_aside(path, content[whole:]))
                os.ftruncate(fd, whole)
                sync(fd)
        except BaseException as error:
            _drop(fd, lock)
            if isinstance(error, OSError):
                raise JournalError(
                    "unreadable",
                    t(
                        "{path}: the job could not be opened: {why}; expected a file and folder that "
                        "can be read and written. Copy the job to a place where you may write.",
                        path=path,
                        why=why(error),
                    ),
                ) from error
            raise
        return cls(path, fd, lock, records, whole, clock, tuple(messages))

    @property
    def records(self) -> tuple[Record, ...]:
        """All records in order, as a reader of the file would find them."""
        return tuple(self._records[: self._whole.records])

    def append(self, event: str, /, **fields: Any) -> Record:
        """Writes one record and returns it when the disk has it.

        Where it raises, the record was not stored and the file is as it was before. Times never go
        back: a clock that was set back is held at the last record's time.
        """
        if self._fd < 0:
            raise JournalError(
                "closed",
                t("{path}: the job is closed; the {event} record was NOT stored.", path=self.path, event=event),
            )
        time = self._clock()
        if time.tzinfo is None:
            raise ValueError(t("the journal's clock: expected a time with its zone"))
        size, count, latest = self._whole
        time = time if latest is None else max(time, latest)
        seq = count + 1
        line = encode(seq, stamp(time), event, fields)
        record = decode(line[:-1], str(self.path), seq)
        if size + len(line) > LARGEST:
            raise JournalError(
                "too-long",
                t(
                    "{path}: the {event} record was NOT stored: found a job of {size:,} bytes; "
                    "expected at most {largest:,}. All answers are kept; go on in a new job.",
                    path=self.path,
                    event=event,
                    size=size,
                    largest=LARGEST,
                ),
            )
        try:
            self._check_file()
            self._unsure = True
            write_all(self._fd, line)
            sync(self._fd)
        except BaseException as error:
            self._cut()
            if isinstance(error, OSError):
                raise JournalError(
                    "not-stored",
                    t(
                        "{path}: the {event} record was NOT stored: {why}. Earlier answers are safe. "
                        "Mend that, then give this answer again.",
                        path=self.path,
                        event=event,
                        why=why(error),
                    ),
                ) from error
            raise
        self._records[count:] = [record]
        self._whole = _Whole(size + len(line), count + 1, time)
        self._unsure = False
        return record

    def close(self) -> None:
        """Gives file and lock back; may be called twice."""
        fd, self._fd = self._fd, -1
        if fd >= 0:
            _drop(fd, self._lock)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def _check_file(self) -> None:
        """The file must be the one we opened, ending where we left it: an answer appended to a file
        that was deleted or replaced would be lost with it."""
        if self._unsure:
            os.ftruncate(self._fd, self._whole.size)
            sync(self._fd)
            self._unsure = False
        own = os.fstat(self._fd)
        try:
            named = os.stat(self.path)
        except FileNotFoundError:
            named = None
        if named is None or not os.path.samestat(own, named):
            raise JournalError(
                "changed",
                t(
                    "{path}: the answer was NOT stored: found the job's file deleted or replaced "
                    "while in use. Put it back, or begin anew from a copy.",
                    path=self.path,
                ),
            )
        size = self._whole.size
        if own.st_size != size:
            raise JournalError(
                "changed",
                t(
                    "{path}: the answer was NOT stored: found {st_size} bytes; expected {size}. "
                    "Another program changed the file: close the job and open it again.",
                    path=self.path,
                    st_size=own.st_size,
                    size=size,
                ),
            )

    def _cut(self) -> None:
        """Takes a line that is not surely stored off the file; where even that fails, the next
        `append` does it first, and a reader would set the piece aside."""
        if self._unsure:
            with contextlib.suppress(OSError):
                os.ftruncate(self._fd, self._whole.size)
                sync(self._fd)
                self._unsure = False


def is_blank(path: Path | str) -> bool:
    """Whether a job was begun there and the plug was pulled before its first record: nothing is lost by beginning
    it again in the same file. Files of other sorts are none."""
    with contextlib.suppress(OSError, ValueError, JournalError):
        fd = open_file(Path(path), os.O_RDONLY)
        try:
            found = os.read(fd, LINE_LIMIT + 1)
        finally:
            os.close(fd)
        begun = found.startswith(_BEGINNING) or _BEGINNING.startswith(found) or not found.strip(b"\0")
        return begun and b"\n" not in found and len(found) <= LINE_LIMIT
    return False


def read_journal(path: Path | str) -> tuple[tuple[Record, ...], tuple[str, ...]]:
    """Records and messages of a journal that is only read: no lock is taken and nothing is mended."""
    path = Path(path)
    must_be_file(path)
    try:
        fd = open_file(path, os.O_RDONLY)
        try:
            content = read_all(fd)
        finally:
            os.close(fd)
    except OSError as error:
        raise JournalError(
            "unreadable",
            t(
                "{path}: the job could not be read: {why}; expected a file that can be read. Check its permissions.",
                path=path,
                why=why(error),
            ),
        ) from error
    return parse_journal(content, str(path))


def parse_journal(content: bytes, path: str) -> tuple[tuple[Record, ...], tuple[str, ...]]:
    """The same of a journal's bytes, wherever they were read; `path` is named where something is wrong."""
    whole = _whole_length(content)
    records, messages = _parse(content[:whole], path)
    if whole < len(content):
        messages.append(
            t(
                "{path}: the last line was cut short ({number} bytes) and is left out.",
                path=path,
                number=len(content) - whole,
            )
        )
    return tuple(records), tuple(messages)


# ---------------------------------------------------------------- reading


def _whole_length(content: bytes) -> int:
    """Length up to the last whole line. A last line with zero bytes was never written by us: it is
    what a power cut leaves where the length reached the disk before the text."""
    whole = content.rfind(b"\n") + 1
    last = content.rfind(b"\n", 0, max(whole - 1, 0)) + 1
    return last if b"\0" in content[last:whole] else whole


def _parse(content: bytes, file: str) -> tuple[list[Record], list[str]]:
    records: list[Record] = []
    messages: list[str] = []
    previous = b""
    lines = content.split(b"\n")[:-1]
    for number, line in enumerate(lines, start=1):
        record = decode(line, file, number)
        place = Place(file, number, 1)
        wanted = len(records) + 1
        if line == previous:
            messages.append(
                t(
                    "{place}: this line is the same as the one before (seq {seq}) and was left out.",
                    place=place,
                    seq=record.seq,
                )
            )
            continue
        if record.seq != wanted:
            what = t("a number that was used before") if record.seq < wanted else t("a gap, records are missing")
            raise JournalError(
                "corrupt",
                t(
                    "found seq {seq}, {what}; expected seq {wanted}. {mend}",
                    seq=record.seq,
                    what=what,
                    wanted=wanted,
                    mend=MEND,
                ),
                place,
            )
        if records and record.time < records[-1].time:
            messages.append(
                t("{place}: the time goes back ({at}); the order of the lines counts.", place=place, at=record.at)
            )
        records.append(record)
        previous = line
    return records, messages


def _set_aside(path: Path, piece: bytes) -> str:
    """Keeps the piece in a file of its own, on disk before it is cut off the journal."""
    aside = write_beside(path, "torn", piece)
    return t(
        "{path}: the last line was cut short ({count} bytes) and was set aside in {aside}. If "
        "the last answer is missing, give it again.",
        path=path,
        count=len(piece),
        aside=aside.name,
    )


def _drop(fd: int, lock: JobLock | None) -> None:
    try:
        if fd >= 0:
            os.close(fd)
    finally:
        if lock is not None:
            lock.release()
