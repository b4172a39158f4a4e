"""What a job knows at one moment, for all that decide what comes next: what may still be asked, what is odd,
what was read, where the person stands. Decides nothing itself.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from diag.job.state import Entry, JobState
from diag.knowledge import schema
from diag.reason.chances import Told
from diag.reason.choose import CAUTION_MINUTES, WALK_MINUTES, Situation
from diag.reason.reasoner import Beliefs, Reasoner, Treated
from diag.reason.steps import SERIES_LAMP, Finding, Step
from diag.stages.course import BEFORE_POWER
from diag.talk.nexts import DoFirst, Look, Next

__all__ = ["BACK_ON", "SURPRISE", "WHOLE", "Known", "seldom_sound", "somebody_complained", "whole"]

WHOLE = "whole"
"""Start value of a job that proves the whole vehicle in stages."""
BACK_ON = "back-on-"
"""How the marks of what was put back begin."""
SURPRISE = 0.25
_ASK_AGAIN = 0.25
"""Chance that an answer was misread from which it may be asked again."""
_LOOK_ONESELF = 3
"""Answers after which what was complained of may be looked at again."""
_BATTERY_OFF = ("battery-off-first", "battery-gas")
"""Cautions of remedies for which the battery comes off, or may have."""
_AT_HAND = ("test-lamp", "meter")


def whole(state: JobState) -> bool:
    """Whether the job is to prove the whole vehicle, in stages."""
    return any(
        e.fields.get("check") in ("start", "symptom") and e.fields.get("value") == WHOLE
        for e in state.standing("answered", "found")
    )


def seldom_sound(told: Told) -> bool:
    """Whether an answer with these chances is one that a healthy vehicle seldom gives: seldom beside the cause that
    explains it best, or beside a cause that nobody knows, which may show anything."""
    return float(told.rows[0]) < SURPRISE * max(float(told.rows.max()), told.flat)


def somebody_complained(findings: Sequence[Finding]) -> bool:
    """Whether any finding is a complaint."""
    return any(finding.symptom is not None for finding in findings)


class Known:
    """A job's findings with what follows from them. Everything is a pure function of reasoner and state."""

    def __init__(
        self,
        reasoner: Reasoner,
        state: JobState,
        findings: Sequence[Finding],
        treated: Sequence[Treated],
        proving: str | None,
        beliefs: Beliefs,
    ) -> None:
        self.reasoner, self.state, self.findings, self.treated = reasoner, state, tuple(findings), tuple(treated)
        self.proving, self.beliefs = proving, beliefs
        self.whole = whole(state)
        self.dead = False  # set where power is not on yet: nothing is asked then that needs it
        self.later: frozenset[str] = frozenset()  # checks that a stage will ask anyhow
        self._told = {finding.seq: told for finding, told in beliefs.judged}
        self.acknowledged = frozenset(str(e.fields.get("caution")) for e in state.standing("acknowledged"))
        self.answered = {f.step.id for f in findings if f.step is not None and f.period == state.period}
        self.odd = {odd.seq for odd in beliefs.posterior.odd if odd.p >= _ASK_AGAIN}
        self.again = self._worth_repeating()
        self.answered |= self._complained()
        self.unsure = {str(e.fields.get("check")) for e in state.standing("not-sure") if e.period == state.period}
        skipped = state.standing("skipped")
        self.closed_places = {str(e.fields.get("place")) for e in skipped if e.fields.get("reason") == "cannot-reach"}
        self.skipped = {
            str(e.fields.get("check")) for e in skipped if e.period == state.period or e.fields.get("reason") != "later"
        }
        self.instruments = set(state.instruments if state.instruments is not None else _AT_HAND)
        self.missing = {
            name
            for e in skipped
            if e.fields.get("reason") == "no-instrument"
            for name in self._needs(str(e.fields.get("check")))
        }

    def _needs(self, check: str) -> tuple[str, ...]:
        step = self.reasoner.steps.get(check)
        return step.instruments if step is not None else ()

    def _worth_repeating(self) -> dict[str, int]:
        """Steps whose answer disagrees with the others, with its number; each is asked again once, as a second
        look decides. Which of them is most worth repeating is chosen as any other question is."""
        given: dict[str, list[int]] = {}
        for finding in self.findings:
            if finding.step is not None and finding.period == self.state.period:
                given.setdefault(finding.step.id, []).append(finding.seq)
        return {check: seqs[0] for check, seqs in given.items() if len(seqs) == 1 and seqs[0] in self.odd}

    def _complained(self) -> set[str]:
        """Checks that a complaint already answers: one that means one thing only is not asked back, until so much
        else is known that looking oneself may be the shortest way."""
        out: set[str] = set()
        if len(self.answered) >= _LOOK_ONESELF:
            return out
        for finding in self.findings:
            if finding.symptom is not None and finding.period == self.state.period and finding.seq not in self.odd:
                shows = self.reasoner.knowledge.symptoms[finding.symptom].shows
                if len(shows) == 1 and len(shows[0]) == 1 and shows[0][0].check is not None:
                    out.add(shows[0][0].check)
        return out

    # ------------------------------------------------------------ what may be asked

    def at_hand(self, step: Step) -> bool:
        """Whether its place can be reached and its instruments are there."""
        return step.place not in self.closed_places and all(
            name == "helper" or (name in self.instruments and name not in self.missing) for name in step.instruments
        )

    def allowed(self, step: Step) -> bool:
        """Not answered, not unsure, not skipped, reachable, with the instruments at hand."""
        return (
            (step.id not in self.answered or step.id in self.again)
            and step.id not in self.unsure
            and step.id not in self.skipped
            and self.at_hand(step)
            and (self.whole or step.target != SERIES_LAMP)
            and (not self.dead or _needs_no_power(step))
        )

    def situation(self) -> Situation:
        """What bears on the cost of a step from here."""
        last = next((f.step for f in reversed(self.findings) if f.step is not None), None)
        return Situation(
            last.place if last is not None else "driver-seat",
            self.acknowledged,
            frozenset(self.beliefs.asked_for),
            "helper" not in self.instruments,
            self._volts_first(),
        )

    def _volts_first(self) -> float:
        """Minutes that the first reading of volts costs more, as the battery is measured before it."""
        first = self.battery_first()
        if first is None:
            return 0.0
        cautious = first.caution is not None and first.caution not in self.acknowledged
        return first.minutes + WALK_MINUTES + (CAUTION_MINUTES if cautious else 0.0)

    def battery_first(self) -> Step | None:
        """The battery's volts at rest, which all later readings are judged by, if not yet measured."""
        for step in self.reasoner.steps.values():
            if not step.generated and self.reasoner.tells_supply(step):
                seen = any(f.step is not None and f.step.id == step.id for f in self.findings)
                return step if not seen and self.allowed(step) else None
        return None

    @property
    def battery_off(self) -> bool:
        """Whether the last that was done at the vehicle left its battery off."""
        for entry in reversed(self.state.entries):
            fields = entry.fields
            if entry.event == "remedied" and self.takes_battery_off(entry):
                return True
            if entry.event == "acknowledged" and str(fields.get("caution")).startswith(BACK_ON):
                if "battery" in fields.get("restored", ("battery",)):
                    return False
            elif entry.event in ("answered", "found") and fields.get("check") not in ("start", "symptom"):
                operate = fields.get("operate")
                if isinstance(operate, Mapping) and operate.get("battery", "connected") != "connected":
                    return True
                if fields.get("stage") != BEFORE_POWER and fields.get("kind") != "choose":
                    return False
        return False

    def takes_battery_off(self, entry: Entry) -> bool:
        """Whether the battery comes off for the work that was written down, by the work's own cautions."""
        plan = self.reasoner.remedies.get(str(entry.fields.get("remedy")))
        return entry.event == "remedied" and plan is not None and not set(_BATTERY_OFF).isdisjoint(plan.cautions)

    # ------------------------------------------------------------ what is odd

    def surprises(self, finding: Finding) -> bool:
        """Whether an answer is one that a healthy vehicle seldom gives."""
        told = self._told.get(finding.seq)
        return told is not None and seldom_sound(told)

    def explains(self, cures: Sequence[str], finding: Finding, share: float = SURPRISE) -> bool:
        """Whether one of these causes gives that answer with at least this share of its best chance."""
        told = self._told.get(finding.seq)
        rows = [1 + self.reasoner.index[cause] for cause in cures if cause in self.reasoner.index]
        return told is not None and bool(rows) and float(told.rows[rows].max()) > share * float(told.rows.max())

    def nothing_odd(self) -> bool:
        """Whether nobody complained and every answer of the period is one that a sound vehicle gives."""
        now = [finding for finding in self.findings if finding.period == self.state.period]
        return not somebody_complained(self.findings) and not any(self.surprises(finding) for finding in now)

    # ------------------------------------------------------------ cautions

    def asked(self, look: Look) -> Next:
        """The step itself, or what has to come before it: the battery's volts, or a caution."""
        step = look.step
        if step.kind == "measure" and step.unit == "V" and look.proof is None:
            first = self.battery_first()
            if first is not None and first.id != step.id:
                look, step = Look(first), first
        return self.cautioned(look)

    def cautioned(self, look: Look) -> Next:
        """The step itself, or the caution that has to be read before it."""
        step = look.step
        if step.caution is not None and step.caution not in self.acknowledged:
            caution: schema.Caution = self.reasoner.knowledge.cautions[step.caution]
            if caution.harm:
                return DoFirst(step.caution, step)
        return look

    def just_read(self) -> Step | None:
        """The step whose caution was acknowledged last, if nothing else came since."""
        newest = self.state.newest()
        if newest is None or newest.event != "acknowledged":
            return None
        step = self.reasoner.steps.get(str(newest.fields.get("check")))
        return step if step is not None and step.caution == newest.fields.get("caution") else None


def _needs_no_power(step: Step) -> bool:
    return step.operate.get("battery", "connected") != "connected" or step.stage == BEFORE_POWER
