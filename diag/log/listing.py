"""Jobs as a list: one line each for programs and pipes, a few short ones for a screen, values for JSON; and which of
them are looked for. Knows what a job says of itself; the words of a search may be those of its vehicle's files."""

from __future__ import annotations

import re
import textwrap
import unicodedata
from collections.abc import Callable, Mapping
from datetime import datetime
from pathlib import Path
from typing import Any

from diag.errors import DiagError, harmless
from diag.job.folder import from_bundle
from diag.job.glance import Glance, glance
from diag.knowledge.assemble import Knowledge
from diag.knowledge.load import load_knowledge
from diag.talk.opening import vehicle_at
from diag.texts import t, tn

__all__ = ["Titles", "job_block", "job_line", "job_values", "says", "told"]

_SPLIT = re.compile(r"[\W_]+")
_SECTIONS = ("symptoms", "checks", "remedies", "parts", "wires")
_ID = re.compile(r"[a-z0-9][a-z0-9./:-]*")


def job_line(path: Path) -> str:
    """Name, vehicle, time of the last record (local and UTC), answers, and whether it came to an end."""
    return told(glance(path))


def told(job: Glance) -> str:
    """The same of a job that was looked at."""
    if job.problem is not None:
        return _plain(t("{stem}  cannot be read: {problem}", stem=job.path.stem, problem=job.problem))
    work = _work(job, lambda name: name, ", ")
    done = f"{work}; " if work else ""
    whence = t("from a bundle; ") if from_bundle(job.path) else ""
    return _plain(f"{job.path.stem}  {job.vehicle}  {_when(job.last)}  {_answers(job)}  {whence}{done}{_came_to(job)}")


def job_block(job: Glance, columns: int) -> list[str]:
    """The job on a screen of so many columns: its name, then when, how far and what."""

    def wrapped(text: str) -> list[str]:
        return textwrap.wrap(
            _plain(text), max(20, columns), initial_indent="  ", subsequent_indent="    ", break_on_hyphens=False
        )

    name = _plain(job.path.stem)
    if job.problem is not None:
        return [name, *wrapped(t("cannot be read: {problem}", problem=job.problem))]
    who = "" if job.vehicle and job.path.stem.rstrip("-0123456789").endswith(job.vehicle) else f"{job.vehicle}, "
    played = t(", simulated") if job.simulated else ""
    played += t(", from a bundle") if from_bundle(job.path) else ""
    lines = [name, *wrapped(f"{who}{_when(job.last)}, {_answers(job)}{played}: {_came_to(job)}")]
    done = _work(job, lambda name: job.titles.get(name, _spoken(name)), "; ")
    what = ", ".join(_spoken(name) for name in job.complaints)
    if what or done:
        lines += wrapped(": ".join(text for text in (what, done) if text))
    return lines


def job_values(job: Glance) -> dict[str, Any]:
    """The job as plain values; times in UTC."""
    if job.problem is not None:
        return {"name": job.path.stem, "file": str(job.path), "problem": job.problem}
    return {
        "name": job.path.stem,
        "file": str(job.path),
        "vehicle": job.vehicle,
        "vehicle-file": job.vehicle_file,
        "begun": job.opened_at,
        "last": job.last_at,
        "answers": job.answers,
        "complaints": list(job.complaints),
        "remedies": [
            {"id": name, "title": job.titles.get(name, ""), "in-vain": vain}
            for name, vain in zip(job.remedies, job.in_vain, strict=True)
        ],
        "ended": job.ended,
        "left-open": job.open,
        "simulated": job.simulated,
        "from-bundle": from_bundle(job.path),
    }


def _work(job: Glance, called: Callable[[str], str], between: str) -> str:
    """What was tried in vain, and what cured or was done; empty where nothing was."""
    tried, done = (between.join(map(called, names)) for names in (job.tried, job.done))
    if tried and not done:
        return t("tried {tried}, which did not cure", tried=tried)
    if not job.ended:  # nobody knows yet
        return t("tried {tried}", tried=between.join(map(called, job.remedies))) if job.remedies else ""
    if tried:
        return t("tried {tried}, cured by {done}", tried=tried, done=done)
    return t("cured by {done}", done=done) if done else ""


def _when(last: datetime) -> str:
    here = last.astimezone()
    if not here.utcoffset():
        return t("{last:%Y-%m-%d %H:%M} UTC", last=last)
    return t("{astimezone:%Y-%m-%d %H:%M %Z} ({last:%H:%M} UTC)", astimezone=here, last=last)


def _answers(job: Glance) -> str:
    return tn("{n} answer", "{n} answers", job.answers)


def _came_to(job: Glance) -> str:
    if not job.ended:
        return t("not finished")
    if job.open:
        return t("ended, {open} left open", open=job.open)
    return t("proved") if job.remedies else t("nothing wrong found")


def _spoken(name: str) -> str:
    """An id as words, where no title is known."""
    return re.sub(r"[-.:/]+", " ", name) if _ID.fullmatch(name) else name


def _plain(text: str) -> str:
    """Names and journals may be a stranger's: nothing of them may move the cursor."""
    return harmless(text.replace("\n", " "))


# ---------------------------------------------------------------- looking for


class Titles:
    """Titles of ids, by the vehicle of a job: its files are read once, and only where a search needs them."""

    def __init__(self) -> None:
        self._known: dict[tuple[str, str], Mapping[str, str]] = {}

    def of(self, job: Glance) -> Mapping[str, str]:
        """By id; nothing where the vehicle's files are gone or cannot be used."""
        key = (job.vehicle_file, job.vehicle)
        if key not in self._known:
            try:
                knowledge = load_knowledge(vehicle_at(job.vehicle_file, job.vehicle))
            except (DiagError, OSError):
                self._known[key] = {}
            else:
                self._known[key] = _titles(knowledge)
        return self._known[key]


def _titles(knowledge: Knowledge) -> dict[str, str]:
    found: dict[str, str] = {}
    for section in _SECTIONS:
        for name, one in getattr(knowledge, section).items():
            found.setdefault(name, str(getattr(one, "title", "")))
    return found


def says(job: Glance, words: tuple[str, ...], titles: Callable[[Glance], Mapping[str, str]]) -> bool:
    """Whether every word begins a word of what the job says, whatever the case and accents; first by what stands in
    it, then by the titles of its vehicle's files."""
    wanted = [word for text in words for word in _words(text)]
    if not wanted:
        return True
    own = _words(" ".join((*job.words, job.path.stem)))
    missing = [word for word in wanted if not _begins(word, own)]
    if not missing:
        return True
    known = titles(job)
    named = " ".join(known.get(piece, "") for name in job.words for piece in (name, name.partition(".")[0]))
    return all(_begins(word, _words(named)) for word in missing)


def _words(text: str) -> set[str]:
    bare = "".join(c for c in unicodedata.normalize("NFKD", text) if not unicodedata.combining(c)).casefold()
    return {word for word in _SPLIT.split(bare) if word}


def _begins(word: str, among: set[str]) -> bool:
    return any(one.startswith(word) for one in among)
