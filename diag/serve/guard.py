"""What every request must pass before any page sees it, and what every answer carries.

Host (against names that are bound to this address elsewhere), method, and on a form where it comes from; headers that
forbid a page everything it does not need. Knows nothing of jobs.
"""

from __future__ import annotations

from collections.abc import Callable, Collection
from typing import Any

from starlette.types import ASGIApp, Message, Receive, Scope, Send

from diag.texts import t

__all__ = ["CSP", "Guard", "header"]

CSP = (
    "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self'; connect-src 'self'; "
    "form-action 'self'; frame-ancestors 'none'; base-uri 'none'"
)
"""connect-src is for our own script alone: it sends a form again while this machine is away."""
_HEADERS = (
    (b"content-security-policy", CSP.encode()),
    (b"x-content-type-options", b"nosniff"),
    (b"x-frame-options", b"DENY"),
    (b"referrer-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"permissions-policy", b"camera=(), microphone=(), geolocation=(), payment=(), usb=(), screen-wake-lock=(self)"),
    (b"cache-control", b"no-store"),
)
"""Referrers go to this machine only: with none at all browsers hide where a form comes from, which is checked."""
_LONGEST = 2000
"""Longest path with its query, in bytes."""


def header(scope: Scope, name: str) -> list[str]:
    """All values of a header of a request."""
    return [value.decode("latin-1") for key, value in scope["headers"] if key == name.encode()]


class Guard:
    """Wraps the pages. `hosts`: what a Host header may say; `refuse` makes the page of a refusal."""

    def __init__(self, app: ASGIApp, hosts: Collection[str], refuse: Callable[[int, str], ASGIApp]) -> None:
        self._app, self._hosts, self._refuse = app, frozenset(hosts), refuse

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request through, or answer it with a refusal in words."""
        if scope["type"] != "http":
            return

        async def guarded(message: Message) -> None:
            if message["type"] == "http.response.start":
                have = {key.lower() for key, _ in message.get("headers", ())}
                message = {
                    **message,
                    "headers": [*message.get("headers", ()), *(h for h in _HEADERS if h[0] not in have)],
                }
            await send(message)

        trouble = self._trouble(scope)
        app = self._app if trouble is None else self._refuse(*trouble)
        await app(scope, receive, guarded)

    def _trouble(self, scope: Scope) -> tuple[int, str] | None:
        hosts = header(scope, "host")
        if len(hosts) != 1 or hosts[0].lower() not in self._hosts:
            return 421, t("This address is not one that the program listens on. Type the one that it shows.")
        if len(scope.get("raw_path", b"")) + len(scope.get("query_string", b"")) > _LONGEST:
            return 414, t("That address is too long for any page here.")
        if scope["method"] in ("GET", "HEAD"):
            return None
        if scope["method"] != "POST":
            return 405, t("Only pages and forms are known here.")
        return self._foreign(scope, hosts[0].lower())

    def _foreign(self, scope: Scope, host: str) -> tuple[int, str] | None:
        """A form must come from a page of ours."""
        origins: list[Any] = header(scope, "origin")
        sites = header(scope, "sec-fetch-site")
        if any(origin.lower() != f"http://{host}" for origin in origins) or any(
            site != "same-origin" for site in sites
        ):
            return 403, t("This form comes from a page of another program. Nothing was changed.")
        if not origins and not sites:
            return 403, t("This browser does not say where a form comes from. Nothing was changed. Try a newer one.")
        return None
