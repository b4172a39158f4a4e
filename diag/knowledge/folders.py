"""Where knowledge lives: the shipped rules, the list of packs and the local folder of this machine.

Knows paths only; nothing of what the files say.
"""

from __future__ import annotations

import os
from pathlib import Path

import platformdirs

from diag.errors import KnowledgeError, Place, Problem
from diag.texts import t

__all__ = ["cache_folder", "local_folder", "packs_file", "packs_left_out", "rules_folder", "settings_file"]

_PACKAGE = Path(__file__).resolve().parent.parent


def rules_folder() -> Path:
    """The folder of shipped knowledge: inside an installed package, or at the top of a checkout.

    Raises KnowledgeError if neither is there.
    """
    candidates = (_PACKAGE / "_rules", _PACKAGE.parent / "rules")
    for folder in candidates:  # the package's own first: beside an installed one `rules` may be anybody's
        if (folder / "vocabulary.yaml").is_file():
            return folder
    raise KnowledgeError(
        [
            Problem(
                Place(str(candidates[-1])),
                t("the shipped rules are missing"),
                "",
                t("a folder with `vocabulary.yaml`"),
                t("Install the program again."),
                code="unreadable",
            )
        ]
    )


def local_folder() -> Path:
    """The folder of rules of one's own: `rules` under DIAG_HOME, or under the platform's data folder. Not made
    here."""
    home = _home()
    return (home or Path(platformdirs.user_data_dir("diag", appauthor=False))) / "rules"


def cache_folder() -> Path:
    """Where computed tables are kept: `cache` under DIAG_HOME, or the platform's cache."""
    home = _home()
    return home / "cache" if home else Path(platformdirs.user_cache_dir("diag", appauthor=False))


def packs_file() -> Path:
    """The list of rule packs that are folders: `packs.yaml` under DIAG_HOME, or under the platform's folder for
    settings. Not made here."""
    home = _home()
    return (home or Path(platformdirs.user_config_dir("diag", appauthor=False))) / "packs.yaml"


def settings_file() -> Path:
    """settings.yaml under DIAG_HOME, or under the platform's folder for settings. Not made here."""
    return packs_file().with_name("settings.yaml")


def packs_left_out() -> bool:
    """Whether DIAG_PACKS=none asks for the shipped rules alone. Raises KnowledgeError for another word."""
    wanted = os.environ.get("DIAG_PACKS", "").strip()
    if wanted not in ("", "none"):
        raise KnowledgeError(
            [
                Problem(
                    Place("DIAG_PACKS"),
                    t("this word is not known"),
                    f"`{wanted}`",
                    t("`none`, or nothing"),
                    t("Unset it."),
                    code="wrong-value",
                )
            ]
        )
    return wanted == "none"


def _home() -> Path | None:
    home = os.environ.get("DIAG_HOME", "").strip()
    return Path(home).expanduser() if home else None
