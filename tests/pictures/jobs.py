"""What the pictures show: jobs played key by key at the real program, with a caption a screen."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from pathlib import Path

from tests.pictures.drawing import draw
from tests.pictures.screen import ROOT, Screen, Shown
from tests.vehicles import SIX

__all__ = ["FOLDER", "PICTURES", "turn_lamps"]

FOLDER = ROOT / "transcripts" / "pictures"


def turn_lamps(cache: Path | None = None) -> list[tuple[str, Shown]]:
    """From the complaint to the part, in a home of its own. `cache`: computed tables to begin with."""
    with tempfile.TemporaryDirectory() as home:
        if cache is not None:
            (Path(home) / "cache").symlink_to(cache)
        env = {"DIAG_HOME": home, "DIAG_VEHICLE": str(SIX), "DIAG_COLOURS": "light"}
        with Screen(60, 24, ["start"], env) as screen:
            screen.shown("Number or words:")
            screen.send("turn lamps light but do not flash")
            frames = [("1  Say what is wrong", screen.shown("do not flash"))]
            screen.send("\r")
            frames.append(("2  One question, one key", screen.shown("Watch:")))
            screen.send("2")
            frames.append(("3  A caution before the step", screen.shown("CAUTION")))
            screen.send("d")
            screen.shown("Caution as read before")
            screen.send("2")
            frames.append(("4  The part, and why", screen.shown("flasher unit")))
            return frames


PICTURES: dict[str, Callable[[Path | None], str]] = {
    "turn-lamps.svg": lambda cache=None: draw("A job at the terminal, from complaint to part", turn_lamps(cache)),
}
"""By file name below `transcripts/pictures`."""
