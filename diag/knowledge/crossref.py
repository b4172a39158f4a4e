"""Checks that every reference inside an assembled `Knowledge` holds: ids, terminals, words, positions.

Causes derived from parts are not known here; see `lint.check_causes`. Must not read files.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Mapping
from graphlib import CycleError, TopologicalSorter

from diag.errors import Place, Problem
from diag.knowledge import schema
from diag.knowledge.assemble import Knowledge, terminals_of
from diag.knowledge.names import nearest, quoted, words
from diag.knowledge.omit import Outside
from diag.knowledge.reader import Loc

__all__ = ["TELL_TALE_COLOURS", "answers", "crossref", "split_word"]

TELL_TALE_COLOURS = ("red", "green", "blue", "amber", "yellow")
"""Colours of tell-tales (ISO 2575 uses red, amber or yellow, green, blue)."""

_KINDS = (
    "wire",
    "lamp",
    "earth",
    "fuse",
    "switch",
    "sender",
    "flasher-unit",
    "horn",
    "joint",
    "battery",
    "dynamo",
    "regulator",
)
_UNPLUGGED = "unplugged"
_NEEDS = "Another circuit has it: add that circuit to `needs`."


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
        return knowledge.vocabulary.light if _is_lamp(knowledge, check) else knowledge.vocabulary.motor
    if check.kind == "choose":
        return tuple(choice.value for choice in check.choices)
    if check.kind == "do":
        return ("done",)
    return ("OL",) if check.unit == "ohm" else ()


def _is_lamp(knowledge: Knowledge, check: schema.Check) -> bool:
    return isinstance(knowledge.parts.get(check.target or ""), schema.LampPart)


def crossref(knowledge: Knowledge, outside: Outside) -> list[Problem]:
    """Every reference that does not hold, with its place and the nearest name that would.

    `outside` names what other circuits define, so that a missing `needs` can be told from a slip.
    """
    checker = _Checker(knowledge, outside)
    checker.files()
    checker.vocabulary()
    checker.parts()
    checker.wires()
    checker.checks()
    checker.rules()
    checker.remedies()
    return checker.problems


class _Checker:
    def __init__(self, knowledge: Knowledge, outside: Outside) -> None:
        self.know = knowledge
        self.elsewhere = outside.parts | outside.checks | outside.words | outside.remedies | outside.cautions
        self.problems: list[Problem] = []
        self.terminals = frozenset(knowledge.terminals)
        self.words = {
            effect.establish
            for rule in knowledge.rules.values()
            if rule.state != "retired"
            for effect in rule.then
            if effect.establish
        }

    # ------------------------------------------------------------ messages

    def say(self, place: Place, what: str, found: str = "", expected: str = "", mend: str = "") -> None:
        self.problems.append(Problem(place, what, found, expected, mend))

    def known(self, found: str | None, among: Collection[str], word: str, name: str, *loc: str | int) -> None:
        """Report `found` at `loc` of entry `name` unless it is among the known ones or left out."""
        if found is not None and found not in among:
            self._unknown(self.know.spots.place(name, *loc), found, among, word)

    def _unknown(self, place: Place, found: str, among: Collection[str], word: str) -> None:
        mend = _NEEDS if found in self.elsewhere else nearest(found, among)
        if not mend:
            mend = f"Known are {words(among)}." if 0 < len(among) <= 12 else "Correct the name."
        self.say(
            place,
            f"there is no such {word}",
            quoted(found),
            f"the id of a {word} of this vehicle" if word not in ("terminal", "word") else f"a {word} that exists",
            mend,
        )

    def terminal(self, found: str | None, name: str, *loc: str | int, body: bool = False) -> None:
        if found is None or found in self.terminals or (body and found == "body"):
            return
        part, _, _ = found.partition(".")
        place = self.know.spots.place(name, *loc)
        if part in self.know.parts:
            has = terminals_of(self.know.parts[part])
            self.say(
                place,
                f"`{part}` has no such terminal",
                quoted(found),
                words(f"{part}.{terminal}" for terminal in has),
                nearest(found, self.terminals),
            )
        else:
            self.say(
                place,
                "there is no part with this terminal",
                quoted(found),
                "`part.terminal`" + (" or `body`" if body else ""),
                _NEEDS if part in self.elsewhere else nearest(found, self.terminals) or "Correct the name.",
            )

    # ------------------------------------------------------------ whole files

    def files(self) -> None:
        know = self.know
        for circuit, file in know.circuits.items():
            for index, need in enumerate(file.needs):
                if need not in know.circuits:
                    self._unknown(know.spots.files[circuit].place(("needs", index)), need, know.circuits, "circuit")
        kinds = know.spots.files["kinds"]
        for kind, modes in know.kinds.kinds.items():
            if kind not in _KINDS:
                self._unknown(kinds.place(("kinds", kind), key=True), kind, _KINDS, "kind of part")
            for name, mode in modes.items():
                if mode.remedy not in know.kinds.remedies:
                    self._unknown(
                        kinds.place(("kinds", kind, name, "remedy")), mode.remedy, know.kinds.remedies, "remedy form"
                    )
        for verb, form in know.kinds.remedies.items():
            for index, caution in enumerate(form.cautions):
                if caution not in know.cautions:
                    self._unknown(kinds.place(("remedies", verb, "cautions", index)), caution, know.cautions, "caution")
        supply = know.spots.files["supply"]
        if _UNPLUGGED in know.controls:
            self.say(
                supply.place(("controls", _UNPLUGGED), key=True),
                "`unplugged` is always a control",
                "",
                "controls other than it",
                "Take it away.",
            )
        for control, positions in know.controls.items():
            for index, position in enumerate(positions):
                if position in positions[:index]:
                    self.say(
                        supply.place(("controls", control, index)),
                        "a position is given twice",
                        quoted(position),
                        "each position once",
                        "Take one away.",
                    )

    def vocabulary(self) -> None:
        book = self.know.vocabulary
        marked = self.know.spots.files["vocabulary"]
        for word in book.light_limits:
            if word not in book.light:
                self._unknown(marked.place(("light-limits", word), key=True), word, book.light, "word")
        for axis, table in book.misread.items():
            known: tuple[str, ...] = getattr(book, axis)
            for true_word, shares in table.items():
                for loc, word in [((true_word,), true_word), *(((true_word, taken), taken) for taken in shares)]:
                    if word not in known:
                        self._unknown(marked.place(("misread", axis, *loc), key=True), word, known, "word")
                if sum(shares.values()) > 1 or true_word in shares:
                    self.say(
                        marked.place(("misread", axis, true_word), key=True),
                        f"the misreadings of `{true_word}` leave nothing for reading it right",
                        "",
                        "shares of other words that sum to less than 1",
                        "Lower them.",
                    )

    # ------------------------------------------------------------ parts and wires

    def parts(self) -> None:
        for name, part in self.know.parts.items():
            self.known(part.place, self.know.places, "place", name, "place")
            has = terminals_of(part)
            for index, terminal in enumerate(part.sealed):
                self.known(terminal, has, "terminal", name, "sealed", index)
            for index, terminal in enumerate(has):
                if terminal in has[:index]:
                    self.say(
                        self.know.spots.place(name, "terminals", index),
                        "a terminal is given twice",
                        quoted(terminal),
                        "each terminal once",
                        "Take one away.",
                    )
            if isinstance(part, schema.SwitchPart):
                self._contacts(name, part)
            elif isinstance(part, schema.SenderPart):
                for index, position in enumerate(part.closed_when):
                    self.known(
                        position,
                        self.know.controls.get("engine", ()),
                        "position of `engine`",
                        name,
                        "closed-when",
                        index,
                    )
            elif isinstance(part, schema.LampPart) and part.tell_tale and part.colour not in TELL_TALE_COLOURS:
                self.say(
                    self.know.spots.place(name, "colour"),
                    "no tell-tale has this colour",
                    quoted(part.colour),
                    words(TELL_TALE_COLOURS),
                    nearest(part.colour, TELL_TALE_COLOURS),
                )

    def _contacts(self, name: str, part: schema.SwitchPart) -> None:
        self.known(part.control, self.know.controls, "control", name, "control")
        positions = self.know.controls.get(part.control)
        for position, pairs in part.contacts.items():
            if positions is not None and position not in positions:
                self._unknown(
                    self.know.spots.place(name, "contacts", position, key=True),
                    position,
                    positions,
                    f"position of `{part.control}`",
                )
            for index, pair in enumerate(pairs):
                for side, terminal in enumerate(pair):
                    if terminal != "body":
                        self.known(terminal, part.terminals, "terminal", name, "contacts", position, index, side)
                if pair[0] == pair[1]:
                    self.say(
                        self.know.spots.place(name, "contacts", position, index),
                        "a contact joins a terminal to itself",
                        quoted(f"{pair[0]}, {pair[1]}"),
                        "two different terminals",
                        "Correct one of them.",
                    )

    def wires(self) -> None:
        colours = self.know.vocabulary.wire_colours
        for name, wire in self.know.wires.items():
            self.terminal(wire.from_, name, "from")
            self.terminal(wire.to, name, "to")
            if wire.from_ == wire.to:
                self.say(
                    self.know.spots.place(name, "to"),
                    "a wire joins a terminal to itself",
                    quoted(wire.to),
                    "two different terminals",
                    "Correct one of them.",
                )
            named = wire.colour.split("/")
            for colour in named[:2]:
                self.known(colour, colours, "wire colour", name, "colour")
            if len(named) > 2:
                self.say(
                    self.know.spots.place(name, "colour"),
                    "a wire has one colour and at most one tracer",
                    quoted(wire.colour),
                    "such as `black` or `black/white`",
                    "Leave the rest out.",
                )

    # ------------------------------------------------------------ checks

    def checks(self) -> None:
        for name, check in self.know.checks.items():
            self.known(check.place, self.know.places, "place", name, "place")
            self.known(check.target, self.know.parts, "part", name, "target")
            self.known(check.caution, self.know.cautions, "caution", name, "caution")
            self.terminal(check.red, name, "red", body=True)
            self.terminal(check.black, name, "black", body=True)
            if check.red is not None and check.red == check.black:
                self.say(
                    self.know.spots.place(name, "black"),
                    "both probes are on one terminal",
                    quoted(check.red),
                    "two different terminals",
                    "Correct one of them.",
                )
            through = self.know.parts.get(check.through or "")
            if check.through not in self.know.wires and not isinstance(through, schema.FusePart):
                fuses = [other for other, part in self.know.parts.items() if isinstance(part, schema.FusePart)]
                self.known(check.through, fuses + list(self.know.wires), "fuse or wire", name, "through")
            limits = check.limits
            if limits and limits.min is not None and limits.max is not None and limits.min > limits.max:
                self.say(
                    self.know.spots.place(name, "limits"),
                    "the lower limit is above the upper",
                    f"{limits.min:g} and {limits.max:g}",
                    "`min` below `max`",
                    "Swap them.",
                )
            self._operate(name, check.operate)
            self._usual(name, check)
            for value, count in Counter(choice.value for choice in check.choices).items():
                if count > 1:
                    self.say(
                        self.know.spots.place(name, "choices"),
                        "a choice is given twice",
                        quoted(value),
                        "each value once",
                        "Take one away.",
                    )

    def _operate(self, name: str, operate: Mapping[str, str]) -> None:
        for control, position in operate.items():
            if control == _UNPLUGGED:
                self.terminal(position, name, "operate", control)
            elif control not in self.know.controls:
                self._unknown(
                    self.know.spots.place(name, "operate", control, key=True),
                    control,
                    [*self.know.controls, _UNPLUGGED],
                    "control",
                )
            else:
                self.known(position, self.know.controls[control], f"position of `{control}`", name, "operate", control)

    def _usual(self, name: str, check: schema.Check) -> None:
        if check.target is not None and check.target not in self.know.parts:
            return  # what its words are is unknown; the target has been told
        known = answers(self.know, check)
        lamp = check.kind == "look" and _is_lamp(self.know, check)
        for answer in check.usual:
            light, slash, rhythm = answer.partition("/")
            if check.kind == "measure":
                self.say(
                    self.know.spots.place(name, "usual", answer, key=True),
                    "a measurement has no usual answers",
                    quoted(answer),
                    "",
                    "Take `usual` away; give `limits` instead.",
                )
            elif light not in known or (slash and not lamp):
                self._unknown(self.know.spots.place(name, "usual", answer, key=True), answer, known, "word")
            elif slash and rhythm not in self.know.vocabulary.rhythm:
                self._unknown(
                    self.know.spots.place(name, "usual", answer, key=True), rhythm, self.know.vocabulary.rhythm, "word"
                )
        total = sum(check.usual.values())
        if total > 1.001:
            self.say(
                self.know.spots.place(name, "usual"),
                "the usual shares sum to more than 1",
                f"{total:.3g}",
                "at most 1",
                "Lower them.",
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
        if check.target is not None and check.target not in self.know.parts:
            return
        lamp = check.kind == "look" and _is_lamp(self.know, check)
        known = answers(self.know, check)
        about = f"`{check.id}` is a {check.kind} {'of a lamp' if lamp else ''}".strip()
        for key, test, vocabulary in (
            ("light", condition.light, self.know.vocabulary.light),
            ("rhythm", condition.rhythm, self.know.vocabulary.rhythm),
        ):
            if test is not None and not lamp:
                self.say(
                    self.know.spots.place(name, *at, key),
                    f"{about}, which has no `{key}`",
                    quoted(test),
                    "`below`, `above` or `between`" if check.kind == "measure" else "`is` or `is-not`",
                    "Use these, or name a look at a lamp.",
                )
            elif test is not None:
                self.known(split_word(test)[1], vocabulary, "word", name, *at, key)
        for key, test in (("is", condition.is_), ("is-not", condition.is_not)):
            if test is None:
                continue
            if lamp or not known:
                self.say(
                    self.know.spots.place(name, *at, key),
                    f"{about}, which takes no `{key}`",
                    quoted(test),
                    "`light` or `rhythm`" if lamp else "`below`, `above` or `between`",
                    "Use these.",
                )
            else:
                self.known(test, known, "word", name, *at, key)
        for key, number in (("below", condition.below), ("above", condition.above), ("between", condition.between)):
            if number is not None and check.kind != "measure":
                self.say(
                    self.know.spots.place(name, *at, key),
                    f"{about}, which is answered by a word, not a number",
                    f"`{key}`",
                    words(known),
                    "Test for a word, or name a measurement.",
                )
        low, high = condition.between or (condition.above, condition.below)
        if low is not None and high is not None and low >= high:
            self.say(
                self.know.spots.place(name, *at),
                "no number can satisfy this",
                f"above {low:g} and below {high:g}",
                "the lower bound first",
                "Swap them.",
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
                    "a rule's id begins with its circuit",
                    quoted(name),
                    f"`{circuit}/...`",
                    "Correct the id.",
                )
            self.conditions(name, rule.when, "when")
            for index, effect in enumerate(rule.then):
                self.known(effect.ask, self.know.checks, "check", name, "then", index, "ask")
                self.known(effect.warn, self.know.cautions, "caution", name, "then", index, "warn")
                self.known(effect.stop, self.know.cautions, "caution", name, "then", index, "stop")
            self.known(rule.replaced_by, self.know.rules, "rule", name, "replaced-by")
            if rule.state == "retired" and rule.replaced_by == name:
                self.say(self.know.spots.place(name, "replaced-by"), "a rule cannot replace itself", quoted(name))
        self._cycles()

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
                "intermediate conclusions rest on each other in a ring",
                " from ".join(f"`{word}`" for word in ring),
                "a chain with a beginning",
                "Take one `established` out of the ring.",
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
