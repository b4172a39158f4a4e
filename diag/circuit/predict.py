"""The table of what every cause shows under every operate, computed once and kept by content.

Rows: 0 is the healthy vehicle, then one row a cause. Sets of causes are solved when first asked
for. Knows nothing of questions, words of findings or beliefs.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from diag import calc
from diag.circuit.behaviour import Bench, Flasher, Shown
from diag.circuit.faint import Faint, State
from diag.circuit.faults import Cause, Only, derive_causes, holds
from diag.circuit.kept import Key, Sheet, digest_of, read_sheets, rounded, write_sheets
from diag.circuit.network import Change, Floats, Network
from diag.circuit.parts import build_network
from diag.circuit.reach import Reach
from diag.knowledge import schema
from diag.knowledge.assemble import Knowledge, operate_key
from diag.knowledge.bridging import BRIDGED

__all__ = ["HEALTHY", "Predictor", "bench_of"]

HEALTHY = 0
_FORMAT = "4"
_BATCH = 4096
_SETS_KEPT = 12000
"""States of several causes held, the newest ones; a few kilobytes each."""
_TABLES_OPEN = 8
"""Operates whose rows are held unfolded; the others fold up to their different rows."""


def bench_of(knowledge: Knowledge, network: Network) -> Bench:
    """A vehicle's network with the behaviour of its parts, ready to be operated."""
    parts = knowledge.parts
    return Bench(
        network,
        {control: positions[0] for control, positions in knowledge.controls.items()},
        {i: p.rating_a for i, p in parts.items() if isinstance(p, schema.FusePart)},
        {i: w.section_mm2 for i, w in knowledge.wires.items()},
        {
            i: Flasher(p.rated_w / knowledge.vehicle.system_v, p.rate, p.technique == "thermal")
            for i, p in parts.items()
            if isinstance(p, schema.FlasherPart)
        },
        {i: p.emf_v for i, p in parts.items() if isinstance(p, schema.DynamoPart)},
        {i: p.link for i, p in parts.items() if isinstance(p, schema.FusePart)},
        knowledge.vehicle.system_v,
    )


class Predictor:
    """Predictions for one vehicle.

    `operates` are those that its checks use; `cache` is a folder for computed tables (None: none are
    kept); `progress` is called with the share done, 0 to 1. `points`: for an operate, the terminals that its
    checks look at: what shows at none of them counts as sound there until `look_at` asks for more. An operate
    that is not named is worked out at every terminal.
    """

    def __init__(
        self,
        knowledge: Knowledge,
        operates: Iterable[Mapping[str, str]],
        cache: Path | None = None,
        progress: Callable[[float], None] | None = None,
        points: Mapping[Key, frozenset[str]] | None = None,
    ) -> None:
        self.knowledge = knowledge
        self.network = build_network(knowledge)
        self.causes: tuple[Cause, ...] = derive_causes(knowledge, self.network)
        self.rest = {control: positions[0] for control, positions in knowledge.controls.items()}
        self.bench = bench_of(knowledge, self.network)
        self._unique: list[Change] = [Change()]
        self._only: dict[int, Only] = {}
        """Of those that are not there under every operate, where they are."""
        self._row: list[int] = [HEALTHY]
        seen: dict[tuple[int, Only], int] = {}
        for cause in self.causes:
            if cause.change is None:
                self._row.append(HEALTHY)
            else:
                if (id(cause.change), cause.only) not in seen:
                    seen[id(cause.change), cause.only] = len(self._unique)
                    if cause.only:
                        self._only[len(self._unique)] = cause.only
                    self._unique.append(cause.change)
                self._row.append(seen[id(cause.change), cause.only])
        self._seldom = [1 + i for i, cause in enumerate(self.causes) if cause.only]
        self._lasting = list(self._unique)
        self._left: dict[int, Change] = dict.fromkeys(self._only, self._unique[HEALTHY])
        """What one that is not there under an operate leaves of itself: a fuse that it blew under another."""
        self._points = {
            key: frozenset(self.network.node(name) for name in names if self.network.has(name)) - {0}
            for key, names in (points or {}).items()
        }
        self._sheets: dict[Key, Sheet] = {}
        self._tables: dict[Key, Shown] = {}
        self._held: set[Key] = set()
        self._sound: dict[Key, Shown] = {}
        self._rows_at: tuple[tuple[Key, bytes], Shown] | None = None
        self._sets: dict[tuple[Key, frozenset[int]], Shown] = {}
        self._prepare({operate_key(operate): dict(operate) for operate in operates}, cache, progress)
        self._names = [digest_of(change) for change in self._lasting]
        self._left_names = {row: digest_of(change) for row, change in self._left.items()}
        self._named: dict[Key, list[str]] = {}

    # ------------------------------------------------------------ the table

    def shown(self, operate: Mapping[str, str]) -> Shown:
        """What the healthy vehicle (row 0) and every cause (row 1 + its index) show."""
        key = operate_key(operate)
        if key not in self._tables:
            self._hold(operate)
            sheet = self._sheets[key]
            names = self._names_at(operate)
            self._tables[key] = sheet.rows([sheet.place[names[row]] for row in self._row])
            while len(self._tables) > _TABLES_OPEN:
                del self._tables[next(iter(self._tables))]
        return self._tables[key]

    def stirred(self, operate: Mapping[str, str]) -> np.ndarray:
        """(1 + causes,) True where a row differs from that of the healthy vehicle at all."""
        self._hold(operate)
        sheet, names = self._sheets[operate_key(operate)], self._names_at(operate)
        return np.array([sheet.place[names[row]] != HEALTHY for row in self._row])

    def shown_rows(self, operate: Mapping[str, str], rows: np.ndarray) -> Shown:
        """Those rows of `shown`, without unfolding all; the same ones are quick to get again."""
        self._hold(operate)
        key = operate_key(operate)
        asked = (key, rows.tobytes())
        if self._rows_at is None or self._rows_at[0] != asked:
            sheet, names = self._sheets[key], self._names_at(operate)
            found = sheet.rows([sheet.place[names[self._row[row]]] for row in rows.tolist()])
            self._rows_at = asked, found
        return self._rows_at[1]

    def _hold(self, operate: Mapping[str, str]) -> None:
        """Make the sheet of an operate hold every cause."""
        key = operate_key(operate)
        if key not in self._held:
            names = dict(zip(self._names, self._lasting, strict=True))
            names |= {self._left_names[row]: change for row, change in self._left.items()}
            self._solve({key: dict(operate)}, names, lambda share: None)
            self._held.add(key)

    def there(self, operate: Mapping[str, str]) -> np.ndarray:
        """(1 + causes,) False where a cause is not there with the controls so."""
        out = np.ones(1 + len(self.causes), dtype=bool)
        positions = {**self.rest, **operate}
        for row in self._seldom:
            out[row] = self.causes[row - 1].there(positions)
        return out

    def _away(self, row: int, operate: Mapping[str, str]) -> bool:
        """Whether a change (by row of `_unique`) is not there under an operate."""
        return row in self._only and not holds(self._only[row], {**self.rest, **operate})

    def _names_at(self, operate: Mapping[str, str]) -> list[str]:
        """Digests of what is changed under an operate, one a row of `_unique`."""
        if not self._only:
            return self._names
        key = operate_key(operate)
        if key not in self._named:
            names = list(self._names)
            for row in self._only:
                if self._away(row, operate):
                    names[row] = self._left_names[row]
            self._named[key] = names
        return self._named[key]

    def look_at(self, operate: Mapping[str, str], terminals: Iterable[str]) -> None:
        """Make the rows of an operate hold for these terminals as well."""
        key = operate_key(operate)
        wanted = frozenset(self.network.node(name) for name in terminals if self.network.has(name)) - {0}
        if key in self._points and not wanted <= self._points[key]:
            self._points[key] |= wanted
            self._tables.pop(key, None)
            self._rows_at = None
            self._held.discard(key)

    def healthy(self, operate: Mapping[str, str]) -> Shown:
        """What the healthy vehicle shows, one row, without the rows of the causes."""
        key = operate_key(operate)
        if key in self._sheets:
            return self._sheets[key].rows([HEALTHY])
        if key not in self._sound:
            self._sound[key] = Sheet(rounded(self.bench.operate(operate, [Change()])[0])).rows([HEALTHY])
        return self._sound[key]

    def lasting(self, row: int, operate: Mapping[str, str] | None = None) -> Change:
        """What is changed on the vehicle with the fault of that row (0: healthy), blown fuses included. `operate`:
        where the controls stand so; None: where they stand as the fault needs it."""
        unique = self._row[row]
        away = operate is not None and self._away(unique, operate)
        return self._left[unique] if away else self._lasting[unique]

    def shown_sets(self, operate: Mapping[str, str], sets: Sequence[frozenset[int]]) -> Shown:
        """What sets of causes (indices into `causes`) present together show, one row a set."""
        self.solve_sets([(operate, members) for members in sets])
        key = operate_key(operate)
        return Shown.stacked([self._sets[key, s] for s in sets])

    def solve_sets(self, wanted: Iterable[tuple[Mapping[str, str], frozenset[int]]]) -> None:
        """Solve sets under operates side by side, where they are not known yet: far quicker than one by one."""
        asked: dict[tuple[Key, frozenset[int]], Mapping[str, str]] = {}
        same: dict[Key, Mapping[str, str]] = {}
        for operate, members in wanted:
            key = operate_key(operate)
            asked[key, members] = same.setdefault(key, operate)
        missing = {pair: operate for pair, operate in asked.items() if pair not in self._sets}
        idle = [pair for pair in self._sets if pair not in asked]
        for pair in idle[: max(0, len(self._sets) + len(missing) - _SETS_KEPT)]:
            del self._sets[pair]
        waiting = list(missing.items())
        for start in range(0, len(waiting), _BATCH):
            batch = waiting[start : start + _BATCH]
            changes = [self.change_of(members, operate) for (_, members), operate in batch]
            found, _ = self.bench.operate([operate for _, operate in batch], changes)
            for i, (pair, _) in enumerate(batch):
                self._sets[pair] = found.rows([i])

    def forget_sets(self) -> None:
        """Solve sets anew when they are next asked for. What is solved beside a set moves its last digits: who wants
        the same to the last digit whatever was asked before begins here."""
        self._sets.clear()

    def change_of(self, members: Iterable[int], operate: Mapping[str, str] | None = None) -> Change:
        """Causes (indices into `causes`) present together as one change, blown fuses included. `operate`: as in
        `lasting`; one that is not there then drops out."""
        change = Change()
        for index in sorted(members):
            change = change.merged(self.lasting(1 + index, operate))
        return change

    def touches(self, operate: Mapping[str, str]) -> np.ndarray:
        """(1 + causes,) True where a cause changes anything at all under this operate."""
        shown = self.shown(operate)
        same = np.ones(len(shown.volts), dtype=bool)
        for name in ("volts", "lamp_on_v", "lamp_off_v", "scale", "led", "flasher", "buzzing", "relay", "motor"):
            found = getattr(shown, name)
            same &= np.isclose(found, found[HEALTHY], atol=1e-6).reshape(len(found), -1).all(axis=1)
        return ~same

    def _prepare(
        self, operates: Mapping[Key, Mapping[str, str]], cache: Path | None, progress: Callable[[float], None] | None
    ) -> None:
        path = cache / f"{self._content()}.npz" if cache is not None else None
        if path is not None:
            self._sheets = read_sheets(path)
        tell = progress or (lambda share: None)
        names = [digest_of(change) for change in self._unique]
        computed = self._solve(operates, dict(zip(names, self._unique, strict=True)), lambda share: tell(0.8 * share))
        # a fuse that blew under one operate stays blown under all: the person has tried every control, but
        # has not yet held a jumper everywhere
        tried = [key for key in operates if BRIDGED not in dict(key)]
        lasting: dict[str, Change] = {}
        for row, name in enumerate(names):
            there = [key for key in tried if not self._away(row, operates[key])]
            gone = frozenset().union(*(self._sheets[key].blown.get(name, frozenset()) for key in there))
            if gone:
                blown = Change(added_ohm=dict.fromkeys(sorted(gone), np.inf))
                change = self._unique[row].merged(blown)
                self._lasting[row] = change
                lasting[digest_of(change)] = change
                if row in self._only:  # what blew where it is there is blown where it is not
                    self._left[row] = blown
                    lasting[digest_of(blown)] = blown
        computed |= self._solve(operates, lasting, lambda share: tell(0.8 + 0.2 * share))
        if path is not None and computed:
            used = [*names, *lasting]
            write_sheets(path, {key: s.only(used) if key in operates else s for key, s in self._sheets.items()})

    def _solve(
        self, operates: Mapping[Key, Mapping[str, str]], changes: Mapping[str, Change], tell: Callable[[float], None]
    ) -> bool:
        """Makes every sheet of `operates` hold every change; False where there was nothing to compute."""
        for key in operates.keys() & self._sheets.keys():
            self._sheets[key].look_at(self._points.get(key))
        lacking = {
            key: operate
            for key, operate in operates.items()
            if key not in self._sheets or not changes.keys() <= self._sheets[key].place.keys()
        }
        if not lacking:
            return False
        settled, healthy = self.bench.seen(list(lacking.values()), [Change()] * len(lacking))
        passed = self.bench.passed(list(lacking.values()))
        names, reach = list(changes), Reach(self.network, list(changes.values()))
        faint = Faint(self.network, list(changes.values()))
        parks = {key: self._parks(self._points.get(key)) for key in lacking}
        waiting: list[tuple[Key, str]] = []
        for i, (key, operate) in enumerate(lacking.items()):
            points = self._points.get(key)
            fresh = Sheet(rounded(healthy.rows([i])), {digest_of(Change()): 0}, points=points)
            sheet = self._sheets.setdefault(key, fresh)
            touched = self._touched(reach, operate, healthy, [(each.volts[i], each.branch_a[i]) for each in passed], i)
            seen = touched
            if points is not None:
                here = self._touched(reach, operate, healthy, [], i)
                unknown = np.array([name not in sheet.place for name in names])
                states = [State(settled.closed, settled.closed_solution, i)]
                if (healthy.volts[i] != healthy.off_volts[i]).any():
                    states.append(State(settled.open, settled.open_solution, i))
                way = [each.branch_a[i] for each in passed]
                seen = faint.seen(states, way, sorted(points), here & unknown, unplugged="unplugged" in operate) | (
                    touched & ~here
                )
            for name, different, shows in zip(names, touched.tolist(), seen.tolist(), strict=True):
                if name in sheet.place:
                    continue
                if shows:
                    waiting.append((key, name))
                    continue
                sheet.place[name] = 0
                if different:
                    sheet.faint.add(name)
        for start in range(0, len(waiting), _BATCH):
            batch = waiting[start : start + _BATCH]
            watched = np.array([parks[key] for key, _ in batch], dtype=bool)
            shown, blown = self.bench.operate(
                [operates[key] for key, _ in batch], [changes[name] for _, name in batch], watched
            )
            for key in dict.fromkeys(key for key, _ in batch):
                rows = [i for i, (other, _) in enumerate(batch) if other == key]
                self._sheets[key].add([batch[i][1] for i in rows], shown.rows(rows), [blown[i] for i in rows])
            tell(min(1.0, (start + len(batch)) / len(waiting)))
        return True

    def _parks(self, points: frozenset[int] | None) -> bool:
        """Whether one of these nodes is that of a motor that parks itself."""
        ends = {
            node
            for motor in self.network.motors
            for i in motor.park or ()
            for node in (self.network.branches[i].a, self.network.branches[i].b)
        } - {0}
        return points is None or not ends.isdisjoint(points)

    def _touched(
        self,
        reach: Reach,
        operate: Mapping[str, str],
        healthy: Shown,
        passed: Sequence[tuple[Floats, Floats]],
        row: int,
    ) -> np.ndarray:
        """Which changes need solving under one operate. With the battery off all do: ohms change without volts."""
        volts, amps = healthy.volts[row], healthy.branch_a[row]
        flashes = bool((volts != healthy.off_volts[row]).any())
        states = [(volts, amps), (healthy.off_volts[row], amps), *passed]
        lamp_v = [healthy.lamp_on_v[row], healthy.lamp_off_v[row]]
        touched = reach.touched(states, lamp_v, flashes=flashes, unplugged="unplugged" in operate)
        return touched | (operate.get("battery") == "disconnected")

    # ------------------------------------------------------------ keeping it

    def _content(self) -> str:
        """What all rows hang on; the words and rules of the knowledge do not matter to them."""
        digest = hashlib.sha256()
        # positions are a set, which the next process lists in another order
        positions = [(b.closed_when[0], sorted(b.closed_when[1])) for b in self.network.branches if b.closed_when]
        plain = replace(self.network, branches=tuple(replace(b, closed_when=None) for b in self.network.branches))
        switched = [b.id for b in self.network.branches if b.closed_when]
        for text in (_FORMAT, _code_digest(), repr((plain, switched, positions)), self.bench.content()):
            digest.update(text.encode())
        return digest.hexdigest()[:24]


def _code_digest() -> str:
    """Changes when any module of this room or of the formulas it uses does, so that an old table is never
    believed."""
    digest = hashlib.sha256()
    for room in (Path(__file__).parent, Path(calc.__file__).parent):
        for path in sorted(room.rglob("*.py")):
            digest.update(path.read_bytes())
    return digest.hexdigest()
