"""Causes that are cited but cannot be, and slips that do not stop a job."""

from __future__ import annotations

from pathlib import Path

import pytest

from diag.knowledge.lint import added_causes, check_causes, warnings
from tests.knowledge.small import write_small

LAMP, SHARED = "circuits/lamp.yaml", "shared.yaml"
KNOWN = {
    "battery.flat",
    "work-lamp.open",
    "fuse-lamp.blown",
    "fuse-lamp.resistive",
    "earth-front.open",
    "lamp-earth.open",
}


def test_causes_that_can_be_are_not_complained_of(tmp_path: Path) -> None:
    """Derived ones and those that a note adds may be cited."""
    know = write_small(tmp_path, (LAMP, "cures: [work-lamp.open]", "cures: [work-lamp.glass-painted]")).load()
    assert check_causes(know, KNOWN) == []
    assert added_causes(know, KNOWN) == {"work-lamp.glass-painted"}


@pytest.mark.parametrize(
    ("old", "new", "spot", "says"),
    [
        ("points-to: work-lamp.open", "points-to: work-lamp.opn", "work-lamp.opn", "Did you mean `work-lamp.open`?"),
        (
            "clears: fuse-lamp.blown",
            "clears: fuse-lamp.burst",
            "fuse-lamp.burst",
            "It can have `fuse-lamp.blown` or `fuse-lamp.resistive`.",
        ),
        ("clears: fuse-lamp.blown", "clears: fuze-lamp.blown", "fuze-lamp.blown", "Did you mean `fuse-lamp.blown`?"),
        ("points-to: work-lamp.open", "points-to: wrk-lamp.glow", "wrk-lamp.glow", "no such cause"),
        ("cures: [work-lamp.open]", "cures: [work-lamp.dead]", "work-lamp.dead", "no such cause"),
        ("frequency: 2, remedy", "frequency: 2, like: work-lamp.dark, remedy", "work-lamp.dark", "no such cause"),
        ("id: lamp-earth.open", "id: lamp-earth.opened", "lamp-earth.opened", "needs a `title` and a `frequency`"),
        (
            "frequency: 2, remedy: lamp-renew,",
            "frequency: 2,",
            "{id: work-lamp.glass",
            "nothing cures this added cause",
        ),
    ],
)
def test_a_cause_that_cannot_be_is_told_at_its_place(
    tmp_path: Path,
    old: str,
    new: str,
    spot: str,
    says: str,
) -> None:
    """A rule that points to a misspelt cause would silently do nothing."""
    small = write_small(tmp_path, (LAMP, old, new))
    (problem,) = check_causes(small.load(), KNOWN)
    assert problem.place == small.at(LAMP, spot, after="" if "{" not in spot else "causes:")
    assert says in str(problem)


def test_the_small_set_gives_no_warnings(tmp_path: Path) -> None:
    """Or the tests of single warnings prove nothing."""
    assert warnings(write_small(tmp_path).load()) == []


@pytest.mark.parametrize(
    ("file", "old", "new", "says"),
    [
        (LAMP, "  lamp-earth: {", "  lamp-earth-2: {", ""),
        (LAMP, "from: work-lamp.31", "from: work-lamp.55", "no wire is on `work-lamp.31`"),
        (LAMP, 'operate: {ignition: "on"}', 'operate: {ignition: "off"}', "`ignition` is at rest here"),
        (
            LAMP,
            "{establish: lamp-is-fed}",
            "{establish: lamp-is-fed}\n      - {establish: idle-word}",
            "nothing uses this intermediate conclusion; found `idle-word`",
        ),
        (LAMP, "light: is dark}", "light: is dark, rhythm: steady}", "this never holds"),
        (
            SHARED,
            "rules:\n",
            "cautions: [{id: unused, text: Mind., source: from memory}]\nrules:\n",
            "nothing uses this caution; found `unused`",
        ),
        (LAMP, "length-m: 0.5 m", "length-m: 0.5 m, bundle: front", "no other wire is in this bundle; found `front`"),
        (
            LAMP,
            "rules:\n",
            "  - {id: lamp-dim, title: Dim, phrases: [No  Light], shows: [[{check: lamp-on, light: dim}]]}\nrules:\n",
            "the symptom `lamp-dead` has the same phrase",
        ),
    ],
)
def test_a_probable_slip_is_a_warning(tmp_path: Path, file: str, old: str, new: str, says: str) -> None:
    """None of these stops a job, but each is usually a mistake."""
    found = [str(problem) for problem in warnings(write_small(tmp_path, (file, old, new)).load())]
    if says:
        assert len(found) == 1
        assert says in found[0]
    else:
        assert found == []


def test_a_position_without_its_resistance_is_a_warning(tmp_path: Path) -> None:
    """A gauge sender that conducts nothing at half a tank is most often a line forgotten."""
    part = (
        "  tank: {kind: level-sender, title: Tank, place: front, control: ignition, "
        "positions: {'on': 9 ohm, 'off': 1 ohm}}"
    )
    full = write_small(tmp_path / "full", (LAMP, "  work-lamp: {kind", f"{part}\n  work-lamp: {{kind")).load()
    controls = ("supply.yaml", 'ignition: ["off", "on"]', 'ignition: ["off", "on", start]')
    short = write_small(tmp_path / "short", (LAMP, "  work-lamp: {kind", f"{part}\n  work-lamp: {{kind"), controls)
    said = "no resistance is given for `start` of `ignition`"
    assert not [problem for problem in warnings(full) if "no resistance" in str(problem)]
    assert [problem for problem in warnings(short.load()) if said in str(problem)]
