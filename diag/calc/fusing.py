"""Which fuse for which wire and load: ratings that exist, and whether a fuse holds its wire.

Knows nothing of vehicles.
"""

from __future__ import annotations

from dataclasses import dataclass

from diag.calc.copper import continuous_a
from diag.calc.melting import burns_a, opens_from
from diag.errors import DiagError
from diag.knowledge.sizes import RATINGS_A
from diag.texts import t

__all__ = [
    "BLOW_MARKS",
    "LOADED_TO",
    "FuseOnWire",
    "fuse_holds_wire",
    "max_fuse_for_section",
    "min_fuse_for_load",
    "next_rating",
]

BLOW_MARKS: dict[float, float] = {
    1.5: 3, 2.25: 4.5, 3: 6, 4: 8, 5: 10, 6: 12, 7.5: 15, 12.5: 25, 17.5: 35, 25: 50, 30: 60,
}  # fmt: skip
"""Older glass and ceramic fuses of about 29 mm are marked with the current at which they blow: amps that they
carry for good → mark (a published table of that system)."""
LOADED_TO = 0.8
"""Share of its rating to which a fuse is loaded for good (70 to 80 %: common practice, no source)."""


@dataclass(frozen=True)
class FuseOnWire:
    """Judgement on a fuse before a wire.

    `carries_a`: what the wire may carry for good. `opens_a`: current from which the fuse opens within half a
    minute. `burns_a`: current that melts the bare wire. `within`: the rating is no more than the wire may carry.
    `goes_first`: it opens before the wire melts. `holds`: both.
    """

    rating_a: float
    carries_a: float
    opens_a: float
    burns_a: float

    @property
    def within(self) -> bool:
        return self.rating_a <= self.carries_a * (1 + 1e-9)

    @property
    def goes_first(self) -> bool:
        return self.opens_a < self.burns_a

    @property
    def holds(self) -> bool:
        return self.within and self.goes_first


def fuse_holds_wire(section_mm2: float, rating_a: float, link: str = "blade") -> FuseOnWire:
    """Whether a fuse of a rating in A and a class (blade, torpedo, glass) guards a wire of a section in mm².

    Raises ValueError for a section or rating of zero or less, KeyError for an unknown class.
    """
    if rating_a <= 0:
        raise ValueError(t("a rating is above zero"))
    return FuseOnWire(rating_a, continuous_a(section_mm2), rating_a * opens_from(link), burns_a(section_mm2))


def max_fuse_for_section(section_mm2: float, link: str = "blade") -> float:
    """The largest rating in A that exists in a class and holds a wire of that section.

    Raises ValueError for a section of zero or less, KeyError for an unknown class, DiagError where even the
    smallest is too large.
    """
    held = [rating for rating in RATINGS_A[link] if fuse_holds_wire(section_mm2, rating, link).holds]
    if not held:
        raise DiagError(
            t(
                "found a wire of {section_mm2:.3g} mm² that carries {continuous_a:.3g} A; expected one "
                "that a {link} fuse holds, of which the smallest has {ratings_a:g} A. Lay a thicker wire "
                "or take another class of fuse.",
                section_mm2=section_mm2,
                continuous_a=continuous_a(section_mm2),
                link=link,
                ratings_a=RATINGS_A[link][0],
            )
        )
    return max(held)


def next_rating(amps: float, link: str = "blade") -> float:
    """The smallest rating in A that exists in a class and is not below the given one.

    Raises KeyError for an unknown class, DiagError above the largest.
    """
    for rating in RATINGS_A[link]:
        if rating >= amps * (1 - 1e-9):
            return float(rating)
    raise DiagError(
        t(
            "found {amps:.4g} A; expected no more than {ratings_a:g} A, the largest {link} fuse. Part "
            "the load over two fuses.",
            amps=amps,
            ratings_a=RATINGS_A[link][-1],
            link=link,
        )
    )


def min_fuse_for_load(load_a: float, link: str = "blade") -> float:
    """The smallest rating in A that exists in a class and carries a load for good. Raises like `next_rating`."""
    if load_a <= 0:
        raise ValueError(t("a load is above zero"))
    return next_rating(load_a / LOADED_TO, link)
