"""Checks that every reference inside an assembled `Knowledge` holds: ids, terminals, words, positions.

Causes derived from parts are not known here; see `lint.check_causes`. Must not read files.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from graphlib import CycleError, TopologicalSorter

from diag.errors import Problem
from diag.knowledge import schema
from diag.knowledge.assemble import Knowledge
from diag.knowledge.bridging import BRIDGED, EXTRA_CONTROLS, UNPLUGGED
from diag.knowledge.crosskinds import check_kinds
from diag.knowledge.crossparts import TELL_TALE_COLOURS, check_parts, check_wires
from diag.knowledge.names import nearest, quoted, words
from diag.knowledge.omit import Outside
from diag.knowledge.reader import Loc, Marked
from diag.knowledge.referee import Referee
from diag.knowledge.scalars import TEST_LAMP
from diag.texts import t

__all__ = ["TELL_TALE_COLOURS", "answers", "crossref", "split_word"]

_LIMITED = ("dark", "glow", "dim", "normal")
"""Words of light that have an upper edge; what is above the last is too bright."""


def split_word(test: str) -> tuple[bool, str]:
    """`is-not dark`, `is steady` or plain `steady` as (wanted, word)."""
    first, _, rest = test.strip().partition(" ")
    if first in ("is", "is-not") and rest:
        return first == "is", rest.strip()
    return True, test.strip()


def answers(knowledge: Knowledge, check: schema.Check) -> tuple[str, ...]:
    """Words that may answer a check; for a lamp those of its light; none for a measurement but `OL` for ohm."""
    if check.kind == "listen":
        return knowledge.vocabulary.sound
    if check.kind == "look":
        if _is_lamp(knowledge, check):
            return knowledge.vocabulary.light
        gauge = isinstance(knowledge.parts.get(check.target or ""), schema.GaugePart)
        return knowledge.vocabulary.needle if gauge else knowledge.vocabulary.motor
    if check.kind == "choose":
        return tuple(choice.value for choice in check.choices)
    if check.kind == "do":
        return ("done",)
    return ("OL",) if check.unit == "ohm" else ()


def _is_lamp(knowledge: Knowledge, check: schema.Check) -> bool:
    """Whether a check's target is a lamp, or one filament of a lamp with two."""
    if check.target == TEST_LAMP:
        return True
    name, _, filament = (check.target or "").partition(".")
    part = knowledge.parts.get(name)
    if isinstance(part, schema.TwoFilamentPart):
        return filament in part.terminals[:2]
    return isinstance(part, schema.LampPart) and not filament


def _targets(knowledge: Knowledge) -> dict[str, schema.AnyPart]:
    """Everything that may be looked at or listened to: a lamp with two filaments stands twice, once for each."""
    found: dict[str, schema.AnyPart] = {}
    for name, part in knowledge.parts.items():
        if isinstance(part, schema.TwoFilamentPart):
            found |= {f"{name}.{terminal}": part for terminal in part.terminals[:2]}
        else:
            found[name] = part
    return found


def crossref(knowledge: Knowledge, outside: Outside) -> list[Problem]:
    """Every reference that does not hold, with its place and the nearest name that would.

    `outside` names what other circuits define, so that a missing `needs` can be told from a slip.
    """
    checker = _Checker(knowledge, outside)
    checker.files()
    check_kinds(checker)
    checker.vocabulary()
    check_parts(checker)
    check_wires(checker)
    checker.checks()
    checker.rules()
    checker.remedies()
    return checker.problems


class _Checker(Referee):
    def __init__(self, knowledge: Knowledge, outside: Outside) -> None:
        super().__init__(knowledge, outside)
        self.targets = _targets(knowledge)
        self.words = {
            effect.establish
            for rule in knowledge.rules.values()
            if rule.state != "retired"
            for effect in rule.then
            if effect.establish
        }

    # ------------------------------------------------------------ whole files

    def files(self) -> None:
        know = self.know
        for circuit, file in know.circuits.items():
            for index, need in enumerate(file.needs):
                if need not in know.circuits:
                    self.unknown(know.spots.files[circuit].place(("needs", index)), need, know.circuits, "circuit")
        for extra in EXTRA_CONTROLS:
            if extra in know.controls:
                self.say(
                    self._control_at(extra).place(("controls", extra), key=True),
                    t("`{extra}` is always a control", extra=extra),
                    "",
                    t("controls other than it"),
                    t("Take it away."),
                    code="duplicate-id",
                )
        for control, positions in know.controls.items():
            for index, position in enumerate(positions):
                if position in positions[:index]:
                    self.say(
                        self._control_at(control).place(("controls", control, index)),
                        t("a position is given twice"),
                        quoted(position),
                        t("each position once"),
                        t("Take one away."),
                        code="given-twice",
                    )
        for circuit, file in know.circuits.items():
            for control, said in file.says.items():
                for position in said:
                    self._said(know.spots.files[circuit], control, position)

    def _said(self, marked: Marked, control: str, position: str) -> None:
        """Words for a position that a control must have."""
        known = self.know.controls.get(control)
        if known is None:
            self.unknown(marked.place(("says", control), key=True), control, self.know.controls, "control")
        elif position not in known:
            self.unknown(
                marked.place(("says", control, position), key=True), position, known, f"position of `{control}`"
            )

    def _control_at(self, control: str) -> Marked:
        """The file that gives a control."""
        circuit = next(name for name, file in self.know.circuits.items() if control in file.controls)
        return self.know.spots.files[circuit]

    def vocabulary(self) -> None:
        book = self.know.vocabulary
        marked = self.know.spots.files["vocabulary"]
        for word in _LIMITED:
            if word not in book.light_limits:
                self.say(
                    marked.place(("light-limits",), key=True),
                    t("the limit of `{word}` is missing", word=word),
                    "",
                    t("`{word}` with the upper edge of its light", word=word),
                    t("Add `{word}:` here.", word=word),
                    code="missing-key",
                )
        for word in book.light_limits:
            if word not in book.light:
                self.unknown(marked.place(("light-limits", word), key=True), word, book.light, "word")
        for axis, table in book.misread.items():
            known: tuple[str, ...] = getattr(book, axis)
            for true_word, shares in table.items():
                for loc, word in [((true_word,), true_word), *(((true_word, taken), taken) for taken in shares)]:
                    if word not in known:
                        self.unknown(marked.place(("misread", axis, *loc), key=True), word, known, "word")
                if sum(shares.values()) > 1 or true_word in shares:
                    self.say(
                        marked.place(("misread", axis, true_word), key=True),
                        t("the misreadings of `{true_word}` leave nothing for reading it right", true_word=true_word),
                        "",
                        t("shares of other words that sum to less than 1"),
                        t("Lower them."),
                        code="misread-shares",
                    )

    # ------------------------------------------------------------ checks

    def checks(self) -> None:
        for name, check in self.know.checks.items():
            self.known(check.place, self.know.places, "place", name, "place")
            if check.kind != "look" or check.target != TEST_LAMP:
                self._target(name, check.target)
            self.known(check.caution, self.know.cautions, "caution", name, "caution")
            self.terminal(check.red, name, "red", body=True)
            self.terminal(check.black, name, "black", body=True)
            if check.red is not None and check.red == check.black:
                self.say(
                    self.know.spots.place(name, "black"),
                    t("both probes are on one terminal"),
                    quoted(check.red),
                    t("two different terminals"),
                    t("Correct one of them."),
                    code="same-terminal",
                )
            through = self.know.parts.get(check.through or "")
            if check.through not in self.know.wires and not isinstance(through, schema.FusePart):
                fuses = [other for other, part in self.know.parts.items() if isinstance(part, schema.FusePart)]
                self.known(check.through, fuses + list(self.know.wires), "fuse or wire", name, "through")
            limits = check.limits
            if limits and limits.min is not None and limits.max is not None and limits.min > limits.max:
                self.say(
                    self.know.spots.place(name, "limits"),
                    t("the lower limit is above the upper"),
                    t("{min:g} and {max:g}", min=limits.min, max=limits.max),
                    t("`min` below `max`"),
                    t("Swap them."),
                    code="limits-swapped",
                )
            self._operate(name, check.operate)
            self._usual(name, check)
            for value, count in Counter(choice.value for choice in check.choices).items():
                if count > 1:
                    self.say(
                        self.know.spots.place(name, "choices"),
                        t("a choice is given twice"),
                        quoted(value),
                        t("each value once"),
                        t("Take one away."),
                        code="given-twice",
                    )

    def _target(self, name: str, target: str | None) -> None:
        if target is None or target in self.targets:
            return
        part, _, filament = target.partition(".")
        known = self.know.parts.get(part)
        place = self.know.spots.place(name, "target")
        if isinstance(known, schema.TwoFilamentPart):
            self.say(
                place,
                t("`{part}` has two filaments and is looked at one by one", part=part),
                quoted(target),
                words(f"{part}.{terminal}" for terminal in known.terminals[:2]),
                t("Name the filament.") if not filament else nearest(target, self.targets),
                code="wrong-target",
            )
        elif known is not None:
            self.say(
                place,
                t("`{part}` is looked at as a whole", part=part),
                quoted(target),
                f"`{part}`",
                t("Leave the terminal out."),
                code="wrong-target",
            )
        else:
            self.unknown(place, target, self.targets, "part")

    def _operate(self, name: str, operate: Mapping[str, str]) -> None:
        for control, position in operate.items():
            if control == UNPLUGGED:
                self.terminal(position, name, "operate", control)
            elif control == BRIDGED:
                self._bridged(name, position)
            elif control not in self.know.controls:
                self.unknown(
                    self.know.spots.place(name, "operate", control, key=True),
                    control,
                    [*self.know.controls, *EXTRA_CONTROLS],
                    "control",
                )
            else:
                self.known(position, self.know.controls[control], f"position of `{control}`", name, "operate", control)

    def _bridged(self, name: str, position: str) -> None:
        problem = self.know.bridge_problem(position)
        if problem is not None:
            self.say(
                self.know.spots.place(name, "operate", BRIDGED),
                problem[0],
                quoted(position),
                t("`part.terminal+part.terminal` or `part.terminal+body`"),
                problem[1],
                code="bad-jumper",
            )

    def _usual(self, name: str, check: schema.Check) -> None:
        if check.target is not None and check.target not in {*self.targets, TEST_LAMP}:
            return  # what its words are is unknown; the target has been told
        known = answers(self.know, check)
        lamp = check.kind == "look" and _is_lamp(self.know, check)
        for answer in check.usual:
            light, slash, rhythm = answer.partition("/")
            if check.kind == "measure":
                self.say(
                    self.know.spots.place(name, "usual", answer, key=True),
                    t("a measurement has no usual answers"),
                    quoted(answer),
                    "",
                    t("Take `usual` away; give `limits` instead."),
                    code="usual-shares",
                )
            elif light not in known or (slash and not lamp):
                self.unknown(self.know.spots.place(name, "usual", answer, key=True), answer, known, "word")
            elif slash and rhythm not in self.know.vocabulary.rhythm:
                self.unknown(
                    self.know.spots.place(name, "usual", answer, key=True), rhythm, self.know.vocabulary.rhythm, "word"
                )
        total = sum(check.usual.values())
        if total > 1.001:
            self.say(
                self.know.spots.place(name, "usual"),
                t("the usual shares sum to more than 1"),
                f"{total:.3g}",
                t("at most 1"),
                t("Lower them."),
                code="usual-shares",
            )

    # ------------------------------------------------------------ conditions, rules, symptoms

    def conditions(self, name: str, conditions: Iterable[schema.Condition], *loc: str | int) -> None:
        for index, condition in enumerate(conditions):
            at = (*loc, index)
            self.known(
                condition.established,
                self.words,
                "intermediate conclusion that a rule establishes",
                name,
                *at,
                "established",
            )
            if condition.check is None:
                continue
            if condition.check not in self.know.checks:
                self.known(condition.check, self.know.checks, "check", name, *at, "check")
                continue
            self._condition(name, condition, self.know.checks[condition.check], at)

    def _condition(self, name: str, condition: schema.Condition, check: schema.Check, at: Loc) -> None:
        if check.target is not None and check.target not in {*self.targets, TEST_LAMP}:
            return
        lamp = check.kind == "look" and _is_lamp(self.know, check)
        known = answers(self.know, check)
        sort = check.kind
        about = t("`{id}` is a {sort}", id=check.id, sort=t("look of a lamp") if lamp and sort == "look" else sort)
        for key, test, vocabulary in (
            ("light", condition.light, self.know.vocabulary.light),
            ("rhythm", condition.rhythm, self.know.vocabulary.rhythm),
        ):
            if test is not None and not lamp:
                self.say(
                    self.know.spots.place(name, *at, key),
                    t("{about}, which has no `{key}`", about=about, key=key),
                    quoted(test),
                    t("`below`, `above` or `between`") if check.kind == "measure" else t("`is` or `is-not`"),
                    t("Use these, or name a look at a lamp."),
                    code="wrong-test",
                )
            elif test is not None:
                self.known(split_word(test)[1], vocabulary, "word", name, *at, key)
        for key, test in (("is", condition.is_), ("is-not", condition.is_not)):
            if test is None:
                continue
            if lamp or not known:
                self.say(
                    self.know.spots.place(name, *at, key),
                    t("{about}, which takes no `{key}`", about=about, key=key),
                    quoted(test),
                    t("`light` or `rhythm`") if lamp else t("`below`, `above` or `between`"),
                    t("Use these."),
                    code="wrong-test",
                )
            else:
                self.known(test, known, "word", name, *at, key)
        for key, number in (("below", condition.below), ("above", condition.above), ("between", condition.between)):
            if number is not None and check.kind != "measure":
                self.say(
                    self.know.spots.place(name, *at, key),
                    t("{about}, which is answered by a word, not a number", about=about),
                    f"`{key}`",
                    words(known),
                    t("Test for a word, or name a measurement."),
                    code="wrong-test",
                )
        low, high = condition.between or (condition.above, condition.below)
        if low is not None and high is not None and low >= high:
            self.say(
                self.know.spots.place(name, *at),
                t("no number can satisfy this"),
                t("above {low:g} and below {high:g}", low=low, high=high),
                t("the lower bound first"),
                t("Swap them."),
                code="never-holds",
            )

    def rules(self) -> None:
        for name, symptom in self.know.symptoms.items():
            for index, way in enumerate(symptom.shows):
                self.conditions(name, way, "shows", index)
        for name, rule in self.know.rules.items():
            circuit = self.know.circuit_of[name]
            if name.split("/")[0] != circuit:
                self.say(
                    self.know.spots.place(name, "id"),
                    t("a rule's id begins with its circuit"),
                    quoted(name),
                    f"`{circuit}/...`",
                    t("Correct the id."),
                    code="wrong-prefix",
                )
            self.conditions(name, rule.when, "when")
            for index, effect in enumerate(rule.then):
                self.known(effect.ask, self.know.checks, "check", name, "then", index, "ask")
                self.known(effect.warn, self.know.cautions, "caution", name, "then", index, "warn")
                self.known(effect.stop, self.know.cautions, "caution", name, "then", index, "stop")
            self.known(rule.replaced_by, self.know.rules, "rule", name, "replaced-by")
            if rule.state == "retired" and rule.replaced_by == name:
                self.say(
                    self.know.spots.place(name, "replaced-by"),
                    t("a rule cannot replace itself"),
                    quoted(name),
                    code="no-successor",
                )
        self._successors()
        self._cycles()

    def _successors(self) -> None:
        """Whoever looks for the rule that holds today must arrive at one."""
        told: set[str] = set()
        for name in self.know.rules:
            way, step = [name], self.know.rules[name].replaced_by
            while step is not None and step in self.know.rules and step not in way:
                way.append(step)
                step = self.know.rules[step].replaced_by
            ring = way[way.index(step) :] if step in way else []
            if len(ring) > 1 and told.isdisjoint(ring):
                told.update(ring)
                self.say(
                    self.know.spots.place(ring[0], "replaced-by"),
                    t("rules replace each other in a ring"),
                    t(" by ").join(f"`{each}`" for each in [*ring, ring[0]]),
                    t("a rule at the end that is not replaced"),
                    t("Take one `replaced-by` out of the ring."),
                    code="no-successor",
                )

    def _cycles(self) -> None:
        """An intermediate conclusion that needs itself would never be reached."""
        needs: dict[str, set[str]] = {}
        makers: dict[str, str] = {}
        for name, rule in self.know.rules.items():
            for effect in rule.then:
                if effect.establish and rule.state != "retired":
                    makers.setdefault(effect.establish, name)
                    used = {condition.established for condition in rule.when if condition.established}
                    needs.setdefault(effect.establish, set()).update(used)
        try:
            TopologicalSorter(needs).prepare()
        except CycleError as error:
            ring: list[str] = error.args[1]
            maker = next(makers[word] for word in ring if word in makers)
            self.say(
                self.know.spots.place(maker),
                t("intermediate conclusions rest on each other in a ring"),
                t(" from ").join(f"`{word}`" for word in ring),
                t("a chain with a beginning"),
                t("Take one `established` out of the ring."),
                code="ring",
            )

    # ------------------------------------------------------------ remedies and notes

    def remedies(self) -> None:
        for name, remedy in self.know.remedies.items():
            for index, caution in enumerate(remedy.cautions):
                self.known(caution, self.know.cautions, "caution", name, "cautions", index)
            for index, check in enumerate(remedy.proof):
                self.known(check, self.know.checks, "check", name, "proof", index)
        for name, note in self.know.causes.items():
            self.known(note.remedy, [*self.know.remedies, *self.know.kinds.remedies], "remedy", name, "remedy")
            self._while(name, note)

    def _while(self, name: str, note: schema.CauseNote) -> None:
        """The positions in which a cause is there."""
        for control, positions in note.while_.items():
            known = self.know.controls.get(control)
            if known is None:
                at = self.know.spots.place(name, "while", control, key=True)
                self.unknown(at, control, self.know.controls, "control")
                continue
            for index, position in enumerate(positions):
                self.known(position, known, f"position of `{control}`", name, "while", control, index)
            if set(positions) >= set(known):
                self.say(
                    self.know.spots.place(name, "while", control),
                    t("these are all positions of the control, so it changes nothing"),
                    quoted(", ".join(positions)),
                    t("some of {known}", known=words(known)),
                    t("Leave the others out, or leave `while` out."),
                    code="idle-while",
                )
