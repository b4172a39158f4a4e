"""What is left at the vehicle: battery or wires still off, and what of the job stays open, in words."""

from __future__ import annotations

from collections.abc import Mapping

from diag.knowledge.bridging import BRIDGED, UNPLUGGED, bridge_ends
from diag.talk.known import BACK_ON, Known
from diag.talk.nexts import DoFirst
from diag.texts import t

__all__ = ["WELL", "open_items", "put_back", "unexplained_words"]

WELL = 0.95
"""Chance that nothing is wrong from which a job is at its end."""


def unexplained_words(seq: int) -> str:
    """The open item of an answer that nothing explains, for those who would say more of it."""
    return t("unexplained: answer {seq}", seq=seq)


def put_back(known: Known, wanted: Mapping[str, str]) -> DoFirst | None:
    """Putting back the battery or a wire that the last check, or work done since, took off, unless it is to stay
    off."""
    entries = known.state.entries
    asked = [
        e for e in entries if e.event in ("answered", "found") and e.fields.get("check") not in ("start", "symptom")
    ]
    check = asked[-1] if asked else None
    work = [e for e in entries if known.takes_battery_off(e) and (check is None or e.seq > check.seq)]
    off: list[str] = []
    operate = check.fields.get("operate") if check is not None else None
    if check is not None and isinstance(operate, Mapping) and f"{BACK_ON}{check.seq}" not in known.acknowledged:
        off += [
            str(operate[name]) for name in (UNPLUGGED, BRIDGED) if operate.get(name) not in (None, wanted.get(name))
        ]
    if known.battery_off and wanted.get("battery") != "disconnected":
        off.append("battery")
    last = work[-1] if work else check
    mark = f"{BACK_ON}{last.seq if last is not None else 0}"
    return DoFirst(mark, None, restore=tuple(off)) if off and mark not in known.acknowledged else None


def open_items(known: Known) -> tuple[str, ...]:
    """What stays open, in words."""
    out, steps = [], known.reasoner.steps
    answered = {f.step.id for f in known.findings if f.step is not None}
    for entry in known.state.standing("skipped"):
        reason = str(entry.fields.get("reason", "")).replace("-", " ")
        step = steps.get(str(entry.fields.get("check")))
        if step is not None and step.id not in answered:
            out.append(t("not checked ({reason}): {step}", reason=reason, step=step.title))
    for check in dict.fromkeys(str(e.fields.get("check")) for e in known.state.standing("not-sure")):
        step = steps.get(check)
        if step is not None and check not in answered:
            out.append(t("not sure of: {step}", step=step.title))
    off = put_back(known, {})
    if off is not None:
        out += [_off_words(name) for name in off.restore]
    out += [t("left open: {value}", value=e.fields.get("text")) for e in known.state.standing("left-open")]
    posterior = known.beliefs.posterior
    out += [unexplained_words(seq) for seq in posterior.unexplained]
    if posterior.healthy < WELL:
        for name, p in known.beliefs.ranking[:3]:
            if p >= 0.05:
                out.append(t("still suspected ({p:.0%}): {title}", p=p, title=known.reasoner.remedies[name].title))
        if posterior.outside > 0.1:
            out.append(t("perhaps a cause that is not in the model ({outside:.0%})", outside=posterior.outside))
    return tuple(out)


def _off_words(name: str) -> str:
    if name == "battery":
        return t("battery still disconnected")
    return (
        t("jumper still on: {name}", name=name)
        if bridge_ends(name) is not None
        else t("wire still off: {name}", name=name)
    )
