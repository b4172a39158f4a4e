"""Minimal conflicts, candidates and hitting sets against the worked examples of the theory of diagnosis.

Circuit of three multipliers and two adders: J. de Kleer, B. C. Williams, Diagnosing Multiple Faults,
Artificial Intelligence 32, 1987. Full adder and the family of seven sets: R. Reiter, A Theory of
Diagnosis from First Principles, Artificial Intelligence 32, 1987. The figures were found again by
looking at every subset.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import combinations, permutations, product

import numpy as np
import pytest

from diag.reason.candidates import Candidates, HittingSets, likeliest_hitting_sets, minimal_hitting_sets
from diag.reason.tables import Check, DecisionTable

Sets = set[frozenset[str]]


def sets(text: str) -> Sets:
    """`A1 M1, A2` as {{A1, M1}, {A2}}; `-` as the empty set alone."""
    return {frozenset() if part.strip() == "-" else frozenset(part.split()) for part in text.split(",") if part.strip()}


# ---------------------------------------------------------------- three multipliers, two adders


class Multipliers:
    """A = 3, B = C = 2, D = E = 3; X = AC (M1), Y = BD (M2), Z = CE (M3), F = X + Y (A1), G = Y + Z (A2).
    Only what is sound is described: what is not may put out anything. Observations: (point, value)."""

    components = ("A1", "A2", "M1", "M2", "M3")
    points = ("X", "Y", "Z", "F", "G")
    laws: Mapping[str, tuple[Mapping[str, int], int]] = {
        "M1": ({"X": 1}, 6),
        "M2": ({"Y": 1}, 6),
        "M3": ({"Z": 1}, 6),
        "A1": ({"X": 1, "Y": 1, "F": -1}, 0),
        "A2": ({"Y": 1, "Z": 1, "G": -1}, 0),
    }

    def consistent(self, sound: frozenset[str], observations: Sequence[tuple[str, int]]) -> bool:
        """Whether the linear equations have a common solution."""
        rows = [self.laws[name] for name in sound] + [({point: 1}, value) for point, value in observations]
        if not rows:
            return True
        left = np.array([[row.get(point, 0) for point in self.points] for row, _ in rows], dtype=float)
        right = np.array([[value] for _, value in rows], dtype=float)
        return bool(np.linalg.matrix_rank(left) == np.linalg.matrix_rank(np.hstack([left, right])))


def seen(text: str) -> list[tuple[str, int]]:
    """`F=10 G=12` as observations."""
    return [(name, int(value)) for name, value in (part.split("=") for part in text.split())]


SYMPTOMS = [
    ("F=12 G=12", "", "-"),
    ("F=10 G=12", "A1 M1 M2, A1 A2 M1 M3", "A1, M1, A2 M2, M2 M3"),
    ("F=10 G=10", "A1 M1 M2, A2 M2 M3", "M2, A1 A2, A1 M3, A2 M1, M1 M3"),
]


@pytest.mark.parametrize(("observed", "conflicts", "candidates"), SYMPTOMS, ids=[row[0] for row in SYMPTOMS])
def test_conflicts_and_candidates_of_the_multipliers(observed: str, conflicts: str, candidates: str) -> None:
    """The conflict {A1, A2, M1, M3} lies behind no wrong output: the right G contradicts what F says of Y."""
    found = Candidates(Multipliers())
    found.observe(*seen(observed))
    assert set(found.conflicts) == sets(conflicts)
    assert set(found.sets) == sets(candidates)


def test_twenty_seven_of_thirty_two_subsets_agree_with_the_symptom() -> None:
    """All supersets of the minimal candidates, and nothing else."""
    model = Multipliers()
    found = Candidates(model)
    found.observe(*seen("F=10 G=12"))
    every = [frozenset(s) for n in range(6) for s in combinations(model.components, n)]
    agree = {s for s in every if model.consistent(frozenset(model.components) - s, seen("F=10 G=12"))}
    assert len(every) == 32 and len(agree) == 27
    assert agree == {s for s in every if any(candidate <= s for candidate in found.sets)}


MEASURED = [
    ("X=4", "M1", "M1"),
    ("X=6", "A1 M2, A1 A2 M3", "A1, A2 M2, M2 M3"),
    ("X=5", "M1, A1 M2, A1 A2 M3", "A1 M1, A2 M1 M2, M1 M2 M3"),
    ("Y=6", "A1 M1", "A1, M1"),
    ("Y=4", "M2, A2 M3", "A2 M2, M2 M3"),
    ("Y=5", "M2, A1 M1, A2 M3", "A1 A2 M2, A1 M2 M3, A2 M1 M2, M1 M2 M3"),
    ("Z=6", "A1 A2 M1, A1 M1 M2", "A1, M1, A2 M2"),
    ("Z=8", "M3, A2 M2, A1 M1 M2", "M2 M3, A1 A2 M3, A2 M1 M3"),
    (
        "Z=5",
        "M3, A2 M2, A1 A2 M1, A1 M1 M2",
        "A1 A2 M3, A1 M2 M3, A2 M1 M3, A2 M2 M3, M1 M2 M3",
    ),
    ("X=6 Y=6", "A1", "A1"),
    ("X=6 Y=4", "M2, A2 M3", "A2 M2, M2 M3"),
    ("X=6 Y=4 Z=8", "M2, M3", "M2 M3"),
    ("X=6 Y=4 Z=6", "M2, A2", "A2 M2"),
]


@pytest.mark.parametrize(("measured", "conflicts", "candidates"), MEASURED, ids=[row[0] for row in MEASURED])
def test_a_measurement_more_leaves_the_published_candidates(measured: str, conflicts: str, candidates: str) -> None:
    """Conflicts found before are kept and grow smaller; in whatever order the readings come."""
    for order in permutations(seen(f"F=10 G=12 {measured}")):
        found = Candidates(Multipliers())
        for observation in order:
            found.observe(observation)
        assert set(found.conflicts) == sets(conflicts)
        assert set(found.sets) == sets(candidates)


@pytest.mark.parametrize("measured", ["Y=5", "X=5"])
def test_where_no_single_fault_explains_none_is_given(measured: str) -> None:
    """A program that clings to single faults must find its list empty, not keep the last one."""
    found = Candidates(Multipliers())
    found.observe(*seen("F=10 G=12"))
    assert set(found.single()) == {"A1", "M1"}
    found.observe(*seen(measured))
    assert found.single() == ()
    assert min(len(s) for s in found.sets) == (3 if measured == "Y=5" else 2)


# ---------------------------------------------------------------- the next probe


def _probes(p: float, every: bool) -> tuple[DecisionTable, np.ndarray]:
    """Candidates of F=10 G=12 as causes and X, Y, Z as checks of 16 values. `every`: all 27 that agree, else the
    four minimal ones; each component unsound with chance `p`. What a candidate does not predict is spread."""
    model, observed = Multipliers(), seen("F=10 G=12")
    found = Candidates(model)
    found.observe(*observed)
    chosen = sorted(found.sets, key=lambda s: (len(s), sorted(s)))
    if every:
        subsets = (frozenset(s) for n in range(6) for s in combinations(model.components, n))
        chosen = [s for s in subsets if any(candidate <= s for candidate in found.sets)]
    checks = []
    for point in ("X", "Y", "Z"):
        rows = np.full((len(chosen), 16), 1 / 16)
        for row, candidate in enumerate(chosen):
            sound = frozenset(model.components) - candidate
            allowed = [v for v in range(16) if model.consistent(sound, [*observed, (point, v)])]
            if len(allowed) == 1:
                rows[row] = 0.0
                rows[row, allowed[0]] = 1.0
        checks.append(Check(point, 1.0, rows))
    weights = np.array([p ** len(s) * (1 - p) ** (5 - len(s)) for s in chosen])
    return DecisionTable(checks), weights / weights.sum()


@pytest.mark.parametrize(
    ("p", "every", "now", "after"),
    [
        (0.01, False, 1.0808, [0.0809, 1.0000, 1.0354]),
        (0.10, False, 1.4690, [0.4762, 1.0000, 1.1826]),
        (0.01, True, 1.3594, [0.3263, 1.2783, 1.3125]),
        (0.10, True, 2.9305, [1.7378, 2.4413, 2.5835]),
    ],
    ids=["minimal-.01", "minimal-.1", "all-.01", "all-.1"],
)
def test_the_next_probe_leaves_the_least_entropy(p: float, every: bool, now: float, after: list[float]) -> None:
    """X before Y before Z (de Kleer and Williams, section 4, from memory; recomputed). No probe leaves more than
    there was."""
    table, weights = _probes(p, every)
    entropy = float(-(weights * np.log2(weights)).sum())
    assert entropy == pytest.approx(now, abs=5e-5)
    left = entropy - table.bits(weights)
    assert left == pytest.approx(after, abs=5e-5)
    assert (left <= entropy + 1e-12).all()
    assert [ranked.check.id for ranked in table.rank(weights, ahead=False)] == ["X", "Y", "Z"]
    assert table.rank(weights)[0].check.id == "X"


@pytest.mark.parametrize(
    ("p", "now", "after"),
    [(0.01, 1.0714, [0.0383, 1.0635, 1.0670]), (0.10, 1.5054, [0.3164, 1.4323, 1.4566])],
)
def test_outputs_that_a_candidate_does_not_predict_count_against_it(p: float, now: float, after: list[float]) -> None:
    """Each of F and G that a candidate leaves open was one of sixteen values by luck: the order stays X, Y, Z (the
    same section; recomputed)."""
    table, weights = _probes(p, True)
    model = Multipliers()
    found = Candidates(model)
    found.observe(*seen("F=10 G=12"))
    subsets = [frozenset(s) for n in range(6) for s in combinations(model.components, n)]
    chosen = [s for s in subsets if any(candidate <= s for candidate in found.sets)]
    open_ = []
    for candidate in chosen:
        sound = frozenset(model.components) - candidate
        free_f = model.consistent(sound, [("F", 10)]) and model.consistent(sound, [("F", 11)])
        free_g = model.consistent(sound, [("F", 10), ("G", 12)]) and model.consistent(sound, [("F", 10), ("G", 13)])
        open_.append(free_f + free_g)
    weights = weights * 16.0 ** -np.array(open_, dtype=float)
    weights /= weights.sum()
    entropy = float(-(weights * np.log2(weights)).sum())
    assert entropy == pytest.approx(now, abs=5e-5)
    assert entropy - table.bits(weights) == pytest.approx(after, abs=5e-5)
    assert [ranked.check.id for ranked in table.rank(weights, ahead=False)] == ["X", "Y", "Z"]


def test_answers_to_the_probe_leave_the_candidates_that_predict_them() -> None:
    """X = 4 convicts M1; X = 6 clears it."""
    table, weights = _probes(0.01, False)
    answers = table.after(weights, 0)
    assert [round(chance, 4) for chance, _ in answers] == [0.495, 0.505]
    four, six = (left for _, left in answers)
    assert four == pytest.approx([0, 1, 0, 0])
    assert six[1] == 0 and six[0] == pytest.approx(0.9802, abs=1e-4)


# ---------------------------------------------------------------- full adder


class FullAdder:
    """X1 = in1 xor in2, X2 = X1 xor in3 (sum), A1 = in1 and in2, A2 = X1 and in3, O1 = A1 or A2 (carry).
    An observation: the three inputs, and the sum and carry seen."""

    components = ("A1", "A2", "O1", "X1", "X2")

    def consistent(self, sound: frozenset[str], observations: Sequence[tuple[tuple[int, int, int], int, int]]) -> bool:
        """Whether some values on the three inner wires agree, for each observation."""
        for (a, b, c), total, carry in observations:
            if not any(
                all(
                    right
                    for name, right in {
                        "X1": x == a ^ b,
                        "X2": total == x ^ c,
                        "A1": y == a & b,
                        "A2": z == x & c,
                        "O1": carry == y | z,
                    }.items()
                    if name in sound
                )
                for x, y, z in product((0, 1), repeat=3)
            ):
                return False
        return True


ADDER = [
    ((1, 0, 1), 1, 0, "X1 X2, A2 O1 X1", "X1, A2 X2, O1 X2"),
    ((1, 0, 1), 0, 1, "", "-"),
    ((1, 0, 1), 1, 1, "X1 X2, A1 A2 O1 X2", "X2, A1 X1, A2 X1, O1 X1"),
    ((1, 0, 1), 0, 0, "A2 O1 X1, A2 O1 X2", "A2, O1, X1 X2"),
    ((0, 0, 0), 1, 0, "X1 X2", "X1, X2"),
    ((1, 1, 1), 0, 1, "X1 X2", "X1, X2"),
]


@pytest.mark.parametrize(("given", "total", "carry", "conflicts", "diagnoses"), ADDER)
def test_diagnoses_of_the_full_adder(
    given: tuple[int, int, int], total: int, carry: int, conflicts: str, diagnoses: str
) -> None:
    """In the first row A1 is in no diagnosis though it feeds the wrong carry; in the third the right carry
    alone makes X1 impossible."""
    found = Candidates(FullAdder())
    found.observe((given, total, carry))
    assert set(found.conflicts) == sets(conflicts)
    assert set(found.sets) == sets(diagnoses)
    if (total, carry) == (1, 0) and given == (1, 0, 1):
        assert not any("A1" in s for s in found.sets)


# ---------------------------------------------------------------- hitting sets

FAMILY = ["245", "123", "135", "246", "24", "235", "16"]
HITTING = {frozenset(s) for s in ("12", "134", "145", "236", "256", "346")}


def test_hitting_sets_of_the_family_of_seven() -> None:
    """{2,4,5} and {2,4,6} contain {2,4}: with or without them the same. A pruning that takes conflicts for
    minimal can lose sets here (R. Greiner, B. Smith, R. Wilkerson, A correction to the algorithm in Reiter's
    theory of diagnosis, 1989, from memory)."""
    assert set(minimal_hitting_sets(FAMILY)) == HITTING
    assert set(minimal_hitting_sets([s for s in FAMILY if s not in ("245", "246")])) == HITTING
    assert [len(s) for s in minimal_hitting_sets(FAMILY)] == [2, 3, 3, 3, 3, 3]
    assert set(likeliest_hitting_sets([frozenset(s) for s in FAMILY], dict.fromkeys("123456", -1.0), 3, 99)) == HITTING


def test_all_5040_orders_of_arrival_give_the_same() -> None:
    """Whichever finding comes first."""
    for order in permutations(FAMILY):
        found: HittingSets[str] = HittingSets()
        for conflict in order:
            found.add(conflict)
        assert set(found.sets) == HITTING
