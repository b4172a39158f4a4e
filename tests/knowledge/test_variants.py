"""Options of a circuit and the variants that hold for them; files written for 12 V on other vehicles."""

from __future__ import annotations

from pathlib import Path

import pytest

from diag.circuit.predict import Predictor
from diag.errors import KnowledgeError
from diag.knowledge.assemble import Knowledge
from diag.knowledge.sizes import RATINGS_A, SECTIONS_MM2
from tests.knowledge.small import Small, write_small

LAMP, CAR = "circuits/lamp.yaml", "vehicles/small.yaml"
VARIANTS = """\
options:
  feed: {title: How the lamp is fed, choices: {key: by the key, relay: by a relay}}
variants:
  - only: {feed: relay}
    without: [lamp-supply]
    parts:
      lamp-relay: {kind: relay, title: Relay of the work lamp, place: front}
    wires:
      coil-feed: {from: key-switch.15, to: lamp-relay.86, colour: green, section-mm2: 0.75 mm2, length-m: 2 m}
      coil-earth: {from: lamp-relay.85, to: earth-front.31, colour: brown, section-mm2: 0.75 mm2, length-m: 0.3 m}
      relay-feed: {from: battery.B+, to: fuse-lamp.in, colour: red, section-mm2: 2.5 mm2, length-m: 0.5 m}
      lamp-feed: {from: lamp-relay.87, to: work-lamp.55, colour: red, section-mm2: 2.5 mm2, length-m: 0.4 m}
      relay-live: {from: fuse-lamp.out, to: lamp-relay.30, colour: red, section-mm2: 2.5 mm2, length-m: 2 m}
    checks:
      - {id: relay-click, title: Relay, kind: listen, operate: {ignition: "on"}, target: lamp-relay, place: front}
    rules:
      - id: lamp/relay-silent
        title: Relay silent
        when: [{check: relay-click, is: none}]
        then: [{points-to: lamp-relay.coil-open, weight: 3}, {establish: relay-is-silent}]
        because: It does not pull in.
        source: common practice, no source
        state: draft
"""
BASE_RULE = """\
  - id: lamp/dark-and-relay-silent
    title: Lamp dark and the relay silent
    when: [{check: lamp-on, light: dark}, {established: relay-is-silent}]
    then: [{points-to: coil-feed.open, weight: 3}]
    because: Written once, for those that have a relay.
    source: common practice, no source
    state: draft
"""


def fitted(folder: Path, chosen: str = "", variants: str = VARIANTS) -> Small:
    return write_small(
        folder,
        (LAMP, "causes:\n", f"{BASE_RULE}causes:\n"),
        (LAMP, "title: Work lamp\nparts", f"title: Work lamp\n{variants}parts"),
        (CAR, "circuits: [lamp]\n", f"circuits: [lamp]\n{chosen}"),
    )


def refused(small: Small) -> str:
    with pytest.raises(KnowledgeError) as caught:
        small.load()
    return "\n".join(str(problem) for problem in caught.value.problems)


def test_the_first_choice_is_the_usual_one_and_leaves_the_variant_out(tmp_path: Path) -> None:
    """What is written of a relay is forgotten where there is none, also outside the variant."""
    know = fitted(tmp_path).load()
    assert "lamp-relay" not in know.parts and "relay-click" not in know.checks
    assert "lamp/dark-and-relay-silent" not in know.rules
    assert "lamp-supply" in know.wires


def test_a_choice_brings_its_variant_in(tmp_path: Path) -> None:
    """Entries join, one of the same id replaces, `without` takes away; places point into the variant."""
    know = fitted(tmp_path, "options: {lamp: {feed: relay}}\n").load()
    assert {"lamp-relay", "fuse-lamp"} <= set(know.parts) and "lamp-supply" not in know.wires
    assert know.wires["lamp-feed"].from_ == "lamp-relay.87" and know.wires["lamp-feed"].section_mm2 == 2.5
    assert {"lamp/relay-silent", "lamp/dark-and-relay-silent"} <= set(know.rules)
    text = (tmp_path / "circuits" / "lamp.yaml").read_text().splitlines()
    line = know.places_of["relay-click"].line
    assert line is not None and "relay-click" in text[line - 1]


def test_an_override_works_on_what_the_variant_gives(tmp_path: Path) -> None:
    over = "options: {lamp: {feed: relay}}\noverrides: {wires: {lamp-feed: {length-m: 7 m}}}\n"
    wire = fitted(tmp_path, over).load().wires["lamp-feed"]
    assert (wire.from_, wire.length_m) == ("lamp-relay.87", 7.0)


def test_what_the_vehicle_brings_in_stays_though_an_unchosen_variant_has_its_name(tmp_path: Path) -> None:
    """A part added by hand that is called like one of a variant: its wire was silently left out."""
    own = (
        "overrides:\n  parts:\n    lamp-relay: {kind: relay, title: Relay of my own, place: front}\n  wires:\n"
        "    own-wire: {from: lamp-relay.85, to: earth-front.31, colour: brown, section-mm2: 1 mm2, length-m: 1 m}\n"
    )
    knowledge = fitted(tmp_path, own).load()
    assert knowledge.parts["lamp-relay"].title == "Relay of my own"
    assert "own-wire" in knowledge.wires
    assert "coil-feed" not in knowledge.wires


@pytest.mark.parametrize(
    ("chosen", "old", "new", "says"),
    [
        ("options: {lmap: {feed: relay}}\n", "", "", ("small.yaml:", "not fitted", "`lamp`")),
        ("options: {lamp: {fed: relay}}\n", "", "", ("no such option", "Did you mean `feed`?")),
        ("options: {lamp: {feed: rely}}\n", "", "", ("no such choice", "Did you mean `relay`?")),
        ("", "only: {feed: relay}", "only: {fed: relay}", ("lamp.yaml:", "no such option", "Did you mean `feed`?")),
        ("", "only: {feed: relay}", "only: {}", ("`only` has a wrong value", "at least 1")),
        (
            "options: {lamp: {feed: relay}}\n",
            "without: [lamp-supply]",
            "without: [lamp-suply]",
            ("nothing of this id to take away", "Did you mean `lamp-supply`?"),
        ),
    ],
)
def test_a_slip_is_told_with_its_place(tmp_path: Path, chosen: str, old: str, new: str, says: tuple[str, ...]) -> None:
    told = refused(fitted(tmp_path, chosen, VARIANTS.replace(old, new) if old else VARIANTS))
    for words in says:
        assert words in told


def test_two_variants_that_hold_together_may_not_give_one_id(tmp_path: Path) -> None:
    twice = VARIANTS + "  - only: {earth: negative}\n    wires:\n      lamp-feed: {from: key-switch.15, to: "
    twice += "work-lamp.55, colour: red, section-mm2: 1 mm2, length-m: 1 m}\n"
    assert "two variants that hold together" in refused(fitted(tmp_path, "options: {lamp: {feed: relay}}\n", twice))
    fitted(tmp_path / "other", "", twice).load()


@pytest.mark.parametrize(
    ("only", "car", "holds"),
    [
        ("{earth: positive}", "", False),
        ("{earth: [positive, negative]}", "", True),
        ("{system-v: 12}", "", True),
        ("{system-v: [6, 24]}", "", False),
        ("{circuit: lamp}", "", True),
        ("{circuit: horn}", "", False),
        ("{horn.switched: relay}", "", False),
        ("{lamp.feed: key}", "", True),
        ("{feed: key, earth: positive}", "", False),
    ],
)
def test_what_only_may_ask(tmp_path: Path, only: str, car: str, holds: bool) -> None:
    extra = f"  - only: {only}\n    controls: {{extra: [a, b]}}\n"
    assert ("extra" in fitted(tmp_path, car, VARIANTS + extra).load().controls) is holds


def test_two_circuits_must_agree_on_a_control(tmp_path: Path) -> None:
    text = VARIANTS.replace("options:\n", "controls: {ignition: [out, in]}\noptions:\n", 1)
    assert "gives the control `ignition` other positions" in refused(fitted(tmp_path, "", text))


# ---------------------------------------------------------------- other volts, other earth


def at(folder: Path, volts: int, earth: str = "negative") -> Knowledge:
    return write_small(
        folder,
        (CAR, "system-v: 12 V", f"system-v: {volts} V"),
        (CAR, "earth: negative", f"earth: {earth}"),
    ).load()


@pytest.mark.parametrize("volts", [6, 24])
def test_at_other_volts_a_lamp_keeps_its_watts(tmp_path: Path, volts: int) -> None:
    """Twice the current at half the volts (P = U I); wires and fuses follow in sizes that exist."""
    twelve, other = at(tmp_path / "a", 12), at(tmp_path / "b", volts)
    ratio = volts / 12
    lamp, was = other.parts["work-lamp"], twelve.parts["work-lamp"]
    assert (lamp.test_w, lamp.test_v) == (was.test_w, was.test_v * ratio)  # type: ignore[union-attr]
    assert other.parts["fuse-lamp"].rating_a in RATINGS_A["blade"]  # type: ignore[union-attr]
    assert other.parts["fuse-lamp"].rating_a >= 8 / ratio  # type: ignore[union-attr]
    assert other.wires["lamp-feed"].section_mm2 in SECTIONS_MM2
    assert other.wires["lamp-feed"].section_mm2 >= 1.5 / ratio
    assert other.checks["battery-volts"].limits.min == pytest.approx(12.2 * ratio)  # type: ignore[union-attr]
    assert other.rules["shared/low-battery-dims"].when[0].below == pytest.approx(12 * ratio)

    def amps(know: Knowledge) -> float:
        predictor = Predictor(know, [{"ignition": "on"}])
        shown = predictor.healthy({"ignition": "on"})
        return abs(float(shown.branch_a[0, predictor.network.branch("lamp-feed")]))

    assert amps(other) == pytest.approx(amps(twelve) / ratio, rel=0.05)


def test_on_positive_earth_readings_keep_their_sign(tmp_path: Path) -> None:
    """The battery is turned round and so are the probes: limits and rules hold as they are written."""
    know = at(tmp_path, 12, "positive")
    assert know.wires["battery-feed"].from_ == "battery.B-" and know.wires["battery-strap"].from_ == "battery.B+"
    check = know.checks["lamp-volts"]
    assert (check.red, check.black) == ("body", "work-lamp.55")
    assert (know.checks["battery-volts"].red, know.checks["battery-volts"].black) == ("battery.B+", "battery.B-")
    predictor = Predictor(know, [{"ignition": "on"}])
    shown = predictor.healthy({"ignition": "on"})
    lamp_v = float(shown.volts[0, predictor.network.node("work-lamp.55")])
    assert -12.6 < lamp_v < -11.5  # body is plus, so the feed is below it


def test_length_factor_stretches_what_is_not_measured(tmp_path: Path) -> None:
    know = write_small(
        tmp_path,
        (CAR, "circuits: [lamp]\n", "circuits: [lamp]\nlength-factor: 1.5\nassumed: all\n"),
        (CAR, "earth: negative\n", "earth: negative\noverrides: {wires: {lamp-supply: {length-m: 0.9 m}}}\n"),
    ).load()
    assert know.wires["lamp-feed"].length_m == 3.0 and know.wires["lamp-supply"].length_m == 0.9
    assert know.vehicle.assumed == "all"
