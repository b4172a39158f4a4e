"""The sheet as plain text, 80 columns or 40. Knows columns only."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

from diag.sheet.lettering import clean
from diag.sheet.table import CircuitRows, PartRows, SeenRow, Sheet, WireRow
from diag.texts import t

__all__ = ["NARROW", "WIDE", "as_text"]

NARROW, WIDE = 40, 80
_SIGN = "! "
_ROOMY = 60
"""From so many columns on amps and words have columns of their own."""


def as_text(sheet: Sheet, columns: int) -> str:
    """The whole sheet in lines no longer than `columns` (at least NARROW)."""
    return "\n".join(_Lines(max(columns, NARROW)).of(sheet)).rstrip() + "\n"


class _Lines:
    def __init__(self, columns: int) -> None:
        self._columns = columns
        self._edge = columns - (21 if columns >= _ROOMY else 17)
        """Where figures end; words begin one column on."""

    def of(self, sheet: Sheet) -> Iterator[str]:
        yield from self._wrapped(sheet.vehicle)
        yield from self._wrapped(t("Controls: {operate}", operate=sheet.operate))
        for fault in sheet.faults:
            yield from self._wrapped(t("Fault: {fault}", fault=fault), hang=7)
        for text in sheet.cautions:
            yield from self._wrapped(t("CAUTION: {text}", text=text), hang=2)
        for text in sheet.happens:
            yield from self._wrapped(f"{_SIGN}{text}", hang=2)
        yield ""
        for text in sheet.notes:
            yield from self._wrapped(text)
        for heading, rows in (
            (t("Lamps"), sheet.lamps),
            (t("Motors, relays and gauges"), sheet.motors),
            (t("Sounds"), sheet.sounds),
        ):
            if rows:
                yield from self._heading(heading)
                for row in rows:
                    yield from self._seen(row)
        for circuit in sheet.circuits:
            yield from self._circuit(circuit)

    def _heading(self, text: str) -> Iterator[str]:
        yield ""
        lines = list(self._wrapped(text))
        yield from lines
        yield "-" * max(len(line) for line in lines)

    def _wrapped(self, text: str, hang: int = 0) -> list[str]:
        return textwrap.wrap(clean(text), self._columns, subsequent_indent=" " * hang) or [""]

    def _seen(self, row: SeenRow) -> Iterator[str]:
        yield from self._row(_sign(row.healthy), row.title, "", row.now)
        yield from self._was(row.healthy, 4)

    def _circuit(self, circuit: CircuitRows) -> Iterator[str]:
        yield from self._heading(circuit.title)
        yield from self._row("  ", t("terminal"), t("volts/amps"), t("test lamp"))
        for part in circuit.parts:
            yield from self._part(part)

    def _part(self, part: PartRows) -> Iterator[str]:
        yield from self._row(_sign(part.healthy or "".join(part.faults)), part.title, part.amps, "")
        yield from self._was(part.healthy, 4)
        for fault in part.faults:
            yield from self._wrapped_in(t("FAULT: {fault}", fault=fault), 4)
        for point in part.points:
            yield from self._row(_sign(point.healthy), f"  {point.name}", point.volts, point.lamp)
            yield from self._was(point.healthy, 6)
            for wire in point.wires:
                yield from self._wire(wire)

    def _wire(self, wire: WireRow) -> Iterator[str]:
        sign = _sign(wire.healthy or "".join(wire.faults))
        if self._columns < _ROOMY:
            text = t(
                "{sign}  - {number} {colour}, {amps}, to {to}",
                sign=sign,
                number=wire.number,
                colour=wire.colour,
                amps=wire.amps,
                to=wire.to,
            )
            yield from textwrap.wrap(clean_indented(text), self._columns, subsequent_indent=" " * 6)
        else:
            yield from self._row(
                sign,
                t("  - {number} {colour} to {to}", number=wire.number, colour=wire.colour, to=wire.to),
                wire.amps,
                "",
            )
        yield from self._was(wire.healthy, 6)
        for fault in wire.faults:
            yield from self._wrapped_in(t("FAULT: {fault}", fault=fault), 6)

    def _was(self, healthy: str, indent: int) -> Iterator[str]:
        if healthy:
            yield from self._wrapped_in(t("(healthy: {healthy})", healthy=healthy), indent)

    def _wrapped_in(self, text: str, indent: int) -> list[str]:
        pad = " " * indent
        return textwrap.wrap(clean(text), self._columns, initial_indent=pad, subsequent_indent=f"{pad} ")

    def _row(self, sign: str, left: str, figure: str, words: str) -> Iterator[str]:
        """Left text, a figure ending at one column and words beginning at the next; on two lines where one
        has no room."""
        left = clean_indented(left)
        indent = " " * (len(left) - len(left.lstrip()) + 4)
        lines = textwrap.wrap(f"{sign}{left}", self._columns, subsequent_indent=indent, drop_whitespace=True)
        last = f"{sign}{left}" if len(lines) == 1 else lines.pop()
        yield from lines if len(lines) > 1 or last != f"{sign}{left}" else []
        if not figure and not words:
            yield last
            return
        if len(words) > self._columns - self._edge - 1:  # longer than its column
            yield last
            yield f"{figure}  {words}".strip().rjust(self._columns)
            return
        if len(last) + (len(figure) + 1 if figure else 0) > self._edge:
            yield last
            last = ""
        yield f"{last}{figure:>{self._edge - len(last)}} {words}".rstrip()


def clean_indented(text: str) -> str:
    """Clean text that keeps its indent."""
    return text[: len(text) - len(text.lstrip(" "))] + clean(text)


def _sign(differs: str) -> str:
    return _SIGN if differs else "  "
