"""A circuit's file to be filled in by hand: every blank is `___`, and beside it stands what may be put there."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable

from diag.knowledge.assemble import Knowledge
from diag.knowledge.names import nearest, words
from diag.texts import t

__all__ = ["BLANK", "skeleton"]

BLANK = "___"
_WIDTH = 108
_SHOWN = 40


def skeleton(knowledge: Knowledge, circuit: str, folder: str, day: str) -> str:
    """The text for a circuit of this vehicle. Raises ValueError for one that it does not have."""
    if circuit not in knowledge.circuits or circuit == "supply":
        known = [name for name in knowledge.circuits if name != "supply"]
        raise ValueError(
            t(
                "found `{circuit}`; expected {known}. {nearest}",
                circuit=circuit,
                known=words(known),
                nearest=nearest(circuit, known),
            ).rstrip()
        )
    file = knowledge.circuits[circuit]
    where = "shared.yaml" if circuit == "shared" else f"circuits/{circuit}.yaml"
    parts = [*file.parts, *file.fuses, *file.earths, *file.wires]
    checks = [f"{check.id} ({check.kind}{f', {check.unit}' if check.unit else ''})" for check in file.checks]
    cautions = list(knowledge.cautions)
    return f"""\
# What a fault taught about the circuit `{circuit}` ({file.title}). Each {BLANK} is a blank to be filled in; an entry
# that is not needed goes out whole, from its dash to the next one.
# Belongs into {folder}/{where}; where there is such a file, put the entries below its own.
# Then: diag rules check
circuit: {circuit}

# controls:                          # what somebody moves for the check or the fault, where it is not known yet.
#   bonnet: [shut, open]             # its positions, the one at rest first; known controls:
{_listed(list(knowledge.controls), "#   ")}
# says:                              # how somebody is told to, where `bonnet open` does not say it well
#   bonnet: {{open: open the bonnet}}

checks:
  # Something judged by eye, ear or hand that tells the fault. Out with it where a check that is there will do:
{_listed(checks)}
  - id: {BLANK}                      # lower case letters, digits, hyphens; an id that nothing has
    title: {BLANK}                   # what is looked at, in a line
    kind: choose
    place: {BLANK}                   # {_few(knowledge.places)}
    minutes: 2 min
    choices:
      - {{value: good, label: {BLANK}}}   # what it is like where all is well
      - {{value: bad, label: {BLANK}}}    # what it is like with this fault
    usual: {{good: 0.95, bad: 0.05}}

causes:
  # A fault that is not known yet. Known ones: diag demo --fault list. Parts and wires of this circuit:
{_listed(parts)}
  - id: {BLANK}                      # part-or-wire.what-is-wrong
    title: {BLANK}                   # in a line
    frequency: 1.5                   # how often, per thousand faults: 0.3 seldom, 1.5 sometimes, 6 often
    like: {BLANK}                    # the known fault that it looks like on lamps and meter; out where nothing shows
    # while: {{door-left: open}}       # only with this control so
    # ohm: 2 ohm                     # or another resistance, or `factor: 2.5`, than that fault usually has
    source: "seen on {day}, one vehicle"

rules:
  - id: {circuit}/{BLANK}            # an id that nothing has
    title: {BLANK}                   # what is seen, in a line
    when:                            # all of it together; three conditions at most are best
      - {{check: {BLANK}, is: {BLANK}}}    # lamps: light: is dark, rhythm: is steady; readings: below: 2, above: 11
    then:
      - {{points-to: {BLANK}, weight: 6}}  # the cause; 2 speaks a little for it, 6 clearly, 20 strongly
    because: {BLANK}                 # why, in a sentence
    source: "seen on {day}, one vehicle"
    state: draft

remedies:
  - id: {BLANK}                      # an id that nothing has
    title: {BLANK}                   # in a line
    cures: [{BLANK}]                 # the cause
    steps:
      - {BLANK}
    cautions: [battery-off-first]    # {_few(cautions)}
    minutes: 15 min
    proof: [{BLANK}]                 # checks that prove it
"""


def _few(names: Iterable[str]) -> str:
    return textwrap.shorten(", ".join(names), 70, placeholder=" ...")


def _listed(names: list[str], begin: str = "  #   ") -> str:
    shown = names[:_SHOWN] + ([t("and {number} more", number=len(names) - _SHOWN)] if len(names) > _SHOWN else [])
    lines = textwrap.wrap(", ".join(shown) or "none", _WIDTH, break_on_hyphens=False, break_long_words=False)
    return "\n".join(f"{begin}{line}" for line in lines)
