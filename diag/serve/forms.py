"""What a form carries, read with patience that ends: type, size, number and length of its fields.

Knows nothing of what the fields mean.
"""

from __future__ import annotations

import asyncio
from urllib.parse import parse_qsl

from starlette.requests import ClientDisconnect, Request

from diag.texts import t

__all__ = ["LARGEST", "FormError", "read_form"]

LARGEST = 64 * 1024
"""Bytes of a form at most."""
_FIELDS = 24
_NAME, _VALUE = 40, 4000
_PATIENCE_S = 15.0
"""A form that has not come in whole by then is not waited for. Common practice, no source."""


class FormError(Exception):
    """A form that cannot be read; `status` is the answer's, the message says why."""

    def __init__(self, status: int, message: str) -> None:
        self.status = status
        super().__init__(message)


async def read_form(request: Request) -> dict[str, str]:
    """The fields of a form, each once. Raises FormError."""
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if kind != "application/x-www-form-urlencoded":
        raise FormError(415, t("Only the forms of these pages are taken here."))
    length = request.headers.get("content-length", "0")
    if length.isdecimal() and (len(length) > 9 or int(length) > LARGEST):
        raise FormError(413, t("That is too long for a form of these pages. Nothing was changed."))
    try:
        body = await asyncio.wait_for(_body(request), _PATIENCE_S)
    except TimeoutError:
        raise FormError(408, t("The form did not come in whole. Nothing was changed; send it again.")) from None
    except ClientDisconnect:
        raise FormError(400, t("The connection was lost before the form was whole. Nothing was changed.")) from None
    return _fields(body)


async def _body(request: Request) -> bytes:
    parts: list[bytes] = []
    size = 0
    async for part in request.stream():
        size += len(part)
        if size > LARGEST:
            raise FormError(413, t("That is too long for a form of these pages. Nothing was changed."))
        parts.append(part)
    return b"".join(parts)


def _fields(body: bytes) -> dict[str, str]:
    try:
        pairs = parse_qsl(
            body.decode("ascii"), keep_blank_values=True, max_num_fields=_FIELDS, encoding="utf-8", errors="strict"
        )
    except ValueError:
        raise FormError(400, t("That form cannot be read. Nothing was changed; load the page again.")) from None
    fields = dict(pairs)
    if len(fields) < len(pairs):
        raise FormError(400, t("That form says one thing twice. Nothing was changed; load the page again."))
    if any(len(name) > _NAME or len(value) > _VALUE for name, value in pairs):
        raise FormError(413, t("One of these texts is too long; expected at most 4000 signs. Nothing was changed."))
    return fields
