"""Which question comes next, and whether an answer will do: a pure function of the answers so far.

Knows nothing of screens, files of answers or what follows from an answer.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field

from diag.fit.questions import Catalogue, Offered, Question, Sort
from diag.knowledge.names import nearest, words
from diag.knowledge.units import UnitError, parse_quantity
from diag.texts import t

__all__ = ["Answers", "Asked", "fitted", "known_ids", "length_m", "next_asked", "path", "read_answer", "sort_of"]

Answers = Mapping[str, str]
"""Question id to what was answered: a choice's value, a text, an amount with its unit."""
_LONGEST_TEXT = 80
_YES_NO = {"yes": "yes", "no": "no"}
ALWAYS = "supply"


@dataclass(frozen=True)
class Asked:
    """One question as it is put. `typical` is what a bare Enter answers. `choices`: value to words; none for a
    text or an amount (`unit` between `least` and `most`). `accept`: what makes an answer of a text, or raises
    ValueError that says what is expected; `labels`: words for what it may make."""

    id: str
    text: str
    typical: str
    choices: Mapping[str, str]
    note: str | None = None
    above: str | None = None
    unit: str | None = None
    least: float = 0.0
    most: float = 0.0
    accept: Callable[[str], str] | None = None
    labels: Mapping[str, str] = field(default_factory=dict)

    def told(self, value: str) -> str:
        """An answer as it is said back."""
        return self.choices.get(value) or self.labels.get(value, value)


def next_asked(catalogue: Catalogue, answers: Answers) -> Asked | None:
    """The first question that is still to be answered; None where all are."""
    return next((asked for asked in path(catalogue, answers) if asked.id not in answers), None)


def path(catalogue: Catalogue, answers: Answers) -> Iterator[Asked]:
    """All questions in their order; what is not answered counts as answered with its typical value."""
    filled: dict[str, str] = {}

    def put(asked: Asked) -> Asked:
        filled[asked.id] = answers.get(asked.id, asked.typical)
        return asked

    waiting: list[Question] = []
    for question in catalogue.file.questions:
        if question.circuits or question.answered:
            waiting.append(question)
            continue
        if not question.sorts or filled["sort"] in question.sorts:
            yield put(_as_asked(catalogue, question, filled))
        if question.id == "fitted":
            if filled.get("fitted") == "each":
                for asked in _each_circuit(catalogue, filled):
                    yield put(asked)
            for circuit in (ALWAYS, *fitted(catalogue, filled)):
                offered = catalogue.circuits[circuit]
                for option in offered.options:
                    if _matters(catalogue, offered, option, filled):
                        yield put(_option(offered, option, filled))
    there = fitted(catalogue, filled)
    for question in waiting:
        if question.sorts and filled["sort"] not in question.sorts:
            continue
        if question.circuits and not set(question.circuits) & set(there):
            continue
        if all(filled.get(other) == value for other, value in question.answered.items()):
            yield put(_as_asked(catalogue, question, filled))


def known_ids(catalogue: Catalogue) -> list[str]:
    """Every question id that any path may come by."""
    ids = [question.id for question in catalogue.file.questions]
    for circuit, offered in catalogue.circuits.items():
        ids += [f"fitted.{circuit}"] if circuit != ALWAYS else []
        ids += [f"{circuit}.{option}" for option in offered.options]
    return ids


def sort_of(catalogue: Catalogue, answers: Answers) -> Sort:
    """The sort of vehicle that was chosen, the first one by default."""
    sorts = catalogue.file.sorts
    return sorts.get(answers.get("sort", ""), next(iter(sorts.values())))


def fitted(catalogue: Catalogue, answers: Answers) -> tuple[str, ...]:
    """The circuits that the answers give the vehicle, with those that they need, in the order of asking."""
    usual = sort_of(catalogue, answers).circuits
    if answers.get("fitted") == "each":
        chosen = [circuit for circuit in _order(catalogue, answers) if answers.get(f"fitted.{circuit}") == "yes"]
    else:
        chosen = list(usual)
    whole = _with_needs(catalogue, chosen)
    return tuple(circuit for circuit in _order(catalogue, answers) if circuit in whole)


def length_m(catalogue: Catalogue, answers: Answers) -> float:
    """Overall length in m; a wheelbase is taken for what it usually belongs to."""
    given = answers.get("length", f"{sort_of(catalogue, answers).length:g} m").strip()
    wheelbase = given[:1] in "wW"
    metres = parse_quantity(given[1:] if wheelbase else given, "m", bare=True)
    return round(metres * catalogue.file.wheelbase_to_length, 2) if wheelbase else metres


def read_answer(asked: Asked, typed: str) -> str:
    """What was typed as a value: a digit, a choice's value or its words, a text, an amount; a bare Enter is
    the typical one. Raises ValueError that says what is expected."""
    typed = typed.strip()
    if asked.accept is not None:
        return asked.accept(typed or asked.typical)
    if not typed:
        return asked.typical
    if asked.choices:
        return _choice(asked, typed)
    if asked.unit is None:
        if len(typed) > _LONGEST_TEXT or not typed.isprintable():
            raise ValueError(
                t("expected at most {longest_text} plain letters, digits and signs", longest_text=_LONGEST_TEXT)
            )
        return typed
    wheelbase = typed[:1] in "wW"
    try:
        amount = parse_quantity(typed[1:] if wheelbase else typed, asked.unit, bare=True)
    except UnitError as error:
        raise ValueError(str(error)) from None
    if not asked.least <= amount <= asked.most:
        raise ValueError(
            t("expected {least:g} to {most:g} {unit}", least=asked.least, most=asked.most, unit=asked.unit)
        )
    return f"{'w ' if wheelbase else ''}{amount:g} {asked.unit}"


def _choice(asked: Asked, typed: str) -> str:
    values = list(asked.choices)
    plain = typed.lower()
    if typed.isascii() and typed.isdigit() and plain not in values:
        if 1 <= int(typed) <= len(values):
            return values[int(typed) - 1]
        raise ValueError(t("expected 1 to {count}", count=len(values)))
    for value, label in asked.choices.items():
        if plain in (value.lower(), label.lower()):
            return value
    close = nearest(plain, values)
    raise ValueError(
        t(
            "expected 1 to {count}, or {values}{value}",
            count=len(values),
            values=words(values),
            value=f". {close}" if close else "",
        )
    )


# ---------------------------------------------------------------- from file to question


def _as_asked(catalogue: Catalogue, question: Question, filled: Answers) -> Asked:
    sort = sort_of(catalogue, filled)
    choices = dict(question.choices)
    if question.from_ == "sorts" and question.amount is None:
        choices = {name: one.title for name, one in catalogue.file.sorts.items()}
    above = None
    if question.lists == "circuits":
        named = fitted(catalogue, {"sort": filled.get("sort", ""), "fitted": "usual"})
        titles = "; ".join(catalogue.circuits[circuit].title for circuit in named)
        above = t("Usual: {titles}.", titles=titles)
    typical = question.text or next(iter(choices), "")
    if question.amount is not None:
        typical = f"{sort.length:g} {question.amount}" if question.from_ else f"{question.least:g} {question.amount}"
    return Asked(
        question.id,
        question.ask,
        typical,
        choices,
        question.note,
        above,
        question.amount,
        question.least or 0.0,
        question.most or 0.0,
    )


def _option(offered: Offered, name: str, answers: Answers) -> Asked:
    option = offered.options[name]
    chosen = {other: next(iter(one.choices)) for other, one in offered.options.items()}
    chosen |= {
        other: answers[f"{offered.circuit}.{other}"] for other in chosen if f"{offered.circuit}.{other}" in answers
    }
    possible = option.possible(chosen)
    return Asked(f"{offered.circuit}.{name}", option.title, next(iter(possible)), possible)


def _each_circuit(catalogue: Catalogue, filled: dict[str, str]) -> Iterator[Asked]:
    usual = sort_of(catalogue, filled).circuits
    for circuit in _order(catalogue, filled):
        yes = [other for other in _order(catalogue, filled) if filled.get(f"fitted.{other}") == "yes"]
        if circuit in _with_needs(catalogue, yes) and circuit not in yes:
            continue  # another one cannot be without it
        typical = "yes" if circuit in usual else "no"
        choices = _YES_NO if typical == "yes" else dict(reversed(_YES_NO.items()))
        yield Asked(f"fitted.{circuit}", f"{catalogue.circuits[circuit].title}?", typical, choices)


def _order(catalogue: Catalogue, answers: Answers) -> list[str]:
    """The usual ones of the sort first, then all others that it can have."""
    sort = sort_of(catalogue, answers)
    if sort.alone:
        return list(sort.circuits)
    taken = {ALWAYS, *sort.circuits}
    taken |= {circuit for other in catalogue.file.sorts.values() if other.alone for circuit in other.circuits}
    return [*sort.circuits, *(name for name in catalogue.circuits if name not in taken)]


def _with_needs(catalogue: Catalogue, chosen: list[str]) -> set[str]:
    whole: set[str] = set()
    waiting = list(chosen)
    while waiting:
        circuit = waiting.pop()
        if circuit not in whole and circuit in catalogue.circuits and circuit != ALWAYS:
            whole.add(circuit)
            waiting += catalogue.circuits[circuit].needs
    return whole


def _matters(catalogue: Catalogue, offered: Offered, option: str, filled: Answers) -> bool:
    """Whether any variant that asks for this option can still hold."""
    there = (ALWAYS, *fitted(catalogue, filled))

    def holds(name: str, values: tuple[str, ...]) -> bool:
        if name == "circuit":
            return bool(set(values) & set(there))
        circuit, dot, _ = name.partition(".")
        if dot and circuit not in there:
            return False
        return name not in filled or filled[name] in values

    return any(all(holds(*one) for one in ways.items()) for ways in offered.used_with[option])
