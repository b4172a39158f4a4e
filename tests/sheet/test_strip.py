"""The way from battery to body as text: what must be on it, in which order, marked where the probes go."""

from __future__ import annotations

import re

import pytest

from diag.circuit.network import BODY
from diag.reason.reasoner import Reasoner
from diag.sheet.strip import strip
from diag.sheet.thread import thread_of
from diag.sheet.ways import Ways, end_part

PRESSED = {"horn-button": "pressed"}
LEFT = {"ignition": "on", "turn": "left"}
STOP = {"ignition": "on", "brake-pedal": "pressed"}


@pytest.fixture(scope="module")
def ways(reasoner: Reasoner) -> Ways:
    """Of the pickup with six circuits."""
    return Ways.of(reasoner.knowledge, reasoner.predictor.network)  # type: ignore[union-attr]


def drawn(
    reasoner: Reasoner,
    ways: Ways,
    marks: list[tuple[str, str]],
    operate: dict[str, str] | None = None,
    width: int = 40,
    rows: int = 25,
    circuit: str = "",
) -> list[str]:
    """The lines of one way."""
    assert reasoner.predictor is not None
    return strip(reasoner.knowledge, reasoner.predictor.network, ways, marks, width, rows, operate, circuit)


def at(lines: list[str], words: str) -> int:
    """The only line that has these words."""
    found = [i for i, line in enumerate(lines) if words in line]
    assert len(found) == 1, (words, lines)
    return found[0]


def test_the_horn_from_battery_to_body(reasoner: Reasoner, ways: Ways) -> None:
    """Fuse before horn, horn before the button that completes its earth; each probe once, wires by their colour."""
    lines = drawn(reasoner, ways, [("R", "fuse-horn.in"), ("B", BODY)], PRESSED)
    order = [at(lines, words) for words in ("B+ Battery", "Horn fuse, 8 A", "71 Horn", "Horn button", "== body")]
    assert order == sorted(order)
    assert at(lines, "R>") == at(lines, "in [=] Horn fuse, 8 A") and at(lines, "B>") == at(lines, "== body")
    assert at(lines, "black/yellow") == order[1] + 2
    assert "open" not in lines[order[3]], "the button is pressed"
    assert "open" in next(line for line in drawn(reasoner, ways, [("R", "horn.71")]) if "Horn button" in line)


def test_the_turn_lamps_by_way_of_key_hazard_switch_and_flasher_unit(reasoner: Reasoner, ways: Ways) -> None:
    """With the key on the feed comes by the turn fuse; with hazard by its own."""
    lines = drawn(reasoner, ways, [("R", "turn-lamp-rear-left.L"), ("B", BODY)], LEFT, rows=40)
    names = ("Key switch", "Turn signal fuse", "Hazard switch", "Flasher unit", "/- Turn switch", "(x) Rear left")
    order = [at(lines, words) for words in names]
    assert order == sorted(order)
    assert any("also to" in line or "more lamps" in line for line in lines), "the front lamp hangs there too"
    hazard = drawn(reasoner, ways, [("R", "flasher-unit.49")], {"hazard": "on"}, rows=40)
    assert any("Hazard fuse" in line for line in hazard) and not any("Turn signal fuse" in line for line in hazard)


def test_no_line_is_too_wide_every_probe_is_marked_once_and_nothing_changes(reasoner: Reasoner, ways: Ways) -> None:
    """For every terminal of the vehicle, on a phone and on a wide screen."""
    for point in reasoner.knowledge.terminals:
        for width, rows in ((40, 25), (100, 25)):
            lines = drawn(reasoner, ways, [("R", point), ("B", BODY)], LEFT, width, rows)
            assert max(map(len, lines)) <= width, lines
            assert len(lines) <= rows, lines
            assert sum("R>" in line for line in lines) == sum("B>" in line for line in lines) == 1, (point, lines)
            spelled = reasoner.knowledge.parts[end_part(point)].spelled(point.partition(".")[2])
            assert re.match(rf"R> +{re.escape(spelled)}\b|R> +{re.escape(spelled)}", lines[at(lines, "R>")])
            assert "elsewhere" not in " ".join(lines)
            assert lines == drawn(reasoner, ways, [("R", point), ("B", BODY)], LEFT, width, rows)


def test_a_fuse_lies_before_a_switch_and_both_before_the_lamp(reasoner: Reasoner, ways: Ways) -> None:
    """Of every stop and tail lamp and headlamp filament; the order is that of the wiring, not of the files."""
    for lamp, operate in (("stop-lamp-left.54", STOP), ("stop-lamp-right.54", STOP)):
        lines = drawn(reasoner, ways, [("R", lamp)], operate, rows=40)
        assert at(lines, "Stop lamp fuse") < at(lines, "Stop lamp switch") < at(lines, "R>")
    lines = drawn(reasoner, ways, [("R", "headlamp-left.56b")], {"lights": "head"}, rows=40)
    assert at(lines, "Light switch") < at(lines, "Dip switch") < at(lines, "Fuse of the left dipped") < at(lines, "R>")


def test_what_does_not_fit_is_folded_and_the_probed_point_stays(reasoner: Reasoner, ways: Ways) -> None:
    """Parts far from the probes go first, and it is said how many."""
    full = drawn(reasoner, ways, [("R", "turn-lamp-rear-left.L")], LEFT, rows=60)
    few = drawn(reasoner, ways, [("R", "turn-lamp-rear-left.L")], LEFT, rows=12)
    assert len(few) <= 12 < len(full)
    assert re.search(r"\.\.\. \d+ more: ", "\n".join(few)) and not re.search(r"\d+ more: ", "\n".join(full))
    assert "Battery" in few[0] and "== body" in few[-1] and at(few, "R>") > 0


def test_a_wire_that_is_off_and_a_meter_in_line(reasoner: Reasoner, ways: Ways) -> None:
    """The wire's end has a mark of its own; what is taken off is said to be."""
    off = drawn(reasoner, ways, [("R", "horn.31b")], {"unplugged": "horn.31b"})
    assert off[at(off, "taken off")].strip().startswith(":")
    assert at(off, "taken off") == at(off, "R>") + 1
    lines = drawn(reasoner, ways, [("R", "horn.31b"), ("B", "horn-to-column")])
    assert lines[at(lines, "B>")].split()[1] == "|"


def test_both_posts_the_return_and_what_no_one_way_holds(reasoner: Reasoner, ways: Ways) -> None:
    """The return is drawn from the post to body; a second point on another branch is named."""
    posts = drawn(reasoner, ways, [("R", "battery.B+"), ("B", "battery.B-")])
    assert at(posts, "R>") + 1 == at(posts, "B>")
    home = drawn(reasoner, ways, [("R", BODY), ("B", "battery.B-")])
    assert not any("fuse" in line for line in home) and at(home, "R>") == len(home) - 1
    apart = drawn(reasoner, ways, [("R", "stop-lamp-left.54"), ("B", "earth-rear-right.31")], STOP)
    assert "elsewhere" in apart[at(apart, "B>")]


def test_a_feed_for_all_is_drawn_to_where_the_circuits_part(reasoner: Reasoner, ways: Ways) -> None:
    """Or, where one circuit matters, on through that one."""
    bar = drawn(reasoner, ways, [("R", "bus-15.1")], {"ignition": "on"})
    assert any("to the other circuits" in line for line in bar) and not any("fuse," in line for line in bar)
    horn = drawn(reasoner, ways, [("R", "bus-30.in")], PRESSED, rows=40, circuit="horn")
    assert any("Horn fuse" in line for line in horn)


def test_the_charge_lamp_is_fed_through_the_key_not_back_through_the_cut_out(reasoner: Reasoner, ways: Ways) -> None:
    """A cut-out passes nothing until the dynamo charges."""
    assert reasoner.predictor is not None
    found = thread_of(
        reasoner.knowledge, reasoner.predictor.network, ways, ["charge-lamp.61"], {"ignition": "on"}, "charge-warning"
    )
    assert "key-switch.15" in found.points and found.points[-1] == BODY
