"""Nothing goes over a network: with sockets that refuse everything, every part of the work is as good as ever."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from diag.cli import main
from diag.reason.reasoner import Reasoner
from tests.talk.outsider import ROOT
from tests.trust.faulty import script, warm

SHUT = """
import socket
def refuse(*_, **__):
    raise AssertionError("the network was asked for")
socket.socket.__init__ = refuse
for name in ("create_connection", "create_server", "socketpair", "fromfd", "getaddrinfo", "gethostbyname"):
    setattr(socket, name, refuse)
"""


@pytest.fixture
def shut(tmp_path: Path) -> dict[str, str]:
    """An environment in which Python opens no socket at all."""
    (tmp_path / "shut").mkdir()
    (tmp_path / "shut" / "sitecustomize.py").write_text(SHUT)
    return {**os.environ, "PYTHONPATH": f"{tmp_path / 'shut'}{os.pathsep}{ROOT}"}


def program(env: dict[str, str], *arguments: str, typed: bytes = b"") -> bytes:
    """The real program with that environment; it must work."""
    found = subprocess.run(
        [sys.executable, "-m", "diag", *arguments], input=typed, capture_output=True, env=env, cwd=ROOT, check=False
    )
    assert found.returncode == 0, found.stderr.decode()
    assert b"network" not in found.stderr
    return found.stdout


def test_the_shut_door_is_really_shut(shut: dict[str, str]) -> None:
    """Or the tests below would prove nothing."""
    code = "import socket; socket.socket()"
    found = subprocess.run([sys.executable, "-c", code], env=shut, capture_output=True, check=False)
    assert b"the network was asked for" in found.stderr


def test_a_whole_job_needs_no_network(reasoner: Reasoner, shut: dict[str, str], tmp_path: Path) -> None:
    """From the first question to the end, in a process of its own."""
    job = tmp_path / "jobs" / "job.jsonl"
    lines, _ = script(reasoner)
    said = program(shut, "talk", "--job", str(job), typed=lines)
    assert json.loads(said.splitlines()[-1])["type"] == "end"


def test_no_verb_needs_a_network(reasoner: Reasoner, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """In this process: a job, its log and its page, the rules, a replay; and the page asks for nothing outside."""
    import socket

    def refuse(*_: object, **__: object) -> None:
        raise AssertionError("the network was asked for")

    for name in ("create_connection", "create_server", "getaddrinfo", "gethostbyname", "gethostname"):
        monkeypatch.setattr(socket, name, refuse)
    monkeypatch.setattr(socket.socket, "__init__", refuse)
    lines, _ = script(reasoner)
    pack = ROOT / "tests" / "extending" / "packs" / "bright-tell-tale"
    verbs = (
        ("talk", "--job", str(tmp_path / "jobs" / "job.jsonl")),
        ("start",),
        ("jobs",),
        ("resume",),
        ("export", str(tmp_path / "jobs" / "job.jsonl"), "--as", "markdown"),
        ("export", str(tmp_path / "jobs" / "job.jsonl"), "--as", "html", "--out", str(tmp_path / "job.html")),
        ("replay", str(tmp_path / "jobs"), "--jobs", "1"),
        ("rules", "check", str(pack), "--quick"),
        ("rules", "packs"),
        ("rules", "learn", "--show"),
        ("vehicle", "check", os.environ["DIAG_VEHICLE"]),
        ("calc", "drop", "--section", "1.5mm2", "--length", "4.5m", "--current", "3.7A"),
    )
    with warm(reasoner):
        for verb in verbs:
            found = CliRunner().invoke(main, list(verb), input=lines if verb[0] == "talk" else b"")
            assert found.exception is None or isinstance(found.exception, SystemExit), (verb, found.exception)
            assert found.exit_code in (0, 1), (verb, found.output)
    text = (tmp_path / "job.html").read_text(encoding="utf-8")
    assert "http:" not in text.replace("http://www.w3.org/", "") and "https:" not in text


def test_a_server_binds_to_this_machine_only() -> None:
    """A door for the whole workshop network would be one for anybody in it; where there is no server, none opens."""
    import ast

    from tests.house.test_layout import MODULES, tree

    verbs = [name for name in main.commands if name in ("serve", "desk")]
    hosts = [
        node.value
        for module in MODULES
        if module.startswith(("serve", "desk"))
        for node in ast.walk(tree(module))
        if isinstance(node, ast.Constant)
        and isinstance(node.value, str)
        and node.value in ("0.0.0.0", "::", "127.0.0.1")
    ]
    assert set(hosts) <= {"127.0.0.1"}
    assert bool(verbs) == bool(hosts)
