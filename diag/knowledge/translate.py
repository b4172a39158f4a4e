"""Validates marked content against a model and says each mistake in plain words with its place.

Must not know what any particular file is for.
"""

from __future__ import annotations

import math
import types
from collections.abc import Iterable, Mapping
from typing import Annotated, Any, Literal, TypeVar, Union, get_args, get_origin

from pydantic import BaseModel, TypeAdapter, ValidationError

from diag.errors import Problem, UnfitError
from diag.knowledge.names import nearest, quoted, shown, words
from diag.knowledge.reader import Loc, Marked
from diag.texts import t

__all__ = ["MOST_PROBLEMS", "problems_of", "validate"]

M = TypeVar("M", bound=BaseModel)

MOST_PROBLEMS = 50
"""Problems told of one file; more of them help nobody."""

_PATTERNS = {
    "^[a-z0-9]+(-[a-z0-9]+)*$": t("lower case letters, digits and single hyphens, such as `horn-button`"),
    r"^[a-z0-9]+(-[a-z0-9]+)*(\.[A-Za-z0-9+-]{1,12})?$": t(
        "a part, or one of a lamp's two filaments, such as `headlamp-left.56a`"
    ),
    "^[A-Za-z0-9+-]{1,12}$": t("a terminal, such as `49a`"),
    "^[A-Za-z0-9+]{1,10}$": t("a pin of at most 10 letters and digits, such as `58L`"),
    r"^[a-z0-9-]+\.[A-Za-z0-9+-]{1,12}$": t("a part and its terminal, such as `horn.71`"),
    "^[0-9]{4}-[0-9]{2}-[0-9]{2}$": t("a day, such as `2026-11-28`"),
    r"^[a-z0-9-]+\.[A-Za-z0-9+-]+$": t("a part or wire and its fault, such as `horn.open`"),
    r"^[a-z0-9-]+(\.[a-z0-9-]+)?$": t("an option, `circuit.option`, `earth`, `system-v` or `circuit`"),
    "^[a-z0-9-]+/[a-z0-9-]+$": t("a circuit and a name, such as `horn/clicks-only`"),
}
_SORTS = {
    "string_type": t("text"),
    "tuple_type": t("a list"),
    "list_type": t("a list"),
    "mapping_type": t("a mapping (`key: value`)"),
    "dict_type": t("a mapping (`key: value`)"),
    "model_type": t("a mapping (`key: value`)"),
    "model_attributes_type": t("a mapping (`key: value`)"),
    "float_type": t("a number"),
    "float_parsing": t("a number"),
    "finite_number": t("a number of a believable size"),
}

_BY_SORT = {"too_short": "too-few", "string_too_short": "too-few", "string_pattern_mismatch": "bad-name"}


def validate(model: type[M], marked: Marked) -> tuple[M | None, list[Problem]]:
    """The model, or None and every problem found."""
    try:
        return model.model_validate(marked.data, by_alias=True, by_name=False), []
    except ValidationError as error:
        return None, problems_of(error, marked.place, model)


def problems_of(error: ValidationError, place: Any, model: Any, at: Loc = ()) -> list[Problem]:
    """Problems of a pydantic error, placed by `place(loc, key=...)`; `at` is put before each `loc`."""
    mistakes = error.errors(include_url=False)
    inside = {mistake["loc"][:length] for mistake in mistakes for length in range(len(mistake["loc"]))}
    # of a list whose entries are wrong it is also said that it is too short
    mistakes = [one for one in mistakes if one["type"] != "too_short" or one["loc"] not in inside]
    problems = []
    for mistake in mistakes[:MOST_PROBLEMS]:
        found = _problem(mistake, place, model, (*at, *mistake["loc"]))
        if found not in problems:
            problems.append(found)
    if len(mistakes) > MOST_PROBLEMS:
        problems.append(
            Problem(
                max(problem.place for problem in problems),
                t("{number} more mistakes are not shown", number=len(mistakes) - MOST_PROBLEMS),
                mend=t("Mend those above first."),
                code="more-mistakes",
            )
        )
    return problems


def _problem(mistake: Any, place: Any, model: Any, loc: Loc) -> Problem:
    sort, given, context = mistake["type"], mistake["input"], mistake.get("ctx", {})
    name = _name(loc)
    if sort == "missing" and isinstance(loc[-1], int):  # a place in a list of fixed length
        most = t("at least {loc} entries", loc=loc[-1] + 1)
        return Problem(
            place(loc[:-1]),
            t("{name} has a wrong value", name=_name(loc)),
            t("{count} entries", count=len(given)),
            most,
            code="wrong-value",
        )
    if sort == "missing":
        return Problem(
            place(loc[:-1]),
            t("the key `{loc}` is missing", loc=loc[-1]),
            "",
            "",
            t("Add `{loc}:` here.", loc=loc[-1]),
            code="missing-key",
        )
    if sort == "extra_forbidden":
        known = _known_keys(model, mistake["loc"][:-1])
        return Problem(
            place(loc, key=True),
            t("the key {loc} is not known here", loc=quoted(str(loc[-1]))),
            "",
            words(known),
            nearest(str(loc[-1]), known) or t("Take it away or correct it."),
            code="unknown-key",
        )
    if sort == "union_tag_not_found":
        return Problem(
            place(loc), t("the key `kind` is missing"), "", _kinds(context), t("Add `kind:` here."), code="missing-key"
        )
    if sort == "union_tag_invalid":
        tags = _tags(context)
        return Problem(
            place((*loc, "kind")),
            t("this `kind` is not known"),
            quoted(str(context.get("tag", ""))),
            words(tags),
            nearest(str(context.get("tag", "")), tags),
            code="unknown-kind",
        )
    if "[key]" in loc:
        return Problem(
            place(loc), t("this name cannot be used as a key"), shown(given), _expected(sort, context), code="bad-name"
        )
    if sort == "literal_error":
        return Problem(
            place(loc),
            t("{name} has a wrong value", name=name),
            shown(given),
            _expected(sort, context),
            nearest(given, _tags(context)) if isinstance(given, str) else "",
            code="wrong-value",
        )
    if sort == "value_error":
        error = context.get("error", mistake["msg"])
        expected, detail = (error.expected, error.detail) if isinstance(error, UnfitError) else ("", str(error))
        what = t("{name} has a wrong value", name=name) if expected else f"{name}: {detail}"
        if isinstance(given, dict | list):  # a whole item: its content would be no help
            return Problem(place(loc), what, "", expected, code="wrong-shape")
        said = shown(given) + (f" ({detail})" if detail and expected else "")
        return Problem(
            place(loc), what, said, expected, code=error.code if isinstance(error, UnfitError) else "wrong-value"
        )
    expected = _expected(sort, context) or mistake["msg"]
    if _endless(given):
        expected = _SORTS["finite_number"]
    found = t("{count} entries", count=len(given)) if sort in ("too_short", "too_long") and given else shown(given)
    return Problem(
        place(loc), t("{name} has a wrong value", name=name), found, expected, code=_BY_SORT.get(sort, "wrong-value")
    )


def _endless(given: Any) -> bool:
    """Whether it is NaN, infinity or a number too large to hold, which bounds describe poorly."""
    try:
        return isinstance(given, str) and not math.isfinite(float(given))
    except ValueError:
        return False


def _kinds(context: Mapping[str, Any]) -> str:
    """The kinds that a part may be of, as the schema lists them."""
    return words(_tags(context)) or t("the kind of part")


def _tags(context: Mapping[str, Any]) -> list[str]:
    text = str(context.get("expected_tags", context.get("expected", "")))
    return [tag.strip(" '") for tag in text.replace(" or ", ", ").split(",") if tag.strip(" '")]


def _expected(sort: str, context: Mapping[str, Any]) -> str:
    if sort == "string_pattern_mismatch":
        return _PATTERNS.get(str(context["pattern"]), t("text of the form {pattern}", pattern=context["pattern"]))
    if sort == "literal_error":
        return words(_tags(context))
    bounds = {
        "greater_than": (t("above"), "gt"),
        "greater_than_equal": (t("at least"), "ge"),
        "less_than": (t("below"), "lt"),
        "less_than_equal": (t("at most"), "le"),
    }
    if sort in bounds:
        word, key = bounds[sort]
        return t("a number {word} {context:g}", word=word, context=context[key])
    if sort == "string_too_short":
        return t("some text")
    if sort == "string_too_long":
        return t("at most {context} characters", context=context["max_length"])
    if sort == "too_short":
        return t("at least {value} entries", value=context.get("min_length", 1))
    if sort == "too_long":
        return t("at most {value} entries", value=context.get("max_length"))
    return _SORTS.get(sort, "")


def _name(loc: Loc) -> str:
    names = [step for step in loc if isinstance(step, str) and step != "[key]"]
    return f"`{names[-1]}`" if names else t("the file")


def _known_keys(model: Any, loc: Iterable[str | int]) -> list[str]:
    """Keys that the model at `loc` takes, found by walking its annotations."""
    options = _options(model)
    for step in loc:
        options = [inner for option in options for inner in _step(option, step, options)]
    return [
        field.alias or name
        for option in options
        if isinstance(option, type) and issubclass(option, BaseModel)
        for name, field in option.model_fields.items()
    ]


def _options(annotation: Any) -> list[Any]:
    if isinstance(annotation, TypeAdapter):
        annotation = annotation._type
    origin = get_origin(annotation)
    if origin is Annotated:
        return _options(get_args(annotation)[0])
    if origin in (Union, types.UnionType):
        return [inner for option in get_args(annotation) for inner in _options(option)]
    return [annotation]


def _step(option: Any, step: str | int, beside: list[Any]) -> list[Any]:
    if isinstance(option, type) and issubclass(option, BaseModel):
        if step in _kind_of(option):
            return [option]
        if any(step in _kind_of(other) for other in beside):
            return []  # the step is the tag of another kind
        for name, field in option.model_fields.items():
            if (field.alias or name) == step:
                return _options(field.annotation)
        return []
    arguments = get_args(option)
    if get_origin(option) is tuple:
        return _options(arguments[0])
    return _options(arguments[1]) if len(arguments) == 2 else []


def _kind_of(model: Any) -> tuple[Any, ...]:
    if not (isinstance(model, type) and issubclass(model, BaseModel)) or "kind" not in model.model_fields:
        return ()
    annotation = model.model_fields["kind"].annotation
    return get_args(annotation) if get_origin(annotation) is Literal else ()
