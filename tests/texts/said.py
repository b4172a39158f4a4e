"""Says much of what the program can say, in the language of the environment: `python -m tests.texts.said FOLDER`.

Prints one JSON object: what was called, and what it said.
"""

from __future__ import annotations

import io
import json
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import click
from click.testing import CliRunner

from diag.cli import main
from diag.log.export import open_job
from diag.log.handover import as_handover
from diag.log.markdown import as_markdown
from diag.paper.owner import as_owner
from diag.paper.page import as_html
from diag.paper.parts import as_parts
from diag.reason.reasoner import Reasoner
from diag.talk.conversation import Conversation
from diag.talk.opening import new_job, open_reasoner
from diag.talk.plain import run_plain
from diag.talk.rehearsal import SimulatedFitter
from tests.vehicles import SIX

__all__ = ["said"]

TOP = Path(__file__).parents[2]


def helps() -> Iterator[tuple[str, str]]:
    """Help of every verb."""

    def walk(command: click.Command, name: str, above: click.Context | None) -> Iterator[tuple[str, str]]:
        context = click.Context(command, info_name=name, parent=above)
        yield f"{context.command_path} --help", command.get_help(context)
        if isinstance(command, click.Group):
            for below in sorted(command.commands):
                yield from walk(command.commands[below], below, context)

    yield from walk(main, "diag", None)


def job(reasoner: Reasoner, path: Path) -> str:
    """A whole job in plain lines: a fault found, cured and proved, and most of what can be typed besides."""
    conversation, journal = new_job(reasoner, SIX, path, ("test-lamp", "meter"), frozenset())
    fitter = SimulatedFitter(reasoner, ["horn.open"] if "horn.open" in reasoner.index else ["flasher-unit.never-opens"])
    with journal:
        out = io.StringIO()
        run_plain(conversation, lines(conversation, fitter), out, [])
    return out.getvalue()


def lines(conversation: Conversation, fitter: SimulatedFitter) -> Iterator[str]:
    """What is typed: a word that means nothing, help and reasons at the second question, then the fitter's answers."""
    yield "qqq zzz"
    yield "turn lamps light but do not flash"
    for turn in range(60):
        ask = conversation.open_ask
        if turn == 1:
            yield from (
                "help",
                "why",
                "causes",
                "why 1",
                "why",
                "stages",
                "note dusty",
                "correct",
                "purple",
                "7777",
            )
        if ask is None:
            if fitter.cured or not fitter.remedy(conversation.say()[-1]["remedies"][0]["id"]):
                return
            yield "what"
            yield "done"
            continue
        value: Any = fitter.answer(ask)["value"]
        if isinstance(value, dict):
            value = f"{value['light']} {value['rhythm']}"
        yield f"{value} {ask['unit'] or ''}".replace("not-sure", "not sure")


def mistakes(folder: Path) -> Iterator[tuple[str, str]]:
    """What the loader and the look over rules say of files that are wrong in many ways."""
    vehicle = folder / "wrong.yaml"
    text = SIX.read_text(encoding="utf-8")
    for number, (old, new) in enumerate(
        [
            ("system-v: 12 V", "system-v: twelve"),
            ("circuits: [", "circuits: [hron, "),
            ("earth: negative", "earth: sideways\nearht: positive"),
            ("title:", "subtitle:"),
            ("history: rewired", "overrides: {wires: {no-such-wire: {length-m: 3 kg}}}\nhistory: rewired"),
        ]
    ):
        vehicle.write_text(text.replace(old, new), encoding="utf-8")
        yield f"mistake {number}", call("vehicle", "show", str(vehicle))
    pack = folder / "pack"
    (pack / "circuits").mkdir(parents=True)
    (pack / "pack.yaml").write_text("pack: slips\ntitle: Slips\nversion: '1'\nsource: todo\n", encoding="utf-8")
    (pack / "circuits" / "horn.yaml").write_text(WRONG, encoding="utf-8")
    yield "rules check", call("rules", "check", str(pack), "--quick")


WRONG = """
circuit: horn
checks:
  - id: horn-again
    title: Horn, once more
    kind: listen
    operate: {horn-buton: pressed}
    target: hron
    place: nowhere
rules:
  - id: horn/odd
    title: Odd
    when:
      - {check: horn-sound, light: is dark}
      - {check: horn-feed-volts, is: sound}
    then:
      - {points-to: horn.opne, weight: 20}
      - {stop: no-such-caution}
    because: so
    looks-like: nothing
    source: todo
    state: tested
causes:
  - id: horn.haunted
    title: Horn haunted
    frequency: 900
"""


def call(*arguments: str) -> str:
    """What a verb says, on the screen and beside it."""
    return CliRunner().invoke(main, list(arguments)).output


def said(folder: Path) -> Iterator[tuple[str, str]]:
    """All of it, one after the other."""
    yield from helps()
    reasoner = open_reasoner(SIX)
    path = folder / "job.jsonl"
    yield "job in plain lines", job(reasoner, path)
    lived, report = open_job(path, reasoner=reasoner)
    yield "log as markdown", as_markdown(report)
    yield "log as handover", as_handover(lived, report)
    yield "log as a page", as_html(lived, report, None)
    yield "log for the owner", as_owner(lived, report, None)
    yield "log as a list of parts", as_parts(lived, report)
    vehicle = str(SIX)
    yield "vehicle show", call("vehicle", "show", vehicle, "--circuit", "horn", "--operate", "horn-button=pressed")
    yield from mistakes(folder)
    yield "calc drop", call("calc", "drop", "--section", "1.5mm2", "--length", "4 m", "--current", "8 A")
    yield "calc, wrong", call("calc", "drop", "--section", "1.5 kg")
    for words in (
        "calc section --length 6m --current 8A --drop 0.5V",
        "calc fuse --section 1.5mm2 --load 8A",
        "calc lamp --watts 21W --volts 11V",
        "calc flasher --lamps 2x21W --rated 2x21W",
        "calc battery --volts 12.4V",
        "calc standing --current 35mA --capacity 50Ah",
        "jobs",
        "jobs --since hron",
        "places",
        "settings",
        "settings print hron",
        "settings hron big",
        "rules packs",
        "rules packs --add hron",
        "rules show hron",
        "vehicle check " + vehicle,
        "vehicle alter " + vehicle,
        "replay hron",
    ):
        yield words.removesuffix(f" {vehicle}"), call(*words.split())
    yield "no such option", call("calc", "drop", "--sectoin", "1")
    yield "no such verb", call("strat")
    yield "no such job", call("export", "hron")


if __name__ == "__main__":
    where = Path(sys.argv[1])
    print(json.dumps(dict(said(where))))
