"""Sizes that can be bought: sections of wire and ratings of fuses. Figures only."""

from __future__ import annotations

from collections.abc import Mapping

__all__ = ["RATINGS_A", "SECTIONS_MM2"]

SECTIONS_MM2 = (0.5, 0.75, 1.0, 1.5, 2.5, 4.0, 6.0, 10.0, 16.0, 25.0, 35.0, 50.0, 70.0)
"""Sections of wire in mm² (IEC 60228, class 5)."""
RATINGS_A: Mapping[str, tuple[float, ...]] = {
    "blade": (1.0, 2.0, 3.0, 4.0, 5.0, 7.5, 10.0, 15.0, 20.0, 25.0, 30.0, 35.0, 40.0, 50.0, 60.0, 70.0, 80.0),
    "torpedo": (5.0, 8.0, 16.0, 25.0, 40.0),
    "glass": (1.0, 2.0, 3.0, 4.0, 5.0, 7.5, 10.0, 15.0, 20.0, 25.0, 30.0),
}
"""Ratings in A by class of link. blade: ISO 8820-3 (above 40 A the large type); torpedo: DIN 72581 (from memory);
glass: the 1/4 by 1 1/4 inch type (common practice, no source)."""
