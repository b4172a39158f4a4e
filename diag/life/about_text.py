"""What is known of an id, and lists of rules, as lines of text of a given width.

Words and layout only; nothing is said by colour.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from diag.life.jobs import CLEARED, ELSEWHERE, RIGHT, SILENT, SOUND
from diag.texts import t, tn

__all__ = ["list_text", "needs_text", "page"]

Object = Mapping[str, Any]
_JOBS_SHOWN, _NAMES_SHOWN = 12, 8
_TABLE_FROM = 76
CAME = {
    RIGHT: "right",
    ELSEWHERE: t("pointed elsewhere"),
    CLEARED: t("cleared what was wrong"),
    SOUND: t("pointed, nothing was wrong any more"),
    SILENT: t("names no cause"),
}
_EFFECTS = (
    ("points-to", t("Points to")),
    ("clears", t("Clears")),
    ("establish", t("Concludes")),
    ("ask", t("Asks next")),
    ("warn", t("CAUTION before anything else")),
    ("stop", t("BATTERY OFF NOW")),
)


def _wrap(text: str, width: int, first: str = "", rest: str | None = None) -> list[str]:
    later = " " * len(first) if rest is None else rest
    return textwrap.wrap(
        " ".join(text.split()),
        max(width, len(first) + 16),
        initial_indent=first,
        subsequent_indent=later,
        break_on_hyphens=False,
    ) or [first.rstrip()]


def page(found: Object, width: int) -> list[str]:
    """All that `about` found, as lines."""
    lines = [*_wrap(f"{found['what'].upper()} {found['id']}", width), *_wrap(str(found["title"]), width), ""]
    lines += _rule(found, width) if found["what"] == "rule" else _thing(found, width)
    return [*lines, *_home(found, width)]


def _said(name: str, text: object, width: int) -> list[str]:
    return _wrap(str(text), width, f"{name}: ", "  ") if text not in (None, "", [], {}) else []


def _items(head: str, texts: Sequence[str], width: int, most: int = 1000) -> list[str]:
    if not texts:
        return []
    more = [t("- and {number} more", number=len(texts) - most)] if len(texts) > most else []
    return [f"{head}:", *(line for text in texts[:most] for line in _wrap(text, width, "- ")), *more]


def _home(found: Object, width: int) -> list[str]:
    lines: list[str] = []
    if found["layer"]:
        lines += _said(
            t("Layer"), found["layer"] + (t(", hash {found}", found=found["digest"]) if found["digest"] else ""), width
        )
    if found["file"]:
        lines += [
            t("File: {found}:{found_2}", found=found["file"], found_2=found["line"])
        ]  # whole, so that an editor can be sent there
    for one in found["stands-for"]:
        lines += _wrap(t("Stands in place of the one of layer {one}:", one=one["layer"]), width)
        lines += [f"  {one['place']}"]
    return lines


# ---------------------------------------------------------------- a rule


def _rule(found: Object, width: int) -> list[str]:
    lines = [t("When all of this holds:")]
    for number, condition in enumerate(found["when"], start=1):
        lines += _wrap(condition["text"], width, f"{number}. ")
        if "network" in condition:
            said = {
                "agrees": "agrees",
                "against": t("AGAINST IT"),
                "no difference": t("does not tell the causes apart"),
            }
            lines += _wrap(t("computed: the network {said}", said=said[condition["network"]]), width, "   ")
        elif condition.get("computed") is False and "check" in condition:
            lines += _wrap(t("not computed: the rule's weight counts"), width, "   ")
    for kind, head in _EFFECTS:
        lines += _items(head, [effect["text"] for effect in found["then"] if effect["kind"] == kind], width)
    if found.get("weighs") is False:
        lines += _wrap(
            t(
                "The network computes its checks: there the rule explains and steers, and its weight "
                "counts only where the loom is not described."
            ),
            width,
        )
    lines += ["", *_said(t("Because"), found["because"], width), *_said(t("Looks like"), found["looks-like"], width)]
    lines += [*_said(t("Source"), found["source"], width), *_life(found, width), "", *_jobs(found["jobs"], width), ""]
    return lines


def _life(found: Object, width: int) -> list[str]:
    lines = [t("State: {found}", found=found["state"])]
    lines += _said(t("Replaced by"), found["replaced-by"], width)
    lines += _said(t("Replaces"), ", ".join(found["replaces"]), width)
    for one in found["moved"]:
        why = f": {one['because']}" if "because" in one else ""
        lines += _wrap(
            t("{one} from {one_2} to {one_3}{why}", one=one["date"], one_2=one["from"], one_3=one["to"], why=why),
            width,
            "  ",
        )
    return lines


def _jobs(jobs: Object, width: int) -> list[str]:
    fired = jobs["fired"]
    count = t("one recorded job") if len(fired) == 1 else t("{count} recorded jobs", count=len(fired))
    if fired:
        lines = _wrap(t("Fires in {count}: {jobs}.", count=count, jobs=jobs["words"]), width)
    else:
        lines = _wrap(t("No recorded job fires it: {jobs}.", jobs=jobs["words"]), width)
    for one in fired[:_JOBS_SHOWN]:
        ended = ", ".join(one["ended-at"])
        lines += _wrap(
            t("{one}: {came}; cured by {ended}", one=one["job"], came=CAME[one["came-to"]], ended=ended), width, "- "
        )
    if len(fired) > _JOBS_SHOWN:
        lines += [t("- and {number} more", number=len(fired) - _JOBS_SHOWN)]
    return [*lines, *_said(t("Near misses"), _names(jobs["near"]), width)]


def _names(found: Sequence[str]) -> str:
    more = len(found) - _NAMES_SHOWN
    return ", ".join(found[:_NAMES_SHOWN]) + (t(" and {more} more", more=more) if more > 0 else "")


# ---------------------------------------------------------------- other things


def _share(share: float) -> str:
    return t("{number:.1f} of 1000 faults of this vehicle, before anything is asked", number=1000 * share)


def _thing(found: Object, width: int) -> list[str]:
    get = found.get
    lines: list[str] = []
    if "share" in found:
        lines += _said(t("How often"), _share(found["share"]), width)
        lines += _said(
            t("Comes and goes"), t("there {number:.0f} % of the time", number=100 * found["shows"]), width
        ) * (found["shows"] < 1)
        lines += _said(
            t("Computed"), t("by the network") if found["computed"] else t("no, only rules speak of it"), width
        )
        lines += _said(t("Remedy"), found["remedy"], width)
    if found["what"] == "wire":
        lines += _said(t("From, to"), t("{found} to {found_2}", found=found["from"], found_2=found["to"]), width)
        lines += _said(t("Wire"), f"{found['section-mm2']:g} mm², {found['colour']}, {found['length-m']:.2g} m", width)
    lines += _said(t("Needs the circuits"), ", ".join(found["needs"]), width) if "needs" in found else []
    lines += _items(t("Options"), list(get("options", ())), width)
    lines += _said(t("Asked as"), get("text"), width)
    lines += _said(t("Kind"), get("kind"), width) + _said(t("Place"), get("place"), width)
    lines += _said(t("Minutes"), f"{found['minutes']:g}", width) if "minutes" in found else []
    lines += _said(t("Needs"), ", ".join(get("instruments", ())), width)
    lines += _said("CAUTION", get("caution"), width)
    lines += _items(t("CAUTION first"), list(get("cautions", ())), width)
    lines += _said(t("Terminals"), ", ".join(get("terminals", ())), width)
    lines += _items(t("Said as"), list(get("phrases", ())), width)
    lines += _items(t("Shows, any of"), list(get("shows", ())) if found["what"] == "symptom" else [], width)
    lines += _items(t("Cures"), _with_ids(get("cures", ())), width)
    lines += _items(t("Steps"), list(get("steps", ())), width)
    lines += _items(t("Have at hand"), list(get("parts", ())), width)
    lines += _items(t("Proved by"), _with_ids(get("proof", ())), width)
    wires = get("wires", {})
    lines += _items(
        t("Wires"),
        [t("{name}: {ends} to {ends_2}", name=name, ends=ends[0], ends_2=ends[1]) for name, ends in wires.items()],
        width,
    )
    lines += _items(t("Checks"), _with_ids(get("checks", ())), width)
    lines += _items(t("Ways to fail"), _with_ids(get("causes", ())), width)
    for key, head in (
        ("rules", t("Its rules") if found["what"] == "circuit" else t("Rules that rest on it")),
        ("asked-for-by", t("Rules that ask for it")),
        ("proves", t("Remedies that it proves")),
        ("pointed-to-by", t("Rules that point to it")),
        ("cleared-by", t("Rules that clear it")),
        ("used-by", t("Used by")),
    ):
        lines += _items(head, list(get(key, ())), width, 20)
    lines += _said(t("Source"), get("source"), width)
    return [*lines, ""]


def _with_ids(found: Iterable[Object]) -> list[str]:
    return [f"{one['text']} ({one['id']})" for one in found]


# ---------------------------------------------------------------- lists


def list_text(rows: Sequence[Object], width: int) -> list[str]:
    """Rules one a line, or three where it is narrow; the counts below."""
    lines: list[str] = []
    wide = width >= _TABLE_FROM
    if wide and rows:
        lines.append(f"{t('state'):<8}{t('jobs'):>5}{t('right'):>9}  {t('rule')}")
    for row in rows:
        right = t("{row} of {row_2}", row=row["right"], row_2=row["judged"]) if row["judged"] else "-"
        if wide:
            lines += _wrap(f"{row['id']}: {row['title']}", width, f"{row['state']:<8}{row['fired']:>5}{right:>9}  ")
        else:
            lines += [row["id"], *_wrap(row["title"], width, "  ")]
            lines += _wrap(
                t("{row}; jobs {row_2}, right {right}", row=row["state"], row_2=row["fired"], right=right), width, "  "
            )
    states = {state: sum(row["state"] == state for row in rows) for state in ("draft", "tested", "proven", "retired")}
    told = ", ".join(f"{count} {state}" for state, count in states.items() if count)
    idle = sum(not row["fired"] for row in rows)
    total = tn("{n} rule", "{n} rules", len(rows)) + (f": {told}" if told else "")
    return [*lines, *_wrap(t("{total}. Exercised by no recorded job: {idle}.", total=total, idle=idle), width)]


def needs_text(head: str, needs: Iterable[Any], width: int) -> list[str]:
    """What a state takes: met or missing, how it is found, what to do."""
    lines = _wrap(head, width)
    for need in needs:
        lines += _wrap(f"{need.words}: {need.found}", width, "met      " if need.met else "MISSING  ")
        if not need.met and need.mend:
            lines += _wrap(need.mend, width, "         ")
    return lines
