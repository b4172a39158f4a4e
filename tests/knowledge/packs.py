"""Rule packs and local folders for tests, written below a folder."""

from __future__ import annotations

from pathlib import Path

from diag.errors import Place

__all__ = ["HORN", "RULE", "VEHICLE", "place_in", "rule", "write_pack"]

RULE = """\
  - id: {id}
    title: {title}
    when:
      - {{check: lamp-on, light: is dark}}
    then:
      - {{points-to: work-lamp.open, weight: {weight}}}
    because: A dark lamp is burnt out more often than not.
    source: common practice, no source
    state: {state}
"""

HORN = """\
circuit: horn
rules:
  - id: horn/silent-in-the-wet
    title: Horn silent after rain
    when:
      - {check: horn-sound, is: none}
    then:
      - {points-to: earth-column.open, weight: 2}
    because: Water gets into the column.
    source: common practice, no source
    state: draft
"""
VEHICLE = """\
vehicle: horn-only
title: Horn only
system-v: 12 V
earth: negative
history: rewired
circuits: [horn]
"""


def rule(name: str, title: str = "Dark", weight: float = 3, state: str = "draft", **more: str) -> str:
    """One rule on the lamp of the small vehicle, as an item of a list; `more` are further keys."""
    text = RULE.format(id=name, title=title, weight=weight, state=state)
    return text + "".join(f"    {key.replace('_', '-')}: {value}\n" for key, value in more.items())


def write_pack(folder: Path, name: str = "", after: str = "", version: str = "1.0", **files: str) -> Path:
    """A pack (or, without a name, a local folder). `files`: `lamp` is circuits/lamp.yaml, `shared`, `supply` and
    `kinds` stand by themselves, `vehicles__x` is vehicles/x.yaml."""
    folder.mkdir(parents=True, exist_ok=True)
    if name:
        (folder / "pack.yaml").write_text(
            f'pack: {name}\ntitle: Pack {name}\nversion: "{version}"\nsource: common practice, no source\n'
            + (f"after: [{after}]\n" if after else ""),
            encoding="utf-8",
        )
    for key, text in files.items():
        path = folder / f"{key.replace('__', '/')}.yaml"
        if "__" not in key and key not in ("shared", "supply", "kinds"):
            path = folder / "circuits" / path.name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    return folder


def place_in(path: Path, text: str) -> Place:
    """Where a text first stands in a file."""
    content = path.read_text(encoding="utf-8")
    start = content.index(text)
    return Place(str(path), content.count("\n", 0, start) + 1, start - (content.rfind("\n", 0, start) + 1) + 1)
