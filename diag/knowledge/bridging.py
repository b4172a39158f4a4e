"""The two controls that every vehicle has beside its own: wires taken off a terminal, and two points joined
by a fused jumper lead.

Only names: which points a position means, in one spelling. Must not know of networks or questions.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping

from diag.knowledge.names import nearest, quoted
from diag.texts import t

__all__ = ["BODY", "BRIDGED", "EXTRA_CONTROLS", "UNPLUGGED", "bridge_ends", "bridge_problem", "bridge_spelt", "spelt"]

BODY = "body"
UNPLUGGED = "unplugged"
"""Its position is one terminal, `part.terminal`, with its wires taken off."""
BRIDGED = "bridged"
"""Its position is two points, `part.a+part.b` or `part.a+body`, joined by a fused jumper."""
EXTRA_CONTROLS = (UNPLUGGED, BRIDGED)


def _like_a_point(text: str) -> bool:
    return text == BODY or re.fullmatch(r"[a-z0-9-]+\.[A-Za-z0-9+-]{1,12}", text) is not None


def bridge_ends(position: str, is_point: Callable[[str], bool] = _like_a_point) -> tuple[str, str] | None:
    """The two points that a position joins, as spelt; None where it does not name two.

    A terminal's own name may hold a `+` (B+), so it parts where both sides are points: by default whatever
    is written like one.
    """
    for at, sign in enumerate(position):
        first, second = position[:at], position[at + 1 :]
        if sign == "+" and is_point(first) and is_point(second):
            return first, second
    return None


def bridge_spelt(first: str, second: str) -> str:
    """The one spelling of a position: its points in order of the alphabet, body last."""
    low, high = sorted((first, second), key=lambda point: (point == BODY, point))
    return f"{low}+{high}"


def spelt(operate: Mapping[str, str], terminals: Iterable[str]) -> dict[str, str]:
    """An operate with its jumper in the one spelling; as it is where that names no two points."""
    out = dict(operate)
    if BRIDGED in out:
        points = {BODY, *terminals}
        ends = bridge_ends(out[BRIDGED], points.__contains__)
        if ends is not None:
            out[BRIDGED] = bridge_spelt(*ends)
    return out


def bridge_problem(position: str, terminals: Iterable[str], batteries: Iterable[str] = ()) -> tuple[str, str] | None:
    """What is wrong with a position and how to mend it; None for a good one. `batteries`: ids of the parts
    whose posts must not be joined with each other or with body."""
    points = {BODY, *terminals}
    ends = bridge_ends(position, points.__contains__)
    if ends is None:
        wrong = _wrong_half(position, points)
        if not wrong:
            return t("this names no two points"), t("Write a terminal, `+`, and another terminal or `body`.")
        return t("{wrong} is no terminal of this vehicle", wrong=quoted(wrong)), nearest(wrong, points) or t(
            "Name a terminal, or `body`."
        )
    first, second = ends
    if first == second:
        return t("this joins a point to itself"), t("Name two different points.")
    posts = [point.split(".")[0] for point in ends if point != BODY]
    if all(post in set(batteries) for post in posts):
        return t("this shorts the battery"), t("Never join the two posts, or a post and body.")
    return None


def _wrong_half(position: str, points: set[str]) -> str:
    """What stands where a second point should, beside one that is right; empty where none is."""
    for at, sign in enumerate(position):
        if sign == "+" and position[:at] in points:
            return position[at + 1 :]
        if sign == "+" and position[at + 1 :] in points:
            return position[:at]
    return ""
