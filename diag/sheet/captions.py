"""What is written in a drawing: at terminals, under the titles of parts, beside wires. Knows nothing of places.

`plain` leaves out all that is computed: then it is a diagram of the wiring, not of a state.
"""

from __future__ import annotations

from diag.knowledge.assemble import spelled_end
from diag.sheet.figures import FAULTY, Figures
from diag.sheet.marks import Marks
from diag.sheet.numbers import wire_numbers
from diag.sheet.plan import Box, Run
from diag.sheet.table import Rows, Sheet
from diag.sheet.ways import Ways, end_part, end_terminal
from diag.texts import t

__all__ = ["Captions", "Words"]

Words = list[tuple[str, bool]]
"""Lines of text, bold where True."""


class Captions:
    """The words of one circuit's drawing. `sheet`: the same circuit's rows."""

    def __init__(self, figures: Figures, ways: Ways, circuit: str, marks: Marks, sheet: Sheet, *, plain: bool) -> None:
        self._figures, self._ways, self._marks, self._sheet = figures, ways, marks, sheet
        self._knowledge = figures.knowledge
        self._rows = Rows(figures, ways, (circuit,))
        self._plain = plain
        self._wire_numbers = wire_numbers(self._knowledge)
        self.faults = {cause.subject: i + 1 for i, cause in enumerate(figures.causes)}
        """Numbers of the faults shown, by what they are of."""

    def pin(self, end: str) -> Words:
        """Below a terminal's name: volts, the healthy ones, what was read there."""
        marked = [(line, True) for line in self._marks.at(end)]
        if self._plain:
            return marked
        row = self._rows.point(end)
        if not row.healthy:
            return [(row.volts, False), *marked]
        healthy = row.healthy.partition(",")[0]
        was = [(f"({healthy})", False)] if healthy != row.volts else []
        return [(f"! {row.volts}", True), *was, *marked]

    def part(self, box: Box) -> Words:
        """Under a part's title: what it shows, its fault, and whose it is."""
        words = [] if self._plain else self._state(box.part)
        if box.part in self.faults:
            words.append((t("FAULT {faults}", faults=self.faults[box.part]), True))
        words += [(line, True) for line in self._marks.at(box.part)]
        if box.guest:
            words.append(
                (t("see: {title}", title=self._knowledge.circuits[self._knowledge.circuit_of[box.part]].title), False)
            )
        return words

    def _state(self, part: str) -> Words:
        words: Words = []
        for seen in (*self._sheet.lamps, *self._sheet.motors, *self._sheet.sounds):
            if end_part(seen.id) == part:
                name = end_terminal(seen.id)
                now = f"{name}: {seen.now}" if name else seen.now
                words.append((f"! {now}" if seen.healthy else now, True))
                if seen.healthy:
                    words.append((f"({seen.healthy})", False))
        if self._knowledge.parts[part].kind == "fuse":
            amps, healthy = self._rows.amps(part, 1.0)
            words += [(f"! {amps}", True), (f"({healthy})", False)] if healthy else [(amps, False)]
            if part in self._figures.blown[FAULTY]:
                words.append((t("BLOWN"), True))
        return words

    def wire(self, run: Run) -> Words:
        """Beside a wire: colour, number, section, amps, its fault; of a stub, where it goes."""
        wire = self._knowledge.wires[run.wire]
        words: Words = [(wire.colour, False), (f"{self._wire_numbers[run.wire]} {wire.section_mm2:g} mm²", False)]
        if not self._plain:
            row = self._rows.wire(run.wire)
            words += [(f"! {row.amps}", True), (f"({row.healthy})", False)] if row.healthy else [(row.amps, False)]
        if run.wire in self.faults:
            words.append((t("FAULT {faults}", faults=self.faults[run.wire]), True))
        if run.wire in self._figures.blown[FAULTY]:
            words.append((t("BURNS"), True))
        words += [(line, True) for line in self._marks.at(run.wire)]
        if not run.b:
            upper, lower = self._ways.wires[run.wire]
            word, other = ("to", lower) if run.a == upper else ("from", upper)
            parts = self._knowledge.parts
            words.append((f"{word} {parts[end_part(other)].title} {spelled_end(parts, other)}", False))
        return words

    def wire_title(self, wire: str) -> str:
        """A wire's name in words, with its number."""
        return f"{self._rows.wire(wire).title}, {self._wire_numbers[wire]}"
