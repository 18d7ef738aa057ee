"""
A real season recomputed by a second, deliberately naive implementation of FAO-56's steps.

Weather: Seattle 2015, NOAA daily record in the package vega_datasets (MIT; data public domain). Below, plain Python
from the paper's equations, one day after the other, sharing nothing with the project but the water that the valve gave.
"""

from __future__ import annotations

import datetime as dt
import math

import pytest

from panbudget import replay, scenario_from

LATITUDE, ELEVATION = 47.45, 130.0
START, END = dt.date(2015, 4, 15), dt.date(2015, 9, 30)
PLANTED = dt.date(2015, 5, 1)


@pytest.fixture(scope="module")
def record():
    data = pytest.importorskip("vega_datasets").data
    return data.seattle_weather()


@pytest.fixture(scope="module")
def season(record, tmp_path_factory):
    folder = tmp_path_factory.mktemp("naive")
    weather = record.rename(columns={"precipitation": "rain", "temp_max": "tmax", "temp_min": "tmin"})
    weather[["date", "tmin", "tmax", "wind", "rain"]].to_csv(folder / "weather.csv", index=False)
    emitters = {"flow": "2 L/h", "count": 24}
    loam = {"area": "10 m^2", "emitters": emitters, "soil": "loam", "uniformity": 0.8}
    bed = {
        "single": {**loam, "plants": "tomato", "planted": PLANTED},
        "dual": {**loam, "plants": "tomato", "planted": PLANTED, "method": "dual", "wetted_fraction": 0.35},
        "landscape": {
            **loam,
            "emitters": {"flow": "2 L/h", "count": 6},
            "plants": {"plant_factor": 0.5, "root_depth": "40 cm", "depletion": 0.5},
        },
    }
    garden = {
        "site": {"latitude": LATITUDE, "elevation": f"{ELEVATION} m", "climate": "humid"},
        "weather": {"file": "weather.csv", "wind_height": "10 m"},
        "season": {"start": START, "end": END},
        "supply": {"tap": {"pressure": "100 kPa"}},
        "controller": {
            "yard": {
                "supply": "tap",
                "pan": {"vessels": [{"diameter": "40 cm"}], "depth": "18 cm"},
                "valve": {"swing": "0.9 kg", "refill": {"flow": "2 L/h"}},
                "bed": bed,
            }
        },
    }
    return replay(scenario_from(garden, folder / "garden.toml"))


def svp(t):
    return 0.6108 * math.exp(17.27 * t / (t + 237.3))  # eq. 11


def weather_of(record):
    """Date -> wind at 2 m, RHmin, rain, ETo: humidity from Tmin, radiation from the range of temperature."""
    days = {}
    for row in record.itertuples():
        day = row.date.date()
        low, high, doy = row.temp_min, row.temp_max, day.timetuple().tm_yday
        mean = (low + high) / 2
        wind = row.wind * 4.87 / math.log(67.8 * 10.0 - 5.42)  # eq. 47
        ea = svp(low)  # eq. 48
        phi = math.radians(LATITUDE)
        dr = 1 + 0.033 * math.cos(2 * math.pi * doy / 365)
        delta = 0.409 * math.sin(2 * math.pi * doy / 365 - 1.39)
        ws = math.acos(-math.tan(phi) * math.tan(delta))
        sines = ws * math.sin(phi) * math.sin(delta) + math.cos(phi) * math.cos(delta) * math.sin(ws)
        ra = 24 * 60 / math.pi * 0.0820 * dr * sines  # eq. 21
        rso = (0.75 + 2e-5 * ELEVATION) * ra  # eq. 37
        rs = min(0.16 * math.sqrt(high - low) * ra, rso)  # eq. 50, inland
        sigma = 4.903e-9 * ((high + 273.16) ** 4 + (low + 273.16) ** 4) / 2
        rnl = sigma * (0.34 - 0.14 * math.sqrt(ea)) * (1.35 * max(rs / rso, 0.3) - 0.35)  # eq. 39
        rn = 0.77 * rs - rnl
        slope = 4098 * svp(mean) / (mean + 237.3) ** 2
        gamma = 0.665e-3 * 101.3 * ((293 - 0.0065 * ELEVATION) / 293) ** 5.26
        top = 0.408 * slope * rn + gamma * 900 / (mean + 273) * wind * ((svp(low) + svp(high)) / 2 - ea)
        eto = top / (slope + gamma * (1 + 0.34 * wind))  # eq. 6
        days[day] = (wind, 100 * ea / svp(high), row.precipitation, eto)
    return days


def adjusted(kc, days, first, last, height):
    """Eq. 62, 65, 70 over the stage's days."""
    stage = [days[first + dt.timedelta(n)] for n in range((last - first).days)]
    wind = min(max(sum(d[0] for d in stage) / len(stage), 1.0), 6.0)
    rh = min(max(sum(d[1] for d in stage) / len(stage), 20.0), 80.0)
    return kc + (0.04 * (wind - 2) - 0.004 * (rh - 45)) * (height / 3) ** 0.3


def tomato(days, basal):
    """Day -> Kc (or Kcb), roots, height. Table 11, 12, 17, 22: stages 30/40/45/30."""
    ini, mid, end = (0.15, 1.10, 0.70) if basal else (0.60, 1.15, 0.80)
    at = [PLANTED + dt.timedelta(n) for n in (0, 30, 70, 115, 145)]
    mid, end = adjusted(mid, days, at[2], at[3], 0.6), adjusted(end, days, at[3], at[4], 0.6)

    def of(day):
        i = (day - PLANTED).days + 1
        if i < 1 or i > 145:
            return (0.0 if basal else ini), (0.2 if i < 1 else 0.7), 0.05, False
        roots = 0.2 + 0.5 * min(i / 70, 1)
        if i <= 30:
            return ini, roots, 0.05, True
        if i <= 70:
            return ini + (i - 30) / 40 * (mid - ini), roots, max(0.6 * (i - 30) / 40, 0.05), True
        if i <= 115:
            return mid, roots, 0.6, True
        return mid + (i - 115) / 30 * (end - mid), roots, 0.6, True

    return of


@pytest.mark.parametrize("lane", ["", "driest_"])
@pytest.mark.parametrize("name", ["single", "dual", "landscape"])
def test_a_bed_of_a_real_season_comes_out_the_same(name, lane, season, record):
    table = season.beds[f"yard/{name}"]
    days = weather_of(record)
    of = tomato(days, basal=name == "dual")
    depletion = surface = etc_sum = eta_sum = eto_sum = 0.0
    stress = 0
    wetted = 1.0
    for stamp, given in table[f"{lane}irrigation_mm"].items():
        wind, rh_min, rain, eto = days[stamp.date()]
        kc, roots, height, grows = (0.5, 0.4, 0.5, True) if name == "landscape" else of(stamp.date())
        p_table = 0.5 if name == "landscape" else 0.4
        taw = 1000 * (0.25 - 0.12) * roots  # loam, Table 19's middle
        ke = 0.0
        if name == "dual":
            wetted = 1.0 if rain > 3.0 else 0.35 if given > 0 else wetted  # chapter 7, at eq. 75
            term = 0.04 * (min(max(wind, 1), 6) - 2) - 0.004 * (min(max(rh_min, 20), 80) - 45)
            most = max(1.2 + term * (max(height, 0.1) / 3) ** 0.3, kc + 0.05)  # eq. 72
            cover = min((max(kc - 0.15, 0.01) / (most - 0.15)) ** (1 + 0.5 * height), 0.99)  # eq. 76
            few = min(1 - cover, wetted * (1 - 2 / 3 * cover) if wetted < 1 else 1.0)  # eq. 75, Example 34
            tew, rew = 1000 * (0.25 - 0.5 * 0.12) * 0.1, 9.0  # eq. 73
            reaches = rain if rain >= 0.2 * eto else 0.0  # chapter 7, at eq. 77
            surface = max(surface - reaches - given / 0.35, 0.0)
            kr = 1.0 if surface <= rew else (tew - surface) / (tew - rew)  # eq. 74
            ke = max(min(kr * (most - kc), few * most), 0.0)  # eq. 71
            ke = min(ke, few * (tew - surface) / eto)
            surface = min(surface + ke * eto / few, tew)  # eq. 77
        etc = (kc + ke) * eto
        raw = min(max(p_table + 0.04 * (5 - etc), 0.1), 0.8) * taw
        morning = max(depletion - rain - given, 0.0)
        ks = 1.0 if morning <= raw else max((taw - morning) / (taw - raw), 0.0)  # eq. 84
        eta = min((ks * kc + ke) * eto, max(taw - morning, 0.0))
        depletion = max(depletion - rain - given + eta, 0.0)  # eq. 85, 88
        stress += grows and ks < 1.0
        etc_sum, eta_sum, eto_sum = etc_sum + etc, eta_sum + eta, eto_sum + eto
    assert season.totals["weather"]["eto_mm"] == pytest.approx(eto_sum, rel=1e-3)
    assert table[f"{lane}etc_mm"].sum() == pytest.approx(etc_sum, rel=1e-3)
    assert table[f"{lane}eta_mm"].sum() == pytest.approx(eta_sum, rel=2e-3)
    assert abs(int(((table[f"{lane}ks"] < 1.0) & table["growing"]).sum()) - stress) <= 1
    assert stress > 0  # or the comparison would say nothing of Ks
