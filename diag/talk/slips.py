"""A reading that fits nothing where it was taken, but fits a thousand times larger or smaller: mV typed for V.

Asks the network what any known cause shows; knows nothing of journals or of how an error is shown.
"""

from __future__ import annotations

import math
from typing import cast

import numpy as np

from diag.reason.reasoner import Reasoner
from diag.reason.steps import Step
from diag.talk.answers import AnswerError, Unit, as_typed
from diag.texts import t

__all__ = ["query_thousandfold"]

_SHARE = 0.1
"""So far from a computed reading one may lie and still be it, as a share of it. Common practice, no source."""
_LEAST_OHM = 0.01
"""Ohms below which a handheld meter shows only its leads. Common practice, no source."""


def query_thousandfold(reasoner: Reasoner, step: Step, typed: object, number: float) -> None:
    """Raise AnswerError where a reading was typed in thousandths or thousands of the step's unit, no known cause shows
    it there, and one does show the same figure in the unit itself.

    `number`: the reading in the step's unit, as `typed` was understood.
    """
    unit = step.unit
    if unit not in ("V", "A", "ohm") or not isinstance(typed, str) or not math.isfinite(number):
        return
    figure, suffix, factor = as_typed(typed, cast("Unit", unit))
    if not suffix or min(abs(factor * 1e3 - 1), abs(factor / 1e3 - 1)) > 1e-9:
        return
    meant = number / factor
    fits, meant_fits = _fits(reasoner, step, (number, meant))
    if fits or not meant_fits:
        return
    said, other, plainly = f"{figure} {suffix}", f"{figure} {unit}", f"{number:.6g} {unit}"
    raise AnswerError(
        "thousandfold",
        "value",
        f"`{said}`",
        t("`{other}`, or `{plainly}` if the meter does say so", other=other, plainly=plainly),
        t("{said}, or {other}? No known cause gives {said} here.", said=said, other=other),
    )


def _fits(reasoner: Reasoner, step: Step, numbers: tuple[float, float]) -> list[bool]:
    """Whether each number, in the step's unit, is what a sound vehicle or a known cause shows; all where nobody
    computes it."""
    chances = reasoner.chances
    if chances.metered is None or not chances.computed(step):
        return [True] * len(numbers)
    readings = chances.metered.readings(step, np.zeros(1 + len(chances.causes)))
    mean = readings.mean  # at the battery volts of the model; a battery as it is lies within the share
    wide = 2.0 * float(readings.width.min())
    if readings.logarithmic:
        return [bool((np.abs(math.log10(max(abs(n), _LEAST_OHM)) - mean) <= wide).any()) for n in numbers]
    return [bool((np.abs(n - mean) <= np.maximum(wide, _SHARE * np.abs(mean))).any()) for n in numbers]
