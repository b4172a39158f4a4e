"""The verb `diag settings`, and the options of other verbs that beat a setting for once.

Opens what it needs and hands over; errors are the caller's to turn into messages.
"""

from __future__ import annotations

import textwrap
from collections.abc import Callable
from typing import Any, TypeVar

import click

from diag.completing import setting_names, setting_values
from diag.errors import DiagError, KnowledgeError
from diag.teaching import Verb
from diag.texts import t

__all__ = ["manner_options", "settings"]

F = TypeVar("F", bound=Callable[..., Any])
_WIDEST = 80
_SOURCES = {"environment": "by {}", "kept": "kept", "usual": t("the usual")}


def _checked(ctx: click.Context, param: click.Parameter, given: str | None) -> str | None:
    """A value for once, as it may be kept. Raises a usage error for another."""
    from diag.talk.settings import SETTINGS

    one = SETTINGS[str(param.name)]
    if given is None:
        return None
    value = one.read(given)
    if value is None:
        raise click.BadParameter(t("found `{given}`; expected {wanted}.", given=given, wanted=one.wanted))
    return value


def manner_options(verb: F) -> F:
    """Adds `--lines`, `--print`, `--aloud` and `--colours` to a verb that talks with a person."""
    for option in (
        click.option(
            "--colours", callback=_checked, metavar="WORD", shell_complete=setting_values,
            help=t("auto, none, light or dark (terminal)."),
        ),
        click.option(
            "--aloud", callback=_checked, metavar="WORD", shell_complete=setting_values,
            help=t("Read aloud: on (by the first speech program found), off, or a program such as " "espeak-ng."),
        ),
        click.option(
            "--print", callback=_checked, metavar="SIZE", shell_complete=setting_values,
            help=t("usual, or big for arm's length."),
        ),
        click.option(
            "--lines/--screen", "view", default=None, callback=_viewed,
            help=t("Lines for a screen reader, nothing drawn again; or a page a question (the usual)."),
        ),
    ):  # fmt: skip
        verb = option(verb)
    return verb


def _viewed(ctx: click.Context, param: click.Parameter, lines: bool | None) -> str | None:
    return None if lines is None else "lines" if lines else "screen"


@click.command(cls=Verb)
@click.argument("name", required=False, shell_complete=setting_names)
@click.argument("value", required=False, shell_complete=setting_values)
@click.option(
    "--clear",
    "cleared_name",
    metavar="NAME",
    shell_complete=setting_names,
    help=t("Take one out, so that the usual holds again."),
)
def settings(name: str | None, value: str | None, cleared_name: str | None) -> None:
    """Show what is set, or keep a setting for next time.

    Options of a verb and environment variables (DIAG_VIEW, DIAG_PRINT, ...) beat what is kept here. NO_COLOR in the
    environment turns colours off.

    \b
    diag settings
    diag settings view lines
    diag settings aloud espeak-ng
    diag settings --clear aloud
    """
    from diag.talk.settings import cleared, kept_settings, named, put, settings_file

    if cleared_name is not None:
        if name is not None:
            raise DiagError(t("--clear: found a name beside it; expected one of them. Do one after the other."))
        cleared(cleared_name)
        click.echo(
            t(
                "{cleared_name}: the usual, {usual}",
                cleared_name=cleared_name,
                usual=named(cleared_name).usual or t("nothing"),
            )
        )
        return
    if name is not None and value is not None:
        if name == "vehicle":
            _vehicle_there(value)
        kept = put(name, value)
        click.echo(t("{name}: {kept} (kept in {settings_file})", name=name, kept=kept, settings_file=settings_file()))
        for words in _hints(name, kept):
            click.echo(words)
        return
    kept_now, problems = kept_settings()
    _show([named(name).name] if name is not None else None, kept_now)
    if problems:
        raise KnowledgeError(problems)


def _vehicle_there(value: str) -> None:
    """Raises DiagError for a vehicle that is not there now: it would be missed at the vehicle."""
    from diag.talk.opening import vehicle_file

    if not vehicle_file(value).exists():
        raise DiagError(
            t("vehicle: found `{value}`; expected a vehicle file, or the name of one that is shipped.", value=value)
        )


def _hints(name: str, kept: str) -> list[str]:
    """What stands against a setting here and now."""
    import os

    from diag.talk.settings import SETTINGS
    from diag.talk.speech import speaker_of

    out = []
    if os.environ.get(SETTINGS[name].variable, "").strip():
        out.append(t("{variable} is set here and beats it.", variable=SETTINGS[name].variable))
    if name == "aloud":
        speaker, missing = speaker_of(kept)
        if speaker is not None:
            speaker.close()
        out += [missing] if missing else []
    return out


def _show(names: list[str] | None, kept: dict[str, str]) -> None:
    import shutil

    from diag.talk.settings import SETTINGS, setting, settings_file

    room = max(min(shutil.get_terminal_size().columns, _WIDEST), 20)
    for name in names or SETTINGS:
        one = SETTINGS[name]
        now = setting(name, None, kept)
        source = _SOURCES[now.source].format(one.variable)
        click.echo(textwrap.fill(f"{name}: {now.value or 'none'} ({source})", room, subsequent_indent="  "))
        click.echo(textwrap.fill(f"{one.what}; {one.wanted}", room, initial_indent="  ", subsequent_indent="  "))
    if names is None:
        click.echo(
            textwrap.fill(
                t("Kept in {settings_file}", settings_file=settings_file()),
                room,
                subsequent_indent="  ",
                break_long_words=False,
            )
        )
