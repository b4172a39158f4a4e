"""Terminal tool that proves the circuits of an older road vehicle and finds what does not work."""

import os

__all__ = ["__version__"]

__version__ = "0.1.0"

if "_DIAG_COMPLETE" in os.environ:  # asked by a shell: Ctrl-C ends it without a word, which would land in the line
    import contextlib
    import signal

    with contextlib.suppress(ValueError, OSError):  # before all else, for loading the rest takes most of the time
        signal.signal(signal.SIGINT, signal.SIG_DFL)
