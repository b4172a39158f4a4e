"""Half-splitting a feed as the whole program does it: conversation, reasoner, network and choice, from complaint to
conclusion.

Probing the middle of the suspect stretch: R. Miller, J. Folley, P. Smith, Systematic trouble shooting and the
half-split technique, 1953 (from memory). Probes of a chain of N equal segments: k + 2(N - 2^k)/N on average with
k = floor(log2 N), ceil(log2 N) at worst (D. Knuth, The Art of Computer Programming, volume 3, section 6.2.1, from
memory). The chain of unequal segments is an own instance; its figures come from dynamic programming.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path

import pytest

from diag.reason.reasoner import Reasoner
from diag.talk.conversation import Conversation
from diag.talk.opening import Rehearsed, reasoner_of
from diag.talk.rehearsal import SimulatedFitter
from tests.knowledge.small import write_small

_NO = 'source: "common practice, no source"'
_KINDS = f"""\
kinds:
  wire:
    open: {{title: is off, frequency: 20, rewired: 20, remedy: reconnect, {_NO}}}
  lamp:
    open: {{title: is burnt out, frequency: 0.01, rewired: 0.01, remedy: renew, {_NO}}}
remedies:
  reconnect: {{title: "Put {{part}} back on", steps: [push the terminal home]}}
  renew: {{title: "Renew {{part}}", steps: [fit a new one]}}
outside-chance: 0.001
"""
_LAMP = """\
circuit: lamp
title: Work lamp
parts:
  work-lamp: {{kind: lamp, title: Work lamp, place: front, terminals: ["55", "31"], test-w: 25 W}}
{joints}
earths:
  earth-front: {{title: Earth at the front, place: front}}
wires:
{wires}
  lamp-earth: {{from: work-lamp.31, to: earth-front.31, colour: brown, section-mm2: 1.5 mm2, length-m: 0.3 m}}
checks:
  - {{id: lamp-on, title: Work lamp with the key on, kind: look, operate: {{ignition: "on"}}, target: work-lamp,
     place: front, usual: {{normal/steady: 0.5, dim: 0.2, dark: 0.3}}}}
symptoms:
  - {{id: lamp-dead, title: The work lamp does not light, phrases: [no light],
     shows: [[{{check: lamp-on, light: dark}}]]}}
causes:
{causes}
"""


def _chain(folder: Path, weights: Sequence[float], hard_to_reach: int | None = None) -> Reasoner:
    """A lamp fed through as many wires as there are weights, joint by joint; what else could be wrong is next to
    impossible. `hard_to_reach`: number of a joint that takes six minutes more to get at."""
    count = len(weights)
    small = write_small(folder)
    nodes = ["key-switch.15", *(f"j{i}" for i in range(1, count)), "work-lamp.55"]
    ends = [
        (a if "." in a else f"{a}.out", b if "." in b else f"{b}.in") for a, b in zip(nodes, nodes[1:], strict=False)
    ]
    wires = [
        f"  chain-{i}: {{from: {a}, to: {b}, colour: green, section-mm2: 1.5 mm2, length-m: 1 m}}"
        for i, (a, b) in enumerate(ends, start=1)
    ]
    joints = [
        f"  j{i}: {{kind: joint, title: Joint {i}, place: front, terminals: [in, out]"
        + (", reach: 6 min" if i == hard_to_reach else "")
        + "}"
        for i in range(1, count)
    ]
    chances = {f"chain-{i}": weight for i, weight in enumerate(weights, start=1)}
    chances |= dict.fromkeys(("battery-strap", "battery-feed", "lamp-earth"), 1e-3)
    causes = [f"  - {{id: {wire}.open, frequency: {share:g}, {_NO}}}" for wire, share in chances.items()]
    texts = {
        "kinds.yaml": _KINDS,
        "shared.yaml": "circuit: shared\ntitle: What spans circuits\n",
        "circuits/lamp.yaml": _LAMP.format(wires="\n".join(wires), joints="\n".join(joints), causes="\n".join(causes)),
    }
    for name, text in texts.items():
        (small.rules / name).write_text(text, encoding="utf-8")
    return reasoner_of(small.load())


def _probed(reasoner: Reasoner, broken: int) -> list[int]:
    """Joints that the program has probed, in order, until it concludes; it must name the broken wire."""
    conversation = Conversation(reasoner, Rehearsed.opened(reasoner, ("meter", "test-lamp")), "a job")
    fitter = SimulatedFitter(reasoner, [f"chain-{broken}.open"])
    conversation.say()
    start = conversation.open_ask
    assert start is not None
    conversation.take({"answer": start["id"], "value": "lamp-dead"})
    joints = []
    for _ in range(20):
        said = conversation.say()
        ask = conversation.open_ask
        if ask is None:
            (end,) = [one for one in said if one["type"] == "conclude"]
            (cause,) = [one["id"] for one in end["remedies"][0]["causes"]]
            assert cause == f"chain-{broken}.open"
            return joints
        (joint,) = re.findall(r"\bj(\d+)\.", ask["check"])
        joints.append(int(joint))
        assert conversation.take(fitter.answer(ask))["type"] == "tell"
    raise AssertionError("never sure")


@pytest.mark.parametrize(("count", "mean", "worst"), [(3, 5 / 3, 2), (5, 2.4, 3), (8, 3.0, 3)])
def test_the_program_half_splits_a_feed(count: int, mean: float, worst: int, tmp_path: Path) -> None:
    """From complaint to conclusion with each of the wires off in turn: no probe more than the theory says."""
    reasoner = _chain(tmp_path, [1.0] * count)
    probed = [_probed(reasoner, broken) for broken in range(1, count + 1)]
    assert {tuple(joints[:1]) for joints in probed} <= {(count // 2,), ((count + 1) // 2,)}
    assert len({tuple(joints[:1]) for joints in probed}) == 1, "the first probe is the same whatever is broken"
    assert max(map(len, probed)) == worst
    assert sum(map(len, probed)) / count == pytest.approx(mean)


def test_the_program_cuts_an_unequal_feed_by_chances(tmp_path: Path) -> None:
    """By count 3.0 probes, at the midpoint of the chances 2.7, best 2.6, end to end 3.8."""
    weights = [0.40, 0.05, 0.05, 0.05, 0.05, 0.10, 0.10, 0.20]
    reasoner = _chain(tmp_path, [100 * weight for weight in weights])
    probed = [_probed(reasoner, broken) for broken in range(1, 9)]
    assert 2.6 - 1e-9 <= sum(w * len(joints) for w, joints in zip(weights, probed, strict=True)) <= 2.7 + 1e-9
    assert len(probed[0]) < 3 and len(probed[7]) < 4, "what is likely is found sooner than by count"


def test_the_program_goes_around_a_joint_that_is_hard_to_reach(tmp_path: Path) -> None:
    """Eight equal segments, six minutes more for the middle: it is probed first where it is as easy, not where it is
    hard, and the wires beside it are still told apart."""
    easy, hard = _chain(tmp_path / "easy", [1.0] * 8), _chain(tmp_path / "hard", [1.0] * 8, 4)
    assert _probed(easy, 1)[0] == 4
    for broken in range(1, 9):
        found = _probed(hard, broken)
        assert found[0] in (3, 5)
        assert (4 in found) <= (broken in (4, 5)), found
