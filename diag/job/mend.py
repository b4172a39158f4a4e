"""Makes a damaged journal usable again without throwing anything away: the damaged file is kept beside it.

Lines that can be read stay as they are, under their own numbers and in their order; a note stands for each record that
is lost. Knows lines and numbers; nothing of what an answer means.
"""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterable
from pathlib import Path

from diag.job.disk import must_be_file, open_file, read_all, sync_folder, write_beside
from diag.job.lock import JobLock
from diag.job.records import JournalError, Record, decode, encode, why
from diag.texts import t

__all__ = ["mend_journal", "mended"]

_WIDEST_GAP = 1000
"""Records in a row that may be missing; a number further on is taken for damage itself."""


def mended(content: bytes, file: str) -> tuple[bytes, tuple[str, ...]]:
    """The bytes of a journal that can be read again, and what was wrong, in words; no words where nothing was.

    Raises JournalError where a line is of a newer program, and where no record can be read.
    """
    said: list[str] = []
    lines: dict[int, bytes] = {}
    records: dict[int, Record] = {}
    order: list[int] = []
    parts = content.removeprefix(b"\xef\xbb\xbf").split(b"\n")
    if not parts[-1]:
        parts.pop()
    for number, line in enumerate(parts, start=1):
        try:
            record = decode(line, file, number)
        except JournalError as error:
            if error.code == "newer":
                raise
            said.append(t("line {number} could not be read", number=number))
            continue
        if record.seq in records:
            same = lines[record.seq] == line
            said.append(
                t("line {number} is the same as an earlier", number=number)
                if same
                else t("line {number} is another record with the number of an earlier", number=number)
            )
            continue
        order.append(record.seq)
        lines[record.seq], records[record.seq] = line, record
    kept = _within_reach(sorted(records))
    if not kept:
        raise JournalError(
            "corrupt", t("{file}: found no record that can be read. Nothing was changed. Use a copy.", file=file)
        )
    said += [t("record {seq} is far from all others", seq=seq) for seq in order if seq not in kept]
    if order != sorted(order):
        said.append(t("lines stood in another order"))
    out: list[bytes] = []
    for seq in range(1, max(kept) + 1):
        if seq in kept:
            out.append(lines[seq] + b"\n")
            continue
        at = records[min(one for one in kept if one > seq)].at
        out.append(_in_place_of(seq, at))
        said.append(
            t("record {seq} is lost", seq=seq)
            + (t(", and with it the vehicle's name: give --vehicle") if seq == 1 else "")
        )
    return b"".join(out), tuple(said)


def _within_reach(numbers: Iterable[int]) -> set[int]:
    """Numbers from 1 on, up to the first gap that is too wide to be filled."""
    kept: set[int] = set()
    last = 0
    for number in numbers:
        if number - last > _WIDEST_GAP:
            break
        kept.add(number)
        last = number
    return kept


def _in_place_of(seq: int, at: str) -> bytes:
    if seq == 1:
        return encode(1, at, "opened", {"vehicle": "", "vehicle-file": "", "knowledge": "", "lost": True})
    return encode(seq, at, "noted", {"text": f"Record {seq} of this job was damaged and is lost.", "lost": True})


def mend_journal(path: Path | str) -> tuple[str, ...]:
    """Mends a job's file; what was done, in words, nothing where it was sound. The file as it was is on the disk
    beside it, as `NAME.damaged-N`, before it is replaced. Raises JournalError."""
    path = Path(os.path.realpath(path))
    must_be_file(path)
    lock: JobLock | None = None
    try:
        lock = JobLock(path)
        fd = open_file(path, os.O_RDONLY)
        try:
            content = read_all(fd)
        finally:
            os.close(fd)
        if not content:
            return ()
        good, said = mended(content, str(path))
        if not said:
            return ()
        aside = write_beside(path, "damaged", content)
        _put(path, good)
    except OSError as error:
        raise JournalError(
            "not-stored",
            t("{path}: the job could not be mended: {why}. The file is as it was.", path=path, why=why(error)),
        ) from error
    finally:
        if lock is not None:
            lock.release()
    return (
        t(
            "{path}: mended; the file as it was is kept as {aside}. {said}. Look over the answers.",
            path=path,
            aside=aside.name,
            said="; ".join(said),
        ),
    )


def _put(path: Path, content: bytes) -> None:
    """In one step, so that a plug pulled meanwhile leaves the one file or the other."""
    part = write_beside(path, "mended", content)
    try:
        os.replace(part, path)
    except OSError:
        with contextlib.suppress(OSError):
            part.unlink()
        raise
    sync_folder(path.parent)
