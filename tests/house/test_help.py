"""Help teaches: a sentence what a verb is for, examples that work as written, readable down to forty columns.

source of all expectations: common practice, no source
"""

from __future__ import annotations

import re
import shlex
import shutil
from collections.abc import Iterator
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from diag.circuit.faults import derive_causes
from diag.circuit.parts import build_network
from diag.cli import main
from diag.knowledge.load import default_vehicle, load_knowledge
from diag.teaching import example_lines, examples_of

ROOT = Path(__file__).parents[2]


def _commands(group: click.Group, path: tuple[str, ...] = ()) -> Iterator[tuple[str, click.Command]]:
    for name, command in group.commands.items():
        yield " ".join((*path, name)), command
        if isinstance(command, click.Group):
            yield from _commands(command, (*path, name))


COMMANDS = dict(_commands(main))
EXAMPLES = [(verb, example) for verb, command in COMMANDS.items() for example in examples_of(command)]
RUN_REALLY = (
    "diag calc ",
    "diag jobs",
    "diag places",
    "diag rules packs",
    "diag rules schema",
    "diag rules add --template",
    "diag vehicle alter",
    "diag vehicle check demo-",
    "diag vehicle show demo-",
    "diag replay --vehicle",
    "diag replay transcripts",
)
"""Examples that begin so take less than a second or two, and need no job, file or answer of somebody."""
NOT_THERE = ("my-van.yaml", "2026-11-29-082509", "my-pack", "--add", "--remove", "--put-away", "--open --pick")


def _words(example: str) -> list[str]:
    """An example as the command gets it: without its first word, and without what the shell takes for itself."""
    return shlex.split(re.sub(r"\s+(>>?|<)\s+\S+", "", example))[1:]


def _help(verb: str, columns: int) -> str:
    result = CliRunner().invoke(main, [*verb.split(), "--help"], env={"COLUMNS": str(columns)})
    assert result.exit_code == 0
    return result.output


@pytest.mark.parametrize("verb", COMMANDS)
def test_every_verb_says_in_a_sentence_what_it_is_for_and_shows_how(verb: str) -> None:
    """One to four examples; every option is explained."""
    command = COMMANDS[verb]
    first = (command.help or "").strip().split("\n\n")[0]
    assert first.endswith(".") and first[0].isupper()
    assert 1 <= len(examples_of(command)) <= 4
    assert all(example.startswith(f"diag {verb}") for example in examples_of(command))
    for option in command.params:
        if isinstance(option, click.Option):
            assert option.help, f"{verb} {option.name}"
            assert option.opts[0] in _help(verb, 80)


@pytest.mark.parametrize("columns", [40, 80])
@pytest.mark.parametrize("verb", ["", *COMMANDS])
def test_help_can_be_read_at_this_width(verb: str, columns: int) -> None:
    """No line is cut or broken by the terminal, and every example can be typed as it stands."""
    text = _help(verb, columns)
    assert max(map(len, text.splitlines())) <= columns
    joined = re.sub(r" \\\n +", " ", text)
    for example in examples_of(COMMANDS[verb]) if verb else ():
        assert re.search(rf"  {re.escape(example)}(  # .*)?\n", joined)


@pytest.mark.parametrize(("verb", "example"), EXAMPLES)
def test_every_example_is_one_that_the_program_takes(verb: str, example: str) -> None:
    """Parsed as it stands: options that there are, choices that there are, as many arguments as there may be."""
    words = _words(example)
    assert words[: len(verb.split())] == verb.split()
    command = COMMANDS[verb]
    left = words[len(verb.split()) :]
    if isinstance(command, click.Group):
        assert left and " ".join((verb, left[0])) in COMMANDS
        return
    command.make_context(f"diag {verb}", left)


def test_ids_and_files_of_examples_exist() -> None:
    """What is shipped by that name: vehicles, faults, circuits, rules."""
    knowledge = load_knowledge(default_vehicle())
    faults = {cause.id for cause in derive_causes(knowledge, build_network(knowledge))} | {"list"}
    ids = {*faults, *knowledge.rules, *knowledge.circuits}
    seen = 0
    for _, example in EXAMPLES:
        for name in re.findall(r"\S*demo-[a-z-]+\.yaml", example):
            assert (default_vehicle().parent / name).exists(), example
            seen += 1
        for option, value in re.findall(r"--(fault|circuit|template) (\S+)", example):
            assert value in (faults if option == "fault" else knowledge.circuits), example
            seen += 1
        for name in re.findall(r"rules (?:show|state) ([a-z][a-z./-]+)", example):
            assert name in ids or name == "horn/old", example
            seen += 1
        for control, position in re.findall(r"--operate ([a-z-]+)=([a-z-]+)", example):
            assert position in knowledge.controls[control], example
            seen += 1
    assert seen > 15


@pytest.mark.parametrize(
    "example",
    [
        example
        for example in dict.fromkeys(example for _, example in EXAMPLES)
        if example.startswith(RUN_REALLY) and not any(word in example for word in NOT_THERE)
    ],
)
def test_cheap_examples_work(example: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Run as they stand, in a folder with nothing in it."""
    monkeypatch.delenv("DIAG_VEHICLE")
    monkeypatch.chdir(tmp_path)
    if "transcripts" in example:
        shutil.copytree(ROOT / "transcripts", tmp_path / "transcripts")
    result = CliRunner().invoke(main, _words(example))
    assert result.exit_code == 0, result.output
    assert result.output


def test_an_example_is_broken_between_words_only() -> None:
    """And an option stays with its value."""
    assert example_lines("diag x --out my-file.html --as 'a b c'", 20) == [
        "diag x \\",
        "  --out my-file.html \\",
        "  --as 'a b c'",
    ]


# ---------------------------------------------------------------- wrong words


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ("resme", "`diag resume`"),
        ("vehicle shw", "`diag vehicle show`"),
        ("show", "`diag vehicle show` or `diag rules show`"),
        ("learn", "`diag rules learn`"),
        ("frobnicate", "`diag --help`"),
        ("start --vehcle x", "--vehicle"),
        ("export x --as htm", "html"),
    ],
)
def test_the_nearest_word_is_named(typed: str, says: str) -> None:
    """Nobody types all of this without a slip; exit code 2."""
    result = CliRunner().invoke(main, typed.split())
    assert result.exit_code == 2
    assert says in " ".join(result.stderr.split())


def test_the_bare_command_shows_how_to_begin() -> None:
    """Exit code 0: somebody asked what this is."""
    for columns in ("40", "80"):
        result = CliRunner().invoke(main, [], env={"COLUMNS": columns})
        assert result.exit_code == 0
        for typed in ("diag demo", "diag start", "diag resume", "diag --help"):
            assert typed in result.output
        assert max(map(len, result.output.splitlines())) <= int(columns)
