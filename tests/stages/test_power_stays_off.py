"""While the lamp in series shines with the key off, or the battery reads backwards, nothing connects the battery.

source: common practice, no source
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from diag.reason.reasoner import Reasoner
from diag.stages.course import BEFORE_POWER
from diag.talk.conversation import Conversation
from diag.talk.rehearsal import SimulatedFitter
from tests.stages.test_before_power import powered
from tests.stages.whole import fresh, message_for

Object = dict[str, Any]


def go(conversation: Conversation, reasoner: Reasoner, said: Mapping[str, Object], most: int) -> list[Object]:
    """A sound vehicle's answers but for the checks in `said`; the asks in order, up to `most`."""
    fitter, asks = SimulatedFitter(reasoner, ()), []
    for _ in range(most):
        now = conversation.say()[-1]
        if now["type"] == "end" or (now["type"] == "conclude" and not now["remedies"]):
            break
        if now["type"] == "ask":
            asks.append(now)
        if now.get("check") in said and now["kind"] != "do":
            assert conversation.take({"answer": now["id"], "value": said[now["check"]]})["type"] == "tell"
        else:
            assert conversation.take(message_for(fitter, now))["type"] == "tell"
    return asks


def connects(reasoner: Reasoner, ask: Object) -> bool:
    step = reasoner.steps.get(ask["check"])
    return (step is not None and powered(step)) or "earth clamp on the battery" in str(ask["text"])


def test_a_lamp_that_shines_with_the_key_off_keeps_the_battery_off(reasoner: Reasoner) -> None:
    """Also where the stage before was skipped, and where nothing that is known explains it."""
    conversation = fresh(reasoner)
    go(conversation, reasoner, {}, 1)
    assert conversation.take({"stage": BEFORE_POWER, "skip": "done last week"})["type"] == "tell"
    lit = {"light": "normal", "rhythm": "steady"}
    asks = go(conversation, reasoner, {"series-lamp:rest": lit, "series-lamp:key-on": lit}, 40)
    seen = [ask["check"] for ask in asks]
    assert "series-lamp:rest" in seen and len(asks) == 40, "it goes on asking"
    assert not [ask["check"] for ask in asks if connects(reasoner, ask)]
    assert seen.count("series-lamp:rest") > 2 or any(name.startswith("series-lamp:without") for name in seen)


def test_once_it_is_dark_the_job_goes_on(reasoner: Reasoner) -> None:
    conversation = fresh(reasoner)
    go(conversation, reasoner, {}, 1)
    conversation.take({"stage": BEFORE_POWER, "skip": "done last week"})
    go(conversation, reasoner, {"series-lamp:rest": {"light": "normal", "rhythm": "steady"}}, 12)
    asks = go(conversation, reasoner, {}, 60)
    assert any(connects(reasoner, ask) for ask in asks)


def test_a_battery_that_reads_backwards_is_not_connected(reasoner: Reasoner) -> None:
    """Reversed polarity kills diodes: a minus before the volts at its own posts stops the way to power."""
    conversation = fresh(reasoner)
    asks = go(conversation, reasoner, {"battery-post-volts": -12.6}, 60)
    assert "battery-post-volts" in [ask["check"] for ask in asks]
    after = asks[[ask["check"] for ask in asks].index("battery-post-volts") + 1 :]
    assert not [ask["check"] for ask in after if connects(reasoner, ask)]
