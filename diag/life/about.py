"""Everything known of one id as a plain object, most of a rule; and the list of rules.

Gathers; knows nothing of pages.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping
from typing import Any

from diag.errors import DiagError, Place
from diag.knowledge.assemble import Knowledge
from diag.knowledge.schema import Rule
from diag.life.about_network import network_on
from diag.life.about_things import thing
from diag.life.about_words import Words
from diag.life.interval import SHARE, interval, interval_words
from diag.life.states import Tally, tally
from diag.life.world import World
from diag.texts import t

__all__ = ["about", "known_ids", "listed", "nearest_ids"]

Object = dict[str, Any]
_NEAREST = 3


# ---------------------------------------------------------------- ids


def known_ids(knowledge: Knowledge, words: Words) -> dict[str, tuple[str, str]]:
    """Every id that can be asked about, with its sort and its title; of ids of several sorts the first counts."""
    out: dict[str, tuple[str, str]] = {}

    def add(sort: str, found: Iterable[tuple[str, str]]) -> None:
        for name, title in found:
            out.setdefault(name, (sort, title))

    add("rule", ((name, rule.title) for name, rule in knowledge.rules.items()))
    add("check", ((name, check.title) for name, check in knowledge.checks.items()))
    add("symptom", ((name, symptom.title) for name, symptom in knowledge.symptoms.items()))
    add("part", ((name, part.title) for name, part in knowledge.parts.items()))
    add("wire", ((name, wire.title or name.replace("-", " ")) for name, wire in knowledge.wires.items()))
    add("cause", ((name, cause.title) for name, cause in words.causes.items()))
    add("remedy", ((name, remedy.title) for name, remedy in knowledge.remedies.items()))
    add("remedy", ((cause.remedy, t("Cures: {cause}", cause=cause.title)) for cause in words.causes.values()))
    add("caution", ((name, caution.text) for name, caution in knowledge.cautions.items()))
    add("circuit", ((name, circuit.title) for name, circuit in knowledge.circuits.items()))
    return out


def about(world: World, name: str, *, network: bool = True) -> Object:
    """What is known of an id on the first vehicle that has it. `network`: ask the computed network about a rule.

    Raises DiagError with the nearest ids where no vehicle has it.
    """
    every: dict[str, tuple[str, str]] = {}
    for knowledge in world.known.values():
        words = Words(knowledge)
        ids = known_ids(knowledge, words)
        if name in ids:
            return _about(world, knowledge, words, name, ids[name][0], network)
        every |= ids
    raise DiagError(
        t(
            "{name}: nothing is called that on {vehicles}. {nearest_ids}",
            name=name,
            vehicles=_vehicles(world),
            nearest_ids=nearest_ids(name, every),
        )
    )


def _vehicles(world: World) -> str:
    several = len(world.known)
    return (
        next(iter(world.known.values())).vehicle.vehicle
        if several == 1
        else t("any of {several} vehicles", several=several)
    )


def nearest_ids(name: str, known: Mapping[str, tuple[str, str]]) -> str:
    """The ids nearest to one that is not there, for the end of a message. `known`: sort and title by id."""
    parts = [part for part in name.casefold().replace("/", " ").replace(".", " ").replace("-", " ").split() if part]
    holding = [
        one for one, (_, title) in known.items() if parts and all(part in f"{one} {title}".casefold() for part in parts)
    ]
    close = difflib.get_close_matches(name.casefold()[:200], list(known), n=_NEAREST, cutoff=0.55)
    found = list(dict.fromkeys([*close, *sorted(holding, key=len)]))[:_NEAREST]
    if not found:
        return t("`diag rules show` lists the rules.")
    near = "; ".join(f"`{one}` ({known[one][0]}: {known[one][1]})" for one in found)
    return t("Nearest: {near}", near=near)


def _about(world: World, knowledge: Knowledge, words: Words, name: str, sort: str, network: bool) -> Object:
    told = _rule(world, knowledge, words, knowledge.rules[name], network) if sort == "rule" else None
    found = told if told is not None else thing(sort, knowledge, words, name)
    return {"what": sort, "id": name, "vehicle": knowledge.vehicle.vehicle, **found, **_home(knowledge, name)}


def _home(knowledge: Knowledge, name: str) -> Object:
    """File, line and layer of an id; of a derived one, of the part or wire that it is about."""
    at = name if name in knowledge.places_of else name.split(".")[0]
    whole = knowledge.spots.files[name].file if name in knowledge.circuits else ""
    place = knowledge.places_of.get(at) or (Place(whole) if whole else None)
    layer = next((one for one in knowledge.layers if one.name == knowledge.layer_of.get(at)), None)
    replaced = [one for one in knowledge.replaced if one.id == name]
    return {
        "circuit": knowledge.circuit_of.get(at),
        "file": place.file if place is not None else None,
        "line": place.line if place is not None else None,
        "layer": layer.called if layer is not None else knowledge.layer_of.get(at),
        "digest": layer.digest if layer is not None else None,
        "stands-for": [{"layer": one.of, "place": str(one.was)} for one in replaced],
    }


# ---------------------------------------------------------------- rules


def _rule(world: World, knowledge: Knowledge, words: Words, rule: Rule, network: bool) -> Object:
    said = network_on(knowledge, rule) if network else {}
    when = []
    for place, condition in enumerate(rule.when):
        found = words.condition(condition)
        if network:
            computed = said.get(place)
            found["computed"] = computed is not None
            if computed is not None:
                found["network"] = computed.verdict(rule)
                found["times"] = {cause: round(times, 3) for cause, times in computed.times.items()}
        when.append(found)
    out: Object = {
        "title": rule.title,
        "state": rule.state,
        "when": when,
        "then": [words.effect(effect) for effect in rule.then],
        "because": rule.because,
        "looks-like": rule.looks_like,
        "source": rule.source,
        "replaced-by": rule.replaced_by,
        "replaces": sorted(other.id for other in knowledge.rules.values() if other.replaced_by == rule.id),
        "moved": [one.model_dump(by_alias=True, exclude_none=True) for one in rule.moved],
        "leads-there": list(rule.leads_there),
        "near-miss": list(rule.near_miss),
    }
    if network:
        out["weighs"] = not said
    return out | {"jobs": _jobs(tally(world, rule.id))}


def _jobs(found: Tally) -> Object:
    """Which jobs exercise a rule and how often it was right; jobs written by hand are no sample of what is met."""
    right, judged = len(found.right), len(found.judged)
    real = found.real()
    low, high = interval(right, judged)
    return {
        "fired": [
            {"job": job.name, "came-to": job.uses[found.rule], "real": job.real, "ended-at": list(job.remedies)}
            for job in found.fired
        ],
        "near": [job.name for job in found.near],
        "right": right,
        "judged": judged,
        "right-real": len(real.right),
        "judged-real": len(real.judged),
        "low": round(low, 3),
        "high": round(high, 3),
        "share": SHARE,
        "words": _right_words(found, real),
    }


def _right_words(found: Tally, real: Tally) -> str:
    if found.fired and not found.judged:
        return t("it names no cause, so no job can tell whether it is right")
    told = interval_words(len(found.right), len(found.judged))
    written = len(found.judged) - len(real.judged)
    if not written:
        return told
    if not real.judged:
        count = t("It was") if written == 1 else t("All {written} were", written=written)
        return t(
            "{told}. {count} written by hand from facts of the trade: that shows it at work, not how often it is right",
            told=told,
            count=count,
        )
    return t(
        "{told}. At real vehicles: {interval}", told=told, interval=interval_words(len(real.right), len(real.judged))
    )


def listed(
    world: World,
    *,
    circuit: str | None = None,
    state: str | None = None,
    layer: str | None = None,
    unexercised: bool = False,
) -> list[Object]:
    """Every rule within reach, by circuit and id, one short object each. Raises DiagError for a circuit or layer that
    there is not."""
    rows = []
    for name, knowledge in world.rules.items():
        rule, found = knowledge.rules[name], tally(world, name)
        rows.append(
            {
                "id": name,
                "title": rule.title,
                "circuit": knowledge.circuit_of.get(name, name.split("/")[0]),
                "state": rule.state,
                "layer": knowledge.layer_of.get(name),
                "fired": len(found.fired),
                "judged": len(found.judged),
                "right": len(found.right),
                "near": len(found.near),
            }
        )
    for what, wanted in (("circuit", circuit), ("layer", layer)):
        known = sorted({str(row[what]) for row in rows})
        if wanted is not None and wanted not in known:
            close = difflib.get_close_matches(wanted, known, n=1)
            hint = (
                t("Did you mean `{close}`?", close=close[0])
                if close
                else t("There is {known}.", known=", ".join(known))
            )
            raise DiagError(
                t("--{what}: no rule is of the {what} `{wanted}`. {hint}", what=what, wanted=wanted, hint=hint)
            )
    return sorted(
        (
            row
            for row in rows
            if (circuit is None or row["circuit"] == circuit)
            and (state is None or row["state"] == state)
            and (layer is None or row["layer"] == layer)
            and not (unexercised and row["fired"])
        ),
        key=lambda row: (row["circuit"], row["id"]),
    )
