"""The conversation as plain objects: what is asked, what is taken in, what is told.

One object in gives the objects out; the state is folded anew from the journal after every record.
Knows nothing of terminals or of how objects travel.
"""

from __future__ import annotations

import contextlib
from collections.abc import Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any, Protocol

from diag import __version__
from diag.circuit.observe import LOOKS
from diag.job.fold import Fold
from diag.job.folder import jobs_folder
from diag.job.records import JournalError, Record
from diag.job.state import Entry, JobState
from diag.knowledge.assemble import Knowledge
from diag.knowledge.bridging import BODY, BRIDGED, UNPLUGGED
from diag.knowledge.targets import targets
from diag.reason.reasoner import Beliefs, Reasoner
from diag.reason.steps import Finding, Step, Value
from diag.stages.coil import key_on_minutes
from diag.stages.course import HANDOVER, STAGES
from diag.talk.answers import AnswerError, choice_of, look_of, reading_of, word_of
from diag.talk.findings import findings_of, record_of, step_of
from diag.talk.known import WHOLE, seldom_sound
from diag.talk.naming import named_step
from diag.talk.objects import ask_of, circuit_choices, conclusion_of, do_of, start_of, symptom_choices
from diag.talk.plan import Conclude, DoFirst, End, Look, Plan, Start, plan_next
from diag.talk.refused import RefusedError, short
from diag.talk.slips import query_thousandfold
from diag.talk.stage_objects import end_of, staged_do_of, walk_of
from diag.talk.stage_words import means_whole
from diag.talk.symptoms import clear_winner, find_symptoms
from diag.talk.whys import UnknownNameError, why_of
from diag.talk.wording import finding_words
from diag.texts import t

__all__ = ["Conversation", "Keeper", "PROTOCOL"]

PROTOCOL = 1
SKIPS = ("cannot-reach", "no-instrument", "later")
_LONGEST_TEXT = 2000
_INPUTS = (
    "answer",
    "skip",
    "undo",
    "symptom",
    "found",
    "correct",
    "changed",
    "note",
    "remedied",
    "stage",
    "leave",
    "why",
)
NOT_SURE = "not-sure"
CORRECTED = ("answered", "found", "not-sure", "skipped")
"""Records that can be answered anew by their number."""
TAKE_BACK = "take-back"
"""Instead of a value for a question that was passed over: it is open again."""
ALL_RIGHT = "all-right"
"""Answer to a group of looks: each shows what a sound vehicle shows."""
Object = dict[str, Any]


class Keeper(Protocol):
    """Where records are kept: a journal on disk, or a list in a rehearsal."""

    @property
    def records(self) -> Sequence[Record]:
        """All records so far."""

    def append(self, event: str, /, **fields: Any) -> Record:
        """Keep one record for good before returning. Raises JournalError where that fails."""


class Conversation:
    """One job's conversation over its keeper."""

    def __init__(self, reasoner: Reasoner, keeper: Keeper, job: str) -> None:
        self.reasoner, self.keeper, self.job = reasoner, keeper, job
        self._asked = 0
        self._open: Object | None = None
        self._choices: list[str] | None = None
        self._plan_at: tuple[int, Plan] | None = None
        self._said_at = -1
        self._fold = Fold()

    # ------------------------------------------------------------ state

    @property
    def knowledge(self) -> Knowledge:
        """The vehicle's knowledge."""
        return self.reasoner.knowledge

    @property
    def state(self) -> JobState:
        """The job's state, folded from the records."""
        return self._fold.state(self.keeper.records)

    @property
    def name(self) -> str:
        """What `diag resume` takes: the name alone for a job in the usual folder, else its path."""
        path = Path(self.job)
        return path.stem if path.parent == jobs_folder() else self.job

    @property
    def plan(self) -> Plan:
        """What comes next, with the beliefs it rests on."""
        records = self.keeper.records
        last = next((r.seq for r in reversed(records) if r.event not in ("asked", "proved", "resumed")), 0)
        if self._plan_at is None or self._plan_at[0] != last:
            self._plan_at = (last, plan_next(self.reasoner, self.state))
        return self._plan_at[1]

    @property
    def open_ask(self) -> Object | None:
        """The ask that waits for an answer, if any."""
        return self._open

    def unknown_answers(self) -> list[int]:
        """Seqs of kept answers that mean nothing to today's knowledge."""
        return findings_of(self.reasoner, self.state)[3]

    # ------------------------------------------------------------ out

    def hello(self) -> Object:
        """The first object out: who speaks and what may be named."""
        k = self.knowledge
        bridged = dict.fromkeys(s.operate[BRIDGED] for s in self.reasoner.steps.values() if BRIDGED in s.operate)
        extra = {UNPLUGGED: list(k.terminals), BRIDGED: list(bridged) or [f"{t}+{BODY}" for t in k.terminals]}
        operate = {**{c: list(p) for c, p in k.controls.items()}, **extra}
        return {
            "type": "hello",
            "protocol": PROTOCOL,
            "version": __version__,
            "engine": self.reasoner.matcher.name,
            "vehicle": k.vehicle.vehicle,
            "job": self.job,
            "operate": operate,
            "parts": list(targets(k)),
            "terminals": list(k.terminals),
            "symptoms": {s.id: s.title for s in k.symptoms.values()},
            "circuits": circuit_choices(k),
            "stages": dict(STAGES),
        }

    def say(self) -> list[Object]:
        """What to tell and ask now: conclusion and end where due, else the next ask."""
        out: list[Object] = []
        for _ in range(3):  # a conclusion that nothing is wrong is followed by the end
            plan = self.plan
            self._open = None
            match plan.next:
                case Conclude() as conclude:
                    told = conclusion_of(self.reasoner, plan, conclude)
                    if self._said_at != self._input_seq():
                        with suppress(JournalError):  # for the log only; a full disk is told at the next answer
                            self.keeper.append("concluded", **{k: v for k, v in told.items() if k != "type"})
                    self._said_at = self._input_seq()
                    out.append(told)
                    if conclude.remedies:
                        return out
                    self._plan_at = None
                    if not isinstance(self.plan.next, End):
                        out.append(end_of(plan, self.name))
                        return out
                case End():
                    self._close(plan)
                    out.append(end_of(plan, self.name))
                    return out
                case Start() | DoFirst() | Look():
                    self._open = self._ask(plan)
                    out.append(self._open)
                    return out
        return out

    def _close(self, plan: Plan) -> None:
        """Note once that the job came to its end, for lists and logs; replay does not read it."""
        last = next((r for r in reversed(self.keeper.records) if r.event not in ("asked", "resumed")), None)
        if last is not None and last.event != "proved":
            with contextlib.suppress(JournalError):
                self.keeper.append("proved", open=list(plan.open_items))

    def _input_seq(self) -> int:
        aside = ("asked", "concluded", "proved", "resumed")
        return next((r.seq for r in reversed(self.keeper.records) if r.event not in aside), 0)

    def _ask(self, plan: Plan) -> Object:
        self._asked += 1
        ask_id = f"q{self.keeper.records[-1].seq}-{self._asked}"
        match plan.next:
            case DoFirst() as do if do.begins is not None or do.coil is not None:
                ask = staged_do_of(self.reasoner, plan, do, ask_id, key_on_minutes(self.state))
            case DoFirst() as do:
                ask = do_of(self.reasoner, do, ask_id)
            case Look() as look:
                ask = ask_of(self.reasoner, plan, look, ask_id)
                ask |= walk_of(self.reasoner, plan, look)
            case _:
                ask = start_of(self.knowledge, ask_id, self._choices)
        return {**ask, "stage": plan.stage}

    # ------------------------------------------------------------ in

    def take(self, message: object) -> Object:
        """Take one object in; one tell or error out. The next `say` repeats or moves on."""
        try:
            if not isinstance(message, dict):
                raise RefusedError(
                    "not-an-object",
                    "",
                    t("expected one JSON object a line"),
                    short(message),
                    '{"answer": "q1-1", "value": "..."}',
                )
            keys = [key for key in _INPUTS if key in message]
            keys = ["stage"] if "stage" in keys else keys  # its `skip` is the reason, not an ask
            if len(keys) != 1:
                raise RefusedError(
                    "unknown-input",
                    "",
                    t("expected exactly one known input"),
                    short(", ".join(map(str, message))),
                    ", ".join(_INPUTS),
                )
            allowed = _BESIDE.get(keys[0], frozenset()) | {keys[0]}
            for key in message:
                if key not in allowed:
                    raise RefusedError(
                        "unknown-field", str(key)[:80], t("no such field here"), short(key), ", ".join(sorted(allowed))
                    )
            return getattr(self, f"_take_{keys[0]}")(message)  # type: ignore[no-any-return]
        except AnswerError as error:
            return _error(error.code, error.field, str(error), error.found, error.expected)
        except RefusedError as error:
            return _error(error.code, error.field, str(error), error.found, error.expected)
        except JournalError as error:
            return _error(error.code, "", str(error), "", "")

    def _keep(self, event: str, /, **fields: Any) -> Object:
        if event in _STAGED and "stage" not in fields and self.plan.stage is not None:
            fields["stage"] = self.plan.stage
        record = self.keeper.append(event, **fields)
        self._choices = None
        return {"type": "tell", "ack": event, "seq": record.seq, "stored": True}

    def _asked_by(self, ask_id: object, field: str) -> Object:
        if self._open is None:
            raise RefusedError(
                "nothing-open",
                field,
                t("no ask is open; after a conclusion, tell what was done"),
                short(ask_id),
                '{"remedied": "REMEDY-ID"}',
            )
        if ask_id != self._open["id"]:
            raise RefusedError("not-open", field, t("that ask is not open"), short(ask_id), str(self._open["id"]))
        return self._open

    def _take_answer(self, message: Mapping[str, Any]) -> Object:
        ask = self._asked_by(message["answer"], "answer")
        if "value" not in message:
            raise RefusedError("missing-field", "value", t("an answer needs a value"), "nothing", "value")
        value = message["value"]
        if value == NOT_SURE:
            return self._keep("not-sure", check=ask["check"])
        if ask["check"] == "start":
            return self._begin(value)
        if ask["kind"] == "do":
            known = [choice["value"] for choice in ask["choices"]]
            if value not in known:
                said = t("this step is answered when it is done")
                raise RefusedError("not-done", "value", said, short(value), ", ".join(known))
            more: Object = {"restored": ask["restores"]} if ask.get("restores") else {}
            more |= {"how": value} if len(known) > 1 else {}
            return self._keep("acknowledged", check=ask["check"], caution=ask["caution-id"], **more)
        if value == ALL_RIGHT and ask.get("group"):
            return self._all_right(ask)
        step, look = self.reasoner.steps[ask["check"]], self.plan.next
        told = self._keep("answered", **record_of(step, self._value(step, value)))
        if isinstance(look, Look) and look.proof is not None and look.neighbour is None and self._odd(told["seq"]):
            told["not-cured"] = self.reasoner.remedies[look.proof].title
        return told

    def _odd(self, seq: int) -> bool:
        """Whether the answer of that number is one that a sound vehicle seldom gives."""
        judged = self.plan.beliefs.judged if self.plan.beliefs is not None else ()
        return any(finding.seq == seq and seldom_sound(told) for finding, told in judged)

    def _all_right(self, ask: Object) -> Object:
        """Every look of a group as on a sound vehicle: each is a finding of its own, undone together."""
        batch, told = self.keeper.records[-1].seq + 1, None
        stage, seqs = self.plan.stage, []
        for item in ask["group"]:
            step = self.reasoner.steps[item["check"]]
            value = self._value(step, item["expected"])
            told = self._keep("answered", **record_of(step, value), batch=batch, stage=stage)
            seqs.append(told["seq"])
        assert told is not None
        return {**told, "seqs": seqs}

    def _begin(self, value: object) -> Object:
        if not isinstance(value, str) or not value.strip():
            raise RefusedError(
                "not-text",
                "value",
                t("say what is wrong, or name a circuit"),
                short(value),
                t("a symptom id, circuit:ID, or words"),
            )
        told = self._symptom(value[:_LONGEST_TEXT])
        return self._keep("answered", check="start", kind="choose", operate={}, value=told)

    def _symptom(self, text: str, field: str = "value") -> str:
        """Symptom id or circuit:ID that a text means. Unclear text offers at most five and is refused."""
        k = self.knowledge
        if text in k.symptoms:
            return text
        if means_whole(text):
            return WHOLE
        if text.startswith("circuit:"):
            if text.removeprefix("circuit:") in circuit_choices(k):
                return text
            raise RefusedError(
                "unknown-circuit",
                field,
                t("no such circuit on this vehicle"),
                short(text),
                ", ".join(f"circuit:{name}" for name in circuit_choices(k)),
            )
        matches = find_symptoms(text, k, 5)
        winner = clear_winner(matches)
        if winner is not None:
            return str(winner)
        if matches:
            self._choices = [match.id for match in matches]
            self._open = None
            raise RefusedError(
                "unclear", field, t("several symptoms fit; choose one"), short(text), ", ".join(self._choices)
            )
        raise RefusedError(
            "not-understood",
            field,
            t("no symptom is like that; use other words or name a circuit"),
            short(text),
            ", ".join(symptom_choices(k)[:5]),
        )

    def _value(self, step: Step, value: object) -> Value:
        if step.kind == "measure":
            number = reading_of(value, step.unit or "V", self.knowledge.vehicle.system_v)  # type: ignore[arg-type]
            query_thousandfold(self.reasoner, step, value, number)
            return number
        if step.kind == "look" and step.outcomes == LOOKS:
            return look_of(value)
        if step.kind in ("look", "listen"):
            return word_of(value, [str(word) for word in step.outcomes])
        return choice_of(value, step.labels)

    def _take_skip(self, message: Mapping[str, Any]) -> Object:
        ask = self._asked_by(message["skip"], "skip")
        reason = message.get("reason")
        if reason not in SKIPS:
            raise RefusedError(
                "unknown-reason", "reason", t("a skip needs its reason"), short(reason), ", ".join(SKIPS)
            )
        if ask["check"] not in self.reasoner.steps:  # the start, and what a rule stops the work for
            raise RefusedError(
                "cannot-skip",
                "skip",
                t("this cannot be skipped; undo, or answer it"),
                str(ask["check"]),
                t("an answer"),
            )
        return self._keep("skipped", check=ask["check"], place=ask["place"], reason=reason)

    def _take_undo(self, message: Mapping[str, Any]) -> Object:
        if message["undo"] is not True:
            raise RefusedError("not-true", "undo", t("undo takes true"), short(message["undo"]), "true")
        newest = self.state.newest()
        if newest is None:
            raise RefusedError(
                "nothing-to-undo", "undo", t("there is nothing to undo"), t("no answers"), t("an answer first")
            )
        also = [entry.seq for entry in self.state.with_it(newest)]
        return self._keep("undone", target=newest.seq, **({"also": also} if also else {}))

    def _take_symptom(self, message: Mapping[str, Any]) -> Object:
        text = message["symptom"]
        if not isinstance(text, str) or not text.strip():
            raise RefusedError("not-text", "symptom", t("say what is wrong"), short(text), t("a symptom id or words"))
        return self._keep(
            "found", check="symptom", kind="choose", operate={}, value=self._symptom(text[:_LONGEST_TEXT], "symptom")
        )

    def _take_found(self, message: Mapping[str, Any]) -> Object:
        found = message["found"]
        if not isinstance(found, dict) or "value" not in found:
            raise RefusedError(
                "missing-field",
                "found",
                t("a finding needs a check, or operate and target, and a value"),
                short(found),
                '{"check": "...", "value": ...}',
            )
        step = named_step(self.reasoner, found)
        if found["value"] == NOT_SURE:
            return self._keep("not-sure", check=step.id)
        return self._keep("found", **record_of(step, self._value(step, found["value"])))

    def _take_correct(self, message: Mapping[str, Any]) -> Object:
        seq = message["correct"]
        entry = next((e for e in self.state.standing(*CORRECTED) if e.seq == seq), None)
        if entry is None or type(seq) is not int:  # neither true nor 4.0: replay knows whole numbers only
            standing = ", ".join(str(e.seq) for e in self.state.standing(*CORRECTED))
            raise RefusedError(
                "no-such-answer", "correct", t("no standing answer has that number"), short(seq), standing
            )
        if "value" not in message:
            raise RefusedError("missing-field", "value", t("a correction needs a value"), "nothing", "value")
        if entry.fields.get("check") in ("start", "symptom"):
            value = message["value"]
            if not isinstance(value, str):
                raise RefusedError(
                    "not-text", "value", t("say what is wrong"), short(value), t("a symptom id or words")
                )
            told = self._symptom(value[:_LONGEST_TEXT])
            return self._keep(entry.event, **{**dict(entry.fields), "value": told, "replaces": seq})
        if entry.event in ("not-sure", "skipped"):
            if message["value"] == TAKE_BACK:
                return self._keep("undone", target=seq)
            passed = self._step_of(entry)
            return self._keep("answered", **record_of(passed, self._value(passed, message["value"])), replaces=seq)
        step = self._step_of(entry)
        return self._keep(entry.event, **record_of(step, self._value(step, message["value"])), replaces=seq)

    def _step_of(self, entry: Entry) -> Step:
        step = step_of(self.reasoner, entry.fields)
        if step is None:
            raise RefusedError(
                "unknown-check", "correct", t("that check is no longer known"), str(entry.fields.get("check")), ""
            )
        return step

    def _take_changed(self, message: Mapping[str, Any]) -> Object:
        return self._keep("changed", text=_text(message["changed"], "changed"))

    def _take_note(self, message: Mapping[str, Any]) -> Object:
        return self._keep("noted", text=_text(message["note"], "note"))

    def _take_remedied(self, message: Mapping[str, Any]) -> Object:
        remedy = message["remedied"]
        if not isinstance(remedy, str) or remedy not in self.reasoner.remedies:
            likely = [name for name, _ in self.plan.beliefs.ranking[:5]] if self.plan.beliefs is not None else []
            raise RefusedError(
                "unknown-remedy", "remedied", t("no such remedy for this vehicle"), short(remedy), ", ".join(likely)
            )
        return self._keep("remedied", remedy=remedy)

    def _take_stage(self, message: Mapping[str, Any]) -> Object:
        """Go to a stage, or skip it with a reason."""
        stage = message["stage"]
        if self.plan.stages == ():
            said = t("this job has no stages; begin with the whole vehicle")
            raise RefusedError("no-stages", "stage", said, short(stage), '{"symptom": "whole"}')
        known = [name for name in STAGES if name != HANDOVER]
        if stage not in known:
            raise RefusedError("unknown-stage", "stage", t("no such stage"), short(stage), ", ".join(known))
        if "skip" not in message:
            return self._keep("stage", stage=stage)
        return self._keep("stage", stage=stage, skip=_text(message["skip"], "skip"))

    def _take_leave(self, message: Mapping[str, Any]) -> Object:
        """Leave odd answers as they are, with a reason; diagnosing passes them over."""
        seqs, odd = message["leave"], {finding.seq for finding in self.findings()}
        if not isinstance(seqs, list) or not seqs or any(type(seq) is not int or seq not in odd for seq in seqs):
            known = ", ".join(map(str, sorted(odd)))
            raise RefusedError("no-such-answer", "leave", t("expected numbers of standing answers"), short(seqs), known)
        reason = _text(message.get("reason"), "reason")
        words = {f.seq: finding_words(self.knowledge, f) for f in self.findings()}
        said = "; ".join(words[seq] for seq in seqs)
        return self._keep("left-open", seqs=seqs, reason=reason, text=f"{said} ({reason})")

    def _take_why(self, message: Mapping[str, Any]) -> Object:
        """What is believed of a cause, remedy or part, and why. Nothing is kept of it."""
        name = message["why"]
        try:
            told = why_of(self.reasoner, self.beliefs, self.plan.allowed, name if isinstance(name, str) else "")
        except UnknownNameError as error:
            raise RefusedError("unknown-name", "why", str(error), short(name), ", ".join(error.near)) from error
        return {"type": "tell", "ack": "why", "seq": self.state.seq, "stored": False, **told}

    @property
    def beliefs(self) -> Beliefs:
        """What is believed, before the start too."""
        return self.plan.beliefs if self.plan.beliefs is not None else self.reasoner.beliefs(())

    def findings(self) -> list[Finding]:
        """Findings that stand."""
        return findings_of(self.reasoner, self.state)[0]


_BESIDE: Mapping[str, frozenset[str]] = {
    "answer": frozenset({"value"}),
    "skip": frozenset({"reason"}),
    "correct": frozenset({"value"}),
    "stage": frozenset({"skip"}),
    "leave": frozenset({"reason"}),
}
"""What may stand beside an input."""
_STAGED = ("answered", "found", "acknowledged", "not-sure", "skipped", "remedied", "changed")
"""Records that say in which stage they were made."""


def _text(found: object, field: str) -> str:
    if not isinstance(found, str) or not found.strip():
        raise RefusedError("not-text", field, t("expected some words"), short(found), "text")
    return found[:_LONGEST_TEXT].encode("utf-8", "replace").decode()  # half a sign can be written nowhere


def _error(code: str, field: str, text: str, found: str, expected: str) -> Object:
    return {"type": "error", "code": code, "field": field, "text": text, "found": found, "expected": expected}
