"""The shipped rules have earned the states they claim, by the recorded jobs that lie beside them.

source of the jobs: common practice, no source
"""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from diag.life.jobs import RIGHT, SILENT
from diag.life.states import needs, tally
from diag.life.world import World, gather

NTH = 12
"""Of so many rules one is also tried with and without itself in every job; all by `diag rules state --all draft
--dry-run --in rules`."""


@pytest.fixture(scope="module")
def world() -> Iterator[World]:
    yield gather()


def test_every_rule_that_is_called_tested_is_proved_by_the_jobs_it_names(world: World) -> None:
    """A recorded job must fire it and end at what it says; its near misses must not, and one of them tries it."""
    claimed = [world.rule(name) for name in world.rules if world.rule(name).state in ("tested", "proven")]
    assert len(claimed) > 150
    for rule in claimed:
        found = tally(world, rule.id)
        led = {job.name for job in found.fired if job.uses[rule.id] in (RIGHT, SILENT)}
        assert rule.leads_there and set(rule.leads_there) <= led, f"{rule.id} does not lead where it says"
        fires = {job.name for job in found.fired}
        assert not set(rule.near_miss) & fires, f"{rule.id} fires in a near miss"
        assert set(rule.near_miss) <= world.job_names, f"{rule.id} names a near miss that there is not"
        assert set(rule.near_miss) & {job.name for job in found.near}, f"no near miss of {rule.id} tries it"


def test_rules_that_are_called_tested_do_no_harm(world: World) -> None:
    """One of several is weighed with and without itself; causes, source and jobs are looked at as well."""
    claimed = sorted(name for name in world.rules if world.rule(name).state == "tested")
    for name in claimed[3::NTH]:
        missing = [need for need in needs(world, world.rule(name), "tested") if not need.met]
        assert missing == [], name


def test_no_shipped_rule_is_called_proven_by_jobs_that_were_written(world: World) -> None:
    """Recorded jobs written from facts of the trade show a rule at work, not how often it is right."""
    for name in world.rules:
        if world.rule(name).state == "proven":
            assert all(need.met for need in needs(world, world.rule(name), "proven")), name
        assert tally(world, name).real().fired == ()


def test_every_move_of_a_shipped_rule_is_told_to_its_end(world: World) -> None:
    """The last step of its life leads to where it stands; a rule that never moved has no steps."""
    for name in world.rules:
        rule = world.rule(name)
        states = [rule.moved[0].from_, *(step.to for step in rule.moved)] if rule.moved else [rule.state]
        assert states[-1] == rule.state, name
        assert [step.from_ for step in rule.moved] == states[:-1], name
