"""One thread that does one thing after another, so that only one ever touches a conversation.

Knows nothing of what it is given to do. The thread ends with the program, whatever it is at.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from concurrent.futures import Future
from queue import SimpleQueue
from typing import Any, TypeVar

__all__ = ["Worker"]

T = TypeVar("T")


class Worker:
    """Takes work in and does it in order; nobody waits for it at the end of the program."""

    def __init__(self, name: str) -> None:
        self._queue: SimpleQueue[tuple[Future[Any], Callable[[], Any]] | None] = SimpleQueue()
        threading.Thread(target=self._work, name=name, daemon=True).start()

    def submit(self, work: Callable[[], T]) -> Future[T]:
        """Have `work` done in its turn; its result, or what it raised, is in the future."""
        future: Future[T] = Future()
        self._queue.put((future, work))
        return future

    def stop(self) -> None:
        """Do what is waiting, then end."""
        self._queue.put(None)

    def _work(self) -> None:
        while (item := self._queue.get()) is not None:
            future, work = item
            if not future.set_running_or_notify_cancel():
                continue
            try:
                future.set_result(work())
            except BaseException as error:  # whoever waits for it is told
                future.set_exception(error)
