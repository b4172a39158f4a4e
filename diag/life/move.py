"""Puts a rule's new state into files: in place where they are one's own, else as a copy in the local folder.

A file is changed whole or not at all, and only if the knowledge still loads with it. Knows files; nothing of what a
state takes.
"""

from __future__ import annotations

import contextlib
import os
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import yaml

from diag.errors import DiagError, KnowledgeError
from diag.knowledge.layers import local_folder
from diag.knowledge.names import quoted
from diag.knowledge.writer import put_new, replaced
from diag.life.text import Step, moved_on, text_of_rule, with_rule
from diag.life.world import World
from diag.texts import t

__all__ = ["Home", "copy_over", "home_of", "move_in_place"]

_MODE = 0o644


@dataclass(frozen=True)
class Home:
    """Where a rule is changed: in `path`, or, where that is not one's own, by a copy in the folder `local`. `layer`: of
    the rule as it is."""

    path: Path
    circuit: str
    layer: str
    local: Path | None


def home_of(world: World, rule: str, folder: Path | None) -> Home:
    """Where to change a rule; `folder`: a rules folder that was named, and so is one's own. Raises DiagError where it
    stands in a vehicle's file or its folder cannot be written to."""
    knowledge = world.rules[rule]
    path = Path(knowledge.places_of[rule].file)
    name = knowledge.layer_of.get(rule, "")
    layer = next((one for one in knowledge.layers if one.name == name), None)
    called = layer.called if layer is not None else name
    ours = folder is not None or (layer is not None and layer.origin in ("folder", "local"))
    if not ours:
        return Home(path, knowledge.circuit_of[rule], called, local_folder())
    if not os.access(path, os.W_OK) or not os.access(path.parent, os.W_OK):
        raise DiagError(
            t("{path}: found it locked; expected a file that can be written to. Check its permissions.", path=path)
        )
    return Home(path, knowledge.circuit_of[rule], called, None)


def move_in_place(steps: Mapping[Path, Sequence[Step]], check: Callable[[], object]) -> list[Path]:
    """Change those rules in their own files. `check` loads what the files belong to and raises KnowledgeError where
    that no longer works; then everything is as it was before.

    Returns the files that changed. Raises DiagError where a file cannot be changed or read.
    """
    before: dict[Path, bytes] = {}
    after: dict[Path, bytes] = {}
    for path, several in steps.items():
        before[path] = _read(path)
        try:
            after[path] = moved_on(before[path].decode("utf-8"), several).encode("utf-8")
        except (KeyError, ValueError, yaml.YAMLError) as error:
            names = ", ".join(quoted(step.rule) for step in several)
            raise DiagError(
                t(
                    "{path}: the state of {names} cannot be changed there: {error}. Nothing was "
                    "changed. Expected the rule as lines of its own under `rules:`; change `state:` "
                    "by hand.",
                    path=path,
                    names=names,
                    error=error,
                )
            ) from None
    changed = [path for path in after if after[path] != before[path]]
    _put({path: (before[path], after[path]) for path in changed}, check)
    return changed


def copy_over(home: Path, step: Step, local: Path, circuit: str, why: str, check: Callable[[], object]) -> Path:
    """Lay a copy of a rule, moved on, over the one in `home`: in the `local` folder's file of the circuit.

    `why`: a comment above it, where it comes from. Raises DiagError where it cannot be written or does not load.
    """
    try:
        entry = text_of_rule(_read(home).decode("utf-8"), step.rule)
    except (KeyError, yaml.YAMLError):
        raise DiagError(
            t(
                "{home}: found no rule {rule} there any more. Look at `diag rules show`.",
                home=home,
                rule=quoted(step.rule),
            )
        ) from None
    except ValueError as error:
        raise DiagError(
            t(
                "{home}: {rule} cannot be copied: {error}. Nothing was changed. Expected one form; "
                "move it where it stands, with --in FOLDER.",
                home=home,
                rule=quoted(step.rule),
                error=error,
            )
        ) from None
    entry = f"  # {why}\n{entry}"
    path = local / ("shared.yaml" if circuit == "shared" else f"circuits/{circuit}.yaml")
    before = _read(path) if path.exists() else None
    try:
        text = moved_on(with_rule((before or b"").decode("utf-8"), circuit, entry), [step])
    except (ValueError, yaml.YAMLError) as error:
        raise DiagError(
            t(
                "{path}: a rule cannot be added there: {error}. Nothing was changed. Expected "
                "`rules:` with one rule a `-`, or no `rules:` at all.",
                path=path,
                error=error,
            )
        ) from None
    path.parent.mkdir(parents=True, exist_ok=True)
    _put({path: (before, text.encode("utf-8"))}, check)
    return path


def _read(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        raise DiagError(
            t(
                "{path}: {strerror}; expected a file that can be read.",
                path=path,
                strerror=(error.strerror or str(error)).lower(),
            )
        ) from None


def _put(files: Mapping[Path, tuple[bytes | None, bytes]], check: Callable[[], object]) -> None:
    """Put contents in place of what was read before; everything back where `check` refuses them."""
    done: list[Path] = []
    try:
        for path, (before, after) in files.items():
            if before is None:
                put_new(path, after, _MODE)
            else:
                if _read(path) != before:
                    raise DiagError(
                        t("{path}: somebody else changed it just now. Nothing was changed; do it again.", path=path)
                    )
                replaced(path, after)
            done.append(path)
        check()
    except BaseException as error:
        for path in done:
            before = files[path][0]
            if before is None:
                with contextlib.suppress(OSError):
                    os.unlink(path)
            else:
                replaced(path, before)
        if isinstance(error, KnowledgeError):
            raise DiagError(
                t("With the rule moved the files no longer load, so all is as it was:\n{error}", error=error)
            ) from None
        if isinstance(error, OSError):
            raise DiagError(
                t(
                    "{filename}: {strerror}; nothing was changed. Expected a folder that can be written to.",
                    filename=error.filename or t("a file"),
                    strerror=(error.strerror or str(error)).lower(),
                )
            ) from None
        raise
