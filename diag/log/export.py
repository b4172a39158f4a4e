"""Exports a job: reads its journal, opens its vehicle's knowledge, and renders the report in a form.

Knows where things live; nothing of what a report holds.
"""

from __future__ import annotations

from datetime import tzinfo
from pathlib import Path
from typing import Literal

from diag.errors import DiagError
from diag.job.journal import read_journal
from diag.job.state import replay
from diag.log.build import report_of
from diag.log.forms import as_csv, as_json
from diag.log.handover import as_handover
from diag.log.markdown import as_markdown
from diag.log.replayed import Replayed, replayed
from diag.log.report import Report
from diag.reason.reasoner import Reasoner
from diag.talk.opening import reasoner_for
from diag.texts import t

__all__ = ["FORMS", "Form", "export_job", "open_job"]

Form = Literal["markdown", "json", "csv", "handover"]
FORMS: tuple[Form, ...] = ("markdown", "json", "csv", "handover")


def export_job(
    path: Path,
    form: Form,
    vehicle: Path | None = None,
    *,
    reasoner: Reasoner | None = None,
    zone: tzinfo | None = None,
    packs: bool = True,
    today: bool = False,
) -> str:
    """The job in `path` as text. Nothing is written, and the journal is not touched.

    Arguments and errors as in `open_job`; DiagError also for a form that there is not.
    """
    if form not in FORMS:
        raise DiagError(
            t(
                "found the form `{form}`; expected one of {forms}. Choose one of these.",
                form=form,
                forms=", ".join(FORMS),
            )
        )
    lived, report = open_job(path, vehicle, reasoner=reasoner, zone=zone, packs=packs, today=today)
    if form == "handover":
        return as_handover(lived, report)
    return {"markdown": as_markdown, "json": as_json, "csv": as_csv}[form](report)


def open_job(
    path: Path,
    vehicle: Path | None = None,
    *,
    reasoner: Reasoner | None = None,
    zone: tzinfo | None = None,
    packs: bool = True,
    today: bool = False,
) -> tuple[Replayed, Report]:
    """The job in `path` lived through again, and its report. The journal is not touched.

    `vehicle`: its file, where the one named in the job has gone. `reasoner`: one that is open already
    (then `vehicle` is not read). `zone`: for local times; None is this machine's. `packs`: False weighs by the
    shipped rules alone. `today`: by this machine's rules where others came with it.
    Raises JournalError for a file that is not a job, KnowledgeError or DiagError for knowledge
    that cannot be used.
    """
    records, messages = read_journal(path)
    if not records:
        raise DiagError(t("{path}: the journal is empty; expected a job. There is nothing to export.", path=path))
    try:
        state = replay(records)
    except ValueError as error:
        raise DiagError(
            t(
                "{path}:1:1: {error}; found `{event}`. Use a file that diag wrote.",
                path=path,
                error=error,
                event=records[0].event,
            )
        ) from error
    if reasoner is None:
        without = frozenset(state.without) | (frozenset() if packs else {"packs"})
        reasoner = reasoner_for(path, state, without, vehicle, today=today)
    told = [message.replace(f"{path}", path.name) for message in messages]
    lived = replayed(reasoner, records)
    return lived, report_of(lived, path.name, told, zone)
