"""One reasoner for all jobs of these tests: opening one for each would take most of their time."""

from __future__ import annotations

import pytest

from diag.reason.reasoner import Reasoner
from diag.serve import held
from diag.talk import opening


@pytest.fixture
def _shared(reasoner: Reasoner, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every job of the test is weighed by the session's reasoner of the six circuits."""
    monkeypatch.setattr(held, "open_reasoner", lambda *a, **k: reasoner)
    monkeypatch.setattr(opening, "open_reasoner", lambda *a, **k: reasoner)
