"""Plays whole jobs of a fitter with the program, in this process or with the real one, and notes what came of them.

Counts answers and minutes; knows nothing of how the program decides.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from diag.reason.choose import Situation, minutes_of
from diag.reason.reasoner import Reasoner
from diag.talk.conversation import Conversation
from diag.talk.opening import Rehearsed
from tests.bench.fitter import Fitter
from tests.talk.outsider import Outsider

__all__ = ["Clock", "Job", "play", "play_outside"]

Object = dict[str, Any]
_MOST_LINES = 250
_MOST_ANSWERS = 60
"""Nobody goes on for longer."""
_START = "driver-seat"


class Clock:
    """Minutes of a job, counted as the program counts them: each step from where the last one was.

    `steps` gives a step's own minutes by its check. `have`: instruments and `helper`.
    """

    def __init__(self, reasoner: Reasoner, have: tuple[str, ...]) -> None:
        self._steps = reasoner.steps
        self._now = Situation(_START, frozenset(), frozenset(), "helper" not in have)
        self.minutes = 0.0

    def asked(self, check: str) -> None:
        """A check was answered, whatever the answer."""
        step = self._steps.get(check)
        if step is None:
            return
        self.minutes += minutes_of(step, self._now)
        known = self._now.acknowledged | ({step.caution} if step.caution is not None else set())
        self._now = replace(self._now, place=step.place, acknowledged=known)

    def worked(self, minutes: float) -> None:
        """A remedy was carried out."""
        self.minutes += minutes


@dataclass
class Job:
    """What came of one job.

    `complaint`: what was told first of what was `noticed`. `answers`: questions answered, the complaint
    included and cautions not. `remedies`: carried out, each with its chance as concluded and the faults that
    it cured. `to_right`: answers and minutes until the first remedy that cures something was told. `named`: all
    faults stood in one conclusion. `ended`: the program said the end. `trouble`: why it broke off. `seconds` of
    computing in this process, the fitter's too.
    """

    faults: tuple[str, ...]
    complaint: str = ""
    noticed: tuple[str, ...] = ()
    answers: list[tuple[str, Any, str]] = field(default_factory=list)
    remedies: list[tuple[str, float, tuple[str, ...]]] = field(default_factory=list)
    to_right: tuple[int, float] | None = None
    minutes: float = 0.0
    named: bool = False
    cured: bool = False
    ended: bool = False
    open: tuple[str, ...] = ()
    trouble: str = ""
    seconds: float = 0.0

    @property
    def first_right(self) -> bool:
        """Whether the first remedy carried out cured something."""
        return bool(self.remedies) and bool(self.remedies[0][2])


@dataclass
class _Line:
    """One way to speak with the program: what it says now, and one line to it that gives its reply."""

    say: Callable[[], list[Object]]
    take: Callable[[Object], Object]


def play(reasoner: Reasoner, fitter: Fitter, have: tuple[str, ...] = ("test-lamp", "meter")) -> Job:
    """A whole job in this process."""
    conversation = Conversation(reasoner, Rehearsed.opened(reasoner, have), "trial")
    return _played(_Line(conversation.say, conversation.take), fitter, Clock(reasoner, have))


def play_outside(
    reasoner: Reasoner,
    fitter: Fitter,
    arguments: tuple[str, ...] = (),
    env: Mapping[str, str] | None = None,
    have: tuple[str, ...] = ("test-lamp", "meter"),
) -> Job:
    """The same with the real program in a process of its own. `reasoner` counts the minutes only."""
    with Outsider("--instruments", ",".join(have), *arguments, env=env) as outsider:
        line = _Line(lambda: [outsider.last], outsider.say)
        return _played(line, fitter, Clock(reasoner, have))


def _played(line: _Line, fitter: Fitter, clock: Clock) -> Job:
    start = time.process_time()
    hidden = fitter.vehicle.left
    cure = fitter.vehicle.described.cure
    job = Job(hidden)
    for _ in range(_MOST_LINES):
        last = line.say()[-1]
        if last["type"] == "conclude":
            concluded = {remedy["id"]: remedy for remedy in last["remedies"]}
            job.named = job.named or {cure[fault] for fault in hidden} <= concluded.keys()
        before = set(fitter.vehicle.left)
        message = fitter.reply(last)
        if message is None or len(fitter.given) > _MOST_ANSWERS:
            job.ended = last["type"] == "end"
            too_many = f"gave up after {_MOST_ANSWERS} answers"
            job.trouble = "" if job.ended else "the same remedies over and over" if message is None else too_many
            job.open = tuple(last.get("open", ()))
            break
        if "answer" in message and last["kind"] != "do":
            clock.asked(last["check"])
        if "remedied" in message:
            cured = tuple(sorted(before - set(fitter.vehicle.left)))
            job.remedies.append((message["remedied"], concluded[message["remedied"]]["p"], cured))
            if cured and job.to_right is None:
                job.to_right = len(fitter.given), clock.minutes
            clock.worked(concluded[message["remedied"]]["minutes"])
        told = line.take(message)
        if told["type"] == "error":
            job.trouble = f"refused {message}: {told['text']}"
            break
    else:
        job.trouble = "never came to an end"
    job.answers, job.minutes, job.cured = list(fitter.given), clock.minutes, not fitter.vehicle.left
    job.noticed = tuple(fitter.noticed)
    job.complaint, job.seconds = fitter.told[0] if fitter.told else "", time.process_time() - start
    return job
