"""Coverage-guided search for input that ends in a traceback, hangs or fills the memory; not part of the tests.

Run: python -m tests.trust.fuzz TARGET SECONDS; without arguments the targets are listed. It needs atheris (the extra
`fuzz`); where that is absent, seeds are changed at random without guidance. What is found is printed with its bytes;
each becomes a test of its own.
"""

from __future__ import annotations

import contextlib
import os
import random
import sys
import tempfile
import time
import traceback
from collections.abc import Callable
from pathlib import Path
from typing import Any

__all__ = ["TARGETS", "main", "mutated", "seeds_of"]

ROOT = Path(__file__).parents[2]
Act = Callable[[bytes], None]


def _folder() -> Path:
    return Path(tempfile.mkdtemp(prefix="diag-fuzz-"))


def _yaml_file(sort: str) -> Act:
    """A loader of knowledge over a file of that sort."""
    from diag.errors import DiagError
    from diag.knowledge.load import load_knowledge
    from diag.knowledge.reader import read_yaml

    folder = _folder()
    catalogue: Any = None
    if sort == "answers":
        from diag.fit.questions import Catalogue

        catalogue = Catalogue.read()
    vehicle = ROOT / "tests" / "vehicles" / "pickup-six.yaml"

    def act(content: bytes) -> None:
        file = folder / "vehicle.yaml"
        file.write_bytes(content)
        with contextlib.suppress(DiagError):
            if sort == "reader":
                read_yaml(file)
            elif sort == "vehicle":
                load_knowledge(file)
            elif sort == "recipe":
                from diag.knowledge.alterations import load_alteration

                load_alteration(file)
            elif sort == "expect":
                from diag.replay.jobs import parsed_job

                parsed_job("job", "job.jsonl", b"", content)
            elif sort == "answers":
                from diag.fit.keeping import read_answers

                read_answers(catalogue, file)
            else:
                from diag.review.run import review

                pack = folder / "pack"
                (pack / "circuits").mkdir(parents=True, exist_ok=True)
                (pack / "pack.yaml").write_bytes(content if sort == "pack" else PACK)
                (pack / "circuits" / "horn.yaml").write_bytes(content if sort == "circuit" else b"circuit: horn\n")
                review(pack, compute=False, cache=folder)
        assert vehicle.exists()

    return act


PACK = b'pack: fuzz\ntitle: Fuzz\nversion: "1.0"\nsource: common practice, no source\n'


def _units() -> Act:
    from diag.knowledge.units import parse_quantity

    def act(content: bytes) -> None:
        text = content.decode("utf-8", "replace")
        for unit in ("V", "A", "ohm", "W", "m", "mm2", "min", "/min", "degC"):
            with contextlib.suppress(ValueError):
                parse_quantity(text, unit)

    return act


def _reasoner() -> Any:
    from tests.conftest import TABLES
    from tests.reasoners import Reasoners
    from tests.vehicles import SIX

    return Reasoners(TABLES).whole(SIX.name)


def _typed() -> Act:
    """What somebody types at a terminal or puts into `value`."""
    from diag.errors import DiagError
    from diag.talk.answers import choice_of, look_of, parse_reading, reading_of, word_of
    from diag.talk.symptoms import circuits_like, find_symptoms

    reasoner = _reasoner()

    def act(content: bytes) -> None:
        text = content.decode("utf-8", "replace")
        for read in (
            lambda: parse_reading(text, "V", 12.0),
            lambda: parse_reading(text, "ohm", 12.0),
            lambda: reading_of(text, "A", 6.0),
            lambda: word_of(text, ("none", "click", "sound")),
            lambda: look_of({"light": text, "rhythm": text}),
            lambda: choice_of(text, {"blown": "blown", "good": "good"}),
        ):
            with contextlib.suppress(DiagError):
                read()
        find_symptoms(text[:2000], reasoner.knowledge)
        circuits_like(text[:2000], reasoner.knowledge)

    return act


def _lines() -> Act:
    """Lines of `diag talk`, cut at newlines, to a conversation in memory."""
    import io

    from diag.talk.conversation import Conversation
    from diag.talk.lines import run_lines
    from diag.talk.opening import Rehearsed

    reasoner = _reasoner()

    def act(content: bytes) -> None:
        conversation = Conversation(reasoner, Rehearsed.opened(reasoner), "job")
        lines = content.decode("utf-8", "replace").split("\n")[:6]
        out = io.StringIO()
        run_lines(conversation, lines, out)
        assert not any(sign != "\n" and not sign.isprintable() for sign in out.getvalue())

    return act


def _plain() -> Act:
    """Lines of the plain conversation, as without a terminal."""
    import io

    from diag.talk.conversation import Conversation
    from diag.talk.opening import Rehearsed
    from diag.talk.plain import run_plain

    reasoner = _reasoner()

    def act(content: bytes) -> None:
        conversation = Conversation(reasoner, Rehearsed.opened(reasoner), "job")
        lines = content.decode("utf-8", "replace").split("\n")[:6]
        out = io.StringIO()
        run_plain(conversation, lines, out)
        assert not any(sign != "\n" and not sign.isprintable() for sign in out.getvalue())

    return act


def _journal() -> Act:
    """A job's file: read, mended, folded, talked over, told as a log."""
    from diag.errors import DiagError
    from diag.job.journal import parse_journal
    from diag.job.mend import mended
    from diag.job.state import replay
    from diag.log.export import export_job
    from diag.talk.conversation import Conversation
    from diag.talk.opening import Rehearsed
    from tests.vehicles import SIX

    reasoner, folder = _reasoner(), _folder()

    def act(content: bytes) -> None:
        with contextlib.suppress(DiagError):
            content, _ = mended(content, "job")
        try:
            records, _ = parse_journal(content, "job")
            replay(records)
        except (DiagError, ValueError):
            return
        conversation = Conversation(reasoner, Rehearsed(list(records)), "job")
        conversation.say()
        conversation.take({"undo": True})
        if len(content) % 8:  # a log takes a hundred times as long as the rest
            return
        job = folder / "job.jsonl"
        job.write_bytes(content)
        with contextlib.suppress(DiagError):
            for form in ("json", "csv", "markdown", "handover"):
                export_job(job, form, SIX, reasoner=reasoner)  # type: ignore[arg-type]

    return act


def _files(*patterns: str) -> list[bytes]:
    return [path.read_bytes() for pattern in patterns for path in sorted(ROOT.glob(pattern))]


def _job_lines() -> list[bytes]:
    found = []
    for path in sorted((ROOT / "transcripts").glob("*.jsonl"))[:8]:
        found.append(b"".join(path.read_bytes().splitlines(keepends=True)[:9]))
    return found


_TALK = [
    b'{"symptom": "horn-silent"}\n{"undo": true}\n{"note": "x"}',
    b'{"answer": "q2-1", "value": "horn-silent"}\n{"skip": "q3-2", "reason": "later"}\n{"correct": 3, "value": "x"}',
    b'{"found": {"check": "horn-sound", "value": "none"}}\n{"why": "horn"}\n{"remedied": "fuse-horn.renew"}',
    b'{"symptom": "whole"}\n{"stage": "power", "skip": "why"}\n{"leave": [3], "reason": "old"}\n{"changed": "x"}',
]
_TYPED = [
    b"11.8",
    b"11,8 V",
    b"350 mA",
    b"0.4 ohm",
    b"OL",
    b"1e3",
    b"-0.2",
    b"dark",
    b"none",
    b"horn silent",
    b"12 V DC",
]
_PLAIN = [b"horn silent\n1\nundo\nwhy horn\nskip later\n", b"whole\ndone\n3 dark\nskip REASON\nstages\n", b"0\nq\n"]
TARGETS: dict[str, tuple[Callable[[], Act], Callable[[], list[bytes]]]] = {
    "reader": (lambda: _yaml_file("reader"), lambda: _files("rules/circuits/horn.yaml", "rules/vehicles/*.yaml")),
    "vehicle": (lambda: _yaml_file("vehicle"), lambda: _files("rules/vehicles/*.yaml", "tests/vehicles/*.yaml")),
    "circuit": (
        lambda: _yaml_file("circuit"),
        lambda: _files("tests/extending/*/*/circuits/*.yaml", "tests/extending/*/circuits/*.yaml"),
    ),
    "pack": (lambda: _yaml_file("pack"), lambda: _files("tests/extending/packs/*/pack.yaml")),
    "recipe": (lambda: _yaml_file("recipe"), lambda: _files("rules/alterations/*.yaml")),
    "expect": (lambda: _yaml_file("expect"), lambda: _files("transcripts/horn*.expect.yaml")),
    "answers": (lambda: _yaml_file("answers"), lambda: [b"vehicle: my-van\ntitle: x\nsystem-v: 12 V\n"]),
    "units": (_units, lambda: [*_TYPED, b"1.5mm2", b"16 AWG", b"4.5 m", b"20 degC", b"1/2 in"]),
    "typed": (_typed, lambda: _TYPED),
    "lines": (_lines, lambda: _TALK),
    "plain": (_plain, lambda: _PLAIN),
    "journal": (_journal, _job_lines),
}
_TOKENS = [
    b"&a", b"*a", b"<<: ", b"!!python/object:os.system", b"1e999999", b"9" * 400, b"NaN", b"Infinity", b"1_000",
    "１２".encode(), "\u202e".encode(), b"\x1b[2J", b"\0", b"{part.__class__}", b"../../x", b"=1+1", b"<script>",
    b"null", b"true", b"[]", b"{}", b"[[[[", b"- ", b": ", b"\n", b"\xff", b"-1", b"0", b"''", "\ufeff".encode(),
    b"\\ud800", b'"replaces":2', b'"also":[1]', b"e-400", b"--", b"+", "\u00b5".encode(), "\u03a9".encode(), b" " * 300,
]  # fmt: skip
"""Pieces that have hurt programs before."""


def seeds_of(target: str) -> list[bytes]:
    """What a target begins with: real files and lines."""
    return TARGETS[target][1]()


def mutated(seed: bytes, other: bytes, chance: random.Random) -> bytes:
    """One to six changes: bytes, pieces of another seed, tokens, cuts, repeats, whole lines moved."""
    content = bytearray(seed)
    for _ in range(chance.randint(1, 6)):
        at = chance.randrange(len(content) + 1)
        size = min(chance.choice((1, 2, 4, 16, 64)), len(content) - at)
        match chance.randrange(7):
            case 0:
                content[at : at + size] = chance.randbytes(size)
            case 1:
                del content[at : at + size]
            case 2:
                content[at:at] = chance.choice(_TOKENS)
            case 3:
                content[at : at + size] = chance.choice(_TOKENS)
            case 4:
                start = chance.randrange(len(other) + 1)
                content[at:at] = other[start : start + chance.choice((4, 32, 200))]
            case 5:
                content[at:at] = content[at : at + size] * chance.choice((1, 2, 30))
            case _:
                lines = bytes(content).split(b"\n")
                chance.shuffle(lines) if chance.random() < 0.3 else lines.insert(0, lines.pop())
                content = bytearray(b"\n".join(lines))
    return bytes(content[:100_000])


def main() -> int:
    """Returns the number of different crashes found, at most 99."""
    if len(sys.argv) < 3 or sys.argv[1] not in TARGETS:
        print(f"python -m tests.trust.fuzz TARGET SECONDS; TARGET is one of {', '.join(TARGETS)}")
        return 2
    target, seconds = sys.argv[1], float(sys.argv[2])
    os.environ["DIAG_HOME"] = str(_folder())
    try:
        import atheris
    except ImportError:
        return _at_random(target, seconds)
    with atheris.instrument_imports(include=["diag"]):
        act = TARGETS[target][0]()
    corpus = _folder()
    for number, seed in enumerate(seeds_of(target)):
        (corpus / str(number)).write_bytes(seed)
    (corpus / "tokens").write_bytes(b"\n".join(_TOKENS))
    chance = random.Random(int(os.environ.get("FUZZ_SEED", "1")))
    seeds = seeds_of(target)

    def change(content: bytes, size: int, seed: int) -> bytes:
        found = (
            mutated(content, chance.choice(seeds), chance) if chance.random() < 0.6 else atheris.Mutate(content, size)
        )
        return bytes(found[:size])

    arguments = [
        f"-max_total_time={seconds:.0f}",
        "-timeout=20",
        "-rss_limit_mb=3000",
        "-max_len=20000",
        "-verbosity=0",
    ]
    atheris.Setup([sys.argv[0], *arguments, str(corpus)], act, custom_mutator=change)
    atheris.Fuzz()
    return 0


def _at_random(target: str, seconds: float) -> int:
    act, seeds = TARGETS[target][0](), seeds_of(target)
    chance = random.Random(int(os.environ.get("FUZZ_SEED", "1")))
    found: dict[str, bytes] = {}
    ends, count, slowest = time.monotonic() + seconds, 0, 0.0
    while time.monotonic() < ends:
        content = mutated(chance.choice(seeds), chance.choice(seeds), chance)
        started = time.monotonic()
        try:
            act(content)
        except Exception:
            last = traceback.format_exc().strip().splitlines()
            where = next((line for line in reversed(last) if "/diag/" in line), last[-1]) + last[-1][:150]
            if where not in found:
                found[where] = content
                print(f"\n{where}\n{content[:2000]!r}\n", flush=True)
        count += 1
        if (took := time.monotonic() - started) > max(slowest, 2.0):
            slowest = took
            print(f"took {took:.1f} s: {content[:300]!r}", flush=True)
    print(f"{target}: {count} inputs, {len(found)} sorts of crash, slowest {slowest:.1f} s")
    return min(len(found), 99)


if __name__ == "__main__":
    sys.exit(main())
