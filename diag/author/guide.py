"""Which question comes next when a rule is added, and what the answers make: a pure function of both.

Proposes wherever the job, the network or the files say something, so that Enter is usually enough. Knows nothing
of screens or files.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from functools import lru_cache

from diag.author.draft import Draft
from diag.author.run import Run
from diag.author.signs import Story
from diag.fit.interview import Answers, Asked
from diag.knowledge.names import nearest, quoted, words
from diag.reason.reasoner import Reasoner
from diag.texts import t

__all__ = ["Guide", "given_answers"]


class Guide:
    """Questions for one addition. `story`: the job that it comes from (None: from nothing); `day`: YYYY-MM-DD;
    `taken`: ids of all layers, retired ones too, none of which is used again."""

    def __init__(self, reasoner: Reasoner, story: Story | None, day: str, taken: frozenset[str]) -> None:
        self.reasoner, self.story, self.day, self.taken = reasoner, story, day, taken
        self._until: Callable[[int | None], Story] | None = None
        if story is not None:
            self._until = lru_cache(maxsize=None)(story.until)

    def until(self, cure: int | None) -> Story:
        """The job before one of its cures. Raises ValueError without a job."""
        if self._until is None:
            raise ValueError(t("there is no job"))
        return self._until(cure)

    def path(self, answers: Answers) -> Iterator[Asked]:
        """All questions in their order; what is not answered counts as answered with what is proposed."""
        return Run(self, answers).path()

    def draft(self, answers: Answers) -> Draft:
        """What the answers add. Raises ValueError where a question without a proposal is not answered."""
        run = Run(self, answers)
        for _ in run.path():
            pass
        return run.draft()


def given_answers(guide: Guide, given: Mapping[str, str]) -> tuple[dict[str, str], list[str]]:
    """Answers by question, read as if typed, and those for which the others leave no room. Raises ValueError with
    every question that cannot be answered so."""
    from diag.fit.interview import read_answer

    answers: dict[str, str] = {}
    problems: list[str] = []
    while True:
        asked = next((one for one in guide.path(answers) if one.id in given and one.id not in answers), None)
        if asked is None:
            break
        try:
            answers[asked.id] = read_answer(asked, given[asked.id])
        except ValueError as error:
            raise ValueError(
                t("`{asked}`: found {given}; {error}", asked=asked.id, given=quoted(given[asked.id]), error=error)
            ) from None
    missing = []
    for asked in guide.path(answers):
        if asked.id not in answers:
            try:
                read_answer(asked, "")
            except ValueError:
                missing.append(asked)
    if missing:
        known = [asked.id for asked in guide.path(answers)]
        idle = [name for name in given if name not in answers]
        slip = f" {nearest(idle[0], known)}" if idle else ""
        problems.append(
            t(
                "no answer to {missing} ({text}){slip}",
                missing=words(asked.id for asked in missing),
                text=missing[0].text,
                slip=slip,
            )
        )
    if problems:
        raise ValueError("; ".join(problems))
    return answers, [name for name in given if name not in answers]
