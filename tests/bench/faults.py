"""Hides every derived cause of the demo vehicle, or of the one DIAG_VEHICLE names, and prints what became of it.

Run: python -m tests.bench.faults [--every N] [PART-OF-A-CAUSE-ID ...]
"""

from __future__ import annotations

import os
import sys

import numpy as np

from diag.reason.reasoner import Reasoner
from diag.talk.conversation import Conversation
from diag.talk.demo import play_through
from diag.talk.opening import Rehearsed, open_reasoner, vehicle_file
from diag.talk.rehearsal import SimulatedFitter

__all__ = ["main", "why_unseen"]


def why_unseen(reasoner: Reasoner, cause: str) -> str:
    """Why nobody would notice a cause: nothing changes at all, or only readings do."""
    predictor = reasoner.predictor
    assert predictor is not None
    row = 1 + reasoner.index[cause]
    operates = [step.operate for step in reasoner.steps.values() if not step.generated]
    if not any(predictor.touches(operate)[row] for operate in operates):
        return "changes no voltage under any control position that is checked"
    return "moves readings, but no lamp or sound enough to be called different"


def main() -> None:
    """Print totals, the causes whose first remedy was another one, and those that nobody can see."""
    reasoner = open_reasoner(vehicle_file(None))
    every, words = 1, sys.argv[1:]
    if words[:1] == ["--every"]:
        every, words = int(words[1]), words[2:]
    wanted = [c for c in reasoner.causes if not words or any(part in c.id for part in words)][::every]
    seen, first, cured, answers, to_first = 0, 0, 0, [], []
    late, unseen = [], []
    for done, cause in enumerate(wanted, start=1):
        print(f"\r{done}/{len(wanted)} {cause.id:50}", end="", file=sys.stderr, flush=True)
        fitter = SimulatedFitter(reasoner, [cause.id])
        if fitter.complaint() is None:
            unseen.append(cause.id)
            continue
        conversation = Conversation(reasoner, Rehearsed.opened(reasoner), "bench")
        played = play_through(conversation, fitter, lambda found: None, lambda message: None)
        seen += 1
        cured += played.cured
        answers.append(played.inputs)
        right = reasoner.remedy_of[reasoner.index[cause.id]]
        if played.first is not None:
            to_first.append(played.first[2])
        if played.first is not None and played.first[0] == right:
            first += 1
        else:
            late.append(f"{cause.id}: first {played.first and played.first[0]}, then {', '.join(played.remedies[1:])}")
    print(file=sys.stderr)
    print(f"causes {len(wanted)}; seen at a lamp or sound {seen}; cured {cured}; first remedy right {first}")
    print(
        f"inputs (cautions and proof included): mean {np.mean(answers):.1f}; before the first remedy, mean "
        f"{np.mean(to_first):.1f}, median {np.median(to_first):.0f}, most {max(to_first)}"
    )
    print("another remedy first:", *late, sep="\n  ")
    print("seen by nobody:", *(f"{cause}: {why_unseen(reasoner, cause)}" for cause in unseen), sep="\n  ")


if __name__ == "__main__":
    os.environ["DIAG_PACKS"] = "none"  # the shipped rules alone, whatever is installed here
    main()
