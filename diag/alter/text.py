"""The work sheet in words: plain text of 80 or 40 columns, or Markdown. Knows rows and columns only."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterator

from diag.alter.sheet import FigureRow, MapRow, ProofRow, SizeRow, WorkSheet
from diag.texts import t

__all__ = ["NARROW", "WIDE", "as_markdown", "as_text"]

NARROW, WIDE = 40, 80
_ACTIONS = {
    "off": t("TAKE OFF"),
    "new": t("LAY"),
    "move": t("MOVE"),
    "back": t("PUT BACK"),
    "thicker": t("LAY ANEW"),
}
_SIGNS = {True: "", False: "! ", None: ""}


def as_text(sheet: WorkSheet, columns: int) -> str:
    """The sheet in lines no longer than `columns` (at least NARROW)."""
    return "\n".join(_lines(sheet, max(columns, NARROW))).rstrip() + "\n"


def _lines(sheet: WorkSheet, columns: int) -> Iterator[str]:
    def wrapped(text: str, first: str = "", rest: str = "") -> list[str]:
        return textwrap.wrap(
            " ".join(text.split()), columns, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False
        )

    yield from wrapped(sheet.title)
    yield from wrapped(sheet.vehicle)
    yield from wrapped(sheet.because)
    for text in sheet.chosen:
        yield from wrapped(text, "- ", "  ")
    yield ""
    for text in sheet.cautions:
        yield from wrapped(t("CAUTION: {text}", text=text), "", "  ")
    for text in (*sheet.doubts, *sheet.unguarded):
        yield from wrapped(f"! {text}", "", "  ")
    for heading, rows in _sections(sheet):
        if rows:
            yield from ("", *wrapped(heading), "-" * min(len(heading), columns))
            for row in rows:
                first, *more = row
                yield from wrapped(first, "", "   " if re.match(r"\d+\. ", first) else "  ")
                for text in more:
                    yield from wrapped(text, "    ", "      ")
    yield ""
    yield from wrapped(
        t("Source: {source}. Volts, amps, sections and ratings are computed, not measured.", source=sheet.source)
    )


def as_markdown(sheet: WorkSheet) -> str:
    """The same as a Markdown page."""
    out = [f"# {_plain(sheet.title)}", "", _plain(sheet.vehicle), "", _plain(sheet.because), ""]
    out += [f"- {_plain(text)}" for text in sheet.chosen]
    out += ["", *(f"> **CAUTION** {_plain(text)}\n>" for text in sheet.cautions)]
    out += [f"> **!** {_plain(text)}\n>" for text in (*sheet.doubts, *sheet.unguarded)]
    for heading, rows in _sections(sheet):
        if not rows:
            continue
        out += ["", f"## {heading}", ""]
        for first, *more in rows:
            mark = "" if re.match(r"\d+\. ", first) else "- "
            out.append(mark + _plain(first))
            out += [f"   - {_plain(text)}" for text in more]
    out += [
        "",
        _plain(
            t("Source: {source}. Volts, amps, sections and ratings are computed, not measured.", source=sheet.source)
        ),
    ]
    return "\n".join(out) + "\n"


def _plain(text: str) -> str:
    return re.sub(r"([\\`*_<>|\[\]#])", r"\\\1", " ".join(text.split()))


def _sections(sheet: WorkSheet) -> list[tuple[str, list[tuple[str, ...]]]]:
    steps: list[tuple[str, ...]] = [(f"{number}. {text}",) for number, text in enumerate(sheet.steps, start=1)]
    proofs = [
        _proof(row, number, repeated=any(row.caution == earlier.caution for earlier in sheet.proofs[: number - 1]))
        for number, row in enumerate(sheet.proofs, start=1)
    ]
    return [
        (t("Needed"), [(text,) for text in sheet.needed]),
        (t("Old marks"), [(text,) for text in sheet.marks]),
        (t("Wires, from -> to"), [_mapped(row) for row in sheet.map]),
        (t("Sections and fuses"), [_sized(row) for row in sheet.sizes]),
        (t("Before -> after, computed"), [_figured(row) for row in sheet.figures]),
        (t("Steps"), steps),
        (t("Proof, in this order"), proofs),
    ]


def _mapped(row: MapRow) -> tuple[str, ...]:
    ends = tuple(row.ends)
    if row.action in ("move", "back") and row.was != row.now:
        return (
            f"{_ACTIONS[row.action]} {row.wire}",
            t("from {was}", was=row.was),
            t("-> to {now}", now=row.now),
            *ends,
        )
    return (f"{_ACTIONS[row.action]} {row.wire}", row.now or row.was, *ends)


def _sized(row: SizeRow) -> tuple[str, ...]:
    if not row.was:
        return row.title, t("new: {now}", now=row.now)
    if not row.now:
        return row.title, t("was: {was}", was=row.was), "-> goes"
    return row.title, t("was: {was}", was=row.was), t("-> now: {now}", now=row.now)


def _figured(row: FigureRow) -> tuple[str, ...]:
    return (f"{_SIGNS[row.good]}{row.title}: {row.was} -> {row.now}",)


def _proof(row: ProofRow, number: int, *, repeated: bool) -> tuple[str, ...]:
    caution = (t("CAUTION: {caution}", caution=row.caution),) if row.caution and not repeated else ()
    shows = (t("{signs}sound: {shows}", signs=_SIGNS[row.good], shows=row.shows),) if row.shows else ()
    return (f"{number}. {row.title} [{row.check_id}]", *caution, *shows)
