"""The shape of knowledge files as JSON Schema, for editors that complete keys and mark slips while a file is written.

Made from the models that the loader itself uses; accepts whatever the loader accepts, so a scalar may be written as
text or as a number. What only a whole vehicle shows (unknown ids, wrong units) is told by `diag rules check`.
"""

from __future__ import annotations

import ast
import inspect
import re
import sys
from collections.abc import Iterator, Mapping
from functools import lru_cache
from types import MappingProxyType
from typing import Any

from pydantic import BaseModel
from pydantic.json_schema import GenerateJsonSchema, JsonSchemaValue

from diag.knowledge import schema as schema_module
from diag.knowledge.assemble import KIND_BY_SECTION
from diag.knowledge.layers import PackFile
from diag.knowledge.scalars import read_number, read_truth
from diag.knowledge.units import CANONICAL, Quantity
from diag.review.expect import ExpectFile
from diag.texts import t

__all__ = ["MODELS", "json_schema"]

MODELS: Mapping[str, type[BaseModel]] = MappingProxyType(
    {
        "circuit": schema_module.CircuitFile,
        "shared": schema_module.SharedFile,
        "kinds": schema_module.KindsFile,
        "vehicle": schema_module.VehicleFile,
        "supply": schema_module.SupplyFile,
        "vocabulary": schema_module.VocabularyFile,
        "pack": PackFile,
        "expect": ExpectFile,
    }
)
"""What a file may be, and its model."""

_BELOW = {
    "circuit": ("title",),
    "shared": ("title",),
    "supply": ("title", "controls", "places"),
    "kinds": ("kinds", "remedies"),
}
"""Keys that a file need not have where it only adds to one of a lower layer."""
_DIALECT = "https://json-schema.org/draft/2020-12/schema"
_BOUNDS = {"ge": "minimum", "le": "maximum", "gt": "exclusiveMinimum", "lt": "exclusiveMaximum"}
"""As the models name bounds that stand behind a validator, and as JSON Schema does."""
_AMOUNT = r"^\s*[+-]?([0-9]+([.,][0-9]*)?|[.,][0-9]+)([eE][+-]?[0-9]{1,2})?\s*[^0-9\s.,+-].*$"
_FIGURE = r"^\s*[+-]?([0-9]+(\.[0-9]*)?|\.[0-9]+)([eE][+-]?[0-9]+)?\s*$"


def json_schema(sort: str) -> dict[str, Any]:
    """The JSON Schema (draft 2020-12) of one sort of file, a key of `MODELS`. Raises KeyError for another."""
    model = MODELS[sort]
    made = model.model_json_schema(by_alias=True, schema_generator=_Generator)
    defs = made.get("$defs", {})
    for name, found in {**defs, model.__name__: made}.items():
        _describe(found, name, model)
    _kind_goes_without_saying(made, defs)
    needed = [key for key in made.get("required", []) if key not in _BELOW.get(sort, ())]
    made["required"] = needed
    _tidy(made)
    head = {"$schema": _DIALECT, "title": f"{sort} file of diag"}
    return {**head, **{key: value for key, value in made.items() if key not in head}}


class _Generator(GenerateJsonSchema):
    """As pydantic's, but every scalar is what a person may write in YAML for it."""

    def function_before_schema(self, schema: Any) -> JsonSchemaValue:
        inner = self.generate_inner(schema["schema"])
        function = schema["function"]["function"]
        if isinstance(function, Quantity):
            what, example = CANONICAL[function.unit]
            return {
                "type": "string",
                "pattern": _AMOUNT,
                "description": t("{what} with its unit, such as `{example}`", what=what, example=example),
                "examples": [example],
            }
        if function is read_truth:
            return {"enum": [True, False, "true", "false"]}
        if function is read_number:
            return {"anyOf": [inner, {"type": "string", "pattern": _FIGURE}]}
        if function is schema_module.one_or_more:
            return {"anyOf": [inner.get("items", {}), inner]}
        return inner

    def str_schema(self, schema: Any) -> JsonSchemaValue:
        made = super().str_schema(schema)
        pattern = re.compile(str(made.get("pattern", "")))
        others = {"number": ("12", "1.5"), "boolean": ("true",)}
        also = [sort for sort, samples in others.items() if any(pattern.search(sample) for sample in samples)]
        return {**made, "type": ["string", *also]} if also else made

    def literal_schema(self, schema: Any) -> JsonSchemaValue:
        words = list(schema["expected"])
        figures = [int(word) for word in words if isinstance(word, str) and word.isdigit()]
        return {"enum": [*words, *figures]}

    def nullable_schema(self, schema: Any) -> JsonSchemaValue:
        return self.generate_inner(schema["schema"])  # a key that says nothing is left out


# ---------------------------------------------------------------- words for keys


def _describe(found: dict[str, Any], name: str, root: type[BaseModel]) -> None:
    model = _model(name, root)
    if model is None:
        return
    docs = dict(_field_docs(model))
    sentences = re.split(r"(?<=[.;])\s+", " ".join((model.__doc__ or "").split()))
    for field, info in model.model_fields.items():
        key = info.alias or field
        entry = found.get("properties", {}).get(key)
        if not isinstance(entry, dict) or "$ref" in entry:
            continue
        told = docs.get(field) or " ".join(one for one in sentences if f"`{key}`" in one)
        said = " ".join(part for part in (told, entry.get("description", "")) if part)
        if said:
            entry["description"] = said


@lru_cache(maxsize=512)
def _model(name: str, root: type[BaseModel]) -> type[BaseModel] | None:
    for module in (root.__module__, "diag.knowledge.schema", "diag.knowledge.parts"):
        found = getattr(sys.modules[module], name, None)
        if isinstance(found, type) and issubclass(found, BaseModel):
            return found
    return None


def _field_docs(model: type[BaseModel]) -> Iterator[tuple[str, str]]:
    """The text under each field of a model, its bases' first."""
    for one in reversed(model.__mro__):
        if issubclass(one, BaseModel) and one is not BaseModel:
            yield from _texts(one.__module__).get(one.__name__, {}).items()


@lru_cache(maxsize=16)
def _texts(module: str) -> dict[str, dict[str, str]]:
    found: dict[str, dict[str, str]] = {}
    for node in ast.parse(inspect.getsource(sys.modules[module])).body:
        if isinstance(node, ast.ClassDef):
            for line, after in zip(node.body, node.body[1:], strict=False):
                if (
                    isinstance(line, ast.AnnAssign)
                    and isinstance(line.target, ast.Name)
                    and isinstance(after, ast.Expr)
                    and isinstance(after.value, ast.Constant)
                ):
                    found.setdefault(node.name, {})[line.target.id] = " ".join(str(after.value.value).split())
    return found


# ---------------------------------------------------------------- what the loader lets pass


def _kind_goes_without_saying(made: dict[str, Any], defs: dict[str, Any]) -> None:
    """Under `fuses` and `earths` nobody need write the kind."""
    for block in (made, defs.get("Variant", {})):
        for section in KIND_BY_SECTION:
            entry = block.get("properties", {}).get(section)
            if entry is None:
                continue
            for values in entry.get("patternProperties", {}).values():
                name = values.get("$ref", "").rpartition("/")[2]
                if name in defs:
                    short = {**defs[name], "required": [key for key in defs[name]["required"] if key != "kind"]}
                    defs[f"{name}WithoutKind"] = short
                    values["$ref"] = f"#/$defs/{name}WithoutKind"


def _tidy(node: Any) -> None:
    """Take out what editors trip over: made-up titles, tags of another standard, open mappings."""
    if isinstance(node, list):
        for item in node:
            _tidy(item)
    if not isinstance(node, dict):
        return
    if not isinstance(node.get("title"), dict):  # `properties` may hold a key of this name
        node.pop("title", None)
    node.pop("discriminator", None)
    if "default" in node and node["default"] in (None, [], {}, ()):
        del node["default"]
    if node.get("pattern") == _AMOUNT and isinstance(node.get("default"), float):
        node["default"] = f"{node['default']:g} {node['examples'][0].split()[-1]}"
    if "patternProperties" in node:
        node.setdefault("additionalProperties", False)
    bounds = {word: node.pop(key) for key, word in _BOUNDS.items() if key in node}
    for choice in node.get("anyOf", [node]) if bounds else ():
        if choice.get("type") == "number":
            choice.update(bounds)
    alike = node.get("prefixItems")
    if isinstance(alike, list) and all(item == alike[0] for item in alike):
        node["items"] = alike[0]  # older validators know no `prefixItems`
        del node["prefixItems"]
    for value in node.values():
        _tidy(value)
