"""Text from a stranger, in numbers, answers, notes, names and files: shown as text or refused, never acted on."""

from __future__ import annotations

import contextlib
import csv
import html.parser
import importlib
import io
import json
import pkgutil
import re
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import diag
from diag.cli import main
from diag.errors import DiagError, KnowledgeError, harmless
from diag.job.journal import LINE_LIMIT, Journal, parse_journal
from diag.job.mend import mended
from diag.job.records import decode
from diag.knowledge.reader import parse_yaml
from diag.knowledge.units import UnitError, parse_quantity
from diag.reason.reasoner import Reasoner
from diag.talk.answers import parse_reading
from diag.talk.conversation import Conversation
from diag.talk.lines import run_lines
from diag.talk.opening import Rehearsed
from diag.talk.plain import run_plain
from tests.trust import fuzz
from tests.trust.faulty import warm

FAST = settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck), derandomize=True)
HOSTILE = (
    '=HYPERLINK("http://x","y")',
    "+1+cmd|' /C calc'!A0",
    "-2+3",
    "@SUM(1)",
    "\t=1+1",
    "<script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>',
    "]]></svg><svg onload=alert(1)>",
    "{{ 7*7 }} {% raw %} ${7*7} %s {0.__class__}",
    "[x](javascript:alert(1)) ![y](http://x/y.png)",
    "\x1b[2J\x1b]52;c;x\x07\x9b31m",
    "\u202eabc\u2066\u200b\ufeff",
    "line\r\nother\u2028third",
    "\ud800",
)
WORDS = st.one_of(
    st.text(max_size=60),
    st.sampled_from(HOSTILE),
    st.sampled_from([t.decode("utf-8", "replace") for t in fuzz._TOKENS]),
)


def printed(text: str) -> bool:
    """Whether a terminal only shows it."""
    return all(sign.isprintable() or sign == "\n" for sign in text)


# ---------------------------------------------------------------- numbers


NUMBERS = (
    "1e999999",
    "1e-999999",
    "9" * 10_000,
    "0" * 100_000 + "1",
    "1" + " " * 100_000 + "V x",
    " " * 200_000 + "!",
    "1" + "." * 50_000,
    "nan",
    "inf",
    "-Infinity",
    "1_000",
    "１２.5 V",
    "٣ V",
    "0x10 V",
    "1e5e5",
    "10**10000",
    "12V" * 40_000,
    "1\x1b[2J V",
    "\u202e12 V",
    "1 V^9999999",
    "1 " + "k" * 5000 + "V",
    "+" * 100_000,
)


@pytest.mark.parametrize("text", NUMBERS, ids=range(len(NUMBERS)))
def test_odd_numbers_are_refused_or_finite(text: str) -> None:
    """Full-width digits, underscores, numbers without end: never a guess, never a wait, never infinity but for OL."""
    for unit in ("V", "A", "ohm", "W", "m", "mm2", "min", "/min", "degC"):
        with contextlib.suppress(UnitError):
            assert abs(parse_quantity(text, unit)) < 1e7
    for unit in ("V", "A", "ohm"):
        if text == "inf" and unit == "ohm":  # what some meters show for no continuity
            continue
        with pytest.raises(DiagError) as caught:
            parse_reading(text, unit, 12.0)  # type: ignore[arg-type]
        assert printed(str(caught.value)) and len(str(caught.value)) < 600


@FAST
@given(WORDS)
def test_any_text_is_a_quantity_or_refused_in_words(text: str) -> None:
    """What is taken is finite and believable; what is refused is told on a line that a terminal can show."""
    for unit in ("V", "ohm", "mm2", "degC"):
        with contextlib.suppress(UnitError):
            assert abs(parse_quantity(text, unit)) < 1e7
    try:
        assert parse_reading(text, "V", 12.0) < 1e7
    except DiagError as error:
        assert printed(str(error))


# ---------------------------------------------------------------- files


@FAST
@given(st.binary(max_size=300), st.integers(0, 2**32))
def test_any_bytes_as_yaml_give_plain_data_or_places(noise: bytes, number: int) -> None:
    """Real files with pieces changed, and noise: a message with its place, or texts, lists and mappings alone."""
    import random

    chance = random.Random(number)
    seeds = fuzz.seeds_of("vehicle")
    for content in (noise, fuzz.mutated(chance.choice(seeds), noise or b"x", chance)):
        try:
            found = parse_yaml(content, "file.yaml").data
        except KnowledgeError as error:
            assert str(error).startswith("file.yaml:")
            continue
        waiting: list[Any] = [found]
        while waiting:
            one = waiting.pop()
            assert type(one) in (dict, list, str)
            waiting += [*one, *one.values()] if isinstance(one, dict) else one if isinstance(one, list) else []


def test_bombs_are_refused_before_they_go_off() -> None:
    """Aliases that multiply, brackets without end, a hundred megabytes: told at once with line and column."""
    bomb = b"a: &a [x,x,x,x,x,x,x,x,x]\n" + b"".join(
        b"%c: &%c [*%c,*%c,*%c,*%c,*%c,*%c]\n" % (n + 1, n + 1, n, n, n, n, n, n) for n in range(97, 110)
    )
    for content, words in (
        (bomb, "an anchor stands here"),
        (b"a: " + b"[" * 400_000, "nested too deep"),
        (b"a: " + b"{a: " * 200_000, "nested too deep"),
        (b"? " * 300_000, "."),
        (b"x" * 100_000_000, "too large"),
        (b"a: !!python/object/apply:os.system [id]", "a tag stands here"),
        (b"a: 2026-13-45\nb: 1:99:99\nc: 0o9\n", None),
    ):
        if words is None:
            assert parse_yaml(content, "file.yaml").data["a"] == "2026-13-45"
            continue
        with pytest.raises(KnowledgeError, match=words):
            parse_yaml(content, "file.yaml")


@FAST
@given(st.integers(0, 2**32), st.binary(max_size=120))
def test_any_bytes_as_a_job_are_told_or_mended(number: int, noise: bytes) -> None:
    """And what is mended can be read by the same program."""
    import random

    chance = random.Random(number)
    seeds = fuzz.seeds_of("journal")
    content = fuzz.mutated(chance.choice(seeds), noise or b"x", chance)
    with contextlib.suppress(DiagError):
        good, _ = mended(content, "job")
        assert parse_journal(good, "job")[0]
    with contextlib.suppress(DiagError):
        parse_journal(noise, "job")


def test_lines_at_the_limits_of_json_are_told() -> None:
    """Digits, brackets and signs that have brought readers down."""
    head = b'{"v":1,"seq":1,"at":"2026-11-25T08:30:00Z","event":"noted","value":'
    for value in (
        b"1e999",
        b"-1e999",
        b"9" * 5000,
        b"[" * 30_000,
        b"NaN",
        b"1" * (LINE_LIMIT + 1),
        b'"' + b"x" * 70_000,
    ):
        with pytest.raises(DiagError) as caught:
            decode(head + value + b"}", "job", 1)
        assert "sys." not in str(caught.value) and len(str(caught.value)) < 500
    assert decode(head + b'"\\ud800\\udc00\\ud800"}', "job", 1).fields["value"] == "\U00010000\ufffd"


# ---------------------------------------------------------------- conversation


@settings(FAST, max_examples=25)
@given(
    st.lists(st.tuples(st.sampled_from(["note", "symptom", "changed", "why", "remedied", "undo"]), WORDS), max_size=4)
)
def test_any_line_of_the_conversation_gets_one_reply(reasoner: Reasoner, said: list[tuple[str, str]]) -> None:
    """Tell or error, and nothing in it that steers a terminal, whichever front end shows it."""
    lines = [json.dumps({key: text}) for key, text in said] + [text.replace("\n", " ") for _, text in said]
    out = io.StringIO()
    run_lines(Conversation(reasoner, Rehearsed.opened(reasoner), "job\x1b[2J"), lines, out)
    told = [json.loads(line) for line in out.getvalue().splitlines()]
    assert sum(one["type"] in ("tell", "error") for one in told) == len(lines)
    assert printed(out.getvalue())
    out = io.StringIO()
    run_plain(Conversation(reasoner, Rehearsed.opened(reasoner), "job"), [text for _, text in said], out)
    assert printed(out.getvalue())


class Tags(html.parser.HTMLParser):
    """What a browser would make of a page."""

    def __init__(self) -> None:
        super().__init__()
        self.odd: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Scripts, and anything that runs or asks for something."""
        if tag in ("script", "iframe", "object", "embed", "link", "base", "form"):
            self.odd.append(tag)
        self.odd += [f"{tag} {name}" for name, value in attrs if name.startswith("on")]
        self.odd += [
            f"{tag} {name}={value}"
            for name, value in attrs
            if name in ("src", "href", "xlink:href", "action") and not (value or "").startswith(("#", "data:image/svg"))
        ]


@pytest.fixture(scope="module")
def hostile_job(reasoner: Reasoner, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A job that came from elsewhere: every text in it wants something."""
    job = tmp_path_factory.mktemp("hostile") / "job\x1b[2J<b>.jsonl"
    with Journal.create(job) as journal:
        journal.append(
            "opened", vehicle=HOSTILE[5], **{"vehicle-file": HOSTILE[10], "knowledge": HOSTILE[8], "tool": "=1"}
        )
        journal.append("instruments", have=["meter", HOSTILE[6]])
        journal.append("answered", check="start", value="horn-silent")
        for text in HOSTILE:
            journal.append("noted", text=text)
            journal.append("found", check=text, kind="look", operate={text: text}, target=text, value=text)
            journal.append("left-open", seqs=[3], reason=text, text=text)
            journal.append("skipped", check=text, reason=text)
        journal.append("answered", check="start", value=HOSTILE[6])
        journal.append("changed", text="; ".join(HOSTILE))
        journal.append("remedied", remedy=HOSTILE[5])
        journal.append("concluded", final=True, remedies=[{"id": HOSTILE[5], "p": 1, "causes": [], "evidence": []}])
    return job


@pytest.mark.parametrize("form", ["markdown", "json", "csv", "handover", "html", "owner", "parts"])
def test_no_form_of_the_log_carries_it_on(reasoner: Reasoner, hostile_job: Path, tmp_path: Path, form: str) -> None:
    """Terminals, spreadsheets and browsers each have their own way to be fooled."""
    out = tmp_path / f"log.{'html' if form == 'owner' else form}"
    with warm(reasoner):
        arguments = ["export", str(hostile_job), "--as", form, "--vehicle", "pickup.yaml"]
        written = CliRunner().invoke(main, [*arguments, "--out", str(out)])
    assert written.exit_code == 0, written.output + repr(written.exception)
    text = out.read_bytes().decode("utf-8")
    assert printed(text.replace("\r\n", "\n") if form == "csv" else text), {s for s in text if not s.isprintable()}
    if form in ("html", "owner"):
        tags = Tags()
        tags.feed(text)
        assert tags.odd == []
    elif form == "csv":
        for row in csv.reader(io.StringIO(text)):
            assert not any(
                cell.lstrip().startswith(("=", "+", "@")) or re.match(r"\s*-[^\d.]|\s*-\d+\+", cell) for cell in row
            )
    elif form != "json":
        text = re.sub(r"`[^`\n]*`", "", text)  # what stands between these is shown as it is
        assert "<script" not in text and "<img" not in text and not re.search(r"(?<!\\)\]\(", text)


# ---------------------------------------------------------------- patterns


def test_no_pattern_repeats_what_repeats() -> None:
    """`(a+)+` takes for ever on the right text. Repeats within repeats only where a fixed sign parts them."""
    import re._constants as constants  # noqa: PLC2701
    import re._parser as parser

    def unbounded(items: Any, inside: bool = False) -> bool:
        for what, given_ in items:
            if what in (constants.MAX_REPEAT, constants.MIN_REPEAT):
                _, most, body = given_
                endless = most == constants.MAXREPEAT
                if (endless and inside and body[0][0] is constants.ANY) or unbounded(body, inside or endless):
                    return True
                if endless and inside and not parted:
                    return True
            elif what is constants.SUBPATTERN:
                if unbounded(given_[3], inside):
                    return True
            elif what is constants.BRANCH and any(unbounded(one, inside) for one in given_[1]):
                return True
        return False

    checked = 0
    for found in pkgutil.walk_packages(diag.__path__, "diag."):
        if found.name.endswith("__main__"):
            continue
        for name, pattern in vars(importlib.import_module(found.name)).items():
            if isinstance(pattern, re.Pattern):
                text = pattern.pattern if isinstance(pattern.pattern, str) else pattern.pattern.decode("latin-1")
                parted = bool(re.search(r"\((\?:)?-\[a-z|\\s\+\|\$", text))
                assert not unbounded(parser.parse(text)), f"{found.name}.{name}"
                checked += 1
    assert checked > 20


def test_harmless_text_keeps_its_lines_and_words() -> None:
    """The last door before a terminal."""
    assert harmless("Ω 1.5 mm² – ok\nsecond") == "Ω 1.5 mm² – ok\nsecond"
    for text in HOSTILE:
        assert printed(harmless(text))


def test_a_reason_that_steers_a_terminal_is_told_as_text(reasoner: Reasoner) -> None:
    """The plain conversation repeats what was typed: a skipped stage, its reason, at the sheet."""
    out = io.StringIO()
    lines = ["whole", "done", "3 dark", "skip RE\x0f\x13\x1b[2Jx", "note \x1b[2J\x9b", "quit"]
    run_plain(Conversation(reasoner, Rehearsed.opened(reasoner), "job"), lines, out)
    assert printed(out.getvalue())
