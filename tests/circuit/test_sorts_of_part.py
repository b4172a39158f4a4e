"""Sorts of part that kinds.yaml bases on a kind: ways of their own to fail, each computed as a way of the kind."""

from __future__ import annotations

from pathlib import Path

import pytest

from diag.circuit.doubts import cause_problems
from diag.circuit.faults import Cause, derive_causes
from diag.circuit.parts import build_network
from diag.errors import Problem
from diag.knowledge.assemble import Knowledge
from diag.knowledge.layers import Layer
from diag.knowledge.load import load_knowledge
from tests.knowledge.small import Small, write_small

_SOURCE = 'source: "common practice, no source"'
_SORTS = f"""\
sorts:
  pear-switch:
    based-on: switch
    without: [swapped]
    modes:
      cord-broken: {{title: pull cord broken, like: open, frequency: 30, rewired: 3, remedy: overhaul, {_SOURCE}}}
      contact-furred: {{title: contact furred up, like: resistive, ohm: 6 ohm, spread: 0.3, frequency: 9, rewired: 9,
        at-times: 0.1, remedy: overhaul, {_SOURCE}}}
      stuck: {{title: will not let go, frequency: 8, rewired: 8, remedy: overhaul, {_SOURCE}}}
remedies:
"""


def _written(folder: Path, sorts: str = _SORTS, part: str = "kind: switch\n    sort: pear-switch\n") -> Small:
    return write_small(folder, ("kinds.yaml", "remedies:\n", sorts), ("supply.yaml", "kind: switch\n", part))


def _causes(knowledge: Knowledge) -> dict[str, Cause]:
    found = derive_causes(knowledge, build_network(knowledge))
    return {cause.id: cause for cause in found if cause.subject == "key-switch"}


def _problems(small: Small) -> list[Problem]:
    problems = small.problems()
    if problems:
        return problems
    knowledge = small.load()
    network = build_network(knowledge)
    return cause_problems(knowledge, network, {cause.id for cause in derive_causes(knowledge, network)})


def test_a_sort_fails_in_its_own_ways_and_in_those_of_its_kind(tmp_path: Path) -> None:
    """Added, reworded, taken away and left as they are."""
    plain, own = (
        _causes(_written(tmp_path / name, part=part).load())
        for name, part in (("plain", "kind: switch\n"), ("own", "kind: switch\n    sort: pear-switch\n"))
    )
    assert own.keys() - plain.keys() == {
        "key-switch.cord-broken-30-15",
        "key-switch.contact-furred-30-15",
        "key-switch.contact-furred-30-15-at-times",
    }
    assert own["key-switch.cord-broken-30-15"].change == own["key-switch.open-30-15"].change
    assert own["key-switch.cord-broken-30-15"].title == "Key switch: pull cord broken 30 to 15"
    furred, usual = own["key-switch.contact-furred-30-15"], own["key-switch.resistive-30-15"]
    assert furred.change is not None and list(furred.change.added_ohm.values()) == [6.0] and furred.spread == 0.3
    assert usual.change is not None and list(usual.change.added_ohm.values()) == [1.0]
    assert own["key-switch.contact-furred-30-15-at-times"].frequency == pytest.approx(0.9)
    assert (plain["key-switch.stuck-30-15"].frequency, own["key-switch.stuck-30-15"].frequency) == (5.0, 8.0)
    assert own["key-switch.stuck-30-15"].title == "Key switch: will not let go 30 to 15"


def test_a_layer_adds_a_sort(tmp_path: Path) -> None:
    """A pack may bring a sort of part of its own, and replace one of a lower layer."""
    small = _written(tmp_path / "base", part="kind: switch\n    sort: pear-switch\n")
    pack = tmp_path / "pack"
    pack.mkdir()
    (pack / "kinds.yaml").write_text("sorts:\n  pear-switch: {based-on: switch, without: [open]}\n", encoding="utf-8")
    layer = Layer("own", "Own", "1", pack, "folder", "")
    knowledge = load_knowledge(small.vehicle, small.rules, (layer,))
    assert [(one.id, one.section) for one in knowledge.replaced] == [("pear-switch", "sorts")]
    assert "key-switch.open-30-15" not in _causes(knowledge) and "key-switch.cord-broken-30-15" not in _causes(
        knowledge
    )


@pytest.mark.parametrize(
    ("old", "new", "what", "mend"),
    [
        ("based-on: switch", "based-on: swich", "no such kind of part", "Did you mean `switch`?"),
        ("based-on: switch", "based-on: lamp", "a `pear-switch` is a lamp and not a switch", "`kind: lamp`"),
        ("without: [swapped]", "without: [swaped]", "no such mode", "`swapped`"),
        ("like: open", "like: opened", "a switch does not fail in this way", "`open`"),
        ("like: open", "like: open, ohm: 3 ohm", "a switch that is `open` has no `ohm`", "Leave it out."),
        ("ohm: 6 ohm", "factor: 6", "has no `factor`", "Leave it out."),
        ("like: open, ", "", "a switch does not fail in this way", "`like`"),
        ("remedy: overhaul", "remedy: overhal", "no such remedy form", "`overhaul`"),
    ],
)
def test_mistakes_in_a_sort_are_told(tmp_path: Path, old: str, new: str, what: str, mend: str) -> None:
    """At the file and line of kinds.yaml, or of the part."""
    problems = _problems(_written(tmp_path, _SORTS.replace(old, new, 1)))
    assert problems and what in problems[-1].what and mend in problems[-1].mend, problems
    assert problems[-1].place.line


def test_a_part_of_a_sort_that_nobody_gives(tmp_path: Path) -> None:
    """The nearest sort is offered."""
    problems = _problems(_written(tmp_path, part="kind: switch\n    sort: pair-switch\n"))
    assert [problem.mend for problem in problems] == ["Did you mean `pear-switch`?"]
