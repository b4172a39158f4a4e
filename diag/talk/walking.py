"""Everything to see and hear in one circuit that is to be checked, in the order of its file."""

from __future__ import annotations

from diag.reason.operates import plain
from diag.talk.known import Known
from diag.talk.nexts import Look

__all__ = ["walk", "walked"]


def walk(known: Known) -> Look | None:
    """The next look or listen of the circuit that is being proved."""
    if not _to_be_walked(known):
        return None
    for step in known.reasoner.steps.values():
        if (
            step.circuit == known.proving
            and not step.generated
            and step.kind in ("look", "listen")
            and plain(step.operate)
            and known.allowed(step)
        ):
            return Look(step, walk=known.proving)
    return None


def walked(known: Known) -> bool:
    """Whether the circuit that is being proved, not the whole vehicle, was looked at to its end."""
    if not _to_be_walked(known):
        return False
    seen = any(f.step is not None and f.step.circuit == known.proving for f in known.findings)
    return seen and walk(known) is None


def _to_be_walked(known: Known) -> bool:
    """Whether a circuit is to be checked, and was named after the last remedy."""
    if known.proving is None or known.whole:
        return False
    return not known.treated or any(
        e.period == known.state.period and str(e.fields.get("value")).startswith("circuit:")
        for e in known.state.standing("answered", "found")
        if e.fields.get("check") in ("start", "symptom")
    )
