"""A tiny but complete set of knowledge files (battery, key switch, fuse, one lamp, earth) for tests.

`write_small(folder)` writes it; `changes` replaces one piece of text in one file, so that a test
shows only the mistake it is about.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from diag.errors import KnowledgeError, Place, Problem
from diag.knowledge.assemble import Knowledge
from diag.knowledge.load import load_knowledge

__all__ = ["SMALL", "Small", "write_small"]

SMALL: dict[str, str] = {
    "vocabulary.yaml": """\
light: [dark, glow, dim, normal, too-bright]
rhythm: [none, steady, slow, flashing, fast]
sound: [none, click, buzz, weak, sound]
motor: [still, slow, runs, does-not-park]
wire-colours: [black, brown, green, red, white, yellow]
light-limits: {dark: 0.01, glow: 0.1, dim: 0.6, normal: 1.4}
misread:
  light:
    glow: {dark: 0.2}
    dim: {normal: 0.08, glow: 0.04}
""",
    "kinds.yaml": """\
kinds:
  wire:
    open: {title: is off or broken, frequency: 20, rewired: 60, remedy: reconnect, source: "common practice, no source"}
    resistive: {title: has a poor joint, frequency: 20, rewired: 10, remedy: reconnect, ohm: 1 ohm, spread: 0.5,
                source: "common practice, no source"}
    to-body: {title: touches the body, frequency: 5, rewired: 10, remedy: insulate,
              source: "common practice, no source"}
  lamp:
    open: {title: is burnt out, frequency: 40, rewired: 10, remedy: renew, source: "common practice, no source"}
  earth:
    open: {title: is missing, frequency: 10, rewired: 30, remedy: clean, source: "common practice, no source"}
    resistive: {title: is corroded, frequency: 30, rewired: 10, remedy: clean, ohm: 2 ohm, spread: 0.5,
                source: "common practice, no source"}
  fuse:
    blown: {title: is blown, frequency: 20, rewired: 10, remedy: renew, source: "common practice, no source"}
    resistive: {title: has corroded clips, frequency: 20, rewired: 5, remedy: clean, ohm: 0.8 ohm,
                source: "common practice, no source"}
  switch:
    open: {title: does not close, frequency: 15, rewired: 10, remedy: overhaul, source: "common practice, no source"}
    stuck: {title: stays closed, frequency: 5, rewired: 5, remedy: overhaul, source: "common practice, no source"}
    resistive: {title: has burnt contacts, frequency: 15, rewired: 10, remedy: overhaul, ohm: 1 ohm,
                source: "common practice, no source"}
    swapped: {title: has two wires swapped, frequency: 1, rewired: 20, remedy: swap-back,
              source: "common practice, no source"}
  battery:
    flat: {title: is flat, frequency: 20, rewired: 15, remedy: charge, volts: 11.2 V, ohm: 0.3 ohm,
           source: "common practice, no source"}
    post-loose: {title: has a loose post, frequency: 10, rewired: 10, remedy: clean, ohm: 0.5 ohm,
                 source: "common practice, no source"}
remedies:
  reconnect: {title: "Put {part} back on", steps: [push the terminal home]}
  insulate: {title: "Insulate {part}", steps: [find the chafed spot, wrap it]}
  renew: {title: "Renew {part}", steps: [fit a new one]}
  clean: {title: "Clean {part}", steps: [clean it to bright metal], cautions: [battery-off-first]}
  overhaul: {title: "Overhaul {part}", steps: [clean its contacts]}
  swap-back: {title: "Swap the wires of {part}", steps: [swap them]}
  charge: {title: "Charge {part}", steps: [charge it]}
outside-chance: 0.01
""",
    "supply.yaml": """\
circuit: supply
title: Supply
controls:
  ignition: ["off", "on"]
  engine: [stopped, running]
  battery: [connected, disconnected]
places:
  driver-seat: in the driver's seat
  engine-bay: at the engine
  front: in front of the vehicle
parts:
  battery: {kind: battery, title: Battery, place: engine-bay, rest-v: 12.6 V}
  key-switch:
    kind: switch
    title: Key switch
    place: driver-seat
    reach: 3 min
    control: ignition
    terminals: ["30", "15"]
    contacts:
      "on": [["30", "15"]]
earths:
  earth-main: {title: Main earth, place: engine-bay}
wires:
  battery-strap: {from: battery.B-, to: earth-main.31, colour: black, section-mm2: 25 mm2, length-m: 0.4 m}
  battery-feed: {from: battery.B+, to: key-switch.30, colour: red, section-mm2: 4 mm2, length-m: 1.5 m}
checks:
  - id: battery-volts
    title: Battery at rest
    kind: measure
    red: battery.B+
    black: battery.B-
    unit: V
    place: engine-bay
    minutes: 2 min
    instruments: [meter]
    limits: {min: 12.2, max: 12.9, source: "common practice, no source"}
cautions:
  - id: battery-off-first
    text: Take the earth clamp off the battery first.
    source: common practice, no source
""",
    "shared.yaml": """\
circuit: shared
title: What spans circuits
rules:
  - id: shared/low-battery-dims
    title: Low volts and a dim lamp
    when:
      - {check: battery-volts, below: 12}
      - {check: lamp-on, light: is-not normal}
    then:
      - {points-to: battery.flat, weight: 5}
    because: Low volts make every lamp dim.
    source: common practice, no source
    state: draft
""",
    "circuits/lamp.yaml": """\
circuit: lamp
title: Work lamp
parts:
  work-lamp: {kind: lamp, title: Work lamp, place: front, terminals: ["55", "31"], test-w: 25 W}
fuses:
  fuse-lamp: {title: Fuse of the work lamp, place: driver-seat, rating-a: 8 A}
earths:
  earth-front: {title: Earth at the front, place: front}
wires:
  lamp-supply: {from: key-switch.15, to: fuse-lamp.in, colour: green, section-mm2: 1.5 mm2, length-m: 0.5 m}
  lamp-feed: {from: fuse-lamp.out, to: work-lamp.55, colour: green/white, section-mm2: 1.5 mm2, length-m: 2 m}
  lamp-earth: {from: work-lamp.31, to: earth-front.31, colour: brown, section-mm2: 1.5 mm2, length-m: 0.3 m}
checks:
  - id: lamp-on
    title: Work lamp with the key on
    kind: look
    operate: {ignition: "on"}
    target: work-lamp
    place: front
    usual: {normal/steady: 0.5, dim: 0.2, dark: 0.3}
  - id: lamp-volts
    title: Feed of the work lamp
    kind: measure
    operate: {ignition: "on"}
    red: work-lamp.55
    black: body
    unit: V
    place: front
    instruments: [meter]
  - id: fuse-marking
    title: Marking on the fuse
    kind: choose
    choices:
      - {value: right, label: 8 A}
      - {value: wrong, label: something else}
    place: driver-seat
    usual: {right: 0.9, wrong: 0.1}
symptoms:
  - id: lamp-dead
    title: The work lamp does not light
    phrases: [no light, lamp dead]
    shows:
      - [{check: lamp-on, light: dark}]
rules:
  - id: lamp/feed-without-light
    title: Volts at the lamp and no light
    when:
      - {check: lamp-on, light: is dark}
      - {check: lamp-volts, above: 11}
    then:
      - {points-to: work-lamp.open, weight: 8}
      - {establish: lamp-is-fed}
      - {clears: fuse-lamp.blown}
    because: Volts at its feed leave only the lamp and its earth.
    looks-like: a missing earth
    source: common practice, no source
    state: draft
  - id: lamp/fed-with-right-fuse
    title: Fed, and the fuse is right
    when:
      - {established: lamp-is-fed}
      - {check: fuse-marking, is: right}
    then:
      - {points-to: earth-front.open, weight: 4}
      - {ask: lamp-volts}
      - {warn: battery-off-first}
    because: A fed lamp that stays dark has no way back.
    source: common practice, no source
    state: draft
causes:
  - {id: lamp-earth.open, frequency: 1.5, source: "common practice, no source"}
  - {id: work-lamp.glass-painted, title: The glass is painted over, frequency: 2, remedy: lamp-renew,
     source: "common practice, no source"}
remedies:
  - id: lamp-renew
    title: Renew the work lamp
    cures: [work-lamp.open]
    steps: [fit a new lamp]
    cautions: [battery-off-first]
    proof: [lamp-on]
""",
    "vehicles/small.yaml": """\
vehicle: small
title: A small invented vehicle
system-v: 12 V
earth: negative
history: rewired
circuits: [lamp]
""",
}
"""File name below the rules folder to its text."""


@dataclass(frozen=True)
class Small:
    """The written folder."""

    rules: Path
    texts: dict[str, str]

    @property
    def vehicle(self) -> Path:
        """The vehicle's file."""
        return self.rules / "vehicles" / "small.yaml"

    def load(self) -> Knowledge:
        """Load it. Raises KnowledgeError if a change made it wrong."""
        return load_knowledge(self.vehicle, self.rules)

    def problems(self) -> list[Problem]:
        """What loading complains of; empty if nothing."""
        try:
            self.load()
        except KnowledgeError as error:
            return error.problems
        return []

    def at(self, file: str, text: str, *, after: str = "") -> Place:
        """Place of the first `text` in a file (behind `after`, if given)."""
        content = self.texts[file]
        start = content.index(text, content.index(after) + len(after) if after else 0)
        line_start = content.rfind("\n", 0, start) + 1
        return Place(str(self.rules / file), content.count("\n", 0, start) + 1, start - line_start + 1)


def write_small(folder: Path, *changes: tuple[str, str, str], **more: str) -> Small:
    """Write the files below `folder`; each change is (file, old text, new text), applied once.

    `more` adds whole circuits: name to text, with `_` for `-` in the name.
    """
    texts = dict(SMALL)
    for file, old, new in changes:
        assert texts[file].count(old) >= 1, f"{old!r} is not in {file}"
        texts[file] = texts[file].replace(old, new, 1)
    for name, text in more.items():
        texts[f"circuits/{name.replace('_', '-')}.yaml"] = text
    for file, text in texts.items():
        path = folder / file
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    return Small(folder, texts)
