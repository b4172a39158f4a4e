"""Computed tables kept on disk: whatever happens to the file, the answers are the same."""

from __future__ import annotations

import random
from dataclasses import fields
from pathlib import Path

import numpy as np
import pytest

from diag.circuit.behaviour import Shown
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
    assert fresh._lasting[fresh._row[1 + short]].added_ohm, "a short that blows a fuse is among the kept ones"
    for predictor in (written, read):
        for operate in (*_KEPT, LEFT):  # the last is in no table: it is computed from the blown fuses kept
            _same(predictor.shown(operate), fresh.shown(operate))
        pair = [frozenset({short, 0})]
        _same(predictor.shown_sets(STOP, pair), fresh.shown_sets(STOP, pair))


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
    reader = Predictor(demo.knowledge, _KEPT, tmp_path)
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
            believed = reader._read(path, keys)
        except Exception as error:  # whatever it is, a user would see it
            failed.append(f"byte {place}: {type(error).__name__}: {error}")
            continue
        if believed:
            _same(reader.shown(STOP), fresh.shown(STOP))
    assert not failed, "\n".join(failed)


def test_a_folder_that_cannot_be_written_costs_only_time(demo: Demo, fresh: Predictor, tmp_path: Path) -> None:
    """A read-only home or a full disk must not stop the program."""
    blocked = tmp_path / "file-not-folder"
    blocked.write_text("in the way")
    _same(Predictor(demo.knowledge, _KEPT, blocked).shown(STOP), fresh.shown(STOP))


def test_other_operates_get_another_file(demo: Demo, tmp_path: Path) -> None:
    """A table for other switch positions must never be taken for this one."""
    Predictor(demo.knowledge, [KEY], tmp_path)
    Predictor(demo.knowledge, [STOP], tmp_path)
    assert len(list(tmp_path.iterdir())) == 2
