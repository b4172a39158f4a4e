"""Typed answers: readings with their unit, words, looks and choices, or an error that says what was expected.

Must not know which check is open, nor how an error is shown.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from typing import Literal

from rapidfuzz import fuzz, process

from diag.circuit.observe import LIGHTS, RHYTHMS
from diag.errors import DiagError
from diag.knowledge.names import quoted, shown, words
from diag.knowledge.units import CANONICAL, UnitError, parse_quantity
from diag.texts import t

__all__ = [
    "AnswerCode",
    "AnswerError",
    "Unit",
    "as_typed",
    "choice_of",
    "look_of",
    "parse_reading",
    "reading_of",
    "word_of",
]

Unit = Literal["V", "A", "ohm"]
AnswerCode = Literal[
    "empty",
    "too-long",
    "not-a-reading",
    "wrong-unit",
    "unbelievable",
    "two-meanings",
    "thousandfold",
    "not-a-word",
    "not-a-look",
    "not-a-choice",
]

LARGEST_A = 600.0
"""A starter at the moment it bites; common practice, no source."""
LARGEST_OHM = 1e8
"""Beyond what any handheld meter shows; such a reading is OL. Common practice, no source."""
VOLTS_SHARE = 2.5
"""Volts beyond this many times the vehicle's own are a slip of the point or of the range."""
_LONGEST = 40
_TEST_OF: Mapping[Unit, str] = {"V": t("a voltage"), "A": t("a current"), "ohm": t("a resistance")}
_OPEN = frozenset(
    (
        "ol",
        "0l",
        "open",
        "open circuit",
        "open line",
        "inf",
        "infinite",
        "infinity",
        "+inf",
        "∞",
        "no continuity",
        "over limit",
        "overload",
        "over range",
        "ol ohm",
        "0l ohm",
    )
)
"""What meters and people say of no continuity, after points are taken out."""
# Units are letters only: digits and powers in a unit would let typed text set the reader to endless arithmetic.
_READING = re.compile(
    r"(?P<number>[+-]?(?:\d{1,9}(?:[.,]\d{0,12})?|[.,]\d{1,12})(?:[eE][+-]?\d{1,2})?)"
    r" ?(?P<unit>[A-Za-z\u00b5\u03a9\u03c9]{0,16})",
    re.ASCII,
)
_MAYBE_THOUSANDS = re.compile(r"([+-]?[1-9]\d{0,2}),(\d{3})", re.ASCII)
_ODD_SIGNS = str.maketrans({"\u2212": "-", "\u2013": "-", "\u2126": "\u03a9", "\u03bc": "\u00b5"})
"""Minus signs, the ohm sign and the micro sign that keyboards put in for the ones read here."""


class AnswerError(DiagError):
    """An answer that cannot be used. `code` for programs; `field` is the key that is wrong, `value` for
    the whole; `found` and `expected` for people, `hint` how to mend it (may be empty)."""

    def __init__(self, code: AnswerCode, field: str, found: str, expected: str, hint: str = "") -> None:
        found = "".join(sign if sign.isprintable() else "?" for sign in found)  # it goes back to a screen
        self.code: AnswerCode = code
        self.field = field
        self.found = found
        self.expected = expected
        self.hint = hint
        where = f"`{field}`: " if field != "value" else ""
        super().__init__(
            t("{where}found {found}, expected {expected}.", where=where, found=found, expected=expected)
            + (f" {hint}" if hint else "")
        )


# ---------------------------------------------------------------- readings


def reading_of(value: object, unit: Unit, system_v: float) -> float:
    """A reading in `unit` from a number (already in that unit) or from text; inf for no continuity.

    `system_v` is the vehicle's nominal volts. Raises AnswerError.
    """
    if isinstance(value, str):
        return parse_reading(value, unit, system_v)
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise AnswerError("not-a-reading", "value", _sort_of(value), _expected(unit))
    try:
        number = float(value)
    except OverflowError:
        raise AnswerError(
            "unbelievable", "value", t("a number of hundreds of digits"), _range(unit, system_v)
        ) from None
    return _believed(number, str(number), unit, system_v)


def parse_reading(text: str, unit: Unit, system_v: float) -> float:
    """A reading in `unit` from text such as `11,8 V`, `350 mA`, `4.7 kohm`, or `OL` (inf, only for ohm).

    A number without a unit is in `unit`. `system_v` is the vehicle's nominal volts. Raises AnswerError.
    """
    line = " ".join(text.translate(_ODD_SIGNS).split())
    if not line:
        raise AnswerError("empty", "value", "nothing", _expected(unit))
    if len(line) > _LONGEST:
        raise AnswerError("too-long", "value", quoted(line), _expected(unit), t("One reading at a time."))
    if " ".join(line.casefold().replace(".", "").split()) in _OPEN:
        if unit != "ohm":
            raise AnswerError(
                "wrong-unit",
                "value",
                quoted(line),
                _expected(unit),
                t("No continuity is an answer to a resistance only; a dead point reads 0."),
            )
        return math.inf
    match = _READING.fullmatch(line)
    if match is None:
        raise AnswerError("not-a-reading", "value", quoted(line), _expected(unit))
    factor = _factor(match["unit"], unit, line)
    _one_meaning(match["number"], factor, line, unit, system_v)
    return _believed(float(match["number"].replace(",", ".")) * factor, quoted(line), unit, system_v)


def as_typed(text: str, unit: Unit) -> tuple[str, str, float]:
    """Figure and unit of a reading as they were typed, and how many of `unit` one of the typed unit is.

    The unit is empty where none was typed, both where it is no figure. Raises AnswerError.
    """
    line = " ".join(text.translate(_ODD_SIGNS).split())
    match = _READING.fullmatch(line) if len(line) <= _LONGEST else None
    if match is None:
        return "", "", 1.0
    return match["number"], match["unit"], _factor(match["unit"], unit, line)


def _factor(suffix: str, unit: Unit, line: str) -> float:
    """How many of `unit` one of the typed unit is."""
    if unit == "ohm" and suffix[:1] == "K":  # capitals as people type them
        suffix = "k" + suffix[1:]
    elif suffix in ("ma", "mv", "ua", "uv", "ka", "kv"):
        suffix = suffix[0] + suffix[1].upper()
    try:
        return parse_quantity(f"1 {suffix}", unit, bare=True)
    except UnitError:
        pass
    for other in CANONICAL:
        try:
            parse_quantity(f"1 {suffix}", other)
        except UnitError:
            continue
        raise AnswerError(
            "wrong-unit",
            "value",
            quoted(line),
            _expected(unit),
            t(
                "`{suffix}` is the unit of {canonical}: was the right thing measured?",
                suffix=suffix,
                canonical=CANONICAL[other][0],
            ),
        ) from None
    raise AnswerError("not-a-reading", "value", quoted(line), _expected(unit))


def _one_meaning(number: str, factor: float, line: str, unit: Unit, system_v: float) -> None:
    """Refuse `1,200` where both 1200 and 1.2 could be meant: a thousandfold slip would mislead the whole job."""
    match = _MAYBE_THOUSANDS.fullmatch(number)
    if match is None:
        return
    whole = match[1] + match[2]
    low, high = _bounds(unit, system_v)
    if low <= float(whole) * factor <= high:
        raise AnswerError(
            "two-meanings",
            "value",
            quoted(line),
            t("`{whole}` or `{match}.{match_2}`", whole=whole, match=match[1], match_2=match[2]),
            t("Leave out the comma of thousands, or write a point."),
        )


def _believed(number: float, found: str, unit: Unit, system_v: float) -> float:
    low, high = _bounds(unit, system_v)
    if unit == "ohm" and number == math.inf:
        return number
    if not low <= number <= high:  # not a number fails here too
        hint = t("Zero the meter with its leads held together.") if unit == "ohm" and -10 < number < 0 else ""
        raise AnswerError("unbelievable", "value", found, _range(unit, system_v), hint)
    return float(f"{number:.12g}") + 0.0  # 350 mA is 0.35 A and not a hair more; and there is no minus zero


def _bounds(unit: Unit, system_v: float) -> tuple[float, float]:
    if unit == "ohm":
        return 0.0, LARGEST_OHM
    most = LARGEST_A if unit == "A" else VOLTS_SHARE * system_v
    return -most, most


def _range(unit: Unit, system_v: float) -> str:
    low, high = _bounds(unit, system_v)
    text = t("{test_of} from {low:g} to {high:.10g} {unit}", test_of=_TEST_OF[unit], low=low, high=high, unit=unit)
    return t("{text}, or `OL`", text=text) if unit == "ohm" else text


def _expected(unit: Unit) -> str:
    text = t("{test_of} such as `{canonical}`", test_of=_TEST_OF[unit], canonical=CANONICAL[unit][1])
    return t("{text}, or `OL` for no continuity", text=text) if unit == "ohm" else text


# ---------------------------------------------------------------- words


def word_of(value: object, outcomes: Sequence[str], field: str = "value", code: AnswerCode = "not-a-word") -> str:
    """The one of `outcomes` that was typed, whatever its case, with spaces for hyphens. Raises AnswerError."""
    known = list(outcomes)
    if not isinstance(value, str):
        raise AnswerError(code, field, _sort_of(value), words(known))
    if value in known:  # before folding, lest two outcomes that differ only in case be mixed up
        return value
    typed = _folded(value)
    if not typed:
        raise AnswerError("empty", field, "nothing", words(known))
    if len(value) > 200:
        raise AnswerError("too-long", field, quoted(value), words(known))
    same = [word for word in known if _folded(word) == typed]
    if len(same) == 1:
        return same[0]
    near = process.extractOne(typed, known, scorer=fuzz.ratio, processor=_folded, score_cutoff=55)
    raise AnswerError(
        code, field, quoted(value), words(known), t("Did you mean `{near}`?", near=near[0]) if near else ""
    )


def look_of(value: object, lights: Sequence[str] = LIGHTS, rhythms: Sequence[str] = RHYTHMS) -> tuple[str, str]:
    """(light, rhythm) of a lamp from a mapping with those two keys; `dark` has the rhythm `none`.

    Raises AnswerError, also where a lit lamp has no rhythm.
    """
    form = t("`light` and `rhythm`, such as {light: normal, rhythm: steady}")
    if not isinstance(value, Mapping):
        raise AnswerError("not-a-look", "value", _sort_of(value), form)
    extra = [str(key) for key in value if key not in ("light", "rhythm")]
    if extra:
        raise AnswerError("not-a-look", "value", t("also {extra}", extra=quoted(extra[0])), form)
    if "light" not in value:
        raise AnswerError("not-a-look", "light", "nothing", words(lights))
    light = word_of(value["light"], lights, "light")
    lit = [rhythm for rhythm in rhythms if rhythm != "none"]
    if light == "dark":
        word_of(value.get("rhythm") or "none", [*lit, "none"], "rhythm")
        return light, "none"
    if not value.get("rhythm"):
        raise AnswerError("not-a-look", "rhythm", "nothing", t("{lit} for a lamp that is lit", lit=words(lit)))
    return light, word_of(value["rhythm"], lit, "rhythm")


def choice_of(value: object, choices: Mapping[str, str]) -> str:
    """The value of the choice that was typed, by its value or by its label. `choices`: value to label.

    Raises AnswerError.
    """
    if isinstance(value, str) and value not in choices:
        typed = _folded(value)
        labelled = [name for name, label in choices.items() if _folded(label) == typed]
        if len(labelled) == 1 and typed not in map(_folded, choices):
            return labelled[0]
    return word_of(value, list(choices), code="not-a-choice")


def _folded(text: str) -> str:
    return " ".join(text.casefold().replace("-", " ").replace("_", " ").split())


def _sort_of(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        return t("a number")
    return shown(value) if value is None or isinstance(value, str | dict | list | tuple) else t("something else")
