"""What a person typed for one look at a vehicle: positions of controls, faults, a circuit.

Turns words into ids or says what there is; knows nothing of what is shown afterwards.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from diag.circuit.faults import Cause
from diag.errors import DiagError
from diag.knowledge.assemble import Knowledge
from diag.knowledge.bridging import BRIDGED, EXTRA_CONTROLS, UNPLUGGED, spelt
from diag.knowledge.names import nearest, quoted, words
from diag.texts import t

__all__ = ["UNPLUGGED", "causes_of", "circuit_of", "operate_of"]


def operate_of(knowledge: Knowledge, given: Sequence[str]) -> dict[str, str]:
    """Positions that differ from rest, from texts such as `turn=left` or `unplugged=horn.71`.

    In the order of the vehicle's controls, so that the order typed changes nothing. Raises DiagError
    for a control, position or terminal that the vehicle does not have, and for two positions of one.
    """
    found: dict[str, str] = {}
    for text in given:
        control, sign, position = (piece.strip() for piece in text.partition("="))
        if not sign or not control or not position:
            raise _wrong(text, t("control=position, e.g. `ignition=on`"), "")
        if control == UNPLUGGED:
            _unplugged(knowledge, position)
        elif control == BRIDGED:
            position = _bridged(knowledge, position)
        elif control not in knowledge.controls:
            raise _wrong(
                control,
                t("a control: {controls}", controls=words([*knowledge.controls, *EXTRA_CONTROLS])),
                _near(control, knowledge),
            )
        elif position not in knowledge.controls[control]:
            there = knowledge.controls[control]
            raise _wrong(text, f"{control}={words(there)}", nearest(position, there))
        if found.setdefault(control, position) != position:
            raise _wrong(
                text,
                t(
                    "one position of `{control}`; `{control}={found}` was given before it",
                    control=control,
                    found=found[control],
                ),
                "",
            )
    order = [*knowledge.controls, *EXTRA_CONTROLS]
    return {
        control: found[control] for control in order if control in found and found[control] != _rest(knowledge, control)
    }


def _near(control: str, knowledge: Knowledge) -> str:
    return nearest(control, [*knowledge.controls, *EXTRA_CONTROLS])


def _rest(knowledge: Knowledge, control: str) -> str | None:
    return knowledge.controls[control][0] if control in knowledge.controls else None


def _unplugged(knowledge: Knowledge, terminal: str) -> None:
    ends = {end for wire in knowledge.wires.values() for end in (wire.from_, wire.to)}
    if terminal not in ends:
        what = t("has no wire on it") if terminal in knowledge.terminals else t("is no terminal of this vehicle")
        raise DiagError(
            t(
                "--operate: {terminal} {what}; expected part.terminal with a wire to take off. {nearest}",
                terminal=quoted(terminal),
                what=what,
                nearest=nearest(terminal, sorted(ends)),
            ).rstrip()
        )


def _bridged(knowledge: Knowledge, position: str) -> str:
    problem = knowledge.bridge_problem(position)
    if problem is not None:
        raise DiagError(
            t(
                "--operate: {position}: {problem}; expected `bridged=part.terminal+part.terminal` or "
                "`bridged=part.terminal+body`. {problem_2}",
                position=quoted(position),
                problem=problem[0],
                problem_2=problem[1],
            )
        )
    return spelt({BRIDGED: position}, knowledge.terminals)[BRIDGED]


def _wrong(found: str, expected: str, near: str) -> DiagError:
    return DiagError(
        t(
            "--operate: found {found}; expected {expected}. {near}", found=quoted(found), expected=expected, near=near
        ).rstrip()
    )


def causes_of(causes: Sequence[Cause], fault: str | None) -> tuple[Cause, ...]:
    """The faults named, several parted by commas; none for None. Raises DiagError for an unknown one."""
    if fault is None:
        return ()
    by_id: Mapping[str, Cause] = {cause.id: cause for cause in causes}
    names = dict.fromkeys(piece.strip() for piece in fault.split(","))
    for name in names:
        if name not in by_id:
            raise DiagError(
                t(
                    "--fault: found {name}; expected a cause of this vehicle (`--fault list` shows all). {nearest}",
                    name=quoted(name),
                    nearest=nearest(name, by_id),
                ).rstrip()
            )
    return tuple(by_id[name] for name in names)


def circuit_of(knowledge: Knowledge, name: str | None) -> tuple[str, ...]:
    """The circuit named, or all that have parts or wires. Raises DiagError for an unknown one."""
    there = [
        circuit for circuit, file in knowledge.circuits.items() if file.parts or file.fuses or file.earths or file.wires
    ]
    if name is None:
        return tuple(there)
    if name not in there:
        raise DiagError(
            t(
                "--circuit: found {name}; expected {there}. {nearest}",
                name=quoted(name),
                there=words(there),
                nearest=nearest(name, there),
            ).rstrip()
        )
    return (name,)
