"""Verbs that tell of what is known and move rules through their life: `diag rules show`, `diag rules state`.

Each opens what it needs and hands over; errors are the caller's to turn into messages.
"""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from diag.completing import circuits, rule_ids, things, vehicle_names
from diag.errors import DiagError, harmless
from diag.teaching import Verb
from diag.texts import t

if TYPE_CHECKING:
    from diag.knowledge.schema import Rule, RuleState
    from diag.life.world import World

__all__ = ["show", "state"]

_NARROW, _WIDEST, _MANY = 40, 100, 500
_STATES = ("draft", "tested", "proven", "retired")

Decorator = Callable[[Callable[..., Any]], Callable[..., Any]]
_jobs: Decorator = click.option(
    "--jobs",
    "jobs",
    metavar="FOLDER",
    multiple=True,
    type=click.Path(path_type=Path),
    help=t("Closed jobs of this folder too, beside the recorded ones; again for more."),
)
_own: Decorator = click.option("--own", is_flag=True, help=t("The closed jobs kept on this machine too."))
_in: Decorator = click.option(
    "--in", "folder", metavar="FOLDER", type=click.Path(path_type=Path), help=t("This whole rules folder alone.")
)
_form: Decorator = click.option(
    "--format",
    "form",
    type=click.Choice(["text", "json"]),
    default="text",
    show_default=True,
    help=t("Form of the answer."),
)
_narrow: Decorator = click.option("--narrow", is_flag=True, help=t("Forty columns, for a phone or a strip of paper."))
_circuit: Decorator = click.option(
    "--circuit", metavar="ID", shell_complete=circuits, help=t("Rules of one circuit only.")
)


def _width(narrow: bool) -> int:
    return _NARROW if narrow else max(20, min(_WIDEST, shutil.get_terminal_size().columns))


def _world(vehicle: str | None, jobs: tuple[Path, ...], own: bool, folder: Path | None) -> World:
    from diag.job.folder import jobs_folder
    from diag.life.world import gather
    from diag.talk.opening import vehicle_file

    mine = [jobs_folder()] if own and jobs_folder().is_dir() else []
    first = [vehicle_file(vehicle)] if vehicle is not None or folder is None else []
    world = gather(first, [*jobs, *mine], folder)
    count = sum(len(found) for found in world.jobs.values())
    if count >= _MANY:
        click.echo(t("Going through {count} closed jobs; what each says is kept for next time.", count=count), err=True)
    for problem in world.problems:
        click.echo(harmless(t("Left out: {problem}", problem=problem)), err=True)
    return world


@click.command(cls=Verb)
@click.argument("name", metavar="[ID]", required=False, shell_complete=things)
@click.option(
    "--vehicle",
    metavar="FILE",
    shell_complete=vehicle_names,
    help=t("As this vehicle has it; else the usual one, or the first that has it."),
)
@_circuit
@click.option("--state", "stage", type=click.Choice(_STATES), help=t("Rules in this state only."))
@click.option("--layer", metavar="NAME", help=t("Rules of one layer only: shipped, local or a pack."))
@click.option("--unexercised", is_flag=True, help=t("Rules that no recorded job fires."))
@click.option("--quick", is_flag=True, help=t("Leave out what the computed network says."))
@_jobs
@_own
@_in
@_narrow
@_form
def show(
    name: str | None,
    vehicle: str | None,
    circuit: str | None,
    stage: str | None,
    layer: str | None,
    unexercised: bool,
    quick: bool,
    jobs: tuple[Path, ...],
    own: bool,
    folder: Path | None,
    narrow: bool,
    form: str,
) -> None:
    """Tell all that is known of an ID: rule, cause, check, remedy, part, wire, symptom, caution, circuit.

    Of a rule: what it says and how strongly, where it stands, which layer it comes from, which recorded jobs fire it
    and how often it was right, and whether the computed network agrees. Without an ID: the list of rules.

    Exit codes: 0 told, 2 nothing of that name.

    \b
    diag rules show
    diag rules show horn/silent-alone
    diag rules show fuse-horn.blown
    diag rules show --circuit horn --unexercised
    """
    from diag.life.about import about, listed
    from diag.life.about_text import list_text, page

    width = _width(narrow)
    if name is None:
        rows = listed(_world(vehicle, jobs, own, folder), circuit=circuit, state=stage, layer=layer,
                      unexercised=unexercised)  # fmt: skip
        _say(rows, list_text(rows, width), form)
        return
    if circuit or stage or layer or unexercised:
        raise DiagError(
            t("found `{name}` beside a filter; expected one of the two. Filters are for the list of rules.", name=name)
        )
    found = about(_world(vehicle, jobs, own, folder), name.strip(), network=not quick)
    _say(found, page(found, width), form)


def _say(found: Any, lines: list[str], form: str) -> None:
    click.echo(json.dumps(found, indent=1) if form == "json" else "\n".join(lines).rstrip())


# ---------------------------------------------------------------- state


@click.command(cls=Verb)
@click.argument("name", metavar="[ID]", required=False, shell_complete=rule_ids)
@click.argument("to", metavar="[STATE]", required=False, type=click.Choice(_STATES))
@click.option("--successor", metavar="ID", help=t("The rule that stands in place of a retired one."))
@click.option("--because", metavar="TEXT", help=t("Why; kept with the rule."))
@click.option("--all", "every", type=click.Choice(["draft", "tested", "proven"]),
              help=t("Move every rule that has earned it; `draft`: every tested one that has not."))  # fmt: skip
@_circuit
@click.option("--dry-run", is_flag=True, help=t("Say what would be done, change nothing."))
@_jobs
@_own
@_in
@_narrow
@_form
def state(
    name: str | None,
    to: RuleState | None,
    successor: str | None,
    because: str | None,
    every: RuleState | None,
    circuit: str | None,
    dry_run: bool,
    jobs: tuple[Path, ...],
    own: bool,
    folder: Path | None,
    narrow: bool,
    form: str,
) -> None:
    """Say where a rule stands and what the next state takes, or move it: draft, tested, proven, retired.

    tested: it loads and names causes that there are; its source is given; a recorded job fires it and ends at what
    it says; another (a near miss) tries its checks, ends elsewhere and does not fire it; it makes no recorded job
    worse.

    proven: it fired in 5 closed jobs or more, from 2 vehicles or days or more (jobs written by hand or simulated do
    not count); the lower end of the 90 % range of how often it is right is above one half; none of its jobs was shown
    wrong by a later one.

    retired: a successor that is not retired, or why there is none; it stays in its file, its id is never given anew,
    and there is no way back.

    One step back: with --because.

    A rule of your own folder or pack is changed in its file: only the lines that say where it stands. A shipped one
    is copied into your local folder, where the copy counts; with --in FOLDER it is changed in that folder. There is no
    way round what is missing.

    Exit codes: 0 moved, or nothing was to be done; 2 something is missing, and nothing was changed.

    \b
    diag rules state horn/silent-alone
    diag rules state horn/silent-alone tested
    diag rules state horn/old retired --successor horn/new
    diag rules state --all tested --in rules
    """
    from diag.life.states import needs, next_state

    if every is not None:
        if name is not None:
            raise DiagError(t("found `{name}` beside --all; expected one of the two.", name=name))
        if successor is not None:
            raise DiagError(t("found --successor beside --all; a successor belongs to one rule."))
        _bulk(_world(None, jobs, own, folder), every, circuit, because, folder, dry_run, form)
        return
    if name is None:
        raise DiagError(t("found no rule; expected the ID of one, or --all STATE. `diag rules show` lists them."))
    world = _world(None, jobs, own, folder)
    rule = _rule(world, name)
    width = _width(narrow)
    wanted = to or next_state(rule)
    if wanted is None:
        where = t("; `{replaced_by}` stands in its place", replaced_by=rule.replaced_by) if rule.replaced_by else ""
        _say(
            {"id": name, "state": rule.state}, [t("{name}: retired{where}. It stays so.", name=name, where=where)], form
        )
        return
    found = needs(world, rule, wanted, successor=successor, because=because)
    if to is None:
        _stands(rule, wanted, found, width, form)
        return
    if to == rule.state and to != "retired" and not successor:
        click.echo(t("{name} is {to} already. Nothing was changed.", name=name, to=to))
        return
    _move(world, rule, to, successor, because, folder, dry_run)


def _stands(rule: Rule, wanted: RuleState, found: list[Any], width: int, form: str) -> None:
    from diag.life.about_text import needs_text

    missing = sum(not need.met for need in found)
    head = t("{rule}: {state}. For {wanted}: ", rule=rule.id, state=rule.state, wanted=wanted) + (
        t("{missing} missing", missing=missing) if missing else t("all is met")
    )
    lines = needs_text(head, found, width)
    if not missing:
        lines += ["", f"diag rules state {rule.id} {wanted}"]
    plain = [{"words": need.words, "met": need.met, "found": need.found, "mend": need.mend} for need in found]
    _say({"id": rule.id, "state": rule.state, "next": wanted, "needs": plain}, lines, form)


def _rule(world: World, name: str) -> Rule:
    from diag.life.about import nearest_ids

    if name not in world.rules:
        known = {one: ("rule", knowledge.rules[one].title) for one, knowledge in world.rules.items()}
        raise DiagError(
            t("{name}: there is no such rule. {nearest_ids}", name=name, nearest_ids=nearest_ids(name, known))
        )
    return world.rule(name)


def _today() -> str:
    return datetime.now(UTC).date().isoformat()


def _move(
    world: World,
    rule: Rule,
    to: RuleState,
    successor: str | None,
    because: str | None,
    folder: Path | None,
    dry_run: bool,
) -> None:
    from diag.life.move import copy_over, home_of, move_in_place
    from diag.life.states import step_of

    step = step_of(world, rule, to, _today(), successor=successor, because=because)
    home = home_of(world, rule.id, folder)
    way = (
        t("in {path}", path=home.path)
        if home.local is None
        else t("as a copy in {local}, over the one of {layer}", local=home.local, layer=home.layer)
    )
    if dry_run:
        click.echo(
            t(
                "Would move {rule} from {state} to {to}, {way}. Nothing was changed.",
                rule=rule.id,
                state=rule.state,
                to=to,
                way=way,
            )
        )
        return
    if home.local is None:
        move_in_place({home.path: [step]}, world.load_again)
        where = home.path
    else:
        why = t("Stands in place of the rule of {layer}; only where it stands is another.", layer=home.layer)
        where = copy_over(home.path, step, home.local, home.circuit, why, world.load_again)
    click.echo(t("{rule}: from {state} to {to}.\nWritten: {where}", rule=rule.id, state=rule.state, to=to, where=where))


def _bulk(
    world: World, to: RuleState, circuit: str | None, because: str | None, folder: Path | None, dry_run: bool, form: str
) -> None:
    from diag.life.move import home_of, move_in_place
    from diag.life.states import earned_step

    steps: dict[Path, list[Any]] = {}
    skipped: list[str] = []
    moved: list[dict[str, str]] = []
    day = _today()
    names = [name for name in world.rules if circuit in (None, world.rules[name].circuit_of.get(name))]
    if not names:
        raise DiagError(
            t("--circuit: no rule is of the circuit `{circuit}`. `diag rules show` lists them.", circuit=circuit)
        )
    for name in names:
        step = earned_step(world, world.rule(name), to, day, because)
        if step is None:
            continue
        home = home_of(world, name, folder)
        if home.local is not None:
            skipped.append(name)
            continue
        steps.setdefault(home.path, []).append(step)
        moved.append({"id": name, "to": to if step.moved is not None else "", "file": str(home.path)})
    if not dry_run and steps:
        move_in_place(steps, world.load_again)
    if form == "json":
        click.echo(json.dumps({"moved": moved, "left": skipped, "dry-run": dry_run}, indent=1))
        return
    for one in moved:
        click.echo(f"{one['id']}: {('to ' + to if one['to'] else t('its jobs brought up to date'))}")
    count = sum(bool(one["to"]) for one in moved)
    click.echo(t("{what} {count} to {to}.", what=t("Would move") if dry_run else t("Moved"), count=count, to=to))
    if skipped:
        click.echo(
            t(
                "{count} more have earned it but are shipped: move them one by one (into your local "
                "folder), or all with --in FOLDER.",
                count=len(skipped),
            )
        )
