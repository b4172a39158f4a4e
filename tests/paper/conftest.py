"""A job with two faults, both cured, lived through once for all tests of its paper."""

from __future__ import annotations

import pytest

from diag.log.export import open_job
from diag.log.replayed import Replayed
from diag.log.report import Report
from diag.reason.reasoner import Reasoner
from tests.log.jobs import TRANSCRIPTS, ZONE


@pytest.fixture(scope="session")
def double(reasoner: Reasoner) -> tuple[Replayed, Report]:
    """The job and its report."""
    return open_job(TRANSCRIPTS / "double-fault.jsonl", reasoner=reasoner, zone=ZONE)
