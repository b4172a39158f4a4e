"""What came of a job when it was replayed, as plain values that go to JSON and back.

Knows nothing of how a job is weighed or where it was read.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any, Literal

from diag.texts import t

__all__ = ["CLEAR", "SURE", "Carried", "Expected", "Outcome", "Source"]

CLEAR = 0.7
"""From this chance on the leading remedy stands clear of the others; common practice, no source."""
SURE = 0.99
"""From this chance on nothing more is asked before a remedy."""
Source = Literal["computed", "journal", "expected"]
_Chances = tuple[tuple[str, float], ...]


@dataclass(frozen=True)
class Expected:
    """What a recorded job must come to: `ends_at` remedies in order, `not_at` tempting wrong ones, `causes` what
    was really wrong (empty where the record does not say), `superseded` the later job that showed it wrong (else
    empty)."""

    ends_at: tuple[str, ...]
    not_at: tuple[str, ...] = ()
    causes: tuple[str, ...] = ()
    superseded: str = ""


@dataclass(frozen=True)
class Carried:
    """A remedy that was carried out, and what was believed just before it.

    `p` its own chance (None: nobody noted it) and `rank` among all (1 leads, 0: not among them); `leader` the
    remedy that led (empty: none) with `leader_p`; `causes` the likeliest causes and their chances.
    """

    remedy: str
    p: float | None
    rank: int
    leader: str
    leader_p: float | None
    causes: _Chances = ()

    @property
    def clear_leader(self) -> str:
        """The leader, where it stands clear of the others; else empty. What nobody noted counts as clear."""
        return self.leader if self.leader_p is None or self.leader_p >= CLEAR else ""


@dataclass(frozen=True)
class Outcome:
    """What came of one job.

    `answers` that stand, the complaint included; `carried` remedies in order; `top` the leading remedy at the end
    with its chance (None: none), `causes` the likeliest then, `healthy` the chance that nothing is wrong any more.
    `sure_after`: number of answers after which one remedy held at least `SURE` and kept it until the first remedy was
    carried out, or to the end where none was (None: it did not). `unknown`: seqs of answers that mean nothing to this
    knowledge, `gone`: remedies carried out that it does not have. `fired`: ids of rules that fired in any period of
    the job, `pointing`: those of them that point to a cause which a remedy carried out cures, `against`: those that
    clear one. `problem`: why it could not be replayed, else empty. `source`: computed now, or as the journal or the
    expectation beside it tells.
    """

    job: str
    vehicle: str
    answers: int = 0
    carried: tuple[Carried, ...] = ()
    top: tuple[str, float] | None = None
    causes: _Chances = ()
    healthy: float = 0.0
    sure_after: int | None = None
    unknown: tuple[int, ...] = ()
    gone: tuple[str, ...] = ()
    fired: tuple[str, ...] = ()
    pointing: tuple[str, ...] = ()
    against: tuple[str, ...] = ()
    problem: str = ""
    source: Source = "computed"

    @property
    def remedies(self) -> tuple[str, ...]:
        """What was carried out, in order."""
        return tuple(one.remedy for one in self.carried)

    @property
    def clear_top(self) -> str:
        """The remedy that leads at the end, where it stands clear of the others; else empty."""
        return self.top[0] if self.top is not None and self.top[1] >= CLEAR else ""

    @property
    def found(self) -> bool:
        """Whether each remedy that was carried out stood clear of the others just before it."""
        return bool(self.carried) and all(one.clear_leader == one.remedy for one in self.carried)

    def plain(self) -> dict[str, Any]:
        """For JSON: lists and objects only; what is empty is left out."""
        out: dict[str, Any] = {}
        for field in fields(self):
            value = getattr(self, field.name)
            if field.name in ("job", "vehicle") or value != field.default:
                out[field.name] = _plain(value)
        return out

    @staticmethod
    def read(found: object) -> Outcome:
        """From `plain`. Raises ValueError saying what is not as it should be."""
        given = _object(found, t("an outcome"))
        known = {field.name for field in fields(Outcome)}
        if strange := sorted(given.keys() - known):
            raise ValueError(
                t("found `{strange}`; expected some of {known}", strange=strange[0], known=", ".join(sorted(known)))
            )
        source = given.get("source", "computed")
        if source not in ("computed", "journal", "expected"):
            raise ValueError(t("source: found {source!r}; expected computed, journal or expected", source=source))
        top = _chances([given["top"]], "top")[0] if given.get("top") is not None else None
        gone, fired, pointing, against = (
            _words(given.get(name, []), name) for name in ("gone", "fired", "pointing", "against")
        )
        return Outcome(
            _text(given, "job"),
            _text(given, "vehicle"),
            _whole(given.get("answers", 0), "answers"),
            tuple(_carried(one) for one in _list(given.get("carried", []), "carried")),
            top,
            _chances(given.get("causes", []), "causes"),
            _chance(given.get("healthy", 0.0), "healthy"),
            None if given.get("sure_after") is None else _whole(given["sure_after"], "sure_after"),
            tuple(_whole(seq, "unknown") for seq in _list(given.get("unknown", []), "unknown")),
            gone,
            fired,
            pointing,
            against,
            str(given.get("problem", "")),
            source,
        )


def _plain(value: Any) -> Any:
    if isinstance(value, Carried):
        return {field.name: _plain(getattr(value, field.name)) for field in fields(value)}
    return [_plain(one) for one in value] if isinstance(value, tuple) else value


def _carried(found: object) -> Carried:
    given = _object(found, "carried")
    return Carried(
        _text(given, "remedy"),
        None if given.get("p") is None else _chance(given["p"], "p"),
        _whole(given.get("rank", 0), "rank"),
        _text(given, "leader"),
        None if given.get("leader_p") is None else _chance(given["leader_p"], "leader_p"),
        _chances(given.get("causes", []), "causes"),
    )


def _object(found: object, what: str) -> Mapping[str, Any]:
    if not isinstance(found, Mapping):
        raise ValueError(t("{what}: found {name}; expected an object", what=what, name=type(found).__name__))
    return found


def _list(found: object, what: str) -> list[Any]:
    if not isinstance(found, list):
        raise ValueError(t("{what}: found {name}; expected a list", what=what, name=type(found).__name__))
    return found


def _text(given: Mapping[str, Any], name: str) -> str:
    found = given.get(name)
    if not isinstance(found, str):
        raise ValueError(t("{name}: found {name_2}; expected text", name=name, name_2=type(found).__name__))
    return found


def _words(found: object, what: str) -> tuple[str, ...]:
    words = _list(found, what)
    if not all(isinstance(word, str) for word in words):
        raise ValueError(t("{what}: expected a list of text", what=what))
    return tuple(words)


def _whole(found: object, what: str) -> int:
    if not isinstance(found, int) or isinstance(found, bool) or found < 0:
        raise ValueError(t("{what}: found {found!r}; expected a whole number from 0", what=what, found=found))
    return found


def _chance(found: object, what: str) -> float:
    if not isinstance(found, int | float) or isinstance(found, bool) or not 0 <= found <= 1:
        raise ValueError(t("{what}: found {found!r}; expected a number from 0 to 1", what=what, found=found))
    return float(found)


def _chances(found: object, what: str) -> _Chances:
    pairs = _list(found, what)
    if not all(isinstance(pair, list) and len(pair) == 2 and isinstance(pair[0], str) for pair in pairs):
        raise ValueError(t("{what}: expected pairs of an id and a chance", what=what))
    return tuple((str(name), _chance(p, what)) for name, p in pairs)
