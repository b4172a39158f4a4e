"""Which step a finding of one's own accord means: by its check, or by what was operated and looked at or probed.

Knows steps; nothing of records or of what is asked.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from diag.knowledge.targets import filaments_of
from diag.reason.reasoner import Reasoner
from diag.reason.steps import Deed, Step
from diag.talk.refused import RefusedError, operate_of, short
from diag.texts import t

__all__ = ["named_step"]

_PLACED = ("target", "red", "black", "through", "unit", "kind")
_FOUND = ("check", "operate", *_PLACED, "value")


def named_step(reasoner: Reasoner, found: Mapping[str, Any]) -> Step:
    """The step that a finding names. A field that nobody reads is refused: a misspelt `operate` would
    turn what was seen with the button pressed into something seen at rest.

    Raises RefusedError where nothing on the vehicle is checked like that.
    """
    for key in found:
        if key not in _FOUND:
            raise RefusedError(
                "unknown-field", str(key)[:80], t("no such field in a finding"), short(key), ", ".join(_FOUND)
            )
    operate = operate_of(reasoner.knowledge, found.get("operate", {}))
    if "check" in found:
        check = found["check"]
        if not isinstance(check, str) or check not in reasoner.steps:
            raise RefusedError(
                "unknown-check", "check", t("no such check"), short(check), t("a check id of this vehicle")
            )
        step = reasoner.steps[check]
        odd = [name for name in _PLACED if name in found and found[name] != getattr(step, name)]
        if "operate" in found and operate != dict(step.operate):
            odd.append("operate")
        if odd:
            raise RefusedError(
                "other-check",
                odd[0],
                t("{check} is not done like that", check=check),
                short(found[odd[0]]),
                t("check alone"),
            )
        return step
    probes = (found.get("red"), found.get("black", "body") if "red" in found else None)
    for step in reasoner.steps.values():
        if dict(step.operate) != operate or any(found.get(n) not in (None, getattr(step, n)) for n in _PLACED):
            continue
        if found.get("target") is not None and (step.red, step.black) == probes:
            return step
        if (
            found.get("target") is None
            and step.red is not None
            and (step.red, step.black) == probes
            and step.kind == "measure"
        ):
            return step
    kind = str(found.get("kind") or ("look" if found.get("target") is not None else "measure"))
    names = {name: found[name] for name in ("target", "red", "black", "through", "unit") if name in found}
    if all(isinstance(name, str) for name in names.values()):
        usual = "A" if "through" in names else "V"
        deed = Deed(
            kind,
            operate,
            names.get("target"),
            names.get("red"),
            names.get("black", "body" if "red" in names else None),
            names.get("through"),
            names.get("unit") or (usual if kind == "measure" else None),
        )
        own = reasoner.step_like("", deed)
        if own is not None:
            return own
    lamp = reasoner.knowledge.parts.get(str(names.get("target")))
    if lamp is not None and (filaments := filaments_of(str(names["target"]), lamp)):
        raise RefusedError(
            "unknown-check",
            "target",
            t("this lamp has two filaments; say which one was looked at"),
            short(names["target"]),
            t(" or ").join(filaments),
        )
    raise RefusedError(
        "unknown-check",
        "found",
        t("nothing on this vehicle is checked like that"),
        short(dict(found)),
        t("operate with known controls and positions, and a target part or red and black terminals"),
    )
