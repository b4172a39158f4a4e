"""What the shell may offer next: names of jobs, vehicles, faults, circuits, rules and the like, each from where it
is kept. Quick, and silent where something is wrong: a half-typed line is no place for messages.

Nothing is solved here: faults are derived from parts and wires, as the program does before it computes anything.
"""

from __future__ import annotations

import functools
import os
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
from click.shell_completion import BashComplete, CompletionItem, add_completion_class

from diag.texts import t

if TYPE_CHECKING:
    from diag.knowledge.assemble import Knowledge

__all__ = [
    "alterations",
    "away_jobs",
    "causes",
    "circuits",
    "instruments",
    "job_names",
    "mistake_codes",
    "operates",
    "pack_names",
    "rule_ids",
    "setting_names",
    "setting_values",
    "settings",
    "things",
    "vehicle_names",
]

_Offer = Callable[[click.Context, click.Parameter, str], Iterable[str | CompletionItem]]
_Complete = Callable[[click.Context, click.Parameter, str], list[CompletionItem]]
_COLUMNS = 60
"""Of a title beside a name, in shells that show one."""


def _offered(offer: _Offer) -> _Complete:
    """What begins as typed; nothing where anything at all goes wrong, for the shell would print it into the line."""

    @functools.wraps(offer)
    def complete(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[CompletionItem]:
        try:
            found = [one if isinstance(one, CompletionItem) else CompletionItem(one)
                     for one in offer(ctx, param, incomplete)]  # fmt: skip
        except Exception:  # files of any sort are read here
            return []
        return [one for one in found if one.type != "plain" or one.value.startswith(incomplete)]

    return complete


def _titled(name: str, title: Any) -> CompletionItem:
    return CompletionItem(name, help=" ".join(str(title).split())[:_COLUMNS] or None)


def _before_last(incomplete: str) -> str:
    """What stands before the newest of several names parted by commas, with its comma."""
    return incomplete[: incomplete.rfind(",") + 1]


@_offered
def job_names(ctx: click.Context, param: click.Parameter, incomplete: str) -> Iterable[str | CompletionItem]:
    """Jobs in the jobs folder and out of bundles; files, where a path is being typed."""
    from diag.job.folder import list_jobs, unpacked_jobs

    if "/" in incomplete:
        return [CompletionItem(incomplete, type="file")]
    return [path.stem for path in (*list_jobs(), *unpacked_jobs())]


@_offered
def away_jobs(ctx: click.Context, param: click.Parameter, incomplete: str) -> Iterable[str | CompletionItem]:
    """Jobs that were put away."""
    from diag.job.folder import away_folder, list_jobs

    return [path.stem for path in list_jobs(away_folder())]


@_offered
def vehicle_names(ctx: click.Context, param: click.Parameter, incomplete: str) -> Iterable[str | CompletionItem]:
    """Vehicles of the layers and of this folder; files, where a path is being typed."""
    from diag.knowledge.layers import installed_layers, vehicles_in

    here = [path.name for path in Path().glob("*.yaml") if not path.name.startswith(".")]
    names = sorted({name for layer in installed_layers() for name in vehicles_in(layer.folder)} | {*here})
    fits = [name for name in names if name.startswith(incomplete)]
    return fits or [CompletionItem(incomplete, type="file")]


def _knowledge(ctx: click.Context) -> Knowledge:
    """Of the vehicle that the line names so far, else of the usual one."""
    from diag.knowledge.load import load_knowledge
    from diag.talk.opening import vehicle_file

    given = _typed(ctx, "vehicle") or _typed(ctx, "file")
    return load_knowledge(vehicle_file(given or None))


def _typed(ctx: click.Context, name: str) -> str:
    """What stands in the line for an option or argument. While an option waits for its value, click has read the
    options only, and the rest is left as it was."""
    arguments = [param.name for param in ctx.command.params if isinstance(param, click.Argument)]
    left = dict(zip(arguments, ctx.args, strict=False))
    return str(ctx.params.get(name) or left.get(name) or "")


@_offered
def causes(ctx: click.Context, param: click.Parameter, incomplete: str) -> Iterable[str | CompletionItem]:
    """Faults of the vehicle, several parted by commas; `list`."""
    from diag.circuit.faults import derive_causes
    from diag.circuit.parts import build_network

    knowledge = _knowledge(ctx)
    done = _before_last(incomplete)
    found = [_titled(done + cause.id, cause.title) for cause in derive_causes(knowledge, build_network(knowledge))]
    return [*found, _titled("list", t("all of them, with their titles"))]


@_offered
def circuits(ctx: click.Context, param: click.Parameter, incomplete: str) -> Iterable[str | CompletionItem]:
    """Circuits of the vehicle."""
    return [_titled(name, circuit.title) for name, circuit in _knowledge(ctx).circuits.items()]


@_offered
def operates(ctx: click.Context, param: click.Parameter, incomplete: str) -> Iterable[str | CompletionItem]:
    """Controls of the vehicle, then their positions."""
    controls = _knowledge(ctx).controls
    control, equals, _ = incomplete.partition("=")
    if equals:
        return [f"{control}={position}" for position in controls.get(control, ())]
    return [f"{name}=" for name in controls]


@_offered
def rule_ids(ctx: click.Context, param: click.Parameter, incomplete: str) -> Iterable[str | CompletionItem]:
    """Rules of the vehicle."""
    return [_titled(name, rule.title) for name, rule in _knowledge(ctx).rules.items()]


@_offered
def things(ctx: click.Context, param: click.Parameter, incomplete: str) -> Iterable[str | CompletionItem]:
    """Whatever has an id: rules and circuits; and once something is typed, all the rest."""
    knowledge = _knowledge(ctx)
    sections: list[Any] = [knowledge.rules, knowledge.circuits]
    if incomplete:
        sections += [knowledge.checks, knowledge.remedies, knowledge.parts, knowledge.wires]
        sections += [knowledge.symptoms, knowledge.cautions]
    found = {name: _titled(name, getattr(one, "title", "")) for section in sections for name, one in section.items()}
    if "." in incomplete:
        from diag.circuit.faults import derive_causes
        from diag.circuit.parts import build_network

        for cause in derive_causes(knowledge, build_network(knowledge)):
            found.setdefault(cause.id, _titled(cause.id, cause.title))
    return found.values()


@_offered
def instruments(ctx: click.Context, param: click.Parameter, incomplete: str) -> Iterable[str | CompletionItem]:
    """What may be at hand, several parted by commas."""
    from diag.talk.opening import INSTRUMENTS

    done = _before_last(incomplete)
    return [done + name for name in INSTRUMENTS if name not in done.split(",")]


@_offered
def alterations(ctx: click.Context, param: click.Parameter, incomplete: str) -> Iterable[str | CompletionItem]:
    """Kinds of alterations; a recipe's file, where a path is being typed."""
    from diag.knowledge.alterations import alteration_names

    fits = [name for name in alteration_names() if name.startswith(incomplete)]
    return fits or [CompletionItem(incomplete, type="file")]


@_offered
def settings(ctx: click.Context, param: click.Parameter, incomplete: str) -> Iterable[str | CompletionItem]:
    """Choices of the alteration that the line names, each with its values."""
    from diag.knowledge.alterations import load_alteration
    from diag.knowledge.load import rules_folder

    recipe = load_alteration(rules_folder() / "alterations" / f"{_typed(ctx, 'kind')}.yaml").model
    found = [f"{name}={value}" for name, option in recipe.choices.items() for value in option.choices]
    return [*found, *(f"{name}={asked.usual.replace(' ', '')}" for name, asked in recipe.asks.items())]


@_offered
def setting_names(ctx: click.Context, param: click.Parameter, incomplete: str) -> Iterable[str | CompletionItem]:
    """Names of settings."""
    from diag.talk.settings import SETTINGS

    return [_titled(name, one.what) for name, one in SETTINGS.items()]


@_offered
def setting_values(ctx: click.Context, param: click.Parameter, incomplete: str) -> Iterable[str | CompletionItem]:
    """What a setting may be: that of the option itself, or the one that the line names."""
    from diag.talk.settings import SETTINGS

    name = str(param.name) if param.name in SETTINGS else _typed(ctx, "name")
    return SETTINGS[name].words


@_offered
def pack_names(ctx: click.Context, param: click.Parameter, incomplete: str) -> Iterable[str | CompletionItem]:
    """Rule packs on the list."""
    from diag.knowledge.layers import installed_layers

    return [_titled(layer.name, layer.title) for layer in installed_layers() if layer.origin == "folder"]


@_offered
def mistake_codes(ctx: click.Context, param: click.Parameter, incomplete: str) -> Iterable[str | CompletionItem]:
    """Short words for sorts of mistakes, several parted by commas."""
    from diag.review.codes import CODES

    done = _before_last(incomplete)
    return [_titled(done + code, meaning) for code, meaning in CODES.items()]


class _Bash(BashComplete):
    """Bash parts a word at `=`: `turn=le` comes as three, and only what follows the `=` is put in."""

    name = "bash"

    def get_completion_args(self) -> tuple[list[str], str]:
        """The words as they were typed."""
        args, incomplete = super().get_completion_args()
        words: list[str] = []
        joined = False
        for word in [*args, incomplete]:
            if word == "=" and words:
                words[-1] += word
                joined = True
            elif joined:
                words[-1] += word
                joined = False
            else:
                words.append(word)
        return words[:-1], words[-1]

    def format_completion(self, item: CompletionItem) -> str:
        """As click has it, without what stands before an `=` already."""
        value = item.value
        if item.type == "plain" and "=" in value[:-1] and not value.startswith("-"):
            typed = os.environ.get("COMP_WORDS", "").split("\n")
            at = int(os.environ.get("COMP_CWORD", "0"))
            if "=" in typed[max(0, at - 1) : at + 1]:
                value = value.partition("=")[2]
        return f"{item.type},{value}"


add_completion_class(_Bash)
