"""What every check of references needs: known names, and the wording of what does not hold.

Must not know what is checked (that is `crossref` and `crossparts`).
"""

from __future__ import annotations

from collections.abc import Collection

from diag.errors import Place, Problem
from diag.knowledge.assemble import Knowledge, terminals_of
from diag.knowledge.names import nearest, quoted, words
from diag.knowledge.omit import Outside
from diag.texts import t

__all__ = ["Referee"]

_NEEDS = t("Another circuit has it: add that circuit to `needs` or `beside`.")
_CODES = {
    "fuse or wire": "unknown-wire",
    "kind of part": "unknown-kind",
    "remedy form": "unknown-remedy",
    "wire colour": "unknown-colour",
}


_WORDS = {
    "caution": t("caution"),
    "changes": t("changes"),
    "check": t("check"),
    "circuit": t("circuit"),
    "colour": t("colour"),
    "control": t("control"),
    "fuse or wire": t("fuse or wire"),
    "intermediate conclusion that a rule establishes": t("intermediate conclusion that a rule establishes"),
    "kind of part": t("kind of part"),
    "part": t("part"),
    "place": t("place"),
    "position": t("position"),
    "proof": t("proof"),
    "remedy": t("remedy"),
    "remedy form": t("remedy form"),
    "rule": t("rule"),
    "sort of part": t("sort of part"),
    "terminal": t("terminal"),
    "wire colour": t("wire colour"),
    "word": t("word"),
}
"""What a name should have been: its word in the program, and as it is told."""


def _told(word: str) -> str:
    """The word for what a name should have been, as it is told."""
    control = word.removeprefix("position of ")
    return t("position of {control}", control=control) if control != word else _WORDS.get(word, word)


def _code(word: str) -> str:
    """The code of an unknown name, by the word for what it should have been."""
    return _CODES.get(word) or f"unknown-{word.split()[0] if word.split()[0] != 'intermediate' else 'conclusion'}"


class Referee:
    """Gathers the problems of one vehicle's knowledge.

    `outside` names what other circuits define, so that a missing `needs` can be told from a slip.
    """

    def __init__(self, knowledge: Knowledge, outside: Outside) -> None:
        self.know = knowledge
        self.elsewhere = outside.parts | outside.checks | outside.words | outside.remedies | outside.cautions
        self.elsewhere |= outside.controls
        self.problems: list[Problem] = []
        self.terminals = frozenset(knowledge.terminals)

    def say(
        self, place: Place, what: str, found: str = "", expected: str = "", mend: str = "", *, code: str = ""
    ) -> None:
        """Report a problem."""
        self.problems.append(Problem(place, what, found, expected, mend, code))

    def known(self, found: str | None, among: Collection[str], word: str, name: str, *loc: str | int) -> None:
        """Report `found` at `loc` of entry `name` unless it is among the known ones or left out."""
        if found is not None and found not in among:
            self.unknown(self.know.spots.place(name, *loc), found, among, word)

    def unknown(self, place: Place, found: str, among: Collection[str], word: str) -> None:
        """Report `found` at a place, with the nearest known name."""
        mend = _NEEDS if found in self.elsewhere else nearest(found, among)
        if not mend:
            mend = t("Known are {among}.", among=words(among)) if 0 < len(among) <= 12 else t("Correct the name.")
        self.say(
            place,
            t("there is no such {word}", word=_told(word)),
            quoted(found),
            t("the id of a {word} of this vehicle", word=_told(word))
            if word not in ("terminal", "word")
            else t("a {word} that exists", word=_told(word)),
            mend,
            code=_code(word),
        )

    def terminal(self, found: str | None, name: str, *loc: str | int, body: bool = False) -> None:
        """Report `found` unless it is a terminal (or `body`, where that may be)."""
        if found is None or found in self.terminals or (body and found == "body"):
            return
        part, _, _ = found.partition(".")
        place = self.know.spots.place(name, *loc)
        if part in self.know.parts:
            has = terminals_of(self.know.parts[part])
            self.say(
                place,
                t("`{part}` has no such terminal", part=part),
                quoted(found),
                words(f"{part}.{terminal}" for terminal in has),
                nearest(found, self.terminals),
                code="unknown-terminal",
            )
        else:
            self.say(
                place,
                t("there is no part with this terminal"),
                quoted(found),
                "`part.terminal`" + (t(" or `body`") if body else ""),
                _NEEDS if part in self.elsewhere else nearest(found, self.terminals) or t("Correct the name."),
                code="unknown-terminal",
            )
