"""Judgements on rules that the bad pack does not show: which way the network points, and what must not be told.

source of all expectations: common practice, no source
"""

from __future__ import annotations

from copy import copy
from pathlib import Path

import pytest

from diag.errors import Problem
from diag.knowledge.load import load_knowledge
from diag.knowledge.schema import Conclusion, Condition, Rule
from diag.reason.reasoner import Reasoner
from diag.review.against import judge_directions
from diag.review.cures import judge_cures
from diag.review.logic import judge_rules
from diag.review.slips import Slips
from diag.review.spaces import Spaces
from tests.knowledge.packs import rule
from tests.knowledge.small import write_small
from tests.vehicles import SIX

LAMP = "circuits/lamp.yaml"


def everywhere(_: str) -> bool:
    return True


def judged(tmp_path: Path, *rules: str) -> list[Problem]:
    """What is said of rules that are added to the small set."""
    small = write_small(tmp_path, (LAMP, "causes:\n", "".join(rules) + "causes:\n"))
    slips = Slips(small.load(), everywhere)
    judge_rules(slips)
    return slips.found


def with_when(text: str, *conditions: str) -> str:
    return text.replace("      - {check: lamp-on, light: is dark}\n", "".join(f"      - {{{c}}}\n" for c in conditions))


def test_the_small_set_has_nothing_to_judge(tmp_path: Path) -> None:
    """Or the tests of single judgements prove nothing."""
    assert judged(tmp_path) == []


def test_a_rule_with_a_check_more_may_say_the_opposite(tmp_path: Path) -> None:
    """Dark points to the lamp, no volts at it clears it: that is how finding works, not a contradiction."""
    narrower = with_when(rule("lamp/not-fed"), "check: lamp-on, light: is dark", "check: lamp-volts, below: 2")
    narrower = narrower.replace("points-to: work-lamp.open, weight: 3", "clears: work-lamp.open")
    assert judged(tmp_path, rule("lamp/dark"), narrower) == []


def test_on_the_same_checks_that_is_told(tmp_path: Path) -> None:
    """Only one of the two counts, and nobody sees which."""
    low = with_when(rule("lamp/low"), "check: lamp-volts, below: 5")
    lower = with_when(rule("lamp/lower"), "check: lamp-volts, below: 2")
    (problem,) = judged(tmp_path, low, lower.replace("points-to: work-lamp.open, weight: 3", "clears: work-lamp.open"))
    assert problem.code == "opposed"
    assert "`lamp/low`" in problem.found


def test_the_same_conditions_in_other_words_are_the_same(tmp_path: Path) -> None:
    """`not dark` and bounds that part no answer are compared by the answers they let pass."""
    one = with_when(rule("lamp/one"), "check: fuse-marking, is: right")
    two = with_when(rule("lamp/two"), "check: fuse-marking, is-not: wrong")
    (problem,) = judged(tmp_path, one, two)
    assert problem.code == "duplicate-rule"
    assert "lamp/one" in problem.found


@pytest.mark.parametrize(
    ("condition", "code"),
    [
        ("check: lamp-volts, above: 400", "out-of-range"),
        ("check: lamp-volts, below: -400", "out-of-range"),
        ("check: lamp-on, light: is dark, rhythm: is steady", "never-holds"),
    ],
)
def test_what_no_answer_meets_is_told(tmp_path: Path, condition: str, code: str) -> None:
    """Such a rule sleeps for ever."""
    (problem,) = judged(tmp_path, with_when(rule("lamp/never"), condition))
    assert (problem.code, problem.severity) == (code, "error")


def test_a_chain_that_excludes_its_end_is_told_where_it_is_used(tmp_path: Path) -> None:
    """Fed needs eleven volts; then two cannot be read."""
    (problem,) = judged(
        tmp_path, with_when(rule("lamp/never"), "established: lamp-is-fed", "check: lamp-volts, below: 2")
    )
    assert problem.code == "dead-chain"
    assert "`lamp-is-fed`" in problem.found
    assert "`lamp/feed-without-light`" in problem.found


def test_heavy_weights_on_one_answer_are_told_with_their_product(tmp_path: Path) -> None:
    """One slip of an eye would else clear the cause for good."""
    heavy = [
        with_when(rule(f"lamp/against-{n}", weight=0.02), "check: lamp-on, light: dark", f"check: {other}")
        for n, other in enumerate(("lamp-volts, above: 11.5", "fuse-marking, is: right"))
    ]
    heavy = [text.replace("work-lamp.open", "lamp-supply.open") for text in heavy]  # nothing else speaks of it
    (problem,) = judged(tmp_path / "heavy", *heavy)
    assert problem.code == "unrecoverable"
    assert "1/2500" in problem.found
    assert "`lamp-on` answered `dark`" in problem.found
    assert "`lamp/against-0`" in problem.found
    light = [text.replace("weight: 0.02", "weight: 0.2") for text in heavy]
    assert judged(tmp_path / "light", *light) == []


def test_rules_that_cannot_hold_together_do_not_multiply(tmp_path: Path) -> None:
    """Dark and bright are not answered at once."""
    apart = [
        with_when(
            rule(f"lamp/against-{n}", weight=0.02), f"check: lamp-on, light: {light}", "check: lamp-volts, above: 3"
        )
        for n, light in enumerate(("dark", "normal", "dim"))
    ]
    assert [p for p in judged(tmp_path, *apart) if p.code == "unrecoverable"] == []


def test_an_added_cause_that_is_like_one_is_found_without_a_rule(tmp_path: Path) -> None:
    """The network finds it; only one that nothing shows needs a rule."""
    note = "glass-painted, title: The glass is painted over, frequency: 2,"
    know = write_small(tmp_path / "a").load()
    slips = Slips(know, everywhere)
    judge_cures(slips, {"work-lamp.open", "lamp-earth.open"})
    assert [p.code for p in slips.found] == ["unseen-cause"]
    know = write_small(tmp_path / "b", (LAMP, note, f"{note} like: work-lamp.open,")).load()
    slips = Slips(know, everywhere)
    judge_cures(slips, {"work-lamp.open", "lamp-earth.open"})
    assert slips.found == []


def test_bounds_part_the_readings_into_what_rules_can_tell_apart() -> None:
    """Every bound that any rule sets is an edge, and something lies on either side of it."""
    know = load_knowledge(SIX)
    spaces = Spaces(know)
    numbers = [value for value in spaces.answers("fuse-horn-out-volts") if isinstance(value, float)]
    edges = {
        edge
        for one in know.rules.values()
        for condition in one.when
        if condition.check == "fuse-horn-out-volts"
        for edge in (condition.below, condition.above)
        if edge is not None
    }
    assert edges
    for edge in edges:
        assert min(numbers) < edge < max(numbers)
        below, above = ({i for i, v in enumerate(numbers) if v < edge}, {i for i, v in enumerate(numbers) if v > edge})
        assert spaces.met([Condition(check="fuse-horn-out-volts", below=edge)]).answers.popitem()[1] == below  # type: ignore[attr-defined]
        assert below and above


# ---------------------------------------------------------------- against the network


def directed(reasoner: Reasoner, *rules: Rule) -> list[Problem]:
    """What the network says of these rules, in place of the shipped ones."""
    other = copy(reasoner)
    other.rules = rules or reasoner.rules
    slips = Slips(reasoner.knowledge, everywhere)
    judge_directions(slips, other)
    return slips.found


def test_the_network_speaks_against_no_shipped_rule(reasoner: Reasoner) -> None:
    """On the six circuits whose table the tests have."""
    assert directed(reasoner) == []


def test_a_rule_that_points_the_wrong_way_is_told(reasoner: Reasoner) -> None:
    """A button that stays closed does not silence the horn; a blown fuse does."""
    silent = (Condition(check="horn-sound", is_="none"), Condition(check="fuse-horn-out-volts", below=2))
    effects = ("horn-button.stuck-31b-31", "fuse-horn.blown")
    wrong = reasoner.knowledge.rules["horn/silent-alone"].model_copy(
        update={"when": silent, "then": tuple(Conclusion(points_to=cause, weight=5) for cause in effects)}
    )
    (problem,) = directed(reasoner, wrong)
    assert problem.code == "against-network"
    assert "`horn-button.stuck-31b-31`" in problem.found
    assert "diag vehicle show --fault horn-button.stuck-31b-31" in problem.mend


def test_a_rule_that_clears_what_fits_best_is_told(reasoner: Reasoner) -> None:
    """Nothing makes it likelier than what it clears."""
    dead = (Condition(check="horn-sound", is_="none"), Condition(check="fuse-horn-out-volts", below=2))
    wrong = reasoner.knowledge.rules["horn/silent-alone"].model_copy(
        update={"when": dead, "then": (Conclusion(clears="fuse-horn.blown"),)}
    )
    (problem,) = directed(reasoner, wrong)
    assert problem.code == "against-network"
    assert "do not clear it" in problem.mend
