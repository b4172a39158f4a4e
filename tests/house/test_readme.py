"""README's commands are the ones that are run, and what it promises is there."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import click

from diag.cli import main
from diag.desk_verbs import environment

_TOP = Path(__file__).parents[2]


def _blocks(name: str) -> list[str]:
    return re.findall(r"```\n(.*?)```", (_TOP / name).read_text(encoding="utf-8"), flags=re.DOTALL)


def test_ci_runs_exactly_the_test_command_of_readme() -> None:
    """Two versions of one command drift apart."""
    (command,) = [block.strip() for block in _blocks("README.md") if "-m tests" in block]
    script = [line.strip() for line in (_TOP / ".ci" / "run").read_text(encoding="utf-8").splitlines()]
    assert script[-1] == command


def test_readme_opens_with_the_job_in_one_paragraph_and_then_two_set_up_commands() -> None:
    """A newcomer decides by the first paragraph and starts with the first command."""
    text = (_TOP / "README.md").read_text(encoding="utf-8")
    first = text.split("\n\n")[1]
    assert not first.startswith(("#", "|", "`" * 3, "-"))
    assert "vehicle" in first and "wiring" in first
    blocks = [block for block in _blocks("README.md") if "pip install" in block]
    assert len(blocks) == 2
    assert blocks[0].strip().endswith("diag demo")


def test_every_file_that_readme_and_guide_name_exists() -> None:
    """A dead link is the first thing a newcomer meets."""
    for name in ("README.md", "DEVELOPERS.md"):
        text = (_TOP / name).read_text(encoding="utf-8")
        for target in re.findall(r"\]\(([^)#:]+)\)", text):
            assert (_TOP / target).exists(), f"{name} names {target}"
    guide = (_TOP / "DEVELOPERS.md").read_text(encoding="utf-8")
    for module in re.findall(r"`((?:knowledge|calc|circuit|reason|job|talk|log|sheet|alter|fit)/[a-z_]+\.py)`", guide):
        assert (_TOP / "diag" / module).exists(), f"DEVELOPERS.md names {module}"


def test_the_alteration_of_the_guide_is_one_that_works(tmp_path: Path) -> None:
    """From the guide to a work sheet without a change."""
    from diag.alter.work import alter
    from diag.knowledge.alterations import load_alteration

    guide = (_TOP / "DEVELOPERS.md").read_text(encoding="utf-8")
    (example,) = [b for b in re.findall(r"```yaml\n(.*?)```", guide, flags=re.DOTALL) if "alteration:" in b]
    recipe, vehicle = tmp_path / "horn-relay.yaml", tmp_path / "van.yaml"
    recipe.write_text(example, encoding="utf-8")
    vehicle.write_text(
        "vehicle: van\ntitle: Van\nsystem-v: 12 V\nearth: negative\nhistory: aged\ncircuits: [horn]\n", encoding="utf-8"
    )
    sheet = alter(vehicle, load_alteration(recipe), [], "2026-11-28", "van.before.yaml").sheet
    assert sheet.doubts == ()
    assert any("relay" in text.lower() for text in sheet.needed)


def _leaves(group: click.Group, path: tuple[str, ...] = ("diag",)) -> Iterator[str]:
    for name, command in group.commands.items():
        if isinstance(command, click.Group):
            yield from _leaves(command, (*path, name))
        else:
            yield " ".join((*path, name))


def _told(text: str) -> set[str]:
    """Verbs that a text names: `diag jobs`, `diag calc drop`, and those that follow in the same cell, `section`."""
    found: set[str] = set()
    for cell in re.split(r"[|\n]", text):
        group = ""
        for code in re.findall(r"`([^`]+)`", cell) if "`" in cell else [cell] if cell.startswith("diag ") else []:
            words = [w for w in code.partition("#")[0].removeprefix(".venv/bin/").split() if re.fullmatch(r"[a-z]+", w)]
            if words[:1] == ["diag"] and len(words) > 1:
                command = main.commands.get(words[1])
                group = words[1] if isinstance(command, click.Group) else ""
                found.add(" ".join(words[: 3 if group and len(words) > 2 else 2]))
            elif group and len(words) == 1:
                found.add(f"diag {group} {words[0]}")
    return found


def test_readme_names_every_verb_and_no_other() -> None:
    """What is not told is not found; what is told and not there is worse."""
    text = (_TOP / "README.md").read_text(encoding="utf-8")
    told, verbs = _told(text), set(_leaves(main))
    assert verbs - told == set()
    groups = {f"diag {name}" for name, command in main.commands.items() if isinstance(command, click.Group)}
    named = {name for name in told if re.fullmatch(r"diag( [a-z]+)+", name)}
    assert named - verbs - groups == set()


def test_readme_names_every_variable_and_no_other() -> None:
    """Whoever wonders why it behaves so looks there."""
    text = (_TOP / "README.md").read_text(encoding="utf-8")
    assert set(re.findall(r"\bDIAG_[A-Z]+\b", text)) == set(environment())
