"""The text of a file after a rule has moved on: what says where it stands changes, everything else stays.

source of all expectations: the form of the knowledge files; common practice, no source
"""

from __future__ import annotations

import difflib

import pytest
import yaml

from diag.knowledge.load import rules_folder
from diag.knowledge.schema import Moved
from diag.life.text import Step, moved_on, text_of_rule, with_rule

MOVED = Moved.model_validate({"date": "2026-05-04", "from": "draft", "to": "tested", "because": 'it "holds": twice'})
FILE = """\
circuit: x   # a circuit
rules:
  - {id: x/flow, state: draft, then: [{ask: b}]}
  # about the next
  - id: x/block   # its id
    state: "tested"  # where it stands
    leads-there:   # why
      - a
      - b   # the second
    # about what follows
    then: [ {ask: c} ]
variants:
  - only: {o: p}
    rules:
    - id: x/inside
      because: >
        Folded
        text.
      state: draft"""


def changed(before: str, after: str) -> list[str]:
    """The lines that differ, without what did not change."""
    lines = difflib.unified_diff(before.splitlines(), after.splitlines(), n=0, lineterm="")
    return [line for line in lines if not line.startswith(("---", "+++", "@@"))]


def test_only_the_lines_that_say_where_a_rule_stands_change() -> None:
    """A person's comments and layout are theirs, and a diff must show the move alone."""
    steps = [
        Step("x/flow", "tested", ("one",), moved=MOVED),
        Step("x/block", "retired", ("z", "y"), replaced_by="x/flow", moved=MOVED),
        Step("x/inside", "tested", ("one",), ("two", "three")),
    ]
    because = 'because: "it \\"holds\\": twice"'
    moved = f"{{date: 2026-05-04, from: draft, to: tested, {because}}}"
    assert changed(FILE, moved_on(FILE, steps)) == [
        "-  - {id: x/flow, state: draft, then: [{ask: b}]}",
        f"+  - {{id: x/flow, state: tested, leads-there: [one], moved: [{moved}], then: [{{ask: b}}]}}",
        '-    state: "tested"  # where it stands',
        "+    state: retired  # where it stands",
        "-      - a",
        "-      - b   # the second",
        "+      - z",
        "+      - y   # the second",
        "+    replaced-by: x/flow",
        "+    moved:",
        f"+      - {moved}",
        "-      state: draft",
        "+      state: tested",
        "+      leads-there: [one]",
        "+      near-miss: [two, three]",
    ]


def test_a_life_grows_by_its_end() -> None:
    """Of a rule that went to and fro every step stays to be read."""
    once = moved_on(FILE, [Step("x/block", "draft", moved=MOVED)])
    twice = moved_on(once, [Step("x/block", "tested", moved=MOVED)])
    assert changed(once, twice)[-1].startswith("+      - {date: 2026-05-04")
    assert len(yaml.safe_load(twice)["rules"][1]["moved"]) == 2
    flow = moved_on(moved_on(FILE, [Step("x/flow", "tested", moved=MOVED)]), [Step("x/flow", "draft", moved=MOVED)])
    assert len(yaml.safe_load(flow)["rules"][0]["moved"]) == 2


@pytest.mark.parametrize("ending", ["\n", "\r\n"])
@pytest.mark.parametrize("mark", ["", "\ufeff"])
def test_line_ends_and_byte_order_mark_stay(ending: str, mark: str) -> None:
    """A file from another system must not come out mixed."""
    text = mark + FILE.replace("\n", ending)
    after = moved_on(text, [Step("x/block", "draft", near_miss=("n",), moved=MOVED)])
    assert after.startswith(mark + "circuit")
    assert after.count("\n") == after.count(ending) == text.count(ending) + 3


def test_a_rule_that_is_not_there_is_told() -> None:
    """The caller says so; nothing is guessed."""
    with pytest.raises(KeyError):
        moved_on(FILE, [Step("x/other", "tested")])
    with pytest.raises(KeyError):
        text_of_rule(FILE, "x/other")


def test_shipped_rules_can_be_moved_with_their_own_lines_changed_alone() -> None:
    """Whatever way a rule is written in the shipped files, a move finds its lines; what is checked within `moved_on`
    raises where more would change."""
    count = 0
    for path in [*sorted((rules_folder() / "circuits").glob("*.yaml"))[:24:4], rules_folder() / "shared.yaml"]:
        text = path.read_text(encoding="utf-8")
        data = yaml.load(text, Loader=yaml.CBaseLoader)
        sections = [data, *data.get("variants", [])]
        names = dict.fromkeys(rule["id"] for section in sections for rule in section.get("rules", []))
        after = moved_on(text, [Step(name, "proven", ("job-a",), ("job-b", "job-c"), moved=MOVED) for name in names])
        assert [line for line in text.splitlines() if line.lstrip().startswith("#")] == [
            line for line in after.splitlines() if line.lstrip().startswith("#")
        ]
        gone = {line.strip() for line in set(text.splitlines()) - set(after.splitlines())}
        assert all(line.startswith(("state:", "leads-there:", "near-miss:")) or line.endswith("]") for line in gone)
        count += len(names)
    assert count > 150


def test_a_rule_is_copied_as_it_is_written() -> None:
    """A copy that lost a comment or a folded line would say something else."""
    assert text_of_rule(FILE, "x/inside") == (
        "  - id: x/inside\n    because: >\n      Folded\n      text.\n    state: draft\n"
    )
    entry = text_of_rule(FILE, "x/block")
    assert "# where it stands" in entry and "# about what follows" in entry
    assert yaml.safe_load(entry) == [yaml.safe_load(FILE)["rules"][1]]


@pytest.mark.parametrize(
    "text",
    [
        "",
        "circuit: x\n",
        "circuit: x\nrules:\n  - id: x/a\n    state: draft\n\n# causes\ncauses: []\n",
        "circuit: x\nrules:\n- id: x/a\n  state: draft # end",
        "circuit: x\r\nrules:\r\n    - id: x/a\r\n      state: draft\r\nparts: {}\r\n",
        "circuit: x\nrules:\n  - id: x/a\n    because: |\n      one\n      two\n\nchecks: []\n",
    ],
)
def test_a_copy_goes_behind_the_rules_that_are_there(text: str) -> None:
    """Nothing that was in the file may be lost or come under another key."""
    after = with_rule(text, "x", "  # from elsewhere\n" + text_of_rule(FILE, "x/block"))
    before, found = yaml.safe_load(text) or {}, yaml.safe_load(after)
    assert found["rules"][:-1] == before.get("rules", [])
    assert found["rules"][-1]["id"] == "x/block" and found["circuit"] == "x"
    assert {key: value for key, value in found.items() if key not in ("rules", "circuit")} == {
        key: value for key, value in before.items() if key not in ("rules", "circuit")
    }
    assert all(line in after for line in text.splitlines())


def test_rules_in_brackets_are_refused() -> None:
    """Text cannot be put there without writing the whole line anew."""
    with pytest.raises(ValueError, match="brackets"):
        with_rule("circuit: x\nrules: [{id: x/a}]\n", "x", text_of_rule(FILE, "x/block"))
