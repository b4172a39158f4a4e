"""The demo vehicle's predictions, shared by the tests of the circuit."""

from __future__ import annotations

import os

import pytest

# hundreds of small matrices: two threads that wait for each other cost ten times what they save; numpy reads it once
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from diag.reason.reasoner import Reasoner  # noqa: E402
from tests.circuit.demo import Demo  # noqa: E402


@pytest.fixture(scope="session")
def demo(reasoner: Reasoner) -> Demo:
    assert reasoner.predictor is not None
    return Demo(reasoner.predictor)
