"""A vehicle with one part of every kind, beside the shipped supply, so that each is drawn and told once.

`write_everything(folder)` writes its rules folder and gives the vehicle's file.
"""

from __future__ import annotations

import shutil
from pathlib import Path

from diag.knowledge.load import rules_folder

__all__ = ["write_everything"]

_CONTROLS = """controls:                    # rest position first
  bed-wiper: ["off", slow, fast]
  bed-dip: [dipped, main]
  bed-dimmer: [bright, half]
  bed-fuel: [full, low]
  bed-trailer: ["off", coupled]
  bed-start-button: [released, pressed]
"""

_CIRCUIT = """\
circuit: everything
title: One of every kind
parts:
  relay-lamps: {kind: relay, title: Headlamp relay, place: under-dash, change-over: true, diode: true}
  dip-switch: {kind: switch, title: Dip switch, place: column, control: bed-dip, terminals: ["56", 56a, 56b],
    contacts: {dipped: [["56", 56b]], main: [["56", 56a]]}}
  headlamp: {kind: two-filament-lamp, title: Headlamp, place: front, terminals: [56a, 56b, "31"], test-w: [45 W, 40 W]}
  main-beam: {kind: lamp, title: Main beam tell-tale, place: under-dash, terminals: [56a, "31"], test-w: 2 W,
    colour: blue, tell-tale: true}
  dimmer: {kind: rheostat, title: Instrument dimmer, place: under-dash, control: bed-dimmer,
    positions: {bright: 0.5 ohm, half: 10 ohm}}
  panel-lamp: {kind: lamp, title: Instrument lamp, place: under-dash, terminals: [58d, "31"], test-w: 3 W}
  starter: {kind: starter, title: Starter, place: engine-bay}
  start-button: {kind: switch, title: Starter button, place: under-dash, control: bed-start-button,
    terminals: ["30", "50"],
    contacts: {released: [], pressed: [["30", "50"]]}}
  alternator: {kind: alternator, title: Alternator, place: engine-bay}
  charge-lamp: {kind: lamp, title: Charge tell-tale, place: under-dash, terminals: ["15", "61"], test-w: 2 W,
    colour: red, tell-tale: true}
  ballast: {kind: resistor, title: Ballast of the coil, place: engine-bay, terminals: [in, out], ohm: 1.5 ohm}
  coil: {kind: ignition-coil, title: Ignition coil, place: engine-bay}
  points: {kind: breaker, title: Breaker points, place: engine-bay, closed-when: [stopped]}
  choke: {kind: heater, title: Choke heater, place: engine-bay, terminals: ["15", "31"], current-a: 2 A}
  idle-valve: {kind: valve, title: Idle valve, place: engine-bay, terminals: ["15", "31"], current-a: 0.5 A}
  radio: {kind: accessory, title: Radio, place: under-dash, terminals: ["30", "31"], current-a: 1 A}
  blower: {kind: motor, title: Blower, place: under-dash, terminals: ["15", "31"], current-a: 4 A}
  wiper-switch: {kind: switch, title: Wiper switch, place: column, control: bed-wiper, terminals: [53a, "53", 53b, 53e],
    contacts: {"off": [["53", 53e]], slow: [[53a, "53"]], fast: [[53a, 53b]]}}
  wiper: {kind: wiper-motor, title: Wiper motor, place: engine-bay}
  fuel-gauge: {kind: gauge, title: Fuel gauge, place: under-dash}
  fuel-sender: {kind: level-sender, title: Fuel sender, place: rear, control: bed-fuel,
    positions: {full: 5 ohm, low: 180 ohm}}
  oil-switch: {kind: sender, title: Oil pressure switch, place: engine-bay, closed-when: [stopped]}
  oil-lamp: {kind: lamp, title: Oil tell-tale, place: under-dash, terminals: ["15", G], test-w: 2 W, colour: red,
    tell-tale: true}
  feed-diode: {kind: diode, title: Diode of the radio feed, place: under-dash}
  trailer-socket: {kind: plug, title: Trailer socket, place: rear, pins: [L, "31"], control: bed-trailer,
    joined-when: [coupled]}
  trailer-lamp: {kind: lamp, title: Trailer lamp, place: rear, terminals: [L, "31"], test-w: 21 W, colour: amber}
  bus-key: {kind: joint, title: Key bar, place: fuse-box, terminals: [in, "1", "2", "3", "4", "5", "6", "7", "8", "9"]}
  bus-bat: {kind: joint, title: Battery bar, place: fuse-box, terminals: [in, "1", "2", "3", "4", "5"]}
fuses:
  fuse-wiper: {title: Wiper fuse, place: fuse-box, rating-a: 8 A}
  fuse-link: {title: Main fuse, place: fuse-box, rating-a: 50 A, link: torpedo}
earths:
  earth-front: {title: Front earth, place: front}
  earth-rear: {title: Rear earth, place: rear}
  earth-engine: {title: Engine earth, place: engine-bay}
wires:
"""

_WIRES = """\
bus-30.1 fuse-link.in red 10
fuse-link.out bus-bat.in red 10
bus-15.1 bus-key.in black 4
bus-bat.1 relay-lamps.30 red 4
light-switch.58 relay-lamps.86 white/black 0.75
relay-lamps.85 earth-dash.31 brown 0.75
relay-lamps.87 dip-switch.56 white 2.5
relay-lamps.87a radio.30 red/grey 1
dip-switch.56a headlamp.56a white/blue 1.5
dip-switch.56b headlamp.56b yellow 1.5
dip-switch.56a main-beam.56a white/blue 0.75
headlamp.31 earth-front.31 brown 1.5
main-beam.31 earth-dash.31 brown 0.75
bus-key.9 dimmer.58 grey 0.75
dimmer.58d panel-lamp.58d grey/blue 0.75
panel-lamp.31 earth-dash.31 brown 0.75
starter-post.30 starter.30 red 35
bus-bat.2 start-button.30 red 2.5
start-button.50 starter.50 black/red 2.5
alternator.B+ starter-post.30 red 6
bus-key.1 charge-lamp.15 black 0.75
charge-lamp.61 alternator.D+ blue 0.75
bus-key.2 ballast.in black 1.5
ballast.out coil.15 black/blue 1.5
coil.1 points.1 green 1
bus-key.3 choke.15 black 1
choke.31 earth-engine.31 brown 1
bus-key.4 idle-valve.15 black 1
idle-valve.31 earth-engine.31 brown 1
bus-bat.3 feed-diode.A red/white 1
feed-diode.K radio.30 red/blue 1
radio.31 earth-dash.31 brown 1
bus-key.5 blower.15 black/violet 1.5
blower.31 earth-dash.31 brown 1.5
bus-key.6 fuse-wiper.in black 1.5
fuse-wiper.out wiper-switch.53a green/black 1.5
fuse-wiper.out wiper.53a green/red 1.5
wiper-switch.53 wiper.53 green/yellow 1.5
wiper-switch.53b wiper.53b green/white 1.5
wiper-switch.53e wiper.53e pink 1.5
wiper.31 earth-front.31 brown 1.5
bus-key.7 fuel-gauge.15 black 0.75
fuel-gauge.G fuel-sender.G orange 0.75
bus-key.8 oil-lamp.15 black 0.75
oil-lamp.G oil-switch.G blue/green 0.75
bus-bat.4 trailer-socket.L red/yellow 1.5
trailer-socket.L-t trailer-lamp.L black/white 1
trailer-lamp.31 trailer-socket.31-t brown 1
trailer-socket.31 earth-rear.31 brown 1
"""

_VEHICLE = """\
vehicle: everything
title: Test bed with every kind of part
system-v: 12 V
earth: negative
history: rewired
circuits: [everything]
"""


def write_everything(folder: Path) -> Path:
    """Writes rules and vehicle below `folder`; gives the vehicle's file (its rules are in `folder/rules`)."""
    shipped, rules = rules_folder(), folder / "rules"
    (rules / "circuits").mkdir(parents=True)
    for name in ("kinds.yaml", "vocabulary.yaml"):
        shutil.copy(shipped / name, rules / name)
    supply = (shipped / "supply.yaml").read_text(encoding="utf-8")
    head = "controls:                    # rest position first\n"
    assert head in supply
    (rules / "supply.yaml").write_text(supply.replace(head, _CONTROLS), encoding="utf-8")
    (rules / "shared.yaml").write_text("circuit: shared\ntitle: Shared\n", encoding="utf-8")
    lines = [line.split() for line in _WIRES.splitlines()]
    wires = "".join(
        f"  wire-{i}: {{from: {a}, to: {b}, colour: {colour}, section-mm2: {mm2} mm2, length-m: 1 m}}\n"
        for i, (a, b, colour, mm2) in enumerate(lines)
    )
    (rules / "circuits" / "everything.yaml").write_text(_CIRCUIT + wires, encoding="utf-8")
    vehicle = folder / "everything.yaml"
    vehicle.write_text(_VEHICLE, encoding="utf-8")
    return vehicle
