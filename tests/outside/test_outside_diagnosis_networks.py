"""Beliefs against exact inference in Bayesian networks, by enumeration and by an independent library.

Asia: S. Lauritzen, D. Spiegelhalter, Local computations with probabilities on graphical structures and
their application to expert systems, J. Royal Statistical Society B 50, 1988 (tables from memory). Fever:
S. Russell, P. Norvig, Artificial Intelligence: A Modern Approach, chapter on Bayesian networks (from
memory), with own priors. The belief takes causes that exclude each other, so each way in which all
hidden variables may stand is one cause.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Mapping, Sequence
from itertools import permutations, product
from types import ModuleType

import numpy as np
import pytest

from diag.reason.belief import Evidence, Judged, Treatment, weigh
from diag.reason.tables import noisy_or

_SIX_DIGITS = 1e-6
_EXACT = 1e-9
State = Mapping[str, bool]


class Hidden:
    """Hidden variables as exclusive causes, one for each way they stand; findings as chances of yes."""

    def __init__(
        self,
        names: Sequence[str],
        joint: Callable[[State], float],
        yes: Mapping[str, Callable[[State], float]],
        follows: Mapping[str, Callable[[State], bool]] | None = None,
    ):
        """`follows`: what is certain once the hidden variables are known, asked for beside them."""
        self.names, self.yes, self.follows = tuple(names), yes, follows or {}
        ways = [dict(zip(names, way, strict=True)) for way in product((False, True), repeat=len(names))]
        self.ways = [way for way in ways if joint(way) > 0]
        self.prior = np.array([joint(way) for way in self.ways])

    def chances(self, seen: Sequence[tuple[str, bool]]) -> dict[str, float]:
        """Chance of yes for each hidden variable, given findings in that order."""
        findings = []
        for seq, (name, value) in enumerate(seen):
            rows = np.array([self.yes[name](way) if value else 1 - self.yes[name](way) for way in self.ways])
            findings.append(Judged(seq, 0, np.concatenate([[0.0], rows]), 0.0))
        found = weigh(Evidence(tuple(findings), (), self.prior, 0.0, 0.0, most=1))
        asked = {name: (lambda way, name=name: way[name]) for name in self.names} | dict(self.follows)
        return {
            name: float(sum(p for p, way in zip(found.present, self.ways, strict=True) if holds(way)))
            for name, holds in asked.items()
        }


def _share(yes: bool, chance: float) -> float:
    return chance if yes else 1 - chance


# ---------------------------------------------------------------- Asia


def _asia() -> Hidden:
    """Hidden: visit (A), smoker (S), tuberculosis (T), cancer (L), bronchitis (B). Seen: the first two, the
    X-ray (X) and short breath (D); E is T or L."""

    def joint(way: State) -> float:
        return (
            _share(way["A"], 0.01)
            * _share(way["S"], 0.5)
            * _share(way["T"], 0.05 if way["A"] else 0.01)
            * _share(way["L"], 0.10 if way["S"] else 0.01)
            * _share(way["B"], 0.60 if way["S"] else 0.30)
        )

    def breath(way: State) -> float:
        either = way["T"] or way["L"]
        return (0.9 if way["B"] else 0.7) if either else (0.8 if way["B"] else 0.1)

    return Hidden(
        "ASTLB",
        joint,
        {
            "A": lambda way: float(way["A"]),
            "S": lambda way: float(way["S"]),
            "X": lambda way: 0.98 if way["T"] or way["L"] else 0.05,
            "D": breath,
        },
        {"E": lambda way: way["T"] or way["L"]},
    )


ASIA = [
    ("", 0.010400, 0.055000, 0.450000, 0.064828),
    ("D", 0.018845, 0.102759, 0.833967, 0.120536),
    ("A D", 0.087751, 0.099525, 0.811402, 0.182300),
    ("A -S D", 0.112835, 0.022567, 0.717942, 0.134274),
    ("X", 0.092411, 0.488711, 0.506326, 0.576040),
    ("X D", 0.113933, 0.621253, 0.681869, 0.728725),
    ("X D S", 0.075266, 0.723714, 0.713706, 0.791454),
    ("-X D", 0.000450, 0.002453, 0.863392, 0.002877),
    ("A -S X D", 0.632329, 0.126466, 0.458960, 0.752472),
    ("A -S -X D", 0.002735, 0.000547, 0.772830, 0.003255),
]


def _seen(text: str) -> list[tuple[str, bool]]:
    return [(word.removeprefix("-"), not word.startswith("-")) for word in text.split()]


@pytest.mark.parametrize(("seen", "t", "lung", "b", "e"), ASIA, ids=[row[0] or "nothing" for row in ASIA])
def test_asia_in_whatever_order_it_is_told(seen: str, t: float, lung: float, b: float, e: float) -> None:
    """Six digits, found again with the 256 rows of the joint table; every order of the findings."""
    network = _asia()
    for order in permutations(_seen(seen)):
        found = network.chances(order)
        assert [found[name] for name in "TLBE"] == pytest.approx([t, lung, b, e], abs=_SIX_DIGITS)


def test_what_is_withdrawn_leaves_no_trace() -> None:
    """All findings in, then out again: the priors, to the last digit."""
    network = _asia()
    before = network.chances([])
    network.chances(_seen("A -S X D"))
    assert network.chances([]) == before
    assert before["A"] == pytest.approx(0.01) and before["S"] == pytest.approx(0.5)


# ---------------------------------------------------------------- several ways to a fever

COLD, FLU, MALARIA = 0.4, 0.8, 0.9
"""Chance of a fever from each alone: 1 less the inhibitions .6, .2, .1."""


@pytest.mark.parametrize(
    ("present", "fever"),
    [
        ((), 0.0),
        ((MALARIA,), 0.9),
        ((FLU,), 0.8),
        ((FLU, MALARIA), 0.98),
        ((COLD,), 0.4),
        ((COLD, MALARIA), 0.94),
        ((COLD, FLU), 0.88),
        ((COLD, FLU, MALARIA), 0.988),
    ],
)
def test_chance_of_a_fever(present: Sequence[float], fever: float) -> None:
    """1 - product of the inhibitions of what is present (J. Pearl, 1988)."""
    assert float(noisy_or(present)) == pytest.approx(fever, abs=1e-12)


def test_leak_is_one_more_way() -> None:
    """With a leak of .02 kept as one more cause cold and flu make .8824 (M. Henrion, 1989, from memory); chances
    that were counted with the leak in them make .877551 and must be cleared of it first."""
    assert float(noisy_or([COLD, FLU], leak=0.02)) == pytest.approx(0.8824, abs=1e-12)
    assert float(noisy_or([COLD], leak=0.02)) == pytest.approx(0.412, abs=1e-12)
    cleared = [(p - 0.02) / (1 - 0.02) for p in (COLD, FLU)]
    assert float(noisy_or(cleared, leak=0.02)) == pytest.approx(0.877551, abs=_SIX_DIGITS)


def _fever(leak: float, alone_with_leak: bool = False) -> Hidden:
    """`alone_with_leak`: the chances of each alone were counted with the leak in them, and are cleared of it."""
    priors = {"cold": 0.10, "flu": 0.05, "malaria": 0.01}
    alone = {"cold": COLD, "flu": FLU, "malaria": MALARIA}
    if alone_with_leak:
        alone = {name: (p - leak) / (1 - leak) for name, p in alone.items()}
    return Hidden(
        tuple(priors),
        lambda way: math.prod(_share(way[name], p) for name, p in priors.items()),
        {
            "fever": lambda way: float(noisy_or([alone[name] for name in priors if way[name]], leak)),
            "flu": lambda way: float(way["flu"]),
        },
    )


@pytest.mark.parametrize(
    ("leak", "seen", "cold", "flu", "malaria"),
    [
        (0.0, "fever", 0.495054, 0.467001, 0.104717),
        (0.0, "fever flu", 0.108812, 1.0, 0.012113),
        (0.0, "-fever", 0.062500, 0.010417, 0.001009),
        (0.02, "fever", 0.419777, 0.387543, 0.086669),
        (0.02, "fever flu", 0.108595, 1.0, 0.012061),
        (0.02, "-fever", 0.062500, 0.010417, 0.001009),
    ],
)
def test_a_known_flu_explains_the_fever_away(leak: float, seen: str, cold: float, flu: float, malaria: float) -> None:
    """Cold falls from .495 to .109 once flu is known; without a fever the leak cancels (recomputed)."""
    found = _fever(leak).chances(_seen(seen))
    assert (found["cold"], found["flu"], found["malaria"]) == pytest.approx((cold, flu, malaria), abs=_SIX_DIGITS)


def test_the_other_way_to_count_the_leak_gives_other_chances() -> None:
    """Links measured with the leak in them: .414102, .390639, .087608 (recomputed with an independent library)."""
    found = _fever(0.02, alone_with_leak=True).chances(_seen("fever"))
    assert [found[name] for name in ("cold", "flu", "malaria")] == pytest.approx(
        [0.414102, 0.390639, 0.087608], abs=_SIX_DIGITS
    )


# ---------------------------------------------------------------- an independent library


@pytest.fixture(scope="module")
def gum() -> ModuleType:
    """pyAgrum: exact inference by junction trees, nothing in common with ours."""
    return pytest.importorskip("pyagrum", reason="pyAgrum is not installed: pip install pyagrum")


@pytest.mark.parametrize("seen", [row[0] for row in ASIA], ids=[row[0] or "nothing" for row in ASIA])
def test_asia_equals_an_independent_library(gum: ModuleType, seen: str) -> None:
    """The whole network with E as a variable of its own, to nine digits."""
    net = gum.BayesNet("asia")
    for name in "ASTLBEXD":
        net.add(gum.LabelizedVariable(name, name, 2))
    for arc in ("AT", "SL", "SB", "TE", "LE", "EX", "ED", "BD"):
        net.addArc(*arc)
    for name, chance in {"A": 0.01, "S": 0.5}.items():
        net.cpt(name).fillWith([1 - chance, chance])
    for name, parent, low, high in (
        ("T", "A", 0.01, 0.05),
        ("L", "S", 0.01, 0.10),
        ("B", "S", 0.30, 0.60),
        ("X", "E", 0.05, 0.98),
    ):
        net.cpt(name)[{parent: 0}] = [1 - low, low]
        net.cpt(name)[{parent: 1}] = [1 - high, high]
    for t, lung in product((0, 1), repeat=2):
        net.cpt("E")[{"T": t, "L": lung}] = [float(not (t or lung)), float(t or lung)]
    for (e, b), p in {(0, 0): 0.1, (0, 1): 0.8, (1, 0): 0.7, (1, 1): 0.9}.items():
        net.cpt("D")[{"E": e, "B": b}] = [1 - p, p]
    inference = gum.LazyPropagation(net)
    inference.setEvidence({name: int(value) for name, value in _seen(seen)})
    inference.makeInference()
    ours = _asia().chances(_seen(seen))
    for name in "TLBE":
        assert ours[name] == pytest.approx(float(inference.posterior(name)[1]), abs=_EXACT)


@pytest.mark.parametrize("seed", range(6))
def test_single_causes_equal_an_independent_library(gum: ModuleType, seed: int) -> None:
    """Causes, nothing wrong and a cause outside the model as states of one variable, findings of two to five
    answers as its children; to nine digits."""
    chance = random.Random(seed)
    causes = chance.randint(3, 12)
    prior = np.array([chance.uniform(0.05, 1.0) for _ in range(causes)])
    prior /= prior.sum()
    healthy, outside = chance.uniform(0.01, 1.0), chance.uniform(0.001, 0.05)
    weights = np.array([*prior, healthy, outside])
    net = gum.BayesNet("single")
    net.add(gum.LabelizedVariable("cause", "cause", causes + 2))
    net.cpt("cause").fillWith((weights / weights.sum()).tolist())
    findings = []
    inference_evidence = {}
    for f in range(chance.randint(1, 7)):
        answers = chance.randint(2, 5)
        table = np.array([[chance.uniform(0.01, 1.0) for _ in range(answers)] for _ in range(causes + 1)])
        table /= table.sum(axis=1, keepdims=True)
        net.add(gum.LabelizedVariable(f"f{f}", f"f{f}", answers))
        net.addArc("cause", f"f{f}")
        for state in range(causes + 2):
            row = table[state] if state <= causes else np.full(answers, 1 / answers)
            net.cpt(f"f{f}")[{"cause": state}] = row.tolist()
        seen = chance.randrange(answers)
        inference_evidence[f"f{f}"] = seen
        findings.append(
            Judged(f, 0, np.concatenate([table[causes : causes + 1, seen], table[:causes, seen]]), 1 / answers)
        )
    inference = gum.LazyPropagation(net)
    inference.setEvidence(inference_evidence)
    inference.makeInference()
    expected = inference.posterior("cause").toarray()
    found = weigh(Evidence(tuple(findings), (), prior, healthy, outside, most=1))
    np.testing.assert_allclose(found.present, expected[:causes], atol=_EXACT)
    assert (found.healthy, found.outside) == pytest.approx((expected[causes], expected[causes + 1]), abs=_EXACT)


@pytest.mark.parametrize("seed", range(6))
def test_a_remedy_in_between_equals_an_independent_library(gum: ModuleType, seed: int) -> None:
    """What was wrong at the start, whether the remedy took, and what is left are variables of their own; findings
    before hang on the first, findings after on the last. To nine digits."""
    chance = random.Random(100 + seed)
    causes = 5
    prior = np.array([chance.uniform(0.05, 1.0) for _ in range(causes)])
    prior /= prior.sum()
    healthy, outside, takes = 0.3, 0.02, chance.uniform(0.3, 0.95)
    cured = frozenset(chance.sample(range(causes), 2))
    weights = np.array([*prior, healthy, outside])
    net = gum.BayesNet("remedy")
    for name, states in (("start", causes + 2), ("took", 2), ("now", causes + 2)):
        net.add(gum.LabelizedVariable(name, name, states))
    net.addArc("start", "now")
    net.addArc("took", "now")
    net.cpt("start").fillWith((weights / weights.sum()).tolist())
    net.cpt("took").fillWith([1 - takes, takes])
    for state, took in product(range(causes + 2), (0, 1)):
        left = causes if took and state in cured else state
        net.cpt("now")[{"start": state, "took": took}] = np.eye(causes + 2)[left].tolist()
    findings, told = [], {}
    for f in range(6):
        period = int(f >= 3)
        table = np.array([[chance.uniform(0.01, 1.0) for _ in range(3)] for _ in range(causes + 1)])
        table /= table.sum(axis=1, keepdims=True)
        net.add(gum.LabelizedVariable(f"f{f}", f"f{f}", 3))
        net.addArc("now" if period else "start", f"f{f}")
        for state in range(causes + 2):
            row = table[state] if state <= causes else np.full(3, 1 / 3)
            net.cpt(f"f{f}")[{"now" if period else "start": state}] = row.tolist()
        told[f"f{f}"] = chance.randrange(3)
        seen = told[f"f{f}"]
        findings.append(
            Judged(f, period, np.concatenate([table[causes : causes + 1, seen], table[:causes, seen]]), 1 / 3)
        )
    inference = gum.LazyPropagation(net)
    inference.setEvidence(told)
    inference.makeInference()
    expected = inference.posterior("now").toarray()
    found = weigh(Evidence(tuple(findings), (Treatment(1, cured, takes),), prior, healthy, outside, most=1))
    np.testing.assert_allclose(found.present, expected[:causes], atol=_EXACT)
    assert (found.healthy, found.outside) == pytest.approx((expected[causes], expected[causes + 1]), abs=_EXACT)


# ---------------------------------------------------------------- a network of printer faults

PRINTER = [
    ({"Problem1": "No_Output", "PrtStatPaper": "Jam__Out__Bin_Full"}, "PrtPaper", "No_Paper", 0.9737),
    ({"Problem1": "No_Output", "PrtStatOff": "OFFLINE__OFF"}, "PrtOn", "No", 0.9572),
    ({"Problem2": "Too_Long"}, "PrtMem", "Less_than_2Mb", 0.7164),
]
"""Evidence, root cause, its bad state and its chance in the network of 76 nodes known as win95pts."""


@pytest.fixture(scope="module")
def printer(gum: ModuleType, tmp_path_factory: pytest.TempPathFactory) -> object:
    """The network as it ships in the wheel of pgmpy 1.1.2 (Bayesian Network Repository, CC BY-SA 3.0)."""
    import gzip
    from importlib.metadata import PackageNotFoundError, files

    try:
        shipped = [path for path in files("pgmpy") or [] if path.name == "win95pts.bif.gz"]
    except PackageNotFoundError:
        shipped = []
    if not shipped:
        pytest.skip("the network win95pts is not at hand: it comes with the package pgmpy 1.1.2")
    plain = tmp_path_factory.mktemp("bif") / "win95pts.bif"
    plain.write_bytes(gzip.decompress(shipped[0].locate().read_bytes()))  # type: ignore[attr-defined]
    return gum.loadBN(str(plain))


@pytest.mark.parametrize(("seen", "cause", "bad", "chance"), PRINTER, ids=[row[1] for row in PRINTER])
def test_printer_faults_are_weighed_as_the_network_says(
    printer: object, seen: Mapping[str, str], cause: str, bad: str, chance: float
) -> None:
    """Everything else summed out by the library, so that the root cause alone speaks of what was found."""
    import pyagrum

    net = printer
    states = [str(label) for label in net.variable(cause).labels()]  # type: ignore[attr-defined]
    prior = pyagrum.getPosterior(net, target=cause, evs={}).toarray()
    rows = []
    for state in states:
        inference = pyagrum.LazyPropagation(net)
        inference.setEvidence({**seen, cause: state})
        inference.makeInference()
        rows.append(inference.evidenceProbability() / prior[states.index(state)])
    finding = Judged(0, 0, np.array([0.0, *rows]), 0.0)
    found = weigh(Evidence((finding,), (), prior, 0.0, 0.0, most=1))
    assert float(found.present[states.index(bad)]) == pytest.approx(chance, abs=5e-5)
