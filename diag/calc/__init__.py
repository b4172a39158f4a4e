"""Bench formulas: copper, fuses, filaments, flasher units, batteries; the circuit solver uses the same ones."""
