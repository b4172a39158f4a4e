"""Finds the symptom that a person means from free text: misspelt, in any trade word, with its negations.

Every title and phrase of the knowledge becomes a bag of weighed words, and so does the text. Must not
know of checks, predictions or the screen.
"""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache

from rapidfuzz import fuzz, process
from rapidfuzz.distance import OSA, JaroWinkler

from diag.knowledge.assemble import Knowledge
from diag.talk.trade_words import BEHAVIOURS, BREAKS, IMPLIED, NOT, PLAIN, SAME, SHORT, THINGS, TURNED, WORDS

__all__ = ["LONGEST_TEXT", "Match", "circuits_like", "clear_winner", "find_symptoms"]

LONGEST_TEXT = 600
"""Characters read; what a person complains of stands at the beginning."""
_MOST_WORDS = 60
_LONGEST_WORD = 24
_LEAST_SCORE = 12.0
_CLEAR_SCORE = 50.0
_CLEAR_LEAD = 8.0
_PAIR_WEIGHT = 0.8
_UNKNOWN_WEIGHT = 0.25
_NO_THING = 0.75
"""Of the score where a text says what happens but not to what."""
_OTHER_THING = 0.6
"""Of the score where a text names things and the symptom is about none of them."""
_THING_ALONE = 0.49
"""Of the score where a text only names a thing: `horn` is no symptom, and none is the clear winner."""


@dataclass(frozen=True)
class Match:
    """A symptom or circuit that a text may mean; `score` 0 to 100."""

    id: str
    title: str
    score: float


def find_symptoms(text: str, knowledge: Knowledge, limit: int = 5) -> list[Match]:
    """Symptoms the text may mean, best first, at most `limit`; none where nothing is like it. Any text is taken."""
    scores = _index(knowledge).scores(text)
    found = [
        Match(name, knowledge.symptoms[name].title, round(score, 1))
        for name, score in scores.items()
        if score >= _LEAST_SCORE
    ]
    return sorted(found, key=lambda match: -match.score)[: max(limit, 0)]


def circuits_like(text: str, knowledge: Knowledge, limit: int = 5) -> list[Match]:
    """Circuits of the vehicle that the text may be about, best first: by their title and by their symptoms."""
    index = _index(knowledge)
    by_symptom = index.scores(text)
    found: list[Match] = []
    for name in knowledge.vehicle.circuits:
        circuit = knowledge.circuits[name]
        inside = max((by_symptom[symptom.id] for symptom in circuit.symptoms), default=0.0)
        score = max(inside, index.likeness(text, f"{circuit.title} {name.replace('-', ' ')}"))
        if score >= _LEAST_SCORE:
            found.append(Match(name, circuit.title, round(score, 1)))
    return sorted(found, key=lambda match: -match.score)[: max(limit, 0)]


def clear_winner(matches: list[Match]) -> str | None:
    """Id of the first where it is likely by itself and clearly ahead of the second, else None: then ask."""
    if not matches or matches[0].score < _CLEAR_SCORE:
        return None
    second = matches[1].score if len(matches) > 1 else 0.0
    return matches[0].id if matches[0].score - second >= _CLEAR_LEAD else None


# ---------------------------------------------------------------- from text to a bag of words

Bag = Mapping[str, float]


def _cleaned(text: str) -> str:
    """Lower case, one line, no control characters, plain letters, no apostrophes; the beginning of a long text."""
    plain = unicodedata.normalize("NFKD", text[:LONGEST_TEXT]).casefold()
    kept = "".join(sign for sign in plain if not unicodedata.combining(sign))
    kept = re.sub(r"['`\u2018\u2019\u00b4]", "", kept)
    kept = re.sub(r"[.,;:!?()/\n]+", " , ", kept)
    return re.sub(r"[^a-z0-9, ]+", " ", kept)


def _letters(text: str) -> str:
    return " ".join(_cleaned(text).replace(",", " ").split())


def _stem(word: str) -> str:
    """A word without its ending, so that flashes, flashing and flash are one. Rough, but the same on both sides."""
    for ending in ("ing", "ed", "es", "s", "ly"):
        if word.endswith(ending) and len(word) - len(ending) >= 3 and not word.endswith(("ss", "us")):
            word = word.removesuffix(ending)
            break
    if len(word) > 3 and word[-1] == word[-2] and word[-1] not in "ls":
        word = word[:-1]
    return word[:-1] if len(word) > 3 and word[-1] in "eyi" else word


def _stems(words: Iterable[str]) -> tuple[str, ...]:
    stems = (_SAME_STEMS.get(_stem(word), _stem(word)) for word in words)
    return tuple(part for stem in stems for part in stem.split())


_SAME_STEMS = {_stem(word): " ".join(map(_stem, same.split())) for word, same in SAME.items()}
_TERMS: Mapping[tuple[str, ...], str] = {
    _stems(word for word in term.split() if word not in PLAIN): concept
    for concept, terms in WORDS.items()
    for term in terms.split(", ")
}
_LONGEST_TERM = max(map(len, _TERMS))
_KNOWN = frozenset(
    {
        *(word for terms in WORDS.values() for term in terms.split(", ") for word in term.split()),
        *SAME,
        *NOT,
        *BREAKS,
        *PLAIN,
        "go",
        "goes",
        "off",
        "turn",
        "come",
        "comes",
    }
)
_KNOWN_STEMS = frozenset(map(_stem, _KNOWN))


def _spelt(word: str, lexicon: tuple[str, ...], known: frozenset[str]) -> list[tuple[str, float]]:
    """The known words meant by a typed one, with how sure; itself with little weight where none is near."""
    if word in known or word == "," or word.isdigit() or _stem(word) in _KNOWN_STEMS:
        return [(word, 1.0)]
    if len(word) >= 3:
        most = 1 if len(word) <= 4 else 2 if len(word) <= 7 else 3
        near = process.extract(word, lexicon, scorer=OSA.distance, score_cutoff=most, limit=8)
        # A short word has too many neighbours: only a letter left out or two changed over are taken for slips.
        likely = [
            (JaroWinkler.similarity(word, other) - away, other, away)
            for other, away, _ in near
            if len(word) > 3
            or other in SHORT
            or (other[0] == word[0] and (len(other) > 3 or sorted(other) == sorted(word)))
        ]
        _, best, away = max(likely, default=(0.0, "", 0))
        if best and (away == 1 or JaroWinkler.similarity(word, best) >= (0.8 if word[0] == best[0] else 0.88)):
            return [(best, 1.0 - 0.1 * away)]
    for cut in range(3, len(word) - 2):
        left, right = word[:cut], word[cut:]
        if left in known and right in known and left not in PLAIN:
            return [(left, 0.9), (right, 0.9)]
    return [(word, _UNKNOWN_WEIGHT)]


def _concepts(text: str, lexicon: tuple[str, ...], known: frozenset[str]) -> list[tuple[str, float]]:
    """Our words in the order of the text with how sure each is; `,` between clauses, `not` where it stands."""
    words: list[tuple[str, float]] = []
    line = re.sub(r"\b(go|goes|going|turn|turned|turns|switch|switched) of\b", r"\1 off", _cleaned(text))
    line = re.sub(r"\blite(s?)\b", r"light\1", line)  # apart from the rest, as its stem is that of `lit`
    for typed in line.split()[:_MOST_WORDS]:
        words += _spelt(typed[:_LONGEST_WORD], lexicon, known)
    stems: list[tuple[str, float]] = []
    for word, sure in words:
        if word in BREAKS or word == ",":
            stems.append(("and" if word == "and" else ",", 1.0))
        elif word in NOT:
            stems.append(("not", 1.0))
        elif word not in PLAIN:
            stems += [(stem, sure) for stem in _stems([word])]
    found: list[tuple[str, float]] = []
    at = 0
    while at < len(stems):
        for length in range(min(_LONGEST_TERM, len(stems) - at), 0, -1):
            term = tuple(stem for stem, _ in stems[at : at + length])
            if term in _TERMS or length == 1:
                found.append((_TERMS.get(term, term[0]), min(sure for _, sure in stems[at : at + length])))
                at += length
                break
    # `always flat` is flat: what lasts is named after it
    return [
        one
        for one, after in zip(found, [*found[1:], (",", 1.0)], strict=False)
        if one[0] != "stays-on" or after[0] not in BEHAVIOURS - {"lit", "flash", "stays-on"}
    ]


def _negated(found: list[tuple[str, float]]) -> list[tuple[str, float]]:
    """Turn behaviours that a `not` reaches into their opposite: `not flash` is steady, `no horn` is a dead horn."""
    result: list[tuple[str, float]] = []
    at = 0
    while at < len(found):
        if found[at][0] != "not":
            result.append(found[at])
            at += 1
            continue
        ahead = []
        for step in range(at + 1, min(at + 4, len(found))):
            if found[step][0] in (",", "not", "and"):
                break
            ahead.append(step)
        # `no lamp on` is one dead lamp: a behaviour beats the lamp itself
        target = next(
            (step for step in ahead if found[step][0] in TURNED and found[step][0] not in ("lamp", "stop", "charge")),
            next((step for step in ahead if found[step][0] in TURNED), None),
        )
        if target is None:
            result += [found[step] for step in ahead]
            # what is said not to happen may be a word nobody listed: then this is half a guess
            result.append(("dead", 0.9 if all(found[step][0] in THINGS for step in ahead) else 0.5))
        else:
            result += [found[step] for step in ahead if step < target]
            if found[target][0] in ("charge", "lamp"):
                result.append(found[target])
            result.append((TURNED[found[target][0]], found[target][1]))
            ahead = [step for step in ahead if step <= target]
        at = (ahead[-1] if ahead else at) + 1
    return result


def _bag(text: str, lexicon: tuple[str, ...], known: frozenset[str]) -> dict[str, float]:
    """Weighed words of a text, and pairs `thing=behaviour` for what is said of what."""
    found = _negated(_concepts(text, lexicon, known))
    bag: dict[str, float] = {}

    def add(word: str, weight: float) -> None:
        bag[word] = max(bag.get(word, 0.0), weight)

    for word, sure in found:
        if word in (",", "and"):
            continue
        add(word, sure)
        for implied, share in IMPLIED.get(word, {}).items():
            add(implied, share * sure)
    for at, (word, sure) in enumerate(found):
        if word not in BEHAVIOURS:
            continue
        for thing in _spoken_of(found, at):
            add(f"{thing}={word}", _PAIR_WEIGHT * sure)
            for implied, share in IMPLIED.get(word, {}).items():
                if implied in BEHAVIOURS:
                    add(f"{thing}={implied}", _PAIR_WEIGHT * share * sure)
    if bag.get("only") and bag.get("work") and bag.get("one"):
        add("dead", 0.7)  # who says that only one side works complains of the other
    return bag


def _spoken_of(found: list[tuple[str, float]], at: int) -> list[str]:
    """The things a behaviour is said of: the nearest before it in its clause with those joined by `and`, else after."""
    things: list[str] = []
    step = at - 1
    while step >= 0 and found[step][0] != ",":
        word = found[step][0]
        if word in THINGS:
            things.append(word)
        elif word in BEHAVIOURS or word == "and" and not things or things and word not in ("and", "both", "lamp"):
            break
        step -= 1
    if things:
        return things
    for word, _ in found[at + 1 :]:
        if word == "," or word in BEHAVIOURS:
            break
        if word in THINGS:
            return [word]
    return things


# ---------------------------------------------------------------- the knowledge as bags


class _Index:
    """Bags of all titles and phrases of a vehicle's knowledge, with how telling each word is."""

    def __init__(self, knowledge: Knowledge) -> None:
        self.phrases = {name: (symptom.title, *symptom.phrases) for name, symptom in knowledge.symptoms.items()}
        every = [phrase for phrases in self.phrases.values() for phrase in phrases]
        every += [circuit.title for circuit in knowledge.circuits.values()]
        own = {word for phrase in every for word in _cleaned(phrase).split()} - {","}
        self.known = frozenset(own | _KNOWN)
        self.lexicon = tuple(sorted(word for word in self.known if len(word) >= 3))
        self.bags = {name: [self.bag(phrase) for phrase in phrases] for name, phrases in self.phrases.items()}
        self.unions = {
            name: {word: max(bag.get(word, 0.0) for bag in bags) for bag in bags for word in bag}
            for name, bags in self.bags.items()
        }
        total = len(self.unions)
        count: dict[str, int] = {}
        for union in self.unions.values():
            for word in union:
                count[word] = count.get(word, 0) + 1
        self.telling = {word: math.log(1 + total / number) for word, number in count.items()}
        self.most = math.log(1 + total)

    def bag(self, text: str) -> dict[str, float]:
        return _bag(text, self.lexicon, self.known)

    def _weighed(self, bag: Bag) -> dict[str, float]:
        # A pair nobody wrote down says less than a word nobody wrote down: its two halves are counted already.
        return {
            word: weight * self.telling.get(word, 0.3 if "=" in word else 0.4 * self.most)
            for word, weight in bag.items()
        }

    def scores(self, text: str) -> dict[str, float]:
        """Score of every symptom, 0 to 100: its phrase most alike, and how much of the text all its phrases hold."""
        bag = self._weighed(self.bag(text))
        whole = sum(bag.values())
        said = [word for word, _ in _concepts(text, self.lexicon, self.known)]
        things = THINGS & set(said)
        says_what = any(word not in THINGS and word != "lamp" for word in said)
        line = _letters(text)
        result: dict[str, float] = {}
        for name, bags in self.bags.items():
            if not whole:
                result[name] = 0.0
                continue
            alike = sorted((_cosine(bag, self._weighed(other)) for other in bags), reverse=True)
            union = self.unions[name]
            held = sum(weight for word, weight in bag.items() if word in union) / whole
            close = alike[0] if len(alike) < 2 else 0.8 * alike[0] + 0.2 * alike[1]
            letters = max(fuzz.token_sort_ratio(line, _letters(phrase)) / 100 for phrase in self.phrases[name])
            score = 100 * (0.62 * close + 0.28 * held + 0.10 * letters)
            score *= 1.0 if says_what else _THING_ALONE
            score *= _NO_THING if not things else 1.0 if things & union.keys() else _OTHER_THING
            result[name] = score if close else 0.0
            if any(line == _letters(phrase) for phrase in self.phrases[name]):  # in another order it says another thing
                result[name] = 100.0
        return result

    def likeness(self, text: str, title: str) -> float:
        """How much a text is like one title, 0 to 100."""
        return 100 * _cosine(self._weighed(self.bag(text)), self._weighed(self.bag(title)))


def _cosine(one: Bag, other: Bag) -> float:
    dot = sum(weight * other[word] for word, weight in one.items() if word in other)
    sizes = [sum(weight * weight for weight in bag.values()) for bag in (one, other)]
    return dot / math.sqrt(sizes[0] * sizes[1]) if all(sizes) else 0.0


@lru_cache(maxsize=4)
def _index(knowledge: Knowledge) -> _Index:
    return _Index(knowledge)
