"""What is asked of a vehicle: the questions of the rules folder, joined with the options of all circuits.

Knows files and their shape; nothing of who answers, nor of what follows from an answer.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import Field, StringConstraints, model_validator

from diag.errors import KnowledgeError, Problem
from diag.knowledge import schema
from diag.knowledge.layers import Layer
from diag.knowledge.load import load_circuits, stacked
from diag.knowledge.names import nearest, quoted, words
from diag.knowledge.reader import Marked, read_yaml
from diag.knowledge.scalars import Bool, Id, Metres, Model, Positive, Text
from diag.knowledge.translate import validate
from diag.texts import t

__all__ = ["MOST_CHOICES", "Catalogue", "Offered", "Question", "QuestionsFile", "Sets", "Sort"]

MOST_CHOICES = 9
"""One key answers: digits 1 to 9."""
NEEDED = ("sort", "title", "system-v", "earth", "history", "length", "engine", "fitted")
"""Questions that the program itself refers to."""

Choice = Annotated[str, StringConstraints(pattern=r"^[a-z0-9]+(-[a-z0-9]+)*$", max_length=60)]
Choices = Annotated[Mapping[Choice, Text], Field(min_length=2, max_length=MOST_CHOICES)]
Part = Annotated[float, Field(ge=0, le=1)]


class Sets(Model):
    """What an answer changes: `key` of the parts named, or of all of a `kind`. `values` by choice; a choice
    that is not named changes nothing. `unless`: not where one of these circuits is fitted."""

    of: tuple[Id, ...] = ()
    kind: Id | None = None
    section: Literal["parts", "fuses", "earths", "checks"] = "parts"
    key: Id
    values: Mapping[Choice, Text | tuple[Text, ...]]
    unless: tuple[Id, ...] = ()

    @model_validator(mode="after")
    def _one_way(self) -> Sets:
        if bool(self.of) == (self.kind is not None):
            raise ValueError(t("expected either `of` or `kind`"))
        return self


class Question(Model):
    """One question. It takes a choice, a text (`text` is what goes without saying) or an amount of a unit.

    `from`: its choices, or its usual amount, are those of the sorts. `sorts`: asked of these only, of all where
    none is named. `circuits`: only where one of them is fitted. `answered`: only where other questions were
    answered so. `moves`: places (share of the overall length from the front) that a choice moves. `lists`: what
    stands above it."""

    id: Id
    ask: Text
    note: Text | None = None
    from_: Literal["sorts"] | None = None
    choices: Mapping[Choice, Text] = {}
    text: Text | None = None
    amount: Literal["m"] | None = None
    least: Metres | None = None
    most: Metres | None = None
    sorts: tuple[Id, ...] = ()
    circuits: tuple[Id, ...] = ()
    answered: Mapping[Id, Choice] = {}
    lists: Literal["circuits"] | None = None
    sets: tuple[Sets, ...] = ()
    moves: Mapping[Choice, Mapping[Id, Part]] = {}

    @model_validator(mode="after")
    def _answerable(self) -> Question:
        chosen = bool(self.choices) or (self.from_ is not None and self.amount is None)
        if sum((chosen, self.text is not None, self.amount is not None)) != 1:
            raise ValueError(t("expected one of `choices`, `text` and `amount`"))
        if self.choices and not 2 <= len(self.choices) <= MOST_CHOICES:
            raise ValueError(t("expected 2 to {most_choices} choices, for one key each", most_choices=MOST_CHOICES))
        if self.amount is not None and (self.least is None or self.most is None):
            raise ValueError(t("an amount needs `least` and `most`; expected both"))
        return self


class Sort(Model):
    """A sort of vehicle: its usual overall length and circuits. `alone`: it can have no others, and no other
    sort can have these. `places`: its words for where a person stands."""

    title: Text
    length: Metres
    circuits: tuple[Id, ...]
    alone: Bool = False
    places: Mapping[Id, Text] = {}


class QuestionsFile(Model):
    """rules/questions.yaml. `stands`: places as shares of the overall length from the front, on the vehicle of
    `length` whose wires the circuits describe."""

    sorts: Annotated[Mapping[Id, Sort], Field(min_length=2, max_length=MOST_CHOICES)]
    questions: tuple[Question, ...]
    stands: Mapping[Id, Part]
    length: Metres
    wheelbase_to_length: Positive


@dataclass(frozen=True)
class Offered:
    """A circuit as far as one may choose it. `used_with`: for each option, the sets of other choices (name to
    values) under which it makes a difference."""

    circuit: str
    title: str
    needs: tuple[str, ...]
    options: Mapping[str, schema.Option]
    used_with: Mapping[str, tuple[Mapping[str, tuple[str, ...]], ...]]


@dataclass(frozen=True)
class Catalogue:
    """Everything that may be asked: the questions, and the circuits with `supply` first."""

    file: QuestionsFile
    circuits: Mapping[str, Offered]
    layers: tuple[Layer, ...]

    @staticmethod
    def read(rules: Path | None = None) -> Catalogue:
        """From every layer of this machine, or from one rules folder alone; the questions are those of the lowest
        layer. Raises KnowledgeError with every problem."""
        layers = stacked(rules, None)
        marked = read_yaml(layers[0].folder / "questions.yaml")
        file, problems = validate(QuestionsFile, marked)
        models = load_circuits(layers=layers)
        circuits = {
            name: Offered(
                name,
                model.title,
                model.needs,
                model.options,
                {o: tuple(_used_with(name, o, models)) for o in model.options},
            )
            for name, model in models.items()
        }
        if file is not None:
            problems += _check(file, marked, circuits)
        if problems or file is None:
            raise KnowledgeError(problems)
        return Catalogue(file, circuits, layers)

    def question(self, name: str) -> Question:
        """A question of the file by its id. Raises KeyError."""
        return next(question for question in self.file.questions if question.id == name)


def _used_with(
    circuit: str, option: str, models: Mapping[str, schema.CircuitFile]
) -> Iterator[Mapping[str, tuple[str, ...]]]:
    """What else must hold in every variant that asks for this option; names in full, `circuit.option`."""
    for owner, model in models.items():
        for variant in model.variants:
            whole = {_full(owner, name): tuple(values) for name, values in variant.only.items()}
            if whole.pop(f"{circuit}.{option}", None) is not None:
                yield whole if owner == circuit else {"circuit": (owner,), **whole}


def _full(owner: str, name: str) -> str:
    return name if "." in name or name in ("earth", "system-v", "circuit") else f"{owner}.{name}"


def _check(file: QuestionsFile, marked: Marked, circuits: Mapping[str, Offered]) -> list[Problem]:
    """References that lead nowhere."""
    problems: list[Problem] = []
    known = [question.id for question in file.questions]

    def say(loc: tuple[Any, ...], what: str, found: str, among: list[str], *, key: bool = False) -> None:
        place = marked.place(loc, key=key)
        problems.append(Problem(place, what, quoted(found), words(among), nearest(found, among), "unknown-id"))

    for name in NEEDED:
        if name not in known:
            problems.append(
                Problem(
                    marked.place(("questions",)), t("the question `{name}` is missing", name=name), code="missing-key"
                )
            )
    for name, one in file.sorts.items():
        for place, circuit in enumerate(one.circuits):
            if circuit not in circuits:
                say(("sorts", name, "circuits", place), t("there is no such circuit"), circuit, list(circuits))
    for index, question in enumerate(file.questions):
        at = ("questions", index)
        if question.id in known[:index]:
            say((*at, "id"), t("the question's id is given twice"), question.id, [t("an id of its own")])
        for place, sort in enumerate(question.sorts):
            if sort not in file.sorts:
                say((*at, "sorts", place), t("there is no such sort"), sort, list(file.sorts))
        for place, circuit in enumerate(question.circuits):
            if circuit not in circuits:
                say((*at, "circuits", place), t("there is no such circuit"), circuit, list(circuits))
        for other, value in question.answered.items():
            earlier = {q.id: q for q in file.questions[:index]}
            if other not in earlier:
                say(
                    (*at, "answered", other),
                    t("no question before this one has this id"),
                    other,
                    list(earlier),
                    key=True,
                )
            elif value not in earlier[other].choices:
                say((*at, "answered", other), t("it has no such choice"), value, list(earlier[other].choices))
        for choice, moved in question.moves.items():
            if choice not in question.choices:
                say((*at, "moves", choice), t("there is no such choice"), choice, list(question.choices), key=True)
            for stand in moved:
                if stand not in file.stands:
                    say((*at, "moves", choice, stand), t("there is no such place"), stand, list(file.stands), key=True)
        for place, sets in enumerate(question.sets):
            for choice in sets.values:
                if choice not in question.choices:
                    loc = (*at, "sets", place, "values", choice)
                    say(loc, t("there is no such choice"), choice, list(question.choices), key=True)
    return problems
