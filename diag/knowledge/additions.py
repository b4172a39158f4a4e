"""Lays one file of a higher layer over the same file of the layers below: entries are added, or replaced whole by id.

Works on marked content, so that every later message still names the file and line where a thing really stands. Must
not know which layers there are, nor what an entry means.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from diag.errors import Place, Problem
from diag.knowledge.layers import Layer
from diag.knowledge.names import quoted
from diag.knowledge.reader import Loc, Marked
from diag.knowledge.schema import WrittenFor
from diag.knowledge.variants import LISTS, MAPPINGS
from diag.texts import t

__all__ = ["Ledger", "Replaced", "lay_circuit", "lay_kinds"]

_NAMED = ("controls", "says", "places", *MAPPINGS)
"""Sections of a circuit that are mappings by id."""
_JOINED = ("needs", "beside")


@dataclass(frozen=True)
class Replaced:
    """An entry of a lower layer in whose place stands one of a higher layer. `by` and `of` are names of layers,
    `place` and `was` where the two stand."""

    id: str
    section: str
    by: str
    of: str
    place: Place
    was: Place


@dataclass
class Ledger:
    """What the layers of one load did to each other, and what they may not do."""

    layers: Mapping[str, Layer]
    """By the name of a file that was read."""
    replaced: list[Replaced] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    unsaid: dict[str, Place] = field(default_factory=dict)
    """Intermediate conclusions of rules that were replaced by one that does not draw them, to where that stands."""

    def replace(self, name: str, section: str, place: Place, was: Place) -> None:
        """Record that the entry at `place` stands where the one at `was` did, or that it may not."""
        by, of = self.layers[place.file], self.layers[was.file]
        if by.may_replace(of):
            self.replaced.append(Replaced(name, section, by.name, of.name, place, was))
            return
        self.problems.append(
            Problem(
                place,
                t(
                    "the rule packs `{of}` and `{by}` both give {name} under `{section}`",
                    of=of.name,
                    by=by.name,
                    name=quoted(name),
                    section=section,
                ),
                t("the other at {was}", was=was),
                t("each id from one pack, or a pack that says what it is laid over"),
                t(
                    "Write `after: [{of}]` in the pack.yaml of `{by}` if it is to replace it, or give it another id.",
                    of=of.name,
                    by=by.name,
                ),
                code="pack-conflict",
            )
        )


class _Laid:
    """A copy of the lower content that takes in entries of the upper one, with their places."""

    def __init__(self, lower: Marked, upper: Marked, ledger: Ledger) -> None:
        self.lower, self.upper, self.ledger = lower, upper, ledger
        self.data: dict[str, Any] = dict(lower.data)
        self.moved: dict[Loc, Loc] = {}
        """Where content of the upper file went."""
        self.copied: set[Loc] = set()
        """Sections that are no longer the lower file's own."""

    def marked(self) -> Marked:
        """The two as one file."""
        return Marked(
            self.lower.file,
            self.data,
            {**self.lower.places, **self._at_home(self.upper.places)},
            {**self.lower.key_places, **self._at_home(self.upper.key_places)},
        )

    def _at_home(self, places: Mapping[Loc, Place]) -> dict[Loc, Place]:
        found = {}
        for loc, place in places.items():
            for length in range(len(loc), 0, -1):
                home = self.moved.get(loc[:length])
                if home is not None:
                    found[(*home, *loc[length:])] = place
                    break
        return found

    def say(self, loc: Loc, what: str, found: str, expected: str, mend: str, *, key: bool = False, code: str) -> None:
        self.ledger.problems.append(Problem(self.upper.place(loc, key=key), what, found, expected, mend, code))

    # ------------------------------------------------------------ entries

    def whole(self, key: str, name: str) -> None:
        """A single value of the thing called `name`: the upper one counts."""
        if key not in self.upper.data:
            return
        if key in self.data and self.data[key] != self.upper.data[key]:
            self.ledger.replace(name, key, self.upper.place((key,), key=True), self.lower.place((key,), key=True))
        self.data[key] = self.upper.data[key]
        self.moved[(key,)] = (key,)

    def joined(self, key: str) -> None:
        """A list of names: what is not in it yet comes behind."""
        names = list(self.data.get(key) or ())
        for index, name in enumerate(self.upper.data.get(key) or ()):
            if not names:
                self.moved[(key,)] = (key,)
            if name not in names:
                self.moved[key, index] = (key, len(names))
                names.append(name)
        if names:
            self.data[key] = names

    def section(self, held: dict[str, Any], home: Loc, upper_at: Loc, section: str, prefix: str = "") -> None:
        """All entries of a section of the upper file into `held`, which stands at `home[:-1]` below."""
        for name, loc in self.entries(upper_at, section):
            self.put(held, home, loc, section, name, prefix)

    def entries(self, upper_at: Loc, section: str) -> Iterator[tuple[str, Loc]]:
        """Ids of a section of the upper file and where each stands; one that comes twice is told, and comes once."""
        found = self.upper.get(upper_at)
        if section not in LISTS:
            yield from ((name, (*upper_at, name)) for name in found)
            return
        first: dict[str, Loc] = {}
        for index, entry in enumerate(found):
            loc: Loc = (*upper_at, index)
            if first.setdefault(entry["id"], loc) == loc:
                yield entry["id"], loc
                continue
            self.say(
                (*loc, "id"),
                t("the id `{entry}` is given twice", entry=entry["id"]),
                t("the first at {place}", place=self.upper.place((*first[entry["id"]], "id"))),
                t("an id of its own for each thing"),
                t("Give one of them another id."),
                code="given-twice",
            )

    def put(self, held: dict[str, Any], home: Loc, upper_at: Loc, section: str, name: str, prefix: str = "") -> None:
        """One entry of the upper file: added behind those below, or in place of the one of its id."""
        key, listed = str(home[-1]), section in LISTS
        if home not in self.copied:
            held[key] = list(held.get(key) or ()) if listed else dict(held.get(key) or {})
            self.copied.add(home)
            if not held[key]:
                self.moved[upper_at[:-1]] = home
        target = held[key]
        at = _index(target, name) if listed else name
        if at == len(target) if listed else at not in target:
            if listed:
                target.append(None)
        else:
            self.replaces(prefix + name, section, upper_at, (*home, at))
        target[at] = self.upper.get(upper_at)
        self.moved[upper_at] = (*home, at)

    def replaces(self, name: str, section: str, upper_at: Loc, at: Loc) -> None:
        """Record that the upper entry stands where the lower one at `at` did; a retired rule is not given anew."""
        key = section not in LISTS
        inner = () if key else ("id",)
        place = self.upper.place((*upper_at, *inner), key=key)
        was = self.lower.place((*at, *inner), key=key)
        old, new = self.lower.get(at), self.upper.get(upper_at)
        if section == "rules" and old.get("state") == "retired" and new.get("state") != "retired":
            successor = old.get("replaced-by")
            self.say(
                (*upper_at, "id"),
                t("this rule was retired, and a retired id is not given anew"),
                t("{name}, retired at {was}", name=quoted(name), was=was),
                t("a new id, or `state: retired`"),
                t("Its successor is `{successor}`: replace that one.", successor=successor)
                if successor
                else t("Give the rule another id."),
                code="retired-again",
            )
            return
        if section in ("controls", "places") and old == new:
            return  # the same words for the same place are no clash
        if section == "rules":
            self.ledger.unsaid |= dict.fromkeys(_established(old) - _established(new), place)
        self.ledger.replace(name, section, place, was)


def _established(rule: Mapping[str, Any]) -> set[str]:
    if rule.get("state") == "retired":
        return set()
    return {effect["establish"] for effect in rule["then"] if "establish" in effect}


def lay_circuit(lower: Marked, upper: Marked, ledger: Ledger) -> Marked:
    """The circuit of the layers below with what a higher layer's file of that name adds or replaces.

    Both must have the shape of a circuit's file; what is wrong beyond that goes into the ledger. Entries outside
    the variants: one that only a single variant of the lower file has is replaced there; a lower option may get more
    choices, but keeps those it has, the usual one first; a variant with the very `only` of a lower one adds to that,
    any other is one more.
    """
    laid = _Laid(lower, upper, ledger)
    data = upper.data
    _same_circuit(laid)
    laid.whole("title", str(lower.data.get("circuit")))
    for key in _JOINED:
        laid.joined(key)
    if data.get("options"):
        _options(laid)
    lower_variants = [dict(variant) for variant in lower.data.get("variants") or ()]
    if lower_variants:
        laid.data["variants"] = lower_variants
    for section in (*_NAMED, *LISTS):
        if data.get(section):
            _section(laid, section, lower_variants)
    if data.get("variants"):
        _variants(laid, lower_variants)
    return laid.marked()


def lay_kinds(lower: Marked, upper: Marked, ledger: Ledger) -> Marked:
    """The fault modes and remedies of the layers below with those of a higher layer: modes by kind and name."""
    laid = _Laid(lower, upper, ledger)
    laid.whole("outside-chance", "outside-chance")
    kinds = dict(lower.data.get("kinds") or {})
    laid.data["kinds"] = kinds
    for kind in upper.data.get("kinds") or {}:
        laid.section(kinds, ("kinds", kind), ("kinds", kind), "kinds", f"{kind}.")
    if upper.data.get("sorts"):
        laid.section(laid.data, ("sorts",), ("sorts",), "sorts")
    if upper.data.get("remedies"):
        laid.section(laid.data, ("remedies",), ("remedies",), "forms")
    return laid.marked()


def _same_circuit(laid: _Laid) -> None:
    told, below = (
        WrittenFor.model_validate(file.data.get("written-for") or {}, by_alias=True, by_name=False)
        for file in (laid.upper, laid.lower)
    )
    if "written-for" in laid.upper.data and told != below:
        laid.say(
            ("written-for",),
            t("what is added to a circuit is written for the same vehicle as the circuit"),
            f"{told.system_v:g} V, {told.earth}",
            f"{below.system_v:g} V, {below.earth}",
            t("Give its values for that, and leave `written-for` out."),
            key=True,
            code="written-for",
        )


def _section(laid: _Laid, section: str, variants: list[dict[str, Any]]) -> None:
    """Entries outside the upper file's variants; where only a lower variant has one, that is replaced."""
    base = _ids(laid.lower.data, section)
    for name, loc in laid.entries((section,), section):
        homes = [index for index, variant in enumerate(variants) if name not in base and name in _ids(variant, section)]
        if len(homes) > 1:
            laid.say(
                (*loc, "id") if section in LISTS else loc,
                t(
                    "{count} variants of the circuit give {name}, each in its own form",
                    count=len(homes),
                    name=quoted(name),
                ),
                t("an entry outside the variants"),
                t("the entry in a variant with the same `only` as the form that it replaces"),
                t("Move it under `variants`."),
                key=section not in LISTS,
                code="duplicate-id",
            )
        elif homes:
            laid.put(variants[homes[0]], ("variants", homes[0], section), loc, section, name)
        else:
            laid.put(laid.data, (section,), loc, section, name)


def _index(entries: Sequence[Any], name: str) -> int:
    """Where the entry of this id stands in a list, its length where it is not there."""
    return next((index for index, entry in enumerate(entries) if entry["id"] == name), len(entries))


def _ids(sections: Mapping[str, Any], section: str) -> set[str]:
    found = sections.get(section) or ()
    return {entry["id"] for entry in found} if section in LISTS else set(found)


def _options(laid: _Laid) -> None:
    below = laid.lower.data.get("options") or {}
    for name, option in laid.upper.data["options"].items():
        if name not in below:
            continue
        before, now = list(below[name]["choices"]), list(option["choices"])
        if now[:1] != before[:1] or not set(before) <= set(now):
            laid.say(
                ("options", name, "choices"),
                t("the option `{name}` of a lower layer would lose what vehicles rest on", name=name),
                ", ".join(now),
                t(
                    "`{before}` first, then {before_2} and what is new",
                    before=before[0],
                    before_2=", ".join(before[1:]),
                ),
                t("Keep them, or add an option of another name."),
                code="option-lost",
            )
    laid.section(laid.data, ("options",), ("options",), "options")


def _variants(laid: _Laid, variants: list[dict[str, Any]]) -> None:
    known = [_only(variant) for variant in variants]
    if not variants:
        laid.moved[("variants",)] = ("variants",)
    for index, variant in enumerate(laid.upper.data["variants"]):
        only = _only(variant)
        if only not in known:
            laid.moved["variants", index] = ("variants", len(variants))
            variants.append(variant)
            _hides(laid, index, variant)
            continue
        home = known.index(only)
        for section in ("controls", "says", *MAPPINGS, *LISTS):
            if variant.get(section):
                at: Loc = ("variants", home, section)
                laid.section(variants[home], at, ("variants", index, section), section)
        gone = list(variants[home].get("without") or ())
        for place, name in enumerate(variant.get("without") or ()):
            if name not in gone:
                laid.moved["variants", index, "without", place] = ("variants", home, "without", len(gone))
                gone.append(name)
        if gone:
            variants[home]["without"] = gone
    laid.data["variants"] = variants


def _hides(laid: _Laid, index: int, variant: Mapping[str, Any]) -> None:
    """Record the lower entries outside variants that a new variant stands in for where it holds."""
    for section in (*MAPPINGS, *LISTS):
        below = laid.lower.data.get(section) or ()
        known = _ids(laid.lower.data, section)
        for name, loc in laid.entries(("variants", index, section), section) if variant.get(section) else ():
            if name in known:
                laid.replaces(name, section, loc, (section, _index(below, name) if section in LISTS else name))


def _only(variant: Mapping[str, Any]) -> dict[str, tuple[str, ...]]:
    return {
        name: (values,) if isinstance(values, str) else tuple(sorted(values))
        for name, values in variant["only"].items()
    }
