"""The wall around the engine: threads, exceptions, states, error numbers, and which engine is chosen."""

from __future__ import annotations

import importlib.metadata
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from diag.errors import DiagError
from diag.knowledge.schema import Rule
from diag.reason import engine as module
from diag.reason.engine import DurableMatcher, EngineError, available, default_matcher
from diag.reason.forward import Fact, forward
from diag.reason.matcher import PlainMatcher

needs_engine = pytest.mark.skipif(not available(), reason="durable-rules does not load on this Python")


def rule(name: str, check: str, effect: dict[str, str] | None = None) -> Rule:
    return Rule.model_validate(
        {
            "id": f"horn/{name}",
            "title": name,
            "when": [{"check": check, "is": "x"}],
            "then": [effect or {"stop": "battery-off"}],
            "because": "test",
            "source": "common practice, no source",
            "state": "tested",
        }
    )


RULES = {"horn": [rule("a", "a", {"establish": "w"}), rule("b", "b")]}
FACTS = [Fact("a", word="x"), Fact("b", word="x"), Fact("unheard-of", word="x")]


@pytest.fixture
def absent(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """As on a Python where the engine's compiled part cannot be loaded."""
    module._library.cache_clear()
    module._shared_matcher.cache_clear()

    def fail(name: str) -> None:
        raise ImportError("undefined symbol")

    monkeypatch.setattr(module.importlib, "import_module", fail)
    monkeypatch.setattr(module.importlib.metadata, "version", lambda name: "2.0.28")
    yield
    module._library.cache_clear()
    module._shared_matcher.cache_clear()


@needs_engine
def test_engine_starts_no_threads() -> None:
    """Its timer threads would run our actions out of turn, burn power and keep dropped hosts alive."""
    before = threading.active_count()
    where: set[str] = set()
    matcher = DurableMatcher(on_fire=lambda index: where.add(threading.current_thread().name))
    for number in range(5):
        forward({"horn": [*RULES["horn"], rule(f"c{number}", f"c{number}")]}, FACTS, matcher)
    assert threading.active_count() == before
    assert where == {threading.current_thread().name}


@needs_engine
def test_many_more_runs_than_the_engine_has_states() -> None:
    """A ruleset holds 1024 states and a long recorded job, replayed often, needs more runs than that."""
    matcher = DurableMatcher()
    wanted = forward(RULES, FACTS, PlainMatcher())
    for _ in range(1500):
        assert forward(RULES, FACTS, matcher) == wanted
    (host,) = matcher._engines.values()
    assert host.made == 1


@needs_engine
def test_host_is_replaced_when_spoilt_states_have_used_it_up() -> None:
    """A state in which something failed cannot be trusted again, and the engine cannot delete it."""
    fail = True

    def on_fire(index: int) -> None:
        if fail:
            raise RuntimeError("spoilt")

    matcher = DurableMatcher(on_fire)
    for _ in range(1100):
        with pytest.raises(RuntimeError, match="spoilt"):
            forward(RULES, FACTS, matcher)
    fail = False
    assert forward(RULES, FACTS, matcher) == forward(RULES, FACTS, PlainMatcher())


@needs_engine
def test_equal_content_shares_one_host() -> None:
    """Knowledge that is read again must not leak another two megabytes in the engine."""
    matcher = DurableMatcher()
    for _ in range(3):
        forward({"horn": [rule("a", "a"), rule("b", "b")]}, FACTS, matcher)
    assert len(matcher._engines) == 1


@needs_engine
@pytest.mark.parametrize("error", [ValueError("wrong"), KeyboardInterrupt(), SystemExit(3), KeyError("k")])
def test_exception_while_a_rule_fires_surfaces(error: BaseException) -> None:
    """The engine swallows every exception, Ctrl-C included, and a lost one is a wrong diagnosis."""
    raising = [error]

    def on_fire(index: int) -> None:
        if raising:
            raise raising.pop()

    matcher = DurableMatcher(on_fire)
    with pytest.raises(type(error)) as caught:
        forward(RULES, FACTS, matcher)
    assert caught.value is error
    assert forward(RULES, FACTS, matcher) == forward(RULES, FACTS, PlainMatcher())


@needs_engine
def test_exception_that_only_the_engine_saw_surfaces_too(monkeypatch: pytest.MonkeyPatch) -> None:
    """Ctrl-C may strike in the engine's own Python, outside our action; it leaves only a text."""
    matcher = DurableMatcher()
    forward(RULES, FACTS, matcher)
    (host,) = matcher._engines.values()
    monkeypatch.setattr(host.host, "assert_fact", lambda name, fact: {"sid": fact["sid"], "exception": "struck"})
    with pytest.raises(EngineError, match="interrupted while a rule fired: struck"):
        forward(RULES, FACTS, matcher)


@needs_engine
def test_engine_numbers_are_translated_and_the_next_run_works(monkeypatch: pytest.MonkeyPatch) -> None:
    """No `error code: 303` reaches a user; the number stays for the report."""
    bounds = [
        Rule.model_validate(
            {**rule(f"r{n}", "a").model_dump(by_alias=True, exclude_none=True), "when": [{"check": "a", "above": n}]}
        )
        for n in range(80)
    ]
    monkeypatch.setattr(module, "check_limits", lambda rules: [])
    matcher = DurableMatcher()
    with pytest.raises(EngineError) as caught:
        matcher.run("horn", bounds, [Fact("a", number=1000)], frozenset())
    assert caught.value.code == 303
    assert "303" not in str(caught.value)
    assert str(caught.value).startswith("circuit horn: the rule engine could not work")
    assert [one.id for one in matcher.run("horn", bounds, [Fact("a", number=1.5)], frozenset())] == [
        "horn/r0",
        "horn/r1",
    ]


@needs_engine
def test_callers_rules_are_left_as_they_were() -> None:
    """The engine takes parts out of what it is given; a second run would then miss them."""
    before = [one.model_dump() for one in RULES["horn"]]
    forward(RULES, FACTS, DurableMatcher())
    forward(RULES, FACTS, DurableMatcher())
    assert [one.model_dump() for one in RULES["horn"]] == before


@needs_engine
def test_program_ends_cleanly_after_use() -> None:
    """A C library that crashes at exit turns a finished job into an alarming one."""
    code = (
        "from diag.reason.engine import DurableMatcher; from diag.reason.forward import Fact\n"
        "import sys; sys.path.insert(0, sys.argv[1]); import test_forward_engine as own\n"
        "print(len(DurableMatcher().run('horn', own.RULES['horn'], own.FACTS, frozenset())))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(Path(__file__).parent)],
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
        cwd=Path(module.__file__).parents[2],
    )
    assert (done.stdout, done.returncode) == ("2\n", 0), done.stderr


@needs_engine
def test_engine_is_the_default_where_it_loads(monkeypatch: pytest.MonkeyPatch) -> None:
    """And it is one for the program, because a dropped host never gives its memory back."""
    monkeypatch.delenv("DIAG_ENGINE", raising=False)
    assert default_matcher().name == "durable-rules 2.0.28"
    monkeypatch.setenv("DIAG_ENGINE", "durable")
    assert default_matcher() is default_matcher()


def test_plain_matcher_can_be_forced(monkeypatch: pytest.MonkeyPatch) -> None:
    """The way out for a user whose engine misbehaves."""
    monkeypatch.setenv("DIAG_ENGINE", "plain")
    assert default_matcher().name == "plain matcher"


def test_plain_matcher_serves_where_the_engine_is_absent(absent: None, monkeypatch: pytest.MonkeyPatch) -> None:
    """Newer Pythons cannot load the engine; the program must work there unasked."""
    monkeypatch.delenv("DIAG_ENGINE", raising=False)
    assert not available()
    assert isinstance(default_matcher(), PlainMatcher)


def test_forced_engine_that_is_absent_is_a_clear_error(absent: None, monkeypatch: pytest.MonkeyPatch) -> None:
    """Who forces the engine wants to know that it did not run."""
    monkeypatch.setenv("DIAG_ENGINE", "durable")
    with pytest.raises(EngineError, match=r"does not load here \(undefined symbol\); expected durable-rules 2.0.28"):
        default_matcher()


def test_other_version_of_the_engine_is_not_trusted(monkeypatch: pytest.MonkeyPatch) -> None:
    """We override a private method, so only the version we know may run."""
    module._library.cache_clear()
    monkeypatch.setattr(importlib.metadata, "version", lambda name: "2.0.29")
    try:
        assert not available()
        with pytest.raises(EngineError, match="durable-rules 2.0.29 is installed; expected durable-rules 2.0.28"):
            DurableMatcher()
    finally:
        module._library.cache_clear()


def test_unknown_engine_word_is_a_clear_error(monkeypatch: pytest.MonkeyPatch) -> None:
    """A typing slip must not silently choose the other engine."""
    monkeypatch.setenv("DIAG_ENGINE", "durible")
    with pytest.raises(DiagError, match="DIAG_ENGINE: found `durible`; expected plain or durable"):
        default_matcher()
