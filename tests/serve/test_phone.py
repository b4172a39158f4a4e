"""The pages in a real browser of a phone's size: a whole job, the program killed and begun again in the middle of it,
nothing asked of anybody else, nothing that the pages' own policy forbids.

source of expectations: WCAG 2.2 (contrast 1.4.3, target size 2.5.8, reflow 1.4.10), from memory; the rest common
practice, no source
"""

from __future__ import annotations

import os
import re
import signal
import socket
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlsplit

import pytest

from diag.errors import DiagError
from diag.job.folder import list_jobs
from diag.job.journal import read_journal
from diag.paper.browser import find_browser
from diag.reason.reasoner import Reasoner
from diag.talk.rehearsal import SimulatedFitter
from diag.talk.typed import LOOK_ORDER
from tests.vehicles import SIX

playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed: no browser to drive")
PATIENCE_MS = 60_000


def _browser() -> str | None:
    try:
        return find_browser()
    except DiagError:
        return None


pytestmark = pytest.mark.skipif(_browser() is None, reason="no Chromium browser on this machine")


class Served:
    """`diag serve` as a program of its own, on one port."""

    def __init__(self, *more: str) -> None:
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = int(free.getsockname()[1])
        self.more = more
        self.base = f"http://127.0.0.1:{self.port}"
        self.start()

    def start(self) -> None:
        """Begin, and wait until it says where it is."""
        self.program = subprocess.Popen(
            [sys.executable, "-m", "diag", "serve", "--vehicle", str(SIX), "--port", str(self.port), *self.more],
            stdout=subprocess.PIPE,
            stdin=subprocess.PIPE,
            text=True,
            env=os.environ | {"PYTHONPATH": os.getcwd(), "NO_COLOR": "1"},
        )
        assert self.program.stdout is not None
        self.said = [self.program.stdout.readline()]
        while "Ctrl-C" not in self.said[-1]:
            assert self.said[-1], "it ended by itself"
            self.said.append(self.program.stdout.readline())

    def end(self, how: signal.Signals) -> int:
        """End it from outside; its exit code."""
        self.program.send_signal(how)
        code = self.program.wait(timeout=60)
        for pipe in (self.program.stdout, self.program.stdin):
            assert pipe is not None
            pipe.close()
        return code


@pytest.fixture
def served() -> Iterator[Served]:
    """A program that is gone afterwards."""
    server = Served()
    yield server
    if server.program.poll() is None:
        server.end(signal.SIGKILL)


@pytest.fixture(scope="module")
def chromium() -> Iterator[object]:
    """The machine's Chromium, driven."""
    with playwright.sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=_browser(), args=["--no-sandbox"])
        yield browser
        browser.close()


class Phone:
    """A page of 360 by 640 that keeps what it asked for and what it was forbidden."""

    def __init__(self, chromium: object, **more: object) -> None:
        screen = {"viewport": {"width": 360, "height": 640}, "has_touch": True, "is_mobile": True}
        self.context = chromium.new_context(**screen, **more)  # type: ignore[attr-defined]
        self.page = self.context.new_page()
        self.page.set_default_timeout(PATIENCE_MS)
        self.asked: list[str] = []
        self.forbidden: list[str] = []
        self.context.on("request", lambda request: self.asked.append(request.url))
        self.page.on("console", lambda line: self.forbidden.append(line.text) if "Content Security" in line.text else 0)
        self.page.on("pageerror", lambda error: self.forbidden.append(str(error)))

    def tap(self, target: object) -> None:
        """Tap, and wait for the page that comes of it."""
        with self.page.expect_navigation():
            target.click()  # type: ignore[attr-defined]
        self.ready()

    def ready(self) -> None:
        """Wait while the page says that it is worked out."""
        working = re.compile("^Working")
        playwright.expect(self.page).not_to_have_title(working, timeout=PATIENCE_MS)
        self.page.wait_for_load_state()

    def button(self, words: str) -> object:
        """A button by its whole words."""
        return self.page.get_by_role("button", name=re.compile(rf"^(\d+ )?{re.escape(words)}$")).first

    def begin(self, base: str, complaint: str) -> None:
        """Begin a job and say what is wrong."""
        self.page.goto(base)
        self.tap(self.button("Begin"))
        self.page.get_by_label("In your words").fill(complaint)
        self.tap(self.button("Go on"))

    def answer(self, reasoner: Reasoner, fitter: SimulatedFitter) -> bool:
        """Answer as someone at a vehicle with that fault; False where nothing is asked."""
        form = self.page.locator("form:has(input[name=act][value=answer])")
        if not form.count():
            return False
        check = form.locator("input[name=check]").get_attribute("value")
        if form.get_by_role("button", name="Done").count():
            self.tap(form.get_by_role("button", name="Done"))
            return True
        step = reasoner.steps[check]
        truth = fitter.truth(step)
        if truth is None:
            self.tap(self.button("not sure"))
        elif step.kind == "measure":
            if truth != float("inf"):
                self.page.locator("#reading").fill(f"{truth:.2f}".replace(".", ","))
            self.tap(form.locator(f"button[value='{'OL' if truth == float('inf') else step.unit}']"))
        else:
            order = list(LOOK_ORDER) if isinstance(truth, tuple) else list(step.outcomes)
            wanted = form.locator(f"button[value='{order.index(truth) + 1}']")
            if not wanted.is_visible():
                form.locator("details.rest summary").click()
            self.tap(wanted)
        return True

    def cure(self, fitter: SimulatedFitter) -> None:
        """Read the cautions, carry out the first remedy."""
        self.tap(self.page.locator("nav a[href*='/remedy/']").first)
        while self.page.locator("input[name=act][value=read]").count():
            self.tap(self.button("Done: read and seen to"))
        form = self.page.locator("form:has(input[name=act][value=remedied])")
        assert fitter.remedy(str(form.locator("input[name=remedy]").get_attribute("value")))
        self.tap(form.get_by_role("button"))


def test_a_whole_job_with_the_program_killed_in_the_middle(
    served: Served, chromium: object, reasoner: Reasoner
) -> None:
    """Complaint to proof; a kill in mid-job loses nothing, and the same page goes on by itself; no step outside."""
    phone, fitter = Phone(chromium), SimulatedFitter(reasoner, ["flasher-unit.never-opens"])
    phone.begin(served.base, "turn lamps do not flash")
    phone.answer(reasoner, fitter)
    (job,) = list_jobs()
    before = read_journal(job)[0]
    served.end(signal.SIGKILL)
    assert phone.page.locator("form:has(input[name=act][value=answer])").count()
    with phone.page.expect_navigation():
        phone.page.locator("form.answer button:visible").first.click()
        phone.page.get_by_text("The machine is away").wait_for()
        served.start()
    phone.ready()
    kept = read_journal(job)[0]
    assert kept[: len(before)] == before
    given = [record for record in kept[len(before) :] if record.event in ("answered", "acknowledged")]
    assert len(given) == 1
    phone.tap(phone.button("undo"))
    while True:
        assert_fits(phone)
        if phone.answer(reasoner, fitter):
            continue
        if not phone.page.locator("nav a[href*='/remedy/']").count():
            break
        phone.cure(fitter)
    assert "Where this job stands" in phone.page.inner_text("main")
    assert fitter.cured
    assert read_journal(job)[0][-1].event == "proved"
    assert phone.forbidden == []
    assert {urlsplit(url).netloc for url in phone.asked} == {urlsplit(served.base).netloc}
    assert served.end(signal.SIGINT) == 0  # the browser still holds its connection open
    phone.context.close()


def assert_fits(phone: Phone) -> None:
    """Nothing is cut at the side, what is tapped is large enough, and the main answer is in view."""
    assert phone.page.evaluate("document.documentElement.scrollWidth") <= 360
    small = phone.page.evaluate(
        "[...document.querySelectorAll('button, .button, summary')].filter(e => e.checkVisibility())"
        ".map(e => e.getBoundingClientRect().height).filter(h => h < 48)"
    )
    assert small == []
    first = phone.page.locator("footer button:visible, footer .button:visible").first.bounding_box()
    assert first["y"] + first["height"] <= 640


def test_without_any_script_and_readable_in_both_schemes(served: Served, chromium: object) -> None:
    """Plain forms alone do it; words stand out from their ground by 4.5 to 1 at least, by day and by night."""
    phones = [Phone(chromium, java_script_enabled=False, color_scheme=scheme) for scheme in ("light", "dark")]
    first, second = phones
    first.page.goto(served.base)
    first.page.get_by_role("button", name="Begin").click()
    first.page.get_by_label("In your words").fill("horn silent")
    first.page.get_by_role("button", name="Go on").click()
    first.page.get_by_text("Kept: complaint").wait_for()
    for _ in range(2):
        text = first.page.inner_text("main")
        first.page.locator("form.answer button:visible").first.click()
        first.page.get_by_text("Kept:").first.wait_for()
        assert first.page.inner_text("main") != text
        second.page.goto(first.page.url)
        assert second.page.inner_text("main") == first.page.inner_text("main")
        assert [dull(phone) for phone in phones] == [[], []]
    for phone in phones:
        phone.page.get_by_text("more").click()
        phone.page.get_by_role("link", name="likely causes").click()
        phone.page.get_by_role("heading", name="Likely so far").wait_for()
        assert dull(phone) == []
        phone.context.close()


_CONTRAST = """() => {
  const luminance = (rgb) => {
    const [r, g, b] = rgb.map(v => v / 255).map(v => v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4);
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  };
  const parts = (text) => text.match(/[\\d.]+/g).map(Number);
  const ground = (e) => {
    for (; e; e = e.parentElement) {
      const found = parts(getComputedStyle(e).backgroundColor);
      if (found.length < 4 || found[3] > 0) return found.slice(0, 3);
    }
    return [255, 255, 255];
  };
  const out = [];
  for (const e of document.querySelectorAll('body *:not(svg *)')) {
    if (!e.checkVisibility() || ![...e.childNodes].some(n => n.nodeType === 3 && n.data.trim())) continue;
    const style = getComputedStyle(e), back = ground(e);
    const alpha = Number(style.opacity);
    const ink = parts(style.color).slice(0, 3).map((v, i) => alpha * v + (1 - alpha) * back[i]);
    const [a, b] = [luminance(ink), luminance(back)].sort((x, y) => y - x);
    const ratio = (a + 0.05) / (b + 0.05);
    if (ratio < 4.5) out.push([e.tagName, e.className, e.textContent.trim().slice(0, 30), ratio]);
  }
  return out;
}"""


def dull(phone: Phone) -> list[object]:
    """What does not stand out enough from its ground (WCAG's formula), with its ratio."""
    found: list[object] = phone.page.evaluate(_CONTRAST)
    return found


def test_a_second_phone_needs_a_key_of_its_own(chromium: object) -> None:
    """The address with the key lets one browser in, from a link elsewhere too; Enter makes the next key."""
    served = Served("--network", "--address", "127.0.0.1")
    try:
        said = " ".join(served.said)
        assert "can read along" in said
        url = re.findall(r"http://\S+key=\S+", said)[0]
        first, second = Phone(chromium), Phone(chromium)
        first.page.goto(url)
        first.page.wait_for_url(f"{served.base}/")
        assert first.page.get_by_role("button", name="Begin").count()
        assert second.page.goto(url).status == 403
        assert second.page.goto(served.base).status == 403
        assert served.program.stdin is not None and served.program.stdout is not None
        served.program.stdin.write("\n")
        served.program.stdin.flush()
        line = ""
        while "key=" not in line or url in line:
            line = served.program.stdout.readline()
        second.page.goto(re.findall(r"http://\S+key=\S+", line)[0])
        second.page.wait_for_url(f"{served.base}/")
        served.end(signal.SIGKILL)
        served.start()
        assert first.page.goto(served.base).status == 200  # after a crash the devices go on
        folder = Path(os.environ["DIAG_HOME"]) / "serve"
        assert list(folder.iterdir())
        assert served.end(signal.SIGTERM) == 0
        assert not list(folder.iterdir())
        first.context.close()
        second.context.close()
    finally:
        if served.program.poll() is None:
            served.end(signal.SIGKILL)
