"""A job that is open here: opened in a thread of its own, what is asked now, what is sent to it.

Only the job's own worker touches its conversation. Knows nothing of pages or of how a request comes in.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from concurrent.futures import Future
from pathlib import Path
from typing import Any, TypeVar

from diag.errors import DiagError
from diag.job.journal import Journal, JournalError
from diag.serve.worker import Worker
from diag.talk.conversation import Conversation
from diag.talk.opening import new_job, open_reasoner, resume_job
from diag.texts import t

__all__ = ["Held", "mark_of"]

Object = dict[str, Any]
T = TypeVar("T")
_SILENT = ("asked", "concluded", "proved", "resumed", "instruments", "noted")
"""Records after which the question that is open is still the same."""


def mark_of(conversation: Conversation) -> int:
    """Number of the last record by which the question could have changed: what a form must carry to count."""
    return max((r.seq for r in conversation.keeper.records if r.event not in _SILENT), default=0)


class Held:
    """One job. `opening` ends when it can be talked to; `share` of that is done so far, 0 to 1.

    `new`: vehicle, what is at hand, and what is left out, for a job that is begun; None for one that goes on.
    """

    def __init__(
        self,
        id_: str,
        path: Path,
        *,
        new: tuple[Path, tuple[str, ...], frozenset[str]] | None = None,
        vehicle: Path | None = None,
        instruments: tuple[str, ...] | None = None,
        packs: bool = True,
    ) -> None:
        self.id, self.path, self.share = id_, path, 0.0
        self.seen = time.monotonic()
        """When it was last looked at, s."""
        self.messages: list[str] = []
        self.notices: dict[str, str] = {}
        self.read: set[tuple[str, str]] = set()
        """Cautions of remedies that were read: by whom, which."""
        self.kept: dict[object, Any] = {}
        """What costs to make and still holds: drawings, papers."""
        self._new, self._vehicle, self._instruments, self._packs = new, vehicle, instruments, packs
        self._conversation: Conversation | None = None
        self._journal: Journal | None = None
        self._said: tuple[tuple[int, int], list[Object]] | None = None
        self._ending = threading.Lock()
        self._ended = False
        self._worker = Worker(t("job {id}", id=id_))
        self.opening: Future[None] = self._worker.submit(self._open)

    def _open(self) -> None:
        if self._new is not None and not self.path.exists():
            vehicle, have, without = self._new
            reasoner = open_reasoner(vehicle, without, self._tell)
            conversation, journal = new_job(reasoner, vehicle, self.path, have, without)
        else:
            conversation, journal, self.messages = resume_job(
                self.path, self._vehicle, self._tell, self._instruments, self._packs
            )
        with self._ending:
            if self._ended:
                journal.close()
                raise DiagError(t("{path}: the program was ended; everything is kept.", path=self.path))
            self._conversation, self._journal = conversation, journal

    def _tell(self, share: float) -> None:
        self.share = share

    @property
    def failed(self) -> BaseException | None:
        """Why it could not be opened, if that is known already."""
        return self.opening.exception() if self.opening.done() else None

    @property
    def in_use(self) -> bool:
        """Whether another program is at work on it."""
        return isinstance(self.failed, JournalError) and getattr(self.failed, "code", "") == "in-use"

    def run(self, work: Callable[[Conversation], T]) -> Future[T]:
        """Have something done with the conversation, after all that was asked before."""

        def done() -> T:
            if self._conversation is None:
                raise self.failed or DiagError(t("{path}: the job is not open.", path=self.path))
            return work(self._conversation)

        return self._worker.submit(done)

    def said(self, conversation: Conversation) -> list[Object]:
        """What is told and asked now; the same objects until something is put in. For the worker only."""
        key = (mark_of(conversation), len(conversation.findings()))
        if self._said is None or self._said[0] != key:
            self._said = (key, conversation.say())
        return self._said[1]

    def send(self, conversation: Conversation, message: Object) -> Object:
        """Put one message in, for the worker only: the tell or error that comes of it."""
        told = conversation.take(message)
        if message.keys() & {"why"}:
            return told
        self._said = None
        return told

    def close(self) -> None:
        """Give the job's file and lock back. What was acknowledged is on the disk already."""
        with self._ending:
            self._ended = True
            if self._journal is not None:
                self._journal.close()
        self._worker.stop()
