"""Makes a bundle of a job: its journal, the log in every form, and the files of the knowledge it is weighed by.

Knows what goes in and where it comes from; the same job and knowledge give the same bytes.
"""

from __future__ import annotations

import io
import re
import zipfile
from datetime import UTC, datetime
from pathlib import Path

from diag import __version__
from diag.bundle.contents import FORMAT, KNOWLEDGE, LIST, LOG, NOTE, checked, list_of
from diag.errors import DiagError
from diag.job.state import replay
from diag.knowledge.copies import copied_on, copy_of
from diag.log.export import open_job
from diag.log.forms import as_csv, as_json
from diag.log.markdown import as_markdown
from diag.paper.owner import as_owner
from diag.paper.page import as_html
from diag.paper.parts import as_parts
from diag.talk.opening import knowledge_beside
from diag.texts import t

__all__ = ["bundle_bytes"]


def bundle_bytes(path: Path, vehicle: Path | None = None, *, packs: bool = True) -> bytes:
    """The job in `path` as a bundle. Times in the log are UTC: it will be read elsewhere. What came with a job out of
    a bundle goes on with it as it is, so such a job takes no other vehicle. Arguments and errors as in
    `diag.log.export.open_job`; the journal is read, not touched."""
    came = knowledge_beside(path) is not None
    if came and vehicle is not None:
        raise DiagError(
            t(
                "{path}: found another vehicle for a job that came with its own; expected none. Leave --vehicle away.",
                path=path,
            )
        )
    lived, report = open_job(path, vehicle, zone=UTC, packs=packs)
    reasoner = lived.reasoner
    try:
        journal = path.read_bytes()
    except OSError as error:
        raise DiagError(
            t("{path}: {strerror}; expected a job.", path=path, strerror=(error.strerror or str(error)).lower())
        ) from error
    job = f"{_plain(path.stem)}.jsonl"
    files = {job: journal}
    files |= {
        f"{LOG}/log.md": as_markdown(report).encode(),
        f"{LOG}/log.html": as_html(lived, report).encode(),
        f"{LOG}/log.json": as_json(report).encode(),
        f"{LOG}/log.csv": as_csv(report).encode(),
        f"{LOG}/owner.html": as_owner(lived, report).encode(),
        f"{LOG}/parts.md": as_parts(lived, report).encode(),
    }
    known = copied_on(path.parent / KNOWLEDGE) if came else copy_of(reasoner.knowledge)
    files |= {f"{KNOWLEDGE}/{name}": content for name, content in known.items()}
    told = replay(lived.records).knowledge
    last = report.last.utc
    engine = reasoner.matcher.name
    title = reasoner.knowledge.vehicle.title
    files[NOTE] = _note(job, title, last, told == reasoner.knowledge.content_hash).encode()
    listed = list_of(
        files,
        program=f"diag {__version__}",
        engine=engine,
        job=job,
        vehicle=title[:400],
        last=last,
        by=reasoner.knowledge.content_hash,
        told=told,
    )
    checked(listed, str(path))  # a pack may have a file whose name not every system can hold
    return _packed({LIST: listed, **files}, last)


def _packed(files: dict[str, bytes], last: str) -> bytes:
    when = datetime.fromisoformat(last).astimezone(UTC)
    stamp = (max(when.year, 1980), when.month, when.day, when.hour, when.minute, when.second // 2 * 2)
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED, compresslevel=9) as archive:
        for name, content in files.items():
            entry = zipfile.ZipInfo(name, stamp)
            entry.compress_type, entry.create_system, entry.external_attr = zipfile.ZIP_DEFLATED, 3, 0o100600 << 16
            archive.writestr(entry, content)
    return out.getvalue()


def _plain(name: str) -> str:
    """A name that every system can hold."""
    return re.sub(r"[^A-Za-z0-9._+-]+", "-", name).strip("-. ")[:100] or "job"


def _note(job: str, vehicle: str, last: str, same: bool) -> str:
    changed = (
        ""
        if same
        else t("\nThe rules changed after the job was last worked on: the log is weighed by those in this bundle.\n")
    )
    return t(
        "A job at a vehicle's wiring: {vehicle}\n"
        "Last worked on {last} (UTC). Bundle format {format}, written by diag {version}.\n\n"
        "To read it nothing is needed: open {log}/log.html in a browser, or {log}/log.md as text. "
        "{log}/owner.html is for the\n"
        "owner, {log}/parts.md the list of parts, {log}/log.csv and {log}/log.json are for other "
        "programs.\n\n"
        "{job} is the journal: one line of JSON for each thing that happened, in order, times in UTC.\n"
        "{knowledge}/ holds the vehicle's file and every layer of rules that the answers were "
        "weighed by, as YAML.\n"
        "{list} lists the files with their SHA-256.\n"
        "{changed}\n"
        "To go on with it: diag unbundle THIS-FILE\n\n"
        "It may hold names, places and notes: give it only to whom they concern.\n",
        vehicle=vehicle,
        last=last,
        format=FORMAT,
        version=__version__,
        log=LOG,
        job=job,
        knowledge=KNOWLEDGE,
        list=LIST,
        changed=changed,
    )
