"""A vehicle with its horn alone: small enough to be opened for every test that needs it."""

from __future__ import annotations

from pathlib import Path

import pytest

from diag.learn.lesson import published_reasoner
from diag.reason.reasoner import Reasoner
from tests.learn.closed import horn_vehicle


@pytest.fixture(scope="session")
def horn_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The file of that vehicle."""
    return horn_vehicle(tmp_path_factory.mktemp("vehicle"))


@pytest.fixture(scope="session")
def horn(horn_file: Path) -> Reasoner:
    """Its reasoner with published knowledge."""
    return published_reasoner(horn_file)
