"""The last page says of each work whether it cured it."""

from __future__ import annotations

from diag.reason.reasoner import Reasoner
from diag.talk.screen_end import end_page
from tests.talk.hands import fresh


def test_each_work_is_said_to_be_proved_or_not_cured_or_not_proved(reasoner: Reasoner) -> None:
    """A new fuse that changed nothing must not read like the new horn that cured it."""
    conversation = fresh(reasoner)
    ask = conversation.say()[-1]
    conversation.take({"answer": ask["id"], "value": "horn-silent"})
    check = reasoner.remedies["horn-renew"].proof[0]
    fuse = next(name for name in reasoner.remedies if "horn" in name and "fuse" in name)
    assert check in reasoner.remedies[fuse].proof
    ends = []
    for remedy, sound in ((fuse, "none"), ("horn-renew", "sound")):
        assert conversation.take({"remedied": remedy})["type"] == "tell"
        ends.append(" ".join(line.text for line in end_page(conversation, [], 200)))
        assert conversation.take({"found": {"check": check, "value": sound}})["type"] == "tell"
    last = " ".join(line.text for line in end_page(conversation, [], 200))
    assert "Renew Horn fuse: not proved" in ends[0]
    assert "Renew Horn fuse: NOT cured by it" in ends[1] and "Renew Horn fuse: NOT cured by it" in last
    assert "Renew the horn: proved" in last
