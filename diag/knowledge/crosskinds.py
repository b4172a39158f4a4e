"""Checks that what kinds.yaml says of kinds, sorts and remedies refers to what is there.

Must not know what a part of a vehicle is (that is `crossparts`), nor which faults follow.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from string import Formatter

from diag.knowledge import schema
from diag.knowledge.names import nearest, quoted, words
from diag.knowledge.reader import Loc, Marked
from diag.knowledge.referee import Referee
from diag.texts import t

__all__ = ["FILLED_IN", "check_kinds", "check_sort"]

FILLED_IN = ("part", "place", "marking", "wire")
"""What the wording of a remedy of a kind may hold in braces."""
_IN_TITLE = ("part", "detail")
"""The same of the title of a mode."""
_KINDS = ("wire", *schema.PART_KINDS)


def check_kinds(referee: Referee) -> None:
    """Every reference in kinds.yaml that does not hold."""
    know = referee.know
    marked = know.spots.files["kinds"]
    for kind, modes in know.kinds.kinds.items():
        if kind not in _KINDS:
            referee.unknown(marked.place(("kinds", kind), key=True), kind, _KINDS, "kind of part")
        for name, mode in modes.items():
            _remedy(referee, marked, mode, ("kinds", kind, name, "remedy"))
            _braces(referee, marked, ("kinds", kind, name), {"title": (mode.title,)}, _IN_TITLE)
    for sort, made in know.kinds.sorts.items():
        _sort(referee, marked, sort, made)
    for verb, form in know.kinds.remedies.items():
        for index, caution in enumerate(form.cautions):
            if caution not in know.cautions:
                at = marked.place(("remedies", verb, "cautions", index))
                referee.unknown(at, caution, know.cautions, "caution")
        _braces(referee, marked, ("remedies", verb), {"title": (form.title,), "steps": form.steps, "parts": form.parts})


def _braces(
    referee: Referee, marked: Marked, loc: Loc, texts: Mapping[str, Sequence[str]], allowed: Sequence[str] = FILLED_IN
) -> None:
    """Braces in the wording of a remedy or a mode that nothing fills in."""
    for key, lines in texts.items():
        for index, text in enumerate(lines):
            at = (*loc, key) if key == "title" else (*loc, key, index)
            try:
                names = [
                    f"{name}!{turned}" if turned else f"{name}:{width}" if width else name
                    for _, name, width, turned in Formatter().parse(text)
                    if name is not None
                ]
            except ValueError:
                names = [text]
            for name in names:
                if name not in allowed:
                    referee.say(
                        marked.place(at),
                        t("nothing fills in these braces"),
                        quoted(f"{{{name}}}"),
                        words(f"{{{word}}}" for word in allowed),
                        nearest(name, allowed) or t("Use one of these, or write the words out."),
                        code="odd-braces",
                    )


def _remedy(referee: Referee, marked: Marked, mode: schema.Mode, loc: Loc) -> None:
    if mode.remedy not in referee.know.kinds.remedies:
        referee.unknown(marked.place(loc), mode.remedy, referee.know.kinds.remedies, "remedy form")


def _sort(referee: Referee, marked: Marked, sort: str, made: schema.PartSort) -> None:
    """The kind that a sort is based on, and what that has."""
    if made.based_on not in schema.PART_KINDS:
        at = marked.place(("sorts", sort, "based-on"))
        referee.unknown(at, made.based_on, schema.PART_KINDS, "kind of part")
        return
    modes = referee.know.kinds.kinds.get(made.based_on, {})
    for index, name in enumerate(made.without):
        if name not in modes:
            referee.unknown(marked.place(("sorts", sort, "without", index)), name, modes, "mode")
    for name, mode in made.modes.items():
        _remedy(referee, marked, mode, ("sorts", sort, "modes", name, "remedy"))
        _braces(referee, marked, ("sorts", sort, "modes", name), {"title": (mode.title,)}, _IN_TITLE)


def check_sort(referee: Referee, name: str, part: schema.AnyPart) -> None:
    """That a part is of the kind which its sort is based on."""
    sorts = referee.know.kinds.sorts
    if part.sort is None:
        return
    if part.sort not in sorts:
        referee.known(part.sort, sorts, "sort of part", name, "sort")
    elif sorts[part.sort].based_on in schema.PART_KINDS and sorts[part.sort].based_on != part.kind:
        fitting = [sort for sort, made in sorts.items() if made.based_on == part.kind]
        referee.say(
            referee.know.spots.place(name, "sort"),
            t(
                "a `{sort}` is a {based_on} and not a {kind}",
                sort=part.sort,
                based_on=sorts[part.sort].based_on,
                kind=part.kind,
            ),
            f"`{part.sort}`",
            words(fitting) or t("no `sort`: there is none of a {kind}", kind=part.kind),
            t("Give it `kind: {based_on}`, or leave `sort` out.", based_on=sorts[part.sort].based_on),
            code="wrong-sort",
        )
