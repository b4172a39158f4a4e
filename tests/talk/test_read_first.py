"""A key that says "I read this" counts for a page that was in view, and that was seen to its end."""

from __future__ import annotations

import pytest

from diag.reason.reasoner import Reasoner
from diag.talk.conversation import Conversation
from tests.stages.whole import fresh
from tests.talk.hands import STOP, sit


def at_walk_round(reasoner: Reasoner) -> Conversation:
    """A whole vehicle whose first pages are passed over, before its first group of looks."""
    conversation = fresh(reasoner)
    for stage in ("before-power", "first-power"):
        conversation.take({"stage": stage, "skip": "done yesterday"})
    return conversation


def test_keys_pressed_before_a_page_stood_there_do_not_say_that_it_was_read(reasoner: Reasoner) -> None:
    """A burst of keys on one page goes no further than the next page that has to be read."""
    sitting = sit(fresh(reasoner), ["ddd"])
    assert len(sitting.records("acknowledged")) == 1
    assert "Read first, then d." in " ".join(sitting.seen[-1].split())


def test_a_list_of_looks_is_all_right_only_once_its_end_was_seen(reasoner: Reasoner) -> None:
    """`d` turns the page while looks are below the screen."""
    conversation = at_walk_round(reasoner)

    def hands(seen: str) -> str:
        if "| 8 answers" in seen:
            return STOP
        return "d" if "d done" in seen or "d go on" in seen or "d all right" in seen else "1"

    seen = sit(conversation, hands, 40, 11).seen
    first = next(n for n, page in enumerate(seen) if "d all right" in page and "more lines" in page)
    assert "comes here" in seen[first + 1] and "-- end" in seen[first + 1]


@pytest.mark.parametrize("settle_s,taken", [(60.0, 0), (0.0, 1)])
def test_a_double_tap_is_too_quick_to_have_read(reasoner: Reasoner, settle_s: float, taken: int) -> None:
    """A key counts only once the page stood there for a moment; before it, it is dropped and told."""
    sitting = sit(fresh(reasoner), ["d" + STOP], settle_s=settle_s)
    assert len(sitting.records("acknowledged")) == taken
