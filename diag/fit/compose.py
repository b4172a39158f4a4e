"""From answers to a vehicle: its circuits, options and size, what differs from the circuits, and its file.

What follows from an answer is worked out on the vehicle as the circuits have it; nothing is asked here.
"""

from __future__ import annotations

import re
import tempfile
import textwrap
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from diag.calc.copper import wire_ohm
from diag.fit.interview import Answers, fitted, length_m, path, sort_of
from diag.fit.keeping import scalar
from diag.fit.matter import Loss, losses, together
from diag.fit.questions import Catalogue, Sets
from diag.fit.words import length_words, report, section_words
from diag.knowledge.assemble import Knowledge
from diag.knowledge.load import load_knowledge
from diag.knowledge.sizes import SECTIONS_MM2

__all__ = ["Made", "make_vehicle", "vehicle_id"]

_COLUMNS = 100
_SHORTEST_M = 0.1
_NEAR = 0.02
"""Share of the overall length below which a place has not moved."""
_MOST_LOST = 0.02
"""Share of its volts that a load may lose when one wire is twice as long (common practice, no source)."""
Overrides = dict[str, dict[str, dict[str, Any]]]
"""Section to id to key to value, as a vehicle's file has them."""


@dataclass(frozen=True)
class Made:
    """A vehicle's file and what it tells: `text` loads as `knowledge`; `told` says what the guesses matter."""

    text: str
    knowledge: Knowledge
    told: tuple[str, ...]


@dataclass
class _Written:
    """What goes into the file."""

    head: list[str]
    choices: list[str]
    overrides: Overrides = field(default_factory=dict)
    told: Sequence[str] = ()

    def text(self) -> str:
        lines = [*self.head, *self.choices]
        if self.overrides:
            lines += ["overrides:                   # where this vehicle differs from what the circuits describe"]
            for section, entries in self.overrides.items():
                lines.append(f"  {section}:")
                lines += [f"    {name}: {_flow(entry)}" for name, entry in entries.items()]
        for sentence in self.told:
            lines += textwrap.wrap(sentence, _COLUMNS, initial_indent="# ", subsequent_indent="#   ")
        return "\n".join(lines) + "\n"


def vehicle_id(title: str) -> str:
    """An id from a name: lower case letters, digits and hyphens."""
    return re.sub(r"[^a-z0-9]+", "-", title.lower()).strip("-")[:50].strip("-") or "my-vehicle"


def make_vehicle(catalogue: Catalogue, answers: Answers) -> Made:
    """The vehicle that the answers describe; what is not answered is as usual.

    Raises KnowledgeError where the circuits of the rules folder do not go together."""
    whole = {asked.id: answers.get(asked.id, asked.typical) for asked in path(catalogue, answers)}
    written = _Written(list(_head(catalogue, whole)), list(_choices(catalogue, whole)))
    plain = _loaded(catalogue, written.text())
    written.overrides = _overrides(catalogue, whole, plain)
    knowledge = _loaded(catalogue, written.text()) if written.overrides else plain
    found = losses(knowledge, knowledge.wires)
    thicker = _thick_enough(knowledge, found)
    if thicker:
        wires = written.overrides.setdefault("wires", {})
        for name, section in thicker.items():
            wires.setdefault(name, {})["section-mm2"] = section_words(section)
        knowledge = _loaded(catalogue, written.text())
        found = losses(knowledge, knowledge.wires)
    written.told = report(knowledge, found, together(knowledge, list(knowledge.wires)))
    return Made(written.text(), knowledge, tuple(written.told))  # only comments came after it was loaded


def _loaded(catalogue: Catalogue, text: str) -> Knowledge:
    with tempfile.TemporaryDirectory(prefix="diag-") as folder:
        file = Path(folder) / "vehicle.yaml"
        file.write_text(text, encoding="utf-8")
        return load_knowledge(file, layers=catalogue.layers)


# ---------------------------------------------------------------- what was answered


def _head(catalogue: Catalogue, answers: Answers) -> Iterator[str]:
    title = answers["title"]
    yield "# Written by `diag vehicle new`. Lengths and sections of wires are typical ones until somebody measures:"
    yield "# then give them under `overrides: wires:` and name under `assumed:` only the wires that are left."
    yield f"vehicle: {vehicle_id(title)}"
    yield f"title: {scalar(title)}"
    yield f"system-v: {answers['system-v']} V"
    yield f"earth: {answers.get('earth', 'negative')}"
    yield f"history: {answers['history']}"
    words = sort_of(catalogue, answers).places
    if words:
        yield "places:"
        yield from (f"  {place}: {scalar(text)}" for place, text in words.items())


def _choices(catalogue: Catalogue, answers: Answers) -> Iterator[str]:
    circuits = fitted(catalogue, answers)
    yield "circuits:"
    for circuit in circuits:
        yield f"  - {circuit:24} # {catalogue.circuits[circuit].title}"
    chosen: dict[str, list[str]] = {}
    for asked in path(catalogue, answers):
        circuit, _, option = asked.id.partition(".")
        if option and circuit != "fitted":
            value = answers.get(asked.id, asked.typical)
            chosen.setdefault(circuit, []).append(
                f"    {option + ': ' + value:24} # {asked.text}: {asked.choices[value]}"
            )
    if chosen:
        yield "options:"
        for circuit, lines in chosen.items():
            yield f"  {circuit}:"
            yield from lines
    metres, usual = length_m(catalogue, answers), catalogue.file.length
    factor = max(0.05, round(metres / usual, 2))
    yield f"length-factor: {factor:<14g}# {length_words(metres)} overall; the circuits' wires are those of {usual:g} m"
    yield "assumed: all"


# ---------------------------------------------------------------- what follows


def _overrides(catalogue: Catalogue, answers: Answers, plain: Knowledge) -> Overrides:
    out: Overrides = {}
    for question in catalogue.file.questions:
        value = answers.get(question.id, "")
        for sets in question.sets:
            if value in sets.values and not set(sets.unless) & set(plain.circuits):
                for name in _meant(sets, plain):
                    given = sets.values[value]
                    entry = out.setdefault(sets.section, {}).setdefault(name, {})
                    entry[sets.key] = given if isinstance(given, str) else list(given)
    for section, entries in out.items():  # of what is not there nothing else is said
        out[section] = {n: {"fitted": e["fitted"]} if "fitted" in e else e for n, e in entries.items()}
    lengths = _moved_lengths(catalogue, answers, plain, out)
    if lengths:
        out["wires"] = {name: {"length-m": length_words(metres)} for name, metres in lengths.items()}
    return out


def _meant(sets: Sets, plain: Knowledge) -> list[str]:
    """The ids that this vehicle has of those that an answer changes."""
    there: set[str] = set()
    for file in plain.circuits.values():
        found = getattr(file, sets.section)
        there |= {check.id for check in found} if sets.section == "checks" else set(found)
    if sets.kind is None:
        return [name for name in sets.of if name in there]
    return [name for name, part in plain.parts.items() if part.kind == sets.kind and name in there]


def _moved_lengths(catalogue: Catalogue, answers: Answers, plain: Knowledge, overrides: Overrides) -> dict[str, float]:
    """Metres of every wire whose ends stand nearer to each other, or farther apart, than in the circuits."""
    usual = catalogue.file.stands
    stands = dict(usual)
    for question in catalogue.file.questions:
        stands.update(question.moves.get(answers.get(question.id, ""), {}))
    metres = length_m(catalogue, answers)

    def place(end: str, *, new: bool) -> str:
        part = end.partition(".")[0]
        if new:
            for section in overrides.values():
                if "place" in section.get(part, {}):
                    return str(section[part]["place"])
        return plain.parts[part].place

    def apart(from_: str, to: str, at: Mapping[str, float], *, new: bool) -> float | None:
        ends = place(from_, new=new), place(to, new=new)
        return abs(at[ends[0]] - at[ends[1]]) if all(end in at for end in ends) else None

    gone = {name for section in overrides.values() for name, entry in section.items() if "fitted" in entry}
    found = {}
    for name, wire in plain.wires.items():
        if gone & {wire.from_.split(".")[0], wire.to.split(".")[0]}:
            continue
        before = apart(wire.from_, wire.to, usual, new=False)
        now = apart(wire.from_, wire.to, stands, new=True)
        if before is not None and now is not None and abs(now - before) > _NEAR:
            found[name] = max(_SHORTEST_M, round(wire.length_m + (now - before) * metres, 1))
    return found


def _thick_enough(knowledge: Knowledge, found: Sequence[Loss]) -> dict[str, float]:
    """Sections in mm2 for the wires that are too thin for their length: whoever builds a long vehicle, or one of
    few volts, takes the next ones up until twice the length costs no load more than a few per cent."""
    out = {}
    for loss in found:
        wire = knowledge.wires[loss.wire]
        own = wire_ohm(wire.section_mm2, 1.0)
        fit = (size for size in SECTIONS_MM2 if loss.share * wire_ohm(size, 1.0) / own <= _MOST_LOST)
        section = next(fit, SECTIONS_MM2[-1])
        if section > wire.section_mm2 * 1.001:
            out[loss.wire] = section
    return out


# ---------------------------------------------------------------- as YAML


def _flow(entry: Mapping[str, Any]) -> str:
    return "{" + ", ".join(f"{key}: {_value(value)}" for key, value in entry.items()) + "}"


def _value(value: Any) -> str:
    if isinstance(value, list):
        return "[" + ", ".join(scalar(one) for one in value) + "]"
    return scalar(str(value))
