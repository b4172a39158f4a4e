"""Times, chances and predictions as they are told. Knows nothing of journals or of a report's layout."""

from __future__ import annotations

from datetime import UTC, datetime, tzinfo

from diag.log.report import Chance, Moment
from diag.reason.reasoner import Reasoner
from diag.reason.steps import Step
from diag.talk.wording import answer_words, reading_words
from diag.texts import t

__all__ = ["chance_of", "moment_of", "predicted_words"]

_WORDS = (
    (0.99, t("practically certain")),
    (0.90, t("very likely")),
    (0.66, "likely"),
    (0.40, t("about even")),
    (0.10, "possible"),
    (0.01, "unlikely"),
)
"""Least chance for each word; common practice, no source."""


def chance_of(p: float) -> Chance:
    """A chance (0 to 1) with its words."""
    p = round(min(max(float(p), 0.0), 1.0), 4)
    words = next((word for least, word in _WORDS if p >= least), t("very unlikely"))
    if p < 0.001:
        percent = t("under 0.1 %")
    elif p > 0.999:
        percent = t("over 99.9 %")
    else:
        percent = f"{100 * p:.1f} %" if p < 0.1 or p > 0.9 else f"{100 * p:.0f} %"
    return Chance(p, words, percent)


def moment_of(at: str, zone: tzinfo | None) -> Moment:
    """A record's time, also in `zone` (None: the zone of this machine, as it was at that time)."""
    time = datetime.fromisoformat(at)
    local = time.astimezone(zone)
    utc = time.astimezone(UTC).isoformat(timespec="seconds").removesuffix("+00:00") + "Z"
    return Moment(utc, local.isoformat(timespec="seconds"), local.tzname() or t("local time"))


def predicted_words(reasoner: Reasoner, step: Step, cause: int) -> str:
    """What the network predicts for a step with this cause (its index) present; empty where not computed.

    At the battery volts of the model, not at those measured in the job.
    """
    metered = reasoner.chances.metered
    if metered is None or not reasoner.chances.computed(step):
        return ""
    if step.kind != "measure":
        return answer_words(step, step.outcomes[int(reasoner.chances.answers(step)[1 + cause].argmax())])
    number = metered.number(step, 1 + cause)
    return reading_words(0.0 if abs(number) < 0.005 else number, step.unit or "")
