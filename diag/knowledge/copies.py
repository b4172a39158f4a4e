"""A copy of all the files that the knowledge of one vehicle was made of, and that knowledge again from a copy.

A copy is a folder of its own: the files as they were, byte for byte, and `layers.json`, which says in which order they
lie. Knows files and layers; nothing of jobs, nor of how a copy travels.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, StringConstraints, ValidationError

from diag.errors import DiagError
from diag.knowledge.assemble import Knowledge
from diag.knowledge.layers import LEARNED, Layer, Origin, layer_files
from diag.texts import t

__all__ = ["LIST", "Copy", "copied_on", "copy_of", "read_copy"]

LIST = "layers.json"
"""File that says which layers a copy has; its presence makes a folder a copy."""
_FORMAT = 1
_MOST_LIST = 256 * 1024
"""Bytes of the list that are read."""

_Name = Annotated[str, StringConstraints(pattern=r"^[a-z0-9]+(-[a-z0-9]+)*$", max_length=80)]
_Words = Annotated[str, StringConstraints(max_length=400)]
_Folder = Annotated[str, StringConstraints(pattern=r"^[0-9]{2}-[a-z0-9-]+$", max_length=90)]


class _Listed(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True)

    name: _Name
    title: _Words
    version: _Words
    origin: Origin
    folder: _Folder
    hash: Annotated[str, StringConstraints(pattern="^[0-9a-f]{16}$")]
    after: list[_Name]


class _List(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True)

    format: Literal[1]
    vehicle: Annotated[str, StringConstraints(pattern=r"^vehicle/[^/\\\x00-\x1f]{1,120}\.ya?ml$")]
    layers: list[_Listed]


@dataclass(frozen=True)
class Copy:
    """`vehicle`: its file. `layers`: lowest first, their folders inside the copy."""

    vehicle: Path
    layers: tuple[Layer, ...]


def copy_of(knowledge: Knowledge) -> dict[PurePosixPath, bytes]:
    """Every file of a copy by its path in it, in an order that depends on nothing else. Raises DiagError where a file
    has gone or changed since the knowledge was loaded."""
    car = Path(knowledge.spots.files["vehicle"].file)
    files = {PurePosixPath("vehicle", _vehicle_name(car)): _read(car)}
    listed = []
    for number, layer in enumerate(knowledge.layers):
        folder = f"{number:02d}-{layer.name}"
        for path in _files_of(layer):
            files[PurePosixPath(folder, path.relative_to(layer.folder).as_posix())] = _read(path)
        listed.append(
            _Listed(
                name=layer.name,
                title=layer.title,
                version=layer.version,
                origin=layer.origin,
                folder=folder,
                hash=layer.digest,
                after=sorted(layer.after),
            )
        )
    told = _List(format=1, vehicle=f"vehicle/{_vehicle_name(car)}", layers=listed)
    files[PurePosixPath(LIST)] = (json.dumps(told.model_dump(), indent=1, ensure_ascii=False) + "\n").encode()
    return dict(sorted(files.items()))


def copied_on(folder: Path) -> dict[PurePosixPath, bytes]:
    """Every file of the copy in a folder, as it is, by its path in it: a copy of the copy. Raises DiagError as
    `read_copy`, and where a file has gone."""
    copy = read_copy(folder)
    paths = [folder / LIST, copy.vehicle, *(path for layer in copy.layers for path in _files_of(layer))]
    return dict(sorted((PurePosixPath(path.relative_to(folder).as_posix()), _read(path)) for path in paths))


def read_copy(folder: Path) -> Copy:
    """The layers and the vehicle of a copy. Raises DiagError for a folder that is none, or that a newer program wrote;
    what is in the files is judged when they are loaded."""
    path = folder / LIST
    try:
        with path.open("rb") as stream:
            content = stream.read(_MOST_LIST + 1)
        if len(content) > _MOST_LIST:
            raise ValueError(t("it is too long"))
        found = json.loads(content)
        if isinstance(found, dict) and isinstance(found.get("format"), int) and found["format"] > _FORMAT:
            raise DiagError(
                t(
                    "{path}: found format {found}; expected {format} or older. Use the newer program.",
                    path=path,
                    found=found["format"],
                    format=_FORMAT,
                )
            )
        told = _List.model_validate(found)
    except OSError as error:
        raise DiagError(
            t(
                "{path}: {strerror}; expected the list of a copy.",
                path=path,
                strerror=(error.strerror or str(error)).lower(),
            )
        ) from error
    except (ValidationError, ValueError, RecursionError) as error:
        raise DiagError(
            t("{path}: this is not the list of a copy of rules; expected what diag wrote. Unpack it anew.", path=path)
        ) from error
    layers = [
        Layer(one.name, one.title, one.version, folder / one.folder, one.origin, one.hash, frozenset(one.after))
        for one in told.layers
    ]
    return Copy(folder / told.vehicle, tuple(layers))


def _files_of(layer: Layer) -> Iterator[Path]:
    if layer.origin == LEARNED:  # its folder holds more than it
        yield layer.folder / "learned.yaml"
    else:
        yield from layer_files(layer.folder)


def _vehicle_name(path: Path) -> str:
    """Its own name where a list can hold it."""
    plain = re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9._+-]{0,90}\.ya?ml", path.name, re.ASCII)
    return path.name if plain else "vehicle.yaml"


def _read(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        raise DiagError(
            t(
                "{path}: {strerror}; expected a file of rules to copy.",
                path=path,
                strerror=(error.strerror or str(error)).lower(),
            )
        ) from error
