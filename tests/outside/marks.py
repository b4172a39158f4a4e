"""DIN 72552: terminal marks and their meaning, copied from published lists for the tests alone."""

from __future__ import annotations

__all__ = ["DIN_72552", "OLD_TO_NEW", "SENDER"]

DIN_72552 = {
    "1": "coil, low-tension side to the contact breaker",
    "4": "coil, high-tension output",
    "15": "positive behind the key switch",
    "15a": "behind the ballast resistor",
    "30": "positive straight from the battery",
    "31": "return to battery negative, or body",
    "31b": "return to negative through a switch",
    "49": "input of the flasher unit",
    "49a": "output of the flasher unit",
    "50": "starter control",
    "53": "wiper motor, feed",
    "53a": "wiper, self-park feed",
    "53b": "wiper, second speed",
    "53c": "washer pump",
    "53e": "wiper, park switch",
    "54": "stop lamps",
    "54g": "trailer socket, additional line",
    "55": "front fog lamps",
    "56": "headlamps, feed to the dip switch",
    "56a": "main beam and its tell-tale",
    "56b": "dipped beam",
    "57a": "parking lights",
    "58": "side, tail, number-plate and instrument lamps",
    "58d": "instrument lamps, dimmed",
    "58L": "side and tail lamps, left",
    "58R": "side and tail lamps, right",
    "61": "charge tell-tale",
    "71": "horn",
    "75": "accessories",
    "82": "make contact, feed",
    "82a": "make contact, output",
    "83": "switch of several positions, feed",
    "83a": "switch of several positions, first output",
    "83b": "switch of several positions, second output",
    "85": "relay coil, end towards negative",
    "86": "relay coil, end towards positive",
    "87": "relay contact",
    "87a": "relay contact, closed at rest",
    "B+": "battery positive",
    "B-": "battery negative",
    "C": "flasher unit, tell-tale",
    "D+": "dynamo positive",
    "D-": "dynamo negative",
    "DF": "dynamo field",
    "L": "turn lamps, left",
    "R": "turn lamps, right",
}
"""Source: DIN 72552 (meanings in our own words; 53c to 54g, 75 to 83b, 85, 86, 87, 87a from memory)."""
SENDER = {"G"}
"""The single terminal of a sender; not in DIN 72552. Source: common practice, no source."""
OLD_TO_NEW = {
    "15+": {"49"}, "S": {"49a"}, "S4": {"49a"}, "54L": {"49a"}, "K": {"C"}, "K1": {"C"}, "P": {"C"},
    "B+30": {"B+"}, "B+51": {"B+"}, "51": {"B+"}, "30/51": {"B+"}, "D+/61": {"D+", "61"}, "D-/61": {"D-", "31"},
    "D-": {"31"},
}  # fmt: skip
"""Old marks of flasher units and regulators to those of DIN 72552. Source: a published table of old and new terminal
marks; D+/61 held both the output and the tell-tale, 51 and 30/51 are the battery's side of a regulator, D- is its body
(from memory)."""
