"""The order in which a printed handbook tests a circuit: what to look at, then point after point from the feed
end towards the load, then its earths. Written down per circuit of the demo vehicle; common practice, no source.

Knows names only; nothing of answers, causes or minutes.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from diag.reason.steps import Step

__all__ = ["FEEDS", "along_the_feed", "as_printed", "one_sheet"]

_PLUS = ("battery.B+", "starter-post.30", "bus-30.in")
_KEY = (*_PLUS, "key-switch.30", "key-switch.15", "bus-15.in")
_LIGHTS = (*_PLUS, "light-switch.30", "light-switch.58", "light-switch.56")

FEEDS: dict[str, tuple[str, ...]] = {
    "horn": (
        *_PLUS,
        *("fuse-horn.in", "fuse-horn.out", "horn.71", "horn.31b"),
        *("column-slip-ring.brush", "column-slip-ring.ring", "horn-button.31b", "horn-button.31", "earth-column.31"),
    ),
    "turn-signals": (
        *_KEY,
        *("fuse-turn.in", "fuse-turn.out", "hazard-switch.15", "fuse-hazard.in", "fuse-hazard.out"),
        *("hazard-switch.30", "hazard-switch.49", "flasher-unit.49", "flasher-unit.31", "flasher-unit.49a"),
        *("turn-switch.49a", "turn-switch.L", "turn-switch.R"),
        *("hazard-switch.49a", "hazard-switch.L", "hazard-switch.R"),
        *("turn-joint-left.switch", "turn-joint-left.hazard", "turn-joint-left.front", "turn-joint-left.rear"),
        *("turn-lamp-front-left.L", "turn-lamp-front-left.31", "earth-front-left.31"),
        *("turn-lamp-rear-left.L", "turn-lamp-rear-left.31", "earth-rear-left.31"),
        *("turn-joint-right.switch", "turn-joint-right.hazard", "turn-joint-right.front", "turn-joint-right.rear"),
        *("turn-lamp-front-right.R", "turn-lamp-front-right.31", "earth-front-right.31"),
        *("turn-lamp-rear-right.R", "turn-lamp-rear-right.31", "earth-rear-right.31"),
        *("turn-joint-left.tell-tale", "turn-tell-tale.L", "turn-joint-right.tell-tale", "turn-tell-tale.R"),
    ),
    "stop-lamps": (
        *_KEY,
        *("bus-15.2", "fuse-stop.in", "fuse-stop.out", "pedal-switch.15", "pedal-switch.54"),
        *("stop-joint.in", "stop-joint.left", "stop-joint.right", "stop-lamp-left.54", "stop-lamp-right.54"),
        *("light-switch.30", "light-switch.58", "fuse-tail.in", "fuse-tail.out"),
        *("tail-joint.in", "tail-joint.left", "tail-joint.right", "tail-joint.plate"),
        *("tail-lamp-left.58", "tail-lamp-right.58", "plate-lamp.58"),
        *("stop-lamp-left.31", "tail-lamp-left.31", "cluster-left.31", "earth-rear-left.31"),
        *("stop-lamp-right.31", "tail-lamp-right.31", "cluster-right.31", "earth-rear-right.31"),
        *("plate-lamp.31", "earth-plate.31"),
    ),
    "headlamps": (
        *_LIGHTS,
        *("dip-switch.56", "dip-switch.56b", "dip-switch.56a"),
        *("fuse-dip-left.in", "fuse-dip-left.out", "fuse-dip-right.in", "fuse-dip-right.out"),
        *("fuse-main-left.in", "fuse-main-left.out", "fuse-main-right.in", "fuse-main-right.out"),
        *("headlamp-left.56b", "headlamp-left.56a", "headlamp-right.56b", "headlamp-right.56a"),
        *("headlamp-left.31", "earth-front-left.31", "headlamp-right.31", "earth-front-right.31"),
        *("main-beam-tell-tale.56a", "main-beam-tell-tale.31", "earth-instruments.31"),
    ),
    "oil-warning": (
        *_KEY,
        *("bus-15.3", "fuse-instruments.in", "fuse-instruments.out", "instrument-joint.in", "instrument-joint.1"),
        *("oil-lamp.15", "oil-lamp.G", "oil-sender.G"),
    ),
    "charge-warning": (
        *_KEY,
        *("bus-15.3", "fuse-instruments.in", "fuse-instruments.out", "instrument-joint.in", "instrument-joint.2"),
        *("charge-lamp.15", "charge-lamp.61", "regulator.61", "regulator.B+", "regulator.D+", "regulator.DF"),
        *("dynamo.D+", "dynamo.DF", "regulator.31", "earth-regulator.31"),
    ),
}
"""Points of each circuit in the order in which they are probed."""


def along_the_feed(steps: Iterable[Step], circuit: str) -> list[Step]:
    """Volts to body at the points of a circuit, from the feed end on; checks of the files before generated ones."""
    places = {point: place for place, point in enumerate(FEEDS[circuit])}
    found = [step for step in steps if step.unit == "V" and step.black == "body" and step.red in places]
    return sorted(found, key=lambda step: (places[step.red or ""], step.generated))


def _looks(steps: Iterable[Step], circuit: str) -> list[Step]:
    return [
        step
        for step in steps
        if step.circuit == circuit
        and step.kind in ("look", "listen")
        and not step.generated
        and "unplugged" not in step.operate
    ]


def _ohms(steps: Iterable[Step], circuit: str) -> list[Step]:
    return [s for s in steps if s.unit == "ohm" and s.red in FEEDS[circuit] and "unplugged" not in s.operate]


def one_sheet(steps: Iterable[Step], circuit: str, operate: Mapping[str, str]) -> list[Step]:
    """What stands on the sheet for one complaint: looks and listens of the circuit with all wires on, volts once at
    each point along the feed, with the controls as complained of where there is such a check, ohms of its earths."""
    everything = list(steps)
    points: dict[str, Step] = {}
    for step in along_the_feed(everything, circuit):
        point = step.red or ""
        if point not in points or (dict(step.operate) == dict(operate) != dict(points[point].operate)):
            points[point] = step
    earths = [step for step in _ohms(everything, circuit) if (step.red or "").startswith("earth-")]
    return list({step.id: step for step in [*_looks(everything, circuit), *points.values(), *earths]}.values())


def as_printed(steps: Iterable[Step], circuit: str) -> list[Step]:
    """Looks and listens of the circuit with all wires on, volts at the points along the feed with every control that
    puts them to work, ohms of the points, then everything else in the order of the files."""
    everything = list(steps)
    ordered = [
        *_looks(everything, circuit),
        *along_the_feed(everything, circuit),
        *_ohms(everything, circuit),
        *everything,
    ]
    return list({step.id: step for step in ordered}.values())
