"""How much a length matters, against the same vehicle described anew with the longer or thinner wire."""

from __future__ import annotations

from pathlib import Path

import pytest

from diag.calc.copper import wire_ohm
from diag.fit.checking import assumed_wires, importance
from diag.fit.matter import LONGER, healthy_operates, losses, next_smaller, together
from diag.knowledge.load import load_knowledge
from diag.knowledge.schema import LampPart
from tests.fit.answering import lamp_volts
from tests.vehicles import SIX

KNOW = load_knowledge(SIX)
FOUND = {loss.wire: loss for loss in losses(KNOW, KNOW.wires)}


def described(tmp_path: Path, more: str) -> Path:
    """The vehicle of the tests with more said of it."""
    file = tmp_path / "other.yaml"
    file.write_text(SIX.read_text(encoding="utf-8") + more, encoding="utf-8")
    return file


@pytest.mark.parametrize("wire", ["stop-wire", "turn-rear-right-wire", "main-left-wire", "plate-wire", "main-feed"])
def test_loss_is_what_a_file_with_the_longer_wire_shows(tmp_path: Path, wire: str) -> None:
    """Same lamp, same controls, the whole way from a file: the loss told must be the loss that is."""
    loss = FOUND[wire]
    before, entry = KNOW.wires[wire], f"overrides:\n  wires:\n    {wire}: "
    lamps = {f"{part.title}": name for name, part in KNOW.parts.items() if isinstance(part, LampPart)}
    lamps |= {"Left headlamp, main beam": "headlamp-left.56a", "Right headlamp, main beam": "headlamp-right.56a"}
    lamp, operate = lamps[loss.load], dict(loss.operate)
    sound = lamp_volts(KNOW, operate)[lamp]
    longer = load_knowledge(described(tmp_path, f"{entry}{{length-m: {2 * before.length_m} m}}\n"))
    assert sound - lamp_volts(longer, operate)[lamp] == pytest.approx(loss.lost_v, abs=2e-4)
    assert loss.share == pytest.approx(loss.lost_v / sound, rel=1e-3)
    assert loss.thinner_mm2 is not None
    thinner = load_knowledge(described(tmp_path, f"{entry}{{section-mm2: {loss.thinner_mm2} mm2}}\n"))
    assert sound - lamp_volts(thinner, operate)[lamp] == pytest.approx(loss.thinner_v, abs=2e-4)


def test_loss_by_hand_for_a_lamp_alone_on_its_wire() -> None:
    """Number-plate lamp, 5 W: its wire gains its own ohm, the lamp's current hardly changes, V = I R. Most of
    the loss of a wire that only it uses."""
    wire = KNOW.wires["plate-wire"]
    amps = 5.0 / 13.5 * (11.9 / 13.5) ** 0.55
    by_hand = wire_ohm(wire.section_mm2, wire.length_m) * amps
    assert FOUND["plate-wire"].load == "Number-plate lamp"
    assert FOUND["plate-wire"].lost_v == pytest.approx(by_hand, rel=0.05)


def test_order_is_by_share_and_every_feeding_wire_is_told() -> None:
    """Worst first; a wire that carries a load's current is never left out."""
    shares = [loss.share for loss in losses(KNOW, KNOW.wires)]
    assert shares == sorted(shares, reverse=True)
    assert all(share > 0 for share in shares)
    assert {"stop-wire", "battery-cable", "main-earth-cable", "horn-feed", "cluster-left-earth-wire"} <= set(FOUND)


@pytest.mark.parametrize(
    ("section", "smaller"), [(1.5, 1.0), (25.0, 16.0), (0.5, None), (2.0, 1.5), (0.75, 0.5), (0.3, None)]
)
def test_next_smaller_section_exists(section: float, smaller: float | None) -> None:
    """Sections that are sold (IEC 60228)."""
    assert next_smaller(section) == smaller


def test_all_longer_at_once_costs_at_least_its_worst_quarter() -> None:
    """A quarter more on every wire costs some load more than a quarter more on its worst wire alone."""
    found = together(KNOW, list(KNOW.wires))
    assert found is not None
    alone = max(loss.share for loss in FOUND.values()) * (LONGER - 1)
    assert found.share > 0.9 * alone


def test_operates_looked_at_are_those_of_checks_with_the_battery_on() -> None:
    """No wire off, no jumper, battery connected."""
    operates = healthy_operates(KNOW)
    assert {"ignition": "on", "turn": "left"} in operates
    assert all(not {"unplugged", "bridged", "battery"} & set(operate) for operate in operates)


def test_only_assumed_wires_are_told(tmp_path: Path) -> None:
    """What somebody measured matters no more; where nothing is assumed that is said."""
    some = load_knowledge(described(tmp_path, "assumed: [stop-wire, horn-feed]\n"))
    assert assumed_wires(some) == ["stop-wire", "horn-feed"] or set(assumed_wires(some)) == {"stop-wire", "horn-feed"}
    text = "\n".join(importance(some))
    assert "Pedal switch to the rear" in text and "Feed of the horn" in text
    assert text.count("twice as long") == 2
    assert importance(KNOW)[0] == "No wire is marked as assumed."
    every = load_knowledge(described(tmp_path, "assumed: all\n"))
    assert set(assumed_wires(every)) == set(every.wires)
