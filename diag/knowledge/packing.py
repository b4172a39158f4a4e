"""Puts rule packs on the list of this machine and takes them off; says what each layer holds and replaces.

Nothing goes on the list before every vehicle that it touches was loaded with it. Must not know of screens.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from diag.errors import DiagError, KnowledgeError, Place, Problem
from diag.knowledge.additions import Replaced
from diag.knowledge.folders import local_folder, packs_file
from diag.knowledge.layers import (
    LEARNED,
    SHIPPED,
    Layer,
    found_layers,
    layered_vehicle,
    read_pack,
    read_packs_file,
    vehicles_in,
)
from diag.knowledge.learned import learned_file
from diag.knowledge.load import check_layers, circuit_names, load_knowledge
from diag.knowledge.names import nearest, quoted, words
from diag.knowledge.reader import Marked, read_yaml
from diag.knowledge.writer import put_new, replaced
from diag.texts import t

__all__ = ["Held", "add_pack", "held", "hidden_of", "problems_with", "remove_pack", "stray_files"]

_FILES = ("pack.yaml", "kinds.yaml", "shared.yaml", "supply.yaml")
_FOLDERS = ("circuits", "vehicles", "jobs")
_HEADER = "# Folders of rule packs, lowest first. `diag rules packs --add FOLDER` and `--remove NAME` write here.\n"


@dataclass(frozen=True)
class Held:
    """What a layer holds. `rules` counts those of variants too; `adds_to`: circuits (supply and shared among them)
    of lower layers; `circuits`: those that are new with it; `replaced`: entries that it stands in place of."""

    layer: Layer
    rules: int
    circuits: tuple[str, ...]
    adds_to: tuple[str, ...]
    vehicles: tuple[str, ...]
    replaced: tuple[Replaced, ...]


def held(layers: Sequence[Layer]) -> tuple[tuple[Held, ...], list[Problem]]:
    """What each layer holds, lowest first, and what is wrong with their files."""
    found, problems = check_layers(layers)
    told = []
    known: set[str] = set()
    for layer in layers:
        own = set(circuit_names(layer.folder))
        spanning = {name for name in ("supply", "shared") if (layer.folder / f"{name}.yaml").is_file()}
        told.append(
            Held(
                layer,
                sum(_rules(path) for path in _circuit_files(layer.folder)),
                tuple(sorted(own - known)),
                tuple(sorted((own & known) | (spanning if layer.origin != SHIPPED else set()))),
                tuple(vehicles_in(layer.folder)),
                tuple(each for each in found if each.by == layer.name),
            )
        )
        known |= own
    return tuple(told), problems


def _circuit_files(folder: Path) -> Iterator[Path]:
    named = [folder / "supply.yaml", folder / "shared.yaml", *sorted((folder / "circuits").glob("*.yaml"))]
    return (path for path in named if path.is_file())


def _rules(path: Path) -> int:
    try:
        data = read_yaml(path).data
    except KnowledgeError:
        return 0  # told by `check_layers`
    blocks = [data, *(block for block in _list(data.get("variants")) if isinstance(block, dict))]
    return sum(len(_list(block.get("rules"))) for block in blocks)


def _list(found: Any) -> list[Any]:
    return found if isinstance(found, list) else []


def stray_files(folder: Path) -> list[Problem]:
    """Files of a pack that nothing reads, for a rule in them would never be missed."""
    problems = []
    folders = (*_FOLDERS, LEARNED) if folder == local_folder() else _FOLDERS
    for path in sorted(folder.rglob("*.y*ml")):
        inside = path.relative_to(folder)
        name = inside.parts[0]
        if path == learned_file():  # a layer of its own
            continue
        known: tuple[str, ...] = ()
        if len(inside.parts) == 1 and name not in _FILES:
            what, expected, known = t("nothing reads a file of this name"), words(_FILES), _FILES
        elif len(inside.parts) > 1 and name not in folders and "_" not in name:
            what, expected, known = t("nothing reads a folder of this name"), words(folders), folders
        elif len(inside.parts) > 2 and name != "jobs":
            what, expected = t("nothing reads a folder in this folder"), t("the file in `{name}` itself", name=name)
        elif path.suffix != ".yaml":
            what, expected = t("only files that end in `.yaml` are read"), f"`{path.stem}.yaml`"
        else:
            continue
        mend = nearest(name, known) or t("Move it.")
        problems.append(Problem(Place(str(path)), what, quoted(name), expected, mend, "unknown-file"))
    return problems


def problems_with(layers: Sequence[Layer], top: Layer) -> list[Problem]:
    """Everything wrong with a set of layers because of one of them: its files, and every vehicle that it touches."""
    problems = stray_files(top.folder) + check_layers(layers)[1]
    if problems:
        return list(dict.fromkeys(problems))
    touched = {*circuit_names(top.folder)}
    every = any((top.folder / name).is_file() for name in ("kinds.yaml", "shared.yaml", "supply.yaml"))
    own = vehicles_in(top.folder)
    for name in sorted({name for layer in layers for name in vehicles_in(layer.folder)}):
        try:
            path = layered_vehicle(name, layers)
            if path is not None and (every or name in own or _fits(path, touched)):
                load_knowledge(path, layers=layers)
        except KnowledgeError as error:
            problems += error.problems
    return list(dict.fromkeys(problems))


def _fits(vehicle: Path, circuits: set[str]) -> bool:
    try:
        return not circuits.isdisjoint(_list(read_yaml(vehicle).data.get("circuits")))
    except KnowledgeError:
        return True  # loading tells what is wrong


def add_pack(folder: Path) -> Layer:
    """Put a pack on the list, above those that are on it. Raises KnowledgeError where it does not load with all
    others, DiagError where it is on the list; the list is then as it was."""
    folder = folder.expanduser().resolve()
    if not folder.is_dir():
        raise DiagError(
            t("{folder}: there is no such folder; expected the folder of a rule pack. Check its name.", folder=folder)
        )
    if folder == local_folder().resolve():
        raise DiagError(
            t("{folder}: this is your own folder, which counts without a list; expected a pack.", folder=folder)
        )
    problems: list[Problem] = []
    found = read_pack(folder, problems)
    if found is None:
        raise KnowledgeError(problems)
    listed, marked = read_packs_file()
    base = packs_file().parent
    if folder in [(base / Path(name).expanduser()).resolve() for name in listed.packs]:
        raise DiagError(t("{folder}: the rule pack is on the list already; nothing was changed.", folder=folder))
    layers, problems = found_layers([*listed.packs, str(folder)])
    top = next((layer for layer in layers if layer.folder == folder), None)
    if problems or top is None:
        raise KnowledgeError(problems, t("Nothing was changed."))
    problems = problems_with(layers, top)
    if problems:
        raise KnowledgeError(problems, t("Nothing was changed."))
    _write([*listed.packs, str(folder)], _appended(marked, folder))
    return top


def hidden_of(layer: Layer) -> tuple[Replaced, ...]:
    """Entries of a layer that do not count, as a higher one (rules of one's own, say) has some in their place."""
    return tuple(each for each in check_layers(found_layers()[0])[0] if each.of == layer.name)


def remove_pack(name: str) -> Path:
    """Take a pack off the list, by its name or folder; its files stay. Raises DiagError where it is not on the list,
    KnowledgeError where other layers could not be used without it."""
    listed, marked = read_packs_file()
    base = packs_file().parent
    names: dict[str, int] = {}
    for index, entry in enumerate(listed.packs):
        folder = base / Path(entry).expanduser()
        found = read_pack(folder, [])
        for each in (entry, str(folder), folder.name, found.model.pack if found is not None else entry):
            names.setdefault(each, index)
    at = names.get(name, names.get(str(Path(name).expanduser().resolve())))
    if at is None or marked is None:
        raise _not_listed(name, names)
    left = [entry for index, entry in enumerate(listed.packs) if index != at]
    before, after = found_layers(), found_layers(left)
    old = {*before[1], *check_layers(before[0])[1]}
    new = [each for each in [*after[1], *check_layers(after[0])[1]] if each not in old]
    if new:
        raise KnowledgeError(list(dict.fromkeys(new)), t("Nothing was changed."))
    _write(left, _shortened(marked, at))
    return base / Path(listed.packs[at]).expanduser()


def _not_listed(name: str, names: Mapping[str, int]) -> DiagError:
    layer = next((layer for layer in found_layers()[0] if layer.name == name), None)
    why = {
        "wheel": t("it is installed as a wheel; expected a folder on the list. Uninstall the wheel instead"),
        "local": t("it is the folder of your own rules; expected a pack. Move files out of it instead"),
        "learned": t("it was learned from closed jobs; expected a pack. `diag rules learn --off` goes on without it"),
        "shipped": t("it comes with the program; expected a pack. `--without-rules` works without it"),
    }.get(layer.origin if layer is not None else "")
    if why is None:
        known = [each for each in names if "/" not in each and "\\" not in each]
        why = t("there is no such rule pack; expected {known}", known=words(known) or t("nothing, the list is empty"))
        why += f". {nearest(name, known)}" if nearest(name, known) else ""
    return DiagError(t("{name}: {why}. Nothing was changed.", name=name, why=why).replace("?. ", "? "))


# ---------------------------------------------------------------- the list


def _write(entries: Sequence[str], text: str | None) -> None:
    """The list, as edited in place where that says just these entries, else anew."""
    path = packs_file()
    path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    content = text if text is not None and _says(text, entries) else _anew(entries)
    if path.exists():
        replaced(path, content.encode())
    else:
        put_new(path, content.encode(), 0o600)


def _anew(entries: Sequence[str]) -> str:
    lines = "".join(f"  - {json.dumps(entry, ensure_ascii=False)}\n" for entry in entries)
    return f"{_HEADER}packs:\n{lines}" if lines else f"{_HEADER}packs: []\n"


def _says(text: str, entries: Sequence[str]) -> bool:
    import yaml

    try:
        return bool(yaml.safe_load(text) == {"packs": list(entries)})
    except yaml.YAMLError:
        return False


def _text(marked: Marked) -> str:
    return Path(marked.file).read_text(encoding="utf-8-sig")


def _appended(marked: Marked | None, folder: Path) -> str | None:
    if marked is None:
        return None
    text = _text(marked)
    return f"{text}{'' if text.endswith(chr(10)) else chr(10)}  - {json.dumps(str(folder), ensure_ascii=False)}\n"


def _shortened(marked: Marked, at: int) -> str:
    lines = _text(marked).splitlines(keepends=True)
    del lines[marked.place(("packs", at)).line - 1]
    return "".join(lines)
