"""The examples of DEVELOPERS.md are written out as packs, loaded, and do what the text beside them says."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from click.testing import CliRunner

from diag.circuit.doubts import cause_problems
from diag.circuit.faults import derive_causes
from diag.circuit.parts import build_network
from diag.cli import main
from diag.knowledge.folders import packs_file
from diag.knowledge.layers import base_layer, installed_layers
from diag.knowledge.lint import warnings
from diag.knowledge.load import load_knowledge
from diag.reason.reasoner import Reasoner
from diag.reason.steps import Finding
from diag.talk.rehearsal import SimulatedFitter
from tests.extending.added import layer_of, play, reasoner_of
from tests.stages.whole import fresh
from tests.stages.whole import play as whole_job

GUIDE = Path(__file__).parents[2] / "DEVELOPERS.md"
_EXAMPLE = re.compile(r"<!-- example: (?P<file>[\w./-]+) -->\n```yaml\n(?P<text>.*?)```\n", re.DOTALL)
SECTIONS = {"Write a rule": 2, "Write a circuit or a vehicle": 3, "Write a kind of part": 4}
"""Headings of the guide and how many files each gives."""
_HORN = "vehicle: my-van\ntitle: Van\nsystem-v: 12 V\nearth: negative\nhistory: rewired\ncircuits: [horn]\n"


def _sections() -> dict[str, str]:
    parts = re.split(r"^## (.+)\n", GUIDE.read_text(encoding="utf-8"), flags=re.MULTILINE)
    return dict(zip(parts[1::2], parts[2::2], strict=True))


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder with every example in its file."""
    folder = tmp_path_factory.mktemp("guide")
    for found in _EXAMPLE.finditer(GUIDE.read_text(encoding="utf-8")):
        path = folder / found["file"]
        path.parent.mkdir(parents=True, exist_ok=True)
        assert not path.exists(), f"{found['file']} is given twice"
        path.write_text(found["text"], encoding="utf-8")
    return folder


def _open(folder: Path, pack: str, vehicle: Path) -> Reasoner:
    """With this pack on the list, as a user has it; nothing of it is a slip."""
    packs_file().parent.mkdir(parents=True, exist_ok=True)
    packs_file().write_text(f"packs: ['{folder / pack}']\n", encoding="utf-8")
    layers = installed_layers()
    assert [layer.name for layer in layers] == ["shipped", pack]
    reasoner = reasoner_of(vehicle, layers)
    slips = [slip for slip in warnings(reasoner.knowledge) if str(folder) in slip.place.file]
    assert slips == []
    return reasoner


def _run(*words: str) -> str:
    found = CliRunner().invoke(main, list(words))
    assert found.exit_code == 0, found.output
    return found.output


def test_every_section_has_its_examples() -> None:
    """An example whose mark is lost would no longer be tried."""
    found = {name: len(_EXAMPLE.findall(text)) for name, text in _sections().items() if _EXAMPLE.search(text)}
    assert found == SECTIONS


def test_the_rule_fires_and_its_cause_is_found(written: Path) -> None:
    """Silent with the bonnet shut: found with the pack, with the bonnet open; without it, never."""
    vehicle = written / "my-van.yaml"
    vehicle.write_text(_HORN, encoding="utf-8")
    reasoner = _open(written, "trapped-wire", vehicle)
    silent = Finding(1, reasoner.steps["horn-sound"], "none", 0)
    loud = Finding(2, reasoner.steps["horn-bonnet-open"], "sound", 0)
    assert "horn/sounds-with-the-bonnet-open" in {fired.rule_id for fired in reasoner.fired([silent, loud]).firings}
    assert "horn/sounds-with-the-bonnet-open" not in {fired.rule_id for fired in reasoner.fired([silent]).firings}
    (first, p), (_, next_p) = reasoner.beliefs([silent, loud]).ranking[:2]
    assert first == "horn-feed-clear-of-bonnet" and p > 2 * next_p
    job = play("horn-feed.trapped-by-bonnet", reasoner, reasoner)
    assert job.cured and job.remedies == ["horn-feed-clear-of-bonnet"] and "horn-bonnet-open" in job.asked
    before = reasoner_of(vehicle, (base_layer(),))
    assert not play("horn-feed.trapped-by-bonnet", reasoner, before, "horn-silent", most=20).cured


@pytest.mark.parametrize(
    ("circuit", "like"),
    [("oil-warning", "oil-lamp.wrong-wattage"), ("horn", "fuse-horn.too-small"), ("gauges", "fuel-sender.wrong-range")],
)
def test_what_is_said_of_factors_holds(tmp_path: Path, circuit: str, like: str) -> None:
    """The faults that the guide names as those with a `factor` are there to be like."""
    part, _, mode = like.partition(".")
    assert f".{mode}`" in _sections()["Write a rule"]
    vehicle, pack = tmp_path / "values.yaml", tmp_path / "values"
    vehicle.write_text(_HORN.replace("[horn]", f"[{circuit}]"), encoding="utf-8")
    (pack / "circuits").mkdir(parents=True)
    (pack / "circuits" / f"{circuit}.yaml").write_text(
        f"circuit: {circuit}\ncauses:\n  - {{id: {part}.odd, title: Odd, frequency: 1, like: {like}, factor: 0.7, "
        "remedy: renew, source: none}\n",
        encoding="utf-8",
    )
    knowledge = load_knowledge(vehicle, None, (base_layer(), layer_of(pack)))
    network = build_network(knowledge)
    causes = {cause.id: cause for cause in derive_causes(knowledge, network)}
    assert cause_problems(knowledge, network, causes) == []
    assert causes[f"{part}.odd"].change is not None


def test_the_circuit_is_computed_asked_and_proved(written: Path) -> None:
    """Every check is computed and asked on a sound vehicle; each visible fault of a wire or part is cured."""
    vehicle = written / "bed-lamp" / "vehicles" / "my-tipper.yaml"
    reasoner = _open(written, "bed-lamp", vehicle)
    assert reasoner.knowledge.wires["bed-wire"].length_m == 6.5
    checks = [check for check, circuit in reasoner.knowledge.circuit_of.items() if circuit == "bed-lamp"
              and check in reasoner.knowledge.checks]  # fmt: skip
    assert checks == ["bed-on", "bed-off", "bed-55-volts"]
    assert all(reasoner.chances.computed(reasoner.steps[check]) for check in checks)
    sound = play(None, reasoner, reasoner, "circuit:bed-lamp")
    assert sound.remedies == [] and sound.left == [] and {"bed-on", "bed-off"} <= set(sound.asked)
    whole = list(whole_job(fresh(reasoner), SimulatedFitter(reasoner, [])))
    assert whole[-1][0]["open"] == [] and not any("remedied" in message for _, message in whole)
    for cause in ("bed-wire.open", "fuse-bed.blown", "earth-bed.resistive", "bed-lamp.open"):
        assert play(cause, reasoner, reasoner).cured, cause
    assert "Lamp over the load bed" in _run("vehicle", "show", str(vehicle), "--operate", "bed-lamp-switch=on")
    assert "nothing wrong" in _run("vehicle", "check", str(vehicle))
    demo = CliRunner().invoke(main, ["demo", "--fault", "bed-wire.open"], env={"DIAG_VEHICLE": vehicle.name})
    assert demo.exit_code == 0 and "The fault is cured" in demo.output, demo.output


def test_the_sort_of_part_fails_in_its_own_ways(written: Path) -> None:
    """Added, replaced and taken away, with the frequencies of its file; each of them is found."""
    vehicle = written / "fuel-pump" / "vehicles" / "my-tourer.yaml"
    reasoner = _open(written, "fuel-pump", vehicle)
    pump = {cause.id: cause for cause in reasoner.causes if cause.subject == "fuel-pump"}
    assert pump.keys() == {"fuel-pump.points-burnt", "fuel-pump.seized"}
    assert pump["fuel-pump.points-burnt"].frequency == 9.0
    assert pump["fuel-pump.seized"].title == "Fuel pump: pump stuck with old fuel"
    for cause in pump:
        job = play(cause, reasoner, reasoner)
        assert job.cured and job.remedies == ["fuel-pump.overhaul"], cause
