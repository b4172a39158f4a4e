"""One pass through the questions: what cured it, what was wrong, which signs tell it, what is done about it.

Yields each question and gathers what the answers make, in the shape of the files.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from diag.author.draft import Draft, Entry, check_of_step, plain_title, step_of_entry, usable
from diag.author.fault import Fault
from diag.author.filled import Filled, numbered, numbers_of, text_asked
from diag.author.mending import Mending
from diag.author.naming import free_id, slug
from diag.author.reach import circuits_with, speaks_within
from diag.author.signs import Cure, Sign, condition_words
from diag.author.told import Told, eye_questions
from diag.author.weighing import STRENGTHS
from diag.fit.interview import Answers, Asked
from diag.reason.steps import Step
from diag.talk.wording import answer_words
from diag.texts import t

if TYPE_CHECKING:
    from diag.author.guide import Guide

__all__ = ["Run"]

_MOST_CURES = 7
_WEIGHT_WORDS = {
    "little": t("a little (2 times likelier)"),
    "clearly": t("clearly (6 times likelier)"),
    "strongly": t("strongly (20 times likelier)"),
}


@dataclass(frozen=True)
class _Checked:
    """What a rule asks after: new checks, its conditions, and by the old one each new complaint."""

    checks: list[Entry]
    conditions: list[dict[str, Any]]
    symptoms: dict[str, Entry]


class Run:
    """The questions of a guide, answered as far as `answers` go."""

    def __init__(self, guide: Guide, answers: Answers) -> None:
        self.guide, self.filled = guide, Filled(answers)
        self.taken = set(guide.taken)
        self.cure: Cure | None = None
        self.said = ""
        """What the person said was done."""
        self.circuit = ""
        self.signs: list[Sign] = []
        self.right: list[Sign] = []
        self.checks: list[Entry] = []
        self.told: list[tuple[Step, str]] = []
        self.chosen: tuple[int, ...] = ()

    def path(self) -> Iterator[Asked]:
        """All questions in their order."""
        yield from self._from_job() if self.guide.story is not None else self._from_nothing()
        self.fault = Fault(self.guide.reasoner, self.filled, self.signs, self.right)
        yield from self.fault.path(self.cure, self.said, self.circuit, self._above())
        yield from self._by_eye()
        yield from self._conditions()
        self.mending = Mending(self.guide.reasoner, self.filled, self.fault, self.cure, self.said)
        yield from self.mending.path(self._proofs())
        yield self.filled.put(text_asked("because", t("Why, in a sentence"), self._because()))
        yield self.filled.put(Asked("source", t("Where does it come from?"), "seen", self._sources()))
        if self.guide.story is not None:
            yield from self._strip()

    # ------------------------------------------------------------ what is there to learn from

    def _from_nothing(self) -> Iterator[Asked]:
        told = Told(self.guide.reasoner, self.filled, self.guide.taken)
        yield from told.path()
        self.circuit, self.signs, self.checks = told.circuit, told.signs, told.checks
        self.taken |= {entry["id"] for entry in self.checks}

    def _from_job(self) -> Iterator[Asked]:
        story = self.guide.story
        assert story is not None
        cures = story.cures[:_MOST_CURES]
        seq = str(cures[0].seq) if cures else "other"
        if len(cures) != 1:
            choices = {str(cure.seq): self._cure_words(cure) for cure in cures} | {"other": t("something else")}
            if cures:
                yield self.filled.put(Asked("cured", t("What cured it?"), seq, choices))
                seq = self.filled["cured"]
            if seq == "other":
                yield self.filled.put(text_asked("cured-by", t("What was done that cured it? Some words")))
                self.said = self.filled["cured-by"]
        self.cure = next((cure for cure in cures if str(cure.seq) == seq), None)
        seen = self.guide.until(self.cure.seq if self.cure is not None else None)
        if self.cure is not None and self.cure.event != "remedied":
            self.said = self.cure.text
        self.circuit = seen.circuit
        self.signs = [sign for sign in seen.signs if self._speaks(sign)]
        self.right = [sign for sign in seen.right if self._speaks(sign)]

    def _speaks(self, sign: Sign) -> bool:
        """Whether a rule of the circuit can ask after it, on every vehicle that has the circuit."""
        known = self.guide.reasoner.knowledge
        return usable(known, sign.step) and speaks_within(known, sign.step, circuits_with(known, self.circuit))

    @staticmethod
    def _cure_words(cure: Cure) -> str:
        word = {"remedied": "", "changed": t("own work: "), "noted": "note: "}[cure.event]
        return f"{word}{cure.text[:120]}{(t(', proved') if cure.proved else '')}"

    def _above(self) -> str | None:
        if self.guide.story is None:
            return None
        lines = ["Seen: " + ("; ".join(sign.words for sign in self.signs) or t("nothing odd"))]
        if self.cure is not None:
            lines.append(t("Cured by: {cure}", cure=self._cure_words(self.cure)))
        return "\n".join(lines)

    # ------------------------------------------------------------ the signs

    def _by_eye(self) -> Iterator[Asked]:
        """A fault that neither network nor any check tells from others needs a check of its own."""
        scene = self.fault.scene
        if self.signs and not (self.fault.own and all(scene.computed)):
            return
        note = t("No check tells it from others yet: name one by eye, ear or hand")
        yield self.filled.put(text_asked("eye", t("What is looked at, and where?"), note=note))
        title = self.filled["eye"]
        entry = yield from eye_questions(
            self.filled, "eye", title or "check", self.guide.reasoner.knowledge, self.circuit, self.taken
        )
        if entry is None:
            return
        self._add_check(entry)
        step = step_of_entry(entry, self.circuit)
        sound, value = (str(v) for v in step.outcomes)
        self.told.append((step, value))
        words = f"{step.title}: {answer_words(step, value)}"
        self.signs.append(Sign(0, words, step, value, sound, {"check": step.id, "is": value}))
        self.fault.scene = type(scene)(scene.reasoner, self.signs, self.right)

    def _add_check(self, entry: Entry) -> None:
        self.checks.append(entry)
        self.taken.add(entry["id"])

    def _own(self) -> list[str]:
        """Causes that are no rivals: what is cured by the same work."""
        base, reasoner = self.fault.base, self.guide.reasoner
        if base is None or base.id not in reasoner.index:
            return []
        if self.fault.own:
            return []
        return list(reasoner.remedies[reasoner.remedy_of[reasoner.index[base.id]]].cures)

    def _conditions(self) -> Iterator[Asked]:
        scene, fault = self.fault.scene, self.fault
        mine = scene.shown_by(fault.like, fault.at, fault.held)
        usual = scene.telling(mine, self._own(), by_eye=fault.own)
        every = scene.every
        lines = [condition_words(sign.step, sign.condition) for sign in every]
        if not lines or not self.signs:
            return
        if len(lines) > 1:
            yield self.filled.put(numbered("signs", t("Which of these together tell it?"), usual, lines))
            usual = tuple(numbers_of(self.filled["signs"]))
        self.chosen = tuple(i for i in usual if i < len(every))
        strength = scene.strength(self.chosen, self._own())
        yield self.filled.put(Asked("weight", t("How strongly do they speak for it?"), strength, _WEIGHT_WORDS))

    def _picked(self) -> list[Sign]:
        """The answers that the rule rests on."""
        return [self.fault.scene.every[i] for i in self.chosen]

    def _proofs(self) -> list[str]:
        """Checks that showed the fault and that a person repeats after the work."""
        checks = self.guide.reasoner.knowledge.checks
        signs = sorted(self.signs, key=lambda sign: not sign.turned)
        plain = [s.step.id for s in signs if s.step.id in checks and not {"unplugged", "bridged"} & set(s.step.operate)]
        return plain[:3]

    def _because(self) -> str:
        """The physical reason as far as the network knows it."""
        reasoner, base = self.guide.reasoner, self.fault.base
        for sign in self._picked():
            if base is None or base.id not in reasoner.index or not reasoner.chances.computed(sign.step):
                continue
            shown = reasoner.chances.shown(sign.step, frozenset({reasoner.index[base.id]}))
            if shown is not None and sign.sound is not None and shown != sign.sound:
                there, sound = answer_words(sign.step, shown), answer_words(sign.step, sign.sound)
                return t(
                    "{short}: {there} with this fault where a sound vehicle shows {sound}.",
                    short=_short(sign.step.title),
                    there=there,
                    sound=sound,
                )
        return t("On one vehicle this came from it: {fault}.", fault=_lower(self.fault.title))[:400]

    def _sources(self) -> dict[str, str]:
        return {"seen": t("seen on {day}, one vehicle", day=self.guide.day), "practice": "common practice, no source"}

    def _strip(self) -> Iterator[Asked]:
        choices = {
            "yes": t("yes, take out notes, own words, folders and the time of day"),
            "no": t("no, keep the job as it is"),
        }
        text = t("The job is kept as the proof. Strip what is personal?")
        yield self.filled.put(Asked("strip", text, "yes", choices))

    # ------------------------------------------------------------ what comes of it

    def draft(self) -> Draft:
        """The addition; `path` must have run to its end. Raises ValueError where nothing was seen."""
        if not any(i < len(self.signs) for i in self.chosen):
            raise ValueError(t("nothing was seen that a rule could rest on"))
        fault, entries = self.fault, dict[str, Sequence[Entry] | Mapping[str, Sequence[str]]]()
        signs = self._picked()
        checked = self._checked(signs)
        cause = self._cause_id()
        source = self._sources()[self.filled["source"]]
        if fault.at:  # seen only there, so proved only there
            seen = [str(entry["id"]) for entry in checked.checks if entry["kind"] != "measure"]
            self.mending.proofs = tuple(dict.fromkeys([*seen, *self.mending.proofs]))
        remedy_id, remedy = self.mending.remedy(cause, self.taken)
        circuit = self.circuit if self.circuit not in ("supply", "shared", "") else "shared"
        rule = free_id(f"{circuit}/{slug(cause, 60)}", self.taken)
        if fault.controls:
            entries["controls"] = fault.controls
        if checked.checks:
            entries["checks"] = checked.checks
        if checked.symptoms:
            entries["symptoms"] = list(checked.symptoms.values())
        if fault.new:
            entries["causes"] = [self._note(cause, source, remedy_id)]
        entries["rules"] = [self._rule(rule, cause, checked.conditions, source)]
        if remedy is not None:
            entries["remedies"] = [remedy]
        return Draft(
            circuit,
            cause,
            fault.title,
            remedy_id,
            rule,
            entries,
            tuple(signs),
            fault.at,
            fault.held,
            tuple(self.told),
            {old: str(entry["id"]) for old, entry in checked.symptoms.items()},
            self.cure.seq if self.cure is not None else None,
            self.filled.values.get("strip", "yes") == "yes",
            fault.new,
        )

    def _cause_id(self) -> str:
        fault = self.fault
        if not fault.new:
            assert fault.base is not None
            return fault.base.id
        known = fault.extra or (fault.base.id if fault.base is not None and not fault.own else None)
        if known is None:
            mode = slug(fault.title).removeprefix(f"{fault.subject}-")
        else:
            amount = [slug(f"{value:g}" if isinstance(value, float) else str(value)) for value in fault.value.values()]
            mode = "-".join([known.split(".", 1)[1], *amount, *(f"with-{c}-{p}" for c, p in fault.at.items())])
        return free_id(f"{fault.subject}.{mode}", {*self.taken, *self.guide.reasoner.index})

    def _checked(self, signs: Sequence[Sign]) -> _Checked:
        """New checks that the rule needs, and its conditions: what was seen of one's own accord becomes a check, and
        so does a check in a position that the files do not know, with the complaint that was made of it there."""
        knowledge, out, conditions = self.guide.reasoner.knowledge, list(self.checks), []
        symptoms: dict[str, Entry] = {}
        written = {entry["id"] for entry in out} | set(knowledge.checks)
        held = [sign for sign in self.signs if sign.seq in self.fault.held and sign.symptom and sign not in signs]
        for sign in [*signs, *held]:
            condition = dict(sign.condition)
            more = self.fault.at if sign.seq in self.fault.held else {}
            if more or sign.step.id not in written:
                said = "".join(f", {c.replace('-', ' ')} {p}" for c, p in more.items())
                known = sign.step.id in written
                title = f"{sign.step.title if known else plain_title(knowledge, sign.step)}{said}"[:300]
                name = free_id(slug(f"{sign.step.id} {' '.join(more.values())}" if more else title), self.taken)
                self.taken.add(name)
                out.append(check_of_step(knowledge, sign.step, name, title, more))
                condition["check"] = name
                if more and sign.symptom is not None:
                    symptoms[sign.symptom] = self._symptom(sign.symptom, condition, said)
            if sign in signs:
                conditions.append(condition)
        return _Checked(out, conditions, symptoms)

    def _symptom(self, name: str, condition: dict[str, Any], said: str) -> Entry:
        """A complaint as it is made of a fault that is there in some positions only."""
        known = self.guide.reasoner.knowledge.symptoms[name]
        words = said.removeprefix(", ")
        own = free_id(slug(f"{name} {words}"), self.taken)
        self.taken.add(own)
        phrases = [t("{phrase} with {words}", phrase=phrase, words=words) for phrase in known.phrases[:4]]
        entry: Entry = {"id": own, "title": f"{known.title}{said}"[:300], "phrases": phrases, "shows": [[condition]]}
        return entry if phrases else {key: value for key, value in entry.items() if key != "phrases"}

    def _note(self, cause: str, source: str, remedy: str) -> Entry:
        fault = self.fault
        note: Entry = {"id": cause, "title": fault.title, "frequency": fault.often}
        if fault.like is not None:
            note["like"] = fault.like
        if fault.at:
            note["while"] = dict(fault.at)
        note |= fault.value
        named = self.mending.note_remedy(cause, remedy)
        if named is not None:
            note["remedy"] = named
        return {**note, "source": source}

    def _rule(self, rule: str, cause: str, conditions: list[dict[str, Any]], source: str) -> Entry:
        title = "; ".join(_short(condition_words(sign.step, sign.condition)) for sign in self._picked())
        entry: Entry = {
            "id": rule,
            "title": title[:300],
            "when": conditions,
            "then": [{"points-to": cause, "weight": STRENGTHS[self.filled["weight"]]}],
            "because": self.filled["because"],
        }
        alike = self.fault.scene.lookalikes(self.chosen, self._own())
        if alike:
            entry["looks-like"] = "; ".join(alike)[:500]
        return {**entry, "source": source, "state": "draft"}


def _short(text: str) -> str:
    return text if len(text) <= 120 else f"{text[:117]}..."


def _lower(text: str) -> str:
    return text[:1].lower() + text[1:]
