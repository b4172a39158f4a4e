"""Puts what was learned over the knowledge of one vehicle: misreadings are replaced, frequencies will be multiplied.

Knows nothing of jobs or of where what was learned is kept.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import replace

from diag.knowledge.assemble import Knowledge
from diag.knowledge.learned import Learned, Teller, misread_after

__all__ = ["circuit_of", "taught", "tellers_of", "times_met"]


def taught(knowledge: Knowledge, learned: Learned | None) -> Knowledge:
    """The same knowledge with what was learned, whether `learned.used` or not; as it was for None."""
    if learned is None:
        return knowledge
    book = knowledge.vocabulary
    published: dict[str, Mapping[str, Mapping[str, float]]] = {
        axis: dict(table) for axis, table in book.misread.items()
    }
    words = {axis: set(getattr(book, axis)) for axis in ("light", "rhythm", "sound", "motor", "needle")}
    for axis, counts in learned.misread.items():
        known = {
            true: {word: n for word, n in told.items() if word in words[axis]}
            for true, told in counts.items()
            if true in words[axis]
        }
        after = misread_after(published.get(axis, {}), known, learned.strength.misread)
        if after:
            published[axis] = after
    mixed = hashlib.sha256(f"{knowledge.content_hash} {learned.digest}".encode()).hexdigest()[:16]
    return replace(
        knowledge, vocabulary=book.model_copy(update={"misread": published}), learned=learned, content_hash=mixed
    )


def tellers_of(knowledge: Knowledge, kind: str, mode: str, subject: str, cause: str) -> tuple[Teller, ...]:
    """What each level of what was learned counts of a cause; nothing where nothing was learned of its sort."""
    if knowledge.learned is None:
        return ()
    circuit = circuit_of(knowledge, subject, cause)
    return knowledge.learned.tellers(knowledge.vehicle.vehicle, kind, mode, circuit, subject, cause)


def times_met(knowledge: Knowledge, kind: str, mode: str, subject: str, cause: str) -> float:
    """By how much what was learned multiplies the frequency of a cause; 1 where nothing was learned of its sort."""
    found = 1.0
    for teller in tellers_of(knowledge, kind, mode, subject, cause):
        found *= teller.times
    return found


def circuit_of(knowledge: Knowledge, subject: str, cause: str) -> str:
    """The circuit that a cause is counted with: that of its part or wire, else of the note that adds it."""
    return knowledge.circuit_of.get(subject) or knowledge.circuit_of.get(cause, "shared")
