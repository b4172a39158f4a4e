"""The coil with the key on and the engine stopped: how long it was live, by the times of the records, and what is
said of it.

source of the two minutes: common practice, no source
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from diag.job.records import Record, stamp
from diag.job.state import replay
from diag.reason.reasoner import Reasoner
from diag.stages import coil
from diag.talk.conversation import Conversation
from diag.talk.opening import Rehearsed
from diag.talk.rehearsal import SimulatedFitter
from diag.talk.staged import COIL_BACK_ON
from tests.stages.whole import message_for

Object = dict[str, Any]


class Timed(Rehearsed):
    """A keeper whose every record is so many seconds after the last."""

    def __init__(self, step_s: float) -> None:
        super().__init__()
        self.step_s = step_s

    def append(self, event: str, /, **fields: Any) -> Record:
        count = len(self._records)
        at = stamp(datetime(2026, 3, 1, 9, tzinfo=UTC) + timedelta(seconds=self.step_s * count))
        self._records.append(Record(1, count + 1, at, event, fields))
        return self._records[-1]


def timed(reasoner: Reasoner, step_s: float) -> Conversation:
    """A whole job whose records are so many seconds apart."""
    plain, keeper = Rehearsed.opened(reasoner), Timed(step_s)
    for record in plain.records:
        keeper.append(record.event, **dict(record.fields))
    conversation = Conversation(reasoner, keeper, "a-job")
    conversation.take({"answer": conversation.say()[-1]["id"], "value": "whole"})
    return conversation


def walked(conversation: Conversation, how: str) -> list[Object]:
    """Everything said, with the caution of the coil answered so, until the engine runs."""
    out, fitter = [], SimulatedFitter(conversation.reasoner, ())
    for stage in ("before-power", "first-power"):
        conversation.take({"stage": stage, "skip": "seen to yesterday"})
    while (said := conversation.say()[-1]).get("begins") != "engine-running":
        out.append(said)
        message = message_for(fitter, said)
        if said.get("caution-id") == coil.CAUTION:
            message = {"answer": said["id"], "value": how}
        assert conversation.take(message)["type"] == "tell"
    return out


def records(*events: tuple[float, str, Object]) -> list[Record]:
    """Records by minutes from the start."""
    begin = datetime(2026, 3, 1, 9, tzinfo=UTC)
    out = [Record(1, 1, stamp(begin), "opened", {})]
    for minutes, event, fields in events:
        out.append(Record(1, len(out) + 1, stamp(begin + timedelta(minutes=minutes)), event, fields))
    return out


def look(**operate: str) -> Object:
    """An answered look under an operate."""
    return {"check": "a-look", "kind": "look", "operate": operate}


@pytest.mark.parametrize(
    ("events", "minutes"),
    [
        ([(1, "answered", look())], 0.0),
        ([(1, "answered", look()), (2, "answered", look(ignition="on"))], 1.0),
        ([(1, "answered", look()), (2, "answered", look(ignition="on")), (4, "answered", look(ignition="on"))], 3.0),
        ([(1, "answered", look(ignition="on")), (3, "answered", look())], 0.0),
        ([(1, "answered", look(ignition="on")), (3, "answered", look(ignition="on", engine="running"))], 0.0),
        ([(1, "answered", look(ignition="on")), (3, "acknowledged", {"caution": f"{coil.REMINDER}2"})], 0.0),
        (
            [
                (1, "answered", look(ignition="on")),
                (3, "acknowledged", {"caution": f"{coil.REMINDER}2"}),
                (3.5, "answered", look(ignition="on")),
            ],
            0.5,
        ),
        ([(1, "answered", look()), (2, "answered", look(ignition="on")), (5, "noted", {"text": "rain"})], 4.0),
    ],
)
def test_minutes_are_counted_from_the_answer_before_the_key_went_on(events: Any, minutes: float) -> None:
    """The key goes on after the last answer with the key off was kept: counted long rather than short."""
    assert coil.key_on_minutes(replay(records(*events))) == pytest.approx(minutes)


def test_a_live_coil_is_reminded_of_and_the_clock_set_back(reasoner: Reasoner) -> None:
    """Every two minutes by the records, for who left it connected."""
    said = walked(timed(reasoner, 30), "two-minutes")
    reminders = [one for one in said if str(one.get("caution-id")).startswith(coil.REMINDER)]
    on = [one for one in said if one["type"] == "ask" and one["operate"].get("ignition") == "on"]
    assert len(reminders) >= 2
    assert len(reminders) <= len(on) // 4 + 1
    assert all("Key off" in one["text"] for one in reminders)
    assert COIL_BACK_ON not in [one.get("caution-id") for one in said]


def test_quick_hands_are_not_reminded(reasoner: Reasoner) -> None:
    """Two seconds an answer is within the two minutes."""
    said = walked(timed(reasoner, 2), "two-minutes")
    assert not any(str(one.get("caution-id")).startswith(coil.REMINDER) for one in said)


def test_a_coil_that_was_taken_off_goes_back_on_before_the_engine_runs(reasoner: Reasoner) -> None:
    """Off: no reminder however long it takes, and it is not forgotten."""
    conversation = timed(reasoner, 300)
    said = walked(conversation, "done")
    assert not any(str(one.get("caution-id")).startswith(coil.REMINDER) for one in said)
    assert said[-1]["caution-id"] == COIL_BACK_ON
    assert not coil.coil_is_off(conversation.state, COIL_BACK_ON)


def test_a_job_that_is_left_with_the_coil_off_says_so(reasoner: Reasoner) -> None:
    """It would not start, and nobody would know why."""
    conversation = timed(reasoner, 10)
    fitter = SimulatedFitter(reasoner, ())
    for stage in ("before-power", "first-power"):
        conversation.take({"stage": stage, "skip": "seen to yesterday"})
    while (said := conversation.say()[-1]).get("caution-id") != coil.CAUTION:
        conversation.take(message_for(fitter, said))
    assert [choice["value"] for choice in said["choices"]] == ["done", "two-minutes"]
    assert "terminal 15 of the coil is still off" not in conversation.plan.open_items
    conversation.take({"answer": said["id"], "value": "done"})
    conversation.say()
    assert "terminal 15 of the coil is still off" in conversation.plan.open_items
