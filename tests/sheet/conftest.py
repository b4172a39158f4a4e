"""The demo vehicle and one with every kind of part, each read and prepared once."""

from __future__ import annotations

import pytest

from diag.circuit.predict import Predictor
from diag.knowledge.load import load_knowledge
from tests.sheet.everything import write_everything
from tests.vehicles import SIX


@pytest.fixture(scope="session")
def demo() -> Predictor:
    """The demo vehicle; no table is computed."""
    return Predictor(load_knowledge(SIX), ())


@pytest.fixture(scope="session")
def everything(tmp_path_factory: pytest.TempPathFactory) -> Predictor:
    """A vehicle with one part of every kind; no table is computed."""
    folder = tmp_path_factory.mktemp("everything")
    return Predictor(load_knowledge(write_everything(folder), folder / "rules"), ())
