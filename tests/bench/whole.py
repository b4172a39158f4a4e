"""A whole vehicle proved in stages by a simulated fitter: what the order saves, how many answers, and the time.

Run: python -m tests.bench.whole [VEHICLE.yaml] [CAUSE ...]; the demo pickup with two faults where none is named.
"""

from __future__ import annotations

import os
import sys
import time
from pathlib import Path

from diag.knowledge.load import default_vehicle
from diag.stages.course import course_of
from diag.talk.opening import open_reasoner
from diag.talk.rehearsal import SimulatedFitter
from diag.talk.stage_words import route_words
from tests.stages.whole import fresh, play

_FAULTS = ("dip-switch.swapped-56a-56b", "horn-to-column.to-body")


def main() -> None:
    """Play it and print."""
    given = [word for word in sys.argv[1:] if not word.endswith(".yaml")]
    file = next((Path(word) for word in sys.argv[1:] if word.endswith(".yaml")), default_vehicle())
    began = time.process_time()
    reasoner = open_reasoner(file)
    opened = time.process_time()
    conversation = fresh(reasoner)
    fitter = SimulatedFitter(reasoner, given or _FAULTS)
    lived = list(play(conversation, fitter))
    took = time.process_time() - opened
    for helper in (False, True):
        for stage, route in course_of(reasoner, helper).routes.items():
            print(f"{stage}, {'with a helper' if helper else 'alone'}: {' '.join(route_words(route))}")
    work = [message["remedied"] for _, message in lived if "remedied" in message]
    answers = len(conversation.findings())
    print(f"cured: {fitter.cured}, by {', '.join(work)}; {answers} answers in {len(lived)} pages")
    print(f"opened in {opened - began:.1f} s, played in {took:.1f} s of computing")


if __name__ == "__main__":
    os.environ["DIAG_PACKS"] = "none"  # the shipped rules alone, whatever is installed here
    main()
