"""Whatever is sent to the pages gets a page of words back, and nothing of it is kept but what a question asked for.

source of all expectations: common practice, no source
"""

from __future__ import annotations

from typing import Any
from urllib.parse import quote

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from diag.job.folder import list_jobs
from diag.job.journal import read_journal
from diag.serve import acts
from tests.serve.browsing import Device, site

pytestmark = pytest.mark.usefixtures("_shared")
FEW = settings(max_examples=120, suppress_health_check=[HealthCheck.function_scoped_fixture])
PAGES = (
    "",
    "causes",
    "cause",
    "answers",
    "why",
    "note",
    "more",
    "picture",
    "stages",
    "papers",
    "help",
    "correct",
    "remedy",
)
ODD = st.one_of(
    st.text(max_size=40),
    st.sampled_from(
        [
            "../../etc/passwd",
            "%00",
            "<script>alert(1)</script>",
            "{{7*7}}",
            "1e999999",
            "NaN",
            "\u202e1",
            "9" * 400,
            "-1",
        ]
    ),
)
FIELDS = st.dictionaries(
    st.sampled_from(
        ["seq", "check", "words", "value", "reading", "unit", "light", "rhythm", "remedy", "stage", "reason", "name",
         "number", "minus", "group", "odd"]
    ),
    ODD,
    max_size=6,
)  # fmt: skip


@pytest.fixture
def phone() -> Device:
    """A device with a job whose complaint is told."""
    device = Device(site()[1])
    device.begin()
    device.send("answer", words="horn is dead")
    return device


def asked_for(answer: Any) -> str:
    """The text of a page that tells something; fails for what is no page of ours."""
    assert answer.status_code < 500, answer.text
    assert "Traceback" not in answer.text and "<script>alert" not in answer.text
    return str(answer.text)


def test_any_form_is_answered_in_words(phone: Device) -> None:
    """True questions with odd answers, odd questions, buttons that there are and that there are not."""
    (job,) = list_jobs()
    own = dict(phone.form("answer"))
    place = own.pop("to")
    names = [*acts._ACTS, "none", ""]

    @FEW
    @given(st.sampled_from(names), FIELDS, st.booleans())
    def sent(name: str, fields: dict[str, str], fresh: bool) -> None:
        form = {**(own if fresh else {}), **fields, "act": name}
        answer = phone.post(place, form)
        if answer.is_redirect:
            assert answer.headers["location"].startswith("/job/")
        asked_for(answer)

    sent()
    records, messages = read_journal(job)
    assert not messages
    assert all(name.isprintable() for record in records for name in record.fields)
    phone.open(place)
    assert phone.status == 200


@settings(FEW, max_examples=30)
@given(st.sampled_from(PAGES), ODD, ODD)
def test_any_address_gets_a_page_or_a_no(page: str, arg: str, query: str) -> None:
    """Names of pages with anything behind them."""
    device = _DEVICES.setdefault("one", _opened())
    job = device.at.split("/")[2]
    path = f"/job/{job}/{page}" + (f"/{quote(arg, safe='')}" if arg and page else "")
    answer = device.client.get(f"{path}?name={quote(query, safe='')}")
    assert answer.status_code in (200, 303, 307, 404, 400, 410, 414), answer.status_code
    asked_for(answer)
    other = device.client.get(f"/job/{quote(arg, safe='') or 'x'}")
    assert other.status_code in (303, 404, 400, 414), other.status_code
    asked_for(other)


_DEVICES: dict[str, Device] = {}


def _opened() -> Device:
    device = Device(site()[1])
    device.begin()
    return device
