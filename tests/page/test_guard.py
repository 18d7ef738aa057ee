"""The guard: no token, no own name, no own origin, nothing; and no file but the garden's pages."""

from __future__ import annotations

import asyncio
import logging
import os
import subprocess
import sys

import pytest

from panbudget.page.guard import Guard, briefly, shown_file, upload_target

HOST = "127.0.0.1:8123"


async def _inner(scope, receive, send):
    """Stand for the page: tell the prefix, and what is left of a forwarded one."""
    if scope["type"] == "websocket":
        await send({"type": "websocket.accept"})
        return
    told = f"{scope['root_path']} {[name for name, _ in scope['headers'] if b'forwarded' in name]}"
    await send({"type": "http.response.start", "status": 200, "headers": []})
    await send({"type": "http.response.body", "body": told.encode()})


def ask(path, headers, kind="http"):
    """Ask the guard as a browser would; the messages that come back."""
    sent = []

    async def send(message):
        sent.append(message)

    pairs = [(name.encode(), value.encode()) for name, value in ({"host": HOST} | headers).items()]
    scope = {"type": kind, "method": "POST", "path": path, "headers": pairs}
    asyncio.run(Guard(_inner, token="secret", port=8123)(scope, None, send))
    return sent


@pytest.mark.parametrize(
    ("path", "headers", "status"),
    [
        ("/secret/", {}, 200),
        ("/secret/", {"origin": f"http://{HOST}"}, 200),
        ("/secret/", {"host": "localhost:8123"}, 200),
        ("/secret/", {"sec-fetch-site": "same-origin"}, 200),
        ("/", {}, 404),
        ("/secre/", {}, 404),
        ("/secrets/", {}, 404),
        ("/x/secret/", {}, 404),
        ("/secret/", {"host": "garden.example:8123"}, 421),
        ("/secret/", {"host": "127.0.0.1:8124"}, 421),
        ("/secret/", {"host": "127.0.0.1"}, 421),
        ("/secret/", {"origin": "http://garden.example"}, 403),
        ("/secret/", {"origin": "null"}, 403),
        ("/secret/", {"origin": f"https://{HOST}"}, 403),
        ("/secret/", {"origin": "http://localhost:8123"}, 403),
        ("/secret/", {"sec-fetch-site": "cross-site"}, 403),
        ("/secret/", {"sec-fetch-site": "same-site"}, 403),
    ],
)
def test_only_this_address_from_its_own_pages(path, headers, status):
    assert ask(path, headers)[0]["status"] == status


def test_what_passes_knows_its_prefix_and_is_told_no_other():
    start, body = ask("/secret/", {"x-forwarded-prefix": "//evil.example"})
    assert body["body"] == b"/secret []"
    headers = dict(start["headers"])
    assert headers[b"content-security-policy"].startswith(b"default-src 'self'")
    assert headers[b"referrer-policy"] == b"no-referrer"


def test_a_socket_of_the_own_origin_is_let_in():
    assert ask("/secret/ws", {"origin": f"http://{HOST}"}, "websocket") == [{"type": "websocket.accept"}]


@pytest.mark.parametrize(
    ("path", "headers"),
    [
        ("/secret/ws", {}),
        ("/secret/ws", {"origin": "http://garden.example"}),
        ("/secret/ws", {"origin": f"http://{HOST}", "host": "garden.example:8123"}),
        ("/ws", {"origin": f"http://{HOST}"}),
    ],
)
def test_any_other_socket_is_shut(path, headers):
    assert ask(path, headers, "websocket") == [{"type": "websocket.close", "code": 1008}]


def test_only_pages_below_the_gardens_folder_are_shown(tmp_path):
    garden, outside = tmp_path / "garden", tmp_path / "outside"
    for folder in (garden / "size" / "figures", outside / "size"):
        folder.mkdir(parents=True)
    for file in (garden / "size" / "size.html", garden / "size" / "figures" / "x.html", outside / "size" / "size.html"):
        file.write_text("<p>")
    (garden / "size" / "sized.toml").write_text("")
    (garden / "notes.html").write_text("")
    assert shown_file(garden, "size/size.html") == garden / "size" / "size.html"
    refused = ["../outside/size/size.html", str(outside / "size" / "size.html"), "size/sized.toml", "notes.html"]
    refused += ["size/figures/x.html", "size/none.html", "size/../../outside/size/size.html", "size/\0.html", ""]
    refused += [f"size/{'x' * 5000}.html"]
    assert [shown_file(garden, name) for name in refused] == [None] * len(refused)
    if hasattr(os, "symlink"):
        (garden / "away").symlink_to(outside / "size")
        assert shown_file(garden, "away/size.html") is None


def test_an_upload_stays_in_the_gardens_folder_and_is_a_table(tmp_path):
    assert upload_target(tmp_path, "station.csv") == tmp_path / "station.csv"
    for name in ("../../station.csv", "/etc/station.csv", "C:\\weather\\station.csv"):
        assert upload_target(tmp_path, name) == tmp_path / "station.csv"
    assert upload_target(tmp_path, "a" * 116 + ".csv") == tmp_path / ("a" * 116 + ".csv")
    refused = ["garden.toml", "garden.TOML", "page.html", ".hidden.csv", "", "..", "x/", "a" * 117 + ".csv", "a\n.csv"]
    assert [upload_target(tmp_path, name) for name in refused] == [None] * len(refused)


@pytest.mark.parametrize("shown", [False, True])
def test_an_unreadable_packet_is_told_in_a_line(shown, monkeypatch, caplog):
    """A socket's library told of each with a traceback on the screen."""
    if shown:
        monkeypatch.setenv("PANBUDGET_TRACEBACK", "1")
    logger = logging.Logger("engineio.server")
    logger.addFilter(briefly)
    logger.addHandler(caplog.handler)
    try:
        int("\x1b[2J%s" + "9" * 5000)
    except ValueError:
        logger.exception("message %s error\nfuture: <Task>", "handler")
    assert ("Traceback" in caplog.text) is shown
    if not shown:
        (line,) = caplog.text.splitlines()
        assert "message handler error (ValueError: " in line and "\x1b" not in line and len(line) < 400


def test_no_variable_sends_the_pages_state_to_another_machine():
    """Or ended it, where what that takes is not installed."""
    pytest.importorskip("nicegui")
    script = "import panbudget.page.server, nicegui.storage as s; assert s.Storage.redis_url is None"
    environment = {**os.environ, "NICEGUI_REDIS_URL": "redis://127.0.0.1:1"}
    assert subprocess.run([sys.executable, "-c", script], env=environment, check=False).returncode == 0
