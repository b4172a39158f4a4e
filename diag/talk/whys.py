"""Why, or why not: what is said of any cause, remedy or part that someone names, in words and numbers.

Pure functions of reasoner and plan; knows nothing of journals, screens or keys.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from diag.knowledge.assemble import Knowledge
from diag.reason.explain import Account, Back, Reason, account_of, accounts_of, decibans, number_words, weight_words
from diag.reason.meanings import OUTSIDE, SOUND, Meaning
from diag.reason.reasoner import Beliefs, Reasoner
from diag.reason.steps import Step
from diag.talk.taught_words import taught_words
from diag.talk.wording import answer_words, finding_words, only_words, said_words
from diag.texts import t

__all__ = [
    "Named",
    "UnknownNameError",
    "after_words",
    "line_of",
    "named",
    "names_of",
    "percent",
    "short_title",
    "why_of",
]

Object = dict[str, Any]
_NEAREST, _LINES, _CONTRAST, _LONGEST = 5, 6, 4, 200
_TELLING = 1.3
_WAY = re.compile(r" \([^()]*, from [^()]*\)")
"""Colour and ends of a wire, which a list of several titles has no room for."""


class UnknownNameError(ValueError):
    """A name that nothing has; `near`: the nearest names there are."""

    def __init__(self, found: str, near: Sequence[str]) -> None:
        self.found, self.near = found, tuple(near)
        super().__init__(t("no cause, remedy or part of this vehicle is called that"))


@dataclass(frozen=True)
class Named:
    """What a name stands for. `about`: cause, remedy or part; `causes`: indices."""

    about: str
    id: str
    title: str
    causes: tuple[int, ...]


# ---------------------------------------------------------------- names


def names_of(reasoner: Reasoner) -> dict[str, str]:
    """Everything that can be asked about, with its title: parts and wires, causes, remedies."""
    titles = _titles(reasoner.knowledge)
    subjects = dict.fromkeys(cause.subject for cause in reasoner.causes if cause.subject in titles)
    return {
        **{name: titles[name] for name in subjects},
        **{cause.id: cause.title for cause in reasoner.causes},
        **{name: remedy.title for name, remedy in reasoner.remedies.items()},
    }


def _titles(knowledge: Knowledge) -> Mapping[str, str]:
    wires = {name: wire.title or name.replace("-", " ") for name, wire in knowledge.wires.items()}
    return {**wires, **{name: part.title for name, part in knowledge.parts.items()}}


def named(reasoner: Reasoner, text: str, likely: Sequence[str] = ()) -> Named:
    """What a text names: an id in any spelling of case and spaces, or a title. Raises UnknownNameError with the
    nearest names, or with `likely` where none is near."""
    names = names_of(reasoner)
    folded = _folded(text)
    found = [name for name in names if _folded(name) == folded] or [
        name for name, title in names.items() if _folded(title) == folded
    ]
    if not found:
        raise UnknownNameError(text, _near(folded[:_LONGEST], names) or likely)
    name = found[0]
    if name in reasoner.remedies:
        cures = tuple(reasoner.index[cause] for cause in reasoner.remedies[name].cures)
        return Named("remedy", name, names[name], cures)
    if name in reasoner.index:
        return Named("cause", name, names[name], (reasoner.index[name],))
    return Named("part", name, names[name], tuple(i for i, c in enumerate(reasoner.causes) if c.subject == name))


def _folded(text: str) -> str:
    return "-".join(text.casefold().replace("-", " ").rstrip("?.! ").split())


def _near(folded: str, names: Mapping[str, str]) -> list[str]:
    """The nearest names: those that hold every word, then those that are spelt alike."""
    words = [word for word in folded.split("-") if word not in ("the", "a", "of", "not")]
    holding = [name for name, title in names.items() if words and all(w in f"{name} {title}".casefold() for w in words)]
    holding.sort(key=len)
    spelt = {_folded(title): name for name, title in names.items()} | {_folded(name): name for name in names}
    alike = [spelt[close] for close in difflib.get_close_matches(folded, list(spelt), n=_NEAREST, cutoff=0.5)]
    return list(dict.fromkeys([*holding, *alike]))[:_NEAREST]


# ---------------------------------------------------------------- words


def percent(p: float) -> str:
    """A chance in percent, never 100 nor 0 for what is not certain."""
    if p >= 0.995:
        return ">99 %"
    if p < 0.001:
        return "<0.1 %"
    return f"{100 * p:.1f} %" if p < 0.01 else f"{100 * p:.0f} %"


def after_words(reasoner: Reasoner, meaning: Meaning) -> str:
    """What an answer would point to, and what it would clear."""

    def title(name: str) -> str:
        own = {SOUND: t("nothing wrong"), OUTSIDE: t("a cause that is not in the model")}.get(name)
        return own or short_title(reasoner.remedies[name].title)

    parts = [
        t(
            "points to: {name} ({percent}, now {percent_2})",
            name=title(one.name),
            percent=percent(one.then),
            percent_2=percent(one.now),
        )
        if n == 0
        else f"{title(one.name)} ({percent(one.then)})"
        for n, one in enumerate(meaning.raises)
    ]
    said = [", ".join(parts)] if parts else []
    said += (
        [t("clears: {clears}", clears=", ".join(title(one.name) for one in meaning.clears))] if meaning.clears else []
    )
    return "; ".join(said) or t("changes little")


def short_title(title: str) -> str:
    """A title without colour and ends of a wire."""
    return _WAY.sub("", title)


def line_of(knowledge: Knowledge, reason: Reason) -> Object:
    """One finding for or against: its weight as a ratio, in decibans and in words, where that comes from, and
    what is computed `with` the fault and `instead`."""
    step = reason.finding.step
    return {
        "seq": reason.finding.seq,
        "text": finding_words(knowledge, reason.finding),
        "weight": round(reason.weight, 3) if reason.weight >= 0.01 else float(f"{reason.weight:.3g}"),
        "decibans": round(decibans(reason.weight), 1),
        "words": weight_words(reason.weight),
        "numbers": number_words(reason.weight),
        "from": reason.source,
        "rules": list(reason.rules),
        "with": answer_words(step, reason.shown) if step is not None and reason.shown is not None else None,
        "instead": answer_words(step, reason.instead) if step is not None and reason.instead is not None else None,
    }


def _titles_of(reasoner: Reasoner, members: frozenset[int] | None) -> str:
    if members is None:
        return t("a cause that is not in the model")
    return t(" and ").join(reasoner.causes[i].title for i in sorted(members)) or t("nothing wrong")


# ---------------------------------------------------------------- what is told


def why_of(reasoner: Reasoner, beliefs: Beliefs, allowed: Callable[[Step], bool], text: str) -> Object:
    """What is told of whatever `text` names. Raises UnknownNameError."""
    found = named(reasoner, text, [name for name, _ in beliefs.ranking[:_NEAREST]])
    if found.about == "part":
        return _part(reasoner, beliefs, found)
    account = account_of(reasoner, beliefs, found.causes, allowed)
    knowledge = reasoner.knowledge
    lines = [line_of(knowledge, reason) for reason in account.reasons]
    contrast = [line_of(knowledge, reason) for reason in account.contrast if reason.weight * _TELLING <= 1]
    return {
        "about": found.about,
        "id": found.id,
        "title": found.title,
        "p": round(account.p, 4),
        "prior": float(f"{account.prior:.3g}"),
        "standing": account.standing,
        "text": _standing_words(reasoner, beliefs, account) + _only_words(reasoner, account.subject),
        "weighed-as": [_cause(reasoner, i) for i in sorted(account.subject)],
        "beside": [_cause(reasoner, i) for i in sorted(account.company)],
        "for": [line for line in lines if line["weight"] >= _TELLING][:_LINES],
        "against": [line for line in lines if line["weight"] * _TELLING <= 1][:_LINES],
        "leader": {
            "title": _titles_of(reasoner, account.leader),
            "causes": [_cause(reasoner, i) for i in sorted(account.leader or ())],
            "p": round(account.leader_p, 4),
            "prior": float(f"{account.leader_prior:.3g}"),
        },
        "against-leader": contrast[:_CONTRAST],
        "back": [_back(reasoner, beliefs, back) for back in account.back],
        **_learned(reasoner, found.causes),
    }


def _learned(reasoner: Reasoner, causes: Sequence[int]) -> Object:
    """On which counts of closed jobs it rests, where they say much."""
    words = taught_words(reasoner, causes)
    return {"learned": words} if words else {}


def _cause(reasoner: Reasoner, i: int) -> Object:
    return {"id": reasoner.causes[i].id, "title": reasoner.causes[i].title}


def _part(reasoner: Reasoner, beliefs: Beliefs, found: Named) -> Object:
    """All causes of a part with where each stands, the likeliest first."""
    present, causes = beliefs.posterior.present, []
    order = sorted(found.causes, key=lambda i: (-float(present[i]), -float(reasoner.prior[i]), i))
    for i, account in zip(order, accounts_of(reasoner, beliefs, [[i] for i in order]), strict=True):
        causes.append(
            {
                **_cause(reasoner, i),
                "p": round(account.p, 4),
                "prior": float(f"{account.prior:.3g}"),
                "standing": account.standing,
                "text": _standing_words(reasoner, beliefs, account) + _only_words(reasoner, account.subject),
            }
        )
    p = sum(chance for members, chance in beliefs.posterior.sets if not members.isdisjoint(found.causes))
    return {
        "about": "part",
        "id": found.id,
        "title": found.title,
        "p": round(p, 4),
        "prior": float(f"{sum(cause['prior'] for cause in causes):.3g}"),
        "text": t("Chance that something is wrong with it: {percent}.", percent=percent(p)),
        "causes": causes,
    }


def _standing_words(reasoner: Reasoner, beliefs: Beliefs, account: Account) -> str:
    """Where a cause stands, in a sentence or two."""
    other = account.leader if account.leader is None else (account.leader - account.company) or account.leader
    leader, knowledge = _titles_of(reasoner, other), reasoner.knowledge
    match account.standing:
        case "leading":
            beside = (
                t(", together with {titles_of}", titles_of=_titles_of(reasoner, account.company))
                if account.company
                else ""
            )
            return t("It is what is held likeliest{beside}.", beside=beside)
        case "treated":
            done = reasoner.remedies[account.cured_by].title if account.cured_by else t("what was changed")
            return t("Put right by: {done}. Nothing says that it is back.", done=done)
        case "rare":
            return t(
                "No answer decides against it, but it is rarer than what is held likeliest "
                "({leader}): before any answer 1 to {number:.0f}.",
                leader=leader,
                number=account.leader_prior / max(account.odds_prior, 1e-300),
            )
        case "beside":
            return t(
                "It would be a fault more, beside {leader}, and nothing that was found asks for one.", leader=leader
            )
        case "open":
            return t("Nothing that was found tells it from what is held likeliest ({leader}).", leader=leader)
    worst = account.contrast[0]
    would = _would_words(worst)
    return t(
        "Answer {seq} speaks most against it, compared with {leader}: {finding}{would} ({number}).",
        seq=worst.finding.seq,
        leader=leader,
        finding=finding_words(knowledge, worst.finding),
        would=would,
        number=number_words(worst.weight),
    )


def _only_words(reasoner: Reasoner, subject: frozenset[int]) -> str:
    """In which positions of the controls a cause is there, where that is not all of them."""
    found = dict.fromkeys(reasoner.causes[i].only for i in sorted(subject))
    return "".join(
        t(" It is there only with {only}.", only=only_words(reasoner.knowledge, only)) for only in found if only
    )


def _would_words(reason: Reason) -> str:
    step = reason.finding.step
    if step is None or reason.shown is None:
        return ""
    return t("; with it: {answer}", answer=answer_words(step, reason.shown))


def _back(reasoner: Reasoner, beliefs: Beliefs, back: Back) -> Object:
    """What would bring a cause back."""
    if back.step is None or back.value is None:
        words = next((finding_words(reasoner.knowledge, f) for f, _ in beliefs.judged if f.seq == back.seq), "")
        text = t("answer {seq} being wrong ({words})", seq=back.seq, words=words)
        return {"seq": back.seq, "text": text, "p": round(back.p, 4)}
    return {
        "check": back.step.id,
        "value": said_words(back.step, back.value),
        "text": f"{back.step.title}: {said_words(back.step, back.value)}",
        "p": round(back.p, 4),
    }
