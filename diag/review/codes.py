"""The short words for sorts of mistakes, which stay the same where wording changes: for editors, scripts and CI.

Knows words only.
"""

from __future__ import annotations

from diag.texts import t

__all__ = ["CODES", "ON_EVERY_VEHICLE"]

CODES: dict[str, str] = {
    # files
    "unreadable": t("a file, folder or package that is not there or cannot be read"),
    "not-yaml": t("the file is not YAML; nothing in it could be looked at"),
    "no-mapping": t("the file is empty, or holds something else than `key: value`"),
    "odd-character": t("a control or invisible character"),
    "yaml-feature": t("an anchor, alias, tag, merge key or second document"),
    "repeated-key": t("a key stands twice"),
    "too-deep": t("lists and mappings nested too deep"),
    "more-mistakes": t("a file with so many mistakes that not all are shown"),
    "wrong-file-name": t("a file's name is not that of what it holds"),
    "unknown-file": t("no part of a rule pack reads a file of this name at this place"),
    # shape
    "missing-key": t("a key that must be there is missing"),
    "unknown-key": t("a key that is not known here"),
    "unknown-kind": t("no such kind of part"),
    "wrong-sort": t("a part of a sort that is based on another kind"),
    "idle-while": t("a fault that is there in all positions of a control"),
    "bad-name": t("an id, terminal or other name of the wrong form"),
    "unknown-sort": t("no such sort of part"),
    "unknown-mode": t("a kind or sort of part that does not fail in this way"),
    "idle-value": t("a value that the fault does not take"),
    "wrong-value": t("a value of the wrong sort, or none of those that may be"),
    "wrong-shape": t("keys of one entry that do not go together"),
    "too-few": t("an empty text, or a list with fewer entries than needed"),
    "missing-unit": t("a quantity without its unit"),
    "wrong-unit": t("a quantity in a unit of something else"),
    "no-source": t("a source that names none, such as `todo` or `?`"),
    "no-reason": t("a `because` that gives no reason"),
    # packs
    "no-pack": t("a rule pack without pack.yaml"),
    "pack-name": t("a name of a pack that is kept for another layer"),
    "unknown-pack": t("a pack laid over one that is not installed"),
    "pack-conflict": t("two packs give the same id and neither is laid over the other"),
    "retired-again": t("a retired id given anew"),
    "written-for": t("additions to a circuit written for other volts or earth than it"),
    "same-as-below": t("an entry that is the same as the one of a lower layer that it replaces"),
    "lost-conclusion": t("a rule that replaces a lower one and no longer establishes what others use"),
    "option-lost": t("an option that would lose choices of a lower layer"),
    # ids and references
    "duplicate-id": t("an id that is given twice"),
    "given-twice": t("the same thing twice in one list"),
    "unknown-cause": t("no part or wire has such a fault, and no note adds it"),
    "unknown-caution": t("no such caution"),
    "unknown-check": t("no such check"),
    "unknown-choice": t("no such choice of an option, or one that cannot stand beside the others"),
    "unknown-circuit": t("no such circuit, or one that is not fitted"),
    "unknown-colour": t("no such colour of a wire or tell-tale"),
    "unknown-conclusion": t("`established` names what no rule establishes"),
    "unknown-control": t("no such control"),
    "unknown-id": t("nothing of this id"),
    "unknown-job": t("`leads-there` or `near-miss` names no recorded job"),
    "unknown-option": t("no such option"),
    "unknown-part": t("no such part"),
    "unknown-place": t("no such place"),
    "unknown-position": t("no such position of a control"),
    "unknown-remedy": t("no such remedy, or form of one"),
    "unknown-rule": t("no such rule"),
    "unknown-terminal": t("no such terminal, or no part that has it"),
    "unknown-wire": t("no such fuse or wire"),
    "unknown-word": t("a word that is no answer"),
    "wrong-prefix": t("a rule's id that does not begin with its circuit"),
    "controls-disagree": t("two circuits give one control different positions"),
    "bad-override": t("an override of a vehicle that fits nothing"),
    # parts, wires, checks
    "same-terminal": t("two ends on one terminal"),
    "bad-jumper": t("a jumper between what cannot be joined"),
    "plug-joined": t("a plug whose control and `joined-when` do not agree"),
    "pull-in": t("a relay that would let go at volts that pull it in"),
    "wrong-target": t("a lamp looked at as a whole that has two filaments, or the other way round"),
    "wrong-test": t("a condition that does not suit the check's answers"),
    "limits-swapped": t("a lower limit above the upper"),
    "usual-shares": t("usual shares that cannot be"),
    "misread-shares": t("shares of misreading that leave nothing"),
    "bare-terminal": t("a terminal without a wire"),
    "position-left-out": t("a position without its resistance"),
    "lone-bundle": t("a bundle of one wire"),
    "at-rest": t("a control named in `operate` that is at rest"),
    "no-minutes": t("a check or remedy that does not say how long it takes"),
    "no-caution": t("something that can hurt, without a caution"),
    "duplicate-check": t("two checks that ask for the same thing"),
    "same-phrase": t("two complaints in the same words"),
    "odd-braces": t("braces in the wording of a remedy that nothing fills in"),
    # rules
    "never-holds": t("a condition that no answer meets"),
    "out-of-range": t("a condition that no believable reading meets"),
    "excludes-itself": t("two conditions on one check that exclude each other"),
    "idle-condition": t("a condition that adds nothing to the one before it"),
    "dead-chain": t("what must be established first never is, or not with this rule's answers"),
    "ring": t("things that rest on each other in a ring"),
    "contradiction": t("the same conditions both point to a cause and clear it"),
    "opposed": t("a wider rule on the same checks says the opposite of a narrower one"),
    "duplicate-rule": t("two rules with the same conditions and effects"),
    "same-conditions": t("two rules with the same conditions"),
    "adds-nothing": t("a rule all of which a wider one says already"),
    "unused-conclusion": t("a conclusion that nothing uses"),
    "unused-caution": t("a caution that nothing uses"),
    "unrecoverable": t("weights or a frequency that push a cause so far that nothing later brings it back"),
    "against-network": t("the computed prediction speaks against what a rule says"),
    "beyond-limits": t("more than a rule engine can carry"),
    # causes and remedies
    "no-remedy": t("a cause that nothing cures"),
    "no-proof": t("a remedy that nothing proves"),
    "cured-twice": t("a cause that two remedies claim"),
    "unseen-cause": t("an added cause that nothing ever points to"),
    # life of rules, recorded jobs
    "unearned-state": t("a rule called tested or proven without what that needs"),
    "near-miss-fires": t("a near miss that fires the rule"),
    "no-successor": t("a retired rule that names no successor, or none that is there"),
    "not-exercised": t("a rule that no recorded job exercises"),
    "bad-job": t("a recorded job that cannot be used"),
    "lone-job": t("a recorded job without what it must come to, or the other way round"),
    "not-wired": t("a vehicle that cannot be put together, so that nothing on it was looked at"),
}
"""Code to what it means."""

ON_EVERY_VEHICLE = frozenset({
    "unused-conclusion", "unused-caution", "bare-terminal", "lone-bundle", "position-left-out", "unseen-cause",
})  # fmt: skip
"""What is only a slip where it is so on every vehicle that has the entry."""
