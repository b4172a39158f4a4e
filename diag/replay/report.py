"""Differences as text, JSON or CSV. Only words and layout; the same bytes for the same differences.

Text is a table from 72 columns on, below that a few lines a job.
"""

from __future__ import annotations

import csv
import io
import json
import textwrap
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from diag.replay.compare import VERDICTS, Difference
from diag.replay.forms import Outcome
from diag.texts import t

__all__ = ["Report", "as_csv", "as_json", "as_text", "chance"]

_WIDE = 72
_COLUMNS = (
    *("job", "vehicle", "verdict", "worse", "changed", "was", "now", "remedies"),
    *("p-before", "p-after", "sure-before", "sure-after", "sooner", "why"),
)
_MARK = "!"
"""Before what is worse, so that no colour is needed."""


@dataclass(frozen=True)
class Report:
    """All differences by job, the outcomes behind them, and what was set aside. `only_changed`: tell no job that
    came out as before."""

    differences: tuple[Difference, ...]
    outcomes: tuple[Outcome, ...]
    aside: tuple[str, ...] = ()
    only_changed: bool = False

    @property
    def told(self) -> tuple[Difference, ...]:
        """What is listed, worst first."""
        order = list(VERDICTS)
        some = (d for d in self.differences if d.changed or not self.only_changed)
        return tuple(sorted(some, key=lambda d: (not d.worse, order.index(d.verdict), not d.changed, d.job)))

    @property
    def worse(self) -> int:
        """How many jobs came out worse."""
        return sum(difference.worse for difference in self.differences)

    def summary(self) -> dict[str, int]:
        """Counts: jobs, each verdict, sooner and later sure, worse, set aside."""
        counts = Counter(difference.verdict for difference in self.differences)
        moved = [difference.sooner or 0 for difference in self.differences]
        return {
            "jobs": len(self.differences),
            **{verdict: counts[verdict] for verdict in VERDICTS},
            "sooner": sum(m > 0 for m in moved),
            "later": sum(m < 0 for m in moved),
            "fewer-answers": sum(moved),
            "worse": self.worse,
            "aside": len(self.aside),
        }


def chance(p: float | None) -> str:
    """A chance in percent; a dash where nobody noted it."""
    if p is None:
        return "-"
    return f"{100 * p:.1f} %" if 0.985 <= p < 0.9995 else f"{100 * p:.0f} %"


# ---------------------------------------------------------------- JSON and CSV


def as_json(report: Report) -> str:
    """One object: summary, differences, outcomes' own figures, what was set aside."""
    outcomes = {outcome.job: outcome for outcome in report.outcomes}
    listed = [{**d.plain(), "outcome": outcomes[d.job].plain()} for d in report.told]
    found = {"summary": report.summary(), "differences": listed, "aside": list(report.aside)}
    return json.dumps(found, indent=1, ensure_ascii=True) + "\n"


def as_csv(report: Report) -> str:
    """One line a job (RFC 4180). Several remedies and chances stand in one field, parted by spaces."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(_COLUMNS)
    for d in report.told:
        writer.writerow(
            _unformula(cell)
            for cell in (
                d.job,
                d.vehicle,
                d.verdict,
                "yes" if d.worse else "no",
                "yes" if d.changed else "no",
                " ".join(d.was),
                " ".join(d.now),
                " ".join(name for name, _, _ in d.chances),
                " ".join("-" if a is None else str(a) for _, a, _ in d.chances),
                " ".join("-" if b is None else str(b) for _, _, b in d.chances),
                "" if d.sure_before is None else str(d.sure_before),
                "" if d.sure_after is None else str(d.sure_after),
                "" if d.sooner is None else str(d.sooner),
                d.why,
            )
        )
    return out.getvalue()


def _unformula(cell: str) -> str:
    """A sheet program would work out what begins like a formula."""
    return f"'{cell}" if cell[:1] in ("=", "+", "@", "\t", "\r") or (cell[:1] == "-" and cell[1:2].isalpha()) else cell


# ---------------------------------------------------------------- text


def as_text(report: Report, columns: int) -> str:
    """What became different, at most `columns` wide."""
    width = max(columns, 32)
    lines = _head(report, width)
    told = report.told
    if told:
        lines += ["", *(_table(told, width) if width >= _WIDE else _blocks(told, width))]
    if report.aside:
        lines += ["", t("Set aside, not read:")]
        for text in report.aside:
            lines += _wrapped(text, width, "  ")
    return "\n".join(_plain(line) for line in lines) + "\n"


def _head(report: Report, width: int) -> list[str]:
    summary = report.summary()
    lines = [t("{summary} jobs replayed.", summary=summary["jobs"])]
    for verdict, words in VERDICTS.items():
        if summary[verdict]:
            lines.append(f"{summary[verdict]:7} {words}")
    if summary["sooner"] or summary["later"]:
        total = summary["fewer-answers"]
        moved = t("{total} answers {what} in all", total=abs(total), what=t("fewer") if total >= 0 else t("more"))
        lines += _wrapped(
            t(
                "Sure sooner in {summary}, later in {summary_2}: {moved}.",
                summary=summary["sooner"],
                summary_2=summary["later"],
                moved=moved,
            ),
            width,
            "",
        )
    lines.append(
        t("Nothing is worse.")
        if not report.worse
        else t("WORSE: {worse}, marked {mark}.", worse=report.worse, mark=_MARK)
    )
    return lines


def _table(told: Sequence[Difference], width: int) -> list[str]:
    name = min(max(len("job"), *(len(d.job) for d in told)), width - 48)
    lines = [f"  {t('job'):{name}}  {t('now'):22}  {t('sure after'):10}  {t('chance')}"]
    for d in told:
        mark = _MARK if d.worse else " "
        chances = ", ".join(_moved(a, b) for _, a, b in d.chances)
        lines.append(
            f"{mark} {_short(d.job, name):{name}}  {VERDICTS[d.verdict]:22}  {_sure(d):10}  {chances}".rstrip()
        )
        if len(lines[-1]) > width:
            lines[-1] = f"{mark} {_short(d.job, name):{name}}  {VERDICTS[d.verdict]:22}  {_sure(d):10}".rstrip()
            lines += _wrapped(chances, width, "    ")
        lines += _wrapped(d.why, width, "    ") if d.why else []
    return lines


def _blocks(told: Sequence[Difference], width: int) -> list[str]:
    lines = []
    for d in told:
        lines.append(f"{_MARK if d.worse else ' '} {_short(d.job, width - 2)}")
        lines.append(f"    {VERDICTS[d.verdict]}")
        if _sure(d) != "-":
            lines.append(t("    sure after {sure}", sure=_sure(d)))
        for _, a, b in d.chances:
            lines.append(t("    chance {moved}", moved=_moved(a, b)))
        lines += _wrapped(d.why, width, "    ") if d.why else []
    return lines


def _sure(d: Difference) -> str:
    """Answers until sure, before and now."""
    now = t("never") if d.sure_after is None else str(d.sure_after)
    if d.verdict == "cannot":
        return "-"
    if not d.sooner:
        return "-" if d.sure_after is None else now
    return f"{(t('never') if d.sure_before is None else d.sure_before)} > {now}"


def _moved(before: float | None, after: float | None) -> str:
    return chance(after) if before is None or chance(before) == chance(after) else f"{chance(before)} > {chance(after)}"


def _short(text: str, width: int) -> str:
    return text if len(text) <= width else f"{text[: width - 3]}..."


def _wrapped(text: str, width: int, indent: str) -> list[str]:
    return textwrap.wrap(text, width, initial_indent=indent, subsequent_indent=indent) or []


def _plain(line: str) -> str:
    """Names of files may hold anything; nothing of it may steer a terminal."""
    return "".join(c if c.isprintable() else "?" for c in line)
