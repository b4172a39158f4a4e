"""Packs on the list of this machine: put on, taken off, shown; wheels; vehicles of layers; the real rules.

source of all expectations: common practice, no source
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from diag.cli import main
from diag.errors import KnowledgeError
from diag.fit.questions import Catalogue
from diag.knowledge.folders import local_folder, packs_file
from diag.knowledge.layers import installed_layers
from diag.knowledge.learned import learning
from diag.knowledge.load import default_vehicle, load_knowledge, rules_folder
from diag.learn.tally import learned_from
from diag.learn.written import keep
from diag.reason.engine import default_matcher
from diag.reason.forward import Fact, forward
from diag.talk.opening import open_reasoner, vehicle_file
from tests.knowledge.packs import HORN, VEHICLE, place_in, write_pack

NEW, OLD = "horn/silent-in-the-wet", "horn/silent-and-no-volts-at-fuse"


def run(*arguments: str) -> Result:
    """One call of the command in this process."""
    result = CliRunner().invoke(main, ["rules", "packs", *arguments])
    assert result.exception is None or isinstance(result.exception, SystemExit), repr(result.exception)
    return result


def listed() -> list[str]:
    """Names of the packs that are in use."""
    return [layer.name for layer in installed_layers()[1:]]


@pytest.fixture
def vehicle(tmp_path: Path) -> Path:
    """A vehicle that has a horn and nothing else."""
    path = tmp_path / "horn-only.yaml"
    path.write_text(VEHICLE, encoding="utf-8")
    return path


# ---------------------------------------------------------------- the list


def test_a_pack_goes_on_and_off_the_list(tmp_path: Path) -> None:
    """By two short commands, and its files stay where they are."""
    folder = write_pack(tmp_path / "packs" / "wet one", "wet", horn=HORN)
    assert "wet 1.0" in run("--add", str(folder)).output
    assert listed() == ["wet"]
    again = run("--add", str(folder))
    assert again.exit_code == 2 and "on the list already" in again.output
    assert run("--remove", "wet").exit_code == 0
    assert listed() == [] and folder.is_dir()


def test_what_of_a_pack_your_own_rules_hide_is_told(tmp_path: Path) -> None:
    """Else somebody waits for a rule of it in vain."""
    write_pack(local_folder(), horn=HORN.replace("after rain", "after fog"))
    result = run("--add", str(write_pack(tmp_path / "wet", "wet", horn=HORN)))
    assert result.exit_code == 0
    assert "1 of it does not count" in result.output
    assert f"rules {NEW}: local has its own ({local_folder() / 'circuits' / 'horn.yaml'}:3:" in result.output


def test_what_else_stands_in_the_list_is_kept(tmp_path: Path) -> None:
    """A person's own words in the file are theirs."""
    one, two = write_pack(tmp_path / "one", "one"), write_pack(tmp_path / "two", "two")
    packs_file().write_text(f"# mine\npacks:\n  - {one}  # from the club\n", encoding="utf-8")
    assert run("--add", str(two)).exit_code == 0
    assert packs_file().read_text().startswith(f"# mine\npacks:\n  - {one}  # from the club\n")
    assert run("--remove", "two").exit_code == 0
    assert packs_file().read_text() == f"# mine\npacks:\n  - {one}  # from the club\n"
    assert run("--remove", str(one)).exit_code == 0 and listed() == []


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (HORN.replace("horn-sound", "horn-sond"), "Did you mean `horn-sound`?"),
        (HORN.replace("weight: 2", "weight: heavy"), "`weight` has a wrong value"),
        (HORN.replace("earth-column.open", "wrong column"), "`points-to` has a wrong value"),
        (HORN.replace("state: draft", "state: good"), "`state` has a wrong value"),
    ],
)
def test_a_pack_that_does_not_load_stays_off(tmp_path: Path, text: str, told: str) -> None:
    """The list is as it was, and the message names the line."""
    folder = write_pack(tmp_path / "wet", "wet", horn=text)
    result = run("--add", str(folder))
    assert result.exit_code == 2 and told in result.output and "Nothing was changed." in result.output
    assert f"{folder / 'circuits' / 'horn.yaml'}:" in result.output
    assert not packs_file().exists()


@pytest.mark.parametrize(
    ("name", "told"),
    [
        ("cirquits/horn.yaml", "Did you mean `circuits`?"),
        ("circuits/horn.yml", "`horn.yaml`"),
        ("kind.yaml", "Did you mean `kinds.yaml`?"),
        ("circuits/more/horn.yaml", "the file in `circuits` itself"),
    ],
)
def test_a_file_that_nothing_reads_is_told(tmp_path: Path, name: str, told: str) -> None:
    """A rule in a file of a wrong name would never fire, and nobody would miss it."""
    folder = write_pack(tmp_path / "wet", "wet")
    (folder / name).parent.mkdir(parents=True, exist_ok=True)
    (folder / name).write_text(HORN)
    result = run("--add", str(folder))
    assert result.exit_code == 2 and told in result.output


def test_a_vehicle_of_a_pack_must_load(tmp_path: Path) -> None:
    """It is part of what the pack promises."""
    folder = write_pack(tmp_path / "wet", "wet", vehicles__mine=VEHICLE.replace("[horn]", "[hron]"))
    result = run("--add", str(folder))
    assert result.exit_code == 2 and "mine.yaml:6:12" in result.output and "Did you mean `horn`?" in result.output


def test_a_replaced_rule_that_others_rest_on(tmp_path: Path) -> None:
    """The person wrote one rule; the message must be of that one, not of those that miss its conclusion."""
    text = HORN.replace(NEW, "horn/silent-though-fused")
    folder = write_pack(tmp_path / "wet", "wet", horn=text)
    result = run("--add", str(folder))
    place = place_in(folder / "circuits" / "horn.yaml", "horn/silent-though-fused")
    assert f"{place}: the rule that stands here" in result.output and "establish: horn-fed-at-fuse" in result.output


def test_a_pack_that_others_are_laid_over_stays(tmp_path: Path) -> None:
    """Taking it off would break the other."""
    for name, after in (("low", ""), ("top", "low")):
        assert run("--add", str(write_pack(tmp_path / name, name, after))).exit_code == 0
    result = run("--remove", "low")
    assert result.exit_code == 2 and "top/pack.yaml:5:" in result.output and listed() == ["low", "top"]
    assert run("--remove", "top").exit_code == 0 and run("--remove", "low").exit_code == 0


def test_a_pack_whose_folder_is_gone_can_be_taken_off(tmp_path: Path) -> None:
    """A stick that will not come back must not stand in the way for ever."""
    folder = write_pack(tmp_path / "stick", "wet")
    run("--add", str(folder))
    (folder / "pack.yaml").unlink()
    folder.rmdir()
    with pytest.raises(KnowledgeError, match="--remove stick"):
        installed_layers()
    assert run("--remove", "stick").exit_code == 0 and listed() == []


@pytest.mark.parametrize(("name", "told"), [("wett", "Did you mean `wet`?"), ("local", "folder of your own rules")])
def test_what_is_not_on_the_list_cannot_be_taken_off(tmp_path: Path, name: str, told: str) -> None:
    """And the message says what is there, or what to do instead."""
    run("--add", str(write_pack(tmp_path / "wet", "wet")))
    write_pack(local_folder())
    result = run("--remove", name)
    assert result.exit_code == 2 and told in result.output and listed() == ["wet", "local"]


# ---------------------------------------------------------------- what is shown


def test_the_layers_are_shown_in_order_with_what_they_replace(tmp_path: Path) -> None:
    """So that whoever wonders why the book says otherwise finds it in one look; no line wider than the screen."""
    run("--add", str(write_pack(tmp_path / "wet", "wet", horn=HORN, vehicles__mine=VEHICLE)))
    write_pack(local_folder(), horn=HORN.replace("weight: 2", "weight: 3"))
    told = json.loads(run("--format", "json").output)
    assert [one["name"] for one in told] == ["shipped", "wet", "local"]
    assert [one["origin"] for one in told] == ["shipped", "folder", "local"]
    shipped, wet, own = told
    assert shipped["rules"] > 600 and "horn" in shipped["circuits"] and "demo-van.yaml" in shipped["vehicles"]
    assert (wet["rules"], wet["adds-to"], wet["vehicles"], wet["replaced"]) == (1, ["horn"], ["mine.yaml"], [])
    assert [(each["id"], each["of"]) for each in own["replaced"]] == [(NEW, "wet")]
    assert {len(one["hash"]) for one in told} == {16}
    result = CliRunner().invoke(main, ["rules", "packs"], env={"COLUMNS": "40"})
    assert f"rules {NEW} of wet" in " ".join(result.output.split())
    assert all(len(line) <= 40 or " " not in line.strip() for line in result.output.splitlines())


def test_a_broken_layer_is_shown_and_told(tmp_path: Path) -> None:
    """The list is where one looks when something is wrong; it must not fail at that moment."""
    run("--add", str(write_pack(tmp_path / "wet", "wet", horn=HORN)))
    write_pack(local_folder(), horn="circuit: horn\nrulse: []\n")
    result = run()
    assert result.exit_code == 2 and "wet 1.0" in result.output
    assert "Did you mean `rules`?" in result.output and "--without-packs" in result.output


# ---------------------------------------------------------------- wheels


def write_wheel(folder: Path, package: str, pack: Path) -> Path:
    """A wheel with a pack's files in a package and the entry point that names it; made as the standard says
    (binary distribution format, packaging.python.org)."""
    path = folder / f"{package}-1.0-py3-none-any.whl"
    info = f"{package}-1.0.dist-info"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr(f"{package}/__init__.py", "raise RuntimeError('a pack is data: its code must not run')\n")
        for file in sorted(pack.rglob("*.yaml")):
            archive.write(file, f"{package}/{file.relative_to(pack).as_posix()}")
        archive.writestr(f"{info}/METADATA", f"Metadata-Version: 2.1\nName: {package}\nVersion: 1.0\n")
        archive.writestr(f"{info}/WHEEL", "Wheel-Version: 1.0\nRoot-Is-Purelib: true\nTag: py3-none-any\n")
        archive.writestr(f"{info}/entry_points.txt", f"[diag.rule_packs]\nwet = {package}\n")
        archive.writestr(f"{info}/RECORD", "")
    return path


def test_a_pack_from_a_wheel(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Installed like any package, found without a list, below the folders; none of its code runs."""
    wheel = write_wheel(tmp_path, "wet_rules", write_pack(tmp_path / "made", "wet", horn=HORN))
    site = tmp_path / "site"
    command = [sys.executable, "-m", "pip", "install", "--no-index", "--no-deps", "-q", "--target", str(site)]
    done = subprocess.run([*command, str(wheel)], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    monkeypatch.syspath_prepend(str(site))
    run("--add", str(write_pack(tmp_path / "dry", "dry")))
    layers = installed_layers()
    assert [(layer.name, layer.origin) for layer in layers[1:]] == [("wet", "wheel"), ("dry", "folder")]
    assert layers[1].folder == site / "wet_rules"
    result = run("--remove", "wet")
    assert result.exit_code == 2 and "Uninstall the wheel" in result.output


def test_a_wheel_that_names_no_package(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The wheel's maker must hear which entry point is wrong."""
    info = tmp_path / "bad_rules-1.0.dist-info"
    info.mkdir()
    (info / "METADATA").write_text("Metadata-Version: 2.1\nName: bad-rules\nVersion: 1.0\n")
    (info / "entry_points.txt").write_text("[diag.rule_packs]\nwet = no_such_package\n")
    monkeypatch.syspath_prepend(str(tmp_path))
    with pytest.raises(KnowledgeError, match="bad-rules: entry point wet.*no_such_package"):
        installed_layers()


# ---------------------------------------------------------------- vehicles, real rules


def test_vehicles_of_layers_are_found_by_name(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """As the shipped ones are; a file here comes first, and two packs of one name are told apart."""
    monkeypatch.chdir(tmp_path)
    one = write_pack(tmp_path / "one", "one", vehicles__mine=VEHICLE)
    run("--add", str(one))
    assert vehicle_file("mine.yaml") == one / "vehicles" / "mine.yaml"
    assert vehicle_file("mine.yaml", packs=False) == Path("mine.yaml")
    assert vehicle_file("demo-van.yaml") == default_vehicle().parent / "demo-van.yaml"
    two = write_pack(tmp_path / "two", "two", vehicles__mine=VEHICLE)
    packs_file().write_text(f"packs: [{one}, {two}]\n")
    with pytest.raises(KnowledgeError, match=r"`one` and `two` both have a vehicle.*after: \[one\]"):
        vehicle_file("mine.yaml")
    own = write_pack(local_folder(), vehicles__mine=VEHICLE)
    assert vehicle_file("mine.yaml") == own / "vehicles" / "mine.yaml"
    Path("mine.yaml").write_text(VEHICLE)
    assert vehicle_file("mine.yaml") == Path("mine.yaml")


def test_a_pack_over_the_real_rules(tmp_path: Path, vehicle: Path) -> None:
    """A rule added to the horn fires beside the shipped ones, one replaced says what the pack says, the rest is
    as it was."""
    before = load_knowledge(vehicle)
    text = HORN + HORN.split("rules:\n")[1].replace(NEW, OLD).replace("after rain", "and no volts")
    for effect in before.rules[OLD].then:
        if effect.establish:
            text = text.replace(
                "weight: 2}\n    because", f"weight: 2}}\n      - {{establish: {effect.establish}}}\n    because"
            )
    assert run("--add", str(write_pack(tmp_path / "wet", "wet", horn=text))).exit_code == 0
    after = load_knowledge(vehicle)
    assert set(after.rules) == {*before.rules, NEW}
    changed = {name for name in before.rules if before.rules[name] != after.rules[name]}
    assert changed == {OLD} and [each.id for each in after.replaced] == [OLD]
    assert after.places_of[OLD].file.startswith(str(tmp_path)) and after.layer_of[OLD] == "wet"
    assert after.parts == before.parts and after.content_hash != before.content_hash
    horn = {"horn": [rule for name, rule in after.rules.items() if after.circuit_of[name] == "horn"]}
    fired = {each.rule_id for each in forward(horn, [Fact("horn-sound", word="none")], default_matcher()).firings}
    assert {NEW, OLD} <= fired


def test_rules_of_a_pack_that_no_engine_could_carry(tmp_path: Path, vehicle: Path) -> None:
    """The engine hangs beyond its limits: they are told when the job is opened, with the line."""
    tests = "\n".join(HORN.split("rules:\n")[1].replace(NEW, f"horn/more-{n}").rstrip() for n in range(251))
    folder = write_pack(local_folder(), horn=f"circuit: horn\nrules:\n{tests}\n")
    with pytest.raises(KnowledgeError) as caught:
        open_reasoner(vehicle, frozenset({"wiring"}))
    assert "share the test" in str(caught.value) and str(folder) in caught.value.problems[0].place.file
    assert caught.value.problems[0].place.line > 1 and "--without-packs" in str(caught.value)


def test_the_environment_leaves_packs_out_of_the_list(tmp_path: Path) -> None:
    """In a process of its own, as it is used."""
    run("--add", str(write_pack(tmp_path / "wet", "wet")))
    done = subprocess.run(
        [sys.executable, "-m", "diag", "rules", "packs"],
        capture_output=True,
        text=True,
        env={**os.environ, "DIAG_PACKS": "none"},
        cwd=rules_folder().parent,
        check=False,
    )
    assert done.returncode == 0 and "wet" not in done.stdout and "left out" in done.stdout


def test_a_pack_may_not_give_a_rule_that_the_schema_refuses(tmp_path: Path) -> None:
    """Rules of packs pass the same gate as shipped ones: at most twelve conditions."""
    condition = "      - {check: horn-sound, is: none}\n"
    folder = write_pack(tmp_path / "wet", "wet", horn=HORN.replace(condition, condition * 13))
    result = run("--add", str(folder))
    assert result.exit_code == 2 and "at most 12 entries" in result.output


def test_a_circuit_of_a_layer_is_offered_when_a_vehicle_is_described() -> None:
    """A circuit that one cannot fit to a vehicle would be of no use."""
    write_pack(local_folder(), bell="circuit: bell\ntitle: Bell of ours\n", horn=HORN.replace(NEW, "horn/other"))
    catalogue = Catalogue.read()
    assert catalogue.circuits["bell"].title == "Bell of ours"
    assert catalogue.circuits["horn"].options.keys() == Catalogue.read(rules_folder()).circuits["horn"].options.keys()


def test_a_vehicle_of_a_pack_is_not_altered_in_place(tmp_path: Path) -> None:
    """The next release of the pack would take the alteration away again; one's own folder is one's own."""
    vehicles = write_pack(tmp_path / "one", "one", vehicles__mine=VEHICLE) / "vehicles"
    assert run("--add", str(tmp_path / "one")).exit_code == 0
    result = CliRunner().invoke(main, ["vehicle", "alter", "mine.yaml", "horn-relay"])
    assert result.exit_code == 2 and "of the rule pack `one`" in result.output
    assert (vehicles / "mine.yaml").read_text() == VEHICLE


def test_what_was_learned_is_in_the_list() -> None:
    """It moves what is believed, so it is shown, though it has no entries of its own."""
    keep(learned_from([], learning(), "2026-11-29"))
    result = run()
    assert result.exit_code == 0 and "from closed jobs" in result.output
    assert json.loads(run("--format", "json").output)[-1]["origin"] == "learned"


def test_your_own_folder_needs_no_list(tmp_path: Path) -> None:
    """It counts already; and a folder without pack.yaml is no pack, which the message says."""
    own = write_pack(local_folder(), horn=HORN)
    result = run("--add", str(own))
    assert result.exit_code == 2 and "counts without a list" in result.output
    result = run("--add", str(write_pack(tmp_path / "bare", horn=HORN)))
    assert result.exit_code == 2 and "bare/pack.yaml:1:1: a rule pack says in pack.yaml" in result.output


def test_a_path_in_the_list_may_be_relative_to_it(tmp_path: Path) -> None:
    """A stick with packs and list together goes from machine to machine."""
    write_pack(packs_file().parent / "sticks" / "wet", "wet", horn=HORN)
    packs_file().write_text("packs:\n  - sticks/wet\n")
    assert installed_layers()[1].folder == (packs_file().parent / "sticks" / "wet").resolve()
    assert run("--remove", "wet").exit_code == 0


def test_wheels_come_by_the_name_of_their_pack(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """In which order they were installed is nobody's wish."""
    for package, pack in (("a_rules", "zinc"), ("b_rules", "amber")):
        write_pack(tmp_path / package, pack)
        info = tmp_path / f"{package}-1.0.dist-info"
        info.mkdir()
        (info / "METADATA").write_text(f"Metadata-Version: 2.1\nName: {package}\nVersion: 1.0\n")
        (info / "entry_points.txt").write_text(f"[diag.rule_packs]\n{pack} = {package}\n")
    monkeypatch.syspath_prepend(str(tmp_path))
    assert listed() == ["amber", "zinc"]


def test_nothing_goes_on_the_list_while_another_pack_is_broken(tmp_path: Path) -> None:
    """Whether the new one loads beside it cannot be known."""
    broken = write_pack(tmp_path / "one", "one")
    run("--add", str(broken))
    (broken / "pack.yaml").write_text("pack: one\n")
    result = run("--add", str(write_pack(tmp_path / "two", "two")))
    assert result.exit_code == 2 and "one/pack.yaml" in result.output and "Nothing was changed." in result.output
    assert "two" not in packs_file().read_text()


def test_a_pack_can_be_taken_off_while_another_is_broken(tmp_path: Path) -> None:
    """What was wrong before is not made worse by it."""
    one, two = write_pack(tmp_path / "one", "one"), write_pack(tmp_path / "two", "two")
    for folder in (one, two):
        run("--add", str(folder))
    (one / "pack.yaml").write_text("pack: one\n")
    assert run("--remove", "two").exit_code == 0
    assert str(one) in packs_file().read_text() and str(two) not in packs_file().read_text()


def test_what_spans_circuits_is_tried_on_every_vehicle(tmp_path: Path) -> None:
    """A shared rule that speaks of a check which no vehicle has would break every job."""
    text = (
        HORN.replace("circuit: horn", "circuit: shared").replace(NEW, "shared/wet").replace("horn-sound", "horn-sond")
    )
    folder = write_pack(tmp_path / "wet", "wet", shared=text)
    result = run("--add", str(folder))
    assert result.exit_code == 2 and f"{folder / 'shared.yaml'}:6:" in result.output and "`horn-sond`" in result.output
