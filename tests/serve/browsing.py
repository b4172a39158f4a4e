"""A device for tests of the pages: it opens and reads them, and fills in their forms as a browser without script."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from html.parser import HTMLParser
from typing import Any

from starlette.testclient import TestClient

from diag.reason.reasoner import Reasoner
from diag.serve.app import make_app
from diag.serve.doors import Doors
from diag.serve.shelf import Options, Shelf
from diag.talk.rehearsal import SimulatedFitter
from diag.talk.typed import LOOK_ORDER
from tests.vehicles import SIX

__all__ = ["BASE", "Device", "Page", "answered", "site"]

HOST = "127.0.0.1:8765"
BASE = f"http://{HOST}"
COOKIE = "diag-8765"


def site(options: Options | None = None, doors: Doors | None = None) -> tuple[Shelf, Any]:
    """A shelf over the test's own home, and its pages."""
    shelf = Shelf(options or Options(vehicle=SIX), SIX)
    return shelf, make_app(shelf, [HOST], COOKIE, doors)


@dataclass
class Page(HTMLParser):
    """What a browser would make of a page: its words, links, forms with their fields and buttons."""

    html: str
    forms: list[dict[str, Any]] = field(default_factory=list)
    links: dict[str, str] = field(default_factory=dict)
    words: str = ""

    def __post_init__(self) -> None:
        super().__init__()
        self._link: str | None = None
        self._button: dict[str, str] | None = None
        self._asleep = 0
        self.feed(self.html)
        self.words = " ".join(self.words.split())

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        at = {name: value or "" for name, value in attrs}
        self._asleep += tag in ("title", "style", "script")
        if tag == "form":
            self.forms.append({"to": at["action"], "method": at["method"], "fields": {}, "buttons": []})
        elif tag in ("input", "textarea") and self.forms:
            off = at.get("type") in ("radio", "checkbox") and "checked" not in at
            if "name" in at and not off:
                self.forms[-1]["fields"][at["name"]] = at.get("value", "")
        elif tag == "button" and self.forms:
            self._button = {"name": at.get("name", ""), "value": at.get("value", ""), "words": ""}
            self.forms[-1]["buttons"].append(self._button)
        elif tag == "a":
            self._link = at["href"]

    def handle_endtag(self, tag: str) -> None:
        self._asleep -= tag in ("title", "style", "script")
        self._button = None if tag == "button" else self._button
        self._link = None if tag == "a" else self._link

    def handle_data(self, data: str) -> None:
        if self._asleep:
            return
        self.words += f" {data}"
        if self._button is not None:
            self._button["words"] = " ".join(f"{self._button['words']} {data}".split())
        if self._link is not None and data.strip():
            self.links[" ".join(data.split())] = self._link


class Device:
    """One phone: its cookies, the page it shows."""

    def __init__(self, app: Any, origin: str = BASE) -> None:
        self.client = TestClient(app, base_url=BASE, follow_redirects=False, raise_server_exceptions=True)
        self.origin = origin
        self.status, self.at = 0, ""
        self.page = Page("")

    def open(self, path: str) -> Page:
        """Open a page, and wait as long as it asks again by itself."""
        while True:
            answer = self.client.get(path)
            if answer.is_redirect:
                path = answer.headers["location"]
                continue
            again = re.search(r'http-equiv="refresh" content="\d+; url=([^"]+)"', answer.text)
            self._shown(answer, path)
            if again is None:
                return self.page
            path = again[1]

    def post(self, to: str, fields: dict[str, str], **more: Any) -> Any:
        """Send a form as it stands; where it leads is not followed."""
        headers = {
            "origin": self.origin,
            "content-type": "application/x-www-form-urlencoded",
            **more.pop("headers", {}),
        }
        return self.client.post(to, data=fields, headers=headers, **more)

    def form(self, act: str) -> dict[str, str]:
        """The fields of the form on this page, or on the one behind `more`, that does `act`; its place under `to`."""
        more = next((to for to in self.page.links.values() if to.endswith("/more")), None)
        here = list(self.page.forms)
        if more is not None and act in ("close", "later", "no-instrument"):
            here = Page(self.client.get(more).text).forms
        for one in here:
            acts = [b["value"] for b in one["buttons"] if b["name"] == "act"]
            if one["fields"].get("act") == act or act in acts:
                return {**one["fields"], "act": act, "to": one["to"]}
        raise AssertionError(f"no form for {act} in: {self.page.words}")

    def send(self, act: str, **fields: str) -> Page:
        """Fill in the form for `act`, send it, follow where it leads."""
        form = {**self.form(act), **fields}
        return self.follow(self.post(form.pop("to"), form))

    def follow(self, answer: Any) -> Page:
        """The page that an answer leads to."""
        if answer.is_redirect:
            return self.open(answer.headers["location"])
        self._shown(answer, self.at)
        return self.page

    def _shown(self, answer: Any, path: str) -> None:
        self.status, self.at, self.page = answer.status_code, path, Page(answer.text)

    def begin(self) -> str:
        """Begin a job on the vehicle that is offered first; its page's address."""
        self.open("/")
        form = next(one for one in self.page.forms if one["to"] == "/begin")
        self.follow(self.post("/begin", form["fields"]))
        return self.at


def answered(device: Device, reasoner: Reasoner, fitter: SimulatedFitter) -> None:
    """Answer the question on the page as someone at a vehicle with the fitter's faults would."""
    form = device.form("answer")
    step = reasoner.steps.get(form.get("check", ""))
    buttons = [b["words"] for one in device.page.forms if one["fields"].get("act") == "answer" for b in one["buttons"]]
    if step is None or buttons[:1] == ["Done"]:
        device.send("answer")
        return
    truth = fitter.truth(step)
    if truth is None:
        device.send("not-sure")
    elif step.kind == "measure":
        unit = "OL" if truth == float("inf") else str(step.unit)
        device.send("answer", reading="" if unit == "OL" else f"{truth:.3f}", unit=unit)
    else:
        order: list[Any] = list(LOOK_ORDER) if isinstance(truth, tuple) else list(step.outcomes)
        device.send("answer", pick=str(order.index(truth) + 1))
