"""The pages of a job: the same conversation as at the terminal, each answer counted once, the truth after a reload.

source of all expectations: common practice, no source
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from threading import Event

import pytest

from diag.job.folder import list_jobs
from diag.job.journal import Journal, read_journal
from diag.job.records import Record
from diag.reason.reasoner import Reasoner
from diag.serve import app
from diag.serve.shelf import Options
from diag.talk import opening
from diag.talk.rehearsal import SimulatedFitter
from tests.serve.browsing import Device, Page, answered, site
from tests.vehicles import SIX

pytestmark = pytest.mark.usefixtures("_shared")
FAULT = "flasher-unit.never-opens"
HEAVIEST = 60_000
"""Bytes of a page at most: a phone at the edge of the workshop's network has it in a moment."""


def kept(event: str = "") -> list[Record]:
    """Records of the only job on the disk, of one event or all."""
    (job,) = list_jobs()
    return [record for record in read_journal(job)[0] if event in ("", record.event)]


@pytest.fixture
def phone() -> Device:
    """A device with a job whose complaint is told."""
    device = Device(site()[1])
    device.begin()
    device.send("answer", words="turn lamps do not flash")
    assert "Turn lamps lit steadily" in device.page.words
    return device


def test_a_whole_job_from_complaint_to_proof(reasoner: Reasoner) -> None:
    """What the terminal can do the pages can: questions, cautions, steps, proof, end; every page light and in words."""
    device, fitter = Device(site()[1]), SimulatedFitter(reasoner, [FAULT])
    job = device.begin()
    device.send("answer", words="turn lamps do not flash")
    seen: set[str] = set()
    for _ in range(60):
        acts = {one["fields"].get("act") for one in device.page.forms}
        assert len(device.page.html) < HEAVIEST
        if "answer" in acts:
            seen.add("caution" if "CAUTION" in device.page.words else "question")
            answered(device, reasoner, fitter)
            continue
        how = [to for words, to in device.page.links.items() if "/remedy/" in to]
        if not how:
            break
        device.open(how[0])
        while "read" in {one["fields"].get("act") for one in device.page.forms}:
            seen.add("caution of a remedy")
            assert "CAUTION" in device.page.words
            device.send("read")
        remedy = device.form("remedied")["remedy"]
        assert fitter.remedy(remedy)
        seen.add("steps")
        device.send("remedied")
    assert seen == {"question", "caution", "caution of a remedy", "steps"}
    assert "Where this job stands" in device.page.words
    assert "done: Renew the flasher unit" in device.page.words
    assert fitter.cured and len(kept("remedied")) == 1
    assert kept()[-1].event == "proved"
    for page in (
        "causes",
        "cause",
        "cause?name=flasher-unit",
        "answers",
        "note",
        "changed",
        "symptom",
        "papers",
        "help",
    ):
        device.open(f"{job}/{page}")
        assert device.status == 200, page
        assert len(device.page.html) < HEAVIEST, page


def test_an_answer_that_comes_twice_counts_once(phone: Device) -> None:
    """A double tap, a reload, a retry after a lost connection send the same form again."""
    form = phone.form("answer") | {"pick": "1"}
    to = form.pop("to")
    first, second = phone.post(to, form), phone.post(to, form)
    assert first.status_code == second.status_code == 303
    assert len(kept("answered")) == 2  # the complaint and the answer
    assert "already answered, and counts once" in phone.follow(second).words
    other = phone.post(to, form | {"pick": "2"})  # somebody else saw it otherwise
    assert len(kept("answered")) == 2
    assert "NOT kept: what you gave now" in phone.follow(other).words


def test_eight_at_once_count_once(phone: Device) -> None:
    """Impatient taps come in at the same time, on connections of their own."""
    form = phone.form("answer") | {"pick": "1"}
    to, cookies = form.pop("to"), dict(phone.client.cookies)

    def tap(_: int) -> str:
        device = Device(phone.client.app)
        device.client.cookies.update(cookies)
        return str(device.post(to, form).headers["location"])

    with ThreadPoolExecutor(8) as hands:
        assert set(hands.map(tap, range(8))) == {phone.at}
    assert len(kept("answered")) == 2


def test_two_phones_on_one_job_see_the_truth(phone: Device) -> None:
    """The slower one is told kindly, and what it sent does not count."""
    other = Device(phone.client.app)
    other.open(phone.at)
    question = other.form("answer")
    phone.send("answer", pick="1")
    before = len(kept())
    other.send("answer", pick="2")
    assert "already answered" in other.page.words
    assert len(kept("answered")) == 2
    assert len(kept()) == before
    assert other.form("answer")["check"] == phone.form("answer")["check"] != question["check"]


def test_a_form_from_before_the_server_died_counts_after_it_is_back(phone: Device) -> None:
    """The page on the phone outlives the program: what it sends is taken once the program is there again."""
    form = phone.form("answer") | {"pick": "1"}
    to, cookies = form.pop("to"), dict(phone.client.cookies)
    count = len(kept("answered"))
    shelf, pages = site()
    again = Device(pages)
    again.client.cookies.update(cookies)
    _release()
    again.open(to)
    again.follow(again.post(to, form))
    assert len(kept("answered")) == count + 1
    assert "Kept:" in again.page.words
    shelf.close()


def test_an_answer_that_comes_while_the_job_is_still_being_opened_is_kept(
    phone: Device, reasoner: Reasoner, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The phone sends again as soon as the program is back, which is long before the tables are."""
    form = phone.form("answer") | {"pick": "1"}
    to, cookies = form.pop("to"), dict(phone.client.cookies)
    phone.send("close")
    waits = Event()

    def slowly(*_: object, **__: object) -> Reasoner:
        waits.wait(60)
        return reasoner

    monkeypatch.setattr(opening, "open_reasoner", slowly)
    monkeypatch.setattr(app, "_MOMENT_S", 0.01)
    again = Device(site()[1])
    again.client.cookies.update(cookies)
    sent = again.post(to, form)
    assert sent.status_code == 303
    assert "asks again by itself" in again.client.get(to).text
    assert len(kept("answered")) == 1
    waits.set()
    assert "Kept:" in again.open(to).words
    assert len(kept("answered")) == 2


def _release() -> None:
    """The lock of the job, as the system lets go of it when a program is killed."""
    (job,) = list_jobs()
    Path(f"{job}.lock").unlink()


def test_undo_counts_once_and_goes_further_back(phone: Device) -> None:
    """Two taps on undo must not take back two answers unseen; the next page's undo goes further."""
    phone.send("answer", pick="1")
    form = phone.form("undo")
    to = form.pop("to")
    phone.post(to, form)
    said = phone.follow(phone.post(to, form)).words
    assert "undone already" in said
    assert len(kept("undone")) == 1
    phone.send("undo")
    assert len(kept("undone")) == 2
    assert "What is wrong?" in phone.page.words


def test_a_note_does_not_make_the_other_phones_question_stale(phone: Device) -> None:
    """Somebody may write while another looks; the same note sent twice is one note."""
    other = Device(phone.client.app)
    other.open(phone.at)
    phone.open(f"{phone.at}/note")
    form = phone.form("note") | {"text": 'fuse box <b>"wet"</b>'}
    to = form.pop("to")
    phone.post(to, form)
    phone.follow(phone.post(to, form))
    assert [record.fields["text"] for record in kept("noted")] == ['fuse box <b>"wet"</b>']
    other.send("answer", pick="1")
    assert "Kept:" in other.page.words


def test_reading_in_any_spelling_and_a_wrong_one_is_shown_again(reasoner: Reasoner) -> None:
    """What was typed is not lost, and the words say what was expected."""
    device = Device(site(Options(vehicle=SIX, have=("meter",)))[1])
    job = device.begin()
    device.send("answer", words="horn silent")
    for _ in range(6):
        if any("reading" in one["fields"] for one in device.page.forms):
            break
        device.send("answer", **({} if "CAUTION" in device.page.words else {"pick": "1"}))
    form = device.form("answer")
    device.send("answer", reading="twelve", unit="V")
    assert device.status == 422
    assert "expected" in device.page.words and device.form("answer")["reading"] == "twelve"
    device.send("answer", reading='"><script>alert(1)</script>', unit="V")
    assert device.status == 422
    assert "<script>alert" not in device.page.html and "alert(1)" in device.page.html
    device.send("answer", reading="", unit="V")
    assert device.status == 422
    device.send("answer", reading="12,6", unit="mV")
    assert device.status == 422 and "12,6 mV, or 12,6 V?" in device.page.words
    device.send("answer", reading="12,6", unit="V")
    assert device.status == 200
    value = kept("answered")[-1].fields
    assert value["value"] == pytest.approx(12.6) and value["check"] == form["check"]
    number = kept("answered")[-1].seq
    device.open(f"{job}/correct/{number}")
    assert "It was:" in device.page.words
    device.send("correct", reading="12400", unit="mV", minus="1")
    assert kept("answered")[-1].fields["value"] == pytest.approx(-12.4)
    device.open(f"{job}/correct/{number}")
    assert device.status == 404


def test_unclear_words_give_a_short_list(reasoner: Reasoner) -> None:
    """What people say fits several things now and then: then they choose."""
    device = Device(site()[1])
    device.begin()
    device.send("answer", words="xyzzy")
    assert device.status == 422 and "other words" in device.page.words
    device.send("answer", words="lamp")
    assert "answered" not in {record.event for record in kept()}
    device.send("answer", pick="1")
    assert len(kept("answered")) == 1


def test_passing_over_changing_and_asking_why(phone: Device) -> None:
    """Every other key of the terminal has its button or page."""
    phone.send("not-sure")
    phone.send("cannot-reach")
    phone.send("answer")  # a caution, which is not passed over
    phone.send("later")
    job = phone.at
    phone.open(f"{job}/changed")
    phone.send("changed", text="renewed the rear earth")
    phone.open(f"{job}/symptom")
    phone.send("symptom", words="horn silent")
    events = [record.event for record in kept()]
    assert events.count("skipped") == 2 and "not-sure" in events and "changed" in events and "found" in events
    phone.open(f"{job}/cause?name=flasher+unit")
    assert "Chance" in phone.page.words
    phone.open(f"{job}/cause?name=no+such+thing+at+all")
    assert phone.status == 200 and "Nothing is called" in phone.page.words


def test_the_whole_vehicle_in_stages() -> None:
    """Stages begin, are skipped with a reason, and looks from one place are answered together, save the odd one."""
    device = Device(site()[1])
    job = device.begin()
    device.send("answer", pick="whole")
    assert "Stage 1" in device.page.words
    device.open(f"{job}/stages")
    assert "Before power" in device.page.words or "now" in device.page.words
    device.open(f"{job}/skip-stage")
    device.send("skip-stage", text="")
    assert device.status == 422
    device.send("skip-stage", text="done yesterday")
    device.open(f"{job}/stages")
    device.send("stage", stage="walk-round")
    for _ in range(8):
        odd = [to for to in device.page.links.values() if "/odd/" in to]
        if odd:
            break
        device.send("answer", **({"pick": "1"} if "pick" in device.page.html else {}))
    assert odd
    device.open(odd[0])
    device.send("odd", pick="1")
    found = kept("found")
    assert found and found[-1].fields["stage"] == "walk-round"
    while not any("/odd/" in to for to in device.page.links.values()):
        device.send("answer", **({"pick": "1"} if "pick" in device.page.html else {}))
    looks = sum("/odd/" in to for to in device.page.links.values())
    before = len(kept("answered"))
    device.send("answer")
    assert len(kept("answered")) == before + looks


def test_a_job_open_elsewhere_is_refused_with_the_locks_words(phone: Device) -> None:
    """Two programs writing one journal would tear it."""
    (path,) = list_jobs()
    job = phone.at
    phone.open("/")
    phone.open(job)
    phone.send("close")
    with Journal.open(path):
        phone.open(job)
        assert phone.status == 409
        assert "another program" in phone.page.words
        phone.send("again")
        assert phone.status == 409
    phone.send("again")
    assert phone.status == 200 and phone.form("answer")["check"]


def test_begin_twice_is_one_job_and_a_named_one_is_made() -> None:
    """A double tap on Begin; `--job NAME` that is not there yet."""
    device = Device(site()[1])
    device.open("/")
    form = next(one for one in device.page.forms if one["to"] == "/begin")["fields"]
    first, second = device.post("/begin", form), device.post("/begin", form)
    assert first.headers["location"] == second.headers["location"]
    device.follow(second)
    (job,) = list_jobs()
    assert job.stem in first.headers["location"]
    named = job.with_name("of-my-own.jsonl")
    shelf, pages = site(Options(job=named, vehicle=SIX))
    other = Device(pages)
    assert shelf.begin_named() == "of-my-own"
    other.open("/job/of-my-own")
    assert "What is wrong?" in other.page.words
    assert named.exists()


def test_papers_of_a_job(phone: Device) -> None:
    """The log in each form, as what it is, and so that nothing in it can run."""
    kinds = {"html": "text/html", "owner": "text/html", "parts": "text/html", "handover": "text/html"}
    kinds |= {"markdown": "text/markdown", "json": "application/json", "csv": "text/csv"}
    for form, kind in kinds.items():
        answer = phone.client.get(f"{phone.at}/log/{form}")
        assert answer.status_code == 200, form
        assert answer.headers["content-type"].startswith(kind)
        policy = answer.headers["content-security-policy"]
        assert "sandbox" in policy or "script-src 'self'" in policy
        assert "allow-scripts" not in policy
        if kind == "text/html":
            assert "**" not in answer.text and f"{phone.at}/papers" in Page(answer.text).links.values()
        assert "Turn lamps" in answer.text or form in ("owner", "parts", "csv", "handover", "json")
    assert phone.client.get(f"{phone.at}/log/exe").status_code == 404
