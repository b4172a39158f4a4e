"""The file of what was learned: read back it is the same, off it changes nothing, mistakes have their place."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from diag.errors import KnowledgeError
from diag.job.journal import read_journal
from diag.job.state import replay
from diag.knowledge.layers import installed_layers
from diag.knowledge.learned import Learned, learned_file, learning, read_learned
from diag.knowledge.load import load_knowledge
from diag.knowledge.taught import taught
from diag.learn.conclusions import changes
from diag.learn.counting import Counts, Slip
from diag.learn.lesson import with_lesson
from diag.learn.tally import Tallied, known_causes, learned_from
from diag.learn.written import NothingLearnedError, forget, keep, learned_here, switch, text_of
from diag.reason.reasoner import Reasoner
from diag.talk.findings import findings_of
from diag.talk.opening import new_job, open_reasoner
from tests.learn.closed import lines_of, records_of, state_from

SLIPS = (Slip("sound", "none", "buzz"), Slip("sound", "none", "none", 0.75), Slip("light", "dim", "dark"))


@pytest.fixture(scope="module")
def learned(horn: Reasoner) -> Learned:
    """Three jobs with a wire that chafed, one shared between two causes."""
    known = known_causes(horn)
    faults = [{"horn-to-column.to-body": 1.0}] * 3 + [{"horn.open": 1 / 3, "horn.seized": 2 / 3}]
    jobs = [
        Tallied(f'job "{n}" #ü', f"{n:016x}", "demo-pickup", known, Counts((("remedy", one),), slips=SLIPS))
        for n, one in enumerate(faults)
    ]
    return learned_from(jobs, learning(), "2026-11-29")


# ---------------------------------------------------------------- there and back


def test_read_back_it_is_the_same(learned: Learned) -> None:
    """Names with odd signs, thirds of faults and all."""
    path = keep(learned)
    assert path == learned_file() and read_learned() == learned
    assert text_of(learned_here()) == path.read_text(encoding="utf-8")
    if os.name == "posix":
        assert path.stat().st_mode & 0o077 == 0


def test_the_file_says_what_follows_from_each_count(learned: Learned) -> None:
    """So that somebody who reads it needs no program."""
    text = text_of(learned)
    line = next(line for line in text.splitlines() if "horn-to-column.to-body" in line)
    times = learned.tellers("demo-pickup", "?", "?", "?", "?", "horn-to-column.to-body")[0].times
    assert "3 of 4" in line and f"x{times:.3g}" in line
    assert "job" in text and all(len(line) <= 120 for line in text.splitlines())


# ---------------------------------------------------------------- off and on


def beliefs(reasoner: Reasoner) -> bytes:
    """All that is believed after the answers of a recorded job, to the last bit."""
    findings, treated, _, _ = findings_of(reasoner, state_from(lines_of("horn-at-once")[:5]))
    found = reasoner.beliefs(findings, treated)
    return reasoner.prior.tobytes() + found.posterior.present.tobytes() + repr(found.ranking).encode()


def test_off_it_changes_no_bit_and_on_again_all_is_back(learned: Learned, horn_file: Path) -> None:
    """What is learned can be taken back whole."""
    never = open_reasoner(horn_file)
    keep(learned)
    on = open_reasoner(horn_file)
    assert beliefs(on) != beliefs(never)
    assert on.knowledge.content_hash != never.knowledge.content_hash
    switch(False)
    off = open_reasoner(horn_file)
    assert beliefs(off) == beliefs(never)
    assert off.knowledge.content_hash == never.knowledge.content_hash
    assert [layer.name for layer in off.knowledge.layers if layer.origin == "learned"] == []
    switch(True)
    again = open_reasoner(horn_file)
    assert beliefs(again) == beliefs(on) and again.knowledge.content_hash == on.knowledge.content_hash


def test_without_packs_nothing_learned_counts(
    learned: Learned, horn_file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The shipped rules alone are the shipped rules alone."""
    keep(learned)
    monkeypatch.setenv("DIAG_PACKS", "none")
    assert load_knowledge(horn_file).learned is None


def test_the_journal_names_what_was_learned(learned: Learned, horn_file: Path, tmp_path: Path) -> None:
    """With its hash, as the highest layer: years later somebody asks what answers were weighed by."""
    keep(learned)
    assert installed_layers()[-1].digest == learned.digest
    reasoner = open_reasoner(horn_file)
    path = tmp_path / "job.jsonl"
    _, journal = new_job(reasoner, horn_file, path, ("meter",), frozenset())
    journal.close()
    told = read_journal(path)[0][0].fields["layers"][-1]
    assert (told["name"], told["hash"]) == ("learned", learned.digest)


def test_a_played_job_says_that_it_is_simulated(horn: Reasoner, horn_file: Path, tmp_path: Path) -> None:
    """Or the program would learn from its own demonstrations."""
    for simulated in (True, False):
        path = tmp_path / f"{simulated}.jsonl"
        _, journal = new_job(horn, horn_file, path, ("meter",), frozenset(), simulated)
        journal.close()
        assert (read_journal(path)[0][0].fields.get("simulated") is True) is simulated
        replay(read_journal(path)[0])


def test_what_changes_nothing_of_belief_changes_no_hash(learned: Learned) -> None:
    """The day and the names of the jobs are no part of what is known; the counts are."""
    other = learned.model_copy(update={"date": "2027-01-01", "counted": (), "used": False})
    assert other.digest == learned.digest
    assert learned.model_copy(update={"misread": {}}).digest != learned.digest


# ---------------------------------------------------------------- what it does


def test_what_was_met_is_held_likelier_and_the_rest_less(learned: Learned, horn: Reasoner) -> None:
    """By the product of what each level says; the shares still sum to one."""
    after = with_lesson(horn, learned)
    times = after.prior / horn.prior
    met = [horn.index["horn-to-column.to-body"], horn.index["horn.seized"], horn.index["horn.open"]]
    assert times[met[0]] > times[met[1]] > times[met[2]] > 1
    assert after.prior.sum() == pytest.approx(1)
    untouched = [i for i, cause in enumerate(horn.causes) if cause.kind == "battery"]
    assert np.ptp(times[untouched]) == pytest.approx(0, abs=1e-12) and times[untouched[0]] < 1
    assert after.published == pytest.approx(horn.prior)


def test_misreadings_are_replaced_and_the_floor_stays(learned: Learned, horn: Reasoner) -> None:
    """Every answer keeps its part of the three percent that anything may be misjudged."""
    after = with_lesson(horn, learned)
    book, before = after.knowledge.vocabulary, horn.knowledge.vocabulary
    assert book.misread_floor == before.misread_floor == 0.03
    assert book.misread["sound"]["none"]["buzz"] > before.misread["sound"]["none"]["buzz"]
    assert book.misread["rhythm"] == before.misread["rhythm"]
    step = after.steps["horn-rest"]
    table = after.chances.table(step)
    assert table.min() >= 0.03 / len(step.outcomes) - 1e-12
    row = table[0]
    expected = 0.97 * book.misread["sound"]["none"]["buzz"] + 0.03 / len(step.outcomes)
    assert row[step.outcomes.index("buzz")] == pytest.approx(expected, abs=1e-3)


def test_words_that_are_no_longer_known_are_passed_over(learned: Learned, horn: Reasoner) -> None:
    """So are kinds, circuits and vehicles: a later rule base must not be stopped by old counts."""
    old = {"light": {"gleaming": {"dark": 9.0}, "dim": {"gleaming": 9.0}}}
    odd = learned.model_copy(update={"misread": old, "kinds": {"gas-lamp": {"out": learned.kinds["horn"]["open"]}}})
    found = taught(horn.knowledge, odd)
    assert "gleaming" not in found.vocabulary.misread["light"]["dim"]


def test_a_recorded_conclusion_that_changes_is_told(learned: Learned, horn: Reasoner, horn_file: Path) -> None:
    """Few jobs move chances only; were a thousand of them fuses, a dead horn alone would say so."""
    lines = lines_of("horn-fuse")
    records = records_of([line for line in lines if line.get("check") in (None, "start")])
    known = known_causes(horn)
    thousand = [
        Tallied(f"job-{n}", f"{n:016x}", "demo-pickup", known, Counts((("r", {"fuse-horn.blown": 1.0}),)))
        for n in range(1000)
    ]
    jobs, much = {horn_file: {"horn-fuse": records}}, learned_from(thousand, learning(), "2026-11-29")
    (few,) = changes(jobs, None, learned, open_with=lambda file, without: horn)
    (many,) = changes(jobs, None, much, open_with=lambda file, without: horn)
    (none,) = changes(jobs, much, much, open_with=lambda file, without: horn)
    assert (few.verdict, many.verdict, none.verdict) == ("same", "found", "same") and not none.changed
    assert many.now == ("fuse-horn.renew",) and not many.worse


# ---------------------------------------------------------------- mistakes


@pytest.mark.parametrize(
    ("change", "line", "told"),
    [
        (lambda text: text.replace("used: true", "used: perhaps"), "used:", "true or false"),
        (lambda text: text.replace("n: 3,", "n: many,", 1), "n: many", "expected a number"),
        (lambda text: text.replace("n: 3,", "n: -3,", 1), "n: -3", "`n` has a wrong value"),
        (lambda text: text.replace("n: 3,", "n: 300,", 1), "kinds:", "more than the faults counted"),
        (lambda text: text.replace("    faults: 4", "    faults: 2"), "    causes:", "more than the faults of this"),
        (lambda text: text.replace("\nfaults: 4", "\nfaults: 9"), "faults: 9", "do not add up"),
        (lambda text: text.replace("misread:  ", "misred:  "), "misred:", "is not known here"),
        (lambda text: text.replace("date: 2026", "date: 26"), "date:", "a day, such as"),
        (lambda text: text.replace("share: ", "share: 9", 1), "share: 9", "has a wrong value"),
        (lambda text: text.replace("least: 4", "least: [4]"), "least: [4]", "has a wrong value"),
        (lambda text: text + "used: true\n", "used: true", "stands twice"),
    ],
)
def test_a_file_changed_by_hand_is_told_with_its_place(
    learned: Learned, horn_file: Path, change: Callable[[str], str], line: str, told: str
) -> None:
    """File, line, column, and the way out; no job is begun on it."""
    path = keep(learned)
    text = change(path.read_text(encoding="utf-8"))
    path.write_text(text, encoding="utf-8")
    numbers = [number for number, one in enumerate(text.splitlines(), start=1) if line in one]
    with pytest.raises(KnowledgeError) as caught:
        load_knowledge(horn_file)
    problem = next(problem for problem in caught.value.problems if told in str(problem))
    assert problem.place.file == str(path) and problem.place.line in numbers and problem.place.column >= 1
    assert "--forget" in str(problem) or "twice" in str(problem)


def test_forgotten_it_is_gone_but_for_a_copy(learned: Learned, horn_file: Path) -> None:
    """Also where it is damaged; a second time it says that there is nothing."""
    path = keep(learned)
    path.write_text("used: perhaps\n", encoding="utf-8")
    copy = forget()
    assert copy.read_text(encoding="utf-8") == "used: perhaps\n" and not path.exists()
    assert load_knowledge(horn_file).learned is None
    keep(learned)
    assert forget() != copy
    for act in (forget, learned_here, lambda: switch(True)):
        with pytest.raises(NothingLearnedError):
            act()
