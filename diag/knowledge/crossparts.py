"""Checks that what a file says of parts and wires refers to what is there: controls, positions, terminals.

Must not know of checks, rules or remedies (that is `crossref`).
"""

from __future__ import annotations

from collections.abc import Iterable

from diag.knowledge import schema
from diag.knowledge.assemble import terminals_of
from diag.knowledge.crosskinds import check_sort
from diag.knowledge.names import nearest, quoted, words
from diag.knowledge.referee import Referee
from diag.texts import t

__all__ = ["TELL_TALE_COLOURS", "check_parts", "check_wires"]

TELL_TALE_COLOURS = ("red", "green", "blue", "amber", "yellow")
"""Colours of tell-tales (ISO 2575 uses red, amber or yellow, green, blue)."""

_INNER = "holder"
"""The node inside a lamp with two filaments; a terminal may not have its name."""


def check_parts(referee: Referee) -> None:
    """Report every part whose place, terminals, control or positions do not hold."""
    for name, part in referee.know.parts.items():
        referee.known(part.place, referee.know.places, "place", name, "place")
        has = terminals_of(part)
        for index, terminal in enumerate(part.sealed):
            referee.known(terminal, has, "terminal", name, "sealed", index)
        for terminal in part.marks:
            if terminal not in has:
                referee.unknown(referee.know.spots.place(name, "marks", terminal, key=True), terminal, has, "terminal")
        key = "pins" if isinstance(part, schema.PlugPart) else "terminals"
        one = t("pin") if key == "pins" else t("terminal")
        listed: tuple[str, ...] = getattr(part, key, ())
        for index, terminal in enumerate(listed):
            if terminal in listed[:index]:
                referee.say(
                    referee.know.spots.place(name, key, index),
                    t("a {key} is given twice", key=one),
                    quoted(terminal),
                    t("each {key} once", key=one),
                    t("Take one away."),
                    code="given-twice",
                )
        check_sort(referee, name, part)
        _of_kind(referee, name, part)


def _of_kind(referee: Referee, name: str, part: schema.AnyPart) -> None:
    match part:
        case schema.SwitchPart():
            _contacts(referee, name, part)
        case schema.SenderPart():
            _positions(referee, name, "engine", part.closed_when, "closed-when")
        case schema.BreakerPart():
            if part.control != "engine":
                referee.known(part.control, referee.know.controls, "control", name, "control")
            _positions(referee, name, part.control, part.closed_when, "closed-when")
        case schema.RheostatPart() | schema.LevelSenderPart():
            referee.known(part.control, referee.know.controls, "control", name, "control")
            _positions(referee, name, part.control, part.positions, "positions")
        case schema.PlugPart():
            _joined(referee, name, part)
        case schema.RelayPart() | schema.StarterPart():
            _works(referee, name, part)
        case schema.TwoFilamentPart() if _INNER in part.terminals:
            referee.say(
                referee.know.spots.place(name, "terminals", part.terminals.index(_INNER)),
                t("a terminal cannot have the name of what is inside the lamp"),
                quoted(_INNER),
                t("a number after DIN 72552, such as `56a`"),
                t("Give it another name."),
                code="bad-name",
            )
        case schema.LampPart() if part.tell_tale and part.colour not in TELL_TALE_COLOURS:
            referee.say(
                referee.know.spots.place(name, "colour"),
                t("no tell-tale has this colour"),
                quoted(part.colour),
                words(TELL_TALE_COLOURS),
                nearest(part.colour, TELL_TALE_COLOURS),
                code="unknown-colour",
            )


def _positions(referee: Referee, name: str, control: str, found: Iterable[str], key: str) -> None:
    """Report each of `found` (a list, or the keys of a mapping) that is no position of the control."""
    known = referee.know.controls.get(control)
    if known is None and control != "engine":
        return  # the control itself has been told
    for index, position in enumerate(found):
        if position not in (known or ()):
            place = (
                referee.know.spots.place(name, key, position, key=True)
                if key == "positions"
                else referee.know.spots.place(name, key, index)
            )
            referee.unknown(place, position, known or (), f"position of `{control}`")


def _joined(referee: Referee, name: str, part: schema.PlugPart) -> None:
    if part.control is None:
        if part.joined_when:
            referee.say(
                referee.know.spots.place(name, "joined-when"),
                t("a plug that nobody pulls has no `joined-when`"),
                words(part.joined_when),
                t("a `control` beside it"),
                t("Name the control that says whether it is plugged in, or leave `joined-when` out."),
                code="plug-joined",
            )
        return
    referee.known(part.control, referee.know.controls, "control", name, "control")
    if not part.joined_when:
        referee.say(
            referee.know.spots.place(name, "control"),
            t("nothing says when this plug is joined"),
            "",
            t("`joined-when` with positions of `{control}`", control=part.control),
            t("Add `joined-when:`, or leave `control` out for a plug that stays together."),
            code="plug-joined",
        )
    _positions(referee, name, part.control, part.joined_when, "joined-when")


def _works(referee: Referee, name: str, part: schema.RelayPart | schema.StarterPart) -> None:
    if part.drop_out >= part.pull_in:
        referee.say(
            referee.know.spots.place(name, "drop-out" if "drop_out" in part.model_fields_set else "pull-in"),
            t("it would let go at volts that pull it in"),
            t("drop-out {drop_out:g}, pull-in {pull_in:g}", drop_out=part.drop_out, pull_in=part.pull_in),
            t("`drop-out` below `pull-in`"),
            t("Correct one of them."),
            code="pull-in",
        )


def _contacts(referee: Referee, name: str, part: schema.SwitchPart) -> None:
    referee.known(part.control, referee.know.controls, "control", name, "control")
    positions = referee.know.controls.get(part.control)
    for position, pairs in part.contacts.items():
        if positions is not None and position not in positions:
            referee.unknown(
                referee.know.spots.place(name, "contacts", position, key=True),
                position,
                positions,
                f"position of `{part.control}`",
            )
        for index, pair in enumerate(pairs):
            for side, terminal in enumerate(pair):
                if terminal != "body":
                    referee.known(terminal, part.terminals, "terminal", name, "contacts", position, index, side)
            if pair[0] == pair[1]:
                referee.say(
                    referee.know.spots.place(name, "contacts", position, index),
                    t("a contact joins a terminal to itself"),
                    quoted(f"{pair[0]}, {pair[1]}"),
                    t("two different terminals"),
                    t("Correct one of them."),
                    code="same-terminal",
                )


def check_wires(referee: Referee) -> None:
    """Report every wire whose ends, colours or bundle do not hold."""
    colours = referee.know.vocabulary.wire_colours
    for name, wire in referee.know.wires.items():
        referee.terminal(wire.from_, name, "from")
        referee.terminal(wire.to, name, "to")
        if wire.from_ == wire.to:
            referee.say(
                referee.know.spots.place(name, "to"),
                t("a wire joins a terminal to itself"),
                quoted(wire.to),
                t("two different terminals"),
                t("Correct one of them."),
                code="same-terminal",
            )
        named = wire.colour.split("/")
        for colour in named[:2]:
            referee.known(colour, colours, "wire colour", name, "colour")
        if len(named) > 2:
            referee.say(
                referee.know.spots.place(name, "colour"),
                t("a wire has one colour and at most one tracer"),
                quoted(wire.colour),
                t("such as `black` or `black/white`"),
                t("Leave the rest out."),
                code="unknown-colour",
            )
