"""The jobs and vehicles that can be chosen, by short ids; jobs that are open here. No text from a request is ever
a path: it is looked up among what is there.
"""

from __future__ import annotations

import hashlib
import secrets
import threading
import time
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from diag.job.folder import SUFFIX, jobs_folder, list_jobs, new_job_path
from diag.job.glance import glance
from diag.knowledge.layers import base_layer, found_layers, vehicles_in
from diag.serve.held import Held
from diag.talk.known import WHOLE
from diag.texts import t

__all__ = ["JobRow", "Options", "Shelf", "VehicleRow", "named_job"]

_MOST_OPEN, _MOST_SEEN = 2, 4
"""Jobs held open at once, hundreds of megabytes each; the one not looked at for longest is put back first. More of them
where each was looked at within _SEEN_S: it is likely still on a screen."""
_SEEN_S = 15 * 60
_LISTED = 40
"""Jobs on the first page; `diag jobs` lists all."""


def named_job(job: Path) -> Path:
    """The file of a job that was named by its file, or by the name of one in the jobs folder; where there is none,
    the file that it will have."""
    if job.exists() or len(job.parts) > 1 or job.suffix:
        return job
    return jobs_folder() / f"{job.name}{SUFFIX}"


@dataclass(frozen=True)
class Options:
    """What the command line said. `have`: what is at hand; None where nothing was said."""

    job: Path | None = None
    vehicle: Path | None = None
    have: tuple[str, ...] | None = None
    without: frozenset[str] = frozenset()


@dataclass(frozen=True)
class JobRow:
    """A job on the list. `what`: what was complained of; `at`: the time of the last record in ISO 8601, `when` the same
    in words; `trouble`: why it cannot be read, else empty."""

    id: str
    what: str
    vehicle: str
    at: str
    when: str
    answers: int
    how: str
    trouble: str = ""


@dataclass(frozen=True)
class VehicleRow:
    """A vehicle that a job can be begun on. `id` stands for its file."""

    id: str
    title: str
    file: Path
    chosen: bool


class Shelf:
    """What is there, and what of it is open."""

    def __init__(self, options: Options, default_vehicle: Path) -> None:
        self.options = options
        self._default = options.vehicle or default_vehicle
        self._lock = threading.Lock()
        self._open: dict[str, Held] = {}
        self._begun: dict[str, str] = {}
        self._own: dict[str, Path] = {}
        if options.job is not None:
            self._own[options.job.stem] = options.job

    @property
    def _packs(self) -> bool:
        return "packs" not in self.options.without

    # ------------------------------------------------------------ jobs

    def _paths(self) -> dict[str, Path]:
        """Every job by its id: those of the jobs folder, and the one that the command line named."""
        return {**{path.stem: path for path in list_jobs()}, **self._own}

    def rows(self) -> list[JobRow]:
        """The newest jobs. Journals are read without locking them."""
        paths = self._paths()
        names = [*(name for name in self._own if paths[name].exists()), *(n for n in paths if n not in self._own)]
        return [_row(name, paths[name]) for name in names[:_LISTED]]

    def held(self, id_: str) -> Held | None:
        """A job by its id, opened where it is not; None where there is none of that id. One that could not be opened
        stays so until it is put back, so that whoever waits hears why."""
        with self._lock:
            held = self._open.pop(id_, None)
            if held is None:
                path = self._paths().get(id_)
                if path is None or not path.exists():
                    return None
                held = Held(id_, path, vehicle=self._named(path), instruments=self.options.have, packs=self._packs)
            self._open[id_] = held  # last: looked at just now
            held.seen = time.monotonic()
            self._put_back()
            return held

    def reopened(self, held: Held) -> Held:
        """The same job opened once more, where it was in use elsewhere."""
        with self._lock:
            if self._open.get(held.id) is held:
                del self._open[held.id]
        held.close()
        return self.held(held.id) or held

    def _named(self, path: Path) -> Path | None:
        """The vehicle's file of the command line goes with the job of the command line, with no other."""
        return self.options.vehicle if path == self.options.job else None

    def begin(self, vehicle: Path, have: tuple[str, ...], once: str) -> str:
        """Begin a job; its id. The same `once` again is the same job."""
        with self._lock:
            if once in self._begun:
                return self._begun[once]
            path = new_job_path(vehicle.stem, datetime.now(UTC))
            while path.stem in self._open:  # begun in the same second, not yet on the disk
                path = path.with_name(f"{path.stem}-{secrets.token_hex(2)}{path.suffix}")
            self._add(path.stem, path, vehicle, have)
            self._begun[once] = path.stem
            return path.stem

    def begin_named(self) -> str | None:
        """The job that the command line named, opened or begun; its id."""
        path = self.options.job
        if path is None:
            return None
        if path.exists():
            self.held(path.stem)
        else:
            with self._lock:
                self._add(path.stem, path, self._default, self.options.have or ("test-lamp", "meter"))
        return path.stem

    def _add(self, id_: str, path: Path, vehicle: Path, have: tuple[str, ...]) -> None:
        self._open[id_] = Held(id_, path, new=(vehicle, have, self.options.without), packs=self._packs)
        self._put_back()

    def _put_back(self) -> None:
        since = time.monotonic() - _SEEN_S
        for n, id_ in enumerate(list(self._open)[::-1]):
            if n >= _MOST_SEEN or (n >= _MOST_OPEN and self._open[id_].seen < since):
                self._open.pop(id_).close()

    def put_back(self, id_: str) -> None:
        """Close one job, so that another program may go on with it."""
        with self._lock:
            held = self._open.pop(id_, None)
        if held is not None:
            held.close()

    def close(self) -> None:
        """Close all jobs."""
        with self._lock:
            for held in self._open.values():
                held.close()
            self._open.clear()

    # ------------------------------------------------------------ vehicles

    def vehicles(self) -> list[VehicleRow]:
        """Vehicles of the command line, of jobs that are there, and of the layers, each once."""
        files = [self._default, *self._of_jobs()]
        layers = found_layers()[0] if self._packs else (base_layer(),)
        for layer in reversed(layers):
            files += [layer.folder / "vehicles" / name for name in vehicles_in(layer.folder)]
        out: dict[str, VehicleRow] = {}
        for file in files:
            whole = file.resolve()
            id_ = hashlib.sha256(str(whole).encode()).hexdigest()[:12]
            if id_ not in out and whole.is_file():
                out[id_] = VehicleRow(id_, whole.stem.replace("-", " "), whole, not out)
        return list(out.values())

    def _of_jobs(self) -> list[Path]:
        seen = [glance(path) for path in list(self._paths().values())[:_LISTED]]
        found = [Path(one.vehicle_file) for one in seen if one.problem is None]
        return [file for file in dict.fromkeys(found) if file.is_absolute()]


def _row(id_: str, path: Path) -> JobRow:
    seen = glance(path)
    if seen.problem is not None:
        return JobRow(id_, "", "", "", "", 0, "", t("cannot be read: {problem}", problem=seen.problem))
    left = (
        t("ended, {open} left open", open=seen.open)
        if seen.open
        else "proved"
        if seen.remedies
        else t("nothing wrong found")
    )
    when = f"{seen.last.astimezone():%Y-%m-%d %H:%M %Z}"
    what = ", ".join(_spoken(name) for name in seen.complaints) or t("nothing said yet")
    how = left if seen.ended else t("not finished")
    return JobRow(id_, what, seen.vehicle.replace("-", " "), seen.last_at, when, seen.answers, how)


def _spoken(complaint: str) -> str:
    """A complaint's id in words: its title stands in the vehicle's files, which a list does not open."""
    if complaint == WHOLE:
        return t("the whole vehicle")
    circuit = complaint.removeprefix("circuit:")
    if circuit != complaint:
        return t("everything in: {circuit}", circuit=circuit.replace("-", " "))
    return complaint.replace("-", " ")
