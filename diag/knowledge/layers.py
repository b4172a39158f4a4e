"""The layers that knowledge is made of: shipped rules, rule packs, the folder of one's own; found, checked, ordered.

A higher layer adds to those below it or replaces single entries by id. Must not know what circuits hold (that is
`additions`), nor of any vehicle.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from importlib import metadata
from importlib.util import find_spec
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import StringConstraints

from diag import __version__
from diag.errors import KnowledgeError, Place, Problem
from diag.knowledge.folders import local_folder, packs_file, packs_left_out, rules_folder
from diag.knowledge.learned import learned_file, read_learned
from diag.knowledge.names import nearest, quoted, words
from diag.knowledge.reader import Loc, Marked, file_bytes, read_yaml
from diag.knowledge.scalars import Id, Model, Text
from diag.knowledge.translate import validate
from diag.texts import t

__all__ = [
    "ENTRY_POINTS",
    "LEARNED",
    "LOCAL",
    "SHIPPED",
    "WAY_OUT",
    "Layer",
    "PackFile",
    "PacksFile",
    "base_layer",
    "found_layers",
    "holder_of",
    "installed_layers",
    "layer_files",
    "layered_vehicle",
    "vehicles_in",
    "local_folder",
    "read_pack",
    "read_packs_file",
]

ENTRY_POINTS = "diag.rule_packs"
"""Group of entry points; each names the package of a wheel whose folder holds `pack.yaml`."""
SHIPPED: Literal["shipped"] = "shipped"
LOCAL: Literal["local"] = "local"
LEARNED: Literal["learned"] = "learned"
WAY_OUT = t(
    "To go on with the shipped rules alone: --without-packs at start, resume, talk and export; DIAG_PACKS=none at all."
)
"""Told after a mistake in a layer that can be left out: it must not stand between a person and the vehicle."""
FOLDERS = ("circuits", "vehicles", "alterations")
"""Folders of a layer whose files are knowledge. Recorded jobs prove it and are none."""

Origin = Literal["shipped", "wheel", "folder", "local", "learned"]
Version = Annotated[str, StringConstraints(pattern=r"^[0-9]+(\.[0-9]+)*$", max_length=30)]


class PackFile(Model):
    """pack.yaml. `after`: packs that this one is laid over, wherever else it would come."""

    pack: Id
    title: Text
    version: Version
    after: tuple[Id, ...] = ()
    source: Text


class PacksFile(Model):
    """packs.yaml: folders of rule packs, lowest first; a path that is not whole is taken from the file's folder."""

    packs: tuple[Text, ...] = ()


@dataclass(frozen=True)
class Layer:
    """One layer. `digest`: 16 hex digits of the SHA-256 of its files, those of recorded jobs left out. `version` is
    empty for a local folder that gives none. `after`: every pack that it is laid over by its own word, or by the
    word of one of those."""

    name: str
    title: str
    version: str
    folder: Path
    origin: Origin
    digest: str
    after: frozenset[str] = frozenset()

    @property
    def called(self) -> str:
        """Name and version, as a person is told of it."""
        return f"{self.name} {self.version}".rstrip()

    def may_replace(self, lower: Layer) -> bool:
        """Whether an entry of this layer may stand in place of one of a lower layer without being a conflict."""
        return not {self.origin, lower.origin} <= {"wheel", "folder"} or lower.name in self.after


@dataclass(frozen=True)
class _Found:
    """A pack before its place in the order is known."""

    model: PackFile
    marked: Marked
    folder: Path
    origin: Origin


def base_layer(rules: Path | None = None) -> Layer:
    """The lowest layer: the shipped rules, or another whole rules folder in their place."""
    folder = rules_folder() if rules is None else rules
    return Layer(SHIPPED, t("Shipped rules"), __version__, folder, "shipped", _digest(folder))


def installed_layers() -> tuple[Layer, ...]:
    """Every layer of this machine, lowest first; the shipped rules alone with DIAG_PACKS=none.

    Raises KnowledgeError with everything that is wrong with packs.yaml and the packs' own files.
    """
    if packs_left_out():
        return (base_layer(),)
    layers, problems = found_layers()
    if problems:
        raise KnowledgeError(problems, WAY_OUT)
    return layers


def found_layers(listed: Sequence[str] | None = None) -> tuple[tuple[Layer, ...], list[Problem]]:
    """Every layer that can be used, lowest first, and what is wrong with the others. `listed`: folders of packs
    in place of those that packs.yaml names."""
    problems: list[Problem] = []
    wheels = sorted(_wheels(problems), key=lambda found: found.model.pack)
    packs = _once([*wheels, *_folders(listed, problems)], problems)
    layers = [base_layer(), *_laid(packs, problems)]
    own = local_folder()
    if own.is_dir():
        told = read_pack(own, problems) if (own / "pack.yaml").is_file() else None
        model = told.model if told is not None else None
        layers.append(
            Layer(
                LOCAL,
                model.title if model else t("Rules of your own"),
                model.version if model else "",
                own,
                "local",
                _digest(own),
            )
        )
    layers += _learned(problems)
    return tuple(layers), problems


def _learned(problems: list[Problem]) -> Iterator[Layer]:
    """What closed jobs taught, as the highest layer: it has no entries of its own and moves how often causes and
    misreadings are met."""
    try:
        found = read_learned()
    except KnowledgeError as error:
        problems += error.problems
        return
    if found is not None and found.used:
        title = t("Learned from closed jobs")
        yield Layer(LEARNED, title, found.date, learned_file().parent, LEARNED, found.digest)


def read_pack(folder: Path, problems: list[Problem], origin: Origin = "folder") -> _Found | None:
    """The pack.yaml of a folder, None (and its problems told) where it cannot be used."""
    file = folder / "pack.yaml"
    if folder.is_dir() and not file.exists():
        needed = t("pack.yaml with `pack`, `title`, `version` and `source`")
        what = t("a rule pack says in pack.yaml what it is")
        problems.append(Problem(Place(str(file)), what, t("no such file"), needed, t("Write one."), "no-pack"))
        return None
    try:
        marked = read_yaml(file)
    except KnowledgeError as error:
        problems += error.problems
        return None
    model, mistakes = validate(PackFile, marked)
    problems += mistakes
    if model is None:
        return None
    own = folder == local_folder()
    if (model.pack in (LEARNED, LOCAL, SHIPPED)) != own or (own and model.pack != LOCAL):
        problems.append(
            Problem(
                marked.place(("pack",)),
                t("the folder of one's own is called `local`") if own else t("this name is kept for another layer"),
                quoted(model.pack),
                "`pack: local`" if own else t("a name of its own"),
                t("Correct it."),
                code="pack-name",
            )
        )
        return None
    return _Found(model, marked, folder, origin)


def read_packs_file() -> tuple[PacksFile, Marked | None]:
    """The list of packs that are folders, empty where there is none. Raises KnowledgeError."""
    path = packs_file()
    if not path.exists():
        return PacksFile(), None
    marked = read_yaml(path)
    model, problems = validate(PacksFile, marked)
    if model is None:
        raise KnowledgeError(problems)
    return model, marked


def layer_files(folder: Path) -> Iterator[Path]:
    """The files of a layer that are knowledge, in an order that every machine has."""
    for place in (folder, *(folder / name for name in FOLDERS)):
        if place.is_dir():
            yield from sorted(path for path in place.glob("*.yaml") if path.is_file())


def vehicles_in(folder: Path) -> list[str]:
    """File names of the vehicles of a layer, sorted."""
    return sorted(path.name for path in (folder / "vehicles").glob("*.yaml") if path.is_file())


def holder_of(path: Path, layers: Sequence[Layer]) -> Layer | None:
    """The layer in whose folder a file lies, None where it lies in none."""
    whole = path.resolve()
    return next((layer for layer in layers if whole.is_relative_to(layer.folder.resolve())), None)


def layered_vehicle(name: str, layers: Sequence[Layer]) -> Path | None:
    """The vehicle of this file name in the highest layer that has one, None where there is none.

    Raises KnowledgeError where two packs have one and neither is laid over the other.
    """
    found = [layer for layer in layers if name in vehicles_in(layer.folder)]
    if not found:
        return None
    path = found[-1].folder / "vehicles" / name
    for lower in found[:-1]:
        if found[-1].may_replace(lower):
            continue
        raise KnowledgeError(
            [
                Problem(
                    Place(str(path)),
                    t(
                        "the rule packs `{lower}` and `{name}` both have a vehicle of this name",
                        lower=lower.name,
                        name=found[-1].name,
                    ),
                    t("the other at {number}", number=lower.folder / "vehicles" / name),
                    t("each name from one pack"),
                    t(
                        "Write `after: [{lower}]` in the pack.yaml of `{name}`, or name the file with its folder.",
                        lower=lower.name,
                        name=found[-1].name,
                    ),
                    "duplicate-id",
                )
            ]
        )
    return path


def _digest(folder: Path) -> str:
    total = hashlib.sha256()
    for path in layer_files(folder):
        content = file_bytes(path)
        total.update(f"{path.relative_to(folder).as_posix()} {len(content)}\n".encode())
        total.update(content)
    return total.hexdigest()[:16]


def _wheels(problems: list[Problem]) -> Iterator[_Found]:
    for point in metadata.entry_points(group=ENTRY_POINTS):
        owner = point.dist.metadata["Name"] if point.dist is not None else t("a wheel")
        place = Place(t("{owner}: entry point {point}", owner=owner, point=point.name))
        folder = _package_folder(point)
        if folder is None:
            problems.append(
                Problem(
                    place,
                    t("a rule pack's package is not there"),
                    quoted(point.value),
                    t("a package with a folder that holds `pack.yaml`"),
                    t("Install it again, or take it away."),
                    code="unreadable",
                )
            )
            continue
        found = read_pack(folder, problems, "wheel")
        if found is not None:
            yield found


def _package_folder(point: metadata.EntryPoint) -> Path | None:
    """Where a package lies, without running any of its code: a pack is data."""
    if point.dist is not None:
        folder = Path(str(point.dist.locate_file(point.module.replace(".", "/"))))
        if folder.is_dir():
            return folder
    try:  # installed for development, its files lie elsewhere
        spec = find_spec(point.module) if "." not in point.module else None
    except (ImportError, ValueError):
        spec = None
    return next((Path(place) for place in spec.submodule_search_locations or ()), None) if spec is not None else None


def _folders(listed: Sequence[str] | None, problems: list[Problem]) -> Iterator[_Found]:
    marked: Marked | None = None
    if listed is None:
        try:
            written, marked = read_packs_file()
        except KnowledgeError as error:
            problems += error.problems
            return
        listed = written.packs
    for index, name in enumerate(listed):
        folder = (packs_file().parent / Path(name).expanduser()).resolve()
        if not folder.is_dir():
            at = marked.place(("packs", index)) if marked is not None else Place(str(packs_file()))
            problems.append(
                Problem(
                    at,
                    t("there is no such folder"),
                    quoted(name),
                    t("the folder of a rule pack"),
                    t(
                        "Put it back, or take the pack off the list: `diag rules packs --remove {folder}`.",
                        folder=folder.name,
                    ),
                    code="unreadable",
                )
            )
            continue
        found = read_pack(folder, problems)
        if found is not None:
            yield found


def _once(packs: Iterable[_Found], problems: list[Problem]) -> list[_Found]:
    known: dict[str, _Found] = {}
    for found in packs:
        first = known.setdefault(found.model.pack, found)
        if first is not found:
            problems.append(
                Problem(
                    found.marked.place(("pack",)),
                    t("two rule packs have one name"),
                    t("{pack}, also at {place}", pack=quoted(found.model.pack), place=first.marked.place(("pack",))),
                    t("each pack once, with a name of its own"),
                    t("Take one of them away, or rename it."),
                    code="duplicate-id",
                )
            )
    return list(known.values())


def _laid(packs: Sequence[_Found], problems: list[Problem]) -> list[Layer]:
    """The packs in their order: as they were found, but each behind those that its `after` names."""
    names = [found.model.pack for found in packs]
    usable = []
    for found in packs:
        lost = [(place, name) for place, name in enumerate(found.model.after) if name not in names]
        for place, name in lost:
            problems.append(
                Problem(
                    found.marked.place(("after", place)),
                    t("this pack is laid over one that is not installed"),
                    quoted(name),
                    words(name for name in names if name != found.model.pack)
                    or t("no name, for there is no other pack"),
                    nearest(name, names) or t("Install that pack, or take the name away."),
                    code="unknown-pack",
                )
            )
        if not lost:
            usable.append(found)
    below: dict[str, frozenset[str]] = {}
    layers: list[Layer] = []
    while usable:
        ready = next((found for found in usable if below.keys() >= set(found.model.after)), None)
        if ready is None:
            problems += _ring(usable, below)
            break
        usable.remove(ready)
        model = ready.model
        below[model.pack] = frozenset(model.after).union(*(below[name] for name in model.after))
        layers.append(
            Layer(
                model.pack,
                model.title,
                model.version,
                ready.folder,
                ready.origin,
                _digest(ready.folder),
                below[model.pack],
            )
        )
    return layers


def _ring(stuck: Sequence[_Found], below: Mapping[str, Any]) -> Iterator[Problem]:
    by_name = {found.model.pack: found for found in stuck}
    seen: list[str] = []
    name = stuck[0].model.pack
    while name not in seen:
        seen.append(name)
        # a pack of a ring waits for one that waits too; one whose `after` is missing was told already
        waits = [other for other in by_name[name].model.after if other in by_name] if name in by_name else []
        if not waits:
            return
        name = waits[0]
    ring = seen[seen.index(name) :]
    found = by_name[ring[0]]
    at: Loc = ("after", found.model.after.index(ring[1] if len(ring) > 1 else ring[0]))
    yield Problem(
        found.marked.place(at),
        t("rule packs are laid over each other in a ring"),
        t(" after ").join(f"`{name}`" for name in [*ring, ring[0]]),
        t("a lowest one"),
        t("Take one `after` out of the ring."),
        code="ring",
    )
