"""Shared fixtures: one reasoner of the demo vehicle a session, computed tables kept in one place."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.vehicles import SIX

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # the matrices are small: threads only wait for each other
_TABLES = Path(tempfile.gettempdir()) / f"diag-tests-{os.getuid()}"
"""Kept between runs and shared by the workers; tables are found by the hash of code and knowledge."""


@pytest.fixture(autouse=True)
def _own_home(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """No test touches the user's jobs; the computed tables are shared."""
    home = tmp_path_factory.mktemp("home")
    _TABLES.mkdir(mode=0o700, exist_ok=True)
    (home / "cache").symlink_to(_TABLES)
    monkeypatch.setenv("DIAG_HOME", str(home))
    monkeypatch.setenv("DIAG_VEHICLE", str(SIX))
    yield


@pytest.fixture(scope="session")
def reasoner():  # type: ignore[no-untyped-def]
    """The reasoner of the demo vehicle, with wiring and rules."""
    from diag.circuit.predict import Predictor
    from diag.knowledge.load import load_knowledge
    from diag.reason.engine import default_matcher
    from diag.reason.reasoner import Reasoner
    from diag.reason.steps import step_operates

    _TABLES.mkdir(mode=0o700, exist_ok=True)
    knowledge = load_knowledge(SIX)
    predictor = Predictor(knowledge, step_operates(knowledge), _TABLES)
    return Reasoner(knowledge, predictor, default_matcher())


@pytest.fixture(scope="session")
def rules_alone():  # type: ignore[no-untyped-def]
    """The same vehicle with its loom undescribed: rules carry the belief."""
    from diag.knowledge.load import load_knowledge
    from diag.reason.engine import default_matcher
    from diag.reason.reasoner import Reasoner

    return Reasoner(load_knowledge(SIX), None, default_matcher())


@pytest.fixture(scope="session")
def network_alone(reasoner):  # type: ignore[no-untyped-def]
    """The same vehicle without any rule: the network carries the belief."""
    from diag.reason.engine import default_matcher
    from diag.reason.reasoner import Reasoner

    return Reasoner(reasoner.knowledge, reasoner.predictor, default_matcher(), with_rules=False)
