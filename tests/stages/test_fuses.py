"""Fuses against the wires that they guard.

source: the bench's own table of what wires carry; which wires hang behind a fuse is drawn once more by hand here
"""

from __future__ import annotations

from pathlib import Path

import pytest

from diag.calc.copper import continuous_a
from diag.knowledge.load import load_knowledge
from diag.reason.engine import default_matcher
from diag.reason.reasoner import Reasoner
from diag.stages.fuses import fuse_lines, guarded

VEHICLE = """vehicle: thin
title: A van with one thin wire
system-v: 12 V
earth: negative
history: rewired
circuits: [horn]
overrides:
  wires:
    horn-feed: {section-mm2: %s mm2}
"""


def lines(tmp_path: Path, section: float) -> dict[str, object]:
    """Lines by fuse of a van whose horn feed has that section."""
    file = tmp_path / "thin.yaml"
    file.write_text(VEHICLE % section, encoding="utf-8")
    reasoner = Reasoner(load_knowledge(file), None, default_matcher())
    return {line.fuse: line for line in fuse_lines(reasoner)}


def test_wires_behind_the_horn_fuse_end_at_the_horn(reasoner: Reasoner) -> None:
    """A load limits the current; the link before the fuse is guarded by something else."""
    assert reasoner.predictor is not None
    assert guarded(reasoner.knowledge, reasoner.predictor.network, "fuse-horn") == {"horn-feed"}
    stop = guarded(reasoner.knowledge, reasoner.predictor.network, "fuse-stop")
    assert stop
    assert all(reasoner.knowledge.circuit_of[name] in ("stop-lamps", "turn-signals") for name in stop)
    assert not stop & guarded(reasoner.knowledge, reasoner.predictor.network, "fuse-tail")


@pytest.mark.parametrize(("section", "holds"), [(0.35, False), (0.5, False), (1.0, True), (2.5, True)])
def test_a_thin_wire_is_told_and_a_thick_one_is_not(tmp_path: Path, section: float, holds: bool) -> None:
    """An 8 A fuse holds what carries 8 A for good."""
    line = lines(tmp_path, section)["fuse-horn"]
    assert line.wire == "horn-feed"  # type: ignore[attr-defined]
    assert line.holds is holds  # type: ignore[attr-defined]
    assert (continuous_a(section) >= 8) is holds
    assert ("LARGE" in line.words) is not holds  # type: ignore[attr-defined]


def test_every_fuse_has_a_line_with_its_thinnest_wire(reasoner: Reasoner) -> None:
    """A fuse that nobody looked at is the one that burns."""
    knowledge = reasoner.knowledge
    found = {line.fuse: line for line in fuse_lines(reasoner)}
    assert set(found) == {name for name in knowledge.parts if name.startswith("fuse-")}
    for line in found.values():
        assert reasoner.predictor is not None
        behind = guarded(knowledge, reasoner.predictor.network, line.fuse)
        assert line.section_mm2 == min(knowledge.wires[name].section_mm2 for name in behind)
