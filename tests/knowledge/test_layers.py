"""Layers of knowledge: which are found, in which order, and what one does to those below it.

source of all expectations: common practice, no source
"""

from __future__ import annotations

from pathlib import Path

import pytest

from diag.errors import KnowledgeError
from diag.knowledge.assemble import Knowledge
from diag.knowledge.folders import local_folder, packs_file
from diag.knowledge.layers import Layer, found_layers, installed_layers
from diag.knowledge.load import load_knowledge
from tests.knowledge.packs import place_in, rule, write_pack
from tests.knowledge.small import Small, write_small
from tests.knowledge.test_assemble import CAR, SECOND

OWN = "lamp/dark-again"
SHIPPED_RULE = "lamp/fed-with-right-fuse"


def adds(*rules: str, **sections: str) -> str:
    """A file that adds to the circuit `lamp`."""
    return "circuit: lamp\n" + ("rules:\n" + "".join(rules) if rules else "") + "".join(sections.values())


def listed(*folders: Path) -> None:
    """Put folders on the list of packs."""
    packs_file().parent.mkdir(parents=True, exist_ok=True)
    packs_file().write_text("packs:\n" + "".join(f"  - {folder}\n" for folder in folders), encoding="utf-8")


def over(small: Small) -> Knowledge:
    """The small vehicle with every layer of this machine over its rules."""
    return load_knowledge(small.vehicle, small.rules, installed_layers())


def problems(small: Small) -> list[str]:
    """What loading it complains of."""
    try:
        over(small)
    except KnowledgeError as error:
        return [str(problem) for problem in error.problems]
    return []


@pytest.fixture
def small(tmp_path: Path) -> Small:
    """The small vehicle's rules."""
    return write_small(tmp_path / "base")


def names() -> list[str]:
    """Names of the installed layers."""
    return [layer.name for layer in installed_layers()]


# ---------------------------------------------------------------- which, and in which order


def test_nothing_installed_is_the_shipped_rules_alone() -> None:
    """Whoever never adds a rule must not notice that one could."""
    assert names() == ["shipped"]


def test_packs_come_as_listed_and_the_local_folder_last(tmp_path: Path) -> None:
    """What a technician learnt stands above what anybody else wrote."""
    write_pack(local_folder())
    listed(write_pack(tmp_path / "one", "zinc"), write_pack(tmp_path / "two", "amber"))
    assert names() == ["shipped", "zinc", "amber", "local"]


def test_after_puts_a_pack_behind_the_other(tmp_path: Path) -> None:
    """A pack that builds on another must see it, however the list was written."""
    write_pack(tmp_path / "low", "low")
    listed(
        write_pack(tmp_path / "top", "top", after="middle"),
        write_pack(tmp_path / "middle", "middle", after="low"),
        tmp_path / "low",
    )
    assert names() == ["shipped", "low", "middle", "top"]
    assert installed_layers()[-1].after == {"middle", "low"}


def test_a_ring_of_packs_is_told_with_its_place(tmp_path: Path) -> None:
    """Without a lowest one there is no order."""
    one, two = write_pack(tmp_path / "one", "one", after="two"), write_pack(tmp_path / "two", "two", after="one")
    listed(one, two)
    with pytest.raises(KnowledgeError) as caught:
        installed_layers()
    (problem,) = caught.value.problems
    assert problem.place == place_in(one / "pack.yaml", "two]")
    assert problem.found == "`one` after `two` after `one`"


def test_a_missing_lower_pack_is_told_and_the_others_still_found(tmp_path: Path) -> None:
    """One pack that lacks another must not hide the rest from the list."""
    listed(write_pack(tmp_path / "one", "one", after="twoo"), write_pack(tmp_path / "two", "two"))
    layers, found = found_layers()
    assert [layer.name for layer in layers] == ["shipped", "two"]
    assert "Did you mean `two`?" in str(found[0]) and found[0].place.line == 5


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ('pack: one\ntitle: One\nversion: "1"\n', "the key `source` is missing"),
        ('pack: One\ntitle: One\nversion: "1"\nsource: x\n', "`pack` has a wrong value"),
        ("pack: one\ntitle: One\nversion: new\nsource: x\n", "`version` has a wrong value"),
        ('pack: local\ntitle: One\nversion: "1"\nsource: x\n', "this name is kept for another layer"),
        ('pack: one\ntitle: One\nversion: "1"\nsource: x\nfater: []\n', "Did you mean `after`?"),
        ("pack: [one\n", "this is not valid YAML"),
    ],
)
def test_mistakes_in_pack_yaml(tmp_path: Path, text: str, told: str) -> None:
    """Each with file, line and column, and the way round it."""
    folder = write_pack(tmp_path / "one", "one")
    (folder / "pack.yaml").write_text(text, encoding="utf-8")
    listed(folder)
    with pytest.raises(KnowledgeError) as caught:
        installed_layers()
    assert told in str(caught.value) and "--without-packs" in str(caught.value)
    assert str(caught.value).startswith(f"{folder / 'pack.yaml'}:")


def test_two_packs_of_one_name(tmp_path: Path) -> None:
    """A journal that names a pack must mean one."""
    listed(write_pack(tmp_path / "one", "same"), write_pack(tmp_path / "two", "same"))
    with pytest.raises(KnowledgeError, match="two rule packs have one name"):
        installed_layers()


def test_a_listed_folder_that_is_gone(tmp_path: Path) -> None:
    """A stick that is not plugged in."""
    listed(tmp_path / "gone")
    with pytest.raises(KnowledgeError, match=r"packs\.yaml:2:5: there is no such folder"):
        installed_layers()


# ---------------------------------------------------------------- adding and replacing


def test_the_local_folder_adds_a_rule(small: Small) -> None:
    """The whole point: a few lines, and everything that was there stays."""
    before = small.load()
    write_pack(local_folder(), lamp=adds(rule(OWN)))
    after = over(small)
    assert list(after.rules) == ["lamp/feed-without-light", SHIPPED_RULE, OWN, "shared/low-battery-dims"]
    assert after.layer_of[OWN] == "local" and after.layer_of[SHIPPED_RULE] == "shipped"
    assert after.places_of[OWN] == place_in(local_folder() / "circuits/lamp.yaml", f"id: {OWN}")
    assert after.replaced == () and after.content_hash != before.content_hash
    assert {name: after.rules[name] for name in before.rules} == dict(before.rules)


def test_what_a_layer_says_of_a_circuit_that_is_not_fitted_is_left_out(tmp_path: Path) -> None:
    """Whoever adds a rule knows one vehicle; it must not keep another from beginning. A slip is told all the same."""
    second = rule(OWN).replace("lamp-on, light: is dark", "side-on, light: is dark")
    write_pack(local_folder(), lamp=adds(second, rule("lamp/mine")))
    alone = over(write_small(tmp_path / "alone", second=SECOND))
    assert OWN not in alone.rules and "lamp/mine" in alone.rules
    assert OWN in over(write_small(tmp_path / "both", (CAR, "[lamp]", "[lamp, second]"), second=SECOND)).rules
    write_pack(local_folder(), lamp=adds(second.replace("side-on", "side-no")))
    (told,) = problems(write_small(tmp_path / "slip", second=SECOND))
    assert "`side-no`" in told


def test_an_entry_is_replaced_whole_and_recorded(small: Small) -> None:
    """Who asks why a rule is not what the book says must find the one in its place."""
    write_pack(local_folder(), lamp=adds(rule(SHIPPED_RULE, "Mine", 2)))
    know = over(small)
    assert know.rules[SHIPPED_RULE].title == "Mine" and len(know.rules[SHIPPED_RULE].then) == 1
    assert list(know.rules)[1] == SHIPPED_RULE  # where the old one stood
    (found,) = know.replaced
    assert (found.id, found.section, found.by, found.of) == (SHIPPED_RULE, "rules", "local", "shipped")
    assert found.place == place_in(local_folder() / "circuits/lamp.yaml", SHIPPED_RULE)
    assert found.was == small.at("circuits/lamp.yaml", SHIPPED_RULE)


def test_every_section_may_be_added_to(small: Small) -> None:
    """Parts, wires, checks, places and the rest alike, and the supply and what is shared too."""
    write_pack(
        local_folder(),
        lamp="""\
circuit: lamp
places: {roof: on the roof}
controls: {lid: [shut, open]}
parts:
  second-lamp: {kind: lamp, title: Second lamp, place: roof, terminals: ["55", "31"], test-w: 5 W}
  work-lamp: {kind: lamp, title: Work lamp, place: front, terminals: ["55", "31"], test-w: 50 W}
wires:
  second-feed: {from: work-lamp.55, to: second-lamp.55, colour: green, section-mm2: 1 mm2, length-m: 1 m}
  second-earth: {from: second-lamp.31, to: earth-front.31, colour: brown, section-mm2: 1 mm2, length-m: 1 m}
checks:
  - {id: second-on, title: Second lamp, kind: look, operate: {ignition: "on"}, target: second-lamp, place: roof}
""",
        supply="circuit: supply\ncautions:\n  - {id: mind-the-lid, text: Mind the lid., source: from memory}\n",
        shared="circuit: shared\nrules:\n" + rule("shared/dark"),
        kinds="kinds:\n  lamp:\n    loose: {title: is loose, frequency: 3, rewired: 9, remedy: renew, ohm: 1 ohm,\n"
        '            source: "common practice, no source"}\n',
    )
    know = over(small)
    assert know.parts["work-lamp"].test_w == 50 and know.places["roof"] == "on the roof"
    assert {"second-feed", "second-on", "mind-the-lid", "shared/dark"} <= set(know.circuit_of)
    assert know.controls["lid"] == ("shut", "open")
    assert list(know.kinds.kinds["lamp"]) == ["open", "loose"]
    assert [(found.id, found.section) for found in know.replaced] == [("work-lamp", "parts")]


def test_a_new_circuit_stands_by_itself(small: Small) -> None:
    """A pack may bring a circuit that nobody had."""
    text = """\
circuit: bell
title: Bell
parts:
  bell: {kind: horn, title: Bell, place: front, current-a: 2 A}
wires:
  bell-feed: {from: key-switch.15, to: bell.71, colour: black, section-mm2: 1 mm2, length-m: 1 m}
  bell-earth: {from: bell.31b, to: earth-main.31, colour: brown, section-mm2: 1 mm2, length-m: 1 m}
"""
    kinds = (
        "kinds:\n  horn:\n    open: {title: is open, frequency: 3, rewired: 9, remedy: renew, source: from memory}\n"
    )
    write_pack(local_folder(), bell=text, kinds=kinds)
    small.vehicle.write_text(small.vehicle.read_text().replace("[lamp]", "[lamp, bell]"))
    know = over(small)
    assert know.layer_of["bell"] == "local" and list(know.circuits) == ["supply", "lamp", "bell", "shared"]


def test_a_file_for_a_circuit_that_is_not_there(small: Small) -> None:
    """A slip of the pen in the file's name would otherwise be a rule that never fires."""
    folder = write_pack(local_folder(), lampp="circuit: lampp\nrules:\n" + rule("lampp/dark"))
    small.vehicle.write_text(small.vehicle.read_text().replace("[lamp]", "[lampp]"))
    (told,) = problems(small)
    assert told.startswith(f"{folder / 'circuits/lampp.yaml'}:1:10: no layer below has this circuit")
    assert "Did you mean `lamp`?" in told


@pytest.mark.parametrize(
    ("text", "line", "told"),
    [
        (adds(rule(OWN).replace("lamp-on", "lamp-onn")), 6, "Did you mean `lamp-on`?"),
        (adds(rule(OWN, weight=500)), 8, "`weight` has a wrong value"),
        (adds(rule(OWN), rule(OWN)), 12, "is given twice"),
        (adds(rule("horn/dark")), 3, "a rule's id begins with its circuit"),
        ("circuit: horn\n", 1, "the circuit's name is not its file's"),
        ("circuit: lamp\nwritten-for: {system-v: 6 V}\n", 2, "written for the same vehicle"),
        ("- a list\n", 1, "does not hold a mapping"),
        ("circuit: lamp\nrulse: []\n", 2, "Did you mean `rules`?"),
        (adds(rule(OWN, state="retired", replaced_by="lamp/dark")), 12, "rule"),
    ],
)
def test_mistakes_keep_their_file_and_line(small: Small, text: str, line: int, told: str) -> None:
    """However the layers are joined, the message must point to what the person wrote."""
    folder = write_pack(local_folder(), lamp=text)
    found = [each for each in problems(small) if told in each]
    assert found and found[0].startswith(f"{folder / 'circuits/lamp.yaml'}:{line}:")


def test_a_mistake_below_keeps_its_file_too(tmp_path: Path) -> None:
    """An entry that follows a replaced one must not be told of under the other's name."""
    small = write_small(
        tmp_path / "base", ("circuits/lamp.yaml", "{check: lamp-volts, above", "{check: lamp-vlts, above")
    )
    write_pack(local_folder(), lamp=adds(rule(SHIPPED_RULE), rule(OWN)))
    told = problems(small)
    assert any(each.startswith(f"{small.at('circuits/lamp.yaml', 'lamp-vlts')}: ") for each in told)


def test_an_error_in_a_layer_names_the_way_round(small: Small) -> None:
    """A broken rule of one's own must not stand between a person and the vehicle."""
    write_pack(local_folder(), lamp="circuit: [\n")
    with pytest.raises(KnowledgeError) as caught:
        over(small)
    assert caught.value.hint and "--without-packs" in str(caught.value)
    with pytest.raises(KnowledgeError) as below:
        write_small(small.rules, ("circuits/lamp.yaml", "circuit: lamp", "circuit: lmp")).load()
    assert not below.value.hint


def test_the_shipped_rules_alone_by_the_environment(monkeypatch: pytest.MonkeyPatch) -> None:
    """The way round works where no option can be given."""
    write_pack(local_folder(), "one", lamp="circuit: [\n")
    monkeypatch.setenv("DIAG_PACKS", "none")
    assert names() == ["shipped"]
    monkeypatch.setenv("DIAG_PACKS", "some")
    with pytest.raises(KnowledgeError, match="DIAG_PACKS"):
        installed_layers()


# ---------------------------------------------------------------- conflicts and retired rules


def two_packs(tmp_path: Path, after: str = "") -> tuple[Path, Path]:
    """Two packs that give one rule."""
    one = write_pack(tmp_path / "one", "one", lamp=adds(rule(OWN, "One")))
    two = write_pack(tmp_path / "two", "two", after, lamp=adds(rule(OWN, "Two")))
    listed(one, two)
    return one, two


def test_two_packs_that_give_one_id_are_in_conflict(small: Small, tmp_path: Path) -> None:
    """Which of them counts would hang on the order of a list that nobody reads."""
    one, two = two_packs(tmp_path)
    (told,) = problems(small)
    assert told.startswith(f"{place_in(two / 'circuits/lamp.yaml', OWN)}: the rule packs `one` and `two`")
    assert str(place_in(one / "circuits/lamp.yaml", OWN)) in told and "after: [one]" in told


def test_after_settles_the_conflict(small: Small, tmp_path: Path) -> None:
    """A pack that says it is laid over the other may replace what that gives, and it is recorded."""
    two_packs(tmp_path, after="one")
    know = over(small)
    assert know.rules[OWN].title == "Two" and know.layer_of[OWN] == "two"
    assert [(found.by, found.of) for found in know.replaced] == [("two", "one")]


def test_two_packs_may_both_add(small: Small, tmp_path: Path) -> None:
    """Only one id is a conflict, one circuit is none."""
    listed(
        write_pack(tmp_path / "one", "one", lamp=adds(rule("lamp/one"))),
        write_pack(tmp_path / "two", "two", lamp=adds(rule("lamp/two"))),
    )
    know = over(small)
    assert (know.layer_of["lamp/one"], know.layer_of["lamp/two"]) == ("one", "two")


def test_the_local_folder_stands_over_every_pack(small: Small, tmp_path: Path) -> None:
    """It needs no word of it: it is the person's own."""
    listed(write_pack(tmp_path / "one", "one", lamp=adds(rule(OWN, "One"))))
    write_pack(local_folder(), lamp=adds(rule(OWN, "Mine")))
    know = over(small)
    assert know.rules[OWN].title == "Mine" and [(found.by, found.of) for found in know.replaced] == [("local", "one")]


def test_a_retired_id_is_not_given_anew(tmp_path: Path) -> None:
    """Journals and books name a rule by its id; it must not come to mean another thing."""
    text = rule("lamp/old", state="retired", replaced_by=SHIPPED_RULE)
    small = write_small(tmp_path / "base", ("circuits/lamp.yaml", "rules:\n", f"rules:\n{text}"))
    folder = write_pack(local_folder(), lamp=adds(rule("lamp/old")))
    (told,) = problems(small)
    assert told.startswith(f"{folder / 'circuits/lamp.yaml'}:3:9: ") and f"`{SHIPPED_RULE}`" in told
    write_pack(local_folder(), lamp=adds(rule("lamp/old", state="retired", replaced_by=SHIPPED_RULE)))
    assert over(small).rules["lamp/old"].state == "retired"


def test_a_layer_may_retire_a_rule_of_a_lower_one(small: Small) -> None:
    """That is how a rule is taken out of use without being lost."""
    new, old = rule(OWN), rule(SHIPPED_RULE, state="retired", replaced_by=OWN)
    write_pack(local_folder(), lamp=adds(old, new))
    know = over(small)
    assert know.rules[SHIPPED_RULE].replaced_by == OWN and know.replaced[0].id == SHIPPED_RULE


def test_successors_in_a_ring(small: Small) -> None:
    """Who looks for what holds today would never arrive."""
    one = rule("lamp/one", state="retired", replaced_by="lamp/two")
    two = rule("lamp/two", state="retired", replaced_by="lamp/one")
    write_pack(local_folder(), lamp=adds(one, two))
    assert [each for each in problems(small) if "in a ring" in each and "`lamp/one`" in each]


# ---------------------------------------------------------------- hashes


def test_a_layers_hash_is_that_of_its_knowledge(tmp_path: Path) -> None:
    """Recorded jobs prove rules and are none; whatever else is changed must be seen."""

    def digest() -> str:
        return next(layer for layer in installed_layers() if layer.name == "local").digest

    folder = write_pack(local_folder(), lamp=adds(rule(OWN)))
    first = digest()
    (folder / "jobs").mkdir()
    (folder / "jobs" / "one.expect.yaml").write_text("a: b\n")
    assert digest() == first
    write_pack(folder, lamp=adds(rule(OWN, weight=4)))
    second = digest()
    write_pack(folder, vehicles__mine="vehicle: mine\n")
    third = digest()
    (folder / "vehicles" / "mine.yaml").rename(folder / "vehicles" / "ours.yaml")
    assert len({first, second, third, digest()}) == 4


def test_layers_given_stand_in_place_of_the_installed(small: Small, tmp_path: Path) -> None:
    """A replay weighs jobs with layers that are not installed."""
    write_pack(local_folder(), lamp=adds(rule(OWN)))
    pack = write_pack(tmp_path / "one", "one", lamp=adds(rule("lamp/one")))
    layer = Layer("one", "One", "1.0", pack, "folder", "0" * 16)
    know = load_knowledge(small.vehicle, small.rules, [layer])
    assert "lamp/one" in know.rules and OWN not in know.rules and know.layers[1:] == (layer,)
