"""`python -m tests.pictures` draws the pictures of README anew from the program as it is."""

from __future__ import annotations

from tests.pictures.jobs import FOLDER, PICTURES

FOLDER.mkdir(parents=True, exist_ok=True)
for name, made in PICTURES.items():
    (FOLDER / name).write_text(made(None), encoding="utf-8")
    print(FOLDER / name)
