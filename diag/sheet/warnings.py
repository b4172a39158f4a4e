"""Which cautions belong to an operate, learned from the checks that are done under like ones.

Reads what the files say of checks; knows nothing of any caution's meaning.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping

from diag.knowledge import schema
from diag.knowledge.assemble import Knowledge
from diag.reason.operates import operate_of

__all__ = ["cautions_of"]

_MOST = 0.75
"""Share of a caution's checks that makes a position one of its own: a check or two may carry it for other reasons."""


def cautions_of(knowledge: Knowledge, operate: Mapping[str, str]) -> tuple[schema.Caution, ...]:
    """The cautions that go with these positions, in the order of the files.

    A caution goes with the positions that most of its checks share (key on); and where most checks do
    without it once another control is moved as well (engine running), that control has to be at rest.
    """
    return tuple(caution for caution in knowledge.cautions.values() if _belongs(knowledge, caution.id, operate))


def _belongs(knowledge: Knowledge, caution: str, operate: Mapping[str, str]) -> bool:
    with_it = [operate_of(knowledge, check).items() for check in knowledge.checks.values() if check.caution == caution]
    counts = Counter(item for items in with_it for item in items)
    own = {item for item, count in counts.items() if count >= _MOST * len(with_it)}
    if not own or not own <= set(operate.items()):
        return False
    moved: Counter[str] = Counter()
    warned: Counter[str] = Counter()
    for check in knowledge.checks.values():
        if own <= set(operate_of(knowledge, check).items()):
            for control in operate_of(knowledge, check):
                moved[control] += 1
                warned[control] += check.caution == caution
    return not any(warned[control] * 2 < moved[control] for control in operate)
