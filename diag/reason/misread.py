"""What is said for what is to be seen or heard: the vocabulary's shares of misjudging as tables.

Knows words only; nothing of parts, steps or causes.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from diag.circuit import observe
from diag.circuit.network import Floats
from diag.circuit.observe import LOOKS

__all__ = ["confusion", "looks_confusion"]

Shares = Mapping[str, Mapping[str, float]]


def confusion(words: Sequence[str], misread: Shares) -> Floats:
    """(true, said) chances from a vocabulary's table."""
    out = np.eye(len(words))
    for i, true in enumerate(words):
        for said, share in misread.get(true, {}).items():
            if said in words:
                out[i, words.index(said)] += share
                out[i, i] -= share
    return out


def looks_confusion(light_shares: Shares, rhythm_shares: Shares) -> Floats:
    """(true look, said look): light and rhythm are misjudged each by itself; what is dark has no rhythm."""
    lights, rhythms = list(observe.LIGHTS), list(observe.RHYTHMS)
    light = confusion(lights, light_shares)
    rhythm = confusion(rhythms, rhythm_shares)
    out = np.zeros((len(LOOKS), len(LOOKS)))
    column = {look: i for i, look in enumerate(LOOKS)}
    for i, (true_light, true_rhythm) in enumerate(LOOKS):
        for j, said_light in enumerate(lights):
            p_light = light[lights.index(true_light), j]
            if said_light == "dark":
                out[i, 0] += p_light
                continue
            for k, said_rhythm in enumerate(rhythms):
                rhythm_row = rhythms.index("steady" if true_rhythm == "none" else true_rhythm)
                said = "steady" if said_rhythm == "none" else said_rhythm
                out[i, column[said_light, said]] += p_light * rhythm[rhythm_row, k]
    return out
