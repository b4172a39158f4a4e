"""Shared fixtures: one reasoner of the demo vehicle a session, computed tables kept in one place."""

from __future__ import annotations

import atexit
import os
import shutil
import tempfile
from collections.abc import Iterator
from importlib import metadata
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

from tests.vehicles import SIX

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # the matrices are small: threads only wait for each other
os.environ.pop("DIAG_PACKS", None)
os.environ["DIAG_LANGUAGE"] = "en"  # whatever the developer's own is: the tests read English
_NO_HOME = tempfile.mkdtemp(prefix="diag-no-home-")
os.environ["DIAG_HOME"] = _NO_HOME  # for what is loaded while tests are collected
atexit.register(shutil.rmtree, _NO_HOME, ignore_errors=True)
TABLES = Path(tempfile.gettempdir()) / f"diag-tests-{os.getuid()}"
"""Kept between runs and shared by the workers; tables are found by the hash of code and knowledge."""


def pytest_configure() -> None:
    """What a developer has installed must not decide what the tests see."""
    # a slow machine is no fault of what is tested: no example has a deadline, and slow drawing is no failure
    settings.register_profile("unhurried", settings(), deadline=None, suppress_health_check=[HealthCheck.too_slow])
    settings.load_profile("unhurried")
    packs = [point.value for point in metadata.entry_points(group="diag.rule_packs")]
    if packs:
        raise pytest.UsageError(f"rule packs are installed here: {', '.join(packs)}; test where there are none")


@pytest.fixture(autouse=True)
def _own_home(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """No test touches the user's jobs, packs or local rules; the computed tables are shared."""
    home = tmp_path_factory.mktemp("home")
    TABLES.mkdir(mode=0o700, exist_ok=True)
    (home / "cache").symlink_to(TABLES)
    monkeypatch.setenv("DIAG_HOME", str(home))
    monkeypatch.setenv("DIAG_VEHICLE", str(SIX))
    yield


@pytest.fixture(scope="session")
def reasoners():  # type: ignore[no-untyped-def]
    """Reasoners of vehicles by file name, shipped or the tests' own, made when first asked for."""
    from tests.reasoners import Reasoners

    return Reasoners(TABLES)


@pytest.fixture(scope="session")
def reasoner(reasoners):  # type: ignore[no-untyped-def]
    """The reasoner of the demo pickup with six of its circuits, with wiring and rules."""
    return reasoners.whole(SIX.name)


@pytest.fixture(scope="session")
def rules_alone(reasoners):  # type: ignore[no-untyped-def]
    """The same vehicle with its loom undescribed: rules carry the belief."""
    return reasoners.rules_alone(SIX.name)


@pytest.fixture(scope="session")
def network_alone(reasoners):  # type: ignore[no-untyped-def]
    """The same vehicle without any rule: the network carries the belief."""
    return reasoners.network_alone(SIX.name)
