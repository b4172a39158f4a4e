"""The vehicle's file after an alteration: what did not change stays to the letter, all else is read as meant.

source of all expectations: common practice, no source
"""

from __future__ import annotations

import contextlib
import os
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diag.alter.keep import old_name, put_in_place, write_new
from diag.alter.rewrite import rewritten
from diag.alter.volts import at_volts
from diag.errors import DiagError
from diag.knowledge.reader import read_yaml

TEXT = """# Mine.
vehicle: van

title: Van        # on the papers
# volts by the plate
system-v: 12 V
circuits: [horn,   stop-lamps]   # both
overrides:
  parts:
    horn: {current-a: 4 A}  # measured
"""


def written(folder: Path, text: str) -> Path:
    path = folder / "van.yaml"
    path.write_text(text, encoding="utf-8")
    return path


def changed(folder: Path, text: str, **changes: object) -> tuple[str, dict[str, object]]:
    old = read_yaml(written(folder, text))
    new = {**old.data, **{key.replace("_", "-"): value for key, value in changes.items()}}
    return rewritten(text, old, new, ("Altered.",), {"overrides": "What differs."}), new


def test_lines_of_keys_that_did_not_change_stay(tmp_path: Path) -> None:
    """Comments, spaces and empty lines are the owner's."""
    out, _ = changed(tmp_path, TEXT, system_v="6 V")
    kept = TEXT.replace("system-v: 12 V", "system-v: 6 V")
    assert out == "# Altered.\n" + kept


def test_a_changed_key_keeps_the_comment_above_it_and_new_keys_stand_behind(tmp_path: Path) -> None:
    new = {"parts": {"horn": {"current-a": "8 A"}}}
    out, _ = changed(tmp_path, TEXT, overrides=new, options={"horn": {"switched": "relay"}})
    assert "# volts by the plate\nsystem-v" in out
    assert "# What differs.\noverrides:" in out
    assert out.index("overrides:") < out.index("options:")


@pytest.mark.parametrize(
    "text",
    ["{vehicle: van, title: Van}\n", "vehicle: van\ntitle: Van", "\ufeffvehicle: van\n", "---\nvehicle: van\n...\n"],
)
def test_unusual_layouts_are_read_as_meant(tmp_path: Path, text: str) -> None:
    """One mapping in braces, no line end, a byte order mark, marks of a document."""
    out, new = changed(tmp_path, text, circuits=["horn"])
    assert read_yaml(written(tmp_path, out)).data == new


WORDS = st.text(st.sampled_from("abc 019.:#'\"-{}[],&*!|>%@+ßµ²"), min_size=1, max_size=12).map(str.strip).filter(bool)
VALUES = st.recursive(
    WORDS,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.sampled_from("abcd"), inner, max_size=3),
    max_leaves=8,
)


@given(st.dictionaries(st.sampled_from(["options", "overrides", "alterations", "title"]), VALUES, max_size=4))
def test_whatever_is_put_in_is_read_out_again(new: dict[str, object]) -> None:
    """Words that YAML takes for signs, numbers or truth stay the words they were."""
    import tempfile

    with tempfile.TemporaryDirectory() as folder:
        out, meant = changed(Path(folder), TEXT, **new)
        assert read_yaml(written(Path(folder), out)).data == meant


def test_values_go_to_other_volts_by_the_watts_they_keep() -> None:
    """Lamps by their volts, currents the other way, ohms with the square; fuses and wires to sizes that exist."""
    lamp = {"test-w": "25 W", "test-v": "6.75 V", "title": "Lamp"}
    assert at_volts(lamp, 2.0) == {"test-w": "25 W", "test-v": "13.5 V", "title": "Lamp"}
    assert at_volts({"current-a": "8 A", "coil-ohm": "20 ohm"}, 2.0) == {"current-a": "4 A", "coil-ohm": "80 ohm"}
    assert at_volts({"rating-a": "25 A"}, 2.0, "torpedo") == {"rating-a": "16 A"}
    assert at_volts({"rating-a": "25 A", "link": "blade"}, 2.0, "torpedo")["rating-a"] == "15 A"
    assert at_volts({"section-mm2": "4 mm2"}, 2.0) == {"section-mm2": "2.5 mm2"}
    assert at_volts({"positions": {"full": "10 ohm"}}, 2.0) == {"positions": {"full": "40 ohm"}}
    assert at_volts({"current-a": "many"}, 2.0) == {"current-a": "many"}, "for the reader of the file to refuse"
    assert at_volts(lamp, 1.0) == lamp


# ---------------------------------------------------------------- on disk


def test_the_old_file_is_kept_beside_the_new_one(tmp_path: Path) -> None:
    path = written(tmp_path, TEXT)
    path.chmod(0o640)
    earlier = old_name(path, "regulator")
    put_in_place(path, "vehicle: other\n", earlier)
    assert earlier.read_text(encoding="utf-8") == TEXT
    assert path.read_text(encoding="utf-8") == "vehicle: other\n"
    assert path.stat().st_mode & 0o777 == 0o640
    assert old_name(path, "regulator") != earlier
    assert (
        sorted(found.name for found in tmp_path.iterdir()) == [earlier.name, path.name]
        or len(list(tmp_path.iterdir())) == 2
    )


def test_nothing_is_written_over(tmp_path: Path) -> None:
    path = written(tmp_path, TEXT)
    with pytest.raises(DiagError, match="already"):
        write_new(path, b"x")
    assert path.read_text(encoding="utf-8") == TEXT
    assert [found.name for found in tmp_path.iterdir()] == ["van.yaml"]


@pytest.mark.parametrize("breaks", ["replace", "link", "fsync"])
def test_a_disk_that_fails_midway_leaves_the_old_file_whole(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, breaks: str
) -> None:
    """Pulled plug, full disk: the file is the old one or the new one, and no half one lies about."""
    path = written(tmp_path, TEXT)

    def fail(*_: object, **__: object) -> None:
        raise OSError("no room")

    monkeypatch.setattr(os, breaks, fail)
    with contextlib.suppress(OSError, DiagError):
        put_in_place(path, "vehicle: other\n", old_name(path, "regulator"))
    monkeypatch.undo()
    assert path.read_text(encoding="utf-8") in (TEXT, "vehicle: other\n")
    assert all(found.read_text(encoding="utf-8") in (TEXT, "vehicle: other\n") for found in tmp_path.iterdir())
    assert not [found for found in tmp_path.iterdir() if found.name.startswith(".")]
