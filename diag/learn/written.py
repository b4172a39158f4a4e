"""What was learned as a commented file, and that file put in place, set aside, switched off and on.

Knows the file's shape; nothing of jobs or of beliefs.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterator, Mapping
from pathlib import Path

from diag.errors import DiagError
from diag.knowledge.learned import Learned, Level, Met, learned_file, read_learned, weight
from diag.knowledge.writer import put_new, replaced
from diag.texts import t

__all__ = ["NothingLearnedError", "forget", "keep", "learned_here", "percent", "switch", "text_of", "times_words"]

_MODE = 0o600
"""Names of jobs are nobody else's business."""
_HEAD = """\
# What the closed jobs of this machine taught. Written by `diag rules learn`: counts, and what follows from them.
# A published frequency is multiplied by the xN beside it; several levels that speak of one cause multiply.
# Do not edit it: count anew with `diag rules learn`, put it out of use with `--off`, take it away with `--forget`.
"""


def text_of(learned: Learned) -> str:
    """The file, ending in a newline; read back it gives the same."""
    return "\n".join([_HEAD.rstrip(), *_lines(learned)]) + "\n"


def _lines(learned: Learned) -> Iterator[str]:
    how = learned.strength
    jobs = len(learned.counted)
    yield f"used: {'true' if learned.used else 'false'}"
    yield f"date: {learned.date}"
    yield f"faults: {_number(learned.faults)}    # confirmed, in {jobs} {'job' if jobs == 1 else 'jobs'}"
    yield "strength:                 # so many faults count the published shares; no share fewer than `least`"
    for name, level in (("kind", how.kind), ("circuit", how.circuit), ("vehicle", how.vehicle)):
        yield f"  {name}: {{strength: {_number(level.strength)}, least: {_number(level.least)}}}"
    yield f"  misread: {{strength: {_number(how.misread.strength)}, most: {_number(how.misread.most)}}}"
    yield from _section("kinds", "kind of part: way to fail", learned.kinds, learned.faults, how.kind)
    yield from _section("circuits", "circuit: part or wire", learned.circuits, learned.faults, how.circuit)
    if learned.vehicles:
        yield "vehicles:"
    for name, vehicle in learned.vehicles.items():
        yield f"  {name}:"
        yield f"    faults: {_number(vehicle.faults)}"
        if vehicle.causes:
            yield "    causes:"
        for cause, met in vehicle.causes.items():
            yield f"      {cause}: {_met(met, vehicle.faults, how.vehicle)}"
    if learned.misread:
        yield "misread:                  # true word: each word that was told for it, and how often"
    for axis, table in learned.misread.items():
        yield f"  {axis}:"
        for true, told in table.items():
            yield f"    {true}: {{{', '.join(f'{word}: {_number(n)}' for word, n in told.items())}}}"
    if learned.counted:
        yield "counted:                  # name and hash of each job"
    for job in learned.counted:
        yield f'  - {{job: {json.dumps(job.job, ensure_ascii=False)}, hash: "{job.hash}"}}'


def _section(name: str, what: str, found: Mapping[str, Mapping[str, Met]], total: float, level: Level) -> Iterator[str]:
    if found:
        yield f"{name}:{' ' * max(1, 25 - len(name))}# {what}"
    for outer, inner in found.items():
        yield f"  {outer}:"
        for key, met in inner.items():
            yield f"    {key}: {_met(met, total, level)}"


def _met(met: Met, total: float, level: Level) -> str:
    times = weight(met.n, met.share, total, level.strength, level.least)
    told = f"{_number(round(met.n, 1))} of {_number(total)}, published {percent(met.share)}: {times_words(times)}"
    return f"{{n: {_number(met.n)}, share: {met.share!r}}}    # {told}"


def _number(found: float) -> str:
    return f"{found:.10g}"


def percent(share: float) -> str:
    """A share in percent, two digits that count."""
    if share < 0.0001:
        return "<0.01 %"
    return f"{100 * share:.2g} %" if share < 0.0995 else f"{100 * share:.0f} %"


def times_words(times: float) -> str:
    """A factor in short."""
    return f"x{times:.3g}"


# ---------------------------------------------------------------- in its place


def keep(learned: Learned) -> Path:
    """Write it in place of what was learned before. Raises OSError where that cannot be done."""
    path = learned_file()
    path.parent.mkdir(parents=True, exist_ok=True)
    replaced(path, text_of(learned).encode("utf-8"), _MODE)
    return path


def switch(used: bool) -> Learned:
    """Use what was learned from now on, or no longer; it stays where it is. Raises DiagError where nothing was
    learned, KnowledgeError where the file is damaged, OSError where it cannot be written."""
    learned = learned_here()
    if learned.used != used:
        keep(learned.model_copy(update={"used": used}))
    return learned


def forget() -> Path:
    """Take it away; gives the copy that is kept beside it. A damaged file can be forgotten too. Raises DiagError
    where nothing was learned, OSError where it cannot be moved."""
    path = learned_file()
    if not path.exists():
        raise NothingLearnedError
    content, number = path.read_bytes(), 1
    while True:
        aside = path.with_name(f"forgotten-{number}.yaml.old")
        try:
            put_new(aside, content, _MODE)
            break
        except FileExistsError:
            number += 1
    os.unlink(path)
    return aside


class NothingLearnedError(DiagError):
    """There is no file of what was learned."""

    exit_code = 1

    def __init__(self) -> None:
        super().__init__(t("Nothing was learned yet. `diag rules learn` shows what the closed jobs would teach."))


def learned_here() -> Learned:
    """What was learned on this machine. Raises NothingLearnedError where nothing was, KnowledgeError where the file
    is damaged."""
    learned = read_learned()
    if learned is None:
        raise NothingLearnedError
    return learned
