"""Leaves out what cannot be said of a vehicle that lacks a part, a wire or a whole circuit.

A check of a lamp that is not there goes, and with it the rules and symptoms that rest on it.
Must not know of files or places.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace

from diag.knowledge.bridging import BODY, BRIDGED, UNPLUGGED, bridge_ends
from diag.knowledge.schema import CauseNote, Check, CircuitFile, Conclusion, Condition, Remedy, Rule, Symptom

__all__ = ["Outside", "joined", "leave_out"]

_SPANNING = ("supply", "shared")


@dataclass(frozen=True)
class Outside:
    """Ids that only circuits define which the vehicle does not have."""

    parts: frozenset[str] = frozenset()
    """Parts, fuses, earth points and wires."""
    checks: frozenset[str] = frozenset()
    words: frozenset[str] = frozenset()
    """Intermediate conclusions."""
    remedies: frozenset[str] = frozenset()
    cautions: frozenset[str] = frozenset()
    controls: frozenset[str] = frozenset()


def leave_out(
    files: Mapping[str, CircuitFile],
    gone: frozenset[str],
    outside: Outside,
    unchosen: Outside | None = None,
    beside: Mapping[str, Outside] | None = None,
    added: Collection[str] = (),
) -> dict[str, CircuitFile]:
    """The files without what rests on `gone` parts and wires or on what `unchosen` variants have; in supply and
    shared also on `outside` ones.

    A circuit that refers to another circuit's parts must name it in `needs` or `beside`; so other outside ids are
    not forgiven there, and the reference stays for the cross-check to report. `beside`: by circuit, what those
    define that it names so. `added`: ids of entries that a layer above the shipped one gives. Whoever wrote them
    knows one vehicle and not every other, so outside ids are forgiven in them as in shared.
    """
    spared = {name: outside if name in _SPANNING else (beside or {}).get(name, Outside()) for name in files}
    result = dict(files)
    unchosen = unchosen or Outside()
    gone = gone | unchosen.parts
    if gone:
        gone = gone | {
            name
            for file in files.values()
            for name, wire in file.wires.items()
            if wire.from_.split(".")[0] in gone or wire.to.split(".")[0] in gone
        }
    lost = replace(unchosen, parts=gone)
    while True:
        before = result
        words = _established(files)
        result = {
            name: _without(file, _Lost(joined(lost, spared[name]), joined(lost, outside), frozenset(added)))
            for name, file in result.items()
        }
        lost = replace(
            lost,
            checks=unchosen.checks | (_ids(files, "checks") - _ids(result, "checks")),
            words=unchosen.words | (words - _established(result)),
            remedies=unchosen.remedies | (_ids(files, "remedies") - _ids(result, "remedies")),
        )
        if result == before:
            return result


def _ids(files: Mapping[str, CircuitFile], section: str) -> frozenset[str]:
    return frozenset(entry.id for file in files.values() for entry in getattr(file, section))


def _established(files: Mapping[str, CircuitFile]) -> frozenset[str]:
    return frozenset(
        effect.establish for file in files.values() for rule in file.rules for effect in rule.then if effect.establish
    )


def joined(one: Outside, two: Outside) -> Outside:
    """What either names."""
    return Outside(
        one.parts | two.parts,
        one.checks | two.checks,
        one.words | two.words,
        one.remedies | two.remedies,
        one.cautions | two.cautions,
        one.controls | two.controls,
    )


def _part(reference: str | None) -> str | None:
    return reference.split(".")[0] if reference else None


@dataclass(frozen=True)
class _Lost:
    """What is lost to the entries of one file: to its own `here`, to those that a layer `added`, `wide`."""

    here: Outside
    wide: Outside
    added: frozenset[str]

    def to(self, name: str) -> Outside:
        return self.wide if name in self.added else self.here


def _without(file: CircuitFile, lost: _Lost) -> CircuitFile:
    if lost.here == lost.wide == Outside():
        return file
    rules = tuple(kept for rule in file.rules if (kept := _rule(rule, lost.to(rule.id))) is not None)
    left = {rule.id for rule in rules}
    dropped = {rule.id for rule in file.rules} - left
    shown = (_symptom(symptom, lost.to(symptom.id)) for symptom in file.symptoms)
    mended = (_remedy(remedy, lost.to(remedy.id)) for remedy in file.remedies)
    return file.model_copy(
        update={
            "wires": {name: wire for name, wire in file.wires.items() if name not in lost.here.parts},
            "checks": tuple(c for c in file.checks if c.id not in lost.here.checks and not _rests_on(c, lost.to(c.id))),
            "symptoms": tuple(symptom for symptom in shown if symptom is not None),
            "rules": tuple(rule for rule in rules if rule.replaced_by not in dropped),
            "causes": tuple(note for note in file.causes if not _gone(note, lost.to(note.id))),
            "remedies": tuple(remedy for remedy in mended if remedy is not None),
        }
    )


def _gone(note: CauseNote, lost: Outside) -> bool:
    return (
        _part(note.id) in lost.parts
        or _part(note.like) in lost.parts
        or note.remedy in lost.remedies
        or not lost.controls.isdisjoint(note.while_)
    )


def _remedy(remedy: Remedy, lost: Outside) -> Remedy | None:
    cures = tuple(cause for cause in remedy.cures if _part(cause) not in lost.parts)
    proof = tuple(name for name in remedy.proof if name not in lost.checks)
    return remedy.model_copy(update={"cures": cures, "proof": proof}) if cures else None


def _rests_on(check: Check, lost: Outside) -> bool:
    used = {
        _part(check.target),
        check.through,
        _part(check.red),
        _part(check.black),
        _part(check.operate.get(UNPLUGGED)),
        *(_part(point) for point in bridge_ends(check.operate.get(BRIDGED, "")) or ()),
    }
    return not (lost.parts.isdisjoint(used - {None, BODY}) and lost.controls.isdisjoint(check.operate))


def _untold(condition: Condition, lost: Outside) -> bool:
    return condition.check in lost.checks or condition.established in lost.words


def _symptom(symptom: Symptom, lost: Outside) -> Symptom | None:
    shows = tuple(way for way in symptom.shows if not any(_untold(condition, lost) for condition in way))
    return symptom.model_copy(update={"shows": shows}) if shows else None


def _rule(rule: Rule, lost: Outside) -> Rule | None:
    if any(_untold(condition, lost) for condition in rule.when):
        return None
    then = tuple(effect for effect in rule.then if not _idle(effect, lost))
    return rule.model_copy(update={"then": then}) if then else None


def _idle(effect: Conclusion, lost: Outside) -> bool:
    return (
        _part(effect.points_to) in lost.parts
        or _part(effect.clears) in lost.parts
        or effect.ask in lost.checks
        or effect.warn in lost.cautions
        or effect.stop in lost.cautions
    )
