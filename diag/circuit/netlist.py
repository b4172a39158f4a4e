"""One electrical state of a vehicle as a SPICE netlist that any general circuit simulator loads.

R, V and B elements and comments only. Knows nothing of findings, and of behaviour only whom to ask for
the state that everything settles to.
"""

from __future__ import annotations

import math
import re
import textwrap
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from diag import __version__
from diag.circuit.elements import LED_ON_SHARE, SOFT_V
from diag.circuit.faults import Cause
from diag.circuit.network import LEAK_S, Change, Network
from diag.circuit.predict import Predictor
from diag.circuit.solve import Variants

__all__ = ["PHASES", "About", "Names", "Netlist", "settled_netlist", "write_netlist"]

PHASES = ("closed", "open")
"""Of the contact of a flasher unit."""
_GROUND = "0"
_CURVE, _FLOOR = -0.225, 1.6e-5

_WIDTH = 110
_RESERVED = frozenset({"0", "gnd", "ground", "null", "time", "temper", "hertz", "freq"})
"""Names that simulators keep for themselves."""


@dataclass(frozen=True)
class About:
    """What a netlist is of, for its comments: plain text from anywhere, made harmless when written."""

    vehicle: str
    fault: str
    operate: Mapping[str, str]
    phase: str
    blown: tuple[str, ...] = ()


@dataclass(frozen=True)
class Netlist:
    """`text`, and the names in it: `nodes` by node index; by index too, with "" for what is left out,
    `branches` and `extras` (their resistors), `filaments` and `diodes` (current sources) and `sources` (EMF,
    inner resistance)."""

    text: str
    nodes: tuple[str, ...]
    branches: tuple[str, ...]
    extras: tuple[str, ...]
    filaments: tuple[str, ...]
    diodes: tuple[str, ...]
    sources: tuple[tuple[str, str], ...]


class Names:
    """Names of letters, digits and `_` that begin with a letter and differ whatever the case: what every
    simulator takes. A name that is so already stays."""

    def __init__(self) -> None:
        self._given: set[str] = set(_RESERVED)

    def give(self, wanted: str, first: str = "") -> str:
        """A name nobody has yet, like `wanted` and with `first` put before it."""
        name = wanted.lower().replace("+", "plus")
        name = re.sub(r"-$", "minus", name)
        name = first + re.sub(r"[^a-z0-9_]", "_", name)
        if not name[:1].isalpha():
            name = f"n_{name}"
        free, number = name, 2
        while free.lower() in self._given:
            free, number = f"{name}_{number}", number + 1
        self._given.add(free.lower())
        return free


def write_netlist(network: Network, variants: Variants, about: About, row: int = 0) -> Netlist:
    """One row of `variants` in SPICE's own syntax: volts, amps, ohms; body is node 0.

    Filaments, LED substitutes and diodes are current sources by the laws that the solver uses, 1e-7 S
    leads from every node to body, elements of zero siemens are left out. Ends with `.op`.
    """
    return _Writer(network, variants, row).written(about)


def settled_netlist(predictor: Predictor, operate: Mapping[str, str], causes: Sequence[Cause], phase: str) -> str:
    """The state that the vehicle with those faults at once settles to under `operate`: fuses blown, relays
    pulled in, contact of the flasher unit as `phase` says (one of PHASES; open where it cannot close)."""
    change, here = Change(), [cause for cause in causes if cause.there({**predictor.rest, **operate})]
    for cause in here:
        change = change.merged(cause.change or Change())
    settled, net = predictor.bench.settle(operate, [change]), predictor.network
    about = About(
        predictor.knowledge.vehicle.title,
        ", ".join(_named(cause) + ("" if cause in here else ", not there in this operate") for cause in causes)
        or "none",
        operate,
        "open" if phase == "open" else "closed, where it can close",
        tuple(net.branches[i].id for i in sorted(settled.blown[0])),
    )
    return write_netlist(net, settled.open if phase == "open" else settled.closed, about).text


def _named(cause: Cause) -> str:
    return f"{cause.id} ({cause.title})"


class _Writer:
    def __init__(self, network: Network, variants: Variants, row: int) -> None:
        self._net, self._variants, self._row = network, variants, row
        self._node_names, self._element_names = Names(), Names()
        self._nodes = tuple(_GROUND if i == 0 else self._node_names.give(n) for i, n in enumerate(network.nodes))
        self._lines: list[str] = []
        self._table: list[tuple[str, str]] = []

    def written(self, about: About) -> Netlist:
        branches, extras, sources = self._branches(), self._extras(), self._sources()
        filaments, diodes = self._filaments(), self._diodes()
        self._leaks()
        text = "\n".join([*_heading(about), *self._names(), *self._lines, _OPTIONS, ".op", ".end", ""])
        return Netlist(text, self._nodes, branches, extras, filaments, diodes, sources)

    # ------------------------------------------------------------ elements

    def _branches(self) -> tuple[str, ...]:
        found, var, row = [], self._variants, self._row
        self._lines.append("* wires, contacts, fuses, loads of fixed resistance")
        for i, branch in enumerate(self._net.branches):
            a, b = (int(end) for end in var.ends[row, i])
            found.append(self._resistor(branch.id, a, b, float(var.branch_s[row, i])))
        return tuple(found)

    def _extras(self) -> tuple[str, ...]:
        found, var, row = [], self._variants, self._row
        for k, siemens in enumerate(var.extra_s[row]):
            a, b = (int(end) for end in var.extra[row, k])
            what = f"link that a fault or a jumper adds, {self._net.nodes[a]} to {self._net.nodes[b]}"
            found.append(self._resistor("fault", a, b, float(siemens), what))
        return tuple(found)

    def _resistor(self, name: str, a: int, b: int, siemens: float, what: str = "") -> str:
        if siemens == 0.0 or a == b:  # the second: both ends of a moved wire on one terminal
            return ""
        given = self._element_names.give(name, "R")
        self._table.append((given, what or name))
        self._lines.append(f"{given} {self._nodes[a]} {self._nodes[b]} {_number(1.0 / siemens)}")
        return given

    def _sources(self) -> tuple[tuple[str, str], ...]:
        found, var, row = [], self._variants, self._row
        self._lines.append("* sources: EMF and inner resistance")
        for i, source in enumerate(self._net.sources):
            siemens = float(var.source_s[row, i])
            if siemens == 0.0 or source.a == source.b:
                found.append(("", ""))
                continue
            inner = self._node_names.give(f"{source.id}_emf")
            emf, ohm = self._element_names.give(source.id, "V"), self._element_names.give(f"{source.id}_inner", "R")
            self._table += [(inner, f"inside {source.id}"), (emf, source.id), (ohm, f"{source.id}, inner resistance")]
            self._lines.append(f"{emf} {inner} {self._nodes[source.b]} DC {_number(float(var.emf_v[row, i]))}")
            self._lines.append(f"{ohm} {inner} {self._nodes[source.a]} {_number(1.0 / siemens)}")
            found.append((emf, ohm))
        return tuple(found)

    def _filaments(self) -> tuple[str, ...]:
        found, var, row = [], self._variants, self._row
        if self._net.filaments:
            self._lines.append("* filaments: i = i0*k*(k^2+1.6e-5)^-0.225, k = v/vtest")
        for i, lamp in enumerate(self._net.filaments):
            rated_a, way = float(var.scale[row, i]) * lamp.test_w / lamp.test_v, float(var.led[row, i])
            if rated_a == 0.0 or lamp.a == lamp.b:
                found.append("")
            elif way:
                on_v, ohm = LED_ON_SHARE * lamp.test_v, (1.0 - LED_ON_SHARE) * lamp.test_v / rated_a
                found.append(self._valve(lamp.id, lamp.a, lamp.b, on_v, ohm, way, "LED substitute"))
            else:
                k = f"({self._across(lamp.a, lamp.b)}/{_number(lamp.test_v)})"
                law = f"{_number(rated_a)} * {k} * exp({_CURVE} * ln({k} * {k} + {_FLOOR}))"
                found.append(self._source_of_current(lamp.id, lamp.a, lamp.b, law, "filament"))
        return tuple(found)

    def _diodes(self) -> tuple[str, ...]:
        found = []
        if self._net.diodes:
            self._lines.append(f"* diodes: i = (s/ohm)*(ln(1+exp((v-von)/s)) - ln(1+exp(-von/s))), s = {SOFT_V} V")
        for i, diode in enumerate(self._net.diodes):
            way = float(self._variants.valve[self._row, i])
            there = way != 0.0 and diode.a != diode.b
            found.append(self._valve(diode.id, diode.a, diode.b, diode.on_v, diode.ohm, way, "diode") if there else "")
        return tuple(found)

    def _valve(self, name: str, a: int, b: int, on_v: float, ohm: float, way: float, what: str) -> str:
        """The softplus written so that no exponent can overflow: max(x, 0) + ln(1 + exp(-|x|))."""
        if way < 0:
            a, b = b, a
        x = f"(({self._across(a, b)} - {_number(on_v)})/{SOFT_V})"
        at_rest = math.log1p(math.exp(-on_v / SOFT_V))
        law = f"{_number(SOFT_V / ohm)} * (max({x}, 0) + ln(1 + exp(-abs({x}))) - {_number(at_rest)})"
        return self._source_of_current(name, a, b, law, what + (" the wrong way round" if way < 0 else ""))

    def _source_of_current(self, name: str, a: int, b: int, law: str, what: str) -> str:
        given = self._element_names.give(name, "B")
        self._table.append((given, f"{name}, {what}"))
        self._lines += textwrap.wrap(
            f"{given} {self._nodes[a]} {self._nodes[b]} I = {law}",
            _WIDTH,
            subsequent_indent="+ ",
            break_long_words=False,
            break_on_hyphens=False,
        )
        return given

    def _across(self, a: int, b: int) -> str:
        if not b:
            return f"V({self._nodes[a]})"
        return f"(V({self._nodes[a]}) - V({self._nodes[b]}))" if a else f"(-V({self._nodes[b]}))"

    def _leaks(self) -> None:
        self._lines.append("* 1e-7 S (a 10 Mohm meter) from every node to body, so that nothing floats")
        for name in self._nodes[1:]:
            self._lines.append(f"{self._element_names.give(f'leak_{name}', 'R')} {name} 0 {_number(1.0 / LEAK_S)}")

    # ------------------------------------------------------------ comments

    def _names(self) -> Iterable[str]:
        yield "* nodes: name here = name on the vehicle"
        for name, node in zip(self._nodes, self._net.nodes, strict=True):
            yield _comment(f"  {name} = {node}")
        yield "* elements: name here = part or wire"
        for name, what in self._table:
            yield _comment(f"  {name} = {what}")


_OPTIONS = ".options reltol=1e-9 abstol=1e-12 vntol=1e-6 gmin=1e-18"


def _heading(about: About) -> Sequence[str]:
    operate = ", ".join(f"{control} {position}" for control, position in sorted(about.operate.items())) or "all at rest"
    return [
        _plain(f"diag netlist: {about.vehicle}; {about.fault}; {operate}"),  # the first line is always a title
        _comment(f"Vehicle: {about.vehicle}"),
        _comment(f"Fault: {about.fault}"),
        _comment(f"Operate: {operate}"),
        _comment(f"Flasher contact: {about.phase}"),
        *([_comment(f"Blown or burnt while operating: {', '.join(about.blown)}")] if about.blown else []),
        _comment(f"Written by diag {__version__}: the state after fuses, relays and machines have settled"),
        _comment("Run: ngspice -b FILE, or load it in any simulator that knows R, V and B elements"),
    ]


def _comment(text: str) -> str:
    """One comment. The blank after the star matters: `*#` is obeyed as a command by some simulators."""
    return f"* {_plain(text)}"


def _plain(text: str) -> str:
    """One line of printable ASCII, whatever a file's author wrote; letters lose their accents."""
    ascii_only = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode()
    return "".join(c if c.isprintable() else " " for c in ascii_only).rstrip()[:400]


def _number(value: float) -> str:
    """Twelve digits, with no letter but `e`: a suffix would mean kilo or milli."""
    return f"{value:.12g}"
