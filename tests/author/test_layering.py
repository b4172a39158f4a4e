"""The folder of one's own: nothing half written, nothing lost, nobody's change overwritten.

source of all expectations: common practice, no source
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from diag.author import layering
from diag.author.draft import Draft
from diag.author.layering import Planned, planned, put, taken_ids, trial
from diag.author.narrowed import narrowed
from diag.author.skeleton import BLANK, skeleton
from diag.errors import DiagError, KnowledgeError
from diag.knowledge.layers import installed_layers, local_folder
from diag.knowledge.load import load_knowledge
from tests.author.jobs import small_vehicle
from tests.reasoners import file_of

RULE = {
    "id": "horn/added",
    "title": "Added",
    "when": [{"check": "horn-sound", "is": "none"}],
    "then": [{"points-to": "horn.open", "weight": 2}],
    "because": "So",
    "source": "common practice, no source",
    "state": "draft",
}


def draft(**changed: object) -> Draft:
    """An addition of one rule to the horn."""
    return Draft("horn", "horn.open", "Added", "horn-renew", "horn/added", {"rules": [{**RULE, **changed}]})


def tree(folder: Path) -> dict[str, bytes]:
    """Every file but locks."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file() and path.name != ".lock"
    }


def test_a_mistake_is_told_with_the_real_path_and_nothing_is_written(tmp_path: Path) -> None:
    """The trial happens elsewhere, but the person knows only the folder of their own."""
    vehicle = small_vehicle(tmp_path, "horn")
    plan = planned(local_folder(), draft(when=[{"check": "horn-sond", "is": "none"}]), "added", {})
    with pytest.raises(KnowledgeError) as raised, trial(plan, installed_layers()) as layers:
        load_knowledge(vehicle, layers=layers)
    (problem,) = raised.value.problems
    assert problem.place.file == str(local_folder() / "circuits" / "horn.yaml") and problem.place.line > 3
    assert "horn-sound" in problem.mend
    assert not local_folder().exists()


@pytest.mark.parametrize("there", [True, False])
def test_a_full_disk_leaves_everything_as_it_was(monkeypatch: pytest.MonkeyPatch, there: bool) -> None:
    """Whatever step fails: new files go again, the file of the circuit and its earlier copies stay."""
    folder = local_folder()
    (folder / "circuits").mkdir(parents=True)
    if there:
        (folder / "circuits" / "horn.yaml").write_text("circuit: horn\n", encoding="utf-8")
    before = tree(folder)
    steps = ("put_new", "replaced") if there else ("put_new",)
    for step in steps:
        for fail_at in range(1, 4):
            left = [fail_at]
            real = getattr(layering, step)

            def failing(path: Path, content: bytes, mode: int | None = None, real=real, left=left) -> None:  # type: ignore[no-untyped-def]
                left[0] -= 1
                if left[0] == 0:
                    raise OSError(28, "No space left on device", str(path))
                real(path, content, mode)

            with monkeypatch.context() as patched:
                patched.setattr(layering, step, failing)
                plan = planned(folder, draft(), "added", {"jobs/a.jsonl": b"1", "jobs/b.jsonl": b"2"})
                if step == "replaced" and fail_at > 1:
                    continue  # it is called once
                with pytest.raises(OSError, match="No space"):
                    put(plan)
            assert tree(folder) == before, (step, fail_at)
    put(planned(folder, draft(), "added", {"jobs/a.jsonl": b"1"}))
    assert set(tree(folder)) == {*before, "circuits/horn.yaml", "jobs/a.jsonl"} | (
        {"earlier/horn-1.yaml"} if there else set()
    )


def test_a_file_that_changed_in_the_meantime_is_not_overwritten() -> None:
    """An editor saved it while the questions were answered."""
    folder = local_folder()
    plan = planned(folder, draft(), "added", {})
    (folder / "circuits").mkdir(parents=True)
    file = folder / "circuits" / "horn.yaml"
    file.write_text("circuit: horn\n", encoding="utf-8")
    with pytest.raises(DiagError, match="changed in the meantime"):
        put(plan)
    assert tree(folder) == {"circuits/horn.yaml": b"circuit: horn\n"}


def test_a_recorded_job_is_never_overwritten() -> None:
    """Two additions may want one name for their job."""
    folder = local_folder()
    (folder / "jobs").mkdir(parents=True)
    (folder / "jobs" / "a.jsonl").write_bytes(b"old")
    with pytest.raises(DiagError, match="by now"):
        put(Planned(folder, folder / "circuits" / "horn.yaml", None, b"circuit: horn\n", {"jobs/a.jsonl": b"new"}))
    assert tree(folder) == {"jobs/a.jsonl": b"old"}


def test_files_that_are_written_are_nobody_elses_business() -> None:
    """Jobs are private."""
    put(planned(local_folder(), draft(), "added", {"jobs/a.jsonl": b"1"}))
    assert (local_folder() / "jobs" / "a.jsonl").stat().st_mode & 0o077 == 0 or os.name == "nt"


def test_ids_of_every_layer_variant_and_state_are_taken(tmp_path: Path) -> None:
    """Shipped, retired, of a variant that the vehicle at hand does not have."""
    fitted = load_knowledge(small_vehicle(tmp_path, "horn", "headlamps", "gauges"))
    assert set(fitted.circuit_of) <= taken_ids(installed_layers())
    put(planned(local_folder(), draft(state="retired"), "added", {}))
    taken = taken_ids(installed_layers())
    assert {"horn/added", "horn/silent-though-fused", "horn/relay-chatters", "horn-renew", "horn-relay"} <= taken


def test_the_skeleton_loads_once_its_blanks_are_filled(tmp_path: Path) -> None:
    """By hand in an editor: what stands beside a blank says what may be put there."""
    vehicle = small_vehicle(tmp_path, "horn")
    text = skeleton(load_knowledge(vehicle), "horn", "RULES", "2026-11-28")
    assert max(map(len, text.splitlines())) <= 120
    words = ["bracket-look", "Bracket of the horn", "engine-bay", "Bright", "Rusted", "horn.bracket-rusted"]
    words += ["Bracket rusted through", "horn.open", "bracket-rusted", "Horn dead and bracket rusted", "bracket-look"]
    words += ["bad", "horn.bracket-rusted", "No way to earth", "bracket-renew", "Renew the bracket"]
    words += ["horn.bracket-rusted", "Unbolt it", "horn-sound"]
    head, _, body = text.partition("circuit: horn")
    assert body.count(BLANK) == len(words)
    for word in words:
        body = body.replace(BLANK, word, 1)
    file = local_folder() / "circuits" / "horn.yaml"
    file.parent.mkdir(parents=True)
    file.write_text(f"{head}circuit: horn{body}", encoding="utf-8")
    knowledge = load_knowledge(vehicle)
    assert knowledge.rules["horn/bracket-rusted"].then[0].points_to == "horn.bracket-rusted"
    assert knowledge.checks["bracket-look"].choices[1].label == "Rusted"


@pytest.mark.parametrize("vehicle", ["demo-van.yaml", "demo-motorcycle.yaml"])
def test_a_vehicle_narrowed_to_some_circuits_is_else_as_it_was(tmp_path: Path, vehicle: str) -> None:
    """Recorded jobs of a whole vehicle are tried in seconds: what differs from the circuits must not be lost."""
    file = file_of(vehicle)
    whole = load_knowledge(file)
    small = narrowed(whole, file, {"horn"}, installed_layers(), tmp_path)
    assert small != file
    found = load_knowledge(small)
    assert set(found.vehicle.circuits) < set(whole.vehicle.circuits) and "horn" in found.circuits
    assert (found.vehicle.system_v, found.vehicle.earth) == (whole.vehicle.system_v, whole.vehicle.earth)
    for name in found.circuits["horn"].parts:
        assert found.parts[name] == whole.parts[name]
    for name in found.circuits["horn"].wires:
        assert found.wires[name] == whole.wires[name]
    everything = set(whole.vehicle.circuits)
    assert narrowed(whole, file, everything, installed_layers(), tmp_path) == file
