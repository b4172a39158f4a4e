"""Terminal tool that proves the circuits of an older road vehicle and finds what does not work."""

__all__ = ["__version__"]

__version__ = "0.1.0"
