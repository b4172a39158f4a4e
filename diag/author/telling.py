"""What is shown before saving: the entries as they will be written, and what they change, at any width."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Mapping, Sequence

from diag.author.draft import Draft
from diag.author.effects import Effects, ends_right
from diag.author.writing import entry_text
from diag.texts import t, tn

__all__ = ["effects_text", "entries_text", "own_text"]


def entries_text(draft: Draft, columns: int) -> str:
    """The YAML in short: what is longer than the screen is cut."""
    lines: list[str] = []
    for section, entries in draft.entries.items():
        lines.append(f"{section}:")
        if isinstance(entries, Mapping):
            lines += [f"  {name}: [{', '.join(values)}]" for name, values in entries.items()]
            continue
        for entry in entries:
            lines += entry_text(entry, 2)
    return "\n".join(line if len(line) <= columns else f"{line[: columns - 3]}..." for line in lines)


def effects_text(effects: Effects, columns: int) -> str:
    """How many recorded jobs are unchanged, better and worse, with the names of those that are not the same."""
    count, found = effects.looked, effects.replayed
    lines = [
        tn(
            "{n} recorded job looked at, {found} can be touched by it.",
            "{n} recorded jobs looked at, {found} can be touched by it.",
            count,
            found=found,
        )
    ]
    if found:
        rows = [("unchanged", effects.same), ("better", len(effects.better)), ("worse", len(effects.worse))]
        rows += [(t("less sure"), len(effects.weaker))] if effects.weaker else []
        lines += [f"  {name:10}{number:5}" for name, number in rows]
        lines += _named("better", effects.better)
        lines += _named(t("less sure"), effects.weaker)
        lines += _named("worse", effects.worse)
    return "\n".join(_wrapped(lines, columns))


def _named(word: str, jobs: Mapping[str, str]) -> Iterator[str]:
    for name, why in sorted(jobs.items()):
        yield f"  {word}: {name}: {why}"


def own_text(effects: Effects, draft: Draft, columns: int) -> str:
    """Whether the job that it comes from ends at its cure now; empty where it has none."""
    own = effects.own
    if own is None:
        return ""
    if ends_right(own, draft.remedy):
        one = next(one for one in reversed(own.carried) if one.remedy == draft.remedy)
        return "\n".join(_wrapped([t("Its own job now ends at the cure ({p:.0%}).", p=one.p or 0)], columns))
    if own.problem:
        return "\n".join(_wrapped([t("! Its own job cannot be replayed: {problem}.", problem=own.problem)], columns))
    last = own.carried[-1] if own.carried else None
    if last is not None and last.leader == draft.remedy:
        words = t(
            "! Its own job now leads to its cure, but is not sure of it yet: {p:.0%}. Another sign, or a ",
            p=last.p or 0,
        )
        words += t("stronger one, would carry it.")
        return "\n".join(_wrapped([words], columns))
    led = (
        t("; {leader} leads with {leader_p:.0%}", leader=last.leader, leader_p=last.leader_p or 0)
        if last is not None and last.leader
        else ""
    )
    mine = f" ({last.p or 0:.0%})" if last is not None else ""
    words = t(
        "! Its own job does NOT end at {remedy}{mine}{led}. Its answers do not carry it yet: choose other ",
        remedy=draft.remedy,
        mine=mine,
        led=led,
    )
    words += t("signs, or save the draft and let the next job with this fault be its proof (`diag rules add` again).")
    return "\n".join(_wrapped([words], columns))


def _wrapped(lines: Sequence[str], columns: int) -> list[str]:
    out: list[str] = []
    for line in lines:
        indent = " " * (len(line) - len(line.lstrip()) + 2)
        out += textwrap.wrap(line, columns, subsequent_indent=indent, break_on_hyphens=False) or [""]
    return out
