"""The verb itself: what it says, what it refuses, that it ends.

source of all expectations: common practice, no source
"""

from __future__ import annotations

import os
import re
import signal
import socket
import subprocess
import sys
from pathlib import Path

import pytest
import segno
from click.testing import CliRunner

from diag.cli import main
from diag.errors import DiagError
from diag.job.folder import list_jobs
from diag.serve.host import LOOPBACK, PORT, hosts_of, listen, network_address, qr
from tests.vehicles import SIX


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["--address", "192.0.2.7"], "--network"),
        (["--network", "--address", "workshop"], "IPv4"),
        (["--network", "--address", "203.0.113.9"], "address of this machine"),
        (["--without-wiring", "--without-rules"], "nothing is left"),
        (["--instruments", "hammer"], "test-lamp"),
        (["--vehicle", "no-such-van.yaml"], "no-such-van.yaml"),
        (["--port", "70000"], "70000"),
    ],
)
def test_what_will_not_do_is_told_before_anything_listens(arguments: list[str], says: str) -> None:
    """A mistake in the call is told in words, not on the phone later."""
    result = CliRunner().invoke(main, ["serve", *arguments])
    assert result.exit_code in (1, 2)
    assert says in result.stderr
    assert "Traceback" not in result.output
    assert list_jobs() == []


def test_a_port_that_is_taken() -> None:
    """Without --port the next free one is taken; with it that is told."""
    with listen(LOOPBACK, None) as first, listen(LOOPBACK, None) as second:
        numbers = [sock.getsockname()[1] for sock in (first, second)]
        assert PORT <= numbers[0] < numbers[1]
        with pytest.raises(DiagError, match=f"port {numbers[0]}.*try another --port"):
            listen(LOOPBACK, numbers[0])


def test_hosts_and_addresses() -> None:
    """Only names that lead nowhere else are hosts; on a network only the one address that is listened on."""
    assert hosts_of(LOOPBACK, 8765) == ["127.0.0.1:8765", "localhost:8765"]
    assert hosts_of("192.0.2.7", 80) == ["192.0.2.7:80", "192.0.2.7"]
    assert network_address("192.0.2.7") == "192.0.2.7"


def test_the_code_on_the_terminal_is_the_address(tmp_path: Path) -> None:
    """A code that leads elsewhere would be found out only at the vehicle."""
    url = "http://192.0.2.7:8765/in?key=" + "k" * 22
    with (tmp_path / "code").open("w+", encoding="utf-8") as out:
        qr(url, out)
        out.seek(0)
        drawn = re.sub(r"\x1b\[[\d;]*m", "", out.read()).splitlines()
    size = len(segno.make(url, error="l", micro=False).matrix)
    assert len(drawn) == (size + 4 + 1) // 2
    assert max(map(len, drawn)) == size + 4  # a border of two on each side; 40 columns are enough for a small screen


@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGTERM])
def test_it_ends_with_a_connection_open_and_keeps_the_job(how: signal.Signals, tmp_path: Path) -> None:
    """Ctrl-C while a phone is in the middle of sending: it ends, the job is there, the lock is free."""
    job = tmp_path / "my-job.jsonl"
    call = [sys.executable, "-m", "diag", "serve", "--job", str(job), "--vehicle", str(SIX)]
    program = subprocess.Popen(
        call, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=os.environ | {"PYTHONPATH": os.getcwd()}
    )
    assert program.stdout is not None
    first = program.stdout.readline()
    address = re.findall(r"http://127.0.0.1:(\d+)/job/my-job", first)
    assert address, first
    program.stdout.readline(), program.stdout.readline()
    with socket.create_connection((LOOPBACK, int(address[0]))) as sock:
        sock.sendall(b"POST /begin HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: 10\r\n\r\nabc")
        program.send_signal(how)
        said, trouble = program.communicate(timeout=60)
    assert program.returncode == 0
    assert "everything is kept" in said and "diag resume" in said
    assert trouble == ""
