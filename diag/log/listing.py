"""One line a job for `diag jobs`: name, vehicle, when, how far. Reads journals without locking them."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

from diag.errors import DiagError, harmless
from diag.job.journal import read_journal
from diag.job.state import replay

__all__ = ["job_line"]


def job_line(path: Path) -> str:
    """Name, vehicle, time of the last record (local and UTC), answers, and whether it came to an end."""
    try:
        records, _ = read_journal(path)
        state = replay(records)
    except (DiagError, ValueError, OSError) as error:
        return harmless(f"{path.stem}  cannot be read: {error}")
    when = datetime.fromisoformat(state.last_at)
    local = when.astimezone()
    answers = len(state.standing("answered", "found"))
    done = [str(entry.fields.get("remedy")) for entry in state.standing("remedied")]
    ended = bool(records) and records[-1].event == "proved"
    tried = f"tried {', '.join(done)}; " if done else ""
    what = tried + ("proved" if ended and done else "nothing wrong found" if ended else "not finished")
    told = f"{path.stem}  {state.vehicle}  {local:%Y-%m-%d %H:%M %Z} ({when:%H:%M} UTC)  {answers} answers  {what}"
    return harmless(told.replace("\n", " "))
