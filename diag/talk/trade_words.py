"""Words of the trade and of the street for what a vehicle does, and our one word for each.

Data only: must not know how texts are compared. `lamp` stands for light and bulb.
"""

from __future__ import annotations

from collections.abc import Mapping

__all__ = ["BEHAVIOURS", "BREAKS", "IMPLIED", "NOT", "PLAIN", "SAME", "SHORT", "THINGS", "TURNED", "WORDS"]


def _set(text: str) -> frozenset[str]:
    return frozenset(text.split())


WORDS: Mapping[str, str] = {
    # what it is about
    "turn-signal": "indicator, blinker, winker, flasher, trafficator, signal, turn signal, turn lamp, turn flasher, "
    "signal lamp, indicator lamp, blinker lamp, turn switch, turn indicator, direction indicator, "
    "turn signal lamp, flasher lamp, turn rate, ticker",
    "hazard": "hazard, hazard lamp, four way flasher, 4 way flasher, four way, warning flasher, emergency flasher, "
    "emergency lamp, hazard flasher, hazard warning, hazard warning lamp, hazard switch, all four indicator, "
    "all four corner, all four",
    "stop": "brake lamp, stop lamp, break lamp, brakelamp, stoplamp, stop, third brake lamp",
    "tail": "tail lamp, rear lamp, back lamp, lamp back, lamp rear, tail, tale lamp, running lamp, side lamp rear",
    "plate": "plate, number plate, licence plate, license plate, numberplate, registration, "
    "registration plate, reg plate",
    "horn": "horn, hooter, klaxon, beeper, honker, tooter",
    "oil": "oil, oil pressure, oil warning, oil lamp, oil pressure warning, oil pressure lamp, oil warning lamp",
    "charge": "charge lamp, charging lamp, ignition lamp, ignition warning lamp, dynamo lamp, generator lamp, "
    "battery lamp, alternator lamp, charge warning, charge warning lamp, ignition warning, charge, charging, "
    "dynamo, generator, alternator, gen lamp",
    "battery": "battery, accumulator",
    "tell-tale": "tell tale, telltale, idiot lamp, dash, dashboard, dash lamp, instrument, instrument panel, arrow, "
    "green, green lamp, green arrow, panel, pilot lamp, repeater, warning",
    "side-lamps": "side lamp, sidelamp, parking lamp, lamp on",
    "headlamp": "headlamp, head lamp, headlamp bulb, driving lamp",
    "main-beam": "main beam, high beam, full beam, main, long beam, mainbeam, highbeam, brights, full lamp",
    "dip": "dip, dipped, dipped beam, dip beam, low beam, lowbeam, dipper, dip switch, short beam, dip lamp",
    "blue": "blue, blue lamp, blue tell tale, blue warning lamp, blue dash lamp, main beam warning, "
    "main beam warning lamp, main beam tell tale, main beam indicator, high beam indicator, high beam warning, "
    "high beam warning lamp, high beam tell tale, full beam indicator, full beam warning lamp, blue indicator",
    # how it behaves
    "dead": "dead, dark, inoperative, broken, kaput, fail, failed, packed up, bust, busted, knackered, missing, "
    "silent, mute, nothing, blown, gone, conked, unlit, quit, died, out, zilch, nada, stopped work",
    "work": "work, fine, ok, okay, alright, good, right, functioning, function, normal",
    "lit": "lit, come on, comes on, came on, light up, lights up, illuminate, burn, shine, on, show, go on",
    "stays-on": "stay on, stays on, always on, stuck on, keep on, remain on, permanently on, constantly on, all time, "
    "on all time, non stop, nonstop, constantly, permanently, continuously, always, stay lit, stays lit, "
    "stay, remain, continuous, constant, leave on, keep go, keep burn, stuck, still on",
    "goes-out": "go out, go off, extinguish, shut off, shut up, let up, cut out",
    "steady": "steady, steadily, solid, solidly, frozen",
    "flash": "flash, blink, wink, pulse, pulsate, tick",
    "fast": "fast, too fast, quick, quickly, hyper, rapid, rapidly, double speed, double, speedy, frantic, mad fast, "
    "twice speed, like crazy",
    "slow": "slow, slower, slowly, sluggish, lazy, lazily, lethargic, too slow, drag",
    "dim": "dim, faint, weak, feeble, poor, low, dull, hardly see, barely see, hardly, barely, pale, weaker, dimmer, "
    "fainter, darker, yellow, brightness",
    "glow": "glow, glimmer, half lit, half on, faint glow, glowing",
    "bright": "too bright, bright, brilliant, dazzling, brighter",
    "click": "click, tick once, clunk, knock, clack, clicking",
    "weak-sound": "hoarse, croak, quiet, sick, feeble horn, strangled, rough, wheeze, pathetic, muffled, squeak, "
    "gargle, frog, duck, faint horn, weak horn, quietly, horn weak, horn faint",
    "by-itself": "itself, themselves, own, on its own, without pressing, without touching, without button, unprompted, "
    "randomly, untouched, without stalk, without pedal, nobody, without foot, foot off, released",
    "wrong": "wrong, swapped, mixed up, crossed, opposite, reversed, backwards, mixed, swap, wrongly, other side, "
    "wrong side, vice versa, instead",
    "over": "boil, gas, overcharge, overcharging, too high, cook, fry, acid, topping, burn out, bulb blow, lamp blow, "
    "blow bulb, eat bulb, smell egg",
    "flat": "flat, drain, drained, discharged, empty, run down, low battery, goes down, jump start, recharge",
    # where and when
    "one": "one, single, 1, solitary, just one, only one",
    "side": "side, left, right hand, left hand, nearside, offside, near side, off side, driver side, passenger side, "
    "driver, passenger, left side, right side, left hand side, right hand side, lh, rh, n s, o s",
    "front-rear": "front, corner, front left, front right, rear left, rear right, left front, right front, left rear, "
    "right rear, front nearside, front offside, rear nearside, rear offside, nearside front, "
    "offside front, nearside rear, offside rear",
    "rear": "rear, back, behind",
    "brake": "brake, braking, brake pedal, foot brake, pedal, stop pedal, press brake, press pedal, break pedal",
    "steer": "steering, steering wheel, wheel, lock, bend, corner turn, steer, angle, round bend, turn wheel",
    "key-off": "key off, ignition off, key out, switched off, switch off, engine off, parked, parking, overnight, "
    "everything off, turned off, key removed, without key, take key out, pull key, garage",
    "key-on": "key on, ignition on, turn key, key, ignition, switch on ignition",
    "running": "engine running, engine, running, driving, drive, revs, rev, motor running, motor, engine on, road, "
    "run, idle, tickover, moving",
    "only": "only, just",
    "both": "both, both side, all",
    "change": "affect, change, disturb, influence, interfere, go weak, along, depend",
}
"""Our word for a thing or behaviour, to the words of the trade and of the street; `lamp` stands for light and bulb."""

SAME: Mapping[str, str] = {
    "light": "lamp",
    "bulb": "lamp",
    "brakelight": "brake lamp",
    "taillight": "tail lamp",
    "stoplight": "stop lamp",
    "sidelight": "side lamp",
    "headlight": "head lamp",
    "dipswitch": "dip switch",
    "dipping": "dip",
    "backlight": "back lamp",
    "rearlight": "rear lamp",
    "lightbulb": "lamp",
    "oillight": "oil lamp",
    "numberplate": "number plate",
    "goe": "go",
    "going": "go",
    "gone": "go out",
    "went": "go",
    "came": "come",
    "burnt": "burn",
    "kept": "keep",
    "turnsignal": "turn signal",
    "ign": "ignition",
    "batt": "battery",
    "bat": "battery",
    "hazzard": "hazard",
    "hi": "high",
    "lhs": "left",
    "rhs": "right hand",
    "nothin": "nothing",
    "gen": "generator",
    "ind": "indicator",
    "tacho": "dash",
    "beep": "sound",
    "honk": "sound",
    "toot": "sound",
    "parp": "sound",
    "blare": "sound",
}
NOT = _set(
    "not no never none neither nor nil cannot dont doesnt didnt wont cant isnt arent wasnt aint wouldnt couldnt havent "
    "hasnt refuses refuse refusing"
)
BREAKS = _set("but yet while although though however and whereas then except")
"""Words between two clauses; `and` also joins two things in one."""
PLAIN = _set(
    "a an the my our his her its it is are was were be been being am of in at to for with by as that this these those "
    "there here when whenever if i you he she we they me do does did have has had will would can could should may "
    "might so very really quite also too from into what which who how why some any again now today since after "
    "before during every day old car van truck pickup vehicle thing things bit little lot get gets got getting "
    "put puts press pressed pressing push pushed hit use used using try tried trying seems seem like about or than "
    "their them because even whatever way ive im ones please help think says said tell need needs start starts "
    "started starting"
)
"""Words that say nothing of a symptom."""
SHORT = _set("out off not oil lit dim")
"""Words of three letters worth reading through a slip."""
TURNED: Mapping[str, str] = {
    "flash": "steady",
    "work": "dead",
    "lit": "dead",
    "dead": "stays-on",
    "key-off": "stays-on",
    "lamp": "dead",
    "sound": "dead",
    "charge": "no-charge",
    "steady": "flash",
    "goes-out": "stays-on",
    "stop": "stays-on",
    "go": "dead",
    "off": "stays-on",
    "bright": "dim",
    "stays-on": "dead",
    "blow": "dead",
    "flat": "work",
}
"""What the opposite of a behaviour is called."""
IMPLIED: Mapping[str, Mapping[str, float]] = {
    "brake": {"stop": 0.5},
    "flash": {"work": 0.4},
    "glow": {"dim": 0.4, "lit": 0.3},
    "goes-out": {"dead": 0.6},
    "no-charge": {"charge": 0.8, "flat": 0.3},
    "stays-on": {"lit": 0.6},
    "steady": {"stays-on": 0.4},
    "front-rear": {"side": 0.5, "one": 0.3, "rear": 0.2},
    "side": {"one": 0.5},
    "weak-sound": {"dim": 0.7},
    "by-itself": {"stays-on": 0.4},
    "turn": {"turn-signal": 0.4, "steer": 0.4},
    "flat": {"battery": 0.3, "no-charge": 0.3},
    "off": {"key-off": 0.4},
    "sound": {"horn": 0.5},
    "over": {"bright": 0.2},
    "side-lamps": {"lamp": 0.5, "tail": 0.4},
    "headlamp": {"lamp": 0.5, "side-lamps": 0.3},
    "main-beam": {"headlamp": 0.5},
    "dip": {"headlamp": 0.5},
    "blue": {"tell-tale": 0.4, "main-beam": 0.4},
    "tail": {"rear": 0.4, "side-lamps": 0.3},
}
"""What a word also says, with its share of weight."""
THINGS = frozenset(
    (
        "turn-signal",
        "hazard",
        "stop",
        "tail",
        "plate",
        "horn",
        "oil",
        "charge",
        "battery",
        "tell-tale",
        "side-lamps",
        "headlamp",
        "main-beam",
        "dip",
        "blue",
        "brake",
    )
)
BEHAVIOURS = frozenset(
    (
        "dead",
        "work",
        "lit",
        "stays-on",
        "steady",
        "flash",
        "fast",
        "slow",
        "dim",
        "glow",
        "bright",
        "click",
        "weak-sound",
        "by-itself",
        "wrong",
        "over",
        "flat",
        "no-charge",
        "goes-out",
    )
)
