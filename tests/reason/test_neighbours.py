"""What else is proved after a repair: parts at the same connector, earth point or fuse, derived from the wiring.

source of all expectations: common practice, no source
"""

from __future__ import annotations

import pytest

from diag.reason.operates import plain
from diag.reason.reasoner import Reasoner


@pytest.mark.parametrize(
    ("remedy", "check", "words"),
    [
        ("stop-left-wire.reconnect", "stop-right", "at the same connector: Stop lamp joint"),
        ("stop-lamp-left.renew", "turn-left-rear", "on the same earth point: Rear left earth point"),
        ("stop-lamp-left.renew", "stop-right", "on the same fuse: Stop lamp fuse"),
        ("turn-switch-left-wire.reconnect", "turn-right-front", "at the same connector: Turn switch"),
        ("headlamp-earth-left.reconnect", "turn-left-front", "on the same earth point: Front left lamp earth"),
        ("oil-lamp.renew", "charge-key-on", "on the same fuse: Instrument fuse"),
    ],
)
def test_a_repair_proves_what_hangs_on_the_same(reasoner: Reasoner, remedy: str, check: str, words: str) -> None:
    """Whoever pulls one wire off a joint may pull its neighbour with it."""
    found = {neighbour.check: neighbour.words for neighbour in reasoner.remedies[remedy].neighbours}
    assert found.get(check) == words


def test_neighbours_are_few_cheap_first_and_never_what_is_proved_anyway(reasoner: Reasoner) -> None:
    """At most three more looks, each at another part than the cure's own proof, with wires on and engine off."""
    some = 0
    for plan in reasoner.remedies.values():
        checks = [reasoner.knowledge.checks[neighbour.check] for neighbour in plan.neighbours]
        assert len(checks) <= 3
        assert [c.minutes for c in checks] == sorted(c.minutes for c in checks)
        assert not {c.id for c in checks} & set(plan.proof)
        proved = {reasoner.knowledge.checks[name].target for name in plan.proof if name in reasoner.knowledge.checks}
        targets = [c.target for c in checks]
        assert len(set(targets)) == len(targets) and not set(targets) & proved
        assert all(c.kind in ("look", "listen") and c.operate and plain(c.operate) for c in checks)
        assert not any(c.operate.get("engine") == "running" for c in checks)
        some += bool(checks)
    assert some > 80


def test_a_neighbour_must_hang_on_the_connector_not_before_it(reasoner: Reasoner) -> None:
    """The horn is fed from the same bar as the key switch but not through it."""
    checks = {n.check for n in reasoner.remedies["key-switch-renew"].neighbours}
    assert "horn-sound" not in checks
    assert not any(n.check.startswith("horn") for n in reasoner.remedies["flasher-unit-renew"].neighbours)
