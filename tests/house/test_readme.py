"""README's commands are the ones that are run, and what it promises is there."""

from __future__ import annotations

import re
from pathlib import Path

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
