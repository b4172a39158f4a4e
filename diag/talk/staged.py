"""What comes next where the whole vehicle is proved in stages, from before power to handover.

A pure function of what is known: which stage it is, what it asks next, what it leaves open. Knows nothing of words.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from diag.reason.steps import SERIES_LAMP, Finding, Step
from diag.stages import coil
from diag.stages.course import (
    BEFORE_POWER,
    COLLECTING,
    ENGINE_RUNNING,
    FAULTS,
    FIRST_POWER,
    HANDOVER,
    KEY_OFF,
    STAGES,
    WALK_ROUND,
    Course,
    course_of,
)
from diag.stages.fuses import fuse_lines
from diag.talk.deciding import best, rule_first
from diag.talk.known import Known
from diag.talk.leaving import open_items, put_back
from diag.talk.nexts import Conclude, DoFirst, End, Look, Next
from diag.talk.proving import proof
from diag.texts import t, tn

__all__ = ["COIL_BACK_ON", "StageState", "Staged", "intro_mark"]

COIL_BACK_ON = "coil-back-on"
POWER_STAYS_OFF = "power-stays-off"
_DEAD_SHORT_OHM = 1.0
"""Below so many ohms, leads included, a feed touches body (common practice, no source)."""
_SUSPECTED = 0.1
"""Chance from which what is odd is worth looking into."""
_TOGETHER = 9
"""Looks that are answered together at most: each has a digit."""
_FIRST = (BEFORE_POWER, FIRST_POWER, WALK_ROUND)
_LATER = (ENGINE_RUNNING, KEY_OFF)


def _tells_of_shorts(step: Step) -> bool:
    """Whether a step says, without power, that power must not go on."""
    return step.stage in (BEFORE_POWER, FIRST_POWER) and (step.unit == "ohm" or step.target == SERIES_LAMP)


def _forbids_power(finding: Finding) -> bool:
    """Whether an odd answer says that the battery must stay off: the lamp in series shines with the key off, a feed
    touches body, the battery is the wrong way round."""
    step, value = finding.step, finding.value
    if step is None or step.stage not in (BEFORE_POWER, FIRST_POWER):
        return False
    if step.target == SERIES_LAMP:
        key_off = set(step.operate) <= {"battery"}
        return key_off and isinstance(value, tuple) and value[0] not in ("dark", "glow")
    if isinstance(value, float):
        return value < {"ohm": _DEAD_SHORT_OHM, "V": 0.0}.get(step.unit or "", -math.inf)
    return value == "reversed"


def _wants_power(step: Step | None) -> bool:
    """Whether a step can be done only with the battery connected."""
    if step is None or step.kind == "choose" or step.stage == BEFORE_POWER:
        return False
    return step.operate.get("battery", "connected") == "connected"


@dataclass(frozen=True)
class StageState:
    """Where a stage stands: `state` is open, now, done or skipped (then with its `reason`); `of` things to ask,
    `left` of them, and their `minutes` (looking and measuring, without the way)."""

    id: str
    title: str
    state: str
    left: int
    of: int
    minutes: float
    reason: str = ""


def intro_mark(stage: str) -> str:
    """The mark of having read what a stage begins with."""
    return f"stage:{stage}"


class Staged:
    """One job in stages, at one moment."""

    def __init__(self, known: Known) -> None:
        self.known = known
        self.course: Course = course_of(known.reasoner, "helper" in known.instruments)
        self._passed = self._passed_over()
        self.skipped = self._skipped()
        self.unresolved = self._unresolved()
        self.forbidding = self._forbidding()
        waits = any(self._left(stage) for stage in (BEFORE_POWER, FIRST_POWER) if stage not in self.skipped)
        self.dead = waits or self.forbidding is not None
        known.dead = self.dead
        known.later = frozenset(s.id for one in COLLECTING if one not in self.skipped for s in self._left(one))
        self.stage = self._current()

    # ------------------------------------------------------------ where it stands

    def _passed_over(self) -> frozenset[str]:
        """Checks that were answered in any period, or passed over."""
        known = self.known
        done = {f.step.id for f in known.findings if f.step is not None}
        passed = known.state.standing("not-sure", "skipped")
        done |= {str(e.fields.get("check")) for e in passed if e.fields.get("reason") != "later"}
        return frozenset(done)

    def _put_off(self, step: Step, stage: str) -> int:
        """How often a check was left for later since the person went to its stage last."""
        went = max((e.seq for e in self.known.state.standing("stage") if e.fields.get("stage") == stage), default=0)
        return sum(
            e.fields.get("check") == step.id and e.fields.get("reason") == "later" and e.seq > went
            for e in self.known.state.standing("skipped")
        )

    def _skipped(self) -> dict[str, str]:
        """Stages that were skipped, with the reason; going to one takes it back."""
        out: dict[str, str] = {}
        for entry in self.known.state.standing("stage"):
            stage, reason = str(entry.fields.get("stage")), entry.fields.get("skip")
            out.pop(stage, None)
            if reason is not None:
                out[stage] = str(reason)
        return out

    def _left(self, stage: str) -> list[Step]:
        """What a collecting stage has still to ask; what was left for later once comes again at its end."""
        open_ = self._unanswered(stage)
        later = [s for s in open_ if self._put_off(s, stage) == 1]
        return [s for s in open_ if not self._put_off(s, stage)] or later

    def _unanswered(self, stage: str) -> list[Step]:
        """The same with what was left for later again: it is asked when the person goes back to the stage."""
        return [s for s in self.course.steps[stage] if s.id not in self._passed and self.known.at_hand(s)]

    def _open(self, stage: str) -> bool:
        return stage not in self.skipped and bool(self._left(stage))

    def _begun(self, stage: str) -> bool:
        own = {step.id for step in self.course.steps[stage]}
        return not own.isdisjoint(self._passed)

    def _unresolved(self) -> tuple[Finding, ...]:
        """Odd answers that nothing done since has put right and that were not left open."""
        known = self.known
        left = {s for e in known.state.standing("left-open") for s in e.fields.get("seqs", ())}
        return tuple(f for f in known.findings if f.seq not in left and self._is_odd(f) and not self._put_right(f))

    def _forbidding(self) -> Finding | None:
        """The newest odd answer, of each thing asked, that says that power must stay off."""
        newest = {finding.step.id: finding for finding in self.unresolved if finding.step is not None}
        return next((finding for finding in newest.values() if _forbids_power(finding)), None)

    def _is_odd(self, finding: Finding) -> bool:
        return finding.symptom is not None or self.known.surprises(finding)

    def _put_right(self, finding: Finding) -> bool:
        """Seen to be right later on, or explained by what was cured later."""
        known = self.known
        for later in known.findings:
            same = later.step is not None and finding.step is not None and later.step.id == finding.step.id
            if same and later.seq > finding.seq and not known.surprises(later):
                return True
        if finding.step is not None and _tells_of_shorts(finding.step):
            return False  # nothing but the meter or the lamp says that it is gone
        for treated in known.treated:
            plan = known.reasoner.remedies.get(treated.remedy or "")
            if plan is not None and treated.period > finding.period and known.explains(plan.cures, finding, 0.12):
                return not self._again_odd(finding, treated.period)
        return False

    def _again_odd(self, finding: Finding, period: int) -> bool:
        """Whether the same was seen odd again after a remedy."""
        return any(
            f.step is not None
            and finding.step is not None
            and f.step.id == finding.step.id
            and f.period >= period
            and self.known.surprises(f)
            for f in self.known.findings
        )

    def _chosen(self) -> str | None:
        """The stage that the person went to last."""
        newest = None
        for entry in self.known.state.standing("stage"):
            newest = str(entry.fields.get("stage")) if entry.fields.get("skip") is None else None
        return newest

    def _current(self) -> str | None:
        chosen = self._chosen()
        if chosen in COLLECTING and self._open(str(chosen)):
            return chosen
        if (chosen == FAULTS or (self.dead and self._blocked())) and self._faults_open():
            return FAULTS
        for stage in _FIRST:
            if self._open(stage):
                return stage
        for stage in _LATER:
            if self._open(stage) and self._begun(stage):
                return stage
        if self._faults_open():
            return FAULTS
        return next((stage for stage in _LATER if self._open(stage)), None)

    def _blocked(self) -> bool:
        """Whether something measured before power, or the lamp in series, says that power must not go on. A dead
        short says so at once; else all is seen first that can be seen without power."""
        found = [f for f in self.unresolved if f.step is not None and _tells_of_shorts(f.step)]
        if not found or self._open(BEFORE_POWER):
            return False
        dead_short = any(f.step is not None and f.step.unit == "ohm" and _forbids_power(f) for f in found)
        lamps = any(step.target == SERIES_LAMP for step in self._left(FIRST_POWER))
        return dead_short or not lamps or FIRST_POWER in self.skipped

    def _faults_open(self) -> bool:
        if FAULTS in self.skipped:
            return False
        waits = bool(self.unresolved) or proof(self.known) is not None
        return waits and not isinstance(self._diagnosed(), End)

    def _diagnosed(self) -> Next:
        """What diagnosing would do: prove a repair, have a doubtful answer seen once more, ask on; the end where
        nothing that is suspected explains what is odd: it stays open as unexplained."""
        proving = proof(self.known)
        if proving is not None:
            return self.known.cautioned(proving)
        for finding in self.unresolved:
            step = finding.step
            if step is not None and step.id in self.known.again and self.known.allowed(step):
                return self.known.cautioned(Look(step, again=finding.seq))
        if not self._suspected() and self._chosen() != FAULTS:  # who goes there wants it looked into all the same
            return End()
        chosen = best(self.known)
        return End() if isinstance(chosen, Conclude) and not chosen.remedies else chosen

    def _suspected(self) -> bool:
        """Whether it is likely enough that something suspected explains what is odd."""
        known = self.known
        p = sum(
            p
            for name, p in known.beliefs.ranking
            if any(known.explains(known.reasoner.remedies[name].cures, finding) for finding in self.unresolved)
        )
        return p >= _SUSPECTED or any(finding.symptom is not None for finding in self.unresolved)

    @property
    def confirmed(self) -> bool:
        """Whether something odd was seen twice, so that it counts like a complaint."""
        seen = [f.step.id for f in self.unresolved if f.step is not None and f.period == self.known.state.period]
        return len(seen) != len(set(seen))

    def states(self) -> tuple[StageState, ...]:
        """Every stage, in order."""
        return tuple(self._state(stage) for stage in STAGES)

    def _state(self, stage: str) -> StageState:
        steps = self.course.steps.get(stage, ())
        left = self._unanswered(stage) if stage in COLLECTING else []
        count = len(left) if stage in COLLECTING else len(self.unresolved) if stage == FAULTS else 0
        if stage in self.skipped:
            state = "skipped"
        elif stage == (self.stage or HANDOVER):
            state = "now"
        elif stage == HANDOVER:
            state = "open"
        elif stage == FAULTS:
            waits = self.unresolved or any(self._open(one) for one in COLLECTING)
            state = "open" if waits and self.stage is not None else "done"
        else:
            state = "open" if left else "done"
        minutes = sum(step.minutes for step in left)
        return StageState(stage, STAGES[stage], state, count, len(steps), minutes, self.skipped.get(stage, ""))

    # ------------------------------------------------------------ what comes next

    def next(self) -> Next:
        """Rules' stops and warnings; what the coil needs; how a stage begins; its next step."""
        first = rule_first(self.known)
        if first is not None:
            return first
        if self.stage in (*_LATER, None) and coil.coil_is_off(self.known.state, COIL_BACK_ON):
            return DoFirst(COIL_BACK_ON, None, coil="back-on")
        chosen = self._in_stage()
        step = chosen.step if isinstance(chosen, Look | DoFirst) else None
        if self.forbidding is not None and self._would_connect(chosen):
            return self._kept_off(self.forbidding)
        wanted = dict(step.operate) if step is not None else {}
        if self.stage == BEFORE_POWER or (self.dead and not _wants_power(step)):
            wanted["battery"] = "disconnected"
        begins = isinstance(chosen, DoFirst) and (chosen.begins is not None or step is not None)
        off = put_back(self.known, wanted) if begins or isinstance(chosen, Look | End) else None
        return off or chosen

    def _would_connect(self, chosen: Next) -> bool:
        """Whether what comes next has the battery connected, or is the end."""
        if isinstance(chosen, DoFirst) and chosen.step is None:
            return chosen.begins not in (None, BEFORE_POWER, FIRST_POWER, FAULTS)
        return isinstance(chosen, End) or (isinstance(chosen, Look | DoFirst) and _wants_power(chosen.step))

    def _kept_off(self, finding: Finding) -> Next:
        """What forbids power, once more, until it is right or left open with a reason."""
        assert finding.step is not None
        if POWER_STAYS_OFF in self.known.acknowledged or POWER_STAYS_OFF not in self.known.reasoner.knowledge.cautions:
            return self.known.cautioned(Look(finding.step, again=finding.seq))
        return DoFirst(POWER_STAYS_OFF, finding.step)

    def _in_stage(self) -> Next:
        if self.stage is None:
            return End()
        if self._intro_wanted():
            return DoFirst(intro_mark(self.stage), None, begins=self.stage)
        if self.stage == FAULTS:
            return self._diagnosed()
        return self._collected(self.stage)

    def _intro_wanted(self) -> bool:
        """Whether a stage has not said yet what comes; the list of faults is told anew when others came to it."""
        mark = intro_mark(str(self.stage))
        read = [e.seq for e in self.known.state.standing("acknowledged") if e.fields.get("caution") == mark]
        if self.stage != FAULTS or not read:
            return not read
        found = [e.seq for e in self.known.state.entries if e.fields.get("stage") in COLLECTING and e.event != "stage"]
        odd = {f.seq for f in self.unresolved}
        return any(seq > read[-1] and seq in odd for seq in found)

    def _collected(self, stage: str) -> Next:
        """The next step of a collecting stage, with what may be answered together with it."""
        left = self._left(stage)
        step = left[0]
        if stage == WALK_ROUND:
            hot = self._coil_hot(step)
            if hot is not None:
                return hot
        together = [s for s in left if dict(s.operate) == dict(step.operate) and s.place == step.place][:_TOGETHER]
        for one in together if step.kind in ("look", "listen") else [step]:
            cautious = self.known.cautioned(Look(one))
            if isinstance(cautious, DoFirst):
                live = cautious.caution == coil.CAUTION and stage == WALK_ROUND
                return DoFirst(cautious.caution, one, coil="live" if live else None)
        walks = stage in self.course.routes
        group = tuple(s for s in together if walks and s.kind in ("look", "listen"))
        return Look(step, group=group if step in group else ())

    def _coil_hot(self, step: Step) -> DoFirst | None:
        """A reminder where the key has been on too long with the coil connected, and is to stay on."""
        state = self.known.state
        if step.operate.get("ignition", "off") == "off" or coil.coil_is_off(state, COIL_BACK_ON):
            return None
        if coil.key_on_minutes(state) <= coil.MINUTES:
            return None
        newest = state.newest()
        return DoFirst(f"{coil.REMINDER}{newest.seq if newest is not None else 0}", None, coil="hot")

    # ------------------------------------------------------------ what is left

    def open_items(self) -> tuple[str, ...]:
        """What stays open of the whole vehicle, in words."""
        out = [
            t("stage skipped: {stages} ({reason})", stages=STAGES[stage], reason=reason)
            for stage, reason in self.skipped.items()
        ]
        for stage in COLLECTING:
            if stage in self.skipped:
                continue
            for step in self.course.steps[stage]:
                if step.id not in self._passed and not self.known.at_hand(step):
                    out.append(t("not checked (not within reach, or no instrument): {step}", step=step.title))
            if self.stage is not None and self._left(stage):
                count = len(self._left(stage))
                out.append(
                    tn(
                        "{stage}: {n} check not made yet",
                        "{stage}: {n} checks not made yet",
                        count,
                        stage=STAGES[stage],
                    )
                )
        out += [line.words for line in fuse_lines(self.known.reasoner) if not line.holds]
        out += [t("not checked (cannot be set at will): {step}", step=step.title) for step in self.course.left_out]
        if coil.coil_is_off(self.known.state, COIL_BACK_ON):
            out.append(t("terminal 15 of the coil is still off"))
        left = {s: e.fields for e in self.known.state.standing("left-open") for s in e.fields.get("seqs", ())}
        told = {t("unexplained: answer {seq}", seq=seq) for seq in left}
        out += [item for item in open_items(self.known) if item not in told]
        return tuple(dict.fromkeys(out))
