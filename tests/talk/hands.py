"""Hands at the keyboard for tests: one piece of typing for every page that is shown, and what was on it."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from functools import cache
from typing import Any

from prompt_toolkit.application import create_app_session
from prompt_toolkit.data_structures import Size
from prompt_toolkit.input import create_pipe_input
from prompt_toolkit.input.base import PipeInput
from prompt_toolkit.output import DummyOutput

from diag.knowledge.targets import target_title
from diag.reason.reasoner import Reasoner
from diag.talk.conversation import Conversation
from diag.talk.opening import Rehearsed
from diag.talk.pages import Page, Pages, Pressed
from diag.talk.rehearsal import SimulatedFitter
from diag.talk.terminal import Terminal
from diag.talk.typed import LOOK_ORDER

STOP = "\x03"


class Sized(DummyOutput):
    """A screen of a given size that shows nothing."""

    def __init__(self, columns: int, rows: int) -> None:
        self.size = Size(rows=rows, columns=columns)

    def get_size(self) -> Size:
        return self.size


class Watched(Pages):
    """Pages that are typed at: `hands` gives the typing for the page that it sees, once it stands on the screen."""

    def __init__(self, hands: Callable[[str], str], keyboard: PipeInput) -> None:
        super().__init__()
        self.settle_s = 0.0
        self.hands, self.keyboard = hands, keyboard
        self.seen: list[str] = []
        self.entries: list[str] = []

    async def show(self, page: Page) -> Pressed:
        self._page, self._offset = page, 0
        self.entries.append(page.text)
        self._see()
        return await asyncio.wait_for(super().show(page), 20)  # a page that waits for more typing would hang the run

    def _in_view(self) -> None:
        if self.seen:
            self.keyboard.send_text(self.hands(self.seen[-1]))

    def _too_early(self, data: str) -> None:
        super()._too_early(data)
        self._see()

    def _pressed(self, name: str, data: str) -> Pressed | None:
        out = super()._pressed(name, data)
        if out is None:
            self._see()
            if "comes here" in self._page.note:  # who reads on presses it again
                self.keyboard.send_text(data)
        return out

    def _see(self) -> None:
        top, foot = self.frame()
        self.seen.append("\n".join(line.text for line in [*top, *foot]))


@dataclass
class Sitting:
    """What a sitting left: pages seen in order, what stood in each entry at first, the conversation."""

    conversation: Conversation
    seen: list[str] = field(default_factory=list)
    entries: list[str] = field(default_factory=list)

    def records(self, event: str) -> list[dict[str, Any]]:
        """Fields of the kept records of one event."""
        return [dict(r.fields) for r in self.conversation.keeper.records if r.event == event]


def fresh(reasoner: Reasoner) -> Conversation:
    """A new job in memory."""
    return Conversation(reasoner, Rehearsed.opened(reasoner), "a-job")


def sit(
    conversation: Conversation,
    hands: Callable[[str], str] | list[str],
    columns: int = 40,
    rows: int = 20,
    settle_s: float = 0.0,
) -> Sitting:
    """Run the terminal with these hands until they stop; a list is a piece for each page, typed once it is in view."""
    if isinstance(hands, list):
        pieces: Iterator[str] = iter([*hands, STOP])
        typing = lambda seen: next(pieces, STOP)  # noqa: E731
    else:
        typing = hands
    with create_pipe_input() as keyboard, create_app_session(input=keyboard, output=Sized(columns, rows)):
        pages = Watched(typing, keyboard)
        pages.settle_s = settle_s
        Terminal(conversation, (), pages).run()
    return Sitting(conversation, pages.seen, pages.entries)


@cache
def first_look(reasoner: Reasoner) -> tuple[str, str]:
    """A complaint whose first question is a look at a lamp, and that lamp's title, whatever is chosen today."""
    for symptom in reasoner.knowledge.symptoms:
        conversation = fresh(reasoner)
        conversation.say()
        start = conversation.open_ask
        assert start is not None
        conversation.take({"answer": start["id"], "value": symptom})
        conversation.say()
        ask = conversation.open_ask
        if ask is not None and ask["kind"] == "look" and not ask["check"].startswith("lamp:"):
            return symptom, target_title(reasoner.knowledge, ask["target"])
    raise AssertionError("no complaint leads to a look at a lamp at once")


def key_for(fitter: SimulatedFitter, ask: dict[str, Any]) -> str:
    """What a fitter types at the terminal for this ask."""
    value = fitter.answer(ask)["value"]
    if value == "not-sure":
        return "n"
    if ask["check"] == "start":
        return f"{value}\r"
    if ask["kind"] == "do":
        return "d"
    if ask["kind"] == "measure":
        return "OL\r" if value == "OL" else f"{value:g} {ask['unit']}\r"
    if ask["kind"] == "look":
        number = LOOK_ORDER.index((value["light"], value["rhythm"])) + 1
        return str(number) if number <= 9 else f"0{number - 9}"
    return str([choice["value"] for choice in ask["choices"]].index(value) + 1)
