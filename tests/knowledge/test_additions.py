"""What a higher layer may do to options, variants, kinds and whole circuits of a lower one.

source of all expectations: common practice, no source
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import yaml

from diag.errors import KnowledgeError
from diag.knowledge.additions import Ledger, lay_circuit
from diag.knowledge.assemble import Knowledge
from diag.knowledge.folders import local_folder
from diag.knowledge.layers import Layer, installed_layers
from diag.knowledge.load import check_layers, load_knowledge, rules_folder
from diag.knowledge.reader import Loc, read_yaml
from diag.knowledge.variants import LISTS, MAPPINGS
from tests.knowledge.packs import place_in, rule, write_pack
from tests.knowledge.small import Small, write_small

VARIED = """\
options:
  glass: {title: Glass of the lamp, choices: {clear: clear, amber: amber}}
variants:
  - only: {glass: clear}
    checks:
      - {id: glass-looks, title: Clear glass, kind: choose, place: front, usual: {whole: 0.9},
         choices: [{value: whole, label: whole}, {value: cracked, label: cracked}]}
  - only: {glass: amber}
    parts:
      work-lamp: {kind: lamp, title: Amber lamp, place: front, terminals: ["55", "31"], test-w: 21 W}
    rules:
      - id: lamp/amber-dark
        title: Amber and dark
        when: [{check: lamp-on, light: is dark}]
        then: [{points-to: work-lamp.open, weight: 2}]
        because: It is.
        source: from memory
        state: draft
"""
AMBER = "options: {lamp: {glass: amber}}\n"


def varied(tmp_path: Path, *, amber: bool = False, more: str = "") -> Small:
    """The small vehicle whose lamp has two sorts of glass."""
    small = write_small(tmp_path / "base", ("circuits/lamp.yaml", "parts:\n", f"{VARIED}parts:\n"))
    small.vehicle.write_text(small.vehicle.read_text() + (AMBER if amber else "") + more, encoding="utf-8")
    return small


def over(small: Small) -> Knowledge:
    """With the local folder over its rules."""
    return load_knowledge(small.vehicle, small.rules, installed_layers())


def told(small: Small) -> str:
    """What is wrong with it."""
    with pytest.raises(KnowledgeError) as caught:
        over(small)
    return str(caught.value)


def own(text: str) -> Path:
    """Circuits/lamp.yaml of the local folder, with this text."""
    return write_pack(local_folder(), lamp=f"circuit: lamp\n{text}") / "circuits" / "lamp.yaml"


def variant(only: str, name: str, title: str) -> str:
    """A variant with one rule."""
    lines = rule(name, title).splitlines()
    return f"  - only: {only}\n    rules:\n" + "".join(f"    {line}\n" for line in lines)


def test_an_entry_that_one_variant_has_is_replaced_there(tmp_path: Path) -> None:
    """On a vehicle without that variant it must not appear, though the layer names no variant."""
    path = own("rules:\n" + rule("lamp/amber-dark", "Mine"))
    know = over(varied(tmp_path, amber=True))
    assert know.rules["lamp/amber-dark"].title == "Mine"
    assert know.places_of["lamp/amber-dark"] == place_in(path, "id: lamp/amber-dark")
    assert [(each.id, each.was.file.endswith("base/circuits/lamp.yaml")) for each in know.replaced] == [
        ("lamp/amber-dark", True)
    ]
    assert "lamp/amber-dark" not in over(varied(tmp_path)).rules


def test_an_entry_of_several_forms_is_not_replaced_by_one(tmp_path: Path) -> None:
    """Each form is for another vehicle; one that fits all would be a guess."""
    small = varied(tmp_path)
    text = small.rules / "circuits/lamp.yaml"
    check = VARIED[VARIED.index("    checks:") : VARIED.index("  - only: {glass: amber}")]
    text.write_text(text.read_text().replace("    parts:\n      work-lamp", f"{check}    parts:\n      work-lamp"))
    path = own("checks:\n  - {id: glass-looks, title: Mine, kind: do, place: front}\n")
    assert f"{place_in(path, 'glass-looks')}: 2 variants of the circuit give `glass-looks`" in told(small)


def test_a_variant_with_the_same_only_adds_to_the_lower_one(tmp_path: Path) -> None:
    """Two variants that hold together may not give one id, so a layer says which it means by its `only`."""
    own("variants:\n" + variant("{glass: [amber]}", "lamp/amber-dark", "Mine"))
    know = over(varied(tmp_path, amber=True))
    assert know.rules["lamp/amber-dark"].title == "Mine" and know.parts["work-lamp"].title == "Amber lamp"
    assert len(know.replaced) == 1


def test_a_new_variant_joins_the_others(tmp_path: Path) -> None:
    """And what it stands in for outside the variants is on record, for it hides that where it holds."""
    own("variants:\n" + variant("{system-v: 12}", "lamp/fed-with-right-fuse", "On 12 V"))
    know = over(varied(tmp_path))
    assert know.rules["lamp/fed-with-right-fuse"].title == "On 12 V"
    assert [(each.id, each.of) for each in know.replaced] == [("lamp/fed-with-right-fuse", "shipped")]


def test_a_variant_may_take_a_part_away(tmp_path: Path) -> None:
    """With what rests on it."""
    own("variants:\n  - only: {glass: [amber]}\n    without: [lamp-volts]\n")
    assert "lamp-volts" in over(varied(tmp_path)).checks
    know = over(varied(tmp_path, amber=True))
    assert "lamp-volts" not in know.checks and "lamp/feed-without-light" not in know.rules


def test_a_new_option_and_a_new_choice(tmp_path: Path) -> None:
    """A layer may know of a sort that nobody had, if what vehicles chose still means the same."""
    own(
        "options:\n"
        "  glass: {title: Glass, choices: {clear: clear, amber: amber, blue: blue}}\n"
        "  mount: {title: Mount, choices: {fixed: fixed, swivel: on a swivel}}\n"
        "variants:\n" + variant("{glass: blue, mount: swivel}", "lamp/blue", "Blue")
    )
    small = varied(tmp_path, more="options: {lamp: {glass: blue, mount: swivel}}\n")
    know = over(small)
    assert know.rules["lamp/blue"].title == "Blue" and "glass-looks" not in know.checks
    assert [(each.id, each.section) for each in know.replaced] == [("glass", "options")]


@pytest.mark.parametrize("choices", ["{amber: amber, clear: clear}", "{clear: clear, blue: blue}"])
def test_an_option_keeps_its_choices(tmp_path: Path, choices: str) -> None:
    """A vehicle that named none has the first; one that named a lost choice could not be opened."""
    path = own(f"options:\n  glass: {{title: Glass, choices: {choices}}}\n")
    assert f"{place_in(path, choices)}: the option `glass` of a lower layer" in told(varied(tmp_path))


def test_title_needs_and_beside(tmp_path: Path) -> None:
    """A new title is on record; circuits that are named come behind those that were."""
    small = write_small(
        tmp_path / "base",
        ("circuits/lamp.yaml", "title: Work lamp\n", "title: Work lamp\nbeside: [bell]\n"),
        bell="circuit: bell\ntitle: Bell\n",
        gong="circuit: gong\ntitle: Gong\n",
    )
    path = own("title: Lamp of ours\nneeds: [gong]\nbeside: [bell, gong]\n")
    know = over(small)
    assert know.circuits["lamp"].title == "Lamp of ours" and know.circuits["lamp"].beside == ("bell", "gong")
    assert "gong" in know.circuits
    assert [(each.id, each.section, each.place) for each in know.replaced] == [
        ("lamp", "title", place_in(path, "title"))
    ]
    own("beside: [bell, ging]\n")
    assert f"{path}:2:16: there is no such circuit" in told(small)


def test_kinds_by_kind_and_mode(tmp_path: Path) -> None:
    """One mode is replaced, its neighbours stay; a remedy's wording likewise."""
    source = 'source: "common practice, no source"'
    write_pack(
        local_folder(),
        kinds=f"""\
kinds:
  lamp:
    open: {{title: is gone, frequency: 80, rewired: 20, remedy: renew, {source}}}
remedies:
  renew: {{title: "Put in a new {{part}}", steps: [take the old one out, put a new one in]}}
  polish: {{title: "Polish {{part}}", steps: [polish it]}}
outside-chance: 0.02
""",
    )
    know = over(write_small(tmp_path / "base"))
    assert know.kinds.kinds["lamp"]["open"].frequency == 80 and know.kinds.kinds["fuse"].keys() == {
        "blown",
        "resistive",
    }
    assert know.kinds.remedies["renew"].steps[0].startswith("take") and "polish" in know.kinds.remedies
    assert know.kinds.outside_chance == 0.02
    assert [(each.id, each.section) for each in know.replaced] == [
        ("outside-chance", "outside-chance"),
        ("lamp.open", "kinds"),
        ("renew", "forms"),
    ]


def test_a_mistake_in_kinds_keeps_its_place(tmp_path: Path) -> None:
    """In the layer's file, not in the one below."""
    text = "kinds:\n  lamp:\n    dirty: {title: is dirty, frequency: 9, rewired: 9, remedy: wsh, source: from memory}\n"
    folder = write_pack(local_folder(), kinds=text)
    assert str(place_in(folder / "kinds.yaml", "wsh")) in told(write_small(tmp_path / "base"))


def test_ids_of_two_circuits_still_collide(tmp_path: Path) -> None:
    """A layer's new circuit may not take an id that another circuit has."""
    part = "work-lamp: {kind: lamp, title: L, place: front, terminals: [a, b], test-w: 5 W}"
    text = f"circuit: bell\ntitle: Bell\nparts:\n  {part}\n"
    folder = write_pack(local_folder(), bell=text)
    small = write_small(tmp_path / "base")
    small.vehicle.write_text(small.vehicle.read_text().replace("[lamp]", "[lamp, bell]"))
    assert f"{folder / 'circuits' / 'bell.yaml'}:4:3: the id `work-lamp` is given twice" in told(small)


def test_a_circuit_that_is_not_fitted_does_not_stop_the_job(tmp_path: Path) -> None:
    """As with shipped circuits; but whoever looks the layers over is told."""
    small = write_small(tmp_path / "base", bell="circuit: bell\ntitle: Bell\n")
    folder = write_pack(local_folder(), bell="circuit: bell\nrulse: []\n")
    assert "bell" not in over(small).circuits
    layers = (Layer("shipped", "", "", small.rules, "shipped", ""), installed_layers()[-1])
    (problem,) = check_layers(layers)[1]
    assert problem.place == place_in(folder / "circuits" / "bell.yaml", "rulse")


def test_what_a_layer_brings_to_an_absent_circuit_is_outside(tmp_path: Path) -> None:
    """A shared rule that speaks of it is left out on vehicles without that circuit, and is no mistake."""
    small = write_small(tmp_path / "base", bell="circuit: bell\ntitle: Bell\n")
    check = "checks:\n  - {id: bell-mark, title: Mark, kind: do, place: front}\n"
    shared = rule("shared/bell").replace("lamp-on, light: is dark", "bell-mark, is: done")
    write_pack(local_folder(), bell=f"circuit: bell\n{check}", shared=f"circuit: shared\nrules:\n{shared}")
    assert "shared/bell" not in over(small).rules
    small.vehicle.write_text(small.vehicle.read_text().replace("[lamp]", "[lamp, bell]"))
    assert "shared/bell" in over(small).rules


def test_three_layers_one_over_the_other(tmp_path: Path) -> None:
    """Each replacing is on record with the layer that was replaced, not with the lowest one."""
    small = write_small(tmp_path / "base")
    name = "lamp/fed-with-right-fuse"
    layers = []
    for number, origin in enumerate(("folder", "local"), start=1):
        folder = write_pack(tmp_path / origin, lamp="circuit: lamp\nrules:\n" + rule(name, f"Number {number}"))
        layers.append(Layer(origin, "", "1", folder, origin, ""))  # type: ignore[arg-type]
    know = load_knowledge(small.vehicle, small.rules, layers)
    assert know.rules[name].title == "Number 2"
    assert [(each.by, each.of) for each in know.replaced] == [("folder", "shipped"), ("local", "folder")]
    assert know.replaced[1].was == know.replaced[0].place


def test_the_files_below_are_as_they_were(tmp_path: Path) -> None:
    """A load with a layer must not leave traces in what was read for one without (shipped files are kept)."""
    small = varied(tmp_path, amber=True)
    before = load_knowledge(small.vehicle, small.rules)
    own("rules:\n" + rule("lamp/amber-dark", "Mine") + rule("lamp/more"))
    assert over(small).content_hash != before.content_hash
    assert load_knowledge(small.vehicle, small.rules).content_hash == before.content_hash


def test_two_packs_may_name_one_place_alike(tmp_path: Path) -> None:
    """Each needs it, and both mean the same; other words for it would be a clash."""
    small = write_small(tmp_path / "base")

    def both(words: str) -> list[Layer]:
        one = write_pack(tmp_path / "one", "one", lamp="circuit: lamp\nplaces: {roof: on the roof}\n")
        two = write_pack(tmp_path / "two", "two", lamp=f"circuit: lamp\nplaces: {{roof: {words}}}\n")
        return [Layer(folder.name, "", "1", folder, "folder", "") for folder in (one, two)]

    know = load_knowledge(small.vehicle, small.rules, both("on the roof"))
    assert know.places["roof"] == "on the roof" and know.replaced == ()
    with pytest.raises(KnowledgeError, match="both give `roof` under `places`"):
        load_knowledge(small.vehicle, small.rules, both("above"))


def test_the_first_variants_of_a_circuit(tmp_path: Path) -> None:
    """Where the lower file has none, mistakes in them still have their place."""
    path = own("variants:\n" + variant("{earth: negative}", "lamp/negative", "Mine").replace("lamp-on", "lamp-un"))
    assert str(place_in(path, "lamp-un")) in told(write_small(tmp_path / "base"))
    path = own("variants:\n" + variant("{erth: negative}", "lamp/negative", "Mine"))
    assert f"{place_in(path, 'erth')}: there is no such option" in told(write_small(tmp_path / "base"))


def scalars(node: Any, loc: Loc = ()) -> Iterator[tuple[Loc, str]]:
    """Every text in plain data with its way there."""
    if isinstance(node, dict):
        for key, inner in node.items():
            yield from scalars(inner, (*loc, key))
    elif isinstance(node, list):
        for index, inner in enumerate(node):
            yield from scalars(inner, (*loc, index))
    else:
        yield loc, node


@pytest.mark.parametrize("circuit", ["horn", "stop-lamps", "turn-signals"])
def test_every_text_of_a_joined_circuit_has_its_own_place(tmp_path: Path, circuit: str) -> None:
    """Whatever is picked from a real circuit and given again in a layer, each key and value of the joined file is
    found where its place says, and what the layer gave is the layer's."""
    below = rules_folder() / "circuits" / f"{circuit}.yaml"
    lower = read_yaml(below)
    chance = random.Random(circuit)
    picked: dict[str, Any] = {"circuit": circuit}
    for section in (*MAPPINGS, *LISTS, "variants"):
        found = lower.data.get(section) or ()
        kept = [each for each in found if chance.random() < 0.3]
        if kept:
            picked[section] = kept if section in (*LISTS, "variants") else {name: found[name] for name in kept}
    picked.setdefault("checks", []).append({"id": "quite-new", "title": "New", "kind": "do", "place": "front"})
    above = own_circuit(circuit, yaml.safe_dump(picked, sort_keys=False, allow_unicode=True))
    upper = read_yaml(above)
    layers = [Layer("shipped", "", "", below, "shipped", ""), Layer("local", "", "", above, "local", "")]
    ledger = Ledger({str(below): layers[0], str(above): layers[1]})
    joined = lay_circuit(lower, upper, ledger)
    assert not ledger.problems and ledger.replaced
    assert {**joined.data, "checks": joined.data["checks"][:-1]} == lower.data
    texts = {str(path): path.read_text(encoding="utf-8").splitlines() for path in (below, above)}
    given = 0
    for loc, text in scalars(joined.data):
        place = joined.places[loc]
        there = texts[place.file][place.line - 1][place.column - 1 :].lstrip("'\"")
        assert not text or there[:3] in (text[:3], ">", "|", ">-") or there.startswith(text[:1]), (loc, place)
        given += place.file == str(above)
        if len(loc) > 1 and loc[0] in MAPPINGS:
            named = joined.key_places[loc[:2]]
            assert texts[named.file][named.line - 1][named.column - 1 :].lstrip("'\"").startswith(str(loc[1]))
            assert named.file == place.file
    assert given == sum(1 for loc, _ in scalars(upper.data) if loc[0] != "circuit" and "only" not in loc)


def own_circuit(name: str, text: str) -> Path:
    """The local folder's file of a circuit."""
    return write_pack(local_folder(), **{name: text}) / "circuits" / f"{name}.yaml"


def test_a_mistake_in_a_further_variant(tmp_path: Path) -> None:
    """Behind those of the lower file, where its number is another than in the layer's own."""
    path = own("variants:\n" + variant("{earth: negative}", "lamp/negative", "Mine").replace("lamp-on", "lamp-un"))
    assert str(place_in(path, "lamp-un")) in told(varied(tmp_path))


def test_an_only_is_the_same_in_any_order(tmp_path: Path) -> None:
    """Else two variants that hold together would give one id."""
    small = varied(tmp_path)
    path = small.rules / "circuits/lamp.yaml"
    path.write_text(path.read_text().replace("only: {glass: amber}", "only: {glass: [amber, clear]}"))
    own("variants:\n" + variant("{glass: [clear, amber]}", "lamp/amber-dark", "Mine"))
    assert over(small).rules["lamp/amber-dark"].title == "Mine"


def test_a_retired_rule_establishes_nothing(tmp_path: Path) -> None:
    """Others that rest on its conclusion would never fire again; told where it was retired."""
    name = "lamp/feed-without-light"
    text = rule(name, state="retired").replace("    because", "      - {establish: lamp-is-fed}\n    because")
    path = own("rules:\n" + text)
    assert f"{place_in(path, name)}: the rule that stands here" in told(write_small(tmp_path / "base"))


def test_what_is_said_again_alike_is_no_change(tmp_path: Path) -> None:
    """A title and volts copied along with a rule replace nothing."""
    own("title: Work lamp\nwritten-for: {system-v: 12 V}\nrules:\n" + rule("lamp/more"))
    know = over(write_small(tmp_path / "base"))
    assert "lamp/more" in know.rules and know.replaced == ()
