"""JSON Schemas of knowledge files: they take every shipped file as an editor reads it, and not those that the loader
refuses.

source of all expectations: the files themselves; JSON Schema draft 2020-12 by the package jsonschema; the core schema
of YAML 1.2 for what is a number or true.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
import yaml
from jsonschema import Draft202012Validator

from diag.knowledge.load import rules_folder
from diag.review.json_schema import MODELS, json_schema

TOP = Path(__file__).parents[2]
PACKS = TOP / "tests" / "extending" / "packs"


class Core(getattr(yaml, "CSafeLoader", yaml.SafeLoader)):  # type: ignore[misc]
    """Reads scalars as editors do, after YAML 1.2: `on` and `off` are words."""

    yaml_implicit_resolvers: dict[str, Any] = {}


for tag, pattern, first in (
    ("bool", r"^(true|false|True|False|TRUE|FALSE)$", "tTfF"),
    ("int", r"^[-+]?[0-9]+$", "-+0123456789"),
    ("float", r"^[-+]?(\.[0-9]+|[0-9]+(\.[0-9]*)?)([eE][-+]?[0-9]+)?$", "-+.0123456789"),
):
    Core.add_implicit_resolver(f"tag:yaml.org,2002:{tag}", re.compile(pattern), list(first))


def as_json(found: Any) -> Any:
    """Keys become text, as in JSON."""
    if isinstance(found, dict):
        return {str(key): as_json(value) for key, value in found.items()}
    return [as_json(item) for item in found] if isinstance(found, list) else found


def sort_of(path: Path) -> str:
    if path.name.endswith(".expect.yaml"):
        return "expect"
    return {"circuits": "circuit", "vehicles": "vehicle"}.get(path.parent.name, path.stem)


def files() -> list[Path]:
    """The shipped files, recorded jobs, and packs that add to them."""
    found = [*rules_folder().rglob("*.yaml"), *(TOP / "transcripts").glob("*.expect.yaml"), *PACKS.rglob("*.yaml")]
    return sorted(path for path in found if sort_of(path) in MODELS)


@pytest.fixture(scope="module")
def validators() -> dict[str, Draft202012Validator]:
    return {sort: Draft202012Validator(json_schema(sort)) for sort in MODELS}


def test_every_file_is_taken(validators: dict[str, Draft202012Validator]) -> None:
    """What the loader takes an editor must not mark: there a slip that is none costs trust."""
    wrong = {}
    assert len(files()) > 130
    for path in files():
        content = as_json(yaml.load(path.read_text(encoding="utf-8"), Core))
        wrong[path.name] = [error.message for error in validators[sort_of(path)].iter_errors(content)]
    assert {name: messages for name, messages in wrong.items() if messages} == {}


LAMP = {"kind": "lamp", "title": "Lamp", "place": "front", "terminals": ["L", 31], "test-w": "5 W"}
RULE = {
    "id": "lid/one", "title": "One", "when": [{"check": "a", "is": "b"}], "then": [{"clears": "a.open"}],
    "because": "so", "source": "from memory", "state": "draft",
}  # fmt: skip
CHECK = {"id": "a", "title": "A", "kind": "look", "target": "lamp", "place": "front", "minutes": "1 min"}


def circuit(**sections: Any) -> dict[str, Any]:
    return {"circuit": "lid", "title": "Lid", **sections}


GOOD: list[dict[str, Any]] = [
    circuit(parts={"lamp": LAMP}),
    circuit(parts={"lamp": {**LAMP, "tell-tale": True, "colour": "red"}}),
    circuit(parts={"lamp": {**LAMP, "tell-tale": "true"}}),
    circuit(parts={"lamp": {**LAMP, "test-w": "0,005 kW"}}),
    circuit(fuses={"fuse-lid": {"title": "Fuse", "place": "front", "rating-a": "8 A"}}),
    circuit(wires={"w": {"from": "a.30", "to": "b.L", "colour": "red", "section-mm2": "16 AWG", "length-m": "2 ft"}}),
    circuit(rules=[RULE, {**RULE, "then": [{"points-to": "a.open", "weight": "3.5"}]}]),
    circuit(checks=[{**CHECK, "usual": {"normal/steady": 0.5, "dark": "0.5"}}]),
    circuit(variants=[{"only": {"switched": "relay"}}, {"only": {"switched": ["relay", "feed"]}}]),
    {"circuit": "horn", "rules": [RULE]},
]
BAD: list[tuple[str, dict[str, Any]]] = [
    ("a key that is not known", circuit(part={})),
    ("no name", {"title": "Lid"}),
    ("a part of no kind", circuit(parts={"lamp": {key: value for key, value in LAMP.items() if key != "kind"}})),
    ("a kind that is none", circuit(parts={"lamp": {**LAMP, "kind": "lampe"}})),
    ("a quantity without its unit", circuit(parts={"lamp": {**LAMP, "test-w": 5}})),
    ("text without its unit", circuit(parts={"lamp": {**LAMP, "test-w": "5"}})),
    ("a unit without a number", circuit(parts={"lamp": {**LAMP, "test-w": "W"}})),
    ("one terminal of two", circuit(parts={"lamp": {**LAMP, "terminals": ["L"]}})),
    ("yes for true", circuit(parts={"lamp": {**LAMP, "tell-tale": "yes"}})),
    ("an id in capitals", circuit(parts={"Lamp": LAMP})),
    ("a rule without a source", circuit(rules=[{key: value for key, value in RULE.items() if key != "source"}])),
    ("a state that is none", circuit(rules=[{**RULE, "state": "perfect"}])),
    ("too heavy a weight", circuit(rules=[{**RULE, "then": [{"points-to": "a.open", "weight": 500}]}])),
    ("a rule that says nothing", circuit(rules=[{**RULE, "then": []}])),
    ("a rule's id without its circuit", circuit(rules=[{**RULE, "id": "one"}])),
    ("a check without a place", circuit(checks=[{key: value for key, value in CHECK.items() if key != "place"}])),
    ("a kind of check that is none", circuit(checks=[{**CHECK, "kind": "lok"}])),
    ("a share above one", circuit(checks=[{**CHECK, "usual": {"dark": 1.5}}])),
    ("a wire that ends nowhere", circuit(wires={"w": {"from": "a", "to": "b.L", "colour": "red",
                                                     "section-mm2": "1 mm2", "length-m": "1 m"}})),
]  # fmt: skip


@pytest.mark.parametrize("content", GOOD)
def test_what_the_loader_takes_is_taken(validators: dict[str, Draft202012Validator], content: dict[str, Any]) -> None:
    """Numbers as numbers or text, other units, the kind of a fuse left out, additions without a title."""
    assert [error.message for error in validators["circuit"].iter_errors(content)] == []


@pytest.mark.parametrize(("what", "content"), BAD, ids=[what for what, _ in BAD])
def test_what_the_loader_refuses_is_marked(
    validators: dict[str, Draft202012Validator], what: str, content: dict[str, Any]
) -> None:
    """Each is a slip of the pen that a person makes."""
    assert list(validators["circuit"].iter_errors(content)), what


@pytest.mark.parametrize("sort", sorted(MODELS))
def test_a_schema_is_one_and_explains_its_keys(sort: str) -> None:
    """An editor shows the description beside the key that it offers."""
    made = json_schema(sort)
    Draft202012Validator.check_schema(made)
    assert made["$schema"].startswith("https://json-schema.org/")
    assert made["type"] == "object"
    assert not re.search(r'"(title|discriminator)": "', str(made.get("$defs")))


def test_keys_carry_what_the_models_say_of_them() -> None:
    """From the models' own texts, so that they cannot part from them."""
    defs = json_schema("circuit")["$defs"]
    assert "Minutes to get at its terminals" in defs["LampPart"]["properties"]["reach"]["description"]
    assert "such as `21 W`" in defs["LampPart"]["properties"]["test-w"]["description"]
    assert "One thing to look at" in defs["Check"]["description"]
    assert "stage of proving" in defs["Check"]["properties"]["stage"]["description"]
    assert defs["Check"]["properties"]["minutes"]["default"] == "0.5 min"
