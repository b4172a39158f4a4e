"""The words of what a wire's length matters, for the screen and for comments in a vehicle's file.

Knows no equations and asks nothing.
"""

from __future__ import annotations

from collections.abc import Sequence

from diag.fit.matter import LONGER, Loss, Together
from diag.knowledge.assemble import Knowledge
from diag.texts import t

__all__ = ["MOST_TOLD", "length_words", "report", "section_words"]

MOST_TOLD = 10
"""Wires named one by one; the rest in one line."""


def length_words(metres: float) -> str:
    """Metres with two decimals at most."""
    return f"{round(metres, 2):g} m"


def section_words(mm2: float) -> str:
    """A section as it is sold."""
    return f"{round(mm2, 2):g} mm2"


def report(
    knowledge: Knowledge, found: Sequence[Loss], all_longer: Together | None, *, assumed: bool = True
) -> list[str]:
    """What the lengths and sections matter, worst first, one sentence a line. `assumed`: nobody measured them."""
    if not found:
        return [t("No load at work hangs on a wire whose length is assumed.")]
    out = [
        t(
            "What the {what}lengths and sections matter, worst first (volts lost at the load that suffers most):",
            what=t("assumed ") if assumed else "",
        )
    ]
    for loss in found[:MOST_TOLD]:
        wire = knowledge.wires[loss.wire]
        title = wire.title or loss.wire.replace("-", " ")
        size = t("{length} of {section}", length=length_words(wire.length_m), section=section_words(wire.section_mm2))
        line = t(
            "{title} ({size}): twice as long costs {the} {lost}",
            title=title,
            size=size,
            the=_the(loss.load),
            lost=_lost(loss.lost_v, loss.share),
        )
        if loss.thinner_mm2 is not None:
            line += t(
                "; {section} costs {volts}", section=section_words(loss.thinner_mm2), volts=_volts(loss.thinner_v)
            )
        out.append(line + ".")
    if len(found) > MOST_TOLD:
        rest = found[MOST_TOLD]
        most = max(loss.lost_v for loss in found[MOST_TOLD:])
        out.append(
            t(
                "Each of the other {number}: at most {lost}.",
                number=len(found) - MOST_TOLD,
                lost=_lost(most, rest.share),
            )
        )
    if all_longer is not None:
        out.append(
            t(
                "All of them {number:.0f} % longer at once: {the} loses {lost}.",
                number=100 * (LONGER - 1),
                the=_the(all_longer.load),
                lost=_lost(all_longer.lost_v, all_longer.share),
            )
        )
    return out


def _the(title: str) -> str:
    return t("the {title}{title_2}", title=title[:1].lower(), title_2=title[1:])


def _volts(volts: float) -> str:
    return f"{volts:.2f} V" if volts >= 0.005 else t("next to nothing")


def _lost(volts: float, share: float) -> str:
    return f"{_volts(volts)} ({100 * share:.1f} %)" if volts >= 0.005 else _volts(volts)
