"""What a wire ends in: blade, ring, clamp; by kind of part and section. Reads rules/ends.yaml.

Must not know of vehicles or work.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Annotated

from pydantic import Field

from diag.errors import KnowledgeError
from diag.knowledge.load import rules_folder
from diag.knowledge.reader import read_yaml
from diag.knowledge.scalars import Id, Model, SquareMillimetres, Text
from diag.knowledge.translate import validate
from diag.knowledge.units import written
from diag.texts import t

__all__ = ["EndsFile", "load_ends"]


class EndsFile(Model):
    """rules/ends.yaml. `kinds`: kind of part to terminal (or `any`) to fitting; `parts`: a part that differs;
    `crimps`: largest section of each size of crimp; `thick`: above it ends are pressed rings."""

    kinds: Mapping[Id, Mapping[str, Text]]
    parts: Mapping[Id, Text] = {}
    crimps: Annotated[tuple[SquareMillimetres, ...], Field(min_length=1)]
    thick: SquareMillimetres

    def fitting(self, kind: str, part_id: str, terminal: str, section_mm2: float) -> str:
        """What a wire of that section ends in at a terminal of a part, and its crimp."""
        if part_id in self.parts:
            found = self.parts[part_id]
        else:
            by_terminal = self.kinds.get(kind, {})
            found = by_terminal.get(terminal) or by_terminal.get("any") or t("as the part has it")
        if section_mm2 > self.thick * 1.001:
            return (
                found
                if found.startswith(("ring", "clamp"))
                else t("{found}; so thick a wire wants a pressed ring", found=found)
            )
        size = next(limit for limit in (*self.crimps, self.thick) if section_mm2 <= limit * 1.001)
        return t("{found}, crimp up to {size}", found=found, size=written(size, "mm2"))


def load_ends(rules: Path | None = None) -> EndsFile:
    """Raises KnowledgeError with every problem of the file."""
    marked = read_yaml((rules_folder() if rules is None else rules) / "ends.yaml")
    found, problems = validate(EndsFile, marked)
    if found is None:
        raise KnowledgeError(problems)
    return found
