"""Words of the trade that the owner's sheet explains, where they stand on it. Knows nothing of jobs."""

from __future__ import annotations

import re

from diag.texts import t

__all__ = ["terms_in"]

_TERMS: tuple[tuple[str, str, str], ...] = (
    ("alternator", r"alternators?", t("Machine on the engine that makes the current, in later vehicles.")),
    (
        "body",
        r"(?:to|touches the|of the) body",
        t("The metal of the vehicle, which leads the current back to the battery."),
    ),
    ("dynamo", r"dynamos?", t("Machine on the engine that makes the current, in older vehicles.")),
    (
        "earth",
        r"earths?|earth clamp|earth points?",
        t("The way of the current back to the battery through the vehicle's metal."),
    ),
    ("flasher unit", r"flasher units?", t("The part that makes the turn lamps go on and off.")),
    ("fuse", r"fuses?", t("A thin strip that melts before a wire can burn.")),
    ("isolator", r"isolators?", t("A switch that parts the battery from everything else.")),
    ("joint", r"joints?", t("A place where several wires are joined.")),
    ("loom", r"looms?", t("All wires of the vehicle, bound together.")),
    ("relay", r"relays?", t("A switch that is moved by a small current instead of a hand.")),
    ("regulator", r"regulators?", t("The part that keeps the voltage of dynamo or alternator in bounds.")),
    ("sender", r"senders?", t("A part on engine or tank that tells a gauge or a tell-tale what it is to show.")),
    ("solenoid", r"solenoids?", t("A magnet that closes the heavy contact of the starter.")),
    ("tell-tale", r"tell-tales?", t("A small lamp before the driver that tells what a part is doing.")),
    ("terminal", r"terminals?", t("The place on a part where a wire is fastened.")),
)
"""Word, how it stands in a text, and what it means; plain words of the trade: common practice, no source."""


def terms_in(text: str) -> tuple[tuple[str, str], ...]:
    """Words with their meanings, of those that stand in a text."""
    return tuple(
        (word, meaning) for word, sign, meaning in _TERMS if re.search(rf"\b(?:{sign})\b", text, re.IGNORECASE)
    )
