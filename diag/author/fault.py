"""Which fault it was: one that is known, one like it in some positions only or of another value, or one that only
rules know. Yields the questions and gathers what the answers mean.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from diag.author.filled import Filled, numbered, numbers_of, reading, text_asked
from diag.author.naming import named_like, near_names, operate_read, slug, subjects
from diag.author.signs import Cure, Sign
from diag.author.weighing import Scene, matched_causes
from diag.circuit.faults import Cause, possible_faults
from diag.fit.interview import Asked
from diag.knowledge import schema
from diag.knowledge.names import words
from diag.knowledge.units import parse_quantity
from diag.reason.reasoner import Reasoner
from diag.texts import t

__all__ = ["OFTEN", "Fault"]

OFTEN = {"seldom": 0.3, "sometimes": 1.5, "often": 6.0}
"""How often a fault is met, per thousand, on the scale of the kinds of part (common practice, no source)."""
_OFTEN_WORDS = {
    "seldom": t("seldom, once in a few years"),
    "sometimes": "sometimes",
    "often": t("often, a usual fault of it"),
}
_MOST, _ALIKE = 5, 60
_UNITS = {"ohm": "ohm", "volts": "V"}


class Fault:
    """The fault. Filled while `path` runs: `base`, the derived cause meant or resembled (None: only rules know
    it); `at`, positions in which alone it is there, with `held`, answers at which they held unsaid; `controls`, new
    ones; `value`, keys of a cause note; `new`, whether it is no cause that the files know."""

    def __init__(self, reasoner: Reasoner, filled: Filled, signs: Sequence[Sign], right: Sequence[Sign]) -> None:
        self.reasoner, self.filled = reasoner, filled
        self.scene = Scene(reasoner, signs, right)
        self.base: Cause | None = None
        self.own = False
        self.extra: str | None = None
        """A fault that the part can have though it is too seldom to be one of every such part."""
        self.at: dict[str, str] = {}
        self.held: frozenset[int] = frozenset()
        self.controls: dict[str, tuple[str, ...]] = {}
        self.value: dict[str, Any] = {}
        self.title = ""
        self.often = 0.0
        self.subject = ""

    @property
    def new(self) -> bool:
        """Whether the files do not know it yet."""
        return self.own or self.extra is not None or bool(self.at) or bool(self.value)

    @property
    def like(self) -> str | None:
        """The fault of its part whose readings it shows."""
        if self.extra is not None:
            return self.extra
        return self.base.id if self.base is not None and self.base.electrical else None

    def path(self, cure: Cure | None, text: str, circuit: str, above: str | None) -> Iterator[Asked]:
        """Cause, then what is particular about it. `text`: what the person said of it."""
        yield from self._cause(cure, text, above)
        if self.own:
            yield from self._likeness(text)
        if self.like is not None and self.reasoner.predictor is not None:
            yield from self._when()
            yield from self._amount()
        self.subject = self._subject(text, circuit)
        if not self.new and self.base is not None:
            self.title = self.base.title
            return
        yield self.filled.put(text_asked("title", t("What was wrong, in a line"), self._title(text)))
        self.title = self.filled["title"]
        yield self.filled.put(Asked("often", t("How often is it met?"), "sometimes", _OFTEN_WORDS))
        self.often = OFTEN[self.filled["often"]]

    # ------------------------------------------------------------ which one

    def _cause(self, cure: Cure | None, text: str, above: str | None) -> Iterator[Asked]:
        proposed = self._proposed(cure, text)
        choices = {name: self._title_of(name) for name in proposed}
        choices |= {
            "part": t("another fault of a part or wire"),
            "own": t("something that is not in the list of faults"),
        }
        usual = next(iter(choices))
        yield self.filled.put(Asked("cause", t("What was wrong?"), usual, choices, None, above))
        chosen = self.filled["cause"]
        if chosen == "part":
            known = subjects(self.reasoner.knowledge)
            yield self.filled.put(
                text_asked(
                    "subject",
                    t("Which part or wire? Some words of its name"),
                    accept=lambda typed: named_like(typed, known),
                    labels=known,
                )
            )
            faults = self._faults_of(self.filled["subject"])
            choices = {cause.id: cause.title for cause in faults} | self._extras(self.filled["subject"])
            choices["own"] = t("in another way")
            yield self.filled.put(Asked("how", t("How had it failed?"), next(iter(choices)), choices))
            chosen = self.filled["how"]
        self.own = chosen == "own"
        if chosen not in self.reasoner.index and not self.own:
            self.extra = chosen
        elif not self.own:
            self.base = self.reasoner.causes[self.reasoner.index[chosen]]

    def _proposed(self, cure: Cure | None, text: str) -> list[str]:
        plan = self.reasoner.remedies.get(cure.remedy) if cure is not None and cure.remedy is not None else None
        if plan is None:
            return matched_causes(self.scene, text, _MOST) if text or self.scene.signs else []
        rows, index = self.scene.rows, self.reasoner.index

        def fit(cause: str) -> float:
            return float(self.reasoner.prior[index[cause]] * rows[:, 1 + index[cause]].prod())

        plain = [cause for cause in plan.cures if self.reasoner.causes[index[cause]].of is None]
        return sorted(plain, key=lambda cause: -fit(cause))[:_MOST]

    def _faults_of(self, subject: str) -> list[Cause]:
        found = [cause for cause in self.reasoner.causes if cause.subject == subject and cause.of is None]
        return sorted(found, key=lambda cause: -cause.frequency)[: _MOST + 2]

    def _extras(self, subject: str) -> dict[str, str]:
        """Faults of a part that are of no use without a value of their own, such as a lamp of other watts."""
        predictor = self.reasoner.predictor
        if predictor is None or not subject:
            return {}
        able = possible_faults(self.reasoner.knowledge, predictor.network, [subject])
        title = subjects(self.reasoner.knowledge)[subject]
        return {
            name: f"{title}: {self._mode_title(subject, one.mode)}"
            for name, one in able.items()
            if name not in self.reasoner.index and "factor" in one.takes
        }

    def _mode_title(self, subject: str, mode: str) -> str:
        part = self.reasoner.knowledge.parts.get(subject)
        form = self.reasoner.knowledge.kinds.kinds.get(part.kind if part is not None else "", {}).get(mode)
        return form.title if form is not None else mode.replace("-", " ")

    def _title_of(self, cause: str) -> str:
        return self.reasoner.causes[self.reasoner.index[cause]].title

    def _likeness(self, text: str) -> Iterator[Asked]:
        """What a cause of one's own shows: without a likeness no lamp or meter would change with it."""
        every = self.scene.explainers(_ALIKE)
        near = [name for name in matched_causes(self.scene, text, _ALIKE) if name in every][: _MOST // 2 + 1]
        near = list(dict.fromkeys([*near, *every]))[:_MOST]
        subject = self.filled.values.get("subject")
        if subject:
            near = list(dict.fromkeys([*(c.id for c in self._faults_of(subject) if c.electrical), *near]))[:_MOST]
        if not near:
            return
        choices = {name: self._title_of(name) for name in near} | {"none": t("no lamp, sound or meter shows it")}
        usual = near[0] if any(self.scene.computed) else "none"
        yield self.filled.put(Asked("like", t("It shows on lamps and meter as:"), usual, choices))
        if self.filled["like"] != "none":
            self.base = self.reasoner.causes[self.reasoner.index[self.filled["like"]]]

    # ------------------------------------------------------------ when, and how much

    def _when(self) -> Iterator[Asked]:
        assert self.like is not None
        found = self.scene.variations(self.like)
        spoken = {
            f"{v.control}={v.position}": t("only with {said} {position}", said=_said(v.control), position=v.position)
            for v in found
        }
        choices = {"always": "always", **spoken, "other": t("only with another control")}
        choices["new"] = t("only with something the files do not know, such as a lid")
        usual = "new" if self.scene.fickle else "always"
        if found and not self.scene.fickle and self.scene.better(found[0]):
            usual = f"{found[0].control}={found[0].position}"
        yield self.filled.put(Asked("when", t("When is it there?"), usual, choices))
        chosen = self.filled["when"]
        if chosen == "new":
            yield from self._new_control()
        elif chosen == "other":
            knowledge = self.reasoner.knowledge
            yield self.filled.put(
                text_asked(
                    "position",
                    t("With which control, and how?"),
                    accept=lambda typed: operate_read(typed, knowledge, {}),
                )
            )
            chosen = self.filled["position"]
        if "=" in chosen:
            self.at = dict(piece.split("=", 1) for piece in chosen.split(","))
        if self.at and self.scene.signs and not self._recorded():
            yield from self._held()

    def _new_control(self) -> Iterator[Asked]:
        controls = self.reasoner.knowledge.controls

        def named(typed: str) -> str:
            if not typed.strip():
                raise ValueError(t("expected a word, such as lid"))
            name = slug(typed, 30)
            if name in controls:
                raise ValueError(t("there is such a control; go back with u and choose it"))
            return name

        yield self.filled.put(text_asked("control", t("What is it called?"), accept=named))
        yield self.filled.put(
            text_asked("positions", t("Its positions, the one at rest first"), t("shut, open"), accept=_positions)
        )
        name, positions = self.filled["control"], tuple(self.filled["positions"].split(", "))
        choices = {position: position for position in positions}
        yield self.filled.put(Asked("there", t("In which is the fault there?"), positions[-1], choices))
        if name:
            self.controls[name] = positions
            self.at = {name: self.filled["there"]}

    def _recorded(self) -> bool:
        """Whether some answer says how the control stood."""
        return any(set(self.at) <= set(sign.step.operate) for sign in self.scene.signs)

    def _held(self) -> Iterator[Asked]:
        """Answers that were given in the position though the job does not say so."""
        signs = [sign for sign in self.scene.signs if sign.seq]
        if not signs or not self._away_from_rest():
            return
        position = ", ".join(f"{_said(c)} {p}" for c, p in self.at.items())
        text = t("Which of these were seen with {position}?", position=position)
        yield self.filled.put(numbered("held", text, range(len(signs)), [sign.words for sign in signs], none=True))
        self.held = frozenset(signs[i].seq for i in numbers_of(self.filled["held"]) if i < len(signs))

    def _away_from_rest(self) -> bool:
        rest = {**self.reasoner.knowledge.controls, **self.controls}
        return any(rest[control][0] != position for control, position in self.at.items() if control in rest)

    def _amount(self) -> Iterator[Asked]:
        """The value of a fault that has one: a resistance, or how many times too small or large."""
        if self.extra is not None:
            yield from self._factor(self.extra.split(".")[0], None)
            return
        assert self.base is not None
        mode = self.reasoner.knowledge.kinds.kinds.get(self.base.kind, {}).get(self.base.mode)
        if mode is None:
            return
        for key, unit in _UNITS.items():
            usual = getattr(mode, key)
            if key == "ohm" and usual is not None:
                asked = Asked("value", t("How much?"), f"{usual:g} {unit}", {}, None, None, unit, 0.0001, 1e6)
                yield self.filled.put(asked)
                given = parse_quantity(self.filled["value"], unit, bare=True)
                if abs(given - usual) > 1e-9:
                    self.value = {key: f"{given:g} {unit}"}
                return
        if mode.factor is not None:
            yield from self._factor(self.base.subject, mode.factor)

    def _factor(self, subject: str, usual: float | None) -> Iterator[Asked]:
        """How many times too small or large; of a lamp its watts. `usual`: what goes without saying."""
        part = self.reasoner.knowledge.parts.get(subject)
        if isinstance(part, schema.LampPart):
            watts = part.test_w
            note = t("the right one draws {watts:g} W", watts=watts)
            typical = f"{watts * usual:.3g}" if usual is not None else ""
            yield self.filled.put(text_asked("value", t("Of how many watts?"), typical, note=note, accept=reading("W")))
            factor = float(self.filled["value"] or watts) / watts
        else:
            typical = f"{usual:g}" if usual is not None else ""
            yield self.filled.put(text_asked("value", t("How many times the right value?"), typical, accept=_times))
            factor = float(self.filled["value"] or usual or 1.0)
        if usual is None or abs(factor / usual - 1) > 0.005:
            self.value = {"factor": float(f"{factor:.4g}")}

    # ------------------------------------------------------------ what it is called

    def _title(self, text: str) -> str:
        if self.own and text:
            return _capital(text)
        if self.base is None and self.extra is None:
            return ""
        held = ", ".join(f"{_said(c)} {p}" for c, p in self.at.items())
        amount = self.filled.values.get("value", "") if self.value else ""
        if amount and "factor" in self.value:
            lamp = isinstance(self.reasoner.knowledge.parts.get(self.subject), schema.LampPart)
            amount = f"{amount} W" if lamp else t("{amount} times the right value", amount=amount)
        more = [t("only with {held}", held=held)] if held else []
        title = self.base.title if self.base is not None else self._extras(self.subject).get(self.extra or "", "")
        return ", ".join([title, *([amount] if amount else []), *more])

    def _subject(self, text: str, circuit: str) -> str:
        if self.base is not None:
            return self.base.subject
        if self.filled.values.get("subject"):
            return self.filled["subject"]
        near = near_names(text, subjects(self.reasoner.knowledge), 1) if text else []
        return near[0] if near else circuit


def _said(control: str) -> str:
    return control.replace("-", " ")


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _positions(typed: str) -> str:
    found = [slug(word, 30) for word in typed.replace(";", ",").split(",") if word.strip()]
    if len(found) < 2 or len(set(found)) < len(found):
        raise ValueError(t("expected two or more different words, such as {value}", value=words(["shut", "open"])))
    return ", ".join(found)


def _times(typed: str) -> str:
    try:
        found = float(typed.replace(",", "."))
    except ValueError:
        raise ValueError(t("expected a number, such as 2.5")) from None
    if not 0.001 <= found <= 1000:
        raise ValueError(t("expected 0.001 to 1000"))
    return f"{found:g}"
