"""Writes the template of all messages anew."""

from tests.texts.extract import POT, pot

POT.parent.mkdir(exist_ok=True)
POT.write_text(pot(), encoding="utf-8")
print(f"Written: {POT}")
