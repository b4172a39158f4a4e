"""Which reading of the circuit answers a step that wants an instrument: volts, amps, ohms, test lamp, buzzer.

The quick way for the tables that choose among thousands of steps, the instrument solved in the network
for what someone has answered. Knows nothing of misjudging, causes' chances or wording.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from diag.circuit.instruments import Instrument, LedTester, Ohmmeter, ProbeLamp
from diag.circuit.network import Floats
from diag.circuit.observe import TEST_LAMP_W, tester_looks
from diag.circuit.predict import Predictor
from diag.circuit.probing import Probing, Sets
from diag.circuit.readings import (
    OPEN_LINE_OHM,
    Indication,
    Readings,
    amps_readings,
    beeps,
    highest,
    ohms_readings,
    quick_lamp,
    quick_ohms,
    quick_volts,
    volts_readings,
)
from diag.knowledge.bridging import UNPLUGGED
from diag.reason.steps import BODY, BUZZER, LED_TESTER, SERIES_LAMP, TEST_LAMP, Step

_DARK_V = 0.05
"""Volts on a lamp that nobody sees."""
SERIES_LAMP_W = 21.0
"""Watts of the lamp put in series with a whole vehicle (a turn lamp of 21 W; common practice, no source)."""

__all__ = ["SERIES_LAMP_W", "Metered", "wants_instrument"]


def wants_instrument(step: Step) -> bool:
    """Whether a step is answered off an instrument that the network can be solved with."""
    return step.kind == "measure" or step.target in (TEST_LAMP, LED_TESTER, SERIES_LAMP, BUZZER)


class Metered:
    """Readings of one vehicle by step. Rows: healthy, then one a cause; or one a set where `sets` are given."""

    def __init__(self, predictor: Predictor) -> None:
        self.predictor = predictor
        self.system_v = predictor.knowledge.vehicle.system_v
        self.probing = Probing(predictor)

    # ------------------------------------------------------------ numbers

    def readings(
        self,
        step: Step,
        spread: Floats,
        sets: Sets | None = None,
        rows: np.ndarray | None = None,
        *,
        quick: bool = False,
    ) -> Readings:
        """What a meter shows at a measurement. `spread` (rows,): see `volts_readings`. `rows`: of the causes' rows
        only these."""
        red, black = step.red or BODY, step.black or BODY
        some = slice(None) if rows is None else rows
        if step.unit == "A":
            return amps_readings(self.probing.amps(step.operate, step.through or "", sets)[some], spread)
        if step.unit == "V":
            if quick or BODY in (red, black):
                shown = self.probing.shown(step.operate, sets, rows)
                return quick_volts(shown, self.predictor.network, red, black, spread)
            seen, unsure = self.probing.volts(step.operate, red, black, sets)
            return volts_readings(highest(seen.number, seen.off, seen.flasher)[some], spread, unsure[some])
        # with the little that a meter sends through it all is straight but junctions
        if BODY in (red, black) and not self.predictor.network.diodes and step.operate.get("engine") != "running":
            point = red if black == BODY else black
            return quick_ohms(self.probing.shown(step.operate, sets, rows), self.predictor.network, point, spread)
        return ohms_readings(self.probing.read(step.operate, Ohmmeter(), red, black, sets).number[some], spread)

    def number(self, step: Step, row: int = 1, sets: Sets | None = None) -> float:
        """What a meter shows in one row, in the step's unit: inf above its range, nan where it means nothing."""
        rows = 1 + (len(sets) if sets is not None else len(self.predictor.causes))
        found = self.readings(step, np.zeros(rows), sets)
        if found.senseless is not None and found.senseless[row]:
            return float("nan")
        mean = float(found.mean[row])
        if not found.logarithmic:
            return mean
        return float("inf") if 10**mean >= 0.99 * OPEN_LINE_OHM else 10**mean

    # ------------------------------------------------------------ words

    def words(
        self,
        step: Step,
        spread: Floats,
        limits: Mapping[str, float],
        sets: Sets | None = None,
        rows: np.ndarray | None = None,
        *,
        quick: bool = False,
    ) -> Floats:
        """(rows, outcomes) of a test lamp, LED tester or buzzer before any misjudging."""
        red, black = step.red or BODY, step.black or BODY
        if step.target == BUZZER:
            some = slice(None) if rows is None else rows
            chance = beeps(self.probing.read(step.operate, Ohmmeter(), red, black, sets).number[some])
            return np.stack([1 - chance, chance], axis=1)
        instrument = self._tester(step)
        led_from_v = instrument.on_v if isinstance(instrument, LedTester) else None
        return tester_looks(
            self._seen(step, instrument, red, black, sets, rows, quick), spread, limits, self.system_v, led_from_v
        )

    def _tester(self, step: Step) -> Instrument:
        if step.target == LED_TESTER:
            return LedTester()
        return ProbeLamp(self.system_v, SERIES_LAMP_W if step.target == SERIES_LAMP else TEST_LAMP_W)

    def _seen(
        self,
        step: Step,
        instrument: Instrument,
        red: str,
        black: str,
        sets: Sets | None,
        rows: np.ndarray | None,
        quick: bool,
    ) -> Indication:
        if quick and isinstance(instrument, ProbeLamp) and step.target != SERIES_LAMP:
            shown = self.probing.shown(step.operate, sets, rows)
            return quick_lamp(shown, self.predictor.network, red, black, instrument.watts, instrument.rated_v)
        found = self.probing.read(step.operate, instrument, red, black, sets, self._draws(step, instrument))
        return found if rows is None else found.rows(rows.tolist())

    def _draws(self, step: Step, instrument: Instrument) -> np.ndarray | None:
        """(rows,) which causes light a lamp in series at all: with something taken off, no others do."""
        if step.target != SERIES_LAMP or UNPLUGGED not in step.operate:
            return None
        before = {control: position for control, position in step.operate.items() if control != UNPLUGGED}
        number = self.probing.read(before, instrument, step.red or BODY, step.black or BODY).number
        out: np.ndarray = np.abs(number - number[0]) > _DARK_V
        return out
