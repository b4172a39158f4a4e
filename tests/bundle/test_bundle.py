"""A job's bundle: made, opened where nothing of its rules is known, damaged in every way, refused.

source of all expectations: common practice, no source
"""

from __future__ import annotations

import io
import json
import os
import stat
import zipfile
from datetime import UTC
from pathlib import Path

import pytest
from click.testing import CliRunner

from diag.bundle.contents import KNOWLEDGE, LIST, LOG, MOST_BYTES, NOTE, list_of
from diag.bundle.make import bundle_bytes
from diag.bundle.unpack import unpack
from diag.cli import _job_path, main
from diag.errors import DiagError
from diag.job.folder import find_job, from_bundle
from diag.job.glance import glance
from diag.job.journal import read_journal
from diag.knowledge.copies import copy_of, read_copy
from diag.knowledge.layers import Layer, installed_layers
from diag.knowledge.load import load_knowledge
from diag.log.export import export_job
from diag.log.listing import job_block
from diag.talk.opening import knowledge_beside, reasoner_for, resume_job
from tests.author.jobs import small_vehicle
from tests.log.jobs import complaint, horn_sounds, write_job
from tests.vehicles import SIX

OWN_CHECK = """circuit: horn
checks:
  - id: horn-with-the-lid-open
    title: Horn with the lid open
    kind: choose
    text: Open the lid of the glove box and press the horn button. Does it sound?
    choices:
      - {value: sounds, label: it sounds}
      - {value: silent, label: silent}
    usual: {sounds: 0.1, silent: 0.9}
    place: driver-seat
    minutes: 1 min
"""


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """The bundle of a small job that was weighed with an addition in the folder of one's own."""
    folder = tmp_path_factory.mktemp("origin")
    with pytest.MonkeyPatch.context() as patch:
        home = folder / "home"
        (home / "rules" / "circuits").mkdir(parents=True)
        (home / "rules" / "circuits" / "horn.yaml").write_text(OWN_CHECK)
        (home / "cache").symlink_to(Path(_tables()))
        patch.setenv("DIAG_HOME", str(home))
        job = write_job(folder, complaint("horn-silent"), horn_sounds("none"), ("noted", {"text": "=HYPERLINK(1)"}))
        return bundle_bytes(job, SIX)


def _tables() -> str:
    from tests.conftest import TABLES

    TABLES.mkdir(mode=0o700, exist_ok=True)
    return str(TABLES)


def put(folder: Path, content: bytes) -> Path:
    path = folder / "job.zip"
    path.write_bytes(content)
    return path


def files_of(content: bytes) -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def packed(files: dict[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in files.items():
            archive.writestr(name, content)
    return out.getvalue()


def listed(files: dict[str, bytes], job: str = "job.jsonl") -> bytes:
    """A bundle of these files with a list that is right."""
    told = list_of(
        files, program="diag 1", engine="e", job=job, vehicle="v", last="2026-01-01T00:00:00Z", by="0", told="0"
    )
    return packed({LIST: told, **files})


def test_anybody_can_read_it_without_the_program(made: bytes) -> None:
    files = files_of(made)
    assert {NOTE, LIST, "job.jsonl", f"{LOG}/log.html", f"{LOG}/log.md", f"{KNOWLEDGE}/layers.json"} <= set(files)
    assert b"Nothing wrong" in files[f"{LOG}/log.md"] or b"horn" in files[f"{LOG}/log.md"].lower()
    assert b"diag unbundle" in files[NOTE]
    with zipfile.ZipFile(io.BytesIO(made)) as archive:
        assert archive.testzip() is None


def test_the_journal_goes_in_byte_for_byte_and_the_knowledge_whole(made: bytes, tmp_path: Path) -> None:
    unpacked = unpack(put(tmp_path, made), tmp_path / "into")
    assert unpacked.job.read_bytes() == files_of(made)["job.jsonl"]
    copy = read_copy(unpacked.folder / KNOWLEDGE)
    assert [layer.name for layer in copy.layers] == ["shipped", "local"]
    assert "horn-with-the-lid-open" in load_knowledge(copy.vehicle, layers=copy.layers).checks
    assert "horn-with-the-lid-open" not in load_knowledge(SIX).checks  # this machine's own home has no such rule


def test_the_same_job_gives_the_same_bytes(tmp_path: Path) -> None:
    job = write_job(tmp_path, complaint("horn-silent"))
    assert bundle_bytes(job, SIX) == bundle_bytes(job, SIX)


def test_opened_elsewhere_it_is_weighed_by_the_rules_that_came_with_it(made: bytes, tmp_path: Path) -> None:
    unpacked = unpack(put(tmp_path, made), tmp_path / "into")
    again = export_job(unpacked.job, "markdown", zone=UTC)
    assert again == files_of(made)[f"{LOG}/log.md"].decode()
    state = read_journal(unpacked.job)[0]
    conversation, journal, messages = resume_job(unpacked.job)
    with journal:
        assert "horn-with-the-lid-open" in conversation.knowledge.checks
        assert len(journal.records) == len(state) + 1
    assert any("changed since this job began" in message for message in messages)  # it was begun by an older tool


def test_with_today_it_is_weighed_by_this_machines_rules(made: bytes, tmp_path: Path) -> None:
    unpacked = unpack(put(tmp_path, made), tmp_path / "into")
    conversation, journal, _ = resume_job(unpacked.job, today=True)
    with journal:
        assert "horn-with-the-lid-open" not in conversation.knowledge.checks
        assert conversation.knowledge.vehicle.vehicle == "demo-pickup"


def test_rules_that_this_program_cannot_read_are_told_with_the_way_on(made: bytes, tmp_path: Path) -> None:
    unpacked = unpack(put(tmp_path, made), tmp_path / "into")
    file = unpacked.folder / KNOWLEDGE / "01-local" / "circuits" / "horn.yaml"
    file.write_text(OWN_CHECK + "futures: {of: another-program}\n")
    with pytest.raises(DiagError, match=r"(?s)horn\.yaml:\d+:\d+.*futures.*--today"):
        export_job(unpacked.job, "markdown")
    assert "horn" in export_job(unpacked.job, "markdown", today=True).lower()


def test_unpacked_twice_what_was_added_since_stays(made: bytes, tmp_path: Path) -> None:
    path = put(tmp_path, made)
    first = unpack(path, tmp_path / "into")
    with first.job.open("ab") as stream:
        stream.write(b'{"v":1,"seq":5,"at":"2026-04-02T00:00:00Z","event":"noted","text":"later"}\n')
    second = unpack(path, tmp_path / "into")
    assert second.there and b"later" in second.job.read_bytes()
    (first.folder / LIST).write_bytes(b"{}")
    with pytest.raises(DiagError, match="something else of this name"):
        unpack(path, tmp_path / "into")


def test_what_is_unpacked_is_private(made: bytes, tmp_path: Path) -> None:
    unpacked = unpack(put(tmp_path, made), tmp_path / "into")
    modes = {stat.S_IMODE(path.stat().st_mode) for path in [unpacked.folder, *unpacked.folder.rglob("*")]}
    assert modes == {0o700, 0o600}


@pytest.mark.parametrize(
    "name", ["../out.txt", "/etc/out", "a/../../b", "C:\\x", "con.txt", "a//b", "x\n", "log/é", "."]
)
def test_no_path_leaves_the_folder(name: str, tmp_path: Path) -> None:
    path = put(tmp_path, listed({"job.jsonl": b"{}\n", name: b"x"}))
    with pytest.raises(DiagError):
        unpack(path, tmp_path / "into" / "deep")
    assert {found.name for found in tmp_path.rglob("*")} <= {"job.zip", "into", "deep"}


def test_a_changed_file_is_noticed_and_nothing_is_left(made: bytes, tmp_path: Path) -> None:
    files = files_of(made)
    files["job.jsonl"] = files["job.jsonl"].replace(b"none", b"loud")
    with pytest.raises(DiagError, match=r"`job\.jsonl` changed"):
        unpack(put(tmp_path, packed(files)), tmp_path / "into")
    assert list((tmp_path / "into").iterdir()) == []


def test_a_bomb_is_refused_before_it_goes_off(tmp_path: Path) -> None:
    files = {"job.jsonl": b"{}\n", "big.bin": b"\0" * 30_000_000}
    many = {f"big{n}.bin": files["big.bin"] for n in range(MOST_BYTES // 30_000_000 + 1)}
    told = listed({"job.jsonl": b"{}\n", **many})
    assert len(told) < 500_000
    with pytest.raises(DiagError, match="expected at most"):
        unpack(put(tmp_path, told), tmp_path / "into")
    lying = json.loads(files_of(listed(files))[LIST])
    lying["files"]["big.bin"]["bytes"] = 10
    with pytest.raises(DiagError, match="changed since"):
        unpack(put(tmp_path, packed({LIST: json.dumps(lying).encode(), **files})), tmp_path / "into")
    assert list((tmp_path / "into").iterdir()) == []


def test_damage_of_every_sort_is_told_in_a_sentence(made: bytes, tmp_path: Path) -> None:
    newer = files_of(made)
    newer[LIST] = newer[LIST].replace(b'"format": 1', b'"format": 2')
    more = {**files_of(made), "extra.txt": b"x"}
    cut = [made[: len(made) * part // 7] for part in range(7)]
    for content in (*cut, b"PK", b"", packed({"a": b"b"}), packed({LIST: b"[" * 5000}), packed(more), packed(newer)):
        with pytest.raises(DiagError) as caught:
            unpack(put(tmp_path, content), tmp_path / "into")
        assert "expected" in str(caught.value)
    with pytest.raises(DiagError, match="newer program"):
        unpack(put(tmp_path, packed(newer)), tmp_path / "into")
    for odd in (tmp_path, tmp_path / "nothing.zip", Path("/dev/null")):
        with pytest.raises(DiagError, match="expected"):
            unpack(odd, tmp_path / "into")


def test_a_flipped_bit_anywhere_never_yields_other_content(made: bytes, tmp_path: Path) -> None:
    whole = files_of(made)
    for place in range(0, len(made), len(made) // 60):
        content = bytearray(made)
        content[place] ^= 0x10
        into = tmp_path / str(place)
        try:
            unpacked = unpack(put(tmp_path, bytes(content)), into)
        except DiagError:
            continue
        for name, expected in whole.items():
            assert (unpacked.folder / name).read_bytes() == expected


def test_the_verbs(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    job = write_job(tmp_path, complaint("horn-silent"), horn_sounds("none"))
    run = CliRunner().invoke
    done = run(main, ["bundle", str(job), "--vehicle", str(SIX)])
    assert done.exit_code == 0 and (tmp_path / "job.zip").is_file(), done.output
    assert run(main, ["bundle", str(job), "--vehicle", str(SIX)]).exit_code == 2  # nothing is written over
    opened = run(main, ["unbundle", "job.zip"])
    assert opened.exit_code == 0 and "--today" in opened.output, opened.output
    assert opened.output.split("diag resume ")[1].strip() == "job"
    there = find_job("job")
    assert from_bundle(there) and knowledge_beside(there) is not None
    shown = run(main, ["export", "job"])
    assert shown.exit_code == 0 and "orn" in shown.output, shown.output
    other = run(main, ["unbundle", "job.zip", "--into", str(tmp_path / "into")])
    assert str(tmp_path / "into" / "job" / "job.jsonl") in other.output


def test_an_unpacked_job_is_among_the_jobs(tmp_path: Path) -> None:
    """On another machine `no jobs yet` would be said of the only one there is. One's own of that name comes first."""
    home = Path(os.environ["DIAG_HOME"])
    job = write_job(tmp_path, complaint("horn-silent"))
    name = "2026-03-01-083000-my-van"
    unpack(put(tmp_path, listed({f"{name}.jsonl": job.read_bytes()}, f"{name}.jsonl")), home / "bundles")
    run = CliRunner().invoke
    (told,) = run(main, ["jobs"]).stdout.splitlines()
    assert told.startswith(name) and "from a bundle" in told
    assert json.loads(run(main, ["jobs", "--as", "json"]).stdout)[0]["from-bundle"] is True
    there = home / "bundles" / name / f"{name}.jsonl"
    assert find_job("03-01") == there == _job_path(None)
    assert "from a bundle" in " ".join(" ".join(job_block(glance(there), 40)).split())
    refused = run(main, ["jobs", "--put-away", name])
    assert refused.exit_code == 2 and str(there.parent) in refused.stderr
    (home / "jobs").mkdir()
    (home / "jobs" / there.name).write_bytes(job.read_bytes())
    assert find_job(name) == home / "jobs" / there.name
    assert "from a bundle" not in run(main, ["jobs"]).stdout


def test_a_job_out_of_a_bundle_keeps_what_came_with_it_when_bundled_again(tmp_path: Path) -> None:
    """Though it was gone on with by the shipped rules alone, on a machine that has none of those rules."""
    layer = tmp_path / "other" / "rules"
    (layer / "circuits").mkdir(parents=True)
    (layer / "circuits" / "horn.yaml").write_text(OWN_CHECK)
    layers = (*installed_layers(), Layer("local", "Theirs", "", layer, "local", "0" * 16))
    vehicle = small_vehicle(tmp_path, "horn")
    known = copy_of(load_knowledge(vehicle, layers=layers))
    there = tmp_path / "job"
    for name, content in known.items():
        (there / KNOWLEDGE / name).parent.mkdir(parents=True, exist_ok=True)
        (there / KNOWLEDGE / name).write_bytes(content)
    resumed = ("resumed", {"without": ["wiring", "packs"]})
    job = write_job(there, complaint("horn-silent"), resumed, opened={"vehicle": "greta"})
    files = files_of(bundle_bytes(job))
    assert {name: files[f"{KNOWLEDGE}/{name}"] for name in map(str, known)} == {str(n): c for n, c in known.items()}
    assert files[f"{KNOWLEDGE}/01-local/circuits/horn.yaml"] == OWN_CHECK.encode()
    with pytest.raises(DiagError, match="came with its own"):
        bundle_bytes(job, vehicle)


def test_a_vehicle_that_is_gone_is_told_with_the_way_on(tmp_path: Path) -> None:
    """`Check the name` helps nobody who typed none."""
    job = write_job(tmp_path, complaint("horn-silent"), opened={"vehicle-file": "/gone/my-van.yaml"})
    for tried in (lambda: bundle_bytes(job), lambda: export_job(job, "markdown"), lambda: resume_job(job)):
        with pytest.raises(DiagError, match=r"(?s)job\.jsonl.*/gone/my-van\.yaml.*--vehicle FILE"):
            tried()


def test_a_job_that_came_with_no_rules_is_weighed_by_this_machines(tmp_path: Path) -> None:
    from diag.job.state import replay

    job = write_job(tmp_path, complaint("horn-silent"))
    reasoner = reasoner_for(job, replay(read_journal(job)[0]), frozenset(), SIX)
    assert [layer.name for layer in reasoner.knowledge.layers] == ["shipped"]
