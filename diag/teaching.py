"""How help looks: what a verb is for in a sentence, examples that work as written, options that can be read at forty
columns; and the nearest known verb to a misspelt one. Knows no verb."""

from __future__ import annotations

import difflib
import inspect
import re
import shutil
import textwrap
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import click

from diag.texts import t

__all__ = ["Group", "Verb", "example_lines", "examples_of"]

_WIDEST, _NARROWEST, _BESIDE = 80, 24, 60
"""Columns at most and at least, and from how many on options and their meaning stand side by side."""

_PIECE = re.compile(r"(?:--[a-z-]+ (?=[^-\s]))?(?:'[^']*'|\"[^\"]*\"|\S+)")
"""Of an example: a word, or an option with its value."""


class _Plain(click.HelpFormatter):
    """As wide as the screen, down to a phone held upright."""

    def __init__(self, indent_increment: int = 2, width: int | None = None, max_width: int | None = None) -> None:
        wide = min(shutil.get_terminal_size().columns, max_width or _WIDEST)
        super().__init__(indent_increment, max(_NARROWEST, wide - 1) if width is None else width, max_width)

    def write_dl(self, rows: Iterable[tuple[str, str]], col_max: int = 30, col_spacing: int = 2) -> None:
        """Terms and what they mean, one below the other where there is no room beside."""
        if self.width >= _BESIDE:
            super().write_dl(rows, col_max, col_spacing)
            return
        for term, meaning in rows:
            for line in textwrap.wrap(term, self.width - self.current_indent) or [""]:
                self.write(f"{'':>{self.current_indent}}{line}\n")
            self.write(_filled(meaning, self.width, self.current_indent + 4))


def _filled(text: str, width: int, indent: int) -> str:
    blank = " " * indent
    lines = textwrap.wrap(" ".join(text.split()), width, initial_indent=blank, subsequent_indent=blank)
    return "".join(f"{line}\n" for line in lines)


class _Context(click.Context):
    formatter_class = _Plain


def examples_of(command: click.Command) -> list[str]:
    """The examples in a verb's help, a line each, as written there, without the remark behind `  # `."""
    return [example for example, _ in _remarked(command)]


def _remarked(command: click.Command) -> list[tuple[str, str]]:
    """Examples, each with its remark or nothing."""
    lines = [line for block in _blocks(command.help or "") if _teaches(block) for line in block[1:]]
    return [(before.rstrip(), remark.strip()) for before, _, remark in (line.partition("  # ") for line in lines)]


def _blocks(text: str) -> list[list[str]]:
    """Paragraphs as lines."""
    clean = inspect.cleandoc(text).partition("\f")[0]
    return [block.split("\n") for block in re.split(r"\n[ \t]*\n", clean) if block.strip()]


def _teaches(block: Sequence[str]) -> bool:
    return block[0] == "\b" and len(block) > 1 and block[1].startswith("diag")


def example_lines(example: str, width: int) -> list[str]:
    """An example so that it can be typed at this width: broken between words, as a shell goes on in a next line."""
    lines: list[str] = []
    line = ""
    for word in _PIECE.findall(example):
        if line and len(line) + 1 + len(word) > width - 2:  # room for the backslash
            lines.append(f"{line} \\")
            line = f"  {word}"
        else:
            line = f"{line} {word}" if line else word
    return [*lines, line]


class _Helping(click.Command):
    """Help of any command: usage, purpose, examples, options."""

    context_class = _Context

    def format_help_text(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """The purpose and what belongs to it; then the examples under a heading of their own."""
        blocks = _blocks(self.help or "")
        text = "\n\n".join("\n".join(block) for block in blocks if not _teaches(block))
        formatter.write_paragraph()
        with formatter.indentation():
            formatter.write_text(text)
        examples = _remarked(self)
        if examples:
            with formatter.section(t("For example")):
                room = formatter.width - formatter.current_indent
                for example, remark in examples:
                    beside = f"{example}  # {remark}" if remark else example
                    lines = [beside]
                    if len(beside) > room:
                        told = textwrap.wrap(remark, room, initial_indent="# ", subsequent_indent="# ")
                        lines = [*told, *example_lines(example, room)]
                    for line in lines:
                        formatter.write(f"{'':>{formatter.current_indent}}{line}\n")


class Verb(_Helping):
    """One verb."""


class Group(_Helping, click.Group):
    """Verbs that belong together, told in the order given by `sections`: heading to names; what is in none of them
    comes last."""

    command_class = Verb

    def __init__(self, *args: Any, sections: Mapping[str, Sequence[str]] | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **{"subcommand_metavar": "VERB ...", **kwargs})
        self.sections = dict(sections or {})

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """The verb that is called. Raises UsageError with the nearest one that there is, here or one level below."""
        name = args[0]
        if ctx.resilient_parsing or name.startswith("-") or self.get_command(ctx, name) is not None:
            return super().resolve_command(ctx, args)
        near = [f"{ctx.command_path} {one}" for one in difflib.get_close_matches(name, self.list_commands(ctx), 1)]
        below = [
            f"{ctx.command_path} {outer} {name}"
            for outer, group in self.commands.items()
            if isinstance(group, click.Group) and name in group.commands
        ]
        mend = t(" or ").join(f"`{one}`" for one in [*below, *near])
        raise click.UsageError(
            t("found `{name}`; expected a verb. ", name=name[:60])
            + (
                t("Did you mean {mend}?", mend=mend)
                if mend
                else t("`{command_path} --help` lists them.", command_path=ctx.command_path)
            ),
            ctx,
        )

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Each with the first sentence of its purpose, whole."""
        placed = {name for names in self.sections.values() for name in names}
        rest = [name for name in self.list_commands(ctx) if name not in placed]
        heading = t("Also") if self.sections else t("Verbs")
        for title, names in (*self.sections.items(), (heading, rest)):
            rows = [
                (name, command.get_short_help_str(1000))
                for name in names
                if (command := self.get_command(ctx, name)) is not None and not command.hidden
            ]
            if rows:
                with formatter.section(title):
                    formatter.write_dl(rows)
