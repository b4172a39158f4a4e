"""The frame of every page: its style, its refusal of scripts and of anything from outside, its escaping.

Knows layout only. A page is one file: style within, drawings within, no script, no address.
"""

from __future__ import annotations

import base64
import hashlib
import importlib.resources
from functools import lru_cache
from typing import Any, Literal

import jinja2
from markupsafe import Markup

from diag.log import words
from diag.log.report import Done, Item, RuleRef, Stage
from diag.paper.fold import Stretch
from diag.sheet.woven import html_environment
from diag.texts import t, tn

__all__ = ["PAPERS", "Paper", "render"]

Paper = Literal["a4", "letter"]
PAPERS: tuple[Paper, ...] = ("a4", "letter")
_SIZES = {"a4": "A4", "letter": "letter"}


def render(template: str, paper: Paper | None = None, **values: Any) -> str:
    """A page from its template. `paper`: size that a printed page is held to; None leaves it to the printer."""
    style = _style()
    if paper is not None:
        style += f"@page {{ size: {_SIZES[paper]}; }}\n"
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    # an HTML parser drops no sign of the style, so the browser hashes the same bytes
    text = (
        _environment()
        .get_template(template)
        .render(style=Markup(style), style_hash=Markup(f"sha256-{digest}"), **values)  # noqa: S704
    )
    head, mark, rest = text.partition("</style>")
    return head + mark + "\n".join(line.rstrip() for line in rest.splitlines() if line.strip()) + "\n"


def _style() -> str:
    file = importlib.resources.files("diag.paper") / "templates" / "paper.css"
    return file.read_text(encoding="utf-8")


@lru_cache(maxsize=1)
def _environment() -> jinja2.Environment:
    env = html_environment("diag.paper")
    env.filters |= {
        **words.FILTERS,
        "chosen": _chosen,
        "count_answers": _count_answers,
        "judged": _judged,
        "numbers": _numbers,
        "remarks": words.remarks_of,
        "rules_said": _rules_said,
        "safe_svg": Markup,
    }
    return env


def _chosen(stage: Stage) -> str:
    return next(
        (one.title for one in stage.candidates if one.id == stage.chosen), t("a remedy that is not known today")
    )


def _count_answers(stretch: Stretch[Item]) -> str:
    count = sum(item.event != "acknowledged" for item in stretch.rows)
    return tn("{n} answer", "{n} answers", count)


def _numbers(work: Done) -> str:
    """Numbers of the answers that prove a work; runs as from, to."""
    runs: list[list[int]] = []
    for number in sorted(proof.number for proof in work.proofs):
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    return ", ".join(
        t("{run} to {run_2}", run=run[0], run_2=run[-1]) if len(run) > 2 else ", ".join(map(str, run)) for run in runs
    )


def _judged(item: Item) -> str:
    limits = "" if item.limits is None else t("within") if item.limits.met else t("OUTSIDE")
    odd = t("not as on a healthy vehicle") if item.sound is False else ""
    return ", ".join(word for word in (limits, odd) if word) or t("as on a healthy vehicle")


def _rules_said(stage: Stage, remedy: str) -> tuple[tuple[int, RuleRef], ...]:
    return tuple((line.number, rule) for line in words.strongest(stage, remedy) for rule in line.rules)
