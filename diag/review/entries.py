"""Judgements on one file by itself, entry by entry as it is written: sources, minutes, cautions, wording.

Works on the marked content, so that a mistake elsewhere in the file hides nothing. Knows nothing of other files.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

from diag.errors import Problem, Severity
from diag.knowledge.bridging import BRIDGED, UNPLUGGED
from diag.knowledge.names import quoted
from diag.knowledge.reader import Loc, Marked
from diag.texts import t

__all__ = ["judge_entries", "says_nothing"]

_NO_SOURCE = {
    "",
    "-",
    "?",
    "??",
    "???",
    "fixme",
    "n/a",
    "na",
    "no",
    "none",
    "no source",
    "not known",
    "source",
    "tbc",
    "tbd",
    "to do",
    "todo",
    "unknown",
    "x",
    "xx",
    "xxx",
}
_RISKY = re.compile(
    r"\b(unplug|disconnect the battery|bridge|jumper|run(ning)? the engine|engine running|start the engine|"
    r"jack|under the vehicle|grind|weld|solder)",
    re.IGNORECASE,
)


def says_nothing(source: str) -> bool:
    """Whether a text names no source, such as `todo` or `?`."""
    return " ".join(source.lower().split()).strip(" .!:") in _NO_SOURCE


def judge_entries(marked: Marked, sort: str) -> Iterator[Problem]:
    """What is wrong with the entries of a file; `sort` as in `json_schema.MODELS`, or `expect`."""
    yield from _sources(marked)
    for at, block in _blocks(marked.data, sort):
        for index, check in enumerate(_list(block, "checks")):
            yield from _check(marked, (*at, "checks", index), check)
        for index, remedy in enumerate(_list(block, "remedies")):
            yield from _remedy(marked, (*at, "remedies", index), remedy)
        for index, rule in enumerate(_list(block, "rules")):
            yield from _rule(marked, (*at, "rules", index), rule)


def _blocks(data: Any, sort: str) -> Iterator[tuple[Loc, dict[str, Any]]]:
    if sort in ("circuit", "shared", "supply") and isinstance(data, dict):
        yield (), data
        for index, variant in enumerate(_list(data, "variants")):
            yield ("variants", index), variant


def _list(block: dict[str, Any], section: str) -> list[dict[str, Any]]:
    found = block.get(section)
    return [entry if isinstance(entry, dict) else {} for entry in found] if isinstance(found, list) else []


def _at(
    marked: Marked,
    loc: Loc,
    what: str,
    found: str,
    expected: str,
    mend: str,
    code: str,
    severity: Severity = "warning",
) -> Problem:
    return Problem(marked.place(loc), what, found, expected, mend, code, severity)


def _sources(marked: Marked) -> Iterator[Problem]:
    for loc in sorted(marked.places, key=lambda loc: marked.places[loc]):
        if loc and loc[-1] in ("source", "because"):
            text = marked.get(loc)
            if isinstance(text, str) and says_nothing(text):
                if loc[-1] == "source":
                    yield _at(
                        marked,
                        loc,
                        t("this is no source"),
                        quoted(text) if text else "nothing",
                        t("a standard, a book, `common practice, no source` or `from memory`"),
                        t("Say where it is known from; `from memory` is honest too."),
                        "no-source",
                        "error",
                    )
                else:
                    yield _at(
                        marked,
                        loc,
                        t("this gives no reason"),
                        quoted(text) if text else "nothing",
                        t("one sentence of why the finding means that"),
                        t("Write it; it is shown when somebody asks why."),
                        "no-reason",
                        "error",
                    )


def _check(marked: Marked, loc: Loc, check: dict[str, Any]) -> Iterator[Problem]:
    if "minutes" not in check:
        yield _at(
            marked,
            loc,
            t("this check does not say how long it takes"),
            "",
            t("such as `minutes: 2 min`"),
            t("Add `minutes:`; without it half a minute is taken."),
            "no-minutes",
        )
    operate = check.get("operate")
    if isinstance(operate, dict) and "caution" not in check:
        for control, doing in ((BRIDGED, t("bridges two points")), (UNPLUGGED, t("takes wires off"))):
            if control in operate:
                yield _no_caution(
                    marked, (*loc, "operate", control), t("this check {doing} and warns of nothing", doing=doing)
                )
        if operate.get("engine") == "running":
            yield _no_caution(marked, (*loc, "operate", "engine"), t("this check runs the engine and warns of nothing"))


def _no_caution(marked: Marked, loc: Loc, what: str) -> Problem:
    return _at(
        marked,
        loc,
        what,
        "",
        t("a `caution`"),
        t("Add `caution:` with what can hurt, such as `moving-parts`."),
        "no-caution",
    )


def _remedy(marked: Marked, loc: Loc, remedy: dict[str, Any]) -> Iterator[Problem]:
    if "minutes" not in remedy:
        yield _at(
            marked,
            loc,
            t("this remedy does not say how long it takes"),
            "",
            t("such as `minutes: 10 min`"),
            t("Add `minutes:`; without it ten minutes are taken."),
            "no-minutes",
        )
    if not remedy.get("proof"):
        yield _at(
            marked,
            loc,
            t("nothing proves this remedy"),
            "",
            t("`proof` with checks that show it worked"),
            t("Add `proof: [check, ...]`."),
            "no-proof",
        )
    if not remedy.get("cautions"):
        for index, step in enumerate(remedy.get("steps") or ()):
            risky = _RISKY.search(step) if isinstance(step, str) else None
            if risky is not None:
                yield _at(
                    marked,
                    (*loc, "steps", index),
                    t("this step can hurt and the remedy warns of nothing"),
                    quoted(risky.group()),
                    t("`cautions` with what can hurt"),
                    t("Add `cautions: [...]`, such as `battery-off-first`."),
                    "no-caution",
                )
                return


def _said_why(rule: dict[str, Any]) -> bool:
    """Whether its life says why it was retired."""
    moved = rule.get("moved")
    last = moved[-1] if isinstance(moved, list) and moved else None
    return isinstance(last, dict) and last.get("to") == "retired" and bool(last.get("because"))


def _rule(marked: Marked, loc: Loc, rule: dict[str, Any]) -> Iterator[Problem]:
    if rule.get("state") == "retired" and not rule.get("replaced-by") and not _said_why(rule):
        yield _at(
            marked,
            (*loc, "state"),
            t("a retired rule names no successor"),
            "",
            t("`replaced-by` with the id of a rule, or under `moved` why there is none"),
            t("Add `replaced-by:`, so that whoever meets the old id finds the new one."),
            "no-successor",
            "error",
        )
    if rule.get("state") in ("tested", "proven") and not rule.get("leads-there"):
        yield _at(
            marked,
            (*loc, "state"),
            t("nothing shows that this rule is {rule}", rule=rule["state"]),
            quoted(str(rule["state"])),
            t("`leads-there` with a recorded job that fires it and ends at what it points to"),
            t("Name such a job, or write `state: draft`."),
            "unearned-state",
            "error",
        )
    if rule.get("state") != "retired" and rule.get("replaced-by"):
        yield _at(
            marked,
            (*loc, "replaced-by"),
            t("only a retired rule has a successor"),
            quoted(str(rule.get("state"))),
            "`state: retired`",
            t("Retire it, or take `replaced-by` away."),
            "no-successor",
            "error",
        )
