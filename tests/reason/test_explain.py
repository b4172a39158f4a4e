"""Why, and why not, a cause: every answer for and against it, what would bring it back, beside other faults.

source of all expectations: odds by the rows of chances themselves, recomputed here; the cases are common
practice, no source
"""

from __future__ import annotations

import numpy as np
import pytest

from diag.reason.explain import Account, account_of, accounts_of, decibans, number_words, reasons_for
from diag.reason.reasoner import Beliefs, Reasoner, Treated
from diag.reason.steps import Finding, Step, Value
from diag.talk.rehearsal import SimulatedFitter

FEED, STOP = "horn-feed.open", "stop-wire.open"
HORN_LAMPS = ("lamp:fuse-horn.out:horn-button=pressed", "lamp:horn.71:horn-button=pressed")


def _seen(reasoner: Reasoner, causes: tuple[str, ...], checks: tuple[str, ...]) -> list[Finding]:
    """What a vehicle with these causes shows at these checks."""
    fitter = SimulatedFitter(reasoner, causes)
    return [Finding(10 + n, reasoner.steps[c], fitter.truth(reasoner.steps[c])) for n, c in enumerate(checks)]


def _told(seq: int, symptom: str) -> Finding:
    return Finding(seq, None, None, 0, symptom)


@pytest.fixture(scope="module")
def two(network_alone: Reasoner) -> tuple[Reasoner, Beliefs]:
    """A dead horn feed and a dead stop lamp wire, both complained of, both traced."""
    checks = (*HORN_LAMPS, "stop-left", "stop-right", "ohm:pedal-switch.54", "battery-volts")
    known = tuple(check for check in checks if check in network_alone.steps)
    assert len(known) >= 4
    findings = [_told(1, "horn-silent"), _told(2, "stop-lamps-dead"), *_seen(network_alone, (FEED, STOP), known)]
    return network_alone, network_alone.beliefs(findings)


def _account(reasoner: Reasoner, beliefs: Beliefs, *causes: str) -> Account:
    return account_of(reasoner, beliefs, [reasoner.index[cause] for cause in causes])


# ---------------------------------------------------------------- weights


def test_weight_of_an_answer_is_its_chance_over_that_of_all_rivals(network_alone: Reasoner) -> None:
    """One fault, one answer: the ratio can be worked out by hand from the rows."""
    reasoner = network_alone
    finding = _seen(reasoner, (FEED,), HORN_LAMPS[1:])[0]
    beliefs = reasoner.beliefs([_told(1, "horn-silent"), finding])
    told = next(told for f, told in beliefs.judged if f.seq == finding.seq)
    i = reasoner.index[FEED]
    rival = reasoner.prior.copy()
    rival[i] = 0.0
    # what a rival moves by less than a twentieth counts as healthy, here as in the belief
    rows = np.where(np.abs(np.log(told.rows[1:] / told.rows[0])) > 0.05, told.rows[1:], told.rows[0])
    by_hand = told.rows[1 + i] / (rows @ rival / rival.sum())
    reason = next(r for r in _account(reasoner, beliefs, FEED).reasons if r.finding.seq == finding.seq)
    assert reason.weight == pytest.approx(by_hand, rel=1e-6)
    assert (reason.source, reason.shown, reason.instead) == ("computed", ("dark", "none"), ("normal", "steady"))


def test_numbers_are_told_as_ratio_and_decibans() -> None:
    """Ten decibans are a factor of ten; a ratio below one is told as its reciprocal."""
    assert decibans(10) == pytest.approx(10) and decibans(0.01) == pytest.approx(-20)
    assert number_words(20.8) == "x21, +13 db"
    assert number_words(0.25) == "1/4.0, -6 db"


def test_of_two_faults_neither_is_held_against_the_other(two: tuple[Reasoner, Beliefs]) -> None:
    """A silent horn does not speak against a broken stop lamp wire when the horn's feed is off as well."""
    reasoner, beliefs = two
    assert {FEED, STOP} <= {reasoner.causes[i].id for i in beliefs.posterior.sets[0][0]}
    for cause, own in ((FEED, {1}), (STOP, {2})):
        for reasons in (
            reasons_for(reasoner, beliefs, reasoner.remedy_of[reasoner.index[cause]]),
            _account(reasoner, beliefs, cause).reasons,
        ):
            assert min(reason.weight for reason in reasons) > 0.7
            strong = {reason.finding.seq for reason in reasons if reason.weight > 3}
            assert own <= strong and strong.isdisjoint({1, 2} - own)
    account = _account(reasoner, beliefs, FEED)
    assert account.company == {reasoner.index[STOP]}


# ---------------------------------------------------------------- where a cause stands


def test_leading_cause_is_called_so(two: tuple[Reasoner, Beliefs]) -> None:
    """Both members of what is held likeliest lead, whichever is asked for."""
    reasoner, beliefs = two
    for cause in (FEED, STOP):
        account = _account(reasoner, beliefs, cause)
        assert account.standing == "leading" and account.p > 0.5


def test_why_not_names_the_answer_that_speaks_most_against(two: tuple[Reasoner, Beliefs]) -> None:
    """`Why not the horn fuse?` Because the test lamp behind it was lit, and with it blown would be dark."""
    reasoner, beliefs = two
    account = _account(reasoner, beliefs, "fuse-horn.blown")
    assert account.standing == "against" and account.p < 0.05
    worst = account.contrast[0]
    assert worst.finding.step is not None and worst.finding.step.id == HORN_LAMPS[0]
    assert worst.finding.value == ("normal", "steady") and worst.weight < 0.05
    assert (worst.shown, worst.instead) == (("dark", "none"), ("normal", "steady"))
    assert account.contrast == tuple(sorted(account.contrast, key=lambda r: r.weight))


def test_what_would_be_one_fault_more_is_not_said_to_be_refuted(two: tuple[Reasoner, Beliefs]) -> None:
    """A lamp of another circuit may be broken besides; no answer speaks of it."""
    reasoner, beliefs = two
    account = _account(reasoner, beliefs, "plate-lamp.open")
    assert account.standing == "beside"
    assert all(0.7 < reason.weight < 1.4 for reason in account.contrast)


def test_a_second_symptom_that_many_causes_explain_alike_is_not_called_unasked_for(network_alone: Reasoner) -> None:
    """The flasher unit is found, the horn is silent too and may have ten causes: of any of them it is said that
    nothing tells it from the others, not that nothing asks for it."""
    reasoner = network_alone
    steady = [_told(1, "steady-turn-lamps"), _told(2, "horn-silent")]
    checks = ("turn-left-front", "turn-right-front", "turn-left-sound")
    findings = [*steady, *_seen(reasoner, ("flasher-unit.never-opens",), checks)]
    beliefs = reasoner.beliefs(findings)
    account = _account(reasoner, beliefs, "fuse-horn.blown")
    assert reasoner.index["flasher-unit.never-opens"] in account.company
    assert account.leader is not None and len(account.leader) == 2
    assert account.standing in ("open", "rare")


def test_causes_that_nothing_tells_apart_are_open_and_rare_ones_rare(network_alone: Reasoner) -> None:
    """After the complaint alone nothing tells a horn that is open from its feed; what is met seldom is called
    rare, not refuted."""
    reasoner = network_alone
    beliefs = reasoner.beliefs([_told(1, "horn-silent")])
    leader = next(iter(beliefs.posterior.starts[0][0]))
    first = reasoner.causes[leader].id
    assert _account(reasoner, beliefs, first).standing == "leading"
    equal = next(
        c.id
        for i, c in enumerate(reasoner.causes)
        if i != leader
        and reasoner.prior[i] * 2 > reasoner.prior[leader]
        and beliefs.judged[0][1].rows[1 + i] * 1.5 > beliefs.judged[0][1].rows[1 + leader]
    )
    assert _account(reasoner, beliefs, equal).standing == "open"
    seldom = next(
        c.id
        for i, c in enumerate(reasoner.causes)
        if reasoner.prior[i] * 5 < reasoner.prior[leader]
        and beliefs.judged[0][1].rows[1 + i] * 1.5 > beliefs.judged[0][1].rows[1 + leader]
    )
    account = _account(reasoner, beliefs, seldom)
    assert account.standing == "rare" and account.leader_prior > 3 * account.odds_prior


def test_what_was_put_right_is_called_treated(network_alone: Reasoner) -> None:
    """After the repair and its proof nobody is to hear that an answer refuted the fault that was there."""
    reasoner = network_alone
    remedy = reasoner.remedy_of[reasoner.index[FEED]]
    before = [_told(1, "horn-silent"), *_seen(reasoner, (FEED,), HORN_LAMPS)]
    step = reasoner.steps["horn-sound"]
    proof = Finding(30, step, SimulatedFitter(reasoner, ()).truth(step), 1)
    beliefs = reasoner.beliefs([*before, proof], [Treated(1, remedy)])
    account = _account(reasoner, beliefs, FEED)
    assert account.standing == "treated" and account.cured_by == remedy and account.p < 0.05


def test_side_by_side_is_the_same_as_one_by_one(two: tuple[Reasoner, Beliefs]) -> None:
    """The causes of a part are solved together; that must not change what is said of any."""
    reasoner, beliefs = two
    mine = [i for i, cause in enumerate(reasoner.causes) if cause.subject == "fuse-horn"]
    for i, together in zip(mine, accounts_of(reasoner, beliefs, [[i] for i in mine]), strict=True):
        alone = account_of(reasoner, beliefs, [i])
        assert (together.standing, together.subject, together.company) == (alone.standing, alone.subject, alone.company)
        assert [r.weight for r in together.reasons] == pytest.approx([r.weight for r in alone.reasons])


# ---------------------------------------------------------------- what would bring it back


def test_the_answer_said_to_bring_a_cause_back_does(two: tuple[Reasoner, Beliefs]) -> None:
    """A promise that a check would bring a cause back is kept when that answer is given."""
    reasoner, beliefs = two
    cause = reasoner.index["fuse-horn.blown"]
    asked = {f.step.id for f, _ in beliefs.judged if f.step is not None}
    account = account_of(reasoner, beliefs, [cause], lambda s: s.id not in asked)
    step = account.back[0].step
    assert isinstance(step, Step) and step.id not in asked
    given: Value | None = reasoner.chances.shown(step, account.subject | account.company)
    assert given is not None, "the answer is the one that the cause would give"
    findings = [f for f, _ in beliefs.judged] + [Finding(40, step, given)]
    after = float(reasoner.beliefs(findings).posterior.present[cause])
    before = float(beliefs.posterior.present[cause])
    assert after > 3 * before
    assert after == pytest.approx(account.back[0].p, abs=0.25)


def test_an_answer_that_alone_stands_against_a_cause_is_named_as_what_may_be_wrong(
    two: tuple[Reasoner, Beliefs],
) -> None:
    """Who is sure of the fuse learns which answer to look at again."""
    reasoner, beliefs = two
    account = _account(reasoner, beliefs, "fuse-horn.blown")
    wrong = next(b for b in account.back if b.seq is not None)
    assert wrong.seq == account.contrast[0].finding.seq
    left = [f for f, _ in beliefs.judged if f.seq != wrong.seq]
    without = float(reasoner.beliefs(left).posterior.present[reasoner.index["fuse-horn.blown"]])
    assert without > account.p
    assert wrong.p == pytest.approx(without, abs=0.2)
