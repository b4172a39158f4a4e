"""What a journal says of the layers that its knowledge was made of, and what changed between two times.

Must not know how layers are found or laid; a journal outlives the packs it names.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from diag.texts import t

__all__ = ["LayerTold", "layer_changes", "layers_of", "told_of"]


@dataclass(frozen=True)
class LayerTold:
    """One layer as a record names it: `name`, `version` (may be empty) and `hash` of its content."""

    name: str
    version: str
    hash: str

    @property
    def called(self) -> str:
        """Name and version; the hash where there is no version."""
        return f"{self.name} {self.version or self.hash}"


def told_of(layers: Iterable[Any]) -> tuple[LayerTold, ...]:
    """Layers of knowledge as a record names them; each has `name`, `version` and `digest`."""
    return tuple(LayerTold(one.name, one.version, one.digest) for one in layers)


def layers_of(fields: Mapping[str, Any]) -> tuple[LayerTold, ...] | None:
    """Layers of an `opened` or `resumed` record, lowest first; None in a journal from before there were any."""
    told = fields.get("layers")
    if not isinstance(told, list):
        return None
    return tuple(
        LayerTold(*(str(one.get(key, "")) for key in ("name", "version", "hash")))
        for one in told
        if isinstance(one, Mapping)
    )


def layer_changes(then: Sequence[LayerTold], now: Sequence[LayerTold]) -> tuple[str, ...]:
    """What came, went or changed, in words, lowest layer first; empty where all is as it was."""
    before = {layer.name: layer for layer in then}
    after = {layer.name: layer for layer in now}
    said = [t("{called} came in", called=layer.called) for layer in now if layer.name not in before]
    said += [t("{called} is no longer there", called=layer.called) for layer in then if layer.name not in after]
    for name, layer in after.items():
        old = before.get(name)
        if old is None or old == layer:
            continue
        if old.version != layer.version:
            said.append(
                t(
                    "{name} {version} is now {version_2}",
                    name=name,
                    version=old.version or t("without a version"),
                    version_2=layer.version or t("without a version"),
                )
            )
        else:
            said.append(
                f"{name} {layer.version}".rstrip()
                + t(" changed ({hash} to {hash_2})", hash=old.hash, hash_2=layer.hash)
            )
    kept = [[name for name in side if name in before and name in after] for side in (before, after)]
    if kept[0] != kept[1]:
        said.append(t("the order is now {after}", after=", ".join(after)))
    return tuple(said)
