"""Where a fused jumper tells something: across a contact, from the battery to a feed, from an earth to body.

Found in the drawing: only where what is looked at is then between the battery and body as with its own
controls. Never across a fuse, never where it would join the battery to body. Knows nothing of causes or chances.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from weakref import WeakKeyDictionary

from diag.circuit.network import BODY, Branch, Network
from diag.circuit.parts import build_network
from diag.circuit.paths import Paths
from diag.knowledge import schema
from diag.knowledge.assemble import AnyPart, Knowledge, operate_key
from diag.knowledge.bridging import BRIDGED, EXTRA_CONTROLS, bridge_spelt
from diag.knowledge.targets import part_of_target

__all__ = ["CAUTION", "Jump", "jumps"]

CAUTION = "fused-jumper"
"""The caution that comes before every jumper; a vehicle whose files do not have it gets no such steps."""
_LEAST_W = 5.0
"""Smaller lamps are tell-tales and instrument lamps, whose terminals are too tight for a clip."""
_TARGETS = 2
"""Parts looked at with the jumper in one place."""
_CLIP_MINUTES, _LOOK_MINUTES, _WALK_MINUTES, _LONG_LEAD_MINUTES = 1.0, 0.3, 0.5, 0.5
"""Common practice, no source."""
_JOINED = (schema.SwitchPart, schema.RelayPart, schema.FlasherPart, schema.SenderPart)
_FED = (schema.LampPart, schema.TwoFilamentPart, schema.HornPart, schema.MotorPart)
_Operate = Mapping[str, str]


@dataclass(frozen=True)
class Jump:
    """One look or listen with a jumper in place. `check`: the written one that it is like; `operate` includes
    the jumper; `place` and `minutes`: where its clips go and what it takes; `helper`: somebody holds a control."""

    check: schema.Check
    operate: _Operate
    place: str
    minutes: float
    helper: bool


@dataclass(frozen=True)
class _Try:
    """A jumper between two points, with the operates that may go with it, the plainest first."""

    check: schema.Check
    ends: tuple[str, str]
    bases: tuple[_Operate, ...]
    place: str
    minutes: float


_KNOWN: WeakKeyDictionary[Knowledge, tuple[Jump, ...]] = WeakKeyDictionary()


def jumps(knowledge: Knowledge) -> tuple[Jump, ...]:
    """All of a vehicle, in a fixed order; none where its files lack the caution."""
    if CAUTION not in knowledge.cautions:
        return ()
    if knowledge not in _KNOWN:
        _KNOWN[knowledge] = tuple(_Search(knowledge).found())
    return _KNOWN[knowledge]


class _Search:
    def __init__(self, knowledge: Knowledge) -> None:
        self.knowledge = knowledge
        self.net: Network = build_network(knowledge)
        self.paths = Paths(self.net, {control: positions[0] for control, positions in knowledge.controls.items()})
        post = "B+" if knowledge.vehicle.earth == "negative" else "B-"
        batteries = [name for name, part in knowledge.parts.items() if isinstance(part, schema.BatteryPart)]
        self.posts = [f"{name}.{post}" for name in batteries]
        self._traced: dict[object, list[int]] = {}

    def found(self) -> Iterator[Jump]:
        """Of the operates that go with a jumper the plainest, and with it the quickest looks."""
        works: list[tuple[_Try, _Operate]] = []
        best: dict[str, int] = {}
        for one in self._tries():
            for base in one.bases:
                if self._fed(one.check, base, jumper=one.ends):
                    works.append((one, base))
                    best[bridge_spelt(*one.ends)] = min(best.get(bridge_spelt(*one.ends), len(base)), len(base))
                    break
        seen: dict[str, tuple[_Operate, set[str]]] = {}
        for one, base in sorted(works, key=lambda found: found[0].check.minutes):
            position = bridge_spelt(*one.ends)
            if len(base) > best[position]:
                continue  # the same jumper tells as much with fewer controls held
            first, targets = seen.setdefault(position, (base, set()))
            target = one.check.target or ""
            if base != first or target in targets or len(targets) >= _TARGETS:
                continue
            targets.add(target)
            helper = "helper" in one.check.instruments and dict(base) == dict(one.check.operate)
            yield Jump(one.check, {**base, BRIDGED: position}, one.place, one.minutes, helper)

    # ------------------------------------------------------------ where it may go

    def _tries(self) -> Iterator[_Try]:
        contacts = [i for i in self.paths.contacts() if self._joined(self.net.branches[i]) is not None]
        for check in self.knowledge.checks.values():
            if self._counts(check) and self._fed(check, check.operate):
                for i in contacts:
                    if not self._fed(check, check.operate, without=i):
                        yield self._across(check, i)
                yield from self._to_its_own(check)

    def _counts(self, check: schema.Check) -> bool:
        """Looks and listens at what is put to work, with the engine standing."""
        part = part_of_target(self.knowledge, check.target)
        odd = any(control in check.operate for control in (*EXTRA_CONTROLS, "battery", "engine"))
        return check.kind in ("look", "listen") and isinstance(part, _FED) and bool(check.operate) and not odd

    def _joined(self, branch: Branch) -> AnyPart | None:
        """The part whose contact a branch is, where a clip goes on both ends of it."""
        part = self.knowledge.parts.get(branch.id.split(":")[0])
        ends = self.net.nodes[branch.a], self.net.nodes[branch.b]
        isolator = branch.closed_when is not None and branch.closed_when[0] == "battery"
        return part if isinstance(part, _JOINED) and not isolator and self._reachable(ends) else None

    def _across(self, check: schema.Check, i: int) -> _Try:
        """Across a contact that feeds the target, or from it to body where it earths. Its control is at rest, for
        else the switch may do what the jumper should; what no control of the operate works is bridged as it is."""
        branch = self.net.branches[i]
        part, target = self._joined(branch), part_of_target(self.knowledge, check.target)
        assert part is not None and target is not None
        a, b = branch.a, branch.b
        nets = self._nets(check.operate, without=i)
        if nets[b] == nets[0] or nets[a] == nets[0]:
            a, b = (a, 0) if nets[b] == nets[0] else (b, 0)
        control = branch.closed_when[0] if branch.closed_when is not None else None
        dropped = list(check.operate) if isinstance(part, schema.RelayPart) else [control]
        bases = [{c: p for c, p in check.operate.items() if c != gone} for gone in dropped if gone in check.operate]
        bases = bases or [dict(check.operate)]
        minutes = part.reach + _CLIP_MINUTES + _LOOK_MINUTES + (_WALK_MINUTES if part.place != target.place else 0.0)
        ends = self.net.nodes[a], self.net.nodes[b]
        return _Try(check, ends, tuple(bases), part.place, minutes)

    def _to_its_own(self, check: schema.Check) -> Iterator[_Try]:
        """From the battery to the target's feed, and from its earth to body."""
        part = part_of_target(self.knowledge, check.target)
        if part is None or not self.posts or (isinstance(part, schema.LampPart) and part.test_w < _LEAST_W):
            return
        feed, earth = self._ends(check, check.operate)
        bases: tuple[_Operate, ...] = ({}, dict(check.operate))
        minutes = part.reach + _CLIP_MINUTES + _LOOK_MINUTES
        if self._reachable((self.posts[0], feed)):
            yield _Try(check, (self.posts[0], feed), bases, part.place, minutes + _LONG_LEAD_MINUTES)
        if self._reachable((earth, BODY)):
            yield _Try(check, (earth, BODY), bases, part.place, minutes)

    def _reachable(self, ends: tuple[str, str]) -> bool:
        """Whether a clip goes on both points."""
        for point in ends:
            name, _, terminal = point.partition(".")
            part = self.knowledge.parts.get(name)
            if point != BODY and (part is None or terminal not in part.terminal_names() or terminal in part.sealed):
                return False
        return True

    # ------------------------------------------------------------ what is at work

    def _nets(
        self, operate: _Operate, *, without: int | None = None, jumper: tuple[str, str] | None = None
    ) -> list[int]:
        key = (operate_key(operate), without, jumper)
        if key not in self._traced:
            joined = (self.net.node(jumper[0]), self.net.node(jumper[1])) if jumper is not None else None
            gone = () if without is None else (without,)
            self._traced[key] = self.paths.nets(operate, self.net.node(self.posts[0]), gone, joined)
        return self._traced[key]

    def _terminals(self, check: schema.Check) -> list[str]:
        """The two terminals between which a target works: its own, or those of one filament."""
        name, _, filament = (check.target or "").partition(".")
        names = self.knowledge.parts[name].terminal_names()
        return [f"{name}.{filament}", f"{name}.{names[-1]}"] if filament else [f"{name}.{t}" for t in names[:2]]

    def _ends(self, check: schema.Check, operate: _Operate) -> tuple[str, str]:
        """(feed, earth) of a target that is at work."""
        nets = self._nets(operate)
        one, other = self._terminals(check)
        return (other, one) if nets[self.net.node(one)] == nets[0] else (one, other)

    def _fed(
        self,
        check: schema.Check,
        operate: _Operate,
        *,
        without: int | None = None,
        jumper: tuple[str, str] | None = None,
    ) -> bool:
        """Whether the target lies between the battery and body, which do not touch."""
        if not self.posts:
            return False
        nets = self._nets(operate, without=without, jumper=jumper)
        hot, ground = nets[self.net.node(self.posts[0])], nets[0]
        return hot != ground and {nets[self.net.node(t)] for t in self._terminals(check)} == {hot, ground}
