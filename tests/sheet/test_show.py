"""`diag vehicle show` from outside: forms, widths, messages and exit codes.

source of all expectations: common practice, no source
"""

from __future__ import annotations

import re
import xml.etree.ElementTree as ElementTree
from html.parser import HTMLParser
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from diag.circuit.predict import Predictor
from diag.cli import main
from diag.knowledge.load import load_knowledge
from diag.sheet.warnings import cautions_of
from diag.sheet.ways import Ways, end_part
from tests.sheet.paper import texts_of
from tests.vehicles import SIX

LEFT = ("--operate", "ignition=on", "--operate", "turn=left")


def show(*arguments: str) -> Result:
    """One call of the verb."""
    result = CliRunner(env={"COLUMNS": "120"}).invoke(main, ["vehicle", "show", *arguments])
    assert result.exception is None or isinstance(result.exception, SystemExit), repr(result.exception)
    return result


def test_every_option_is_explained() -> None:
    """The group and its verb say what they do."""
    group = main.commands["vehicle"]
    for verb, command in sorted(group.commands.items()):  # type: ignore[attr-defined]
        text = CliRunner().invoke(main, ["vehicle", verb, "--help"]).output
        assert command.help
        for option in command.params:
            if option.param_type_name == "option":
                assert option.help and option.opts[0] in text


def test_table_on_the_screen_and_forty_columns_when_asked() -> None:
    """Eighty columns at most on a wide screen, forty for a phone; cautions before figures."""
    wide, narrow = show(*LEFT).output, show(*LEFT, "--narrow").output
    assert max(map(len, wide.splitlines())) <= 80 and max(map(len, narrow.splitlines())) <= 40
    assert max(map(len, wide.splitlines())) > 60
    for text in (wide, narrow):
        assert text.index("CAUTION: Key on with the engine stopped") < text.index("Lamps\n")
        assert "normal, flashing" in text


def test_order_of_the_controls_typed_changes_nothing() -> None:
    """The sheet is of a state, not of a way to type it; rest positions may be named too."""
    one = show("--operate", "turn=left", "--operate", "ignition=on", "--operate", "lights=off").output
    assert one == show(*LEFT).output


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("--operate", "ignition"), ("`ignition`", "control=position")),
        (("--operate", "=on"), ("control=position",)),
        (("--operate", "ignitoin=on"), ("`ignitoin`", "`ignition`", "`lights`")),
        (("--operate", "turn=lft"), ("`turn=lft`", "`left`", "`right`")),
        (("--operate", "turn=left", "--operate", "turn=right"), ("turn=right", "turn=left")),
        (("--operate", "unplugged=horn.72"), ("`horn.72`", "`horn.71`")),
        (("--operate", "unplugged=turn-switch.49"), ("turn-switch.49",)),
        (("--fault", "fuse-horn.blwon"), ("`fuse-horn.blwon`", "`fuse-horn.blown`", "--fault list")),
        (("--circuit", "turn-signal"), ("`turn-signal`", "`turn-signals`", "`horn`")),
        (("--out", "sheet.pdf"), ("sheet.pdf", ".svg", ".html")),
        (("no-such-van.yaml",), ("no-such-van.yaml",)),
    ],
)
def test_wrong_input_is_told_with_what_there_is(arguments: tuple[str, ...], says: tuple[str, ...]) -> None:
    """What was found, what is there, the nearest; exit code 2, nothing on the output."""
    result = show(*arguments)
    assert (result.exit_code, result.stdout) == (2, "")
    for words in says:
        assert words in result.stderr
    assert "Traceback" not in result.stderr


def test_fault_list_is_that_of_demo() -> None:
    """One habit for both verbs."""
    listed = show("--fault", "list")
    assert listed.exit_code == 0
    ids = [line.split()[0] for line in listed.output.splitlines()]
    assert len(ids) == len(set(ids)) > 100
    assert {"fuse-horn.blown", "flasher-unit.never-opens"} <= set(ids)


class _Reader(HTMLParser):
    """Checks that tags close, and gathers them."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.seen: list[tuple[str, dict[str, str | None]]] = []
        self.text = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.seen.append((tag, dict(attrs)))
        if tag not in ("meta", "br"):
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.text += data


def test_every_form_is_written_and_says_the_same(tmp_path: Path) -> None:
    """Drawing, page, Markdown, text: each file holds the fault, the caution and the changed lamp."""
    files = {form: tmp_path / f"sheet.{form}" for form in ("svg", "html", "md", "txt")}
    for file in files.values():
        result = show(*LEFT, "--fault", "earth-rear-left.open", "--out", str(file))
        assert (result.exit_code, result.output) == (0, f"Written: {file}\n")
    texts = {form: file.read_text(encoding="utf-8") for form, file in files.items()}
    reader = _Reader()
    reader.feed(texts["html"])
    assert reader.open == []
    plain = {
        "svg": " ".join(text.text for text in texts_of(texts["svg"])),
        "html": reader.text,
        "md": texts["md"].replace("\\", ""),
        "txt": texts["txt"],
    }
    for form, text in plain.items():
        joined = " ".join(text.split())
        for words in ("Rear left earth point: earth missing", "the engine stopped", "glow", "!"):
            assert words in joined, (form, words)
    assert texts["html"].count('<svg id="drawing-') == texts["html"].count('id="at-') > 4
    assert not [a for tag, a in reader.seen if tag in ("script", "link", "img", "iframe") or "src" in a]
    assert all(a["href"].startswith("#") for _, a in reader.seen if "href" in a), "nothing leads outside"
    ElementTree.fromstring(texts["svg"])


def test_the_plain_wiring_is_an_overview_drawings_and_a_list_of_wires(tmp_path: Path) -> None:
    """To hang up: every circuit is reached from the first page, every wire and fuse is in the lists, and no state."""
    page, drawing = tmp_path / "wiring.html", tmp_path / "wiring.svg"
    for file in (page, drawing):
        assert show("--plain", "--out", str(file)).exit_code == 0
    text = page.read_text(encoding="utf-8")
    reader = _Reader()
    reader.feed(text)
    assert reader.open == []
    assert "<script" not in text and "http-equiv" in text and 'lang="en"' in text
    targets, ids = re.findall(r'href="#(at-[^"]+)"', text), set(re.findall(r'id="([^"]+)"', text))
    assert len(targets) > 4 and set(targets) <= ids
    knowledge = load_knowledge(SIX)
    wires = re.findall(r'<th scope="row" class="word">(W\d+)</th>', text)
    assert wires == [f"W{i + 1}" for i in range(len(knowledge.wires))]
    rows = dict(re.findall(r'<tr><th scope="row">([^<]*)</th><td class="figure"[^>]*>[\d.]+ A</td>(.*)</tr>', text))
    assert set(rows) == {part.title for part in knowledge.parts.values() if part.kind == "fuse"}
    assert "Hazard switch" in rows["Turn signal fuse"], "a fuse leads to what is on its `out`, whatever feeds it beside"
    for found in (text, drawing.read_text(encoding="utf-8")):
        assert not re.search(r">-?[\d.]+ V<", found) and "Controls:" not in found


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("--plain",), ("no --out", ".svg or .html")),
        (("--plain", "--out", "x.md"), ("x.md", ".svg or .html")),
        (("--plain", "--fault", "horn.open", "--out", "x.svg"), ("--fault horn.open", "leave one")),
    ],
)
def test_what_a_plain_drawing_cannot_be_is_told(arguments: tuple[str, ...], says: tuple[str, ...]) -> None:
    """Before anything is worked out."""
    result = show(*arguments)
    assert result.exit_code == 2
    for words in says:
        assert words in result.output


def test_unplugged_wire_is_off(tmp_path: Path) -> None:
    """The horn's feed taken off: its far end has volts, the horn none."""
    text = show("--operate", "unplugged=horn.71", "--operate", "horn-button=pressed", "--circuit", "horn").output
    assert "take the wire off Horn terminal 71" in text
    assert re.search(r"Horn {10,}none", text)


def test_hostile_vehicle_title_is_only_words(tmp_path: Path) -> None:
    """In every form: no tag, no formula, no escape sequence comes through."""
    file = tmp_path / "van.yaml"
    bad = 'title: "<script>alert(1)</script> | [x](http://y) **b** &"'
    text = re.sub(r"title: Demo.*", lambda found: bad, SIX.read_text("utf-8"))
    file.write_text(text, encoding="utf-8")
    for form in ("svg", "html", "md", "txt"):
        out = tmp_path / f"out.{form}"
        result = show(str(file), "--circuit", "horn", "--out", str(out))
        assert result.exit_code == 0, result.output
        written = out.read_text(encoding="utf-8")
        if form in ("svg", "html", "md"):
            assert "<script>" not in written
        if form == "md":
            assert "[x](http" not in written and "**b**" not in written


# ---------------------------------------------------------------- cautions and ways


@pytest.mark.parametrize(
    ("operate", "belongs", "not_there"),
    [
        ({}, set(), {"coil-live", "moving-parts"}),
        ({"ignition": "on"}, {"coil-live"}, {"moving-parts"}),
        ({"ignition": "on", "turn": "right", "brake-pedal": "pressed"}, {"coil-live"}, {"moving-parts"}),
        ({"ignition": "on", "engine": "running", "lights": "side"}, {"moving-parts"}, {"coil-live"}),
        ({"battery": "disconnected"}, {"battery-off-first"}, {"coil-live"}),
    ],
)
def test_cautions_are_those_of_the_positions(
    demo: Predictor, operate: dict[str, str], belongs: set[str], not_there: set[str]
) -> None:
    """Also for positions that no check uses together: key on with the engine stopped heats the coil whatever
    else is switched on."""
    found = {caution.id for caution in cautions_of(demo.knowledge, operate)}
    assert belongs <= found
    assert not not_there & found


def test_ways_lead_from_battery_to_body(demo: Predictor) -> None:
    """Every wire is told at the end that is fed: fuse before lamp, lamp before earth, and the way back last."""
    ways = Ways.of(demo.knowledge, demo.network)
    for wire, upper in (
        ("battery-cable", "battery.B+"),
        ("turn-key-feed", "fuse-turn.out"),
        ("flasher-output", "flasher-unit.49a"),
        ("hazard-output", "flasher-unit.49a"),
        ("turn-rear-left-wire", "turn-joint-left.rear"),
        ("return-turn-rear-left", "turn-lamp-rear-left.31"),
        ("cluster-left-earth-wire", "cluster-left.31"),
        ("horn-to-column", "horn.31b"),
    ):
        assert ways.wires[wire][0] == upper, wire
    assert {wire for wire in ways.home if "earth" in wire} == ways.home != frozenset()
    order = ways.parts([part for part in demo.knowledge.parts if demo.knowledge.circuit_of[part] == "stop-lamps"])
    for first, then in (
        ("fuse-stop", "pedal-switch"),
        ("pedal-switch", "stop-joint"),
        ("stop-joint", "stop-lamp-left"),
    ):
        assert order.index(first) < order.index(then)
    fed = {end_part(lower) for _, lower in ways.wires.values()}
    assert all(part in fed for part in demo.knowledge.parts if demo.knowledge.parts[part].kind == "lamp")
