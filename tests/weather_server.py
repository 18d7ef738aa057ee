"""
A server on this machine that answers as the two public weather services are described to, and in all the ways that go wrong.

Layouts: NASA POWER documentation, daily API (CSV), and Open-Meteo documentation, weather forecast API (both from memory).
The figures are invented: the temperature tells the day of the month.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import gzip
import json
import re
import threading
import time
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from urllib.parse import parse_qs, urlsplit

BLOCK = """-BEGIN HEADER-
NASA/POWER Source Native Resolution Daily Data
Dates (month/day/year): {first} through {last} in LST
Location: Latitude  {latitude}   Longitude {longitude}
Elevation from MERRA-2: Average for 0.5 x 0.625 degree lat/lon region = 240.5 meters
The value for missing source data that cannot be computed or is outside of the sources availability range: -999
Parameter(s):
T2M_MAX               MERRA-2 Temperature at 2 Meters Maximum (C)
T2M_MIN               MERRA-2 Temperature at 2 Meters Minimum (C)
RH2M                  MERRA-2 Relative Humidity at 2 Meters (%)
WS2M                  MERRA-2 Wind Speed at 2 Meters (m/s)
PRECTOTCORR           MERRA-2 Precipitation Corrected (mm/day)
ALLSKY_SFC_SW_DWN     CERES SYN1deg All Sky Surface Shortwave Downward Irradiance (MJ/m^2/day)
-END HEADER-
YEAR,MO,DY,T2M_MAX,T2M_MIN,RH2M,WS2M,PRECTOTCORR,ALLSKY_SFC_SW_DWN
"""
UNITS = {"temperature": "°C", "relative": "%", "wind": "m/s", "precipitation": "mm", "shortwave": "MJ/m²"}
FIGURES = {"temperature_2m_max": 30.0, "temperature_2m_min": 15.0, "wind_speed_10m_mean": 4.0, "precipitation_sum": 0.0}
FIGURES |= {"relative_humidity_2m_max": 80.0, "relative_humidity_2m_min": 35.0, "shortwave_radiation_sum": 9.0}


def record(query, latest=dt.date.max):
    """Answer a question for past days; days after the latest are not there yet."""
    first, last = (dt.datetime.strptime(query[key], "%Y%m%d").date() for key in ("start", "end"))
    shown = {"first": f"{first:%m/%d/%Y}", "last": f"{last:%m/%d/%Y}"}
    rows = []
    for n in range((last - first).days + 1):
        day = first + dt.timedelta(days=n)
        figures = f"{20 + day.day / 10:.2f},10.5,60.0,2.0,1.5,8.0" if day <= latest else ",".join(["-999"] * 6)
        rows.append(f"{day.year},{day.month},{day.day},{figures}\n")
    return BLOCK.format(latitude=query["latitude"], longitude=query["longitude"], **shown) + "".join(rows)


def forecast(query, today):
    """Answer a question for the days ahead."""
    first, past = today, int(query.get("past_days", 0))
    days = [str(first + dt.timedelta(days=n)) for n in range(-past, int(query["forecast_days"]))]
    wanted = query["daily"].split(",")
    return {
        "latitude": float(query["latitude"]) + 0.02,
        "longitude": float(query["longitude"]) - 0.02,
        "timezone": "GMT",
        "daily_units": {"time": "iso8601", **{name: UNITS[name.split("_")[0]] for name in wanted}},
        "daily": {"time": days, **{name: [FIGURES[name]] * len(days) for name in wanted}},
    }


class Server:
    """``way`` is how it answers, ``asked`` the questions so far; ``today`` and ``latest`` what days it has; ``pause`` asked for."""

    def __init__(self, address):
        self.address, self.way, self.asked = address, "whole", []
        self.today, self.latest, self.pause = dt.date.today(), dt.date.max, "3"

    def answer(self, handler):
        """Answer one question."""
        parts = urlsplit(handler.path)
        query = {name: values[0] for name, values in parse_qs(parts.query).items()}
        self.asked.append((parts.path, query))
        way = self.way.pop(0) if isinstance(self.way, list) else self.way
        if way == "stalls":
            time.sleep(1.0)
        elif way in ("moved", "round"):
            handler.send_response(302)
            handler.send_header("Location", parts.path + ("x" if way == "round" else "/again") + "?" + parts.query)
            handler.end_headers()
            self.way = "whole" if way == "moved" else way
        elif way in ("nowhere", "another-host"):
            handler.send_response(302)
            other = "file:///weather.csv" if way == "nowhere" else self.address.replace("127.0.0.1", "localhost")
            handler.send_header("Location", other)
            handler.end_headers()
        elif way == "web-page":
            send(handler, "<!DOCTYPE html><html><body>Sign in</body></html>")
        elif way == "nothing":
            send(handler, "\n")
        elif way in (404, 429, 500, 503):
            send(handler, "<html>trouble</html>", way, **{"Retry-After": self.pause} if way == 429 else {})
        elif way == "json-error":
            send(handler, json.dumps({"header": "Error", "messages": ["no such parameter"]}), 422)
        elif way == "deep":
            send(handler, "[" * 100_000)
        elif way == "json":
            send(handler, json.dumps({"error": True, "reason": "no such variable"}))
        else:
            self.weather(handler, parts.path, query, way)

    def weather(self, handler, path, query, way):
        """Answer with weather, or with what is not quite that."""
        if "point" in path:
            text = record({**query, "latitude": 51.0} if way == "elsewhere" else query, self.latest)
            lines = text.splitlines(keepends=True)
            text = "".join(lines[: len(lines) // 2]) if way == "half" else text
            text = text.replace("MJ/m^2/day", "furlongs") if way == "other-unit" else text
            text = text.replace("T2M_MIN", "T10M_MIN") if way == "other-columns" else text
            text = text.replace("PRECTOTCORR", "SNODP") if way == "no-rain" else text
            text = text + lines[-1].replace("10.5", "9.5") if way == "twice" else text
            text = text + lines[-1].replace("2024,12,31", "2025,1,1") if way == "too-many" else text
            text = text.replace(",10.5,", {"exchanged": ",24.5,"}.get(way, ",10.5,"))
            text = re.sub(r",2\d\.\d\d,", ",86,", text) if way == "fahrenheit" else text
            text = text.replace(",1.5,", ",-1.5,") if way == "below-nothing" else text
            text = text.replace(",60.0,", ",100.5,", 1) if way == "too-damp" else text
        else:
            whole = forecast({**query, "latitude": 51.0} if way == "elsewhere" else query, self.today)
            if way in ("half", "one-less"):
                most = -1 if way == "one-less" else len(whole["daily"]["time"]) // 2
                whole["daily"] = {name: values[:most] for name, values in whole["daily"].items()}
            if way == "other-columns":
                del whole["daily"]["temperature_2m_min"]
            if way == "twice":
                whole["daily"]["time"][3] = whole["daily"]["time"][2]
            if way == "endless":
                whole["daily"]["temperature_2m_max"][3] = float("inf")
            if way == "bare-ends":
                whole["daily"]["precipitation_sum"][0] = whole["daily"]["temperature_2m_min"][-1] = None
                whole["daily"]["wind_speed_10m_mean"][3] = None
            if way in ("exchanged", "fahrenheit"):
                days = len(whole["daily"]["time"])
                whole["daily"][f"temperature_2m_{'min' if way == 'exchanged' else 'max'}"] = [86.0] * days
            if way in ("one-for-all", "too-long"):
                whole["daily"]["temperature_2m_max"] = (
                    28.4 if way == "one-for-all" else [10**400] * len(whole["daily"]["time"])
                )
            if way == "uneven":
                whole["daily"]["temperature_2m_max"].pop()
            if way == "true":
                whole["daily"]["wind_speed_10m_mean"][3] = True
            if way == "below-nothing":
                whole["daily"]["precipitation_sum"][3] = -1.5
            if way == "too-damp":
                whole["daily"]["relative_humidity_2m_max"][3:5] = [100.0, 100.5]
            if way == "no-units":
                whole["daily_units"] = None
            if way == "other-unit":
                whole["daily_units"]["temperature_2m_max"] = "°F"
            text = json.dumps(whole)
        if way in ("cut", "cut-silently"):
            send(handler, text, cut=True, measured=way == "cut")
        elif way == "drips":
            with contextlib.suppress(OSError):
                send(handler, "", measured=False)
                for character in text[:40]:
                    handler.wfile.write(character.encode())
                    handler.wfile.flush()
                    time.sleep(0.05)
        elif way in ("wide", "packed"):
            send(handler, text.encode("utf-16") if way == "wide" else gzip.compress(text.encode()))
        elif way in ("gzip", "gzip-cut"):
            send(handler, text, packed=True, cut=way == "gzip-cut")
        else:
            send(handler, text)


def send(handler, text, status=200, *, cut=False, measured=True, packed=False, **headers):
    """Send a text; cut off in its middle, without its length, or packed."""
    content = text if isinstance(text, bytes) else gzip.compress(text.encode()) if packed else text.encode()
    handler.send_response(status)
    for name, value in {**headers, **({"Content-Encoding": "gzip"} if packed else {})}.items():
        handler.send_header(name, value)
    if measured:
        handler.send_header("Content-Length", str(len(content)))
    handler.end_headers()
    handler.wfile.write(content[: len(content) - 5] if cut else content)


@contextlib.contextmanager
def serving():
    """Run the server on a free port of this machine."""

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self):
            with contextlib.suppress(BrokenPipeError, ConnectionResetError):
                server.answer(self)

        def log_message(self, *_):
            """Say nothing."""

    listening = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    listening.daemon_threads = True
    listening.block_on_close = False
    server = Server(f"http://127.0.0.1:{listening.server_port}")
    thread = threading.Thread(target=listening.serve_forever, kwargs={"poll_interval": 0.02}, daemon=True)
    thread.start()
    try:
        yield server
    finally:
        listening.shutdown()
        listening.server_close()
        thread.join()
