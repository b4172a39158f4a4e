"""Pages that only a job in stages has: looks answered together, where the stages stand, skipping one, leaving
something open. Part of the terminal; must not know how a page is drawn or an answer is weighed.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from diag.stages.course import FAULTS, STAGES
from diag.talk import screen
from diag.talk.conversation import ALL_RIGHT, NOT_SURE, Conversation
from diag.talk.pages import Pressed
from diag.talk.screen import Line
from diag.talk.standing import ask_for, open_problems
from diag.talk.typed import KEYS, Command
from diag.texts import t

__all__ = ["BACK_KEYS", "StagedPages"]

Object = dict[str, Any]
BACK_KEYS = [("Enter", t("back")), ("q", t("quit"))]


class StagedPages:
    """What a terminal adds for a job in stages; the terminal has the rest."""

    conversation: Conversation
    _notice: str

    def _keys(self, letters: str) -> list[tuple[str, str]]:
        raise NotImplementedError

    async def _show(self, ask: Object | None, body: Callable[[int], list[Line]], **page: Any) -> Pressed:
        raise NotImplementedError

    def _take(self, message: Object) -> str:
        raise NotImplementedError

    async def _answer(self, ask: Object, letters: str) -> tuple[str | None, Any]:
        raise NotImplementedError

    async def _command(self, command: Command, ask: Object | None) -> None:
        raise NotImplementedError

    async def _text(
        self, title: str, label: str, body: Callable[[int], list[Line]] | None = None, kept: str = ""
    ) -> str:
        raise NotImplementedError

    async def _group(self, ask: Object, letters: str) -> None:
        """Looks that are answered by one key; an odd one is picked by its number and answered by itself."""
        items = ask["group"]
        digits = "".join(str(n) for n in range(1, len(items) + 1))
        odd = "1" if len(items) == 1 else f"1-{len(items)}"
        words = [("d", t("all right")), (odd, t("odd one")), *self._keys(letters[1:])]
        pressed = await self._show(
            ask,
            lambda width: screen.question_page(self.conversation, ask, width),
            keys=words,
            always=("d", words[1][0], "h", "q"),
            digits=digits,
            whole="d",
            fresh="d",
        )
        if pressed.key == "d":
            self._take({"answer": ask["id"], "value": ALL_RIGHT})
        elif pressed.key.isdecimal():
            own = ask_for(self.conversation, items[int(pressed.key) - 1]["check"])
            self._notice = t("What does this one show? Esc goes back to the list.")
            key, value = await self._answer(own, "nq")
            value = NOT_SURE if key == "n" else value
            if value is not None:
                self._take({"found": {"check": own["check"], "value": value}})
        elif pressed.key in KEYS:
            await self._command(Command(KEYS[pressed.key]), ask)

    async def _skip_stage(self) -> None:
        """The stage is passed over, with the reason that the handover tells."""
        stage = self.conversation.plan.stage
        if stage is None:
            return
        reason = await self._text(t("Skip the stage `{stages}`? Say why.", stages=STAGES[stage]), "Reason")
        if reason:
            self._take({"stage": stage, "skip": reason})

    async def _stages(self, ask: Object | None) -> None:
        """Where every stage stands; a digit goes to one."""
        stages = self.conversation.plan.stages
        digits = "".join(str(n) for n in range(1, len(stages)))
        pressed = await self._show(
            ask,
            lambda width: screen.stages_page(stages, width),
            keys=[(f"1-{digits[-1]}", t("go there")), *BACK_KEYS],
            always=("Enter", "q"),
            digits=digits,
        )
        if pressed.key.isdecimal():
            wanted = stages[int(pressed.key) - 1]
            if not self._take({"stage": wanted.id}) and self.conversation.plan.stage != wanted.id:
                nothing = (
                    t("Nothing is odd that could be looked into") if wanted.id == FAULTS else t("Nothing is left there")
                )
                self._notice = t("{nothing}; on with what is next.", nothing=nothing)

    async def _leave(self) -> None:
        """What is odd is left as it is, one problem at a time, with a reason."""
        problems = open_problems(self.conversation)
        digits = "".join(str(n) for n in range(1, min(len(problems), 9) + 1))
        pressed = await self._show(
            None,
            lambda width: screen.problems_page(problems, width),
            keys=[(digits if len(digits) == 1 else f"1-{digits[-1]}", t("leave this")), *BACK_KEYS],
            always=("Enter", "q"),
            digits=digits,
        )
        if not pressed.key.isdecimal():
            return
        seqs, _ = problems[int(pressed.key) - 1]
        reason = await self._text(t("Why is it left open?"), "Reason")
        if reason:
            self._take({"leave": list(seqs), "reason": reason})
