"""How the hands are set up for a step: range, sockets, probes, and what is off first.

source of the ranges and of the sockets: common practice, no source
"""

from __future__ import annotations

import math

import pytest

from diag.reason.reasoner import Reasoner
from diag.reason.steps import BUZZER, TEST_LAMP, Deed, Step, own_step
from diag.talk.objects import ask_of
from diag.talk.plan import Look, plan_next
from diag.talk.set_up import meter_of, points_of, set_up
from tests.talk.hands import fresh


def _step(reasoner: Reasoner, deed: Deed) -> Step:
    step = own_step(reasoner.knowledge, deed)
    assert step is not None
    return step


def _rows(reasoner: Reasoner, deed: Deed, expected: float | None = None) -> dict[str, str]:
    rows = set_up(reasoner.knowledge, _step(reasoner, deed), expected)
    assert len({row.label for row in rows}) == len(rows), "no label twice"
    return {row.label: row.words for row in rows}


VOLTS = Deed("measure", {"ignition": "on"}, red="horn.71", black="body", unit="V")


@pytest.mark.parametrize(
    ("system_v", "expected", "top"),
    [(12, 12.5, 20), (12, 0.02, 20), (12, None, 20), (6, 6.4, 20), (24, 25.0, 200), (24, 0.1, 200), (12, 25.0, 200)],
)
def test_volts_are_measured_above_a_charging_battery(
    reasoner: Reasoner, system_v: float, expected: float | None, top: float
) -> None:
    """A drop of nothing is battery volts once something is open: the range must bear that."""
    meter = meter_of(_step(reasoner, VOLTS), system_v, expected)
    assert meter is not None and meter.top == top and meter.words == f"DC volts, {top:g} V range"


@pytest.mark.parametrize(
    ("expected", "words"), [(0.3, "200 ohm"), (None, "200 ohm"), (320.0, "2 kohm"), (math.inf, "20 kohm")]
)
def test_ohms_are_measured_on_the_lowest_range_that_holds_them(
    reasoner: Reasoner, expected: float | None, words: str
) -> None:
    """A contact of half an ohm is nothing on the range for thousands."""
    meter = meter_of(_step(reasoner, Deed("measure", {}, red="horn.71", black="body", unit="ohm")), 12.0, expected)
    assert meter is not None and meter.words == f"ohms, {words} range"


def test_power_is_off_before_ohms_and_continuity(reasoner: Reasoner) -> None:
    """With power on the number means nothing."""
    for deed in (
        Deed("measure", {}, red="horn.71", black="body", unit="ohm"),
        Deed("listen", {}, BUZZER, "horn.71", "horn.31b"),
    ):
        rows = set_up(reasoner.knowledge, _step(reasoner, deed))
        assert (rows[0].label, rows[0].words) == ("Power", "off: battery disconnected")


def test_amps_say_the_socket_and_to_plug_back(reasoner: Reasoner) -> None:
    """A lead left in the amps socket shorts the battery at the next volts."""
    rows = _rows(reasoner, Deed("measure", {}, through="fuse-stop", unit="A"), 3.4)
    assert rows["Lead"] == "red lead in the 10 A socket, black in COM"
    assert "comes out" in rows["Out"] and rows["Red"].endswith("feed side (in)") and "V socket" in rows["After"]
    assert "Mind" not in rows
    assert "Clamp" in _rows(reasoner, Deed("measure", {}, through="fuse-stop", unit="A"), 14.0)["Mind"]


def test_a_wire_is_opened_where_it_is_not_bolted_to_body(reasoner: Reasoner) -> None:
    """Red is where the reading counts from: current that enters the wire's first end is positive."""
    knowledge = reasoner.knowledge
    for wire_id in knowledge.wires:
        step = _step(reasoner, Deed("measure", {}, through=wire_id, unit="A"))
        (_, red), (_, black) = points_of(knowledge, step)
        assert (red == knowledge.wires[wire_id].from_) != (red == wire_id)
        assert (black == wire_id) if red != wire_id else (black == knowledge.wires[wire_id].to)


def test_a_test_lamp_has_clip_and_tip(reasoner: Reasoner) -> None:
    """Clip to body for a feed; on what is live for an earth."""
    feed = _rows(reasoner, Deed("look", {}, TEST_LAMP, "horn.71", "body"))
    assert "body" in feed["Clip"] and feed["Tip"] == "on Horn terminal 71"
    earth = _rows(reasoner, Deed("look", {}, TEST_LAMP, "battery.B+", "earth-column.31"))
    assert "B+" in earth["Clip"] and earth["Tip"].endswith("terminal 31")


def test_every_step_says_what_to_set_and_an_ask_carries_it(reasoner: Reasoner) -> None:
    """No step without rows but a plain choice; every probe of a reading is named."""
    for step in reasoner.steps.values():
        rows = set_up(reasoner.knowledge, step)
        assert rows or (step.kind == "choose" and not step.operate)
        assert (step.kind == "measure") == ({"Meter", "Red", "Black"} <= {row.label for row in rows})
        assert all(row.words and len(row.label) <= 6 for row in rows)
    step = next(step for step in reasoner.steps.values() if step.unit == "V")
    ask = ask_of(reasoner, plan_next(reasoner, fresh(reasoner).state), Look(step), "q")
    assert ask["leads"] == {"red": step.red, "black": step.black} and ask["meter"]["socket"] == "V"
    assert [row["label"] for row in ask["setup"]][-2:] == ["Red", "Black"]


def test_the_isolator_is_proved_with_the_clamp_on(reasoner: Reasoner) -> None:
    """With the clamp off the reading is OL whether the isolator parts or not; and no caution takes it off before."""
    step = reasoner.steps["isolator-open-ohms"]
    rows = {row.label: row.words for row in set_up(reasoner.knowledge, step)}
    assert rows["Power"] == "off: isolator open, earth clamp on its post"
    assert "clamp off" not in reasoner.knowledge.cautions[step.caution or ""].text
