"""Entries put into a file that somebody wrote by hand: what stands there stays to the letter.

source of all expectations: common practice, no source
"""

from __future__ import annotations

from typing import Any

import pytest
import yaml

from diag.author.writing import with_added
from diag.errors import DiagError

RULE: dict[str, Any] = {
    "id": "horn/added",
    "title": "Loose: #1 of two, " + "with many words " * 12,
    "when": [{"check": "horn-sound", "is": "none"}, {"check": "horn-drop", "below": 1.2}],
    "then": [{"points-to": "horn.open", "weight": 6.0}],
    "because": "It is: so",
    "source": "seen on 2026-11-28, one vehicle",
    "state": "draft",
}
REMEDY: dict[str, Any] = {"id": "r", "title": "R", "cures": ["a.b"], "steps": ["One", "Two"], "minutes": "15 min"}
ADDED: dict[str, Any] = {"controls": {"lid": ("shut", "open")}, "rules": [RULE], "remedies": [REMEDY]}
COMMENT = "added 2026-11-29"

LAYOUTS = {
    "empty": "",
    "only the name": "circuit: horn",
    "lists set in": "# mine\ncircuit: horn\n\nrules:   # three\n  - {id: horn/a, title: b}  # keep\n"
    "  # tail\n\nchecks: []\n",
    "lists not set in": "circuit: horn\nremedies:\n- id: q\n  steps:\n  - |\n    a text\n    of two lines\n"
    "\n# end\ncauses:\n",
    "in brackets": "circuit: horn\nrules: [{id: horn/a,\n   title: b}, ] # c\ncontrols: {a: [b, c]}  # d\n",
    "empty sections": "circuit: horn\nrules:\nremedies: []  # none yet\ncontrols: ~\n# end",
    "other line ends": "circuit: horn\r\nrules:\r\n  - id: horn/a\r\n    title: b\r\n",
    "last line without end": "circuit: horn\nrules:\n  - id: horn/a\n    because: >-\n      folded\n      text",
    "umlauts": "circuit: horn\ntitle: Hupe für Grüne  # größer\nrules:\n    -   id: horn/a\n        title: ä\n",
}


def plain(text: str) -> Any:
    """The content, all scalars as texts."""
    return yaml.load(text, Loader=yaml.BaseLoader)


@pytest.mark.parametrize("layout", LAYOUTS, ids=list(LAYOUTS))
def test_every_line_that_was_there_stays_and_the_content_is_the_old_with_the_new_behind_it(layout: str) -> None:
    """Comments, order, line ends and odd spacing are somebody's work; and what is added is all that is added."""
    text = LAYOUTS[layout]
    new = with_added(text, "horn", ADDED, COMMENT)
    old, found = plain(text) or {"circuit": "horn"}, plain(new)
    assert [rule["id"] for rule in found["rules"]] == [
        *(rule["id"] for rule in old.get("rules") or ()),
        "horn/added",
    ]
    assert found["rules"][-1]["title"] == " ".join(RULE["title"].split())
    assert found["rules"][-1]["when"] == [{"check": "horn-sound", "is": "none"}, {"check": "horn-drop", "below": "1.2"}]
    assert found["rules"][-1]["then"] == [{"points-to": "horn.open", "weight": "6"}]
    assert found["remedies"][-1]["steps"] == ["One", "Two"]
    assert found["controls"]["lid"] == ["shut", "open"]
    for key, value in old.items():
        if key not in ADDED:
            assert found[key] == value
    pieces = [line.split("]")[0].split("}")[0] if layout in ("in brackets",) else line for line in text.splitlines()]
    rest = new
    for piece in pieces:
        if piece.strip() in ("remedies: []  # none yet", "controls: ~"):
            continue
        assert piece in rest, piece
        rest = rest[rest.index(piece) + len(piece) :]
    assert ("\r\n" in new) == ("\r\n" in text)
    assert "\n" not in new.replace("\r\n", "") or "\r\n" not in text
    assert layout == "in brackets" or new.count(f"# {COMMENT}") == 3


def test_a_second_addition_goes_behind_the_first() -> None:
    """What the program wrote is read by it again like anything written by hand."""
    once = with_added("", "horn", {"rules": [RULE]}, COMMENT)
    twice = with_added(once, "horn", {"rules": [{**RULE, "id": "horn/second"}], "remedies": [REMEDY]}, "added later")
    assert twice.startswith(once.rstrip("\n"))
    assert [rule["id"] for rule in plain(twice)["rules"]] == ["horn/added", "horn/second"]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("{circuit: horn}\n", "plain list of sections"),
        ("circuit: horn\nrules: later\n", "holds `later`"),
        ("circuit: horn\nrules: [\n", "cannot be read as YAML"),
        ("circuit: horn\n---\ncircuit: b\n", "cannot be read as YAML"),
    ],
)
def test_a_file_into_which_nothing_can_be_put_is_left_alone_and_told(text: str, says: str) -> None:
    """Better no addition than a file that says something else."""
    with pytest.raises(DiagError, match=says):
        with_added(text, "horn", ADDED, COMMENT)
