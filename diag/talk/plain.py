"""The conversation line by line, where there is no terminal: questions and numbered answers out, one answer a line in.

Must not know how an answer is weighed, nor of screens and keys.
"""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterable, Sequence
from typing import Any, TextIO

from diag.errors import DiagError, harmless
from diag.knowledge.names import quoted
from diag.talk import screen, screen_end, screen_why
from diag.talk.conversation import Conversation
from diag.talk.helping import PLAIN_HELP
from diag.talk.history import history_page
from diag.talk.picture import picture_page
from diag.talk.screen import Line, paragraph
from diag.talk.sound import kept_words
from diag.talk.speech import Speaker
from diag.talk.spoken import page_aloud
from diag.talk.standing import (
    ask_again,
    ask_for,
    error_words,
    job_name,
    newest_words,
    not_cured,
    open_problems,
    whereabouts,
)
from diag.talk.typed import Command, TypedError, command_of, message_of, older_of, picked_of, value_of
from diag.texts import t

__all__ = ["Plain", "run_plain"]

Object = dict[str, Any]
_WIDTH = 79


def run_plain(conversation: Conversation, lines: Iterable[str], out: TextIO, messages: Sequence[str] = ()) -> None:
    """Ask, read one answer a line until `quit` or the end of `lines`, then say what is known and how to go on.

    `messages`: what to tell first. Raises DiagError where the rules or the journal fail.
    """
    Plain(conversation, out).run(lines, messages)


class Plain:
    """One sitting, line by line. `speaker`: what reads aloud what is asked, if anything does."""

    def __init__(self, conversation: Conversation, out: TextIO, speaker: Speaker | None = None) -> None:
        self.conversation, self.out, self.speaker = conversation, out, speaker
        size = shutil.get_terminal_size((_WIDTH + 1, 24)).columns if out.isatty() else _WIDTH
        self.width = max(min(size, 100), 20)
        self.said: list[Object] = []
        self.chosen = 0
        self._aloud: list[Line] = []
        self._where = ""

    def run(self, lines: Iterable[str], messages: Sequence[str] = ()) -> None:
        """Until `quit`, the end of `lines`, or Ctrl-C. Raises DiagError where the rules or the journal fail."""
        for message in messages:
            self._print(paragraph(message, self.width, "! "))
        try:
            self._next()
            for line in lines:
                self._speak()
                if not line.strip():
                    continue
                try:
                    if self._line(_typed(line)):
                        break
                except DiagError as error:
                    if not isinstance(error, TypedError) and error.exit_code == 1:
                        raise
                    self._wrong(str(error))
        except KeyboardInterrupt:
            self._print([Line()])
            self._kept()
            return
        self._stopped()

    # ------------------------------------------------------------ out

    def _print(self, lines: Iterable[Line]) -> None:
        for line in lines:
            self.out.write(harmless(line.text) + "\n")
            self._aloud.append(line)
        self.out.flush()

    def _speak(self) -> None:
        """Say what was printed since the last line was typed."""
        lines, self._aloud = self._aloud, []
        if self.speaker is not None and lines:
            words, self._where = page_aloud(lines, self._where)
            self.speaker.speak(words)
            trouble = self.speaker.trouble()
            if trouble:
                self._print(paragraph(trouble, self.width, "! "))

    def _answers(self, ask: Object) -> None:
        """The numbered answers of an ask."""
        self._print(screen.answers_page(ask, self.width))

    def _wrong(self, text: str) -> None:
        self._print(paragraph(text, self.width, "! "))
        self._show()

    @property
    def _ask(self) -> Object | None:
        """The open ask, if any."""
        return self.said[-1] if self.said[-1]["type"] == "ask" else None

    def _next(self) -> None:
        self.said, self.chosen = self.conversation.say(), 0
        self._show()

    def _show(self) -> None:
        """What is asked or told now."""
        now, width = self.said[-1], self.width
        self._print([Line(), *paragraph(whereabouts(self.conversation, self._ask), width, "== ", "where")])
        match now["type"]:
            case "ask" if now["check"] == "start":
                self._print(paragraph(str(now["text"]), width))
                self._answers(now)
            case "ask":
                self._print(self._question(now))
                if now.get("begins"):
                    self._print(paragraph(t("`done` to go on, `skip REASON` to pass this stage over."), width))
                elif now.get("group"):
                    self._print(paragraph(t("`all right`, or NUMBER WORDS for an odd one."), width))
                elif now["kind"] == "do" and len(now["choices"]) > 1:
                    self._answers(now)
                elif now["kind"] == "do":
                    self._print(paragraph(t("`done` when it is seen to."), width))
                elif now["kind"] == "measure":
                    self._print(paragraph(t("Type the reading with its unit."), width))
                else:
                    self._answers(now)
            case "conclude":
                self._print(screen.conclusion_page(now, width))
                self._remedy(now)
            case _:
                self._print(screen_end.end_page(self.conversation, self.said, width))
                self._print(paragraph(t("`symptom TEXT` if something else is wrong, or `quit`."), width))

    def _question(self, ask: Object) -> list[Line]:
        return screen.question_page(self.conversation, ask, self.width, again=t("Caution as read before: `caution`."))

    def _remedy(self, told: Object) -> None:
        """Cautions, then steps, of the chosen remedy."""
        remedy, width = told["remedies"][self.chosen], self.width
        self._print([Line()])
        for text in remedy["cautions"]:
            self._print(screen.framed(text, width))
        self._print(screen.remedy_page(remedy, width, first=self.chosen == 0))
        others = t(" Another: `other NUMBER`.") if len(told["remedies"]) > 1 else ""
        self._print([Line(), *paragraph(t("`done` when it is done.{others}", others=others), width)])

    def _stopped(self) -> None:
        """What is known when the lines end."""
        width = self.width
        self._print([Line(), *paragraph(t("Kept: {job}", job=self.conversation.job), width)])
        if self.said[-1]["type"] != "end":
            self._print([*screen.causes_page(self.conversation, width), Line()])
            self._print(screen_end.end_page(self.conversation, (), width))
        self._go_on()

    def _kept(self) -> None:
        """What is said where somebody stops in the midst of things."""
        self._print(paragraph(t("Kept: {job}", job=self.conversation.job), self.width))
        self._go_on()

    def _go_on(self) -> None:
        self._print([Line(t("Go on with:")), Line(f"  diag resume {job_name(self.conversation.job)}")])

    # ------------------------------------------------------------ in

    def _line(self, line: str) -> bool:
        """Take one line. True to stop. Raises TypedError, or DiagError for an older answer there is not."""
        ask = self._ask
        command = command_of(line, free_text=ask is not None and ask["check"] == "start")
        if command is None and ask is not None and ask.get("group"):
            return self._picked(ask, line)
        if command is not None:
            return self._command(command, ask)
        if ask is None:
            wanted = "`done`, `other NUMBER`, " if self.said[-1]["type"] == "conclude" else ""
            raise TypedError(
                t(
                    "Found {line}; nothing is asked now. Expected {wanted}`symptom TEXT`, `undo` or `quit`.",
                    line=quoted(line),
                    wanted=wanted,
                )
            )
        self._send({"answer": ask["id"], "value": value_of(ask, line)})
        return False

    def _picked(self, ask: Object, line: str) -> bool:
        """An odd one of a list of looks: its number, and what it shows; all of them by `all right`."""
        picked = picked_of(ask, line)
        if picked is None:
            raise TypedError(
                t("Found {line}, expected `all right`, or a number and words, such as `2 dark`.", line=quoted(line))
            )
        item, words = picked
        if words.casefold().replace("-", " ") == "not sure":
            self._send({"found": {"check": item["check"], "value": "not-sure"}})
            return False
        own = ask_for(self.conversation, item["check"])
        if not words:
            self._print(self._question(own))
            self._answers(own)
            raise TypedError(
                t("What it shows is missing: `{line} WORDS`, or its number in this list behind `{line} `.", line=line)
            )
        self._send({"found": {"check": own["check"], "value": value_of(own, words)}})
        return False

    def _staged(self, command: Command) -> None:
        """The stages: where they stand, to one of them, past one, or what is odd left as it is."""
        plan, text = self.conversation.plan, command.text
        if not plan.stages:
            raise TypedError(t("This job has no stages; `symptom whole` proves the whole vehicle."))
        if command.name == "stages" and not text:
            self._print(screen.stages_page(plan.stages, self.width))
            self._print(paragraph(t("`stage NUMBER` goes to one, `skip REASON` passes this one over."), self.width))
        elif command.name == "stages":
            number = int(text) if text.isdecimal() and len(text) < 3 else 0
            named = text.casefold().replace(" ", "-")
            self._send({"stage": plan.stages[number - 1].id if 1 <= number <= len(plan.stages) else named})
        elif not text:
            raise TypedError(
                t("`{what}` needs its reason behind it.", what=t("leave") if command.name == "leave" else t("skip"))
            )
        elif command.name == "skip-stage":
            self._send({"stage": plan.stage or "handover", "skip": text})
        else:
            problems = open_problems(self.conversation)
            if not problems:
                raise TypedError(t("Nothing is odd now that could be left open."))
            self._send({"leave": list(problems[0][0]), "reason": text})

    def _command(self, command: Command, ask: Object | None) -> bool:
        match command.name:
            case "stages" | "skip-stage" | "leave":
                self._staged(command)
            case "quit":
                return True
            case "help":
                self._print(paragraph(PLAIN_HELP, self.width))
            case "why" if ask is not None:
                self._print(screen_why.why_page(self.conversation, ask, self.width))
            case "why-not":
                self._why_not(command.text)
            case "causes":
                self._print(screen.causes_page(self.conversation, self.width))
            case "picture":
                step = self.conversation.reasoner.steps.get(ask["check"]) if ask is not None else None
                self._print(picture_page(self.conversation, step, self.width))
            case "record":
                self._print(history_page(self.conversation, self.width))
            case "caution" if ask is not None and "caution" in ask:
                self._print(screen.framed(ask["caution"], self.width))
            case "correct":
                self._correct(command.text)
            case "done" | "other" if self.said[-1]["type"] == "conclude":
                self._at_conclusion(command)
            case _:
                message = message_of(command, ask)
                if message is None:
                    raise TypedError(t("`{command}` has no place here. `help` lists what has.", command=command.name))
                self._send(message)
        return False

    def _why_not(self, text: str) -> None:
        """What speaks for and against a cause: by name, or by its number among the likeliest."""
        picks = screen_why.picks_of(self.conversation)
        if not text:
            how = t("`why NUMBER`, or `why NAME` with the name of a part, wire or cause.")
            self._print(screen_why.pick_page(picks, self.width, how))
            return
        if text.isdecimal():
            if not 1 <= int(text[:6]) <= len(picks):
                raise TypedError(
                    t(
                        "Found {text}, expected a number from 1 to {count}, or a name.",
                        text=quoted(text),
                        count=len(picks),
                    )
                )
            text = picks[int(text) - 1][0]
        told = self.conversation.take({"why": text})
        if told["type"] == "error":
            raise TypedError(error_words(told))
        self._print(screen_why.account_page(told, self.width))

    def _correct(self, text: str) -> None:
        if not text:
            self._print([Line(t("Answers so far:")), *screen.older_page(self.conversation, self.width)])
            self._print(paragraph(t("`correct NUMBER VALUE` changes one."), self.width))
            return
        seq, words = older_of(text)
        ask = ask_again(self.conversation, seq)
        if not words:
            self._print(self._question(ask))
            self._answers(ask)
            raise TypedError(t("The new value is missing: `correct {seq} VALUE`.", seq=seq))
        self._send({"correct": seq, "value": value_of(ask, words)}, t("Corrected: answer {seq}", seq=seq))

    def _at_conclusion(self, command: Command) -> None:
        told = self.said[-1]
        number = int(command.text) - 1 if command.text else self.chosen if command.name == "done" else self.chosen + 1
        if not 0 <= number < len(told["remedies"]):
            raise TypedError(
                t(
                    "Found remedy {number}, expected a number from 1 to {count}.",
                    number=number + 1,
                    count=len(told["remedies"]),
                )
            )
        if command.name == "done":
            self._send({"remedied": told["remedies"][number]["id"]})
            return
        self.chosen = number
        self._remedy(told)

    def _send(self, message: Object, kept: str = "") -> None:
        """Hand a message over; say what was kept, or what was wrong; then ask on."""
        gone = newest_words(self.conversation) if "undo" in message else ""
        told = self.conversation.take(message)
        if told["type"] == "error":
            self._refused(told)
            return
        said = (
            t("Undone: {gone}", gone=gone)
            if gone
            else kept or t("Kept: {kept}{not_cured}", kept=kept_words(self.conversation), not_cured=not_cured(told))
        )
        self._print(paragraph(said, self.width, "> "))
        self._next()

    def _refused(self, told: Object) -> None:
        """What was wrong with a message; then the question again, or what it may have meant."""
        self._print(paragraph(error_words(told), self.width, "! "))
        self._next()


_FOREIGN = re.compile("[\ud800-\udc7f\udd00-\udfff]")
"""Half signs that stand for no byte."""


def _typed(line: str) -> str:
    """A line as it was meant: bytes that are not UTF-8 come from a terminal of older letters."""
    text = line.strip()
    try:
        text.encode()
    except UnicodeEncodeError:
        text = _FOREIGN.sub("?", text).encode("utf-8", "surrogateescape").decode("cp1252", "replace")
    return text
