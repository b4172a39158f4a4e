"""The short words for sorts of mistakes, which stay the same where wording changes: for editors, scripts and CI.

Knows words only.
"""

from __future__ import annotations

__all__ = ["CODES", "ON_EVERY_VEHICLE"]

CODES: dict[str, str] = {
    # files
    "unreadable": "a file, folder or package that is not there or cannot be read",
    "not-yaml": "the file is not YAML; nothing in it could be looked at",
    "no-mapping": "the file is empty, or holds something else than `key: value`",
    "odd-character": "a control or invisible character",
    "yaml-feature": "an anchor, alias, tag, merge key or second document",
    "repeated-key": "a key stands twice",
    "too-deep": "lists and mappings nested too deep",
    "more-mistakes": "a file with so many mistakes that not all are shown",
    "wrong-file-name": "a file's name is not that of what it holds",
    "unknown-file": "no part of a rule pack reads a file of this name at this place",
    # shape
    "missing-key": "a key that must be there is missing",
    "unknown-key": "a key that is not known here",
    "unknown-kind": "no such kind of part",
    "bad-name": "an id, terminal or other name of the wrong form",
    "wrong-value": "a value of the wrong sort, or none of those that may be",
    "wrong-shape": "keys of one entry that do not go together",
    "too-few": "an empty text, or a list with fewer entries than needed",
    "missing-unit": "a quantity without its unit",
    "wrong-unit": "a quantity in a unit of something else",
    "no-source": "a source that names none, such as `todo` or `?`",
    "no-reason": "a `because` that gives no reason",
    # packs
    "no-pack": "a rule pack without pack.yaml",
    "pack-name": "a name of a pack that is kept for another layer",
    "unknown-pack": "a pack laid over one that is not installed",
    "pack-conflict": "two packs give the same id and neither is laid over the other",
    "retired-again": "a retired id given anew",
    "written-for": "additions to a circuit written for other volts or earth than it",
    "lost-conclusion": "a rule that replaces a lower one and no longer establishes what others use",
    "option-lost": "an option that would lose choices of a lower layer",
    # ids and references
    "duplicate-id": "an id that is given twice",
    "given-twice": "the same thing twice in one list",
    "unknown-cause": "no part or wire has such a fault, and no note adds it",
    "unknown-caution": "no such caution",
    "unknown-check": "no such check",
    "unknown-choice": "no such choice of an option, or one that cannot stand beside the others",
    "unknown-circuit": "no such circuit, or one that is not fitted",
    "unknown-colour": "no such colour of a wire or tell-tale",
    "unknown-conclusion": "`established` names what no rule establishes",
    "unknown-control": "no such control",
    "unknown-id": "nothing of this id",
    "unknown-job": "`leads-there` or `near-miss` names no recorded job",
    "unknown-option": "no such option",
    "unknown-part": "no such part",
    "unknown-place": "no such place",
    "unknown-position": "no such position of a control",
    "unknown-remedy": "no such remedy, or form of one",
    "unknown-rule": "no such rule",
    "unknown-terminal": "no such terminal, or no part that has it",
    "unknown-wire": "no such fuse or wire",
    "unknown-word": "a word that is no answer",
    "wrong-prefix": "a rule's id that does not begin with its circuit",
    "controls-disagree": "two circuits give one control different positions",
    "bad-override": "an override of a vehicle that fits nothing",
    # parts, wires, checks
    "same-terminal": "two ends on one terminal",
    "bad-jumper": "a jumper between what cannot be joined",
    "plug-joined": "a plug whose control and `joined-when` do not agree",
    "pull-in": "a relay that would let go at volts that pull it in",
    "wrong-target": "a lamp looked at as a whole that has two filaments, or the other way round",
    "wrong-test": "a condition that does not suit the check's answers",
    "limits-swapped": "a lower limit above the upper",
    "usual-shares": "usual shares that cannot be",
    "misread-shares": "shares of misreading that leave nothing",
    "bare-terminal": "a terminal without a wire",
    "position-left-out": "a position without its resistance",
    "lone-bundle": "a bundle of one wire",
    "at-rest": "a control named in `operate` that is at rest",
    "no-minutes": "a check or remedy that does not say how long it takes",
    "no-caution": "something that can hurt, without a caution",
    "duplicate-check": "two checks that ask for the same thing",
    "same-phrase": "two complaints in the same words",
    "odd-braces": "braces in the wording of a remedy that nothing fills in",
    # rules
    "never-holds": "a condition that no answer meets",
    "out-of-range": "a condition that no believable reading meets",
    "excludes-itself": "two conditions on one check that exclude each other",
    "idle-condition": "a condition that adds nothing to the one before it",
    "dead-chain": "what must be established first never is, or not with this rule's answers",
    "ring": "things that rest on each other in a ring",
    "contradiction": "the same conditions both point to a cause and clear it",
    "opposed": "a wider rule on the same checks says the opposite of a narrower one",
    "duplicate-rule": "two rules with the same conditions and effects",
    "same-conditions": "two rules with the same conditions",
    "adds-nothing": "a rule all of which a wider one says already",
    "unused-conclusion": "a conclusion that nothing uses",
    "unused-caution": "a caution that nothing uses",
    "unrecoverable": "weights or a frequency that push a cause so far that nothing later brings it back",
    "against-network": "the computed prediction speaks against what a rule says",
    "beyond-limits": "more than a rule engine can carry",
    # causes and remedies
    "no-remedy": "a cause that nothing cures",
    "no-proof": "a remedy that nothing proves",
    "cured-twice": "a cause that two remedies claim",
    "unseen-cause": "an added cause that nothing ever points to",
    # life of rules, recorded jobs
    "unearned-state": "a rule called tested or proven without what that needs",
    "near-miss-fires": "a near miss that fires the rule",
    "no-successor": "a retired rule that names no successor, or none that is there",
    "not-exercised": "a rule that no recorded job exercises",
    "bad-job": "a recorded job that cannot be used",
    "lone-job": "a recorded job without what it must come to, or the other way round",
    "not-wired": "a vehicle that cannot be put together, so that nothing on it was looked at",
}
"""Code to what it means."""

ON_EVERY_VEHICLE = frozenset({
    "unused-conclusion", "unused-caution", "bare-terminal", "lone-bundle", "position-left-out", "unseen-cause",
})  # fmt: skip
"""What is only a slip where it is so on every vehicle that has the entry."""
