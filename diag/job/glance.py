"""A job at a glance: what its journal says of itself, without knowledge. Reads journals without locking them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

from diag.errors import DiagError
from diag.job.journal import read_journal
from diag.job.records import Record
from diag.job.state import Entry, JobState, replay
from diag.texts import t

__all__ = ["Glance", "glance"]

_ASIDE = ("resumed", "instruments", "asked")
"""Events that say nothing of how far a job is."""
_SPEAKS = 2.0
"""Times likelier that an answer makes what it is taken to speak for (common practice, no source)."""
_TEXTS = ("check", "target", "red", "black", "through", "remedy", "stage")


@dataclass(frozen=True)
class Glance:
    """A job as a list shows it. `problem`: why it cannot be read, and then nothing else is known. `opened_at`,
    `last_at`: UTC in ISO 8601 with Z. `answers`: those that stand; `empty`: nothing at all was put in that stands.
    `complaints`, `remedies`: ids; `in_vain`: of each remedy, whether what it was to cure was still seen after it;
    `titles`: what the program called some of them at the time. `ended`: the last word
    was that nothing is left to do; `open`: how many things were left open then. `words`: all its ids and texts."""

    path: Path
    problem: str | None = None
    vehicle: str = ""
    vehicle_file: str = ""
    opened_at: str = ""
    last_at: str = ""
    answers: int = 0
    complaints: tuple[str, ...] = ()
    remedies: tuple[str, ...] = ()
    in_vain: tuple[bool, ...] = ()
    titles: Mapping[str, str] = field(default_factory=dict)
    ended: bool = False
    open: int = 0
    empty: bool = False
    simulated: bool = False
    words: tuple[str, ...] = ()

    @property
    def tried(self) -> tuple[str, ...]:
        """Remedies that did not cure."""
        return tuple(name for name, vain in zip(self.remedies, self.in_vain, strict=True) if vain)

    @property
    def done(self) -> tuple[str, ...]:
        """The other ones."""
        return tuple(name for name, vain in zip(self.remedies, self.in_vain, strict=True) if not vain)

    @property
    def begun(self) -> datetime:
        """`opened_at` as an aware UTC time. Raises ValueError where there is a problem."""
        return datetime.fromisoformat(self.opened_at)

    @property
    def last(self) -> datetime:
        """`last_at` as an aware UTC time. Raises ValueError where there is a problem."""
        return datetime.fromisoformat(self.last_at)


def glance(path: Path) -> Glance:
    """The job in this file; a damaged one has a `problem` and raises nothing."""
    try:
        records, _ = read_journal(path)
        if not records:
            return Glance(path, t("nothing was kept in it"))
        state = replay(records)
    except (DiagError, ValueError, OSError) as error:
        return Glance(path, _without_path(str(error), path))
    told = [record for record in records if record.event not in _ASIDE]
    last = told[-1]
    concluded = _concluded(records)
    answered = state.standing("answered", "found")
    remedied = state.standing("remedied")
    left = last.fields.get("open") if last.event == "proved" else None
    return Glance(
        path,
        None,
        state.vehicle,
        state.vehicle_file,
        state.opened_at,
        state.last_at,
        len(answered),
        tuple(value for entry in answered if entry.fields.get("check") == "start" for value in _values(entry)),
        tuple(str(entry.fields.get("remedy")) for entry in remedied),
        tuple(_in_vain(state, entry) for entry in remedied),
        _titles(concluded),
        last.event == "proved",
        len(left) if isinstance(left, list) else 0,
        not [entry for entry in state.entries if entry.event != "acknowledged"],
        records[0].fields.get("simulated") is True,
        tuple(_words(state, concluded)),
    )


def _without_path(text: str, path: Path) -> str:
    """The reason alone, with its line; the name stands before it already."""
    return " ".join(text.replace(f"{path}:", "", 1).split())


def _concluded(records: Sequence[Record]) -> list[Mapping[str, Any]]:
    """Remedies of every conclusion told, the newest last."""
    found: list[Mapping[str, Any]] = []
    for record in records:
        if record.event == "concluded":
            named = record.fields.get("remedies")
            found += [one for one in named if isinstance(one, dict)] if isinstance(named, list) else []
    return found


def _in_vain(state: JobState, remedied: Entry) -> bool:
    """Whether a conclusion after a remedy, and before the next work, still rests on what spoke for that remedy, and on
    something that was seen after it."""
    works = [entry.seq for entry in state.standing("remedied", "changed")]
    before = max((one.seq for one in state.concluded if one.seq < remedied.seq), default=0)
    after = min((seq for seq in works if seq > remedied.seq), default=state.seq + 1)
    spoke, since = set[int](), set[int]()
    for one in state.concluded:
        if one.seq == before:
            spoke = _rests_on(one, str(remedied.fields.get("remedy")))
        elif remedied.seq < one.seq < after:
            since = _rests_on(one)
    return bool(spoke & since) and any(seq > remedied.seq for seq in since)


def _rests_on(concluded: Entry, remedy: str | None = None) -> set[int]:
    """Seqs of the answers that spoke for a remedy of a conclusion (None: the first) clearly enough to count."""
    named = concluded.fields.get("remedies")
    items = [one for one in named if isinstance(one, dict)] if isinstance(named, list) else []
    found = next((one for one in items if remedy in (None, one.get("id"))), {}).get("evidence")
    return {
        one["seq"]
        for one in (found if isinstance(found, list) else ())
        if isinstance(one, dict)
        and isinstance(one.get("seq"), int)
        and isinstance(one.get("weight"), int | float)
        and one["weight"] >= _SPEAKS
    }


def _titles(concluded: Sequence[Mapping[str, Any]]) -> dict[str, str]:
    found: dict[str, str] = {}
    for one in concluded:
        causes = one.get("causes")
        for each in (one, *(causes if isinstance(causes, list) else ())):
            if isinstance(each, dict) and isinstance(each.get("id"), str) and isinstance(each.get("title"), str):
                found[each["id"]] = each["title"]
    return found


def _values(entry: Entry) -> list[str]:
    value = entry.fields.get("value")
    return [str(one) for one in value] if isinstance(value, list) else [str(value)]


def _words(state: JobState, concluded: Sequence[Mapping[str, Any]]) -> list[str]:
    """What a search looks through: vehicle, what was answered, noted and done, and what the last conclusion said."""
    found = [state.vehicle, Path(state.vehicle_file).stem]
    for entry in state.entries:
        fields = entry.fields
        found += [str(fields[name]) for name in _TEXTS if isinstance(fields.get(name), str)]
        if entry.event != "acknowledged":
            found += [text for name in ("text", "value", "reason") for text in _leaves(fields.get(name))]
    titles = _titles(concluded)
    done = {str(entry.fields.get("remedy")) for entry in state.standing("remedied")}
    found += [titles[name] for name in done if name in titles]
    if state.concluded:
        last = state.concluded[-1].fields.get("remedies")
        for one in last[:1] if isinstance(last, list) else ():
            found += _titles([one] if isinstance(one, dict) else []).values()
    return found


def _leaves(value: Any) -> list[str]:
    if isinstance(value, dict):
        return [text for one in value.values() for text in _leaves(one)]
    if isinstance(value, list):
        return [text for one in value for text in _leaves(one)]
    return [] if value is None or isinstance(value, bool) else [str(value)]
