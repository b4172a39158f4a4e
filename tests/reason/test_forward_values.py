"""Values that the engine would take for others, or not at all: refused in rules by name, harmless in answers."""

from __future__ import annotations

import math
import threading
from collections.abc import Mapping
from itertools import product
from pathlib import Path
from typing import Any

import pytest

from diag.errors import KnowledgeError
from diag.knowledge.schema import Condition, Rule
from diag.reason import engine as engine_module
from diag.reason.engine import DurableMatcher, available
from diag.reason.forward import Fact, Matcher, Outcome, RuleLimitError, check_limits, encode, forward
from diag.reason.limits import CHILDREN_LIMIT
from diag.reason.matcher import PlainMatcher
from diag.reason.patterns import BEYOND, WORD_LIMIT
from tests.knowledge.small import write_small

needs_engine = pytest.mark.skipif(not available(), reason="durable-rules does not load on this Python")
MATCHERS = ["plain", pytest.param("durable", marks=needs_engine)]


def matcher_of(name: str) -> Matcher:
    return PlainMatcher() if name == "plain" else DurableMatcher()


def rule(name: str, *when: Mapping[str, Any], establish: str | None = None) -> Rule:
    """A rule with values in its conditions that the loader would never let through."""
    plain = Condition.model_validate({"check": "a", "is": "x"})
    blank = plain.model_copy(update={"check": None, "is_": None})
    whole = Rule.model_validate(
        {
            "id": f"horn/{name}",
            "title": name,
            "when": [{"check": "a", "is": "x"}],
            "then": [{"establish": establish} if establish else {"stop": "battery-off"}],
            "because": "test",
            "source": "common practice, no source",
            "state": "tested",
        }
    )
    return whole.model_copy(update={"when": tuple(blank.model_copy(update=dict(one)) for one in when)})


def ids(found: Outcome) -> list[str]:
    return [firing.rule_id for firing in found.firings]


# ---------------------------------------------------------------- rules


@pytest.mark.parametrize(
    ("when", "text"),
    [
        ({"check": "a", "is_": "w" * (WORD_LIMIT + 1)}, "found is of 1001 characters; at most 1000 fit"),
        ({"check": "a", "light": "is-not " + "w" * WORD_LIMIT}, "found light of 1007 characters; at most 1000 fit"),
        ({"check": "c" * (WORD_LIMIT + 1), "is_": "x"}, "found the check of 1001 characters"),
        ({"established": "e" * (WORD_LIMIT + 1)}, "found what is established of 1001 characters"),
        ({"check": "a", "is_": "half \ud83d"}, r"found half a character in is 'half \ud83d'"),
        ({"check": "\udc80", "is_": "x"}, "found half a character in the check"),
        ({"check": "a", "is_": 11}, "found 11 as is; expected a word"),
        ({"check": "a", "is_": True}, "found True as is; expected a word"),
        ({"check": "a", "is_not": ["dark"]}, "found ['dark'] as is-not; expected a word"),
        ({"check": "a", "rhythm": {"is": "steady"}}, "found {'is': 'steady'} as rhythm; expected a word"),
        ({"check": {"id": "a"}, "is_": "x"}, "found {'id': 'a'} as the check; expected a word"),
        ({"check": "a", "above": "11"}, "found '11' as a bound; expected a number"),
        ({"check": "a", "below": True}, "found True as a bound; expected a number"),
        ({"check": "a", "between": (1.0, "2")}, "found '2' as a bound; expected a number"),
        ({"check": "a", "above": {"V": 11}}, "found {'V': 11} as a bound; expected a number"),
        ({}, "found a condition on None and None; expected either a check or what is established"),
        ({"check": "a", "established": "w", "is_": "x"}, "found a condition on 'a' and 'w'"),
    ],
)
def test_value_that_matchers_would_take_differently_is_refused_by_name(when: dict[str, Any], text: str) -> None:
    """The engine holds 11, "11" and 11.0 to be equal, cuts a word's length at 65,535 bytes and cannot hold half a
    character; nested values it compares by parts. None of it may reach the engine."""
    bad = rule("bad", when)
    (problem,) = check_limits({"horn": [bad, rule("good", {"check": "a", "is_": "x"})]})
    assert problem.startswith("rule horn/bad: ")
    assert text in problem
    for matcher in (PlainMatcher(), *([DurableMatcher()] if available() else [])):
        with pytest.raises(RuleLimitError, match="^rule horn/bad: found"):
            forward({"horn": [bad]}, [Fact("a", word="x")], matcher)


def test_a_file_with_too_long_a_word_is_refused_with_its_place(tmp_path: Path) -> None:
    """As a person meets it: the loader names file and line of both ends of the word before any rule is looked at."""
    word = "w" * (WORD_LIMIT + 1)
    file = "circuits/lamp.yaml"
    small = write_small(
        tmp_path,
        (file, "{value: right,", f"{{value: {word},"),
        (file, "usual: {right: 0.9", f"usual: {{{word}: 0.9"),
        (file, "is: right}", f"is: {word}}}"),
    )
    with pytest.raises(KnowledgeError) as caught:
        small.load()
    places = {problem.place for problem in caught.value.problems}
    assert small.at(file, f"{word},") in places
    assert small.at(file, f"{word}}}") in places


def test_rule_without_conditions_is_refused() -> None:
    """The plain matcher would always fire it, the engine never."""
    assert check_limits({"horn": [rule("bare")]}) == [
        "rule horn/bare: found no conditions; expected at least 1. Say what it follows from."
    ]


@pytest.mark.parametrize("name", MATCHERS)
def test_the_longest_words_allowed_are_told_apart(name: str) -> None:
    """To the last character, at four bytes each: far below where the engine loses them."""
    words = ["\N{BATTERY}" * (WORD_LIMIT - 1) + end for end in "pq"]
    rules = {"horn": [rule(f"r{n}", {"check": "a", "is_": word}) for n, word in enumerate(words)]}
    assert check_limits(rules) == []
    for n, word in enumerate(words):
        assert ids(forward(rules, [Fact("a", word=word)], matcher_of(name))) == [f"horn/r{n}"]


# ---------------------------------------------------------------- answers

_ODD = (
    "\0", "a\0b", "a\0c", "", " ", "\n", "\t", "\x7f", "\x01", "\u2028", '"', "\\", '\\"', "\\u0041", "A", "$and",
    "a.b", "{}", '{"a": 1}', "[]", "null", "true", "5", "5.0", "5e0", "-1", "Infinity", "\u00e9", "e\u0301",
    "\N{BATTERY}",
)  # fmt: skip


@pytest.mark.parametrize("name", MATCHERS)
def test_odd_words_equal_themselves_and_nothing_else(name: str) -> None:
    """Text of every sort that a person or a file may bring; composed and combining letters stay different."""
    matcher = matcher_of(name)
    rules = {"horn": [rule(f"r{n}", {"check": "a", "is_": word}) for n, word in enumerate(_ODD)]}
    for n, word in enumerate(_ODD):
        assert ids(forward(rules, [Fact("a", word=word)], matcher)) == [f"horn/r{n}"], repr(word)


@pytest.mark.parametrize("name", MATCHERS)
@pytest.mark.parametrize(
    "word", ["x" * 65_537, "x" * (WORD_LIMIT + 1), "x" * 3_000_000, "\ud800", "x\udfff"], ids=lambda w: f"{len(w)}"
)
def test_answer_that_no_rule_can_have_equals_none(name: str, word: str) -> None:
    """65,537 letters are one letter to the engine; half a character it refuses in mid-job."""
    rules = {
        "horn": [
            rule("one", {"check": "a", "is_": "x"}),
            rule("longest", {"check": "a", "is_": "x" * WORD_LIMIT}),
            rule("other", {"check": "a", "is_not": "x"}),
        ]
    }
    assert ids(forward(rules, [Fact("a", word=word)], matcher_of(name))) == ["horn/other"]


@pytest.mark.parametrize("number", [1, -1, 1e-300, 5e-07, 1e22, -1e22, 1e308, 10**400, -(10**400), math.inf, -math.inf])
def test_numbers_become_whole_ones_of_less_than_64_bits(number: float) -> None:
    """An exponent is an error in the engine and a larger whole number saturates: 2**63 - 1 equals 10**20."""
    (found,) = encode(Fact("a", number=number)).values()
    assert type(found) is int and abs(found) <= BEYOND < 2**63 - 1
    assert (found > 0) == (number > 6e-7) and (found < 0) == (number < 0)


@pytest.mark.parametrize("number", [True, "11", [11], {"V": 11}, 11j])
def test_answer_that_is_no_number_is_refused_where_it_enters(number: Any) -> None:
    """A truth is 1 to the engine, a text of digits the number."""
    with pytest.raises(ValueError, match=r"^check a: found .*, expected a number"):
        Fact("a", number=number)


@pytest.mark.parametrize("word", [5, 5.0, True, ["x"], {"x": "y"}, b"x"])
def test_answer_that_is_no_word_is_refused_where_it_enters(word: Any) -> None:
    with pytest.raises(ValueError, match=r"^check a: found .*, expected a word"):
        Fact("a", word=word)


def test_a_fact_has_few_keys_whatever_is_known_of_it() -> None:
    """252 keys are the most that the engine takes."""
    full = Fact("a", light="dark", rhythm="none", word="x", number=1)
    assert set(encode(full)) == {"light", "rhythm", "word", "number"}
    assert encode(Fact("a")) == {}


# ---------------------------------------------------------------- names, circles, callers


_WORDS = """front rear left right main dip fog side tail stop horn wiper turn plate relay switch fuse oil charge park"""


def _hash(text: str) -> int:
    """FNV-1a of 32 bits, as the engine hashes the id of a fact."""
    key = 2166136261
    for byte in text.encode():
        key = ((key ^ byte) * 16777619) & 0xFFFFFFFF
    return key


def _colliding() -> tuple[str, str]:
    """Two names of checks, of plain words, whose subjects (`check:NAME`) hash alike."""
    seen: dict[int, str] = {}
    for parts in product(_WORDS.split(), repeat=4):
        name = "-".join(parts)
        key = _hash(f"check:{name}")
        if key in seen:
            return seen[key], name
        seen[key] = name
    raise AssertionError("no two ids collide; use more words")


def test_the_ids_that_facts_bear_in_the_engine_never_hash_alike() -> None:
    """Decimals, of which there are as many as subjects in a circuit at most."""
    assert len({_hash(str(number)) for number in range(CHILDREN_LIMIT)}) == CHILDREN_LIMIT
    assert _hash("a") == 0xE40C292C, "published value of the hash of one letter"


@pytest.mark.parametrize("name", MATCHERS)
def test_checks_whose_names_hash_alike_are_two_checks(name: str) -> None:
    """The engine knows facts by a 32-bit hash of their ids alone: the second of two such would be refused as told
    already, or take the first one's place."""
    one, other = _colliding()
    rules = {
        "horn": [
            rule("one", {"check": one, "is_": "x"}),
            rule("other", {"check": other, "is_": "x"}),
            rule("both", {"check": one, "is_": "x"}, {"check": other, "is_": "x"}),
        ]
    }
    matcher = matcher_of(name)
    facts = [Fact(one, word="x"), Fact(other, word="x")]
    for _ in range(2):
        assert ids(forward(rules, facts, matcher)) == ["horn/one", "horn/other", "horn/both"]
        assert ids(forward(rules, facts[1:], matcher)) == ["horn/other"]


@pytest.mark.parametrize("name", MATCHERS)
def test_a_circle_with_a_finding_behind_it_ends(name: str) -> None:
    """x makes y, y makes z, z makes x: each is concluded once, and again after it was taken back."""
    rules = {
        "horn": [
            rule("zx", {"established": "z"}, establish="x"),
            rule("xy", {"established": "x"}, establish="y"),
            rule("begin", {"check": "a", "is_": "click"}, establish="x"),
        ],
        "stop": [rule("yz", {"established": "y"}, establish="z"), rule("own", {"established": "z"}, establish="z")],
    }
    matcher = matcher_of(name)
    for _ in range(2):
        found = forward(rules, [Fact("a", word="click")], matcher)
        assert ids(found) == ["horn/zx", "horn/xy", "horn/begin", "horn/yz", "horn/own"]
        assert found.established == {"x", "y", "z"}
        assert forward(rules, [], matcher) == Outcome((), frozenset())


@needs_engine
def test_callers_in_several_threads_share_one_matcher() -> None:
    """One ruleset with four callers at once: each gets what its own answers say, and no thread is left over."""
    rules = {
        "horn": [rule(f"r{n}", {"check": "a", "is_": f"w{n}"}, establish=f"e{n}") for n in range(8)]
        + [rule(f"s{n}", {"established": f"e{n}"}, {"check": "b", "is_": f"w{n}"}) for n in range(8)]
    }
    matcher, plain = DurableMatcher(), PlainMatcher()
    wrong: list[object] = []
    begun = threading.Barrier(4)
    before = threading.active_count()

    def ask(own: int) -> None:
        begun.wait()
        for n in range(200):
            facts = [Fact("a", word=f"w{(own + n) % 8}"), Fact("b", word=f"w{n % 8}")]
            try:
                found = forward(rules, facts, matcher)
            except Exception as error:  # noqa: BLE001 - a thread's exception would be lost
                wrong.append(error)
                return
            if found != forward(rules, facts, plain):
                wrong.append(facts)

    callers = [threading.Thread(target=ask, args=(own,)) for own in range(4)]
    for one in callers:
        one.start()
    for one in callers:
        one.join()
    assert not wrong
    assert threading.active_count() == before


@needs_engine
def test_more_rulesets_than_the_engine_may_hold_are_run_plainly(monkeypatch: pytest.MonkeyPatch) -> None:
    """A ruleset never gives its memory back: whoever opens vehicle after vehicle in one process must not grow
    without end, and must not notice."""
    monkeypatch.setattr(engine_module, "RULESETS_LIMIT", 3)
    fired: list[int] = []
    matcher = DurableMatcher(fired.append)
    for n in range(6):
        rules = {"horn": [rule(f"r{n}", {"check": "a", "is_": f"w{n}"}, establish="w")]}
        for word in (f"w{n}", "none"):
            facts = [Fact("a", word=word)]
            assert forward(rules, facts, matcher) == forward(rules, facts, PlainMatcher())
        assert len(fired) == min(n + 1, 3), "the first three in the engine, no more"
    assert matcher.rulesets_left == 0 and len(matcher._engines) == 3
