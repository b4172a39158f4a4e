"""What is told of an id: in words, in forty columns, as JSON, with the nearest names where there is none.

source of all expectations: the small vehicle's own files; common practice, no source
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from diag.cli import main
from diag.errors import DiagError
from diag.knowledge.load import load_knowledge
from diag.knowledge.schema import Rule
from diag.life.about import about
from diag.life.about_network import network_on
from diag.life.about_text import page
from diag.life.about_words import times_words
from diag.life.world import gather
from tests.knowledge.small import Small, write_small
from tests.life.jobs import DARK_AND_FED, DARK_UNFED, write_job
from tests.life.test_states import FED, LOW, RIGHT_FUSE
from tests.vehicles import SIX


@pytest.fixture
def small(tmp_path: Path) -> Small:
    made = write_small(tmp_path)
    write_job(made.rules / "jobs", "bulb-dead", DARK_AND_FED, "lamp-renew", cause="work-lamp.open")
    write_job(made.rules / "jobs", "earth-bad", (*DARK_AND_FED, ("fuse-marking", "wrong")), "earth-front.clean",
              cause="earth-front.open")  # fmt: skip
    write_job(made.rules / "jobs", "fuse-gone", DARK_UNFED, "fuse-lamp.renew", cause="fuse-lamp.blown")
    return made


def run(small: Small, *words: str) -> Result:
    return CliRunner().invoke(main, ["rules", *words, "--in", str(small.rules)])


def test_a_rule_is_told_in_words(small: Small) -> None:
    """Someone who knows no ids must understand what it says, how strongly, and what it was worth."""
    shown = run(small, "show", FED)
    assert shown.exit_code == 0
    text = " ".join(shown.stdout.split())
    for words in (
        "1. Work lamp with the key on: dark computed: the network agrees",
        "2. Feed of the work lamp: above 11 V",
        "burnt out: 8 times likelier (+9 db)",
        "is blown: 20 times less likely (-13 db)",
        "lamp is fed, on which 1 rule builds",
        "Because: Volts at its feed leave only the lamp and its earth.",
        "Looks like: a missing earth",
        "Source: common practice, no source",
        "State: draft",
        "Fires in 2 recorded jobs: right in 1 of 2 jobs; that leaves",
        "All 2 were written by hand",
        "- bulb-dead: right; cured by lamp-renew",
        "- earth-bad: pointed elsewhere; cured by earth-front.clean",
        "Near misses: fuse-gone",
        f"File: {small.rules}/circuits/lamp.yaml:{small.at('circuits/lamp.yaml', f'- id: {FED}').line}",
    ):
        assert words in text, words


def test_a_condition_that_another_rule_makes_names_that_rule(small: Small) -> None:
    """`established` is a word of the files; a person wants to know where it comes from."""
    text = " ".join(run(small, "show", RIGHT_FUSE).stdout.split())
    assert "concluded before: lamp is fed (by `Volts at the lamp and no light`)" in text
    assert "Marking on the fuse: 8 A not computed: the rule's weight counts" in text
    assert "CAUTION before anything else: - Take the earth clamp off the battery first." in text
    assert "No recorded job fires it: nothing is known of how often it is right." in text


IDS = {
    FED: "RULE", "lamp-on": "CHECK", "lamp-dead": "SYMPTOM", "work-lamp": "PART", "lamp-feed": "WIRE",
    "work-lamp.open": "CAUSE", "work-lamp.glass-painted": "CAUSE", "lamp-renew": "REMEDY",
    "earth-front.clean": "REMEDY", "battery-off-first": "CAUTION", "lamp": "CIRCUIT",
}  # fmt: skip


@pytest.mark.parametrize(("name", "sort"), IDS.items())
def test_every_sort_of_id_is_told_in_forty_columns_and_as_json(small: Small, name: str, sort: str) -> None:
    """A phone at the vehicle is narrow; only the file's path, which an editor takes, may be longer."""
    narrow = run(small, "show", name, "--narrow").stdout.splitlines()
    assert narrow[0].startswith(sort)
    assert all(len(line) <= 40 for line in narrow if "/" not in line), max(narrow, key=len)
    found = json.loads(run(small, "show", name, "--format", "json").stdout)
    assert found["what"] == sort.lower() and found["id"] == name and found["line"] > 0 and found["title"]


def test_a_cause_names_the_rules_that_speak_of_it_and_what_cures_it(small: Small) -> None:
    """From a suspicion to the rule behind it and to the work."""
    found = json.loads(run(small, "show", "work-lamp.open", "--format", "json").stdout)
    assert found["pointed-to-by"] == [FED] and found["remedy"] == "lamp-renew"
    assert 0 < found["share"] < 1


def test_an_unknown_id_names_the_nearest(small: Small) -> None:
    """A slip of the finger, or words instead of an id."""
    slip, words, nothing = (run(small, "show", name) for name in ("lamp/fed-without-light", "work lamp open", "zzz"))
    assert (slip.exit_code, words.exit_code, nothing.exit_code) == (2, 2, 2)
    assert f"`{FED}`" in slip.stderr and "nothing is called that on small" in slip.stderr
    assert "`work-lamp.open`" in words.stderr
    assert "`diag rules show` lists the rules" in nothing.stderr


def test_the_list_is_filtered_and_counted(small: Small) -> None:
    """By circuit, state, layer, and what no job exercises."""
    assert "3 rules: 3 draft. Exercised by no recorded job: 2." in run(small, "show").stdout
    rows = json.loads(run(small, "show", "--format", "json").stdout)
    assert [row["id"] for row in rows] == [RIGHT_FUSE, FED, LOW]
    assert {row["id"]: (row["fired"], row["right"]) for row in rows}[FED] == (2, 1)
    assert [r["id"] for r in json.loads(run(small, "show", "--unexercised", "--format", "json").stdout)] == [
        RIGHT_FUSE,
        LOW,
    ]
    assert "1 rule: 1 draft." in run(small, "show", "--circuit", "shared").stdout
    assert "0 rules." in run(small, "show", "--state", "proven").stdout
    assert "3 rules" in run(small, "show", "--layer", "shipped").stdout
    wrong = run(small, "show", "--circuit", "lmap")
    assert wrong.exit_code == 2 and "Did you mean `lamp`?" in wrong.stderr
    assert all(len(line) <= 40 for line in run(small, "show", "--narrow").stdout.splitlines())


def test_the_network_is_asked_condition_by_condition() -> None:
    """It agrees where the cause makes what is seen likelier, is against where the rule points the wrong way, and does
    not tell where nothing changes. source: common practice, no source (an open feed leaves the horn silent)"""
    knowledge = load_knowledge(SIX)
    silent = knowledge.rules["horn/silent-alone"]
    assert {said.verdict(silent) for said in network_on(knowledge, silent).values()} == {"agrees"}
    plain = silent.model_dump(by_alias=True)
    plain["when"] = [{"check": "horn-sound", "is": "sound"}, {"check": "horn-sound", "is-not": "buzz"}]
    plain["then"] = [{"points-to": "fuse-horn.blown", "weight": 4}]
    wrong = Rule.model_validate(plain)
    verdicts = [said.verdict(wrong) for said in network_on(knowledge, wrong).values()]
    assert verdicts == ["against", "no difference"]
    clearing = Rule.model_validate({**plain, "then": [{"clears": "fuse-horn.blown"}]})
    assert network_on(knowledge, clearing)[0].verdict(clearing) == "agrees"


@pytest.mark.parametrize(
    ("weight", "words"),
    [
        (6.0, "6 times likelier"),
        (2.5, "2.5 times likelier"),
        (0.05, "20 times less likely"),
        (1.0, "as likely as before"),
    ],
)
def test_weights_in_words(weight: float, words: str) -> None:
    """A ratio, said from the side on which it is larger than one."""
    assert times_words(weight) == words


def test_what_no_vehicle_has_is_an_error_of_ours(small: Small) -> None:
    """And without the network the page leaves out what it would say."""
    world = gather((), (), small.rules)
    with pytest.raises(DiagError, match="nothing is called that"):
        about(world, "no-such-thing")
    assert not any("computed" in line for line in page(about(world, FED, network=False), 80))
