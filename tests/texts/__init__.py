"""The catalogue of messages: `python -m tests.texts` writes `diag/locale/diag.pot` anew."""
