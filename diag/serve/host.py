"""Listens on one address of this machine until it is told to stop, and says on the terminal where to find it.

Knows sockets, keys and what is printed; nothing of pages.
"""

from __future__ import annotations

import asyncio
import errno
import io
import ipaddress
import logging
import signal
import socket
import sys
import threading
from collections.abc import Callable
from typing import Any, TextIO

import segno
import uvicorn
from starlette.types import ASGIApp
from uvicorn.protocols.http.h11_impl import H11Protocol

from diag.errors import DiagError
from diag.serve.doors import Doors
from diag.texts import t

__all__ = ["LOOPBACK", "PORT", "hosts_of", "keep_giving_keys", "listen", "network_address", "qr", "serve_until_stopped"]

LOOPBACK = "127.0.0.1"
PORT = 8765
_MORE_PORTS = 20
_PATIENCE_S = 15.0
"""A connection that has asked for nothing by then is closed. Common practice, no source."""
_MOST_CONNECTIONS = 200
_END_S = 1


class HostError(DiagError):
    """This machine cannot be listened on as wished."""

    exit_code = 1


def network_address(wanted: str | None) -> str:
    """The IPv4 address of this machine on its network: the one wanted, else the one by which it would send.

    Raises DiagError for what is no address, HostError where none is found. Nothing is sent.
    """
    if wanted is not None:
        try:
            given = ipaddress.IPv4Address(wanted)
            if given.is_unspecified or given.is_multicast:  # every network this machine is in, or nobody's
                raise ValueError
            return str(given)
        except ValueError:
            raise DiagError(
                t(
                    "--address: found `{wanted}`; expected an IPv4 address of this machine, such as 192.168.1.20.",
                    wanted=wanted,
                )
            ) from None
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # a datagram socket only looks up the way; no packet leaves
            found = str(probe.getsockname()[0])
        except OSError:
            found = ""
    if not found or ipaddress.IPv4Address(found).is_loopback or ipaddress.IPv4Address(found).is_unspecified:
        raise HostError(t("--network: no network address was found on this machine; name it with --address."))
    return found


def listen(address: str, port: int | None) -> socket.socket:
    """A listening socket: at the port wanted, else at 8765 or the next free one. Raises HostError."""
    wanted = range(PORT, PORT + _MORE_PORTS) if port is None else (port,)
    reason = ""
    for number in wanted:
        sock = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        if sys.platform != "win32":
            sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            sock.bind((address, number))
            sock.listen(64)
            return sock
        except OSError as error:
            sock.close()
            reason = error.strerror or str(error)
            if error.errno not in (errno.EADDRINUSE, errno.EACCES):
                break
    which = (
        t("port {port}", port=port)
        if port is not None
        else t("any port from {port} to {number}", port=PORT, number=PORT + _MORE_PORTS - 1)
    )
    raise HostError(
        t(
            "{address}: could not listen on {which}: {reason}. Expected a free port of an address of "
            "this machine: try another --port, or end the program that has it.",
            address=address,
            which=which,
            reason=reason,
        )
    )


def hosts_of(address: str, port: int) -> list[str]:
    """What a browser that was sent here says in its Host header."""
    names = [address, "localhost"] if address == LOOPBACK else [address]
    return [f"{name}:{port}" for name in names] + (names if port == 80 else [])


def qr(url: str, out: TextIO) -> None:
    """The address as a QR code, where it goes onto a terminal that can show it."""
    drawn = io.StringIO()
    segno.make(url, error="l", micro=False).terminal(out=drawn, compact=True, border=2)
    try:
        for line in drawn.getvalue().splitlines():
            out.write(f"\x1b[97;40m{line}\x1b[0m\n")  # white on black whatever the terminal's own colours are
    except UnicodeEncodeError:
        out.write(t("(This terminal cannot show a QR code.)\n"))


def keep_giving_keys(doors: Doors, tell: Callable[[], None], lines: TextIO) -> None:
    """A new key for every line that is entered, in a thread that ends with the program."""

    def watch() -> None:
        for _ in lines:
            doors.new_key()
            tell()

    threading.Thread(target=watch, name="keys", daemon=True).start()


# ---------------------------------------------------------------- serving


class _Patient(H11Protocol):
    """Closes a connection that asks for nothing, so that such cannot pile up."""

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        super().connection_made(transport)
        self.loop.call_later(_PATIENCE_S, self._asked)

    def _asked(self) -> None:
        if self.cycle is None and not self.transport.is_closing():
            self.transport.close()


def serve_until_stopped(app: ASGIApp, sock: socket.socket, ready: Callable[[], Any]) -> None:
    """Serve until Ctrl-C or a signal to end. Open connections are closed within a second."""
    config = uvicorn.Config(
        app,
        http=_Patient,
        ws="none",
        lifespan="off",
        interface="asgi3",
        log_config=None,
        access_log=False,
        server_header=False,
        proxy_headers=False,
        timeout_keep_alive=20,
        timeout_graceful_shutdown=_END_S,
        limit_concurrency=_MOST_CONNECTIONS,
        h11_max_incomplete_event_size=16 * 1024,
    )

    class Told(uvicorn.Server):
        """Says where it is once it answers, and ends properly from then on."""

        async def startup(self, sockets: list[socket.socket] | None = None) -> None:
            await super().startup(sockets)
            ready()

    server = Told(config)
    for name in ("uvicorn.error", "uvicorn.access", "uvicorn.asgi", "asyncio", "concurrent.futures"):
        logging.getLogger(name).disabled = True  # what goes wrong is told on a page, in words

    def stop(*_: object) -> None:
        raise KeyboardInterrupt

    signal.signal(signal.SIGTERM, stop)  # the server hands the signal on once its connections are closed
    try:
        server.run(sockets=[sock])
    except KeyboardInterrupt:
        return
