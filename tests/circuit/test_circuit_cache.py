"""Computed tables kept on disk: whatever happens to the file, the answers are the same."""

from __future__ import annotations

import os
import random
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import fields, replace
from pathlib import Path

import numpy as np
import pytest

from diag.circuit.behaviour import Bench, Operates, Shown
from diag.circuit.kept import read_sheets
from diag.circuit.network import Change
from diag.circuit.predict import Predictor
from tests.circuit.demo import KEY, LEFT, STOP, Demo, Operate

_KEPT: tuple[Operate, ...] = (KEY, STOP)


def _same(one: Shown, other: Shown) -> None:
    for f in fields(Shown):
        np.testing.assert_array_equal(getattr(one, f.name), getattr(other, f.name), err_msg=f.name)


def _only_file(folder: Path) -> Path:
    (path,) = folder.iterdir()
    return path


@pytest.fixture(scope="module")
def fresh(demo: Demo) -> Predictor:
    return Predictor(demo.knowledge, _KEPT)


def test_kept_and_fresh_tables_are_equal(demo: Demo, fresh: Predictor, tmp_path: Path) -> None:
    """The second start reads what the first wrote, to the last bit, blown fuses included."""
    written = Predictor(demo.knowledge, _KEPT, tmp_path)
    path = _only_file(tmp_path)
    file_number = path.stat().st_ino
    read = Predictor(demo.knowledge, _KEPT, tmp_path)
    assert path.stat().st_ino == file_number, "the second start computed again"
    short = next(i for i, cause in enumerate(fresh.causes) if cause.id == "stop-wire.to-body")
    assert fresh.lasting(1 + short).added_ohm, "a short that blows a fuse is among the kept ones"
    for predictor in (written, read):
        for operate in (*_KEPT, LEFT):  # the last is in no table: it is computed from the blown fuses kept
            _same(predictor.shown(operate), fresh.shown(operate))
        pair = [frozenset({short, 0})]
        _same(predictor.shown_sets(STOP, pair), fresh.shown_sets(STOP, pair))


def test_another_start_looks_for_the_same_file() -> None:
    """Sets are in another order in every process; a name that hangs on it would never be found again."""
    code = (
        "from diag.circuit.predict import Predictor; from diag.knowledge.load import load_knowledge; "
        "from tests.vehicles import SIX; "
        "print(Predictor(load_knowledge(SIX), ())._content())"
    )
    starts = [
        subprocess.Popen(
            [sys.executable, "-c", code],
            env={**os.environ, "PYTHONHASHSEED": seed, "PYTHONPATH": str(Path(__file__).parents[2])},
            stdout=subprocess.PIPE,
            text=True,
        )
        for seed in ("1", "2", "3")
    ]
    names = {start.communicate()[0].strip() for start in starts}
    assert len(names) == 1 and names != {""}


@pytest.mark.parametrize("left", [0, 1, 100, 0.5, 0.999], ids=lambda left: f"first-{left}")
def test_a_cut_off_file_is_computed_afresh(demo: Demo, fresh: Predictor, tmp_path: Path, left: float) -> None:
    """Power may fail while the file is written."""
    Predictor(demo.knowledge, _KEPT, tmp_path)
    path = _only_file(tmp_path)
    whole = path.read_bytes()
    path.write_bytes(whole[: left if isinstance(left, int) else int(left * len(whole))])
    _same(Predictor(demo.knowledge, _KEPT, tmp_path).shown(STOP), fresh.shown(STOP))
    assert path.stat().st_size == len(whole), "the damaged file is replaced"


@pytest.mark.parametrize("content", [b"", b"not a table", b"PK\x03\x04" + bytes(200), b"\x93NUMPY\x01\x00"])
def test_a_file_of_something_else_is_computed_afresh(
    demo: Demo, fresh: Predictor, tmp_path: Path, content: bytes
) -> None:
    """A disk that returns rubbish must not stop the program."""
    Predictor(demo.knowledge, _KEPT, tmp_path)
    _only_file(tmp_path).write_bytes(content)
    _same(Predictor(demo.knowledge, _KEPT, tmp_path).shown(STOP), fresh.shown(STOP))


def test_no_flipped_bit_in_the_file_stops_the_program_or_is_believed(
    demo: Demo, fresh: Predictor, tmp_path: Path
) -> None:
    """Bits rot in headers too, where the reader has other ways to fail than a wrong checksum."""
    keys = [tuple(sorted(operate.items())) for operate in _KEPT]
    Predictor(demo.knowledge, _KEPT, tmp_path)
    path = _only_file(tmp_path)
    whole = path.read_bytes()
    chance = random.Random(7)
    central = whole.rindex(b"PK\x01\x02")
    body = chance.sample(range(200, central), 4)
    places = [*range(4, 120, 3), *range(central + 4, central + 16), *body]
    failed = []
    for place in places:
        bad = bytearray(whole)
        bad[place] ^= 1 << chance.randrange(8)
        path.write_bytes(bytes(bad))
        try:
            believed = read_sheets(path)
        except Exception as error:  # whatever it is, a user would see it
            failed.append(f"byte {place}: {type(error).__name__}: {error}")
            continue
        if believed:
            assert list(believed) == keys
            for key in keys:
                _same(believed[key].shown, fresh._sheets[key].shown)
    assert not failed, "\n".join(failed)


def test_a_folder_that_cannot_be_written_costs_only_time(demo: Demo, fresh: Predictor, tmp_path: Path) -> None:
    """A read-only home or a full disk must not stop the program."""
    blocked = tmp_path / "file-not-folder"
    blocked.write_text("in the way")
    _same(Predictor(demo.knowledge, _KEPT, blocked).shown(STOP), fresh.shown(STOP))


def _computing(patch: pytest.MonkeyPatch) -> list[int]:
    """Counts the rows of every solution that a predictor asks for."""
    rows: list[int] = []
    original = Bench.operate

    def counted(
        self: Bench, operate: Operates, changes: Sequence[Change], watched: np.ndarray | None = None
    ) -> tuple[Shown, list[frozenset[int]]]:
        rows.append(len(changes))
        return original(self, operate, changes, watched)

    patch.setattr(Bench, "operate", counted)
    return rows


def test_another_operate_is_added_and_the_old_one_not_computed_again(
    demo: Demo, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A new check costs its own operate, not the whole table; the file goes on holding both."""
    Predictor(demo.knowledge, [KEY], tmp_path)
    rows = _computing(monkeypatch)
    both = Predictor(demo.knowledge, [KEY, STOP], tmp_path)
    alone = sum(rows)
    rows.clear()
    _same(both.shown(STOP), Predictor(demo.knowledge, [STOP]).shown(STOP))
    # beside its own rows only the faults that blow a fuse under the new operate alone
    assert alone <= sum(rows) + 10, "the old operate was computed again"
    rows.clear()
    Predictor(demo.knowledge, [STOP], tmp_path)
    assert not rows, "what is kept was computed again"
    assert len(list(tmp_path.iterdir())) == 1


def test_a_changed_word_or_rule_computes_nothing_again(
    demo: Demo, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What a person writes about a fault does not change what the circuit shows."""
    Predictor(demo.knowledge, _KEPT, tmp_path)
    other = replace(demo.knowledge, content_hash="0" * 16, rules={})
    rows = _computing(monkeypatch)
    Predictor(other, _KEPT, tmp_path)
    assert not rows


def test_a_fault_mode_with_another_value_computes_its_own_rows_only(
    demo: Demo, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A better figure for one kind of fault must not cost the whole table again."""
    Predictor(demo.knowledge, _KEPT, tmp_path)
    kinds = demo.knowledge.kinds
    fuse = {**kinds.kinds["fuse"], "resistive": kinds.kinds["fuse"]["resistive"].model_copy(update={"ohm": 0.9})}
    other = replace(demo.knowledge, kinds=kinds.model_copy(update={"kinds": {**kinds.kinds, "fuse": fuse}}))
    rows = _computing(monkeypatch)
    again = Predictor(other, _KEPT, tmp_path)
    fuses = sum(cause.mode == "resistive" and cause.kind == "fuse" for cause in again.causes)
    assert 0 < sum(rows) <= len(_KEPT) * (1 + fuses) + fuses * len(_KEPT)
    _same(again.shown(STOP), Predictor(other, _KEPT).shown(STOP))
