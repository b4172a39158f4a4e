"""`diag rules learn` as it is used: it shows, asks, learns, and takes back; nothing is learned unasked."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from diag.cli import main
from diag.job.folder import jobs_folder
from diag.knowledge.folders import local_folder
from diag.knowledge.learned import learned_file, read_learned
from diag.knowledge.load import default_vehicle
from diag.knowledge.packing import stray_files
from diag.learn.conclusions import recorded_on
from diag.review.target import target_of
from diag.talk.conversation import Conversation
from diag.talk.opening import Rehearsed, open_reasoner
from diag.talk.screen_why import account_page
from tests.learn.closed import FOLDER, HORN_JOBS, Lines, at, write_job


@pytest.fixture
def jobs(horn_file: Path) -> Path:
    """One's own folder with the jobs of a horn that chafed again and again."""
    folder = jobs_folder()
    folder.mkdir(parents=True)
    for name in HORN_JOBS:
        write_job(folder, name, horn_file)
    for day in range(1, 5):
        write_job(folder, f"again-{day}", horn_file, lambda lines, day=day: _on(lines, day), "horn-at-once")  # type: ignore[misc]
    return folder


def _on(lines: Lines, day: int) -> None:
    lines[0]["at"] = f"2026-02-0{day}T08:00:00Z"


def learn(*words: str, width: int = 60) -> Result:
    """Runs the verb; no terminal is there to be asked at."""
    return CliRunner().invoke(main, ["rules", "learn", *words], env={"COLUMNS": str(width)})


def test_it_shows_what_would_change_and_learns_nothing_unasked(jobs: Path) -> None:
    """Counted, published, then, factor; and what becomes of the recorded jobs."""
    found = learn(width=40)
    assert found.exit_code == 0, found.output
    wide = [line for line in found.output.splitlines() if len(line) > 40 and len(line.split()) > 2]
    assert wide == [], "too wide for a phone"
    assert "Confirmed: 11 faults in 11 jobs." in found.output
    assert "5 of 11, published" in found.output and "wire chafed" in found.output
    assert "Recorded jobs replayed: 11 another conclusion in 0, other chances in " in " ".join(found.output.split())
    assert "To learn it: add --apply." in found.output and "Nothing was learned." in found.output
    assert read_learned() is None


def test_the_whole_life_of_what_was_learned(jobs: Path) -> None:
    """Applied, shown, off, on, forgotten; each said once more says that it is so already."""
    assert learn("--off").exit_code == 1
    done = learn("--apply")
    assert done.exit_code == 0 and f"Learned: {learned_file()}" in done.output
    learned = read_learned()
    assert learned is not None and learned.used and len(learned.counted) == 11
    first = learned_file().read_text(encoding="utf-8")
    assert "All this is learned already." in learn("--apply").output  # counted as if nothing had been learned
    assert "in use" in learn("--show").output and "again-3" in learn("--show", "--all").output
    assert "Out of use" in learn("--off").output and "already" in learn("--off").output
    assert "out of use" in learn("--show").output
    assert "In use from now on." in learn("--on").output
    assert learned_file().read_text(encoding="utf-8") == first
    learned_file().write_text("used: perhaps\n", encoding="utf-8")
    anew = learn("--apply")  # what is damaged must not stand in the way of what mends it
    assert anew.exit_code == 0 and "learned.yaml:1:" in anew.output
    assert learned_file().read_text(encoding="utf-8") == first
    assert "A copy is kept" in learn("--forget").output
    assert learn("--show").exit_code == learn("--forget").exit_code == 1
    assert not learned_file().exists()


def test_words_of_persons_do_not_get_into_it(horn_file: Path, tmp_path: Path) -> None:
    """Notes, what was changed and why something was left stay in the journal."""

    def talk(lines: Lines) -> None:
        lines.insert(4, {"event": "noted", "text": "SECRET customer"})
        lines.insert(4, {"event": "changed", "text": "SECRET change"})

    write_job(tmp_path, "horn-fuse", horn_file, talk)
    found = learn("--from", str(tmp_path), "--apply")
    assert found.exit_code == 0 and "SECRET" not in found.output + learned_file().read_text(encoding="utf-8")


def test_jobs_that_do_not_count_are_named(horn_file: Path, tmp_path: Path) -> None:
    """Damaged ones first, as somebody should look at them."""
    write_job(tmp_path, "horn-fuse", horn_file)
    write_job(tmp_path, "half-done", horn_file, lambda lines: lines.pop(), "horn-at-once")
    write_job(tmp_path, "lost", tmp_path / "no-such-van.yaml", like="horn-itself")
    write_job(tmp_path, "horn-feed-wire", horn_file, lambda lines: lines.__delitem__(slice(-4, -1)))
    (tmp_path / "broken.jsonl").write_text("nonsense\n", encoding="utf-8")
    output = learn("--from", str(tmp_path), width=200).output
    assert "broken: damaged: " in output and "lost: its vehicle cannot be opened" in output
    assert "half-done: not finished" in output
    assert "horn-feed-wire: no remedy was confirmed" in output
    wrapped = " ".join(output.split())
    assert "horn-feed-wire: horn-feed.reconnect does not count: no check after it shows that it took" in wrapped


def test_nothing_to_learn_is_no_success(horn_file: Path, tmp_path: Path) -> None:
    """Exit code 1, and a word why; 2 for what cannot be meant."""
    assert learn().exit_code == 1
    write_job(tmp_path, "horn-fuse", horn_file, lambda lines: lines.__delitem__(at(lines, "remedied")))
    found = learn("--from", str(tmp_path))
    assert found.exit_code == 1 and "nothing to learn" in found.output
    assert learn("--off", "--on").exit_code == learn("--show", "--apply").exit_code == 2
    assert learn("--from", str(tmp_path / "nowhere")).exit_code == 2


def test_a_conclusion_says_on_which_counts_it_rests(jobs: Path, horn_file: Path) -> None:
    """Whoever asks why is told that closed jobs taught it, and how many."""
    learn("--apply")
    reasoner = open_reasoner(horn_file)
    talk = Conversation(reasoner, Rehearsed.opened(reasoner), "job")
    told = talk.take({"why": "horn-to-column.to-body"})
    assert told["learned"].startswith("Learned from closed jobs: 6 of 11 faults were of this kind, ")
    assert "5 of 11 faults on this vehicle were this very one" in told["learned"]
    page = " ".join(line.text for line in account_page(told, 40))
    assert "closed jobs" in page and "times as often as" in page
    assert "learned" not in talk.take({"why": "battery.flat"})


def test_other_verbs_of_the_rules_know_it(jobs: Path) -> None:
    """It is told among the layers, is no pack, and is no stray file among one's own rules."""
    learn("--apply")
    (local_folder() / "shared.yaml").write_text("circuit: shared\n", encoding="utf-8")
    run = CliRunner().invoke
    told = run(main, ["rules", "packs"])
    assert told.exit_code == 0 and "Learned from closed jobs" in told.output
    taken = run(main, ["rules", "packs", "--remove", "learned"])
    assert taken.exit_code == 2 and "rules learn --off" in taken.output
    assert stray_files(local_folder()) == []
    assert learned_file() not in target_of(None).files


def test_recorded_jobs_of_the_vehicle_are_found() -> None:
    """Those shipped on the demo pickup are replayed before anything is learned of it, and no others."""
    file = default_vehicle()
    found = recorded_on([file], [FOLDER, FOLDER / "nowhere"])[file]
    assert {"horn-fuse", "double-fault"} <= set(found) and "dynamo-wires-changed-over" not in found


@pytest.mark.skipif(os.name != "posix", reason="pexpect needs a pseudo-terminal")
def test_at_a_terminal_it_asks_first(jobs: Path) -> None:
    """And learns when told to; Enter alone means no."""
    pexpect = pytest.importorskip("pexpect")
    child = pexpect.spawn(sys.executable, ["-m", "diag", "rules", "learn"], encoding="utf-8", timeout=60)
    child.expect("Learn this\\? \\[y/N\\]")
    assert read_learned() is None
    child.send("y\r")
    child.expect("Learned: ")
    child.expect(pexpect.EOF)
    child.close()
    assert child.exitstatus == 0 and read_learned() is not None
