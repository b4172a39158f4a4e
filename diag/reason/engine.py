"""The rule engine behind the Matcher protocol: the one module that knows durable-rules.

Keeps every oddity of the engine (timer threads, swallowed exceptions, error numbers, loose types)
on this side of the wall. Must not know what rules are for.
"""

from __future__ import annotations

import importlib
import importlib.metadata
import os
import re
import threading
from collections.abc import Callable, Sequence
from functools import lru_cache
from typing import Any

from diag.errors import DiagError
from diag.knowledge.schema import Rule
from diag.reason.forward import (
    Compiled,
    Fact,
    Matcher,
    Op,
    Pattern,
    RuleLimitError,
    check_limits,
    compile_rules,
    encode,
)
from diag.reason.matcher import PlainMatcher
from diag.texts import t

__all__ = ["DurableMatcher", "EngineError", "available", "default_matcher"]

VERSION = "2.0.28"
"""The only version whose private parts we know; `Host._run` is one of them."""
STATES_LIMIT = 1000
"""States made in one host before it is replaced. Measured: the 1025th is a MemoryError."""
RULESETS_LIMIT = 200
"""Rulesets that one matcher gives to the engine; further ones are run plainly, to the same result. Measured: each
takes 0.3 MB (5 rules) to 1.3 MB (40), which is never given back."""
_RULESET = "rules"
_OPS: dict[Op, str] = {
    "is-not": "$neq",
    "below": "$lt",
    "above": "$gt",
    "at-least": "$gte",
    "at-most": "$lte",
}


class EngineError(DiagError):
    """The engine is absent or failed; `code` is its own number where it gave one."""

    exit_code = 1

    def __init__(self, message: str, code: int | None = None) -> None:
        self.code = code
        super().__init__(message)


@lru_cache(maxsize=1)
def _library() -> tuple[Any, str]:
    """The engine module, or None and the reason why it cannot serve."""
    try:
        found = importlib.metadata.version("durable_rules")
    except importlib.metadata.PackageNotFoundError:
        return None, "durable-rules is not installed"
    if found != VERSION:
        return None, f"durable-rules {found} is installed"
    try:
        return importlib.import_module("durable.engine"), ""
    except (ImportError, OSError) as error:
        return None, f"durable-rules {found} does not load here ({error})"


def available() -> bool:
    """True where the rule engine can serve; on Python 3.13 and later it does not load."""
    return _library()[0] is not None


def default_matcher() -> Matcher:
    """The rule engine where it can serve, else the plain matcher.

    The environment variable DIAG_ENGINE forces one: `durable` or `plain`. Raises EngineError where
    the forced one is absent, DiagError for another word.
    """
    wanted = os.environ.get("DIAG_ENGINE", "").strip().lower()
    if wanted not in ("", "plain", "durable"):
        raise DiagError(
            t(
                "environment variable DIAG_ENGINE: found `{wanted}`; expected plain or durable. Unset it "
                "to let the program choose.",
                wanted=wanted,
            )
        )
    if wanted == "plain" or (not wanted and not available()):
        return PlainMatcher()
    return _shared_matcher()


@lru_cache(maxsize=1)
def _shared_matcher() -> DurableMatcher:
    """One for the program, because a dropped host never gives its memory back."""
    return DurableMatcher()


class _Engine:
    """One ruleset in the engine, with the states that are free to be used again.

    `definition` is used up: the engine takes parts out of the dicts it is given.
    """

    def __init__(
        self, library: Any, definition: dict[str, Any], subjects: frozenset[str], on_fire: Callable[[int], None]
    ) -> None:
        # The engine tells facts apart by a 32-bit hash of their ids alone: words of the trade collide in it (two of
        # a hundred thousand ids made of four such words), the decimals below CHILDREN_LIMIT do not.
        self.ids = {subject: str(number) for number, subject in enumerate(sorted(subjects))}
        self.fired: list[int] = []
        self.failures: list[BaseException] = []
        self.free: list[str] = []
        self.made = 0
        for index, rule in enumerate(definition.values()):
            rule["run"] = self._action(index, on_fire)
        # `_run` would start two timer threads that also run actions and keep dropped hosts alive.
        quiet_host = type("QuietHost", (library.Host,), {"_run": lambda self: None})
        self.host = quiet_host({_RULESET: definition})

    def _action(self, index: int, on_fire: Callable[[int], None]) -> Callable[[Any], None]:
        def act(_closure: Any) -> None:  # exactly one argument, or the engine takes it for asynchronous
            try:
                on_fire(index)
                self.fired.append(index)
            except BaseException as error:  # noqa: BLE001 - raised again outside; the engine would swallow it, Ctrl-C included
                self.failures.append(error)

        return act

    def state(self) -> str:
        if self.free:
            return self.free.pop()
        self.made += 1
        return f"s{self.made}"


class DurableMatcher:
    """Runs rules in durable-rules: one ruleset a circuit, one state a run.

    States are emptied and used again, because only 1024 fit a ruleset and deleting one can crash;
    a state in which anything failed is left behind. Beyond RULESETS_LIMIT rulesets the plain matcher
    serves. `on_fire` is told the position of each rule as the engine fires it. Raises EngineError where
    the engine is absent.
    """

    def __init__(self, on_fire: Callable[[int], None] = lambda index: None) -> None:
        library, reason = _library()
        if library is None:
            raise EngineError(
                t(
                    "the rule engine cannot serve: {reason}; expected durable-rules {version} on Python "
                    "3.11 or 3.12. Install it, or set DIAG_ENGINE=plain.",
                    reason=reason,
                    version=VERSION,
                )
            )
        self._module = library
        self._on_fire = on_fire
        self._engines: dict[str, _Engine] = {}
        self._made = 0
        self._lock = threading.Lock()

    @property
    def name(self) -> str:
        """Shown to the user as the engine."""
        return f"durable-rules {VERSION}"

    @property
    def rulesets_left(self) -> int:
        """How many more rulesets it may give to the engine."""
        return RULESETS_LIMIT - self._made

    def run(
        self,
        circuit: str,
        rules: Sequence[Rule],
        facts: Sequence[Fact],
        established: frozenset[str],
    ) -> tuple[Rule, ...]:
        """See `Matcher.run`. An exception of `on_fire` is raised here again."""
        problems = check_limits({circuit: rules})
        if problems:
            raise RuleLimitError(problems)
        compiled = compile_rules(rules)
        if not compiled.rules:  # the engine has nothing to compile
            return ()
        with self._lock:
            engine = self._engine(circuit, compiled)
            if engine is None:
                return PlainMatcher().run(circuit, rules, facts, established)
            try:
                return self._run(engine, compiled, facts, established)
            except Exception as error:
                if isinstance(error, DiagError) or any(error is failure for failure in engine.failures):
                    raise
                raise _translated(circuit, error) from error

    def _run(
        self,
        engine: _Engine,
        compiled: Compiled,
        facts: Sequence[Fact],
        established: frozenset[str],
    ) -> tuple[Rule, ...]:
        state = engine.state()
        engine.fired.clear()
        engine.failures.clear()
        queue: list[tuple[str, dict[str, str | int]]] = [(f"check:{fact.check}", encode(fact)) for fact in facts]
        queue += [(f"established:{word}", {}) for word in sorted(established)]
        seen = {subject for subject, _ in queue}
        stored: list[str] = []
        done = 0
        while queue:
            subject, fields = queue.pop(0)
            if subject in compiled.subjects and self._assert(engine, state, subject, fields):
                stored.append(subject)
            for index in engine.fired[done:]:
                for effect in compiled.rules[index].then:
                    word = f"established:{effect.establish}"
                    if effect.establish is not None and word not in seen:
                        seen.add(word)
                        queue.append((word, {}))
            done = len(engine.fired)
        for subject in stored:
            engine.host.retract_fact(_RULESET, {"sid": state, "id": engine.ids[subject], "subject": subject})
        engine.free.append(state)  # not reached where anything failed: such a state stays spoilt
        return tuple(compiled.rules[index] for index in sorted(set(engine.fired)))

    def _assert(self, engine: _Engine, state: str, subject: str, fields: dict[str, str | int]) -> bool:
        """Gives the engine one fact and lets rules fire; False where no rule could ever use it."""
        fact = {"sid": state, "id": engine.ids[subject], "subject": subject, **fields}
        try:
            left = engine.host.assert_fact(_RULESET, fact)
        except self._module.MessageNotHandledException:
            return False
        finally:
            if engine.failures:
                raise engine.failures[0]
        if isinstance(left, dict) and left.get("exception"):
            raise EngineError(
                t(
                    "the rule engine was interrupted while a rule fired: {left}. Ask again; if it stays, "
                    "set DIAG_ENGINE=plain.",
                    left=left["exception"],
                )
            )
        return True

    def _engine(self, circuit: str, compiled: Compiled) -> _Engine | None:
        """The ruleset in the engine, made where it is not there; None where no more may be made."""
        engine = self._engines.get(compiled.digest)
        if engine is None or (not engine.free and engine.made >= STATES_LIMIT):
            if self.rulesets_left <= 0:
                return None
            self._made += 1
            try:
                engine = _Engine(self._module, _definition(compiled), compiled.subjects, self._on_fire)
            except Exception as error:
                raise _translated(circuit, error) from error
            self._engines[compiled.digest] = engine
        return engine


def _definition(compiled: Compiled) -> dict[str, Any]:
    return {
        f"r{index}": {"all": [{f"m{place}": _term(pattern)} for place, pattern in enumerate(patterns)]}
        for index, patterns in enumerate(compiled.patterns)
    }


def _term(pattern: Pattern) -> dict[str, Any]:
    """The subject stands first: the engine hangs the other tests under the first one, and only so
    many may follow one test. Words and numbers never share a field, because the engine holds "11"
    and 11 to be equal."""
    subject = {"subject": pattern.subject}
    if not pattern.tests:
        return subject
    tests: list[dict[str, Any]] = []
    for field, op, wanted in pattern.tests:
        equal = {field: wanted}
        tests.append(equal if op == "is" else {_OPS[op]: equal})
    return {"$and": [subject, *tests]}


def _translated(circuit: str, error: Exception) -> EngineError:
    text = str(getattr(error, "message", error))
    number = re.search(r"error code: (\d+)", text)
    code = int(number[1]) if number else None
    return EngineError(
        t(
            "circuit {circuit}: the rule engine could not work with these rules and answers. Set "
            "DIAG_ENGINE=plain to go on without it, and report the circuit.",
            circuit=circuit,
        ),
        code,
    )
