"""What the files say of faults and only the network can judge: causes that nobody has, values that a fault does not
take, modes that no part of a sort has.

Knows nothing of beliefs or questions.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping

from diag.circuit.faults import Able, possible_faults
from diag.circuit.network import Network
from diag.errors import Problem
from diag.knowledge import schema
from diag.knowledge.assemble import Knowledge
from diag.knowledge.lint import check_causes
from diag.knowledge.names import nearest, quoted, words
from diag.texts import t

__all__ = ["cause_problems"]


def cause_problems(knowledge: Knowledge, network: Network, known: Collection[str]) -> list[Problem]:
    """Everything wrong with the causes that the files name, add or value. `known`: ids of all derived causes."""
    notes = {name: note for name, note in knowledge.causes.items() if note.like is not None and _values(note)}
    sorted_parts = {name: part.sort for name, part in knowledge.parts.items() if part.sort is not None}
    subjects = {(note.like or "").split(".")[0] for note in notes.values()} | sorted_parts.keys()
    able = possible_faults(knowledge, network, sorted(subjects))
    problems = [
        *check_causes(knowledge, known, able),
        *(problem for name, note in notes.items() for problem in _misused(knowledge, name, note, able)),
        *_idle_modes(knowledge, sorted_parts, able),
    ]
    return sorted(problems)


def _values(note: schema.CauseNote) -> list[str]:
    given = {"ohm": note.ohm, "factor": note.factor}
    return [key for key, value in given.items() if value is not None]


def _misused(knowledge: Knowledge, name: str, note: schema.CauseNote, able: Mapping[str, Able]) -> Iterator[Problem]:
    """Values that the fault which a cause is like does not take."""
    for key in _values(note):
        like = able.get(note.like or "")
        if like is None or key in like.takes:
            continue
        part = (note.like or "").split(".")[0]
        others = [cause for cause, fault in able.items() if key in fault.takes and cause.split(".")[0] == part]
        yield Problem(
            knowledge.spots.place(name, key, key=True),
            t("a fault like `{like}` has no `{key}`", like=note.like, key=key),
            f"`{key}`",
            words(sorted(like.takes)) or t("neither `ohm` nor `factor`"),
            t("Leave it out, or make it like {others}.", others=words(others)) if others else t("Leave it out."),
            code="idle-value",
        )


def _idle_modes(knowledge: Knowledge, parts: Mapping[str, str], able: Mapping[str, Able]) -> Iterator[Problem]:
    """Modes of a sort that are like nothing which its parts can have, or valued as that is not."""
    marked = knowledge.spots.files["kinds"]
    for sort, made in knowledge.kinds.sorts.items():
        mine = [name for name, its in parts.items() if its == sort]
        modes: dict[str, frozenset[str]] = {}
        for cause, fault in able.items():
            if cause.split(".")[0] in mine:
                modes[fault.mode] = fault.takes
        for name, mode in made.modes.items():
            like = mode.like or name
            if mine and like not in modes:
                key = ("sorts", sort, "modes", name)
                yield Problem(
                    marked.place((*key, "like") if mode.like is not None else key, key=mode.like is None),
                    t("a {based_on} does not fail in this way", based_on=made.based_on),
                    quoted(like),
                    words(modes),
                    nearest(like, modes) or t("Say which of them it shows itself as: `like`."),
                    code="unknown-mode",
                )
            for value in ("ohm", "factor"):
                if like in modes and getattr(mode, value) is not None and value not in modes[like]:
                    yield Problem(
                        marked.place(("sorts", sort, "modes", name, value), key=True),
                        t(
                            "a {based_on} that is `{like}` has no `{value}`",
                            based_on=made.based_on,
                            like=like,
                            value=value,
                        ),
                        f"`{value}`",
                        words(sorted(modes[like])) or t("neither `ohm` nor `factor`"),
                        t("Leave it out."),
                        code="idle-value",
                    )
