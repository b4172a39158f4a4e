"""The demo vehicle's predictions, shared by the tests of the circuit."""

from __future__ import annotations

import pytest

from diag.reason.reasoner import Reasoner
from tests.circuit.demo import Demo


@pytest.fixture(scope="session")
def demo(reasoner: Reasoner) -> Demo:
    assert reasoner.predictor is not None
    return Demo(reasoner.predictor)
