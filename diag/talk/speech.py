"""Reads aloud through a speech program of the machine, if there is one; never waits for it, never fails for it.

Knows programs and processes; nothing of pages. Text goes to a program on its input or as one argument behind `--`,
never through a shell.
"""

from __future__ import annotations

import contextlib
import os
import queue
import shutil
import signal
import subprocess
import sys
import threading
from collections.abc import Sequence
from pathlib import Path

from diag.talk.settings import VOICES
from diag.texts import t

__all__ = ["Speaker", "found_voice", "speaker_of"]

_LONGEST = 4000
_WINDOWS = (
    "Add-Type -AssemblyName System.Speech; [Console]::InputEncoding = [Text.Encoding]::UTF8; "
    "(New-Object System.Speech.Synthesis.SpeechSynthesizer).Speak([Console]::In.ReadToEnd())"
)


def speaker_of(aloud: str) -> tuple[Speaker | None, str]:
    """The speaker that a setting asks for, and one message where there is none. `aloud`: off, on, or a program."""
    if aloud == "off":
        return None, ""
    wanted = VOICES if aloud == "on" else (aloud,)
    for name in wanted:
        path = found_voice(name)
        if path:
            return Speaker(name, path), ""
    called = t(" or ").join(f"`{name}`" for name in wanted if name not in ("say", "powershell") or aloud == name)
    return (
        None,
        t(
            "Not read aloud: no program {called} was found on this machine. Install one, or: diag settings aloud off",
            called=called,
        ),
    )


def found_voice(name: str) -> str:
    """Where a speech program is, empty where it is not there."""
    if name == "powershell":
        if sys.platform != "win32":
            return ""
        root = os.environ.get("SYSTEMROOT", r"C:\Windows")  # not by PATH: that would look into the present folder
        path = Path(root, "System32", "WindowsPowerShell", "v1.0", "powershell.exe")
        return str(path) if path.exists() else ""
    if name == "say" and sys.platform != "darwin":
        return ""  # elsewhere another program may be called so
    return shutil.which(name) or ""


def command_of(name: str, path: str, text: str) -> tuple[list[str], bytes]:
    """Arguments and input of a speech program for one text."""
    match name:
        case "spd-say":
            return [path, "--wait", "--", text], b""
        case "espeak-ng" | "espeak":
            return [path, "-b", "1", "--stdin"], text.encode()  # -b 1: the input is UTF-8
        case "powershell":
            return [path, "-NoProfile", "-NonInteractive", "-Command", _WINDOWS], text.encode()
        case _:
            return [path, "-f", "-"], text.encode()


class Speaker:
    """Speaks one text at a time: a new one ends the one before. Everything slow is done on a thread of its own."""

    def __init__(self, name: str, path: str) -> None:
        self.name, self._path = name, path
        self._texts: queue.Queue[str | None] = queue.Queue()
        self._process: subprocess.Popen[bytes] | None = None
        self._trouble = ""
        self._thread = threading.Thread(target=self._work, daemon=True)
        self._thread.start()

    def speak(self, text: str) -> None:
        """Say this now. Empty: only be silent."""
        self._texts.put(text[:_LONGEST])

    def close(self) -> None:
        """Be silent for good."""
        self._texts.put(None)
        self._thread.join(timeout=1)

    def trouble(self) -> str:
        """What went wrong since it was last asked, in one message; after it nothing is read any more."""
        said, self._trouble = self._trouble, ""
        return said

    # ------------------------------------------------------------ the thread

    def _work(self) -> None:
        while True:
            text = self._texts.get()
            with contextlib.suppress(queue.Empty):
                while text is not None:
                    text = self._texts.get_nowait()  # only the newest page is still in view
            failed = self._stopped()
            if text is None:
                return
            if failed:
                self._trouble = t("Reading aloud ended: {name} {failed}.", name=self.name, failed=failed)
                return
            if text:
                try:
                    self._start(text)
                except OSError as error:
                    self._trouble = t(
                        "Reading aloud ended: {name} did not start ({strerror}).",
                        name=self.name,
                        strerror=error.strerror or error,
                    )
                    return

    def _start(self, text: str) -> None:
        arguments, given = command_of(self.name, self._path, text)
        self._process = subprocess.Popen(
            arguments,
            stdin=subprocess.PIPE if given else subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            start_new_session=True,  # Ctrl-C and a closed terminal are ours to tell it
        )
        if self._process.stdin is not None:
            with contextlib.suppress(OSError):  # it may have ended by itself
                self._process.stdin.write(given)
            with contextlib.suppress(OSError):
                self._process.stdin.close()

    def _stopped(self) -> str:
        """End what is being said. What was wrong with it, empty where nothing was."""
        process, self._process = self._process, None
        if process is None:
            return ""
        code = process.poll()
        if code is None:
            _killed(process)
            if self.name == "spd-say":  # what it handed on is spoken by a server
                _asked([self._path, "--stop"])
            return ""
        return t("ended with code {code}", code=code) if code > 0 else ""


def _killed(process: subprocess.Popen[bytes]) -> None:
    with contextlib.suppress(OSError):
        if sys.platform == "win32":
            process.kill()
        else:
            os.killpg(process.pid, signal.SIGKILL)
    with contextlib.suppress(subprocess.TimeoutExpired):
        process.wait(timeout=2)


def _asked(arguments: Sequence[str]) -> None:
    with contextlib.suppress(OSError, subprocess.TimeoutExpired):
        subprocess.run(
            arguments,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            timeout=2,
            check=False,
        )
