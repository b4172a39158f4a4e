"""What a flasher unit does with these lamps: the bench's use of `flash`. Knows nothing of networks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from diag.calc.filament import TEST_V, burning, test_watts
from diag.calc.flash import FLASHER_STATES, Felt, Flasher, rhythm_of
from diag.texts import t

__all__ = ["Flashes", "flashes", "lamps_a"]


@dataclass(frozen=True)
class Flashes:
    """Likeliest state of a unit (one of FLASHER_STATES), its chance, flashes a minute (0 where it does not
    flash), amps of the lamps and their share of what the unit is made for."""

    state: str
    chance: float
    rate: float
    amps: float
    load: float


def lamps_a(caps_w: Sequence[float], volts: float, system_v: int = 12) -> float:
    """Amps of lamps in parallel at some volts, by the watts on their caps. Raises ValueError at zero or below."""
    test_v = TEST_V[system_v]
    return sum(burning(volts, test_watts(watts, system_v), test_v).amps for watts in caps_w)


def flashes(
    caps_w: Sequence[float], rated_w: float, volts: float, system_v: int = 12, *, thermal: bool, rate: float = 85.0
) -> Flashes:
    """What a unit made for `rated_w` watts of caps does with lamps of `caps_w` at `volts`.

    Raises ValueError for watts or volts of zero or less, KeyError for a system other than 6, 12, 24 V.
    """
    if not rated_w > 0:
        raise ValueError(t("a rating is above zero"))
    amps = lamps_a(caps_w, volts, system_v)
    rated_a = rated_w / system_v
    on_12 = np.array([volts * 12.0 / system_v])
    felt = Felt(on_12, on_12, np.array([amps]), np.array([amps / rated_a]))
    states, found = rhythm_of(Flasher(rated_a, rate, thermal), felt)
    likeliest = int(states[0].argmax())
    goes = likeliest > 1
    return Flashes(
        FLASHER_STATES[likeliest], float(states[0, likeliest]), float(found[0]) if goes else 0.0, amps, amps / rated_a
    )
