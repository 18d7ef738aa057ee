"""
Server: the garden's page on 127.0.0.1, at an address with a token in it, for whoever has that address.
"""

import asyncio
import contextlib
import logging
import os
import secrets
import signal
import socket
import tempfile
import webbrowser
from collections.abc import Callable
from pathlib import Path
from typing import Any

from nicegui import app, background_tasks, context, ui
from starlette.responses import FileResponse, PlainTextResponse, Response

from panbudget.errors import OutputError, PanbudgetError, Problem
from panbudget.files import straight
from panbudget.page.asking import Asking, mending
from panbudget.page.desk import TEXTS, Desk
from panbudget.page.garden import Garden
from panbudget.page.guard import HOST, LOGGERS, SHOWN, Guard, briefly, shown_file
from panbudget.page.questions import GARDEN
from panbudget.words import packaged_text

_SOON = 0.02  # s
#: what the library would do beside
_WITHOUT: dict[str, Any] = {"show": False, "reload": False, "show_welcome_message": False}
_WITHOUT |= {"storage_secret": None, "tailwind": False}
# scripts in a page that was written beside the garden do not run
_STILL = {
    "content-security-policy": "default-src 'none'; style-src 'unsafe-inline'; img-src data:; frame-ancestors 'none'"
}


def window_of(desk: Desk) -> Callable[[], None]:
    """
    Return the function that draws the page in a window.

    Parameters
    ----------
    desk : Desk
        One for all windows.

    Returns
    -------
    callable
        `nicegui.ui.run` takes it as its root.
    """

    def window() -> None:
        client = context.client
        ui.add_css(packaged_text("page/page.css"))
        ui.add_head_html(TEXTS["scripts"]["on_paper"])
        ui.colors(primary="#00558A", negative="#9b2c00")
        ui.page_title(TEXTS["title"].format(garden=desk.scenario.title if desk.scenario else desk.folder.name))
        body = ui.column().classes("wide").props('role="main"')
        shown: dict[str, Asking | Garden] = {}

        def draw() -> None:
            body.clear()
            shown.clear()
            with body:
                if desk.state == "ready":
                    shown["part"] = Garden(desk)
                elif desk.state == "new":
                    shown["part"] = Asking(desk)
                else:
                    mending(desk)

        def heard(what: str) -> None:
            part = shown.get("part")
            if what == "all":
                with client:
                    draw()
            elif isinstance(part, Garden):
                part.heard(what)
            elif isinstance(part, Asking):
                part.draw()

        draw()
        desk.listen(id(client), heard)
        client.on_delete(lambda: desk.leave(id(client)))

    return window


def _register(desk: Desk) -> None:
    """Register the pages beside the garden, and what runs while the page is open."""

    @app.get("/pages/{name:path}")
    def written(name: str) -> Response:
        file = shown_file(desk.folder, name)
        if file is None:
            return PlainTextResponse("Not there.", 404)
        return FileResponse(file, media_type=SHOWN[file.suffix], headers=_STILL, content_disposition_type="inline")

    def begin() -> None:
        for work in (desk.work(), desk.warm()):
            background_tasks.create(work)

    async def end() -> None:
        if desk.job is not None:
            await desk.job.stop()

    app.on_startup(begin)
    app.on_shutdown(end)


async def listening(port: int) -> None:
    """Wait until a port of this machine is listened at: a browser that comes earlier is refused."""
    while True:
        with contextlib.suppress(OSError):
            _, writer = await asyncio.open_connection(HOST, port)
            writer.close()
            return
        await asyncio.sleep(_SOON)


def garden_in(folder: Path) -> Path:
    """Return the garden's file, be it there or not, of a folder or of the file itself; an OutputError where none can be."""
    folder = straight(folder)
    path = folder if folder.suffix == ".toml" else folder / GARDEN
    try:
        nearest = next(parent for parent in path.absolute().parents if os.path.exists(parent))
        for part in (path, *(nearest / name for name in path.parts)):  # a missing part hides a name that is too long
            with contextlib.suppress(FileNotFoundError):
                part.lstat() if part is not path else part.stat()
    except (OSError, ValueError) as error:
        found = f"can't be used ({getattr(error, 'strerror', None) or error})"
        raise OutputError(Problem("no-folder", "", found, cure="choose another folder"), file=str(folder)) from None
    return path


def unkept(garden: Path) -> str | None:
    """Say that what is changed on the page can't be written, where that is so already."""
    nearest = next(path for path in (garden.parent, *garden.absolute().parents) if path.exists())
    with contextlib.suppress(OSError):  # permissions do not tell of a kernel's folder, nor of one who may do all
        Path(tempfile.mkdtemp(dir=nearest)).rmdir()
        return None
    return str(TEXTS["unkept"]).format(folder=garden.parent)


def serve(folder: Path, *, port: int = 0, browser: bool = True, ready: Callable[[str], None] = print) -> None:
    """
    Show a garden's page until the program is stopped.

    Parameters
    ----------
    folder : Path
        The garden's, or its file.
    port : int
        On this machine; any free one if 0.
    browser : bool
        Whether the browser is opened.
    ready : callable
        Told the address.
    """
    try:
        with contextlib.closing(socket.create_server((HOST, port))) as free:
            port = int(free.getsockname()[1])
    except OSError as error:
        found = f"can't be used ({error.strerror})"
        no_port = Problem("no-port", f"port {port}", found, "", "leave it out: any free one is taken")
        raise PanbudgetError(no_port) from None
    token = secrets.token_urlsafe(24)
    desk = Desk(garden_in(folder))
    _register(desk)
    app.add_middleware(Guard, token=token, port=port)
    for name in LOGGERS:
        logging.getLogger(name).addFilter(briefly)
    address = f"http://{HOST}:{port}/{token}/"

    async def opened() -> None:
        await listening(port)
        if hasattr(signal, "SIGHUP") and signal.getsignal(signal.SIGHUP) is not signal.SIG_IGN:
            signal.signal(signal.SIGHUP, signal.getsignal(signal.SIGTERM))  # a terminal that goes closes it, too
        ready(TEXTS["ready"].format(address=address))
        if (note := unkept(desk.path)) is not None:
            ready(note)
        if browser:
            webbrowser.open(address)

    # what is started here runs before anybody is listened to
    app.on_startup(lambda: background_tasks.create(opened()))
    with contextlib.suppress(KeyboardInterrupt):  # the way to close it
        ui.run(window_of(desk), host=HOST, port=port, title="panbudget", language="en-US", **_WITHOUT)
