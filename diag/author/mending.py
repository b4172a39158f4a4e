"""What is done about the fault: as is known, or in the person's own steps with the usual cautions before them."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from diag.author.draft import Entry
from diag.author.fault import Fault
from diag.author.filled import Filled, numbered, numbers_of, text_asked
from diag.author.naming import free_id, slug
from diag.author.signs import Cure
from diag.fit.interview import Asked
from diag.knowledge import schema
from diag.reason.reasoner import Reasoner
from diag.reason.remedies import RemedyPlan
from diag.texts import t

__all__ = ["Mending"]

_NONE = "-"
_OFF, _FUSE, _RUNNING, _HOT = "battery-off-first", "no-bigger-fuse", "moving-parts", "hot-lamps"
_SHOWN = 9
"""Cautions to choose from, those that belong to the circuit first."""


class Mending:
    """The remedy. `said`: what the person said was done."""

    def __init__(self, reasoner: Reasoner, filled: Filled, fault: Fault, cure: Cure | None, said: str) -> None:
        self.reasoner, self.filled, self.fault, self.cure, self.said = reasoner, filled, fault, cure, said
        self.known = self._known()
        self.cautions: tuple[str, ...] = ()
        self.proofs: tuple[str, ...] = ()

    def _known(self) -> RemedyPlan | None:
        """The remedy that cures the fault, or the one that it is like, today."""
        if self.fault.own and self.cure is not None and self.cure.remedy in self.reasoner.remedies:
            plan = self.reasoner.remedies[self.cure.remedy]
            subject = plan.id.partition(".")[0]
            return plan if plan.id in self.reasoner.knowledge.remedies or subject == self.fault.subject else None
        base = self.fault.base
        if self.fault.extra is not None:  # as any other fault of that part for which it is renewed
            plans = [plan for plan in self.reasoner.remedies.values() if plan.id == f"{self.fault.subject}.renew"]
            causes = [c for c in self.reasoner.causes if c.subject == self.fault.subject]
            plans += [self.reasoner.remedies[self.reasoner.remedy_of[self.reasoner.index[c.id]]] for c in causes]
            return plans[0] if plans else None
        if base is None or self.fault.own:
            return None
        return self.reasoner.remedies[self.reasoner.remedy_of[self.reasoner.index[base.id]]]

    @property
    def own(self) -> bool:
        """Whether its steps are written anew."""
        return self.known is None or self.filled.values.get("remedy") == "own"

    def path(self, proofs: Sequence[str]) -> Iterator[Asked]:
        """As known, or title, steps, parts, minutes and cautions."""
        self.proofs = tuple(proofs)
        put = self.filled.put
        if self.known is not None:
            choices = {"known": self.known.title, "own": t("other steps, which I write")}
            yield put(Asked("remedy", t("What is done about it?"), "known", choices))
        if not self.own:
            return
        said = self.said or t(
            "Put right: {fault}{fault_2}", fault=self.fault.title[:1].lower(), fault_2=self.fault.title[1:]
        )
        yield put(text_asked("remedy-title", t("What is done about it, in a line"), _capital(said)))
        yield put(text_asked("remedy-steps", t("Its steps, parted by ;"), _sentence(said)))
        yield put(text_asked("remedy-parts", t("Parts to have at hand, parted by ;"), _NONE))
        yield put(Asked("remedy-minutes", t("Minutes that it takes"), "15 min", {}, None, None, "min", 0.5, 2000))
        names, usual = self._offered()
        texts = [self.reasoner.knowledge.cautions[name].text for name in names]
        if names:
            asked = numbered("cautions", t("Cautions before it"), usual, [_cut(text) for text in texts], none=True)
            yield put(asked)
            self.cautions = tuple(names[i] for i in numbers_of(self.filled["cautions"]) if i < len(names))

    def _offered(self) -> tuple[list[str], list[int]]:
        """Cautions to choose from, and the places of those that belong before such work."""
        known = self.reasoner.knowledge.cautions
        part = self.reasoner.knowledge.parts.get(self.fault.subject)
        usual = [] if isinstance(part, schema.LampPart | schema.TwoFilamentPart) else [_OFF]
        if isinstance(part, schema.LampPart | schema.TwoFilamentPart):
            usual.append(_HOT)
        if isinstance(part, schema.FusePart):
            usual.append(_FUSE)
        if any(sign.step.operate.get("engine") == "running" for sign in self.fault.scene.signs):
            usual.append(_RUNNING)
        usual = [name for name in usual if name in known]
        order = list(dict.fromkeys([*usual, _OFF, _FUSE, _RUNNING, *known]))
        return [name for name in order if name in known][:_SHOWN], list(range(len(usual)))

    # ------------------------------------------------------------ as entries

    def remedy(self, cause: str, taken: set[str]) -> tuple[str, Entry | None]:
        """Id of the remedy that cures the fault, with its entry where it is new."""
        if not self.own:
            assert self.known is not None
            return self._known_id(cause), None
        title = self.filled["remedy-title"]
        name = free_id(slug(re.split("[,;:(]", title)[0]), {*taken, *self.reasoner.remedies})
        entry: Entry = {
            "id": name,
            "title": title,
            "cures": [cause],
            "steps": _pieces(self.filled["remedy-steps"]) or [_sentence(title)],
        }
        if self.cautions:
            entry["cautions"] = list(self.cautions)
        if self.filled["remedy-parts"] != _NONE:
            entry["parts"] = _pieces(self.filled["remedy-parts"])
        entry["minutes"] = self.filled["remedy-minutes"]
        if self.proofs:
            entry["proof"] = list(self.proofs)
        return name, entry

    def _known_id(self, cause: str) -> str:
        assert self.known is not None
        subject, dot, verb = self.known.id.partition(".")
        return f"{cause.split('.')[0]}.{verb}" if dot else subject

    def note_remedy(self, cause: str, remedy: str) -> str | None:
        """What the note of a new cause says of its remedy: an id, or the work that its part's kind has."""
        if self.own:
            return remedy
        assert self.known is not None
        _, dot, verb = self.known.id.partition(".")
        return verb if dot else self.known.id


def _pieces(text: str) -> list[str]:
    return [_sentence(piece) for piece in text.split(";") if piece.strip()]


def _sentence(text: str) -> str:
    return _capital(text.strip())


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _cut(text: str) -> str:
    return text if len(text) <= 70 else f"{text[:67]}..."
