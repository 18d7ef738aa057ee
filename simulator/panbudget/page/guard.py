"""
Guard: who may talk to the page. This machine, by the address with its token, from a page of its own origin: nobody else.

Every request and every socket passes here before anything else looks at it.
"""

import hmac
import logging
import os
from collections.abc import Awaitable, Callable, MutableMapping
from pathlib import Path
from typing import Any

from panbudget.errors import visible

Scope = MutableMapping[str, Any]
Act = Callable[..., Awaitable[Any]]

HOST = "127.0.0.1"
#: what of a garden's folder a page may show, and as what
SHOWN = {".html": "text/html; charset=utf-8", ".pdf": "application/pdf"}
# a scenario, a schema, and what a browser would run
_NOT_WEATHER = {"", ".toml", ".json", ".html", ".htm", ".svg", ".pdf", ".exe"}
_LONGEST_NAME = 120
#: what tells of sockets' packets that can't be read, or not be answered
LOGGERS = ("engineio.server", "asyncio", "uvicorn.error")
_LONGEST_LINE = 200
_HEADERS = {
    "content-security-policy": "default-src 'self' 'unsafe-inline' 'unsafe-eval' data: blob:; frame-ancestors 'self'; "
    "form-action 'self'; base-uri 'self'; object-src 'none'",
    "referrer-policy": "no-referrer",
    "x-content-type-options": "nosniff",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
}


class Guard:
    """
    An ASGI application before the page's own.

    Parameters
    ----------
    app : ASGI application
    token : str
        First part of every path; without it nothing is there.
    port : int
    """

    def __init__(self, app: Act, *, token: str, port: int) -> None:
        self.app, self.prefix = app, f"/{token}"
        self.hosts = {f"{name}:{port}" for name in (HOST, "localhost")}

    async def __call__(self, scope: Scope, receive: Act, send: Act) -> None:
        """Let a request through, or refuse it."""
        if scope["type"] not in ("http", "websocket"):
            await self.app(scope, receive, send)
            return
        if status := self.refused(scope):
            await _refuse(scope, status, send)
            return
        headers = [pair for pair in scope["headers"] if not pair[0].startswith(b"x-forwarded")]
        inner = {**scope, "root_path": self.prefix, "headers": headers}
        await self.app(inner, receive, send if scope["type"] == "websocket" else _with_headers(send))

    def refused(self, scope: Scope) -> int:
        """Return the status with which a request is refused; 0 if it may pass."""
        given: dict[str, list[str]] = {}
        for name, value in scope["headers"]:
            given.setdefault(name.decode("latin-1"), []).append(value.decode("latin-1"))
        hosts, origins = given.get("host", []), given.get("origin", [])
        if len(hosts) != 1 or hosts[0] not in self.hosts:
            return 421  # misdirected: a name that somebody else points here
        from_elsewhere = given.get("sec-fetch-site", ["none"])[0] not in ("none", "same-origin")
        nameless = scope["type"] == "websocket" and not origins
        if from_elsewhere or nameless or any(origin != f"http://{hosts[0]}" for origin in origins):
            return 403
        path = str(scope["path"])
        first = path.split("/", 2)[1] if path.startswith("/") else ""
        return 0 if hmac.compare_digest(first.encode(), self.prefix[1:].encode()) else 404


def briefly(record: logging.LogRecord) -> bool:
    """Tell of an error in a line, as a filter of `LOGGERS`: a socket may be sent anything. PANBUDGET_TRACEBACK shows all."""
    if record.exc_info and not os.environ.get("PANBUDGET_TRACEBACK"):
        kind, error, _ = record.exc_info
        first = record.getMessage().strip().partition("\n")[0]
        record.msg, record.args = visible(f"{first} ({kind and kind.__name__}: {error})"[:_LONGEST_LINE]), ()
        record.exc_info = record.exc_text = None
    return True


async def _refuse(scope: Scope, status: int, send: Act) -> None:
    if scope["type"] == "websocket":
        await send({"type": "websocket.close", "code": 1008})
        return
    await send({"type": "http.response.start", "status": status, "headers": [(b"content-type", b"text/plain")]})
    await send({"type": "http.response.body", "body": b"Not for you."})


def _with_headers(send: Act) -> Act:
    async def sent(message: MutableMapping[str, Any]) -> None:
        if message["type"] == "http.response.start":
            names = {name.lower() for name, _ in message["headers"]}
            more = [(k.encode(), v.encode()) for k, v in _HEADERS.items() if k.encode() not in names]
            message = {**message, "headers": [*message["headers"], *more]}
        await send(message)

    return sent


def upload_target(folder: Path, name: str) -> Path | None:
    """Return where an uploaded weather file goes: into the garden's folder, by its last name; None for what is none."""
    last = name.replace("\\", "/").rsplit("/", 1)[-1].strip()
    is_plain = last.isprintable() and 0 < len(last) <= _LONGEST_NAME and not last.startswith(".")
    return folder / last if is_plain and Path(last).suffix.lower() not in _NOT_WEATHER else None


def shown_file(folder: Path, name: str) -> Path | None:
    """
    Return a file of the garden's folder that a page may show; None if it is not one.

    Parameters
    ----------
    folder : Path
    name : str
        As it stands in the address: relative, below a verb's folder.
    """
    try:
        root, file = folder.resolve(), (folder / name).resolve()
        is_inside = file.is_relative_to(root) and file.parent.parent == root
        return file if is_inside and file.suffix in SHOWN and file.is_file() else None
    except (OSError, ValueError, RuntimeError):
        return None
