"""Outcomes that are kept: found again, never believed when damaged, never too many.

source of all expectations: common practice, no source
"""

from __future__ import annotations

import sqlite3
import subprocess
import sys
from pathlib import Path

from diag.replay.store import Store, key_of


def test_what_is_kept_is_found_by_another_program(tmp_path: Path) -> None:
    """And what is not is not."""
    Store(tmp_path).put({"a": "1", "b": "2"})
    assert Store(tmp_path).get(["a", "b", "c"]) == {"a": "1", "b": "2"}
    assert Store(tmp_path).get([f"n{n}" for n in range(2000)]) == {}


def test_a_key_changes_with_everything_that_an_outcome_rests_on() -> None:
    """Knowledge, what is left out, the job, what it must come to."""
    keys = {
        key_of("k", (), "j", None),
        key_of("k2", (), "j", None),
        key_of("k", ("wiring",), "j", None),
        key_of("k", (), "j2", None),
        key_of("k", (), "j", b"ends-at: [a]"),
    }
    assert len(keys) == 5


def test_a_rotten_file_only_costs_working_it_out_again(tmp_path: Path) -> None:
    """Text, half a file, a file of another form, a folder in its place."""
    store = Store(tmp_path)
    store.put({"a": "1"})
    path = tmp_path / "outcomes.sqlite"
    whole = path.read_bytes()
    for content in (b"hello", b"SQLite format 3\x00" + b"\xff" * 2000, whole[: len(whole) // 2]):
        path.write_bytes(content)
        assert store.get(["a"]) == {}
        store.put({"a": "1"})
        assert store.get(["a"]) == {"a": "1"}
    path.unlink()
    with sqlite3.connect(path) as base:
        base.execute("create table outcome (other text)")
    base.close()
    store.put({"a": "1"})
    assert store.get(["a"]) == {"a": "1"}
    path.unlink()
    path.mkdir()
    store.put({"a": "1"})
    assert store.get(["a"]) == {}


def test_the_least_lately_used_go_first(tmp_path: Path) -> None:
    """So that it never fills a disk."""
    store = Store(tmp_path, limit=1000)
    for n in range(30):
        store.put({f"k{n:02}": "x" * 100})
    kept = store.get([f"k{n:02}" for n in range(30)])
    assert 0 < sum(map(len, kept.values())) <= 1000


def test_two_programs_may_use_it_at_once(tmp_path: Path) -> None:
    """Each finds what both kept."""
    code = (
        "import sys; from pathlib import Path; from diag.replay.store import Store\n"
        "s = Store(Path(sys.argv[1]))\nfor n in range(20): s.put({f'{sys.argv[2]}{n}': 'x'})\n"
    )
    running = [subprocess.Popen([sys.executable, "-c", code, str(tmp_path), name]) for name in "ab"]
    assert [one.wait() for one in running] == [0, 0]
    assert len(Store(tmp_path).get([f"{name}{n}" for name in "ab" for n in range(20)])) == 40
