"""The reader: text stays text, places are right, and nothing a file holds can do harm."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
import yaml

from diag.errors import KnowledgeError, Place, Problem
from diag.knowledge import reader
from diag.knowledge.reader import DEEPEST, LARGEST_BYTES, read_yaml


def write(folder: Path, content: str | bytes) -> Path:
    path = folder / "file.yaml"
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    return path


def only_problem(path: Path) -> Problem:
    with pytest.raises(KnowledgeError) as caught:
        read_yaml(path)
    (problem,) = caught.value.problems
    assert str(problem) == str(caught.value)
    return problem


@pytest.mark.parametrize(
    "word",
    ["on", "off", "yes", "no", "true", "null", "~", "015", "1_000", "12:30", "2026-01-01", "1e3", "0x10", ".nan", "="],
)
def test_every_scalar_stays_the_text_that_was_written(tmp_path: Path, word: str) -> None:
    """`on` is a position and `015` a terminal; YAML's own guesses would change them silently."""
    assert read_yaml(write(tmp_path, f"key: {word}\n")).data == {"key": word}


def test_places_of_keys_values_and_items_are_found_by_pydantic_path(tmp_path: Path) -> None:
    """Every message rests on these places."""
    path = write(tmp_path, "parts:\n  horn: {kind: horn, title: Ä horn, place: front}\nlist:\n- a\n-   b\n")
    marked = read_yaml(path)
    file = str(path)
    assert marked.place(("parts", "horn", "place")) == Place(file, 2, 44)
    assert marked.place(("parts", "horn", "place"), key=True) == Place(file, 2, 37)
    assert marked.place(("parts", "horn", "[key]")) == Place(file, 2, 3)
    assert marked.place(("parts", "horn", "horn", "place")) == Place(file, 2, 44), "union tags are passed over"
    assert marked.place(("parts", "horn", "missing")) == Place(file, 2, 9)
    assert marked.place(("list", 1)) == Place(file, 5, 5)
    assert marked.get(("list", 1)) == "b"


@pytest.mark.parametrize(
    ("content", "line", "column", "what"),
    [
        ("a: 1\nb: [1, 2\nc: 3\n", 3, 2, "not valid YAML"),
        ("a: 1\n b: 2\n", 2, 3, "not valid YAML"),
        ("a:\n\tb: 1\n", 2, 1, "a tab stands where a line is indented"),
        ("a:\n  - x\n \t- y\n", 3, 2, "a tab stands where a line is indented"),
        ("a: |\n\tx\n", 2, 1, "a tab stands where a line is indented"),
        ("a: 'open\n", 2, 1, "not valid YAML"),
        ("a: &x 1\nb: *x\n", 1, 4, "an anchor stands here"),
        ("a: [*x]\n", 1, 5, "an alias stands here"),
        ("a: !!python/object/apply:os.system [ls]\n", 1, 4, "a tag stands here"),
        ("a: !own 1\n", 1, 4, "a tag stands here"),
        ("a: 1\n<<: {b: 2}\n", 2, 1, "a merge key stands here"),
        ("a: 1\nbb: 2\na: 3\n", 3, 1, "the key `a` stands twice"),
        ("a: {b: 1, b: 2}\n", 1, 11, "the key `b` stands twice"),
        ("a: 1\n---\nb: 2\n", 2, 1, "a second document starts here"),
        ("? [a, b]\n: 1\n", 1, 3, "where a key should"),
        ("- a\n- b\n", 1, 1, "does not hold a mapping"),
        ("just words\n", 1, 1, "does not hold a mapping"),
        ("", 1, 1, "the file is empty"),
        ("# only a comment\n", 1, 1, "the file is empty"),
        ("a: 1\nb: x\x07y\n", 2, 5, "a control or invisible character stands here"),
        ("a: 1\nb: \u202eevil\n", 2, 4, "a control or invisible character stands here"),
        ("a: x\u200by\n", 1, 5, "a control or invisible character stands here"),
        ('a: "\\e[31mred"\n', 1, 4, "an escape makes a control or invisible character"),
        ('a: "\\u202e"\n', 1, 4, "an escape makes a control or invisible character"),
        ('"\\x07": 1\n', 1, 1, "an escape makes a control or invisible character"),
    ],
)
def test_what_may_not_stand_in_a_file_is_told_with_its_place(
    tmp_path: Path,
    content: str,
    line: int,
    column: int,
    what: str,
) -> None:
    """Each of these either misleads the reader of the file or harms the program."""
    path = write(tmp_path, content)
    problem = only_problem(path)
    assert what in problem.what
    assert problem.place == Place(str(path), line, column)


def test_both_parsers_of_the_library_give_the_same(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the library came without its C part, the slower parser must serve as well."""
    path = write(tmp_path, "a: [1, {b: on}]\nc: >\n  folded\n  text\n")
    fast = read_yaml(path)
    monkeypatch.setattr(reader, "_LOADER", yaml.SafeLoader)
    slow = read_yaml(path)
    assert (fast.data, fast.places, fast.key_places) == (slow.data, slow.places, slow.key_places)


def test_bytes_that_are_not_utf8_are_told_with_line_and_column(tmp_path: Path) -> None:
    """An old editor's Latin-1 file must not end in a traceback."""
    path = write(tmp_path, "title: grün\nb: ".encode() + b"Stra\xdfe\n")
    problem = only_problem(path)
    assert problem.place == Place(str(path), 2, 8)
    assert problem.found == "the byte 0xDF"
    assert "UTF-8" in problem.mend


def test_a_byte_order_mark_and_windows_line_ends_are_read(tmp_path: Path) -> None:
    """Editors write them without asking."""
    assert read_yaml(write(tmp_path, b"\xef\xbb\xbfa: 1\r\nb: 2\r\n")).data == {"a": "1", "b": "2"}
    problem = only_problem(write(tmp_path, b"\xef\xbb\xbfa: 1\r\nb: \xff\r\n"))
    assert (problem.place.line, problem.place.column) == (2, 4)


def test_a_file_of_50_mb_is_refused_before_it_is_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A wrong file named by mistake must neither fill memory nor keep anyone waiting."""
    path = tmp_path / "big.yaml"
    with path.open("wb") as stream:
        stream.truncate(50_000_000)

    def never(*_: object, **__: object) -> None:
        raise AssertionError("the file was opened")

    monkeypatch.setattr(Path, "open", never)
    problem = only_problem(path)
    assert problem.place == Place(str(path), 1, 1)
    assert problem.found == "50,000,000 bytes"
    assert f"{LARGEST_BYTES:,}" in problem.expected


@pytest.mark.parametrize(
    "content",
    [
        "a: " + "[" * (DEEPEST + 1) + "]" * (DEEPEST + 1),
        "a: " + "[" * 200_000,
        "a: " + "{b: " * 100_000,
        "a:\n" + "".join("  " * depth + "b:\n" for depth in range(1, 400)),
        "- " * 300_000,
    ],
)
def test_deep_nesting_is_refused_and_not_followed(tmp_path: Path, content: str) -> None:
    """Recursion into it would end the program."""
    problem = only_problem(write(tmp_path, content))
    assert "nested too deep" in problem.what
    assert str(DEEPEST) in problem.expected


def test_nesting_up_to_the_limit_is_read(tmp_path: Path) -> None:
    """The limit must not bite a file that keeps it."""
    depth = DEEPEST - 1  # the file's own mapping is the first level
    data = read_yaml(write(tmp_path, "a: " + "[" * depth + "]" * depth)).data
    for _ in range(depth - 1):
        data = data["a"] if isinstance(data, dict) else data[0]
    assert data


def test_what_is_not_a_readable_file_is_told_without_a_traceback(tmp_path: Path) -> None:
    """Missing names, folders and pipes happen at the keyboard."""
    write(tmp_path, "a: 1\n")
    missing = only_problem(tmp_path / "fil.yaml")
    assert "no such file" in missing.what
    assert missing.mend == "Did you mean `file.yaml`?"
    assert "folder" in only_problem(tmp_path).what
    assert "cannot be read" in only_problem(tmp_path / "file.yaml" / "below").what
    assert "cannot be read" in only_problem(tmp_path / "nul\0.yaml").what
    os.mkfifo(tmp_path / "pipe.yaml")
    assert "not an ordinary file" in only_problem(tmp_path / "pipe.yaml").what


def test_a_file_that_may_not_be_read_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Permissions differ between a user's folders."""
    path = write(tmp_path, "a: 1\n")

    def refused(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", refused)
    problem = only_problem(path)
    assert problem.found == "permission denied"
