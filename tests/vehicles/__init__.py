"""Vehicle files of the tests' own."""

from __future__ import annotations

from pathlib import Path

SIX = Path(__file__).parent / "pickup-six.yaml"
"""The demo pickup with six of its circuits: small enough to go through every cause."""
