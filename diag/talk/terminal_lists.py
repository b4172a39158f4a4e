"""Pages of a terminal that look something up: why or why not a cause, another complaint, an older answer, the record
of the job, the picture of a question.

Part of the terminal; must not know how a page is drawn or an answer is weighed.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from diag.errors import DiagError
from diag.knowledge.assemble import terminals_of
from diag.talk import screen, screen_why
from diag.talk.conversation import TAKE_BACK
from diag.talk.history import history_page
from diag.talk.pages import Pages
from diag.talk.picture import picture_page
from diag.talk.screen import Line
from diag.talk.standing import ask_again, error_words, newest_words, passed_so_far, symptom_ask
from diag.talk.terminal_stages import BACK_KEYS, StagedPages
from diag.talk.typed import TypedError, older_of, value_of
from diag.talk.whys import names_of
from diag.texts import t

__all__ = ["LookedUpPages"]

Object = dict[str, Any]


_AROUND, _LEAST_ROWS, _ALL = 7, 10, 60
"""Rows of a page that hold no picture; the fewest that a picture gets; so many as hold any."""


class LookedUpPages(StagedPages):
    """What a terminal looks up; the terminal has the rest."""

    pages: Pages
    _named: tuple[str, ...] = ()

    async def _from_list(self, ask: Object, title: str, can_go_back: bool = True) -> str:
        raise NotImplementedError

    async def _tell(self, ask: Object | None, body: Callable[[int], list[Line]]) -> None:
        raise NotImplementedError

    def names(self, ask: Object | None = None) -> Sequence[str]:
        """What words of one's own can go on to: the choices of a list, then circuits, parts and terminals."""
        knowledge = self.conversation.knowledge
        if not self._named:
            titles = [circuit.title for circuit in knowledge.circuits.values()]
            titles += [part.title for part in knowledge.parts.values()]
            titles += [
                f"{part.title} {part.spelled(terminal)}"
                for part in knowledge.parts.values()
                for terminal in terminals_of(part)
            ]
            self._named = tuple(dict.fromkeys(titles))
        labels = [str(choice["label"]) for choice in ask["choices"]] if ask is not None else []
        return [*labels, *self._named]

    async def _record(self) -> None:
        """All that happened so far, from its end."""
        await self._show(
            None,
            lambda width: history_page(self.conversation, width),
            keys=[("arrows", t("scroll")), *BACK_KEYS],
            always=("Enter", "q"),
            at_end=True,
        )

    async def _picture(self, ask: Object | None) -> None:
        """The way from battery to body of the question that is open: folded to the screen, then all of it."""
        step = self.conversation.reasoner.steps.get(ask["check"]) if ask is not None else None
        rows = max(self.pages.rows - _AROUND, _LEAST_ROWS)
        pressed = await self._show(
            ask,
            lambda width: picture_page(self.conversation, step, width, rows),
            keys=[("p", t("all of it")), *BACK_KEYS],
            always=("p", "Enter", "q"),
        )
        if pressed.key == "p":
            await self._tell(ask, lambda width: picture_page(self.conversation, step, width, _ALL))

    async def _why_not(self, name: str = "") -> None:
        """What speaks for and against causes that are picked or typed, until the person goes back."""
        how = t("A digit, or type the name of a part, wire or cause; Tab completes it.")
        names, kept = list(names_of(self.conversation.reasoner)), ""
        near: list[str] = []
        while True:
            picks = screen_why.picks_of(self.conversation, near)
            if not name:
                digits = "".join(str(n) for n in range(1, len(picks) + 1))
                pressed = await self._show(
                    None,
                    lambda width, picks=picks: screen_why.pick_page(picks, width, how),  # type: ignore[misc]
                    keys=[
                        (f"1-{len(picks)}", t("why")),
                        ("Enter", t("go on")),
                        ("Esc", t("back")),
                        ("Ctrl-C", t("quit, keep")),
                    ],
                    always=("Enter", "Esc", "Ctrl-C"),
                    entry="Name",
                    text=kept,
                    digits=digits,
                    live=digits,
                    names=names,
                )
                if not pressed.text and not pressed.key.isdecimal():
                    return
                name = pressed.text or picks[int(pressed.key) - 1][0]
            told = self.conversation.take({"why": name})
            refused = told["type"] == "error"
            kept, name = (name if refused and not told["expected"] else ""), ""
            near = str(told["expected"]).split(", ") if refused and told["expected"] else []
            if refused:
                self._notice = t("Nothing is called {told}. The nearest are these.", told=told["found"])
                continue
            await self._tell(None, lambda width, told=told: screen_why.account_page(told, width))  # type: ignore[misc]

    async def _symptom(self, key: str = "symptom", seq: int | None = None) -> bool:
        """Another complaint, or a corrected one, from the list of symptoms. True where it was taken."""
        ask, title = (
            symptom_ask(self.conversation),
            t("What else is wrong?") if seq is None else t("What is wrong, rightly?"),
        )
        while True:
            line = await self._from_list(ask, title)
            if not line:
                return False
            try:
                value = value_of(ask, line)
            except TypedError as error:
                self._notice = str(error)
                continue
            told = self.conversation.take({key: value} if seq is None else {key: seq, "value": value})
            if told["type"] != "error":
                self._notice = t("Kept: {newest}", newest=newest_words(self.conversation))
                return True
            self._notice = error_words(told)
            if told["code"] == "unclear":
                ask = symptom_ask(self.conversation, str(told["expected"]).split(", "))

    async def _correct(self) -> None:
        """An older answer, chosen by its number, answered anew."""
        kept = ""
        while True:
            kept = await self._text(
                t("Which answer was wrong?"),
                t("Its number"),
                lambda width: screen.older_page(self.conversation, width),
                kept,
            )
            if not kept:
                return
            try:
                seq, _ = older_of(kept)
                ask = ask_again(self.conversation, seq)
                break
            except DiagError as error:
                self._notice = str(error)
        if ask["check"] in ("start", "symptom"):
            await self._symptom("correct", seq)
            return
        passed = seq in dict(passed_so_far(self.conversation))
        while True:
            how = (
                t("Answer {seq} anew, or u: ask it again later. Esc leaves it as it was.", seq=seq)
                if passed
                else t("Answer {seq} anew. Esc leaves it as it was.", seq=seq)
            )
            self._notice = self._notice or how
            pressed, value = await self._answer(ask, "uq" if passed else "q")
            if pressed == "u":
                value = TAKE_BACK
            if pressed is None and value is None:
                return
            if not self._take({"correct": seq, "value": value}):
                self._notice = t("Corrected: answer {seq}", seq=seq)
                return
