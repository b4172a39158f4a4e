"""Archives of jobs, read straight from their JSON Lines files by an embedded analytical engine (DuckDB).

The engine reads bytes, filters and gives an overview; it never says what a record is: that is the journal's own
decoder's part, so no type is guessed and nothing is coerced. Nothing goes over a network for a local folder: the
engine may neither install nor load extensions by itself.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from diag.errors import DiagError, KnowledgeError
from diag.job.disk import LARGEST
from diag.job.folder import SUFFIX
from diag.knowledge.reader import file_bytes
from diag.replay.jobs import EXPECT, Job, parsed_job
from diag.texts import t

__all__ = ["Archive", "Filed", "Folder", "Wanted", "read_archive"]

_PATTERN = "*?["
"""The engine reads a name with one of these as a pattern."""
_FIELDS = ("check", "kind", "operate", "target", "red", "black", "through", "unit")
_GROUPED = """
create temp table record as
  with line as (select filename, unnest(string_split(try(decode(content)), chr(10))) as text from file),
  parsed as (
    select filename, text, try(json_extract_string(text, [
      '$.event', '$.seq', '$.at', '$.vehicle', '$."vehicle-file"', '$.without', '$.knowledge', '$.remedy',
      '$.target', '$.also', '$.replaces'
    ])) as f from line
  )
  select filename, f[1] as event, try_cast(f[2] as bigint) as seq, f[3] as told_at, f[4] as vehicle,
    f[5] as vehicle_file, f[6] as without, f[7] as knowledge, f[8] as remedy, f[9] as target, f[10] as also,
    f[11] as replaces,
    case when f[1] in ('answered', 'found') then text end as answer
  from parsed where f[1] is not null
"""
_OVERVIEW = """
with undone as (
  select filename, try_cast(target as bigint) as seq from record where event = 'undone'
  union
  select filename, unnest(try_cast(also as bigint[])) from record where event = 'undone'
),
job as (
  select
    filename,
    any_value(vehicle) filter (where event = 'opened') as vehicle,
    any_value(vehicle_file) filter (where event = 'opened') as vehicle_file,
    any_value(without) filter (where event = 'opened') as without,
    any_value(knowledge) filter (where event = 'opened') as knowledge,
    min(told_at) as opened_at,
    max(told_at) as last_at,
    count(*) filter (
      where event in ('answered', 'found') and gone.seq is null and replaces is null
    ) as answers,
    list(remedy order by record.seq) filter (where event = 'remedied' and gone.seq is null) as remedies
  from record left join undone as gone using (filename, seq)
  group by filename
)
select file.filename, sha256(file.content), vehicle, vehicle_file, without, knowledge, opened_at, last_at, answers,
  remedies, file.content
from file left join job using (filename)
where vehicle is null or (
  ($vehicle is null or $vehicle in (vehicle, vehicle_file, parse_filename(vehicle_file),
    parse_filename(vehicle_file, true)))
  and ($since is null or try_cast(opened_at as timestamptz) >= cast($since as timestamptz))
  and ($remedy is null or list_contains(remedies, $remedy))
)
order by file.filename
"""
_DEEDS = f"""
select distinct opened.vehicle_file, json_extract(record.answer, [{", ".join(f"'$.{name}'" for name in _FIELDS)}])
from record join record as opened using (filename)
where opened.event = 'opened' and record.answer is not null
order by all
"""


@dataclass(frozen=True)
class Folder:
    """Where jobs are, and what their names begin with there (`local/`; empty for the first)."""

    where: str
    prefix: str = ""

    @property
    def remote(self) -> bool:
        """Whether it is an address of an object storage, not a folder of this machine."""
        return "://" in self.where


@dataclass(frozen=True)
class Wanted:
    """Which jobs: of a vehicle (its id, or the name of its file), begun on or after a day (`2026-03-01`, UTC), in
    which a remedy was carried out. None: any."""

    vehicle: str | None = None
    since: str | None = None
    remedy: str | None = None


@dataclass(frozen=True)
class Filed:
    """A job's file and what the overview says of it; `vehicle` is empty where no first record could be made out.
    `answers` and `remedies` that were not taken back; `sha` of the file's bytes; `beside` those of its expectation."""

    name: str
    path: str
    sha: str
    content: bytes
    beside: bytes | None
    vehicle: str = ""
    vehicle_file: str = ""
    without: tuple[str, ...] = ()
    knowledge: str = ""
    opened_at: str = ""
    last_at: str = ""
    answers: int = 0
    remedies: tuple[str, ...] = ()

    def job(self) -> Job:
        """Its records, as the journal's decoder has them; what is wrong with them stands in `problem`."""
        return parsed_job(self.name, self.path, self.content, self.beside)


@dataclass(frozen=True)
class Archive:
    """Jobs by name. `deeds`: by vehicle file, the fields of every different answer; `aside`: what could not be
    read at all, and why."""

    jobs: tuple[Filed, ...]
    deeds: Mapping[str, tuple[dict[str, Any], ...]]
    aside: tuple[str, ...] = ()


def read_archive(folders: Sequence[Folder], wanted: Wanted) -> Archive:
    """All jobs below the folders. A file that cannot be read is set aside. Raises DiagError for a folder that is
    not there, a day that is none, an engine that is not installed or an address that it cannot read."""
    if wanted.since is not None:
        _must_be_day(wanted.since)
    engine = _engine()
    try:
        engine.execute("create temp table file (filename varchar, content blob)")
        aside: list[str] = []
        names: dict[str, str] = {}
        for folder in folders:
            if folder.remote:
                _take_remote(engine, folder, names)
            else:
                aside += _take_local(engine, folder, names)
        engine.execute(_GROUPED)
        found = engine.execute(_OVERVIEW, vars(wanted)).fetchall()
        jobs = sorted((_filed(row, names[row[0]]) for row in found), key=lambda filed: filed.name)
        return Archive(tuple(jobs), _deeds(engine.execute(_DEEDS).fetchall()), tuple(sorted(aside)))
    finally:
        engine.close()


def _engine() -> Any:
    try:
        import duckdb
    except ImportError as error:
        raise DiagError(
            t(
                "replay reads archives with DuckDB, which is not installed; expected the package "
                "`duckdb`. Install it: pip install duckdb."
            )
        ) from error
    shut: dict[str, Any] = {"autoinstall_known_extensions": "false", "autoload_known_extensions": "false"}
    engine = duckdb.connect(":memory:", config=shut)
    engine.execute("set timezone = 'UTC'")
    return engine


def _must_be_day(text: str) -> None:
    try:
        datetime.fromisoformat(text)
    except ValueError as error:
        raise DiagError(t("--since: found `{text}`; expected a day such as 2026-03-01.", text=text)) from error


# ---------------------------------------------------------------- files


def _take_local(engine: Any, folder: Folder, names: dict[str, str]) -> list[str]:
    """Takes in the files of a local folder, or one file; what could not be read, and why."""
    base = Path(folder.where)
    if base.is_file() and base.name.endswith(SUFFIX):
        paths, base = [base], base.parent
    elif base.is_dir():
        paths = sorted(path for path in base.rglob(f"*{SUFFIX}") if path.is_file())
    else:
        raise DiagError(
            t(
                "{base}: found no such folder; expected one with recorded jobs (NAME{suffix}), or a job.",
                base=base,
                suffix=SUFFIX,
            )
        )
    giants = {path for path in paths if _size(path) > LARGEST}
    nameless = {path for path in paths if not _is_text(path)}
    paths = [path for path in paths if path not in giants | nameless]
    plain = [str(path) for path in paths if not any(mark in str(path) for mark in _PATTERN)]
    for path in paths:
        names[str(path)] = folder.prefix + path.relative_to(base).as_posix().removesuffix(SUFFIX)
    try:
        if plain:
            engine.execute("insert into file select filename, content from read_blob($paths)", {"paths": plain})
        odd: Iterable[str] = sorted(names.keys() & {str(path) for path in paths} - set(plain))
    except _errors():  # one that may not be read, or went away meanwhile, stops the engine
        odd = [str(path) for path in paths]
    large = [
        t("{path}: found more than {largest:,} bytes; left out.", path=path, largest=LARGEST) for path in sorted(giants)
    ]
    large += [t("{path}: found a name that is not UTF-8; left out. Rename it.", path=path) for path in sorted(nameless)]
    return [*_take_one_by_one(engine, odd), *large]


def _is_text(path: Path) -> bool:
    """Whether the engine can be told the name."""
    try:
        str(path).encode("utf-8")
    except UnicodeEncodeError:
        return False
    return True


def _size(path: Path) -> int:
    try:
        return path.stat().st_size
    except OSError:
        return 0


def _take_one_by_one(engine: Any, paths: Iterable[str]) -> list[str]:
    aside = []
    for path in paths:
        try:
            engine.execute("insert into file values (?, ?)", [path, Path(path).read_bytes()])
        except OSError as error:
            aside.append(t("{path}: {strerror}; left out.", path=path, strerror=error.strerror or error))
    return aside


def _take_remote(engine: Any, folder: Folder, names: dict[str, str]) -> None:
    """An object storage, where the user's own engine has the extension for it."""
    base = folder.where.rstrip("/")
    try:
        engine.execute("load httpfs")
        engine.execute("insert into file select filename, content from read_blob(?)", [f"{base}/**/*{SUFFIX}"])
    except _errors() as error:
        first = str(error).strip().splitlines()[0]
        raise DiagError(
            t(
                "{where}: this address could not be read ({first}); expected a DuckDB with its extension "
                "httpfs. Install that once with DuckDB's own `INSTALL httpfs`, or copy the jobs to a "
                "folder.",
                where=folder.where,
                first=first,
            )
        ) from error
    for (path,) in engine.execute("select filename from file").fetchall():
        names.setdefault(path, folder.prefix + path.removeprefix(f"{base}/").removesuffix(SUFFIX))


def _errors() -> type[Exception]:
    import duckdb

    found: type[Exception] = duckdb.Error
    return found


# ---------------------------------------------------------------- rows


def _filed(row: Sequence[Any], name: str) -> Filed:
    path, sha, vehicle, vehicle_file, without, knowledge, opened_at, last_at, answers, remedies, content = row
    beside = None
    if "://" not in path:
        expectation = path.removesuffix(SUFFIX) + EXPECT
        if os.path.exists(expectation):
            beside = _bytes_of(expectation)
    return Filed(
        name,
        path,
        sha,
        bytes(content),
        beside,
        vehicle or "",
        vehicle_file or "",
        _words(without),
        knowledge or "",
        opened_at or "",
        last_at or "",
        answers or 0,
        tuple(str(remedy) for remedy in remedies or ()),
    )


def _bytes_of(path: str) -> bytes:
    try:
        return file_bytes(Path(path))
    except KnowledgeError:
        return b"\xff"  # the decoder names the file and says that it cannot be used


def _words(text: str | None) -> tuple[str, ...]:
    try:
        found = json.loads(text or "[]")
    except (ValueError, RecursionError):
        return ()
    return tuple(sorted(str(word) for word in found)) if isinstance(found, list) else ()


def _deeds(rows: Sequence[tuple[str | None, Sequence[str | None]]]) -> dict[str, tuple[dict[str, Any], ...]]:
    by_vehicle: dict[str, list[dict[str, Any]]] = {}
    for vehicle_file, found in rows:
        deed = {name: json.loads(text) for name, text in zip(_FIELDS, found, strict=True) if text is not None}
        by_vehicle.setdefault(vehicle_file or "", []).append(deed)
    return {vehicle_file: tuple(deeds) for vehicle_file, deeds in by_vehicle.items()}
