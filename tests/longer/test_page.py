"""The page in a real browser: a garden from nothing, two windows, a hostile page, no request that leaves the machine; and jobs."""

from __future__ import annotations

import asyncio
import contextlib
import http.server
import os
import re
import shutil
import signal
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from panbudget.page import jobs
from tests.garden_file import write_garden, years_csv

ROOT = Path(__file__).resolve().parents[2]
STATION = ROOT / "weather_samples" / "terraces-2025.csv"
CHROMIUM = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
PATIENCE = 90_000  # ms; a machine may be busy


@contextlib.contextmanager
def _open(folder):
    """Open a garden's page in a process of its own, and give its address."""
    # nicegui serves otherwise where it finds that it is tested
    kept = {name: value for name, value in os.environ.items() if not name.startswith("PYTEST_")}
    environment = {**kept, "PYTHONPATH": str(ROOT / "simulator"), "PYTHONUNBUFFERED": "1"}
    command = [sys.executable, "-m", "panbudget", "open", str(folder), "--no-browser"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=environment) as program:
        assert program.stdout is not None
        try:
            found = re.search(r"http://127\.0\.0\.1:\d+/\S+/", program.stdout.readline())
            assert found is not None
            yield found[0]
        finally:
            program.send_signal(signal.SIGINT)
            assert program.wait(30) == 0


@contextlib.contextmanager
def _browser():
    playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    if CHROMIUM is None:
        pytest.skip("there is no chromium on this machine")
    with playwright.sync_playwright() as started:
        browser = started.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        context = browser.new_context(viewport={"width": 1200, "height": 900})
        context.set_default_timeout(PATIENCE)
        yield context
        browser.close()


@contextlib.contextmanager
def _hostile(script):
    """Serve a page of another origin."""

    class Page(http.server.BaseHTTPRequestHandler):
        def do_GET(self):
            self.send_response(200)
            self.send_header("content-type", "text/html")
            self.end_headers()
            self.wfile.write(f"<body><script>{script}</script>".encode())

        def log_message(self, *ignored):
            """Say nothing."""

    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Page)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    yield f"http://localhost:{server.server_port}/"
    server.shutdown()
    server.server_close()


def _said(page, text):
    page.wait_for_function("text => document.querySelector('.said')?.innerText.includes(text)", arg=text)


def test_a_garden_is_made_and_moved_in_a_browser_and_nothing_leaves_the_machine(tmp_path):
    folder, asked = tmp_path / "mine", []
    with _browser() as context, _open(folder) as address:
        page = context.new_page()
        page.on("request", lambda request: asked.append(request.url))
        page.goto(address)
        page.get_by_label("Latitude").fill("38.6")
        page.get_by_role("radio", name="millimetres").focus()
        for key, height in (("ArrowUp", "400 ft"), ("ArrowDown", "120 m")):
            page.keyboard.press(key)  # the keyboard stays in the group, which is drawn again
            page.wait_for_function("document.activeElement.getAttribute('aria-checked') === 'true'")
            page.wait_for_function(
                "told => [...document.querySelectorAll('input')].some(i => i.value === told)", arg=height
            )
        for heading in ("Which weather?", "Which days?", "Where does the water come from?", "The valve's pan"):
            page.get_by_role("button", name="Next").click()
            page.get_by_role("heading", name=heading).wait_for()
            page.wait_for_function("document.activeElement.tagName === 'H2'")
            if heading == "Which weather?":
                page.get_by_text("a file of mine").click()
                page.set_input_files("input[type=file]", STATION)
                page.get_by_text("These days can be used.").wait_for()
            if heading == "The valve's pan":
                page.get_by_label("Diameter").fill("70 cm")
        for heading in ("Swing and refill", "A bed"):
            page.get_by_role("button", name="Next").click()
            page.get_by_role("heading", name=heading).wait_for()
        page.get_by_label("Plants").fill("laven")
        page.get_by_role("option", name="lavender").click()
        page.wait_for_function("document.querySelector('input[aria-label=\"Name of the bed\"]').value === 'lavender'")
        page.get_by_role("button", name="Write the garden").click()
        _said(page, "draws")
        text = (folder / "garden.toml").read_text(encoding="utf-8")
        assert 'diameter = "70 cm"' in text and "start = 2025-05-01" in text

        other = context.new_page()
        other.goto(address)
        _said(other, "draws")
        page.get_by_role("slider", name="Pan, diameter").focus()
        page.keyboard.press("ArrowRight")
        other.wait_for_function("document.querySelector('.setting input[type=number]').value === '70.5'")
        page.get_by_role("button", name="Season's report").click()
        with context.expect_page() as opened:
            page.get_by_role("link", name="Open replay/report.html").click()
        opened.value.get_by_text("Findings").first.wait_for()
        assert "a page of panbudget" not in opened.value.title()
        unnamed = """[...document.querySelectorAll('input, button, textarea')].filter(part => part.offsetParent
            && !(part.getAttribute('aria-label') || part.labels?.length || part.innerText.trim())).map(part => part.outerHTML)"""
        assert page.evaluate(unnamed) == []
        page.set_viewport_size({"width": 390, "height": 844})
        page.wait_for_function("document.documentElement.scrollWidth === 390")
        page.evaluate("['beforeprint', 'afterprint'].forEach(what => dispatchEvent(new Event(what)))")
        wide = "getElement(document.querySelector('.nicegui-echart').id.slice(1)).chart.getWidth()"
        page.wait_for_function(f"{wide} < 390")
        origin = "/".join(address.split("/")[:3]) + "/"
        assert [url for url in asked if not url.startswith((origin, "data:", "blob:"))] == []


def test_a_hostile_page_that_knows_the_address_gets_nothing(tmp_path):
    write_garden(tmp_path, years_csv(2021, 2021))
    with _browser() as context, _open(tmp_path) as address:
        socket = address.replace("http", "ws") + "_nicegui_ws/socket.io/?EIO=4&transport=websocket"
        tries = f"""
            const told = {{}};
            const trying = async (name, act) => {{ try {{ told[name] = await act(); }} catch {{ told[name] = "refused"; }} }};
            (async () => {{
                await trying("fetch", async () => (await fetch("{address}")).status);
                await trying("socket", () => new Promise((well, ill) => {{
                    const made = new WebSocket("{socket}"); made.onopen = () => well("open"); made.onerror = ill; }}));
                await trying("post", async () => (await fetch("{address}", {{method: "POST", mode: "no-cors"}})).type);
                document.title = JSON.stringify(told);
            }})()"""
        with _hostile(tries) as elsewhere:
            page, answers = context.new_page(), []
            page.on("response", lambda answer: answers.append((answer.url, answer.status)))
            page.goto(elsewhere)
            page.wait_for_function("document.title.includes('post')")
            assert page.title() == '{"fetch":"refused","socket":"refused","post":"opaque"}'
            assert {status for url, status in answers if url == address} == {403}


def test_a_job_tells_its_steps_or_its_error(tmp_path):
    path, heard = write_garden(tmp_path, years_csv(2021, 2021)), []

    async def run(verb, options):
        job = jobs.Job(path, verb, options, {}, 2021)
        await job.run(lambda: heard.append(job.is_running))
        return job

    done = asyncio.run(run("setup", {}))
    assert heard[0] and not heard[-1]
    assert done.steps and done.sentences and done.error == ""
    assert done.pages == ["setup/setup.html", "setup/setup.pdf"]
    failed = asyncio.run(run("away", {"start": "2021-07-20", "end": "2021-07-10"}))
    assert failed.error and failed.pages == []


def test_a_job_that_is_stopped_leaves_nothing(tmp_path):
    path = write_garden(tmp_path, years_csv(2010, 2021))

    async def run():
        job = jobs.Job(path, "size", {}, {}, 2021)
        running = asyncio.create_task(job.run(lambda: None))
        while not job.steps:
            await asyncio.sleep(0.05)
        await job.stop()
        await running
        return job

    job = asyncio.run(run())
    assert job.is_stopped and not job.is_running and job.pages == []
    assert sorted(file.name for file in tmp_path.iterdir()) == ["garden.toml", "weather.csv"]
