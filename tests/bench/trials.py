"""Plays many jobs of a simulated fitter at vehicles with hidden faults, and says how often and how soon they are cured.

Run: python -m tests.bench.trials [--what single|wrong|unlike|double|looks|bare|rules|all] [--count N] [--seed S]
[--jobs N] [--only PART-OF-A-CAUSE] [--real N]

Causes are weighed, or drawn, by how often they are met. Meant to be read: every job that did not go right is listed.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy: the matrices are small, threads only wait

import argparse
import multiprocessing
import random
import signal
import sys
import tempfile
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

from diag.reason.reasoner import Reasoner
from diag.talk.opening import open_reasoner, vehicle_file
from tests.bench.fitter import Fitter
from tests.bench.played import Job, play, play_outside
from tests.bench.report import Trial, job_text, not_right, print_report
from tests.bench.vehicle import Described, Vehicle

__all__ = ["WHATS", "Garage", "Task", "main", "progress", "run"]

METER, BARE = ("test-lamp", "meter"), ()
WHATS = {
    "single": "one fault, every answer true",
    "wrong": "one fault, any one answer wrong, the complaint included",
    "unlike": "one fault on a vehicle unlike the described one",
    "double": "two faults, every answer true",
    "looks": "one fault, nothing unplugged or disconnected",
    "bare": "one fault, no instruments",
    "rules": "one fault, the program without the wiring: rules alone",
}
_WHOLE = ("single",)
"""Trials that take every cause once, weighed, where no count is given."""
_COUNT = 200
_DRAWS = 400


@dataclass(frozen=True)
class Task:
    """One job to play. `cause`: the fault; None where it is drawn by `number` and `seed`."""

    what: str
    number: int
    seed: str
    cause: str | None = None


class Garage:
    """The program and the vehicle, opened once in each process."""

    def __init__(self, reasoner: Reasoner, described: Described | None = None) -> None:
        self.reasoner = reasoner
        self.described = described or Described(reasoner.knowledge)
        self._rules: Reasoner | None = None
        self._names = list(self.described.prior)
        self._weights = list(self.described.prior.values())

    @staticmethod
    def opened() -> Garage:
        """Over the demo vehicle, with the tables of earlier runs."""
        return Garage(open_reasoner(vehicle_file(None)))

    @property
    def rules_alone(self) -> Reasoner:
        """The program without the wiring."""
        if self._rules is None:
            self._rules = open_reasoner(vehicle_file(None), frozenset(("wiring",)))
        return self._rules

    def fitter(self, faults: Sequence[str], seed: str, strays: str | None = None, **how: object) -> Fitter:
        """A fitter at a vehicle with those faults."""
        return Fitter(Vehicle(self.described, faults, strays), seed, **how)  # type: ignore[arg-type]

    # ------------------------------------------------------------ playing

    def play(self, task: Task) -> Job:
        """One job; without complaint where nobody would have noticed the fault of a task that names it."""
        chance = random.Random(f"task {task.what} {task.number} {task.seed}")
        if task.what == "double":
            return self._double(chance, task)
        vehicle, seed = self._drawn(chance, task)
        if task.cause is not None and not Fitter(vehicle, seed).complaints():
            return Job((task.cause,))
        fitter = Fitter(vehicle.again(), seed, takes_apart=task.what != "looks")
        match task.what:
            case "wrong":
                true = play(self.reasoner, fitter)
                wrong_at = chance.randrange(len(true.answers))
                return play(self.reasoner, Fitter(vehicle.again(), seed, wrong_at=wrong_at))
            case "bare":
                return play(self.reasoner, fitter, BARE)
            case "rules":
                return play(self.rules_alone, fitter)
            case _:
                return play(self.reasoner, fitter)

    def draw(self, task: Task) -> Vehicle:
        """A vehicle with a fault that somebody notices, drawn by how often it is met."""
        return self._drawn(random.Random(f"task {task.what} {task.number} {task.seed}"), task)[0]

    def _drawn(self, chance: random.Random, task: Task) -> tuple[Vehicle, str]:
        """The same, or with the fault of the task, and the fitter's seed."""
        for draw in range(_DRAWS):
            cause = task.cause or chance.choices(self._names, self._weights)[0]
            seed = f"{task.seed} {cause}"
            strays = f"{seed} {task.number} {draw}" if task.what == "unlike" else None
            vehicle = Vehicle(self.described, [cause], strays)
            if task.cause is not None or Fitter(vehicle, seed).complaints():
                return vehicle, seed
        raise RuntimeError("no fault was drawn that anybody notices")

    def _double(self, chance: random.Random, task: Task) -> Job:
        """Two faults of different parts with different cures, each of which somebody would notice alone."""
        causes, cure = self.described.causes, self.described.cure
        first = second = task.cause or self._drawn(chance, task)[0].faults[0]
        while causes[second].subject == causes[first].subject or cure[second] == cure[first]:
            second = self._drawn(chance, Task(task.what, task.number, task.seed))[0].faults[0]
        seed = f"{task.seed} {first} {second}"
        return play(self.reasoner, self.fitter([first, second], seed, all_at_once=chance.random() < 0.5))

    def real(self, task: Task, folder: Path) -> tuple[Job, Job]:
        """The same job in this process and with the real program, which keeps its own in `folder`."""
        vehicle, seed = self._drawn(random.Random(f"task {task.what} {task.number} {task.seed}"), task)
        inside = play(self.reasoner, Fitter(vehicle.again(), seed))
        arguments = ("--job", str(folder / f"{task.number}.jsonl"))
        return inside, play_outside(self.reasoner, Fitter(vehicle.again(), seed), arguments)


_garage: Garage | None = None


def _open() -> None:
    global _garage  # noqa: PLW0603 - one program in each process of the pool
    _garage = Garage.opened()


def _play(task: Task) -> Job:
    assert _garage is not None
    return _garage.play(task)


def run(tasks: Sequence[Task], jobs: int, tell: Callable[[str], None]) -> Iterator[tuple[Task, Job]]:
    """Plays all, over so many processes; `tell` gets the progress."""
    if jobs == 1:
        if _garage is None:
            _open()
        found: Iterable[Job] = map(_play, tasks)
        yield from _told(tasks, found, tell)
        return
    with ProcessPoolExecutor(jobs, multiprocessing.get_context("spawn"), _open) as pool:
        yield from _told(tasks, pool.map(_play, tasks), tell)


def _told(tasks: Sequence[Task], found: Iterable[Job], tell: Callable[[str], None]) -> Iterator[tuple[Task, Job]]:
    for done, (task, job) in enumerate(zip(tasks, found, strict=True), start=1):
        tell(f"{task.what} {done}/{len(tasks)} {' + '.join(job.faults)}")
        yield task, job


def progress(text: str) -> None:
    """One line on standard error, over the last one."""
    print(f"\r{text:100.100}", end="", file=sys.stderr, flush=True)


def _tasks(what: str, count: int | None, seed: str, causes: Mapping[str, float], only: str | None) -> list[Task]:
    if only is not None or (what in _WHOLE and count is None):
        named = sorted((cause for cause in causes if only is None or only in cause), key=lambda c: (-causes[c], c))
        return [Task(what, number, seed, cause) for number, cause in enumerate(named)]
    return [Task(what, number, seed) for number in range(count or _COUNT)]


def _main_real(count: int, seed: str) -> None:
    """The conversation in this process and the real program are the same."""
    garage = Garage.opened()
    same = 0
    for number in range(count):
        with tempfile.TemporaryDirectory() as folder:
            inside, outside = garage.real(Task("single", number, seed), Path(folder))
        equal = (inside.answers, inside.remedies) == (outside.answers, outside.remedies)
        same += equal
        print(f"{'same' if equal else 'DIFFERENT'}: {inside.faults[0]}, {len(outside.answers)} answers", flush=True)
    print(f"{same} of {count} jobs the same with the real program")


def main(arguments: Sequence[str] | None = None) -> None:
    """Play and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--what", choices=[*WHATS, "all"], default="single")
    parser.add_argument("--count", type=int, help="jobs to draw; every cause once where left out with `single`")
    parser.add_argument("--seed", default="0")
    parser.add_argument("--jobs", type=int, default=1, help="processes")
    parser.add_argument("--only", help="every cause whose id holds this")
    parser.add_argument("--list", type=Path, help="a file to which each job that does not go right is added at once")
    parser.add_argument("--real", type=int, default=0, help="so many jobs with the real program, and nothing else")
    given = parser.parse_args(arguments)
    if given.real:
        _main_real(given.real, given.seed)
        return
    signal.signal(signal.SIGTERM, signal.default_int_handler)
    knowledge = open_knowledge()
    for what in WHATS if given.what == "all" else [given.what]:
        tasks = _tasks(what, given.count, given.seed, knowledge.prior, given.only)
        weighed = tasks[0].cause is not None and what != "double"
        trials: list[Trial] = []
        try:
            for _, job in run(tasks, given.jobs, progress):
                trials.append(Trial(job, knowledge.prior[job.faults[0]] if weighed else 1.0))
                if given.list is not None and job.complaint and not_right(job):
                    with given.list.open("a", encoding="utf-8") as file:
                        print(f"[{what}, job {len(trials)}]\n{job_text(job, knowledge)}", file=file)
        except KeyboardInterrupt:
            print(f"\nstopped after {len(trials)} of {len(tasks)} jobs; figures of these")
        progress("")
        print_report(what, WHATS[what], trials, knowledge, weighed=weighed)


def open_knowledge() -> Described:
    """The demo vehicle as its files describe it."""
    from diag.knowledge.load import load_knowledge

    return Described(load_knowledge(vehicle_file(None)))


if __name__ == "__main__":
    os.environ["DIAG_PACKS"] = "none"  # the shipped rules alone, whatever is installed here
    main()
