"""The log of a job as one web page, to look at and to print. Gathers what the template shows; layout stands there."""

from __future__ import annotations

from markupsafe import Markup

from diag.log import words
from diag.log.replayed import Replayed
from diag.log.report import Item, Report
from diag.paper.drawings import Drawn, drawings_of
from diag.paper.fold import Stretch, stretches_of, trail_stretches
from diag.paper.found import faults_of, suspicions_of, tally_of
from diag.paper.layout import Paper, render
from diag.paper.plot import plot_of
from diag.texts import t

__all__ = ["as_html"]


def as_html(job: Replayed, report: Report, paper: Paper | None = None) -> str:
    """The page: summary, circuits drawn, plot of chances, readings, all that happened, why, the work. The same job
    gives the same bytes. `paper`: size it prints on; None leaves it to the printer."""
    drawn, left_out = drawings_of(job, report)
    last = report.stages[-1] if report.stages else None
    works = [work for work in report.done if work.steps]
    readings = [
        item
        for item in report.items
        if item.event in ("answered", "found") and item.status == "standing" and item.known and item.unit
    ]
    to_do = None
    if last is not None and last.sound.p < 0.5 and last.candidates and last.candidates[0].chance.p >= 0.05:
        to_do = last.candidates[0]
    sections = (
        ("summary", t("Summary"), True),
        ("circuits", t("Circuits"), bool(drawn or left_out)),
        ("belief", t("How the belief moved"), bool(report.trail.rows)),
        ("readings", t("Readings against limits"), bool(readings)),
        ("happened", t("What happened, in order"), True),
        ("why", t("Why"), bool(report.stages)),
        ("work", t("The work, step by step"), bool(works)),
        ("to-do", t("Work still to be done"), to_do is not None),
    )

    def stretches(part: words.Part) -> tuple[Stretch[Item], ...]:
        return stretches_of(part.items, len(report.items))

    return render(
        "job.html.j2",
        paper,
        report=report,
        tally=tally_of(report),
        faults=faults_of(report),
        suspicions=suspicions_of(report),
        last=last,
        contents=[(id_, title) for id_, title, there in sections if there],
        drawn=drawn,
        left_out=left_out,
        described=job.reasoner.predictor is not None,
        svg=_svg,
        plot=plot_of(report.trail, [work.number for work in report.done]),
        trail=trail_stretches(report.trail),
        readings=readings,
        parts=list(words.parts_of(report.items)),
        stretches=stretches,
        events=words.EVENTS,
        works=works,
        to_do=to_do,
    )


def _svg(drawn: Drawn) -> Markup:
    return Markup(drawn.svg)  # noqa: S704 - every text in it was escaped when it was drawn
