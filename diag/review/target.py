"""What is to be looked over: a whole rules folder, one layer, some of its files, or all that is added on this machine;
and what lies below it.

Knows names and places of files only.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from diag.errors import DiagError, KnowledgeError, Place, Problem
from diag.knowledge.layers import (
    LEARNED,
    LOCAL,
    SHIPPED,
    Layer,
    PackFile,
    base_layer,
    found_layers,
    local_folder,
)
from diag.knowledge.names import nearest, quoted, words
from diag.knowledge.reader import read_yaml
from diag.knowledge.translate import validate
from diag.replay.jobs import EXPECT
from diag.texts import t

__all__ = ["Target", "sort_of", "target_of"]

_AT_TOP = {
    "pack.yaml": "pack",
    "packs.yaml": "packs",
    "kinds.yaml": "kinds",
    "shared.yaml": "shared",
    "supply.yaml": "supply",
    "vocabulary.yaml": "vocabulary",
    "questions.yaml": "questions",
    "ends.yaml": "ends",
}
_BY_FOLDER = {"circuits": "circuit", "vehicles": "vehicle", "alterations": "alteration", "jobs": "job"}
_BY_KEY = {
    "circuit": "circuit",
    "vehicle": "vehicle",
    "pack": "pack",
    "kinds": "kinds",
    "alteration": "alteration",
    "ends-at": "expect",
}


@dataclass(frozen=True)
class Target:
    """`files`: those looked over, with their sort. `layers`: what they are part of and what lies below, lowest
    first. `instead`: where a file lies that is not in its layer's folder. `problems`: what was wrong on the way."""

    files: Mapping[Path, str]
    layers: tuple[Layer, ...]
    instead: Mapping[str, Path] = field(default_factory=dict)
    problems: tuple[Problem, ...] = ()
    title: str = ""
    whole: bool = True
    """Whether all of a folder is looked over, so that what nothing reads there is told too."""


def target_of(path: Path | None) -> Target:
    """What a PATH means; None: every rule pack and the folder of one's own, or the shipped rules where there is
    neither. Raises DiagError where nothing can be read there."""
    if path is None:
        return _everything()
    if path.is_dir():
        return _folder(path)
    if not path.exists():
        beside = [other.name for other in path.parent.iterdir()] if path.parent.is_dir() else []
        mend = nearest(path.name, beside) or t("Check the name.")
        raise DiagError(
            t("{path}: found no such file or folder; expected knowledge files. {mend}", path=path, mend=mend)
        )
    return _single(path)


def sort_of(path: Path, root: Path) -> str:
    """The sort of a file by its place in a layer; empty for what no layer has."""
    if path.parent == root:
        return _AT_TOP.get(path.name, "")
    if path.parent.parent != root:
        return ""
    sort = _BY_FOLDER.get(path.parent.name, "")
    if sort == "job":
        return "expect" if path.name.endswith(EXPECT) else "job" if path.suffix == ".jsonl" else ""
    return sort if path.suffix == ".yaml" else ""


def _everything() -> Target:
    layers, problems = found_layers()
    own = [layer for layer in layers if layer.origin not in (SHIPPED, LEARNED)]
    if not own and not problems:
        return replace(_whole(layers[0].folder), title=t("the shipped rules, for nothing is added here"))
    files = {file: sort for layer in own for file, sort in _files(layer.folder)}
    return Target(files, layers, problems=tuple(problems), title=words_of(own))


def words_of(layers: Sequence[Layer]) -> str:
    """Layers by name and version."""
    return ", ".join(layer.called for layer in layers)


def _files(root: Path, below: Path | None = None) -> Iterator[tuple[Path, str]]:
    places = (root, *(root / name for name in _BY_FOLDER))
    for place in places:
        if place.is_dir() and (below is None or below in (place, *place.parents)):
            yield from ((path, sort_of(path, root)) for path in sorted(place.iterdir()) if path.is_file())


def _folder(path: Path) -> Target:
    inner = path.name in _BY_FOLDER and not (path / "pack.yaml").exists()
    root = path.parent if inner else path
    found = _whole(root) if (root / "vocabulary.yaml").is_file() else _layer(root)
    if inner:
        found = replace(
            found, files={file: sort for file, sort in found.files.items() if path in file.parents}, whole=False
        )
    if not any(found.files.values()):
        known = words([*(f"{name}/" for name in _BY_FOLDER), *_AT_TOP])
        raise DiagError(
            t(
                "{path}: found no knowledge files; expected some of {known}. Name the folder of a rule pack.",
                path=path,
                known=known,
            )
        )
    return found


def _whole(root: Path) -> Target:
    return Target(dict(_files(root)), (base_layer(root),), title=str(root))


def _layer(root: Path) -> Target:
    """A layer over the shipped rules and those packs that it says it is laid over."""
    installed, _ = found_layers()  # what is wrong with other packs is theirs
    resolved = root.resolve()
    own = resolved == local_folder().resolve()
    known = [layer.name for layer in installed if layer.origin not in (SHIPPED, LOCAL, LEARNED)]
    pack, problems = _told(root, known, own)
    needed = {other for layer in installed if layer.name in pack.after for other in (layer.name, *layer.after)}
    below = [one for one in installed if one.origin == SHIPPED or own or one.name in needed]
    below = [one for one in below if one.folder.resolve() != resolved]
    digest = next((one.digest for one in installed if one.folder.resolve() == resolved), "")
    origin, name = ("local", LOCAL) if own else ("folder", pack.pack)
    layer = Layer(name, pack.title, pack.version, root, origin, digest, frozenset(needed))  # type: ignore[arg-type]
    return Target(dict(_files(root)), (*below, layer), problems=tuple(problems), title=layer.called)


def _told(root: Path, known: Sequence[str], own: bool) -> tuple[PackFile, list[Problem]]:
    """What pack.yaml says, or what its folder is called; and what is wrong beyond its shape, which is told with the
    file. `known`: packs that are installed."""
    file = root / "pack.yaml"
    usual = PackFile.model_construct(pack=root.resolve().name, title=str(root), version="", after=(), source="")
    if not file.is_file():
        expected = t("pack.yaml with pack, title, version and source")
        mend = t("Write one, unless this is to be the folder of one's own.")
        missing = Problem(
            Place(str(file)),
            t("a rule pack says in pack.yaml what it is"),
            t("no such file"),
            expected,
            mend,
            "no-pack",
            "warning",
        )
        return usual, [] if own else [missing]
    try:
        marked = read_yaml(file)
    except KnowledgeError:
        return usual, []
    pack, _ = validate(PackFile, marked)
    if pack is None:
        return usual, []
    problems = [
        Problem(
            marked.place(("after", index)),
            t("this pack is laid over one that is not installed"),
            quoted(other),
            words(known) or t("no name, for no pack is installed"),
            nearest(other, known) or t("Install that pack, or take the name away."),
            "unknown-pack",
        )
        for index, other in enumerate(pack.after)
        if other not in known
    ]
    if pack.pack in (LOCAL, SHIPPED) and not own:
        what, mend = t("this name is kept for another layer"), t("Give the pack another name.")
        place = marked.place(("pack",))
        problems.append(Problem(place, what, quoted(pack.pack), t("a name of its own"), mend, "pack-name"))
    return pack, problems


def _single(path: Path) -> Target:
    """One file, in the layer that it lies in, or by itself over the shipped rules."""
    root = path.parent.parent if path.parent.name in _BY_FOLDER else path.parent
    sort = sort_of(path, root)
    if sort and (sort not in ("circuit", "vehicle") or path.parent.name in _BY_FOLDER):
        inside = _whole(root) if (root / "vocabulary.yaml").is_file() else _layer(root)
        problems = tuple(problem for problem in inside.problems if problem.place.file == str(path))
        return replace(inside, files={path: sort}, problems=problems, title=str(path), whole=False)
    try:
        data = read_yaml(path).data
    except KnowledgeError as error:
        return Target({path: "unread"}, (base_layer(),), problems=tuple(error.problems), title=str(path), whole=False)
    sort = next((sort for key, sort in _BY_KEY.items() if key in data), "")
    if not sort:
        expected = words(_BY_KEY)
        raise DiagError(
            t(
                "{path}: found no sort of knowledge file; expected one with a key {expected}.",
                path=path,
                expected=expected,
            )
        )
    named = str(data.get("circuit", path.stem))
    sort = named if named in ("shared", "supply") and sort == "circuit" else sort
    name = {"circuit": f"circuits/{named}.yaml"}.get(sort, f"{sort}.yaml")
    layer = Layer(path.stem, str(path), "", path.parent / f".{path.stem}", LOCAL, "")
    below, _ = found_layers()
    instead = {name: path} if sort in ("circuit", "shared", "supply", "kinds") else {}
    return Target({path: sort}, (*below, layer), instead, title=str(path), whole=False)
