"""The colours of wires as they are drawn: main colour, stripe, outline. Knows nothing of circuits."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["Insulation", "insulation"]


@dataclass(frozen=True)
class Insulation:
    """How one wire is drawn: `main`, `stripe` (None for a plain wire) and an `outline` that sets it off."""

    main: str
    stripe: str | None
    outline: str


_SHADES = {
    "black": "#1a1a1a",
    "brown": "#8a4b20",
    "red": "#d62222",
    "yellow": "#f2d21b",
    "green": "#1f9a3d",
    "blue": "#1f5fd0",
    "violet": "#8a3fb0",
    "grey": "#9a9a9a",
    "white": "#ffffff",
    "pink": "#f2a0b8",
    "orange": "#f28c1e",
}
_UNKNOWN = "#cccccc"
"""A colour that has no shade of its own; its name stands beside the wire in any case."""
_DARK_LINE, _PALE_LINE = "#222222", "#9a9a9a"
_DEEP = 0.18
"""Relative luminance (IEC 61966-2-1 primaries) below which a wire needs a pale outline to show its stripe."""


def insulation(colour: str) -> Insulation:
    """The drawing of a wire whose colour is named `main` or `main/stripe`."""
    main, _, stripe = (_SHADES.get(name.strip().lower(), _UNKNOWN) if name else "" for name in colour.partition("/"))
    return Insulation(main, stripe or None, _PALE_LINE if _luminance(main) < _DEEP else _DARK_LINE)


def _luminance(shade: str) -> float:
    parts = [int(shade[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
