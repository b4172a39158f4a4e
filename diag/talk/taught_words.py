"""What closed jobs taught of a cause, in words: on which counts it rests that it is held likelier than published.

Knows the reasoner and what was learned; nothing of screens or journals.
"""

from __future__ import annotations

from collections.abc import Sequence

from diag.knowledge.taught import tellers_of
from diag.reason.reasoner import Reasoner
from diag.texts import t

__all__ = ["taught_words"]

_TELLS = 1.3
"""From this ratio on it is told, as with any other reason."""
_OF = {
    "kind": t("were of this kind"),
    "circuit": t("were in this part or wire"),
    "vehicle": t("on this vehicle were this very one"),
}


def taught_words(reasoner: Reasoner, causes: Sequence[int]) -> str:
    """What was learned of the most frequent of these causes (indices); empty where that changes little."""
    if reasoner.knowledge.learned is None or not causes:
        return ""
    first = max(causes, key=lambda i: (float(reasoner.prior[i]), -i))
    times = float(reasoner.prior[first] / reasoner.published[first])
    if times < _TELLS:
        return ""
    cause = reasoner.causes[first]
    tellers = tellers_of(reasoner.knowledge, cause.kind, cause.mode, cause.subject, cause.id)
    counts = [
        t("{number:g} of {total:g} faults {of}", number=round(one.n, 1), total=one.total, of=_OF[one.level])
        for one in tellers
        if one.n >= 0.05
    ]
    return t(
        "Learned from closed jobs: {counts}; {times:.2g} times as often as published.",
        counts=", ".join(counts),
        times=times,
    )
