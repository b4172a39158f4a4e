"""Pages as lines of text for a given width: question, caution, conclusion, causes, end.

Words and layout only; must not know of keys being pressed or of how lines reach a screen. Nothing is
said by colour or weight alone.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from diag.talk.conversation import Conversation
from diag.talk.objects import odd_of
from diag.talk.staged import StageState
from diag.talk.standing import answers_so_far, caution_known, passed_so_far
from diag.talk.typed import FIRST_LOOKS, LOOK_ORDER, numbered
from diag.talk.whys import short_title
from diag.texts import t

__all__ = [
    "Line",
    "answers_page",
    "bar",
    "begins_page",
    "group_page",
    "problems_page",
    "stages_page",
    "causes_page",
    "chance_words",
    "conclusion_page",
    "odd_words",
    "SPARE_BLANK",
    "SPARE_HINT",
    "SPARE_MORE",
    "fitted",
    "framed",
    "likely_lines",
    "set_up_lines",
    "spared",
    "head",
    "choice_lines",
    "older_page",
    "paragraph",
    "percent_said",
    "question_page",
    "reason_words",
    "remedy_page",
]

Object = dict[str, Any]
_BAR = 10
_LEAST_SHOWN = 0.005
_WORTH_A_LINE = 0.05
"""Chance from which a cause stands below a question."""
_MISFITS = 3
"""Answers, and groups of them, that are named where nothing known fits."""


@dataclass(frozen=True)
class Line:
    """One line of a page. `style`: plain, strong, warn, or where; only an extra, the words say it all.

    `said`: what a voice or a reader of single lines gives in its place: a whole paragraph on its first line, None
    where nothing is to be said (later lines, frames, pictures); empty for the text itself. `spare`: what goes first
    where a page does not fit, the highest number first; 0 stays.
    """

    text: str = ""
    style: str = ""
    said: str | None = ""
    spare: int = 0


SPARE_BLANK, SPARE_HINT, SPARE_MORE = 3, 2, 4
"""What a page can do without: lines that are empty, words that only help, what was added where there was room."""


def spared(lines: Sequence[Line], spare: int) -> list[Line]:
    """The same lines as such that a page can do without."""
    return [replace(line, spare=spare) for line in lines]


def fitted(lines: Sequence[Line], room: int) -> list[Line]:
    """As many lines as there is room for, as far as some can be spared; with what must stay, maybe more."""
    out = list(lines)
    for spare in sorted({line.spare for line in out if line.spare}, reverse=True):
        if len(out) <= room:
            break
        if spare == SPARE_BLANK:  # one by one, from the bottom
            for i in [i for i, line in enumerate(out) if line.spare == spare][::-1][: len(out) - room]:
                del out[i]
        else:
            out = [line for line in out if line.spare != spare]
    return out


def paragraph(
    text: str, width: int, first: str = "", style: str = "", indent: int | None = None, said: str = ""
) -> list[Line]:
    """Text wrapped to `width` columns, `first` before it, later lines indented under it. `said`: see Line; empty for
    the text behind `first`, where that is more than a sign."""
    rest = " " * (len(first) if indent is None else indent)
    wide = max(width, len(first) + 8)
    words = " ".join(text.split())
    said = said or (f"{first.strip()} {words}" if any(map(str.isalnum, first)) else words).strip()
    lines = textwrap.wrap(words, wide, initial_indent=first, subsequent_indent=rest) or [first.rstrip()]
    return [Line(line, style, None if number else said) for number, line in enumerate(lines)]


def framed(text: str, width: int, title: str = t("CAUTION")) -> list[Line]:
    """A caution in a frame of exclamation marks, which stands out without colour."""
    words = " ".join(text.split())
    inner = textwrap.wrap(words, max(width - 6, 8))
    body = [Line(f"!! {part:<{max(width - 6, 8)}} !!", "warn", None) for part in inner]
    said = f"{' '.join(['Caution', *title.split()[1:]])}: {words}"
    return [Line(f"!! {title} ".ljust(width, "!"), "warn", said), *body, Line("!" * width, "warn", None)]


def head(where: str, notice: str, width: int, parts: Sequence[str] = ()) -> list[Line]:
    """Where we are, a rule, and what just happened, if anything. `parts` of `where`: then two lines at most."""
    told = paragraph(where, width, style="where")
    if parts and len(told) > 1:
        told = [Line(text, "where", None if i else where) for i, text in enumerate(_where_lines(parts, width))]
    out = [*told, Line("-" * width, said=None)]
    return out + (paragraph(notice, width, "> ") if notice else [])


_SPARED = ("standing ", "sitting ", "at the ", "in the ")
"""Beginnings of a place that it is understood without."""


def _where_lines(parts: Sequence[str], width: int) -> list[str]:
    """Where we are in two lines: the minutes and the answers in full, of the rest the longest is cut."""
    counts, rest = " | ".join(parts[-2:]), list(parts[:-2])
    for begun in _SPARED:
        rest = [part.removeprefix(begun) for part in rest]
    whole = [*rest, counts]
    if len(" | ".join(whole)) <= width:
        return [" | ".join(whole)]
    splits = [(whole[:k], whole[k:]) for k in range(1, len(whole))]
    lines = min(splits, key=lambda pair: sum(max(0, len(" | ".join(line)) - width) for line in pair))
    return [_shortened(line, width) for line in lines]


def _shortened(parts: Sequence[str], width: int) -> str:
    """Parts on one line; the longest is cut until they fit."""
    out = list(parts)
    for _ in parts:
        over = len(" | ".join(out)) - width
        if over <= 0:
            break
        longest = max(range(len(out)), key=lambda i: len(out[i]))
        out[longest] = f"{out[longest][: max(len(out[longest]) - over - 2, 6)].rstrip(' ,.')}.."
    return " | ".join(out)[:width]


# ---------------------------------------------------------------- questions


def question_page(
    conversation: Conversation, ask: Object, width: int, again: str = t("Caution as read before (k: again).")
) -> list[Line]:
    """What to set, where to look or probe, and its caution; the answers are not in it.

    `again`: how to have a caution shown that was read before.
    """
    if "begins" in ask:
        return begins_page(ask, width)
    if ask["kind"] == "do":
        why = paragraph(ask["why"], width)
        return [*framed(ask["caution"], width), Line(spare=SPARE_BLANK), *spared(why, SPARE_HINT)]
    if ask.get("group"):
        return group_page(ask, width)
    out: list[Line] = []
    caution = ask.get("caution")
    if caution is not None and not caution_known(conversation, ask):
        out += [*framed(caution, width, t("MIND")), Line(spare=SPARE_BLANK)]
    out += _asked_lines(conversation, ask, width)
    if ask.get("hint"):
        out += spared(paragraph(ask["hint"], width), SPARE_HINT)
    if caution is not None and caution_known(conversation, ask):
        out += spared(paragraph(again, width, "! "), SPARE_HINT)
    return out


_METERED = {
    "V": (t("How many volts?"), t("The highest if it pulses.")),
    "A": (t("How many amps?"), ""),
    "ohm": (t("How many ohms?"), t("OL if it shows no continuity.")),
}


def _asked_lines(conversation: Conversation, ask: Object, width: int) -> list[Line]:
    """The question. Where something is held to the wiring: how many, then line by line what to set and to touch."""
    held = ask.get("target") in _HELD
    if not ask.get("setup") or not (held or ask.get("meter")):
        setting, dot, rest = str(ask["text"]).partition(". ")
        out = paragraph(setting + dot.strip(), width, style="strong")
        return out + (paragraph(rest, width, style="strong") if rest else [])
    asked, tip = _METERED.get(str(ask["unit"]), (_HELD.get(str(ask.get("target")), "What does it show?"), ""))
    again = [t("Once more, as this does not agree with the rest.")] if "again" in ask else []
    out = [line for words in again for line in paragraph(words, width)]
    out += paragraph(asked, width, style="strong")
    out += set_up_lines(ask, width)
    step = conversation.reasoner.steps.get(ask["check"])
    own = step.text if step is not None and step.text else ""
    return out + (spared(paragraph(f"{own} {tip}".strip(), width), SPARE_HINT) if own or tip else [])


_HELD = {
    "test-lamp": t("What does the test lamp show?"),
    "led-tester": t("What does the LED tester show?"),
    "series-lamp": t("What does the lamp show?"),
    "buzzer": t("Does it buzz?"),
}
_LABEL = 8


def set_up_lines(ask: Object, width: int) -> list[Line]:
    """What to set and what to touch, one thing a line: `Meter:  DC volts, 20 V range`."""
    out: list[Line] = []
    for row in ask.get("setup", ()):
        out += paragraph(str(row["words"]), width, f"{row['label'] + ':':<{_LABEL}}")
    return out


def begins_page(ask: Object, width: int) -> list[Line]:
    """What a stage begins with: its title, then one paragraph for each thing to know."""
    out = paragraph(ask["title"], width, style="strong")
    for words in ask["lines"]:
        out += [Line(), *(framed(words, width) if words == ask.get("mind") else paragraph(words, width))]
    return out


def group_page(ask: Object, width: int) -> list[Line]:
    """Looks from one place under one operate, numbered, each with what is right."""
    setting = str(ask["setting"])
    asked = t("All of this?") if len(ask["group"]) > 1 else t("Is this so?")
    out = paragraph(f"{setting[:1].upper()}{setting[1:]}. {asked}", width, style="strong")
    if ask.get("hint"):
        out += paragraph(ask["hint"], width)
    for number, item in enumerate(ask["group"], 1):
        out += paragraph(f"{item['title']}: {item['sound']}", width, f"{number} ")
    return out


def stages_page(stages: Sequence[StageState], width: int) -> list[Line]:
    """Every stage with where it stands, numbered."""
    out = [Line(t("Stages"), "strong"), Line()]
    for number, stage in enumerate(stages, 1):
        said = {
            "now": "now",
            "done": "done",
            "skipped": t("skipped: {reason}", reason=stage.reason),
            "open": t("to come"),
        }[stage.state]
        if stage.left:
            said += t(", {left} left", left=stage.left) if stage.of else t(", {left} odd", left=stage.left)
        out += paragraph(f"{stage.title}: {said}", width, f"{number} ")
    return out


def problems_page(problems: Sequence[tuple[tuple[int, ...], str]], width: int) -> list[Line]:
    """What is odd, numbered by problem."""
    out = [Line(t("What is left as it is?"), "strong"), Line()]
    for number, (_, words) in enumerate(problems, 1):
        out += paragraph(words, width, f"{number} ")
    return out


def choice_lines(ask: Object, width: int, more: bool = False) -> list[Line]:
    """The numbered answers. A lamp's looks: the first nine in two columns, or with `more` the rest."""
    answers = [words for _, words in numbered(ask)]
    if ask["kind"] != "look" or ask["choices"]:
        size = len(str(len(answers)))
        return [
            line
            for number, words in enumerate(answers, 1)
            for line in paragraph(words, width, f"{number:>{size}} ", style="choice", indent=size + 1)
        ]
    if more:
        cells = [f"{n} {words}" for n, words in enumerate(answers[FIRST_LOOKS:], 1)]
        cells.append(t("0 back"))
    else:
        kept = [n for n in range(FIRST_LOOKS) if ask.get("flashes", True) or LOOK_ORDER[n][1] in ("none", "steady")]
        cells = [f"{n + 1} {answers[n]}" for n in kept]
        cells.append(t("0 something else"))
    column = max(len(cell) for cell in cells)
    half = (len(cells) + 1) // 2
    left = max(len(cell) for cell in cells[:half]) + 2
    if left + column > width:
        return [Line(cell[:width]) for cell in cells]
    pairs = zip(cells[:half], [*cells[half:], ""], strict=False)
    said = "; ".join(cells)
    return [Line(f"{a:<{left}}{b}".rstrip(), said=None if row else said) for row, (a, b) in enumerate(pairs)]


def answers_page(ask: Object, width: int) -> list[Line]:
    """All numbered answers for plain lines, nothing left out."""
    if ask["kind"] != "look" or ask["choices"]:
        return choice_lines(ask, width)
    cells = [f"{n:>2} {words}" for n, (_, words) in enumerate(numbered(ask), 1)]
    half = (len(cells) + 1) // 2
    if width < 50:
        return [Line(cell) for cell in cells]
    return [Line(f"{a:<24}{b}".rstrip()) for a, b in zip(cells[:half], [*cells[half:], ""], strict=False)]


def older_page(conversation: Conversation, width: int) -> list[Line]:
    """Every answer that stands, with its number; what was passed over too."""
    out: list[Line] = []
    for seq, words in sorted([*answers_so_far(conversation), *passed_so_far(conversation)]):
        out += paragraph(words, width, f"{seq:>3} ")
    return out


# ---------------------------------------------------------------- beliefs


def bar(p: float) -> str:
    """Ten signs that read without colour; anything possible shows at least one."""
    full = min(_BAR, max(round(p * _BAR), 1 if p >= _LEAST_SHOWN else 0))
    return "#" * full + "." * (_BAR - full)


def _percent(p: float) -> str:
    """Whole percents, never 100 nor 0 for what is not certain."""
    return ">99 %" if 0.995 <= p < 1 else "<1 %" if 0 < p < 0.005 else f"{p:.0%}".replace("%", " %")


def percent_said(p: float) -> str:
    """The same for a voice: "about 36 percent", never 0 nor 100 for what is not certain."""
    return (
        t("over 99 percent")
        if 0.995 <= p < 1
        else t("under 1 percent")
        if 0 < p < 0.005
        else t("about {number:.0f} percent", number=p * 100)
    )


def chance_words(p: float) -> str:
    """A probability in words of everyday."""
    for least, words in (
        (0.99, t("practically certain")),
        (0.95, t("almost certain")),
        (0.8, t("very likely")),
        (0.6, "likely"),
        (0.4, t("as likely as not")),
        (0.15, "possible"),
        (0.03, t("not likely, not ruled out")),
    ):
        if p >= least:
            return words
    return t("hardly")


def _chances(rows: Iterable[tuple[str, float]], width: int) -> list[Line]:
    out: list[Line] = []
    for words, p in rows:
        first = f"{bar(p)} {_percent(p):>5}  "
        out += paragraph(words, width, first, indent=19 if width >= 60 else 4, said=f"{percent_said(p)}: {words}")
    return out


def likely_lines(conversation: Conversation, width: int, most: int = 2) -> list[Line]:
    """The likeliest remedies as bars, a line each; none before anything is known."""
    beliefs = conversation.plan.beliefs
    if beliefs is None:
        return []
    out = []
    for name, p in beliefs.ranking[:most]:
        if p >= _WORTH_A_LINE:
            line = f"{bar(p)} {_percent(p):>5}  {short_title(conversation.reasoner.remedies[name].title)}"
            out.append(Line(line if len(line) <= width else f"{line[: width - 2].rstrip()}..", said=None))
    return [Line(t("Likely so far (b: all)"), said=None), *out] if out else []


def causes_page(conversation: Conversation, width: int) -> list[Line]:
    """What is likely so far, as bars."""
    beliefs = conversation.plan.beliefs
    out = [Line(t("Likely so far"), "strong"), Line()]
    if beliefs is None:
        return [*out, *paragraph(t("Nothing is known yet: say first what is wrong."), width)]
    remedies, posterior = conversation.reasoner.remedies, beliefs.posterior
    rows = [(remedies[name].title, p) for name, p in beliefs.ranking[:8] if p >= _LEAST_SHOWN]
    rows += [(t("nothing is wrong"), posterior.healthy)] if posterior.healthy >= _LEAST_SHOWN else []
    rows += [(t("a cause that is not in the model"), posterior.outside)] if posterior.outside >= _LEAST_SHOWN else []
    out += _chances(sorted(rows, key=lambda row: -row[1]), width)
    return out + _misfits(odd_of(conversation.knowledge, beliefs), width)


def _misfits(told: Object, width: int) -> list[Line]:
    """Answers that do not fit what is held likeliest, or that were likely misread."""
    odd = {
        found["seq"]: t("{found} (misread: {percent})", found=found["text"], percent=_percent(found["p"]))
        for found in told["odd"]
    }
    seqs = [*odd, *(seq for seq in told["unexplained"] if seq not in odd)]
    if not seqs:
        return []
    out = [Line()]
    for seq in seqs[:_MISFITS]:
        said = f", {odd[seq]}" if seq in odd else ""
        out += paragraph(t("Does not fit the rest: answer {seq}{said}.", seq=seq, said=said), width)
    return out + paragraph(t("Worth a second look; correct it if it was wrong."), width)


def odd_words(told: Object) -> list[str]:
    """Which answers speak against the rest, where no known cause fits: what to look at again, and first of all."""
    out = []
    for group in told["contradictions"][:_MISFITS]:
        numbers = t(" and ").join(map(str, group))
        out.append(
            t("No fault explains answers {numbers} together.", numbers=numbers)
            if len(group) > 1
            else t("No fault explains answer {numbers}.", numbers=numbers)
        )
    for place, odd in enumerate(told["odd"][:_MISFITS]):
        again = t("Look again first at") if place == 0 else t("then at")
        out.append(
            t(
                "{again} answer {odd}: {odd_2} (misread: {percent}).",
                again=again,
                odd=odd["seq"],
                odd_2=odd["text"],
                percent=_percent(odd["p"]),
            )
        )
    return out


_REASON = {
    "certain": t("Enough is known."),
    "cheaper-to-try": t("Trying this takes less time than checking on."),
    "replace-to-test": t(
        "A part known to be good goes in quickly and is a test in itself: if nothing changes, the old one was sound."
    ),
    "nothing-more-to-tell-apart": t("No check that is left would tell more."),
    "no-fault-found": t("Nothing wrong was found."),
    "nothing-in-the-model": t("No known cause fits these answers."),
}


def conclusion_page(told: Object, width: int) -> list[Line]:
    """What to do, how likely it is, and why; other remedies by number."""
    remedies = told["remedies"]
    best = remedies[0]
    out = [*paragraph(best["title"], width, style="strong")]
    out += paragraph(f"{chance_words(best['p'])}: {_percent(best['p'])}. {reason_words(told)}", width)
    if best.get("out-of-reach"):
        out += paragraph(t("Its place cannot be reached, you said."), width)
    if len(remedies) > 1:
        out.append(Line())
        for number, remedy in enumerate(remedies, 1):
            out += paragraph(f"{remedy['title']} ({_percent(remedy['p'])})", width, f"{number} ")
    out += [Line(), *_because(best, width)]
    if told["outside"] >= 0.05:
        out += paragraph(t("A cause that is not in the model: {percent}.", percent=_percent(told["outside"])), width)
    out += _misfits(told, width)
    if not told["final"]:
        out += [Line(), *paragraph(t("Something else may be wrong as well; that is looked for afterwards."), width)]
    return out


def reason_words(told: Object) -> str:
    """Why a conclusion is told now."""
    return _REASON.get(str(told["reason"]), "")


def _because(remedy: Object, width: int) -> list[Line]:
    out = [Line(t("Because"), "strong")]
    telling = [reason for reason in remedy["evidence"] if reason["words"] != t("says little")]
    for reason in telling or remedy["evidence"][:1]:
        source = t("computed") if reason["from"] == "computed" else t("by {reason}", reason=reason["from"])
        said = t(
            "{reason}: {reason_2} ({reason_3}; {source}; answer {reason_4})",
            reason=reason["text"],
            reason_2=reason["words"],
            reason_3=reason["numbers"],
            source=source,
            reason_4=reason["seq"],
        )
        out += paragraph(said, width, "- ")
    if remedy.get("learned"):
        out += paragraph(str(remedy["learned"]), width, "- ")
    for cause in remedy["causes"]:
        out += paragraph(f"{cause['title']} ({_percent(cause['p'])})", width, "= ")
    return out


def remedy_page(remedy: Object, width: int, *, first: bool) -> list[Line]:
    """Numbered steps of a remedy; its reasons too where it is not the `first` one."""
    out = [*paragraph(remedy["title"], width, style="strong")]
    out += paragraph(
        t(
            "{chance}: {percent}. About {remedy:g} min.",
            chance=chance_words(remedy["p"]),
            percent=_percent(remedy["p"]),
            remedy=remedy["minutes"],
        ),
        width,
    )
    out.append(Line())
    if remedy["parts"]:
        out += [*paragraph(t("At hand: {remedy}.", remedy="; ".join(remedy["parts"])), width), Line()]
    for number, step in enumerate(remedy["steps"], 1):
        out += paragraph(step, width, f"{number}. ")
    return out if first else [*out, Line(), *_because(remedy, width)]
