"""The conversation on a terminal, for dirty hands: one question a screen, one key to answer, numbers typed.

Turns keys into messages and objects into pages; must not know how a page is drawn or an answer is weighed.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from prompt_toolkit.shortcuts import print_formatted_text

from diag.stages.course import FAULTS
from diag.talk import screen, screen_end, screen_why
from diag.talk.conversation import Conversation
from diag.talk.helping import help_page
from diag.talk.known import WHOLE
from diag.talk.manner import Manner
from diag.talk.pages import BACK, QUIT, Page, Pages, Pressed
from diag.talk.picture import beside, left_width
from diag.talk.screen import Line, paragraph
from diag.talk.sound import kept_words
from diag.talk.speech import Speaker
from diag.talk.standing import (
    caution_known,
    error_words,
    job_name,
    newest_words,
    not_cured,
    whereabouts,
    whereabouts_parts,
)
from diag.talk.terminal_lists import LookedUpPages
from diag.talk.terminal_stages import BACK_KEYS
from diag.talk.typed import FIRST_LOOKS, KEYS, Command, TypedError, command_of, message_of, numbered, value_of
from diag.texts import t

__all__ = ["Terminal", "run_terminal"]

Object = dict[str, Any]
_WORDS = {
    "w": t("why"),
    "y": t("why not"),
    "n": t("not sure"),
    "u": t("undo"),
    "x": t("can't reach"),
    "b": t("causes"),
    "p": t("picture"),
    "r": t("record so far"),
    "i": t("no such instrument"),
    "l": t("later"),
    "c": t("correct an answer"),
    "s": t("other symptom"),
    "a": t("add a note"),
    "g": t("I changed something"),
    "k": t("caution again"),
    "d": t("done"),
    "o": t("the others"),
    "t": t("stages"),
    "e": t("skip this stage"),
    "v": t("leave it open"),
    "h": t("help"),
    "q": t("quit"),
}
_ON_ASK = "wnuxbypilrcsagkhq"
_ON_GROUP = "duxtebyprcsaghq"
_ON_CAUTION = "dnuxwbyprcsaghq"
_ON_STAGE = "dteucbyrsaghq"
_STAGED = "tev"
"""Keys that only a job in stages has."""
_ON_CONCLUSION = "oubyrcsaghq"
_ON_STEPS = "doubyrcsaghq"
_ON_END = "subyrcaghq"
ROOMY, HEAD_AND_FOOT = 24, 10
"""Rows from which what is likely stands below a question, and rows that head, notice, entry and keys take at most."""
_WHY_KEYS = [("Enter", t("back")), ("y", _WORDS["y"]), ("q", _WORDS["q"])]
_BACK, _LEAVE = ("Esc", t("back")), ("Ctrl-C", t("quit, keep"))
_EXAMPLES = {"V": "11.8 V", "A": "3.5 A", "ohm": t("0.4 ohm, or OL")}


WHOLE_KEY = "0"
"""Begins the proof of the whole vehicle, on the first page."""


class _QuitError(Exception):
    """The person stops here; everything is kept."""


def run_terminal(
    conversation: Conversation, messages: list[str], manner: Manner | None = None, speaker: Speaker | None = None
) -> None:
    """Hold the conversation on this terminal until it is quit; then say how to go on.

    `messages`: what to tell first. Raises DiagError where the rules or the journal fail, EndedError where the
    machine ends the program or the terminal is gone.
    """
    pages = Terminal(conversation, messages, Pages(manner, speaker))
    pages.run()
    kept, name = conversation.job, job_name(conversation.job)
    print_formatted_text(t("Kept: {job}\nGo on with:\n  diag resume {name}", job=kept, name=name))


class Terminal(LookedUpPages):
    """One sitting. `pages` draws and takes keys."""

    def __init__(self, conversation: Conversation, messages: Sequence[str] = (), pages: Pages | None = None) -> None:
        self.conversation, self.pages = conversation, pages or Pages()
        self._notice = " ".join(messages)
        self._typed: tuple[str, str] = ("", "")
        self._read: set[str] = set()

    def run(self) -> None:
        """Until quit."""
        self.pages.run(self._flow)

    async def _flow(self) -> None:
        try:
            while True:
                said = await self.pages.during(self.conversation.say)
                match said[-1]["type"]:
                    case "ask":
                        await self._ask(said[-1])
                    case "conclude":
                        await self._conclude(said[-1])
                    case _:
                        await self._end(said)
        except _QuitError:
            return

    # ------------------------------------------------------------ pages

    def _keys(self, letters: str) -> list[tuple[str, str]]:
        return [(key, _WORDS[key]) for key in letters]

    async def _show(self, ask: Object | None, body: Callable[[int], list[Line]], **page: Any) -> Pressed:
        """Show with the head line and the notice. Raises _QuitError."""
        notice, self._notice = self._notice, ""
        where, parts = whereabouts(self.conversation, ask), whereabouts_parts(self.conversation, ask)

        def top(width: int) -> list[Line]:
            return [*screen.head(where, notice, width, parts), Line(spare=screen.SPARE_BLANK)]

        pressed = await self.pages.show(Page(top, body, **page))
        if pressed.key in (QUIT, "q"):
            raise _QuitError
        return pressed

    async def _tell(self, ask: Object | None, body: Callable[[int], list[Line]]) -> None:
        """A page to read; any of its keys goes back."""
        await self._show(ask, body, keys=BACK_KEYS, always=("Enter", "q"))

    async def _reasons(self, ask: Object | None, body: Callable[[int], list[Line]]) -> None:
        """The same, from where any cause can be asked for."""
        pressed = await self._show(ask, body, keys=_WHY_KEYS, always=("Enter", "y", "q"))
        if pressed.key == "y":
            await self._why_not()

    def _take(self, message: Object) -> str:
        """Send a message; the notice says what was kept or what was wrong. The error's code, or empty."""
        gone = newest_words(self.conversation) if "undo" in message else ""
        told = self.conversation.take(message)
        if told["type"] == "error":
            self._notice = error_words(told)
            return str(told["code"])
        self._typed = ("", "")
        self._notice = (
            t("Undone: {gone}", gone=gone)
            if gone
            else t("Kept: {kept}{not_cured}", kept=kept_words(self.conversation), not_cured=not_cured(told))
        )
        return ""

    # ------------------------------------------------------------ asks

    async def _ask(self, ask: Object) -> None:
        """Show one ask and send what comes of it."""
        if ask["check"] == "start":
            await self._start(ask)
            return
        letters = _ON_CAUTION if ask["kind"] == "do" else _ON_ASK
        if ask.get("begins"):
            letters = _ON_STAGE
        elif ask.get("group"):
            letters = _ON_GROUP
        elif ask.get("stage") is not None:
            letters = letters.replace("h", "teh" if ask["stage"] != FAULTS else "tevh")
        if "caution" not in ask or not caution_known(self.conversation, ask):
            letters = letters.replace("k", "")
        if not ask["instruments"]:
            letters = letters.replace("i", "")
        if ask["kind"] == "do" and ask["check"].startswith("caution:"):
            letters = letters.replace("n", "").replace("x", "")
        if ask.get("group"):
            await self._group(ask, letters)
            return
        pressed, value = await self._answer(ask, letters)
        if pressed is not None:
            await self._command(Command(KEYS[pressed]), ask)
        elif value is not None:
            self._take({"answer": ask["id"], "value": value})

    async def _answer(self, ask: Object, letters: str) -> tuple[str | None, Any]:
        """A letter of `letters` that was pressed, or the value of an answer; neither for back."""

        def body(width: int) -> list[Line]:
            plain = ask["kind"] == "measure" or (ask["kind"] == "do" and len(numbered(ask)) == 1)
            return self._question(ask, width, lambda columns: [] if plain else screen.choice_lines(ask, columns))

        if ask["kind"] == "measure" or len(numbered(ask)) > 17:
            live = letters.replace("o", "") if ask["kind"] == "measure" else ""
            kept = self._typed[1] if self._typed[0] == ask["check"] else ""
            label = (
                t("Reading ({examples})", examples=_EXAMPLES[ask["unit"]])
                if ask["kind"] == "measure"
                else t("Number or words")
            )
            pressed = await self._show(ask, body, keys=self._keys(letters), entry=label, text=kept, live=live)
            if not pressed.text:
                self._notice = t("Nothing is typed yet.") if pressed.key == "enter" else ""
                return (pressed.key, None) if len(pressed.key) == 1 else (None, None)
            self._typed = (ask["check"], pressed.text)
            try:
                return None, value_of(ask, pressed.text)
            except TypedError as error:
                self._notice = str(error)
                return None, None
        answers = numbered(ask)
        if ask["kind"] == "look" and not ask["choices"]:
            return await self._look(ask, body, letters)
        one = ask["kind"] == "do" and len(answers) == 1
        letters = letters if one or ask["kind"] != "do" else letters.replace("d", "")
        digits = "" if one else "".join(str(n) for n in range(1, min(len(answers), 9) + 1))
        words = self._keys(letters)
        if ask.get("begins"):
            words[0] = ("d", t("go on"))
        unread = "d" if ask["kind"] == "do" and not ask.get("begins") else ""
        fresh = "d" + digits if ask["kind"] == "do" else ""
        pressed = await self._show(ask, body, keys=words, digits=digits, whole=unread, fresh=fresh)
        if pressed.key.isdecimal():
            return None, answers[int(pressed.key) - 1][0]
        return (pressed.key, None) if len(pressed.key) == 1 else (None, None)

    def _question(self, ask: Object, width: int, answers: Callable[[int], list[Line]]) -> list[Line]:
        """A question with its answers; where there is room, with its picture and what is likely so far."""
        step = self.conversation.reasoner.steps.get(ask["check"]) if ask["kind"] != "do" else None
        left = left_width(width) if step is not None else width
        lines = screen.question_page(self.conversation, ask, left)
        chosen = answers(left)
        out = [*lines, *([Line(spare=screen.SPARE_BLANK), *chosen] if chosen else [])]
        rows = self.pages.rows
        if step is None:
            return out
        likely = screen.likely_lines(self.conversation, left) if rows >= ROOMY else []
        if likely:
            out += screen.spared([Line(said=None), *likely], screen.SPARE_MORE)
        return beside(self.conversation, step, out, width, rows - HEAD_AND_FOOT)

    async def _look(self, ask: Object, body: Callable[[int], list[Line]], letters: str) -> tuple[str | None, Any]:
        """Light and rhythm by one key, or by `0` and one more."""
        pressed = await self._show(ask, body, keys=self._keys(letters), digits="1234567890")
        answers = numbered(ask)
        if pressed.key != "0":
            if pressed.key.isdecimal():
                return None, answers[int(pressed.key) - 1][0]
            return (pressed.key, None) if len(pressed.key) == 1 else (None, None)

        def rest(width: int) -> list[Line]:
            return self._question(ask, width, lambda columns: screen.choice_lines(ask, columns, more=True))

        few = "".join(str(n) for n in range(1, len(answers) - FIRST_LOOKS + 1)) + "0"
        pressed = await self._show(
            ask, rest, keys=[("0", t("back")), ("q", _WORDS["q"])], always=("0", "q"), digits=few
        )
        if pressed.key.isdecimal() and pressed.key != "0":
            return None, answers[FIRST_LOOKS + int(pressed.key) - 1][0]
        return None, None

    async def _start(self, ask: Object) -> None:
        """The complaint: words, or a number of the list."""
        line = await self._from_list(ask, str(ask["text"]), can_go_back=False)
        if line == WHOLE_KEY:
            self._take({"answer": ask["id"], "value": WHOLE})
            return
        command = command_of(line, free_text=True)
        if command is not None:
            await self._command(command, ask)
            return
        try:
            value = value_of(ask, line)
        except TypedError as error:
            self._typed, self._notice = ("start", line), str(error)
            return
        self._typed = ("start", line)
        if self._take({"answer": ask["id"], "value": value}) == "unclear":
            self._typed = ("", "")  # the list that comes now is the help; the old words would only be in the way

    async def _from_list(self, ask: Object, title: str, can_go_back: bool = True) -> str:
        """Typed words or a number, with the list in view; empty for back."""

        def body(width: int) -> list[Line]:
            return [*paragraph(title, width, style="strong"), Line(), *screen.choice_lines(ask, width)]

        keys = [("Enter", t("go on, or turn the page"))]
        keys += [] if can_go_back else [(WHOLE_KEY, t("the whole vehicle"))]
        keys += [_BACK] if can_go_back else [("help", t("keys and words"))]
        keys += [_LEAVE]
        kept = self._typed[1] if self._typed[0] == ask["check"] else ""
        while True:
            pressed = await self._show(
                None,
                body,
                keys=keys,
                always=("Enter", WHOLE_KEY, "Esc", "Ctrl-C"),
                entry=t("Number or words"),
                text=kept,
                live="" if can_go_back else WHOLE_KEY,
                names=self.names(ask),
                inside=True,
            )
            if pressed.key == WHOLE_KEY:
                return WHOLE_KEY
            if pressed.text or (can_go_back and pressed.key in (BACK, "enter")):
                return pressed.text

    async def _text(
        self, title: str, label: str, body: Callable[[int], list[Line]] | None = None, kept: str = ""
    ) -> str:
        """One line of typed words; empty for back."""

        def page(width: int) -> list[Line]:
            return [*paragraph(title, width, style="strong"), *(body(width) if body is not None else [])]

        keys = [("Enter", t("go on")), _BACK, _LEAVE]
        pressed = await self._show(
            None,
            page,
            keys=keys,
            always=("Enter", "Esc", "Ctrl-C"),
            entry=label,
            text=kept,
            names=self.names(),
            inside=True,
        )
        return pressed.text.strip()

    # ------------------------------------------------------------ commands

    async def _command(self, command: Command, ask: Object | None) -> None:
        """A letter or a spelt-out command, on any page."""
        match command.name:
            case "quit":
                raise _QuitError
            case "help":
                await self._tell(ask, help_page)
            case "why" if ask is not None:
                await self._reasons(ask, lambda width: screen_why.why_page(self.conversation, ask, width))
            case "why-not":
                await self._why_not(command.text)
            case "causes":
                await self._reasons(ask, lambda width: screen.causes_page(self.conversation, width))
            case "caution" if ask is not None and "caution" in ask:
                await self._tell(ask, lambda width: screen.framed(ask["caution"], width))
            case "correct":
                await self._correct()
            case "picture":
                await self._picture(ask)
            case "record":
                await self._record()
            case "stages" if self.conversation.plan.stages:
                await self._stages(ask)
            case "skip-stage" if self.conversation.plan.stage is not None:
                await self._skip_stage()
            case "leave" if self.conversation.plan.unresolved:
                await self._leave()
            case "symptom" if not command.text:
                await self._symptom()
            case "note" | "changed" if not command.text:
                title = t("What should be noted?") if command.name == "note" else t("What was changed at the vehicle?")
                text = await self._text(title, t("Note") if command.name == "note" else t("Changed"))
                if text:
                    self._take({command.name: text})
            case _:
                try:
                    message = message_of(command, ask)
                except TypedError as error:
                    self._notice = str(error)
                    return
                if message is not None:
                    self._take(message)

    # ------------------------------------------------------------ conclusions

    async def _conclude(self, told: Object) -> None:
        """What to do; a number opens cautions and steps."""
        remedies = told["remedies"]
        digits = "".join(str(n) for n in range(1, len(remedies) + 1))
        letters = _ON_CONCLUSION[1:]
        if self.conversation.plan.stage is not None:
            letters = letters.replace("h", "tevh")
        keys = [(digits if len(digits) == 1 else f"1-{digits[-1]}", t("how to do it")), *self._keys(letters)]
        pressed = await self._show(
            None,
            lambda width: screen.conclusion_page(told, width),
            keys=keys,
            always=(keys[0][0], "h", "q"),
            digits=digits + "d",
        )
        if pressed.key.isdecimal() or pressed.key == "d":
            await self._remedy(told, 0 if pressed.key == "d" else int(pressed.key) - 1)
        elif pressed.key in KEYS:
            await self._command(Command(KEYS[pressed.key]), None)

    async def _remedy(self, told: Object, number: int) -> None:
        """Cautions one by one, then the steps, until it is done or left."""
        remedy = told["remedies"][number]
        if not await self._cautions(remedy):
            return
        letters = _ON_STEPS if self.conversation.plan.stage is None else _ON_STEPS.replace("h", "tevh")
        while True:
            before = self.conversation.state.seq
            pressed = await self._show(
                None,
                lambda width: screen.remedy_page(remedy, width, first=number == 0),
                keys=self._keys(letters),
                always=("d", "h", "q"),
                whole="d",
                fresh="d",
            )
            if pressed.key == "d":
                self._take({"remedied": remedy["id"]})
                self._read.clear()  # the battery goes back on for the proof, so its caution counts anew
                return
            if pressed.key in ("o", BACK):
                return
            if pressed.key in KEYS:
                await self._command(Command(KEYS[pressed.key]), None)
                if self.conversation.state.seq != before:
                    return

    async def _cautions(self, remedy: Object) -> bool:
        """Every caution is read by itself, once a sitting. False where the person goes back."""
        wanted = [text for text in remedy["cautions"] if text not in self._read]
        for count, text in enumerate(wanted, 1):

            def body(width: int, text: str = text, count: int = count) -> list[Line]:
                title = t("CAUTION") if len(wanted) == 1 else t("CAUTION {count} of {of}", count=count, of=len(wanted))
                first = screen.spared(
                    paragraph(t("Before: {remedy}", remedy=remedy["title"]), width), screen.SPARE_HINT
                )
                return [*first, Line(spare=screen.SPARE_BLANK), *screen.framed(text, width, title)]

            while True:
                keys = [("d", t("done: read and seen to")), _BACK, ("q", _WORDS["q"])]
                pressed = await self._show(None, body, keys=keys, always=("d", "q"), whole="d", fresh="d")
                if pressed.key == "d":
                    self._read.add(text)
                    break
                if pressed.key == BACK:
                    return False
        return True

    async def _end(self, said: Sequence[Object]) -> None:
        """Where the job stands; it can go on from here."""
        pressed = await self._show(
            None,
            lambda width: screen_end.end_page(self.conversation, said, width),
            keys=self._keys(_ON_END.replace("h", "th") if self.conversation.plan.stages else _ON_END),
            always=("s", "h", "q"),
        )
        if pressed.key in KEYS:
            await self._command(Command(KEYS[pressed.key]), None)
