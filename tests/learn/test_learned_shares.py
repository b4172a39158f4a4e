"""What follows from counts: the Dirichlet posterior, how far few jobs can move anything, and no order of jobs.

source of the posterior: A. Gelman and others, Bayesian Data Analysis, chapter on multiparameter models
(multinomial with Dirichlet prior; from memory); checked with an independent library for Bayesian networks too.
"""

from __future__ import annotations

from itertools import permutations
from math import prod
from pathlib import Path
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diag.knowledge.learned import Learned, LearningFile, Level, Misreading, learning, misread_after, weight
from diag.learn.counting import Counts, Slip
from diag.learn.tally import Known, Tallied, learned_from, shares_after

_EXACT = 1e-9
_KEPT = 2e-4
"""Counts are kept with four decimals, shares with six digits."""
DATE = "2026-11-29"


def vehicle(*shares: float, name: str = "van", kinds: str = "abcdefgh") -> tuple[Known, ...]:
    """Causes of a vehicle, each of its own kind and part, with these published shares."""
    total = sum(shares)
    return tuple(
        Known(f"{name}-{i}.open", f"kind-{kinds[i]}", "open", "horn", f"{name}-{i}", share / total)
        for i, share in enumerate(shares)
    )


def jobs_of(causes: tuple[Known, ...], met: list[int], on: str = "van", first: int = 0) -> list[Tallied]:
    """A job for each fault met, by place of its cause."""
    return [
        Tallied(f"job-{n}", f"{n:016x}", on, causes, Counts(((f"r{i}", {causes[i].cause: 1.0}),)))
        for n, i in enumerate(met, start=first)
    ]


def levels(strength: float, least: float, others: float = 1e6) -> LearningFile:
    """Only the kinds learn; the other levels stand as firm as they can."""
    firm = {"strength": others, "least": 0.0}
    kind = {"strength": strength, "least": least}
    return LearningFile.model_validate(
        {"levels": {"kind": kind, "circuit": firm, "vehicle": firm}, "misread": {"strength": 100, "most": 0.5}}
    )


# ---------------------------------------------------------------- the posterior


@pytest.mark.parametrize(
    ("shares", "met", "strength"), [((0.7, 0.2, 0.1), (3, 5, 2), 50), ((0.5, 0.5), (0, 9), 4), ((0.9, 0.1), (1, 0), 1)]
)
def test_one_level_is_the_mean_of_the_dirichlet_posterior(
    shares: tuple[float, ...], met: tuple[int, ...], strength: float
) -> None:
    """Published shares as pseudo-counts: (S·p + n) / (S + N) for each cause."""
    total = sum(met)
    grown = [p * weight(n, p, total, strength, 0.0) for p, n in zip(shares, met, strict=True)]
    analytic = [(strength * p + n) / (strength + total) for p, n in zip(shares, met, strict=True)]
    assert [g / sum(grown) for g in grown] == pytest.approx(analytic, abs=_EXACT)


def test_an_independent_learner_comes_to_the_same_shares(tmp_path: Path) -> None:
    """A library for Bayesian networks learns one variable from the same cases with the same prior."""
    gum = pytest.importorskip("pyagrum")
    shares, met = (0.6, 0.25, 0.1, 0.05), [0, 1, 1, 3, 1, 0, 3, 3, 2, 1]
    network = gum.BayesNet()
    network.add(gum.LabelizedVariable("cause", "", ["0", "1", "2", "3"]))
    network.cpt("cause").fillWith(list(shares))
    cases = tmp_path / "cases.csv"
    cases.write_text("cause\n" + "".join(f"{i}\n" for i in met), encoding="utf-8")
    learner = gum.BNLearner(str(cases), network)
    learner.useDirichletPrior(network, 30)
    fitted = learner.learnParameters(network.dag())  # must outlive its table
    theirs = fitted.cpt("cause").toarray().tolist()
    causes = vehicle(*shares)
    ours = shares_after(causes, learned_from(jobs_of(causes, met), levels(30, 0.0), DATE), "van")
    assert list(ours.values()) == pytest.approx(theirs, abs=_KEPT)


def test_many_jobs_come_to_the_true_frequencies_of_their_source() -> None:
    """However wrong the published shares were, and though rare causes are held back at first."""
    true, random = (0.05, 0.15, 0.3, 0.5), Random(7)
    causes = vehicle(0.9, 0.06, 0.03, 0.01)
    met = random.choices(range(4), true, k=6000)
    found = shares_after(causes, learned_from(jobs_of(causes, met), learning(), DATE), "van")
    seen = [met.count(i) / len(met) for i in range(4)]
    assert list(found.values()) == pytest.approx(seen, abs=0.04)
    assert list(found.values()) == pytest.approx(true, abs=0.05)


# ---------------------------------------------------------------- how far few jobs move anything

_SHARES = st.lists(st.floats(1e-4, 1.0), min_size=2, max_size=8)
_MET = st.lists(st.integers(0, 7), min_size=0, max_size=30)


@settings(max_examples=60, deadline=None)
@given(_SHARES, _MET, st.floats(1, 300), st.floats(0, 20))
def test_no_level_moves_a_share_beyond_its_bound(
    shares: list[float], met: list[int], strength: float, least: float
) -> None:
    """After N faults no share falls below S/(S+N) of what it was, none rises above (S·p+n)/(S+n), and none grows
    against one that was never met by more than 1 + n·(S+N)/(S·least)."""
    shares = [share / sum(shares) for share in shares]
    counts = [sum(i % len(shares) == place for i in met) for place in range(len(shares))]
    total = len(met)
    times = [weight(n, p, total, strength, least) for n, p in zip(counts, shares, strict=True)]
    whole = sum(p * t for p, t in zip(shares, times, strict=True))
    for p, n, t in zip(shares, counts, times, strict=True):
        after = p * t / whole
        assert after >= p * strength / (strength + total) - _EXACT
        assert after <= (strength * p + n) / (strength + n) + _EXACT
        assert t >= 1
        if least:
            assert t <= 1 + n * (strength + total) / (strength * least) + _EXACT


@settings(max_examples=25, deadline=None)
@given(_SHARES, st.lists(st.integers(0, 7), min_size=1, max_size=14))
def test_all_levels_together_keep_within_the_product_of_their_bounds(shares: list[float], met: list[int]) -> None:
    """The same for all that is learned, as it is shipped: so many jobs cannot do more."""
    causes = vehicle(*shares)
    met = [i % len(causes) for i in met]
    how = learning().levels
    every, total = (how.kind, how.circuit, how.vehicle), len(met)
    found = shares_after(causes, learned_from(jobs_of(causes, met), learning(), DATE), "van")
    kept = prod(level.strength / (level.strength + total) for level in every)
    for place, known in enumerate(causes):
        n, after = met.count(place), found[known.cause]
        assert after >= known.share * kept * (1 - _KEPT)
        assert 1 - after >= (1 - known.share) * kept * (1 - _KEPT)
        for other in causes:
            if met.count(causes.index(other)) == 0:
                odds = after / known.share / (found[other.cause] / other.share)
                assert odds <= _most_odds(every, n, total) * (1 + _KEPT)


def _most_odds(every: tuple[Level, ...], n: int, total: int) -> float:
    return prod(1 + n * (level.strength + total) / (level.strength * level.least) for level in every)


@pytest.mark.parametrize(("jobs", "most"), [(1, 1.6), (3, 3.5), (10, 23)])
def test_few_jobs_do_not_make_the_rarest_fault_a_common_one(jobs: int, most: float) -> None:
    """Even where all jobs on one vehicle were the same fault, that nobody thought possible."""
    causes = vehicle(0.5, 0.3, 0.2, 1e-5)
    found = shares_after(causes, learned_from(jobs_of(causes, [3] * jobs), learning(), DATE), "van")
    assert 1.3 < found["van-3.open"] / causes[3].share < most
    assert max(found, key=lambda cause: found[cause]) == "van-0.open"


# ---------------------------------------------------------------- nothing, and no order


def test_no_jobs_change_nothing() -> None:
    """Nor do jobs without a confirmed remedy."""
    causes = vehicle(0.5, 0.3, 0.2)
    nothing = [Tallied("job", "0" * 16, "van", causes, Counts(why_not=(("r", "not proved"),)))]
    for jobs in ([], nothing):
        learned = learned_from(jobs, learning(), DATE)
        assert (learned.faults, learned.kinds, learned.vehicles, learned.misread) == (0, {}, {}, {})
        assert shares_after(causes, learned, "van") == pytest.approx({k.cause: k.share for k in causes}, abs=_EXACT)


def test_the_order_of_jobs_does_not_matter() -> None:
    """Two machines with the same jobs must come to the same."""
    causes = vehicle(0.5, 0.3, 0.2)
    halves = {causes[0].cause: 1 / 3, causes[2].cause: 2 / 3}
    slips = (Slip("light", "dim", "dark", 0.3), Slip("light", "dim", "dim", 0.7))
    jobs = [*jobs_of(causes, [0, 2, 2]), Tallied("x", "f" * 16, "van", causes, Counts((("r", halves),), slips=slips))]
    found = {learned_from(order, learning(), DATE).model_dump_json() for order in permutations(jobs)}
    assert len(found) == 1


# ---------------------------------------------------------------- level by level


def test_each_level_speaks_of_its_own_sort_only() -> None:
    """A kind on every vehicle, a wire on every vehicle with that circuit, a cause on its own vehicle."""
    wire = Known("feed.open", "wire", "open", "horn", "feed", 0.3)
    causes = (wire, Known("feed.to-body", "wire", "to-body", "horn", "feed", 0.2), _lamp("stop", 0.5))
    learned = learned_from(jobs_of(causes, [0, 0], "first"), learning(), DATE)

    def times(vehicle: str, known: Known) -> float:
        return learned.times(vehicle, known.kind, known.mode, known.circuit, known.subject, known.cause)

    elsewhere = Known("strap.open", "wire", "open", "lamps", "strap", 0.3)
    assert times("first", wire) > times("second", wire) > times("second", elsewhere) > 1
    assert times("second", causes[1]) == pytest.approx(times("second", wire) / times("second", elsewhere))
    assert times("second", _lamp("tail", 0.1)) == 1


def _lamp(name: str, share: float) -> Known:
    return Known(f"{name}.open", "lamp", "open", "lamps", name, share)


def test_what_is_expected_is_that_of_the_vehicles_counted() -> None:
    """Two faults of a kind of which the vehicles have much are no news; on vehicles with little they are."""
    much, little = vehicle(0.9, 0.1), vehicle(0.1, 0.9)
    news = [
        learned_from(jobs_of(causes, [0, 0, 1]), learning(), DATE).kinds["kind-a"]["open"] for causes in (much, little)
    ]
    assert (news[0].share, news[1].share) == pytest.approx((0.9, 0.1))
    both = learned_from([*jobs_of(much, [0], "a"), *jobs_of(little, [1, 1], "b", 5)], learning(), DATE)
    assert both.kinds["kind-a"]["open"].share == pytest.approx((0.9 + 2 * 0.1) / 3, abs=1e-6)


def test_a_cause_that_a_file_adds_is_no_kind() -> None:
    """`added` would lump together what has nothing in common."""
    causes = (Known("horn.rusty", "added", "rusty", "horn", "horn", 0.5), _lamp("stop", 0.5))
    learned = learned_from(jobs_of(causes, [0]), learning(), DATE)
    assert learned.kinds == {} and learned.circuits["horn"]["horn"].n == 1


# ---------------------------------------------------------------- words misjudged


def test_misjudging_is_the_mean_of_its_own_posterior() -> None:
    """For each true word a Dirichlet distribution over the words told."""
    how = Misreading(strength=100, most=0.5)
    after = misread_after({"dim": {"dark": 0.08, "normal": 0.12}}, {"dim": {"dim": 40, "dark": 8, "glow": 2}}, how)
    assert after["dim"] == pytest.approx({"dark": (8 + 8) / 150, "normal": 12 / 150, "glow": 2 / 150})


@settings(max_examples=50, deadline=None)
@given(st.dictionaries(st.sampled_from(["dark", "dim", "normal"]), st.integers(0, 4000), min_size=1))
def test_a_word_is_never_held_to_be_misjudged_more_often_than_judged_right(told: dict[str, int]) -> None:
    """Else a person's `dim` would come to mean dark."""
    counts = {"dim": {word: float(n) for word, n in told.items()}}
    after = misread_after({"dim": {"dark": 0.08}}, counts, learning().misread)
    assert sum(after["dim"].values()) <= 0.5 + _EXACT
    assert all(share > 0 for share in after["dim"].values())


def test_words_without_counts_are_as_published() -> None:
    """What was learned of one word says nothing of the others."""
    published = {"dim": {"dark": 0.08}, "glow": {"dark": 0.2}}
    after = misread_after(published, {"dim": {"dim": 3.0}}, learning().misread)
    assert after["glow"] == published["glow"] and after["dim"]["dark"] < 0.08
    assert misread_after(published, {}, learning().misread) == published


def test_slips_are_added_up_over_jobs() -> None:
    """Weights and all."""
    causes = vehicle(0.5, 0.5)
    slips = (Slip("light", "dim", "dark", 0.25), Slip("light", "dim", "dim"))
    jobs = [
        Tallied(f"j{n}", f"{n:016x}", "van", causes, Counts((("r", {causes[0].cause: 1.0}),), slips=slips))
        for n in range(3)
    ]
    learned: Learned = learned_from(jobs, learning(), DATE)
    assert learned.misread == {"light": {"dim": {"dark": 0.75, "dim": 3.0}}}
