"""The full-screen page: head, body that scrolls, an entry line, keys at the foot; keys pressed wait in a queue.

Knows prompt_toolkit; nothing of questions, answers or jobs.
"""

from __future__ import annotations

import asyncio
import os
import signal
import time
from collections.abc import Callable, Coroutine, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from typing import Any, TypeVar

from prompt_toolkit.application import Application
from prompt_toolkit.buffer import Buffer
from prompt_toolkit.completion import ConditionalCompleter, WordCompleter
from prompt_toolkit.filters import Condition
from prompt_toolkit.formatted_text import StyleAndTextTuples
from prompt_toolkit.key_binding import KeyBindings, KeyPressEvent
from prompt_toolkit.keys import Keys
from prompt_toolkit.layout import (
    BufferControl,
    CompletionsMenu,
    ConditionalContainer,
    Float,
    FloatContainer,
    FormattedTextControl,
    HSplit,
    Layout,
    Window,
)
from prompt_toolkit.layout.processors import BeforeInput, Processor, Transformation, TransformationInput
from prompt_toolkit.output import ColorDepth
from prompt_toolkit.styles import Style

from diag.talk.bigprint import big_lines, big_width, wide
from diag.talk.completing import Going
from diag.talk.manner import Manner, spelt
from diag.talk.screen import SPARE_HINT, Line, fitted, paragraph
from diag.talk.speech import Speaker
from diag.talk.spoken import page_aloud, voiced
from diag.texts import t

__all__ = ["BACK", "QUIT", "EndedError", "Page", "Pages", "Pressed"]

T = TypeVar("T")

BACK, QUIT = "back", "quit"
_STYLES = {"strong": "class:strong", "warn": "class:warn", "foot": "class:foot"}
_WARNINGS = {
    "auto": "bold fg:#ffffff bg:#9b0000",
    "light": "bold fg:#9b0000",
    "dark": "bold fg:#ff8c8c",
    "none": "bold",
}
"""A caution's colours. Where the terminal's own ground is not known, ours goes with the letters. Each pair has at least
7:1, the level AAA of WCAG 2.1 for text, on the ground meant: white or black for `light` and `dark`."""
_PATIENCE_S = 1.0
"""Seconds until a page says that something is being worked out."""
_WORKING = t("Working out what that means ...")
_ROOMY_ROWS = 24
_TEXT_LIMIT = 2000
_MENU_ROWS = 6
_SETTLE_S = 0.25
"""Seconds that a page must have been in view, and a key quiet, before a key that says "I read this" counts: a double
tap or a key that bounces is quicker (measured by nobody: common practice, no source)."""
_FAR = 1_000_000
"""An offset beyond any page: its end."""


@dataclass(frozen=True)
class Pressed:
    """What came of a page: `key` a single key, BACK, QUIT, or empty where `text` was entered."""

    key: str = ""
    text: str = ""


@dataclass
class Page:
    """`head` and `body` for a width; `keys` for the foot, most wanted first, with `always` kept in view.

    `entry`: what is typed here, None where single keys do; `text`: what stands in it already; `live`: keys
    that act at once while the entry is empty. `digits`: number keys that answer. `names`: what typing is
    completed to; `inside`: a last word, rather than all that is typed. `at_end`: shown from its end. `whole`: keys
    that first turn the page while more of it is to be read. `fresh`: keys that count only when pressed while this
    page was in view; those pressed before it are dropped.
    """

    head: Callable[[int], list[Line]]
    body: Callable[[int], list[Line]]
    keys: Sequence[tuple[str, str]]
    always: Sequence[str] = ("h", "q")
    digits: str = ""
    entry: str | None = None
    text: str = ""
    live: str = ""
    names: Sequence[str] = ()
    note: str = field(default="")
    inside: bool = False
    at_end: bool = False
    whole: str = ""
    fresh: str = ""


class EndedError(Exception):
    """The machine ends the program, or the terminal is gone. `number`: of the signal, 0 for none."""

    def __init__(self, number: int = 0) -> None:
        super().__init__(number)
        self.number = number


class _WideInput(Processor):
    """What is typed, in big print."""

    def __init__(self, letters: str) -> None:
        self._letters = letters

    def apply_transformation(self, transformation_input: TransformationInput) -> Transformation:
        """One letter for one, so that the cursor stays where it is; spaced letters would move it."""
        if not self._letters.startswith("utf"):
            return Transformation(transformation_input.fragments)
        out: StyleAndTextTuples = [(style, wide(text)) for style, text, *_ in transformation_input.fragments]
        return Transformation(out)


class Pages:
    """Shows one page at a time and gives back what was pressed or typed. `speaker`: what reads pages aloud."""

    def __init__(self, manner: Manner | None = None, speaker: Speaker | None = None) -> None:
        self.manner, self.speaker = manner or Manner(), speaker
        self._said, self._where = "", ""
        self._page = Page(lambda width: [], lambda width: [], [])
        self._queue: asyncio.Queue[tuple[str, str, Page | None]] = asyncio.Queue()
        self._drawn: Page | None = None
        self._quiet_since = 0.0
        self._refused = False  # what stands in the entry was refused: the next letter begins anew, Backspace mends it
        self.settle_s = _SETTLE_S
        self._offset, self._hidden = 0, 0
        known = WordCompleter(lambda: list(self._page.names), ignore_case=True, match_middle=True, sentence=True)
        asked = ConditionalCompleter(known, Condition(lambda: not self._page.inside))
        self._going = Going()
        unasked = Condition(lambda: not self._page.inside)
        self._buffer = Buffer(multiline=False, completer=asked, complete_while_typing=unasked)
        self._view = Window(FormattedTextControl(self._top, focusable=True, show_cursor=False))
        big = [_WideInput(self.manner.letters)] if self.manner.big else []
        before = BeforeInput(lambda: "> " if self.manner.big else f"{self._page.entry}: ")
        self._entry = Window(BufferControl(self._buffer, input_processors=[*big, before]), height=1)
        foot = Window(FormattedTextControl(self._bottom), dont_extend_height=True)
        shown = ConditionalContainer(self._entry, Condition(lambda: self._page.entry is not None))
        self._app: Application[None] = Application(
            Layout(self._framed(HSplit([self._view, shown, foot])), focused_element=self._view),
            key_bindings=self._bindings(),
            style=Style.from_dict({"strong": "bold", "warn": _WARNINGS[self.manner.colours], "foot": ""}),
            color_depth=ColorDepth.DEPTH_1_BIT if self.manner.colours == "none" else None,
            full_screen=True,
        )
        self._app.after_render += lambda app: self._was_drawn()
        self._app.ttimeoutlen = 0.2  # seconds until a lone Esc counts; arrows arrive faster, over SSH too

    def _framed(self, body: HSplit) -> FloatContainer:
        """The page with the names that fit what is typed above or below it."""
        menu = CompletionsMenu(max_height=_MENU_ROWS, scroll_offset=1)
        return FloatContainer(body, [Float(menu, xcursor=True, ycursor=True)])

    @property
    def rows(self) -> int:
        """Lines of usual print that the screen has room for now."""
        rows = self._app.output.get_size().rows
        return rows // 2 if self.manner.big else rows

    def run(self, flow: Callable[[], Coroutine[Any, Any, None]]) -> None:
        """Run `flow`, which calls `show`, to its end; what it raises is raised here. Raises EndedError where the
        machine ends the program or the terminal is gone; the terminal is then as it was before."""

        async def guarded() -> None:
            try:
                await flow()
            except Exception as error:
                self._app.exit(exception=error)
            else:
                self._app.exit()

        def ended() -> None:
            if self._app.is_running and not self._app.is_done:
                self._app.exit(exception=EndedError(signal.SIGTERM))

        def begin() -> None:
            with suppress(NotImplementedError, RuntimeError, ValueError):  # not everywhere, nor on every thread
                asyncio.get_running_loop().add_signal_handler(signal.SIGTERM, ended)
            self._app.create_background_task(guarded())

        try:
            self._app.run(pre_run=begin)
        except EOFError:
            raise EndedError from None

    async def during(self, work: Callable[[], T]) -> T:
        """What `work` gives, done beside the page; where it takes longer, the page says so meanwhile."""
        task = asyncio.ensure_future(asyncio.to_thread(work))
        done, _ = await asyncio.wait({task}, timeout=_PATIENCE_S)
        if not done:
            self._page.note = _WORKING
            self._app.invalidate()
        return await task

    # ------------------------------------------------------------ drawing

    def frame(self) -> tuple[list[Line], list[Line]]:
        """The lines above the entry, cut to the room there is, and those below it."""
        size = self._app.output.get_size()
        page, big = self._page, self.manner.big
        width = big_width(size.columns) if big else size.columns
        body = [*page.head(width), *page.body(width)]
        note = paragraph(page.note, width) if page.note else []
        foot = [*note, *self._foot(width, size.rows)]
        if not big:
            room = size.rows - (page.entry is not None)
            fuller = [*note, *self._foot(width, size.rows, 1)]
            foot = fuller if len(body) + len(fuller) <= room else foot
            body = fitted(body, max(room - len(foot), 3))
        if big:
            body = [line for line in body if line.spare in (0, SPARE_HINT)]  # it sets its own blank lines
            body += [Line(f"{page.entry}:")] if page.entry is not None else []
            body = big_lines(body, width, self.manner.letters)
            foot = [Line(wide(line.text, self.manner.letters), line.style) for line in foot]
        room = max(size.rows - len(foot) - (page.entry is not None), 3)
        if len(body) <= room:
            self._offset = self._hidden = 0
            return body, foot
        room -= 1
        self._offset = max(0, min(self._offset, len(body) - room))
        self._hidden = len(body) - room - self._offset
        step = "Enter" if page.entry is not None else "Space"
        more = t("more: {step}", step=step) if big else t("more lines: {step} or arrows", step=step)
        below = body[self._offset + room :]
        more = (
            more if big or all(line.style != "choice" for line in below) else t("more, answers too: {step}", step=step)
        )
        sign = f"-- {self._hidden} {more} --" if self._hidden else t("-- end; arrow up --")
        sign = wide(sign[:width], self.manner.letters) if big else sign[:width]
        return [*body[self._offset : self._offset + room], Line(sign)], foot

    def _foot(self, width: int, rows: int, more: int = 0) -> list[Line]:
        """Keys in as many lines as there is room for, or so many `more`; those in `always` never fall out."""
        most = more + (4 if rows >= _ROOMY_ROWS and not self.manner.big else 2)
        kept = list(self._page.keys)
        while len(_packed(_key_words(kept), width)) > most:
            spare = [pair for pair in kept if pair[0] not in self._page.always]
            if not spare:
                break
            kept.remove(spare[-1])
        return [Line("-" * width), *(Line(line, "foot") for line in _packed(_key_words(kept), width))]

    def _top(self) -> StyleAndTextTuples:
        return _fragments(self.frame()[0], self.manner.letters)

    def _bottom(self) -> StyleAndTextTuples:
        return _fragments(self.frame()[1], self.manner.letters)

    # ------------------------------------------------------------ keys

    def _was_drawn(self) -> None:
        """The page stands on the screen: from now on a key can be meant for it."""
        if self._drawn is not self._page:
            self._drawn, self._quiet_since = self._page, time.monotonic()
            self._in_view()

    def _in_view(self) -> None:
        """Told once for each page, when it was drawn first."""

    def _meant_for(self) -> Page | None:
        """The page that a key pressed now was meant for, None where nobody can have read it yet."""
        quiet = time.monotonic() - self._quiet_since >= self.settle_s
        return self._drawn if quiet else None

    def _bindings(self) -> KeyBindings:
        bindings = KeyBindings()

        def put(name: str) -> Callable[[KeyPressEvent], None]:
            return lambda event: self._queue.put_nowait((name, event.data, self._meant_for()))

        for name in ("enter", "backspace", "up", "down", "pageup", "pagedown", "tab", "c-c", "c-d"):
            bindings.add(name)(put(name))
        bindings.add("escape", eager=True)(put("escape"))
        bindings.add("c-z")(lambda event: event.app.suspend_to_background())
        bindings.add("c-r")(put("aloud"))
        bindings.add(Keys.Any)(put("char"))
        bindings.add(Keys.BracketedPaste)(put("paste"))
        return bindings

    async def show(self, page: Page) -> Pressed:
        """Show a page until a key of it is pressed or its entry is sent. Keys pressed early are not lost, but
        for those that say that it was read."""
        self._page, self._offset = page, _FAR if page.at_end else 0
        self._buffer.text = page.text
        self._buffer.cursor_position = len(page.text)
        self._refused = bool(page.text)
        self._entry.horizontal_scroll = 0  # a long line typed before would leave the label out of view
        self._app.layout.focus(self._entry if page.entry is not None else self._view)
        self._read_aloud()
        while True:
            self._app.invalidate()
            name, data, meant_for = await self._queue.get()
            if name == "char" and data.lower() in page.fresh and meant_for is not page:
                self._too_early(data)
                continue
            pressed = self._pressed(name, data)
            if pressed is not None:
                return pressed
            if page.note and self.speaker is not None:
                self.speaker.speak(voiced(page.note.lstrip("! ")))

    def _too_early(self, data: str) -> None:
        """A key that was pressed before anybody can have read the page: dropped, and said."""
        self._quiet_since = time.monotonic()  # a key that is held down stays too early
        self._page.note = t("! Read first, then {key}.", key=data.lower())

    def _read_aloud(self) -> None:
        """Say the page, cautions first; the page before falls silent."""
        if self.speaker is None:
            return
        page, width = self._page, 80
        more = f"{page.entry}?" if page.entry is not None else ""
        self._said, self._where = page_aloud([*page.head(width), *page.body(width)], self._where, more)
        self.speaker.speak(self._said)
        trouble = self.speaker.trouble()
        if trouble:
            page.note, self.speaker = trouble, None

    def _pressed(self, name: str, data: str) -> Pressed | None:
        page, typing = self._page, self._page.entry is not None
        page.note = ""
        match name:
            case "c-c" | "c-d":
                return Pressed(QUIT)
            case "escape":
                return Pressed(BACK)
            case "aloud" if self.speaker is not None:
                self.speaker.speak(self._said)
            case "enter":
                if typing and self._buffer.text.strip():
                    return Pressed(text=self._buffer.text)
                return None if typing and self._scrolled(1, around=True) else Pressed("enter")
            case "backspace":
                self._refused = False
                self._buffer.delete_before_cursor()
            case "tab" if typing:
                self._completed()
            case "up" | "down" if self._buffer.complete_state is not None:
                self._completed(back=name == "up")
            case "up" | "down":
                self._scrolled(1 if name == "down" else -1, lines=1)
            case "pageup" | "pagedown":
                self._scrolled(1 if name == "pagedown" else -1)
            case "paste" if typing:
                self._typed(" ".join(data.split()))
            case "char":
                return self._character(data)
        return None

    def _character(self, data: str) -> Pressed | None:
        page = self._page
        if self._refused and data.isprintable():
            self._refused = False
            if data != " ":
                self._buffer.text = ""
        if page.entry is not None and (self._buffer.text or data.lower() not in page.live):
            if data.isprintable() and not (data == " " and not self._buffer.text):
                self._typed(data)
            elif data == " ":
                self._scrolled(1, around=True)
            return None
        if data == " ":
            return None if self._scrolled(1, around=True) else Pressed("enter")
        key = data.lower()
        if key in page.whole and self._unread():
            self._scrolled(1)
            page.note = t("! More of it comes here. {key} once it is read to the end.", key=key)
            return None
        if key in page.digits or any(key == known for known, _ in page.keys):
            return Pressed(key)
        if data.isprintable():
            counted = [key for key in page.digits if key.isdigit()]
            digits = (
                t("{counted} to {counted_2}, or ", counted=counted[0], counted_2=counted[-1])
                if len(counted) > 1
                else ""
            )
            meant = t(" If you meant a reading: u takes the last answer back.") if data in ".," else ""
            page.note = t(
                "! Key {data} does nothing here. Press {digits}a key of the list below.{meant}",
                data=data,
                digits=digits,
                meant=meant,
            )
        return None

    def _unread(self) -> bool:
        """Whether lines below the screen were not seen yet."""
        self.frame()
        return bool(self._hidden)

    def _completed(self, *, back: bool = False) -> None:
        """What is typed goes on to as much as all names that begin so share; then to one that fits after the
        other. `back`: to the one before."""
        if self._buffer.complete_state is not None and (back or self._buffer.complete_state.current_completion):
            (self._buffer.complete_previous if back else self._buffer.complete_next)()
            return
        if self._page.inside:
            text, place, count = self._going.next(self._buffer.text, self._page.names)
            self._buffer.text, self._buffer.cursor_position = text, len(text)
            self._page.note = (
                t("! {place} of {count}: Tab for the next.", place=place, count=count) if count > 1 else ""
            )
            return
        typed = self._buffer.text.casefold()
        fitting = [name for name in self._page.names if typed in name]
        shared = os.path.commonprefix([name for name in fitting if name.startswith(typed)])
        if len(shared) > len(typed):
            self._buffer.text = shared
            self._buffer.cursor_position = len(shared)
            self._buffer.start_completion()
        elif fitting:
            self._buffer.start_completion(select_first=True)

    def _typed(self, text: str) -> None:
        self._buffer.insert_text("".join(c for c in text if c.isprintable())[: _TEXT_LIMIT - len(self._buffer.text)])

    def _scrolled(self, direction: int, lines: int = 0, around: bool = False) -> bool:
        """Scroll by `lines`, or by a screen; `around`: from the end to the top. False where all is in view."""
        top, _ = self.frame()
        if not self._hidden and not self._offset:
            return False
        if around and not self._hidden:
            self._offset = 0
        else:
            self._offset = max(0, self._offset + direction * (lines or max(len(top) - 3, 1)))
        return True


def _key_words(keys: Sequence[tuple[str, str]]) -> list[str]:
    return [f"{key} {words}" for key, words in keys]


def _packed(words: Sequence[str], width: int) -> list[str]:
    """Words in lines of at most `width`, two spaces between, never broken inside."""
    lines: list[str] = []
    for word in words:
        if lines and len(lines[-1]) + 2 + len(word) <= width:
            lines[-1] += f"  {word}"
        else:
            lines.append(word[:width])
    return lines


def _fragments(lines: Sequence[Line], letters: str) -> StyleAndTextTuples:
    out: StyleAndTextTuples = []
    for number, line in enumerate(lines):
        out.append((_STYLES.get(line.style, ""), ("\n" if number else "") + spelt(line.text, letters)))
    return out
