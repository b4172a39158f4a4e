"""Which circuits are drawn, with which controls and faults, and what is marked in them.

source of all expectations: common practice, no source
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

from diag.log.export import open_job
from diag.log.replayed import Replayed
from diag.log.report import Report
from diag.paper.drawings import Drawn, drawings_of
from diag.paper.found import faults_of, suspicions_of, tally_of
from diag.reason.reasoner import Reasoner
from diag.sheet.faces import LETTERS
from tests.log.jobs import ZONE, complaint, horn_sounds, write_job

Both = tuple[dict[str, Drawn], tuple[str, ...]]


def drawn(reasoner: Reasoner, path: Path) -> Both:
    """Drawings of a job by circuit, and what was not drawn."""
    found, left_out = drawings_of(*open_job(path, reasoner=reasoner, zone=ZONE))
    return {one.id.removeprefix("drawing-"): one for one in found}, left_out


@pytest.fixture(scope="module")
def both(double: tuple[Replayed, Report]) -> Both:
    """Drawings of a job with two faults in two circuits, both cured, and what was not drawn."""
    found, left_out = drawings_of(*double)
    return {one.id.removeprefix("drawing-"): one for one in found}, left_out


def test_each_fault_is_drawn_in_its_circuit_as_it_was_before_its_cure(
    both: Both,
) -> None:
    """The drawing shows the vehicle on which the answers were given."""
    double = both[0]
    assert list(double) == ["turn-signals", "oil-warning"]
    turn, oil = double["turn-signals"], double["oil-warning"]
    assert turn.operate == "key off, hazard on" and oil.operate == "key on"
    assert len(turn.faults) == 1 and turn.faults[0].startswith("Flasher unit: unit makes contact and never opens")
    assert len(oil.faults) == 1 and oil.faults[0].startswith("Oil tell-tale to the sender")
    for one in double.values():
        assert one.svg.count(">FAULT 1<") == 1 and ">! FAULT 1: " in one.svg


def test_readings_are_marked_with_their_numbers_where_they_were_taken(
    both: Both,
) -> None:
    """From the drawing to the log and back by the number."""
    oil = both[0]["oil-warning"]
    words = re.findall(r">([^<>]+)</text>", oil.svg)
    assert {"17 12.44 V", "18 0.02 V", "16 dark"} <= set(words)
    assert oil.svg.count('r="1.55"') >= 2  # a ring round both terminals that were probed
    marked = {mark.number: mark for mark in oil.marked}
    assert marked[17].where == "Oil pressure tell-tale terminal G" and marked[17].odd and marked[17].here
    assert marked[17].found == "12.44 V" and marked[17].healthy == "0.02 V" and marked[17].controls == "key on"
    assert not marked[18].odd
    assert 20 not in marked, "a healthy look after the cure says nothing of the fault"


def test_what_was_read_otherwise_than_drawn_is_marked_otherwise(reasoner: Reasoner, tmp_path: Path) -> None:
    """Volts read after the cure do not belong beside those computed with the fault."""
    volts = {"check": "own", "kind": "measure", "operate": {"horn-button": "pressed"}, "red": "horn.71"}
    volts |= {"black": "body", "unit": "V"}
    path = write_job(
        tmp_path,
        complaint("horn-silent"),
        horn_sounds("none"),
        ("found", {**volts, "value": 0.0}),
        ("remedied", {"remedy": "fuse-horn.renew"}),
        horn_sounds("sound"),
        ("found", {**volts, "value": 12.1}),
    )
    found, _ = drawn(reasoner, path)
    here = {mark.number: mark.here for mark in found["horn"].marked}
    assert here == {3: True, 4: True, 7: False}
    plain = re.sub(r"\s+", " ", found["horn"].svg)
    for number, fill in ((4, "#111111"), (7, "#ffffff")):
        sign = re.search(rf'<path d="([^"]*)" fill="(#\w+)"[^>]*/> <text [^>]*>{number} \d', plain)
        assert sign is not None and sign[2] == fill, number


def test_suspicions_are_marked_and_not_drawn_as_faults(reasoner: Reasoner, tmp_path: Path) -> None:
    """A guess drawn as a fact sends the next fitter the wrong way."""
    path = write_job(tmp_path, complaint("horn-silent"), horn_sounds("none"))
    lived, report = open_job(path, reasoner=reasoner, zone=ZONE)
    assert faults_of(report) == () and len(suspicions_of(report)) > 1 and tally_of(report).found == 0
    (horn,), _ = drawings_of(lived, report)
    assert horn.faults == () and "FAULT" not in horn.svg
    assert len(horn.suspected) == len(suspicions_of(report))
    assert horn.svg.count("SUSPECT") >= 1


def test_a_remedy_that_failed_its_proof_found_nothing(reasoner: Reasoner, tmp_path: Path) -> None:
    """The count of what was found is not the count of what was tried."""
    remedied = ("remedied", {"remedy": "fuse-horn.renew"})
    failed = write_job(tmp_path, complaint("horn-silent"), horn_sounds("none"), remedied, horn_sounds("none"))
    _, report = open_job(failed, reasoner=reasoner, zone=ZONE)
    tally = tally_of(report)
    assert (tally.done, tally.proved) == (1, 0) and all(fault.done is None for fault in faults_of(report))


def test_a_look_in_passing_draws_no_circuit(both: Both) -> None:
    """One healthy look at the charge tell-tale is no reason for a drawing of the charging; it is named instead."""
    assert both[1] == ("Charging and its tell-tale",)


def test_of_the_whole_vehicle_only_circuits_with_something_odd_are_drawn(reasoner: Reasoner, tmp_path: Path) -> None:
    """Seven drawings of healthy circuits hide the one that counts."""
    seen: list[tuple[str, dict[str, Any]]] = []
    for check in reasoner.knowledge.checks.values():
        step = reasoner.steps.get(check.id)
        if step is None or step.kind != "look" or step.circuit not in ("stop-lamps", "oil-warning"):
            continue
        table = reasoner.chances.table(step)
        light, rhythm = step.outcomes[int(table[0].argmax())]  # type: ignore[misc]
        if step.circuit == "oil-warning" and "engine" not in step.operate and "ignition" in step.operate:
            light, rhythm = "dark", "none"
        given = {"check": step.id, "kind": "look", "operate": dict(step.operate), "target": step.target}
        seen.append(("found", {**given, "value": {"light": light, "rhythm": rhythm}}))
    of = {step.circuit for step in (reasoner.steps[str(fields["check"])] for _, fields in seen)}
    odd = [event for event in seen if event[1]["value"]["light"] == "dark" and "oil" in event[1]["target"]]
    sound = [event for event in seen if "oil" not in event[1]["target"]][:8]
    assert len(of) == 2 and odd and len(sound) == 8
    begun = ("answered", {"check": "start", "kind": "choose", "operate": {}, "value": "whole"})
    found, left_out = drawn(reasoner, write_job(tmp_path, begun, *sound, *odd))
    assert list(found) == ["oil-warning"]
    assert "Stop, tail and number-plate lamps" in left_out


def test_large_drawings_are_cut_into_pieces_that_fit_paper_and_overlap(
    both: Both,
) -> None:
    """Each piece is no wider than A4 less its margins, no higher than Letter; together they show everything, at no
    less than the size at which letters are 6.5 point."""
    turn = both[0]["turn-signals"]
    size = re.search(r'width="([\d.]+)mm"[^>]*height="([\d.]+)mm"', turn.svg)
    assert size is not None and turn.size == "large" and len(turn.pieces) >= 2
    wide, high = (float(n) * 96 / 25.4 for n in size.groups())
    for piece in turn.pieces:
        x, y, across, down = piece.box
        assert piece.width <= 210 - 2 * 12 and piece.height <= 279 - 13 - 15
        assert piece.width / (across * 25.4 / 96) * LETTERS * 72 / 25.4 >= 6.49
        assert abs(piece.width / piece.height - across / down) < 0.01
    boxes = [piece.box for piece in turn.pieces]
    assert boxes[0][:2] == (0, 0)
    assert abs(max(x + across for x, _, across, _ in boxes) - wide) < 1
    assert abs(max(y + down for _, y, _, down in boxes) - high) < 1
    for x, y, _, _ in boxes[1:]:
        beside = [(a, b, c, d) for a, b, c, d in boxes if (a < x and b == y) or (b < y and a == x)]
        assert any(x < a + c - 20 or y < b + d - 20 for a, b, c, d in beside), "a wire can be followed across"
    assert both[0]["oil-warning"].size == "small" and not both[0]["oil-warning"].pieces
