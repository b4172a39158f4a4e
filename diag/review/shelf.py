"""The files of all layers as far as they can be read: what is wrong is told once and left out, the rest is laid
together as for a vehicle.

Must not judge what the files say beyond their shape.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel

from diag.errors import Place, Problem
from diag.knowledge import schema
from diag.knowledge.additions import lay_circuit, lay_kinds
from diag.knowledge.assemble import Source
from diag.knowledge.layers import SHIPPED, Layer
from diag.knowledge.load import Shelf, default_kinds, lone, rules_folder
from diag.knowledge.names import nearest, quoted
from diag.knowledge.reader import Marked
from diag.knowledge.translate import validate
from diag.review.salvage import Salvaged, cut, entry_at, names_in, salvage
from diag.texts import t

__all__ = ["ReviewShelf"]

M = TypeVar("M", bound=BaseModel)
_VITAL = ("vocabulary.yaml", "kinds.yaml", "supply.yaml", "shared.yaml")
"""Without these there is no vehicle; where one cannot be read the shipped one stands in."""


class ReviewShelf(Shelf):
    """`told`: what is wrong with files; `lost`: ids of what was left out, so that what rests on them is not told as
    unknown. `instead`: paths of files that lie elsewhere than in their layer's folder, by name."""

    def __init__(self, layers: Sequence[Layer], instead: Mapping[str, Path] | None = None) -> None:
        super().__init__(layers)
        self.told: list[Problem] = []
        self.lost: set[str] = set()
        self.salvaged: dict[Path, Salvaged[Any]] = {}
        self._sources: dict[str, Source[Any] | None] = {}
        self._before_cuts: dict[str, Source[Any] | None] = {}
        self._instead = dict(instead or {})

    def circuit_names(self) -> list[str]:
        """Ids of all circuits that some layer has, sorted."""
        more = {Path(name).stem for name in self._instead if name.startswith("circuits/")}
        return sorted({*super().circuit_names(), *more})

    def paths(self, name: str) -> list[tuple[Layer, Path]]:
        """Where a file of this name is."""
        found = [(layer, path) for layer, path in super().paths(name) if path.is_file() or name not in self._instead]
        if name in self._instead and self._instead[name] not in [path for _, path in found]:
            found.append((self.layers[-1], self._instead[name]))
        return found

    def read(self, name: str, model: type[M], problems: list[Problem], expect: str = "") -> Source[M] | None:
        """As of any shelf, but what is wrong is in `told`, not in `problems`."""
        if name not in self._sources:
            self._sources[name] = self._joined(name, model, expect)
        return self._sources[name]

    def vehicle(self, path: Path) -> Source[schema.VehicleFile] | None:
        """A vehicle's file as far as it can be read."""
        lent = {"vehicle": path.stem, "title": path.stem, "system-v": "12 V", "earth": "negative", "history": "aged"}
        found = self._salvage(path, schema.VehicleFile, lent)
        return None if found.model is None or found.marked is None else Source(found.model, found.marked)

    def written(self, place: Place, section: str, name: str) -> Any:
        """What a file has under a section by this id, outside variants; None where it has none."""
        found = self.salvaged.get(Path(place.file))
        entries = found.marked.data.get(section) if found is not None and found.marked is not None else None
        if isinstance(entries, list):
            return next((entry for entry in entries if entry.get("id") == name), None)
        return entries.get(name) if isinstance(entries, dict) else None

    def uncut(self) -> None:
        """Take back what `cut_out` left out: on another vehicle it may hold."""
        self._sources |= self._before_cuts
        self._before_cuts.clear()

    def cut_out(self, places: Iterable[Place]) -> bool:
        """Leave out the entries that stand at these places. False where there was nothing to leave out."""
        wanted = set(places)
        done = False
        for name, source in self._sources.items():
            if source is None:
                continue
            spots = [*source.marked.places.items(), *source.marked.key_places.items()]
            entries = {entry_at(loc) for loc, place in spots if place in wanted and len(loc) > 1}
            if not entries:
                continue
            self.lost |= {lost for entry in entries for lost in names_in(source.marked, entry)}
            marked = cut(source.marked, entries)
            found, _ = validate(type(source.model), marked)
            if found is not None:
                self._before_cuts.setdefault(name, source)
                self._sources[name] = Source(found, marked)
                done = True
        return done

    def _joined(self, name: str, model: type[M], expect: str) -> Source[M] | None:
        (first, path), *above = self.paths(name)
        above = [] if model is schema.VocabularyFile else above
        self._by_file[str(path)] = first
        if expect and first.origin != SHIPPED and (told := lone(path, self.circuit_names())):
            self.told += told
            self.lost |= self._salvage(path, model, {"title": expect, "circuit": expect}, ["title"]).lost
            return None
        lowest = self._salvage(path, model, {"title": expect, "circuit": expect} if expect else {})
        marked = lowest.marked
        if marked is None and name in _VITAL:
            marked = self._salvage(rules_folder() / name, model, {}, quiet=True).marked
        if marked is None:
            return None
        marked = self._named(marked, expect)
        for layer, path in above:
            self._by_file[str(path)] = layer
            upper = self._upper(path, model, marked, expect)
            if upper is not None:
                laid = lay_circuit if issubclass(model, schema.CircuitFile) else lay_kinds
                marked = laid(marked, upper, self.ledger)
        self.told += self.ledger.problems  # told here, so that they stop nothing further on
        self.ledger.problems.clear()
        if issubclass(model, schema.CircuitFile):
            marked = self._with_known_circuits(marked)
        found, mistakes = validate(model, marked)
        self.told += mistakes
        return None if found is None else Source(found, marked)

    def _with_known_circuits(self, marked: Marked) -> Marked:
        """Without names of circuits that no file describes, which are told."""
        known = self.circuit_names()
        wrong = [
            (key, index)
            for key in ("needs", "beside")
            for index, name in enumerate(marked.data.get(key) or ())
            if name not in (*known, "supply", "shared")
        ]
        for loc in wrong:
            name = str(marked.get(loc))
            what, expected = t("there is no such circuit"), t("a file `circuits/{name}.yaml`", name=name)
            place, mend = marked.place(loc), nearest(name, known)
            self.told.append(Problem(place, what, quoted(name), expected, mend, "unknown-circuit"))
        return cut(marked, wrong)

    def _upper(self, path: Path, model: type[Any], lower: Marked, expect: str) -> Marked | None:
        needed: dict[str, Any] = {"title": lower.data.get("title"), "circuit": expect}
        silent = ["title"]
        if not expect:
            needed, silent = {"kinds": {}, "remedies": {}}, ["kinds", "remedies"]
        found = self._salvage(path, model, needed, silent)
        if found.marked is None or found.whole is None:
            return None
        own = {key: value for key, value in found.marked.data.items() if key in found.whole.data or key not in silent}
        return self._named(Marked(found.marked.file, own, found.marked.places, found.marked.key_places), expect)

    def _salvage(
        self, path: Path, model: type[M], lent: Mapping[str, Any], silent: Sequence[str] = (), *, quiet: bool = False
    ) -> Salvaged[M]:
        if path not in self.salvaged:
            # an addition to the supply need not repeat the controls and places of all
            found = salvage(path, _shape(model, silent), lent, silent, default_kinds)
            self.salvaged[path] = found
            if issubclass(model, schema.CircuitFile):
                self.lost |= found.lost
            if not quiet:
                self.told += found.problems
        return self.salvaged[path]

    def _named(self, marked: Marked, expect: str) -> Marked:
        """The content under its file's own name, with a word where it says another."""
        if not expect or marked.data.get("circuit") == expect:
            return marked
        what, found = t("the circuit's name is not its file's"), quoted(str(marked.data.get("circuit")))
        place = marked.place(("circuit",))
        self.told.append(
            Problem(place, what, found, f"`{expect}`", t("Make the two agree."), "wrong-file-name")
        )  # fmt: skip
        return Marked(marked.file, {**marked.data, "circuit": expect}, marked.places, marked.key_places)


def _shape(model: type[Any], silent: Sequence[str]) -> type[Any]:
    return schema.CircuitFile if silent and issubclass(model, schema.CircuitFile) else model
