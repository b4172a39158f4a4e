"""Mistakes in knowledge files: each is told with file, line, column and how to mend it."""

from __future__ import annotations

from pathlib import Path

import pytest

from diag.errors import DiagError, KnowledgeError, Place
from diag.knowledge.load import load_knowledge
from tests.knowledge.small import SMALL, write_small

LAMP, SUPPLY, SHARED, CAR = "circuits/lamp.yaml", "supply.yaml", "shared.yaml", "vehicles/small.yaml"
KINDS, WORDS = "kinds.yaml", "vocabulary.yaml"


@pytest.mark.parametrize(
    ("file", "old", "new", "spot", "says"),
    [
        # shape of a file
        (LAMP, "test-w: 25 W", "test-w: 25 W, tst-v: 12 V", "tst-v", ["`tst-v` is not known here", "mean `test-v`?"]),
        (LAMP, "    phrases:", "    phrase:", "phrase:", ["`phrase` is not known", "Did you mean `phrases`?"]),
        (LAMP, "test-w: 25 W", "test-w: 25 W, test_v: 12 V", "test_v", ["`test_v` is not known here"]),
        (CAR, "history: rewired\n", "", "vehicle:", ["the key `history` is missing", "Add `history:` here"]),
        (
            LAMP,
            "test-w: 25 W",
            "test-w: 25",
            "25}",
            ["`test-w` has a wrong value", "found `25`", "a power with its unit"],
        ),
        (LAMP, "test-w: 25 W", "test-w: 25 A", "25 A", ["not a unit of power", "such as `21 W`"]),
        (LAMP, "section-mm2: 1.5 mm2", "section-mm2: thick", "thick", ["found `thick`", "such as `1.5 mm2`"]),
        (LAMP, "length-m: 0.5 m", "length-m: -0.5 m", "-0.5 m", ["above zero"]),
        (LAMP, "rating-a: 8 A", "rating-a: 1e99 A", "1e99 A", ["`rating-a` has a wrong value", "believable size"]),
        (LAMP, "rating-a: 8 A", "rating-a: " + "9" * 400 + " A", "9" * 400, ["`rating-a` has a wrong value"]),
        (LAMP, "above: 11", "above: .nan", ".nan", ["`above` has a wrong value", "found `.nan`", "a number"]),
        (LAMP, "above: 11", "above: NaN", "NaN", ["found `NaN`", "a number of a believable size"]),
        (LAMP, "above: 11", "above: 1e400", "1e400", ["found `1e400`", "a number of a believable size"]),
        (LAMP, "above: 11", "above: 1e7", "1e7", ["at most 1e+06"]),
        (LAMP, "above: 11", "above: ١١", "١١", ["a number in plain digits"]),
        (LAMP, "weight: 8", "weight: 500", "500", ["`weight` has a wrong value", "at most 50"]),
        (LAMP, "test-w: 25 W", "test-w: 25 W, tell-tale: yes", "yes", ["found `yes`", "true or false"]),
        (LAMP, "title: Work lamp, place: front, t", "title: '', place: front, t", "'', place", ["found nothing"]),
        (LAMP, "kind: lamp", "kind: lampe", "lampe", ["this `kind` is not known", "Did you mean `lamp`?"]),
        (LAMP, "{kind: lamp, ", "{", "{title: Work lamp", ["the key `kind` is missing"]),
        (LAMP, "kind: look", "kind: lok", "lok", ["found `lok`", "Did you mean `look`?"]),
        (LAMP, "    target: work-lamp\n", "", "id: lamp-on", ["a look needs a `target` part"]),
        (LAMP, "  work-lamp: {", "  Work_Lamp: {", "Work_Lamp", ["cannot be used as a key", "lower case letters"]),
        (
            LAMP,
            "from: key-switch.15",
            "from: key-switch",
            "key-switch,",
            ["a part and its terminal, such as `horn.71`"],
        ),
        (LAMP, '["55", "31"]', '"55"', '"55"', ["`terminals` has a wrong value", "expected a list"]),
        (LAMP, "steps: [fit a new lamp]", "steps: []", "[]", ["found a list", "at least 1 entries"]),
        (LAMP, "state: draft", "state: perfect", "perfect", ["`draft`", "`retired`"]),
        (CAR, "earth: negative", "earth: minus", "minus", ["found `minus`", "`negative` or `positive`"]),
        (LAMP, "circuit: lamp", "circuit: lamps", "lamps", ["the circuit's name is not its file's", "`lamp`"]),
        # what the program needs to compute and to speak
        (
            WORDS,
            "dark: 0.01, glow: 0.1",
            "dark: 0.01",
            "light-limits",
            ["the limit of `glow` is missing", "Add `glow:`"],
        ),
        (KINDS, "Renew {part}", "Renew {prat}", '"Renew {prat', ["nothing fills in", "Did you mean `part`?"]),
        (KINDS, "Renew {part}", "Renew {part.x}", '"Renew {part.x', ["found `{part.x}`"]),
        (KINDS, "Renew {part}", "Renew {part", '"Renew {part', ["nothing fills in these braces"]),
        # references
        (CAR, "[lamp]", "[lamp, horm]", "horm", ["there is no such circuit", "circuits/horm.yaml", "There are: lamp."]),
        (CAR, "[lamp]", "[lmap]", "lmap", ["there is no such circuit", "Did you mean `lamp`?"]),
        (LAMP, "title: Work lamp\n", "title: Work lamp\nneeds: [lmp]\n", "lmp]", ["no such circuit", "`lamp`"]),
        (
            LAMP,
            "to: work-lamp.55",
            "to: work-lamp.56",
            "work-lamp.56",
            ["`work-lamp` has no such terminal", "`work-lamp.55` or `work-lamp.31`"],
        ),
        (
            LAMP,
            "to: earth-front.31",
            "to: earth-frnt.31",
            "earth-frnt.31",
            ["no part with this terminal", "Did you mean `earth-front.31`?"],
        ),
        (LAMP, "to: fuse-lamp.in", "to: key-switch.15", "key-switch.15, colour", ["joins a terminal to itself"]),
        (LAMP, "colour: green/white", "colour: green/wite", "green/wite", ["no such wire colour", "`white`"]),
        (LAMP, "colour: green/white", "colour: green/white/red", "green/white/red", ["at most one tracer"]),
        (LAMP, "red: work-lamp.55", "red: work-lamp.59", "work-lamp.59", ["no such terminal"]),
        (LAMP, "black: body", "black: work-lamp.55", "work-lamp.55\n    unit", ["both probes are on one terminal"]),
        (LAMP, "target: work-lamp", "target: work-lam", "work-lam\n", ["no such part", "Did you mean `work-lamp`?"]),
        (LAMP, "place: front, terminals", "place: frnt, terminals", "frnt", ["no such place", "Did you mean `front`?"]),
        (
            LAMP,
            'operate: {ignition: "on"}',
            'operate: {ignitoin: "on"}',
            "ignitoin",
            ["no such control", "Did you mean `ignition`?"],
        ),
        (LAMP, 'operate: {ignition: "on"}', "operate: {ignition: half}", "half", ["no such position of `ignition`"]),
        (LAMP, 'operate: {ignition: "on"}', "operate: {unplugged: horn.71}", "horn.71", ["no part with this terminal"]),
        (
            LAMP,
            'operate: {ignition: "on"}',
            "operate: {bridged: work-lamp.55}",
            "work-lamp.55}",
            ["this names no two points", "`part.terminal+body`"],
        ),
        (
            LAMP,
            'operate: {ignition: "on"}',
            "operate: {bridged: work-lamp.55+work-lamp.56}",
            "work-lamp.55+work-lamp.56}",
            ["`work-lamp.56` is no terminal", "Did you mean `work-lamp.55`?"],
        ),
        (
            LAMP,
            'operate: {ignition: "on"}',
            "operate: {bridged: wrk-lamp.55+body}",
            "wrk-lamp.55+body}",
            ["`wrk-lamp.55` is no terminal", "Did you mean `work-lamp.55`?"],
        ),
        (
            LAMP,
            'operate: {ignition: "on"}',
            "operate: {bridged: work-lamp.55+work-lamp.55}",
            "work-lamp.55+work-lamp.55}",
            ["joins a point to itself"],
        ),
        (
            LAMP,
            'operate: {ignition: "on"}',
            "operate: {bridged: battery.B++battery.B-}",
            "battery.B++battery.B-}",
            ["shorts the battery"],
        ),
        (
            LAMP,
            'operate: {ignition: "on"}',
            "operate: {bridged: body+battery.B+}",
            "body+battery.B+}",
            ["shorts the battery"],
        ),
        (SUPPLY, '      "on": [[', "      start: [[", "start", ["no such position of `ignition`"]),
        (SUPPLY, '[["30", "15"]]', '[["30", "50"]]', '"50"', ["no such terminal"]),
        (SUPPLY, '[["30", "15"]]', '[["30", "30"]]', '["30", "30"]', ["joins a terminal to itself"]),
        (SUPPLY, "control: ignition", "control: key", "key\n", ["no such control"]),
        (LAMP, "test-w: 25 W", "test-w: 25 W, tell-tale: true, colour: purple", "purple", ["no tell-tale", "`red`"]),
        (LAMP, "test-w: 25 W", 'test-w: 25 W, sealed: ["15"]', '"15"]}', ["no such terminal"]),
        (LAMP, "cautions: [battery-off-first]", "cautions: [battery-off]", "battery-off]", ["no such caution"]),
        (LAMP, "proof: [lamp-on]", "proof: [lamp-of]", "lamp-of]", ["no such check", "Did you mean `lamp-on`?"]),
        (LAMP, "ask: lamp-volts", "ask: lamp-vots", "lamp-vots", ["no such check", "`lamp-volts`"]),
        (LAMP, "warn: battery-off-first", "warn: battery", "battery}", ["no such caution"]),
        (LAMP, "remedy: lamp-renew", "remedy: lamp-rnew", "lamp-rnew", ["no such remedy", "`lamp-renew`"]),
        (KINDS, "remedy: insulate", "remedy: isolate", "isolate", ["no such remedy form", "`insulate`"]),
        (KINDS, "  lamp:\n", "  lump:\n", "lump", ["no such kind of part", "Did you mean `lamp`?"]),
        (SUPPLY, "  battery: [", "  bridged: [on, off]\n  battery: [", "bridged: [", ["`bridged` is always a control"]),
        # words of findings, conditions
        (LAMP, "[{check: lamp-on, light: dark}]", "[{check: lamp-off, light: dark}]", "lamp-off", ["no such check"]),
        (LAMP, "light: is dark", "light: is drak", "is drak", ["no such word", "found `drak`", "Did you mean `dark`?"]),
        (
            LAMP,
            "light: is dark",
            "is: dark",
            "dark}\n      - {check: lamp-volts",
            ["takes no `is`", "`light` or `rhythm`"],
        ),
        (LAMP, "light: is dark", "below: 3", "3}\n      - {check", ["answered by a word, not a number"]),
        (LAMP, "lamp-volts, above: 11", "lamp-volts, light: dark", "dark}\n    then", ["has no `light`", "`below`"]),
        (LAMP, "above: 11", "between: [12, 11]", "{check: lamp-volts, between", ["no number can satisfy this"]),
        (LAMP, "is: right", "is: rigt", "rigt", ["no such word", "Did you mean `right`?"]),
        (LAMP, "dim: 0.2, dark", "dimm: 0.2, dark", "dimm", ["no such word", "Did you mean `dim`?"]),
        (LAMP, "normal/steady: 0.5", "normal/stedy: 0.5", "normal/stedy", ["no such word", "`steady`"]),
        (LAMP, "normal/steady: 0.5", "normal/steady: 0.9", "{normal/steady: 0.9", ["sum to more than 1"]),
        (WORDS, "glow: {dark: 0.2}", "glow: {drk: 0.2}", "drk", ["no such word"]),
        (
            WORDS,
            "glow: {dark: 0.2}",
            "glow: {dark: 0.8, dim: 0.8}",
            "glow: {dark: 0.8",
            ["nothing for reading it right"],
        ),
        (
            LAMP,
            "established: lamp-is-fed",
            "established: lamp-fed",
            "lamp-fed",
            ["no such intermediate conclusion", "Did you mean `lamp-is-fed`?"],
        ),
        (LAMP, "id: lamp/feed-without-light", "id: horn/feed-without-light", "horn/feed-without-light", ["`lamp/...`"]),
        (SUPPLY, "limits: {min: 12.2, max: 12.9", "limits: {min: 13, max: 12", "{min: 13", ["above the upper"]),
    ],
)
def test_a_mistake_is_told_at_its_place_with_a_way_to_mend_it(
    tmp_path: Path,
    file: str,
    old: str,
    new: str,
    spot: str,
    says: list[str],
) -> None:
    """An author without Python must find and mend it from the message alone."""
    small = write_small(tmp_path, (file, old, new))
    problems = small.problems()
    place = small.at(file, spot)
    at_place = [str(problem) for problem in problems if problem.place == place]
    assert at_place, f"nothing at {place}: {[str(problem) for problem in problems]}"
    for text in says:
        assert any(text in message for message in at_place), at_place
    assert len(problems) == len(at_place), [str(problem) for problem in problems]


def test_the_small_set_has_no_mistake(tmp_path: Path) -> None:
    """Or every test of one mistake proves nothing."""
    assert write_small(tmp_path).problems() == []


def test_conclusions_in_a_ring_are_refused(tmp_path: Path) -> None:
    """A conclusion that needs itself would silently never be reached."""
    small = write_small(
        tmp_path,
        (LAMP, "- {ask: lamp-volts}", "- {establish: way-back-missing}"),
        (LAMP, "- {check: lamp-volts, above: 11}", "- {established: way-back-missing}"),
    )
    (problem,) = small.problems()
    assert "rest on each other in a ring" in problem.what
    assert "`lamp-is-fed`" in problem.found
    assert "`way-back-missing`" in problem.found
    assert problem.place.file.endswith("lamp.yaml")


def test_an_id_given_twice_names_both_places(tmp_path: Path) -> None:
    """Two files by two authors are the usual reason; each must see the other's place."""
    again = "cautions:\n  - {id: battery-off-first, text: Off., source: from memory}\nrules:\n"
    small = write_small(tmp_path, (SHARED, "rules:\n", again))
    (problem,) = small.problems()
    assert problem.place == small.at(SHARED, "battery-off-first")
    assert "`battery-off-first` is given twice" in problem.what
    assert str(small.at(SUPPLY, "id: battery-off-first")) in problem.found


def test_a_part_and_a_check_may_not_share_an_id(tmp_path: Path) -> None:
    """Everything is found by id alone."""
    small = write_small(
        tmp_path, (LAMP, "- id: fuse-marking", "- id: fuse-lamp"), (LAMP, "check: fuse-marking", "check: fuse-lamp")
    )
    (problem,) = small.problems()
    assert str(small.at(LAMP, "fuse-lamp: {")) in problem.found


def test_problems_of_all_files_come_together_sorted(tmp_path: Path) -> None:
    """One run must show all there is to mend."""
    small = write_small(
        tmp_path,
        (LAMP, "test-w: 25 W", "test-w: 25"),
        (CAR, "earth: negative", "earth: minus"),
        (KINDS, "outside-chance: 0.01", "outside-chance: 2"),
        (WORDS, "light: [", "lihgt: ["),
    )
    with pytest.raises(KnowledgeError) as caught:
        small.load()
    error = caught.value
    assert isinstance(error, DiagError)
    assert error.exit_code == 2
    assert error.problems == sorted(error.problems)
    # a vehicle that cannot be read names no circuits, so the lamp's file waits for the next run
    wrong = {Path(problem.place.file).name for problem in error.problems}
    assert wrong == {"small.yaml", "kinds.yaml", "vocabulary.yaml"}
    assert len(str(error).splitlines()) == len(error.problems)


def test_very_many_mistakes_are_cut_short(tmp_path: Path) -> None:
    """A file of the wrong sort must not scroll the screen away."""
    junk = "".join(f"junk-{number}: 1\n" for number in range(500))
    small = write_small(tmp_path, (CAR, "vehicle: small\n", "vehicle: small\n" + junk))
    problems = small.problems()
    assert len(problems) == 51
    assert any("450 more mistakes are not shown" in problem.what for problem in problems)


@pytest.mark.parametrize("file", sorted(SMALL))
def test_a_missing_file_is_told(tmp_path: Path, file: str) -> None:
    """A rules folder copied by hand may lack one."""
    small = write_small(tmp_path)
    (tmp_path / file).unlink()
    (problem,) = small.problems()
    if file == LAMP:
        assert problem.place == small.at(CAR, "lamp]")
    else:
        assert problem.place == Place(str(tmp_path / file))
        assert "no such file" in problem.what


@pytest.mark.parametrize("file", sorted(SMALL))
def test_a_folder_in_place_of_a_file_is_told(tmp_path: Path, file: str) -> None:
    """The same error type whatever stands there."""
    small = write_small(tmp_path)
    (tmp_path / file).unlink()
    (tmp_path / file).mkdir()
    (problem,) = small.problems()
    assert "folder" in problem.what


def test_a_missing_rules_folder_is_told(tmp_path: Path) -> None:
    """It is an option of the command, so it will be mistyped."""
    small = write_small(tmp_path)
    with pytest.raises(KnowledgeError, match="there is no such rules folder"):
        load_knowledge(small.vehicle, tmp_path / "nowhere")


@pytest.mark.parametrize("file", sorted(SMALL))
def test_no_damage_to_a_file_ends_in_a_traceback(tmp_path: Path, file: str) -> None:
    """Whatever is cut off or doubled, the answer is a message with the file's name, or it loads."""
    text = SMALL[file]
    damages = [text[:cut] for cut in range(0, len(text), 97)]
    damages += [text.replace(mark, "", 1) for mark in '{}[]:-,"' if mark in text]
    damages += [text.replace(": ", ":\n    ", count) for count in (1, 3, 9)]
    lines = text.splitlines(keepends=True)
    damages += ["".join(lines[:at] + lines[at + 1 :]) for at in range(0, len(lines), 3)]
    refused = 0
    small = write_small(tmp_path)
    for damage in damages:
        (tmp_path / file).write_text(damage, encoding="utf-8")
        problems = small.problems()
        refused += bool(problems)
        assert all(problem.place.line >= 1 and problem.place.column >= 1 for problem in problems)
    assert refused > len(damages) / 4
