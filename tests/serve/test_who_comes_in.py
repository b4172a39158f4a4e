"""Who and what is let in: hosts, origins, sizes, keys; whatever else comes is refused in words, and nothing kept of it.

source of expectations: RFC 9110 (status codes), Fetch standard (Origin), Fetch Metadata (Sec-Fetch-Site), Content
Security Policy Level 3, all from memory; the rest common practice, no source
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from diag.job.folder import list_jobs
from diag.serve.doors import LASTS_S, TRIES, Doors, form_token
from diag.serve.forms import LARGEST
from diag.serve.guard import CSP
from tests.serve.browsing import BASE, COOKIE, HOST, Device, site

pytestmark = pytest.mark.usefixtures("_shared")


def journal() -> bytes:
    """What the only job holds."""
    (job,) = list_jobs()
    return job.read_bytes()


def test_every_answer_carries_what_forbids_the_rest() -> None:
    """A page that forgot one header would be the one that is attacked."""
    device = Device(site()[1])
    job = device.begin()
    answers = [
        device.client.get("/"),
        device.client.get(job),
        device.client.get("/static/diag.css"),
        device.client.get("/static/diag.js"),
        device.client.get("/no-such-page"),
        device.client.get("/static/../app.py"),
        device.client.get("/", headers={"host": "evil.example"}),
        device.client.post(job, data={}),
        device.client.put(job),
    ]
    assert [answer.status_code for answer in answers] == [200, 200, 200, 200, 404, 404, 421, 403, 405]
    for answer in answers:
        assert answer.headers["content-security-policy"] == CSP
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert answer.headers["x-frame-options"] == "DENY"
        assert answer.headers["referrer-policy"] == "same-origin"
        assert "server" not in answer.headers
        assert "Traceback" not in answer.text
    assert all(answer.headers["cache-control"] == "no-store" for answer in (*answers[:2], *answers[4:]))
    assert "unsafe" not in CSP and "default-src 'none'" in CSP
    for wanted in ("style=", "<style", "onclick", "javascript:"):
        assert wanted not in answers[1].text


@pytest.mark.parametrize(
    "host", ["evil.example", f"evil.example@{HOST}", "127.0.0.1", "127.0.0.1:9", "", f"{HOST}.evil.example"]
)
def test_only_hosts_that_are_listened_on(host: str) -> None:
    """A name that somebody bound to this address would make the browser believe that it is theirs."""
    answer = Device(site()[1]).client.get("/", headers={"host": host})
    assert answer.status_code == 421
    assert "address" in answer.text
    assert "set-cookie" not in answer.headers


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "http://evil.example"},
        {"origin": "null"},
        {"origin": f"https://{HOST}"},
        {"origin": "http://127.0.0.1:9999"},
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site", "origin": BASE},
        {},
    ],
)
def test_a_form_from_elsewhere_changes_nothing(headers: dict[str, str]) -> None:
    """Any page open in the same browser can send forms here."""
    device = Device(site()[1])
    device.begin()
    form = device.form("answer") | {"words": "horn silent"}
    to = form.pop("to")
    before = journal()
    answer = device.client.post(to, data=form, headers=headers)
    assert answer.status_code == 403
    assert "Nothing was changed" in answer.text
    assert journal() == before


def test_a_form_needs_the_token_of_its_own_session() -> None:
    """Where an origin can be forged, what only our pages know cannot."""
    device, other = Device(site()[1]), None
    job = device.begin()
    other = Device(device.client.app)
    other.open(job)
    form = device.form("answer") | {"words": "horn silent"}
    form.pop("to")
    before = journal()
    for token in ("", "0" * 32, other.form("answer")["token"], "\u00e4"):
        assert device.post(job, form | {"token": token}).status_code == 403
    assert Device(device.client.app).post(job, form).status_code == 403
    assert journal() == before
    assert device.post(job, form).status_code == 303


def test_forms_out_of_bounds_are_refused_in_words() -> None:
    """Too large, of another sort, twice the same field, no text: a clear word each, and nothing kept."""
    device = Device(site()[1])
    job = device.begin()
    form = device.form("answer")
    form.pop("to")
    before = journal()
    token = form["token"]
    kind = {"content-type": "application/x-www-form-urlencoded"}
    cases = [
        (device.post(job, form | {"words": "x" * LARGEST}), 413),
        (device.client.post(job, content=iter([b"words=", b"x" * LARGEST]), headers={"origin": BASE, **kind}), 413),
        (device.post(job, form | {"words": "x" * 5000}), 413),
        (device.client.post(job, json={"a": 1}, headers={"origin": BASE}), 415),
        (device.client.post(job, content=b"token=a&token=b", headers={"origin": BASE, **kind}), 400),
        (device.client.post(job, content=b"words=%ff%fe", headers={"origin": BASE, **kind}), 400),
        (device.client.post(job, content="words=\u00e4".encode(), headers={"origin": BASE, **kind}), 400),
        (device.post(job, {f"f{n}": "" for n in range(200)}), 400),
        (device.post(job, {"token": token, "act": "erase"}), 422),
        (device.post(job, {"token": token}), 422),
        (device.post(job, form | {"pick": "999"}), 422),
        (device.post(job, form | {"pick": "-1"}), 422),
        (device.post("/begin", {"token": token, "vehicle": "../../etc/passwd"}), 400),
        (device.post("/begin", {"token": token}), 400),
        (device.post("/job/none", {"token": token, "act": "undo"}), 404),
        (device.client.get("/?" + "x" * 3000), 414),
        (device.post(f"{job}/note", {"token": token, "act": "note", "text": " "}), 422),
        (device.post(f"{job}/leave", {"token": token, "act": "leave", "seq": "0"}), 303),
        (device.post(job, {"token": token, "act": "correct", "number": "\u0663"}), 303),
        (device.post(job, form | {"seq": "x", "pick": "1"}), 303),
    ]
    for number, (answer, status) in enumerate(cases):
        assert answer.status_code == status, (number, answer.text)
        assert status == 303 or "<h1>" in answer.text
        assert "Traceback" not in answer.text
    assert journal() == before


@pytest.mark.parametrize(
    "path",
    [
        "/job/..%2f..%2fetc%2fpasswd",
        "/job/%2e%2e",
        "/job/a%00b",
        "/job/x/picture/..%2f..",
        "/job/x/no",
        "/job/x/log/pdf",
        "/static/..%2fapp.py",
        "/static/diag.css%00",
        "/job/%0d%0aset-cookie:a=b",
    ],
)
def test_no_path_reaches_the_disk(path: str) -> None:
    """Jobs are looked up among those that are listed; nothing else of an address is used."""
    answer = Device(site()[1]).client.get(path)
    assert answer.status_code == 404
    assert "Traceback" not in answer.text and "root:" not in answer.text


def test_a_damaged_job_is_told_and_stops_no_other(tmp_path: Path) -> None:
    """One bad file must not take the list away."""
    device = Device(site()[1])
    job = device.begin()
    (good,) = list_jobs()
    good.with_name("bad.jsonl").write_text("not a journal\n")
    device.open("/")
    assert "bad: cannot be read" in device.page.words
    device.open("/job/bad")
    assert device.status == 500 and "bad.jsonl" in device.page.words
    device.open(job)
    assert device.status == 200


# ---------------------------------------------------------------- keys


def knocking(doors: Doors) -> TestClient:
    """A device that was not let in yet."""
    return Device(site(doors=doors)[1]).client


def test_a_key_lets_one_device_in_and_is_spent() -> None:
    """Who saw the code on the screen afterwards must not come in with it."""
    doors = Doors(None)
    told: list[str] = []
    doors.told = told.append
    key = doors.new_key()
    phone = knocking(doors)
    for path in ("/", "/job/x", "/job/x/log/html"):
        assert phone.get(path).status_code == 403
    assert phone.post("/begin", data={}, headers={"origin": BASE}).status_code == 403
    assert phone.head(f"/in?key={key}").status_code == 403  # a preview fetches no page and spends nothing
    entered = phone.get(f"/in?key={key}")
    assert entered.status_code == 200
    cookie = entered.headers["set-cookie"]
    assert "HttpOnly" in cookie and "SameSite=strict" in cookie and COOKIE in cookie
    assert phone.get("/").status_code == 200
    assert told == ["spent"]
    second = TestClient(phone.app, base_url=BASE, follow_redirects=False)
    assert second.get(f"/in?key={key}").status_code == 403
    assert "Press Enter" in second.get(f"/in?key={key}").text
    assert second.get("/").status_code == 403
    assert second.get(f"/in?key={doors.new_key()}").status_code == 200
    assert phone.get("/").status_code == 200


def test_wrong_keys_make_the_key_void() -> None:
    """Guessing must not be free, however long a key is."""
    doors = Doors(None)
    told: list[str] = []
    doors.told = told.append
    key = doors.new_key()
    phone = knocking(doors)
    for n in range(TRIES):
        assert phone.get(f"/in?key=wrong{n}").status_code == 403
    assert told == ["void"]
    assert phone.get(f"/in?key={key}").status_code == 403
    assert phone.get("/in?key=").status_code == 403
    assert phone.get(f"/in?key={doors.new_key()}").status_code == 200


def test_sessions_outlive_a_crash_but_not_a_proper_end_nor_a_day(tmp_path: Path) -> None:
    """The page on the wing goes on after a flat battery; what lies on the disk opens nothing by itself."""
    file, now = tmp_path / "serve" / "devices.json", [1e9]
    doors = Doors(file, lambda: now[0])
    session = doors.enter(doors.new_key())
    assert session is not None and len(session) >= 22
    assert session not in file.read_text()
    assert file.stat().st_mode & 0o077 == 0
    after = Doors(file, lambda: now[0])
    assert after.returning and after.knows(session) and not after.knows(session + "x")
    now[0] += LASTS_S + 1
    assert not after.knows(session) and not Doors(file, lambda: now[0]).returning
    file.write_text(json.dumps({"a": "never", "b": 1e99, "c": None}))
    assert not Doors(file, lambda: now[0]).returning
    file.write_text("[")
    damaged = Doors(file, lambda: now[0])
    assert not damaged.returning
    other = damaged.enter(damaged.new_key())
    assert other is not None and damaged.knows(other)
    damaged.forget()
    assert not file.exists() and not damaged.knows(other)


def test_tokens_of_sessions_differ() -> None:
    """A token that is the same for two devices would be worth nothing."""
    assert form_token("a") != form_token("b")
    assert form_token("a") == form_token("a")
