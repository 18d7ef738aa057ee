"""A made-up season for the reports' tests: nothing is replayed, every number in sight."""

from __future__ import annotations

import datetime as dt
from types import SimpleNamespace

import numpy as np
import pandas as pd

from simulator.findings import Finding
from simulator.weather.flags import MEASURED

SWING, AREA, FREEBOARD = 0.9, 0.2, 20.0
PROVENANCE = {
    "panbudget": "0.1.0",
    "python": "3.12.0",
    "packages": {"numpy": "2.4.0", "pandas": "2.3.0"},
    "scenario_sha256": "5ce0" * 16,
    "weather_sha256": "3ea7" * 16,
    "weather": {
        "file": "weather.csv",
        "reader": "table",
        "recognised": "a plain table",
        "first": "2025-05-01",
        "last": "2025-05-31",
    },
    "assumptions": [],
    "times": "solar",
}


def _lane(irrigation, demand, stressed, run):
    return {
        "irrigation_mm": irrigation,
        "rain_mm": 12.0,
        "runoff_mm": 0.0,
        "etc_mm": 155.0,
        "eta_mm": 150.0,
        "deep_percolation_mm": 3.0,
        "stress_days": stressed,
        "longest_stress_days": run,
        "adequacy": 150.0 / 155.0,
        "net_demand_mm": demand,
        "depletion_start_mm": 0.0,
        "depletion_end_mm": 10.0,
        "closure_mm": 0.0,
        "rain_kept_mm": 11.0,
        "supply_over_demand": irrigation / demand if demand else None,
    }


def bed_days(index, *, irrigation=4.0):
    """Depletion swings between 10 and 40 mm; the driest quarter is short on the sixth and seventh day."""
    n = len(index)
    wave = 25.0 + 15.0 * np.sin(np.arange(n))
    driest_ks = np.ones(n)
    driest_ks[5:7] = 0.8
    return pd.DataFrame(
        {
            "litres": irrigation * 12.0,
            "irrigation_mm": irrigation,
            "rain_mm": 0.0,
            "runoff_mm": 0.0,
            "depletion_mm": wave,
            "ks": 1.0,
            "etc_mm": 5.0,
            "eta_mm": 4.8,
            "deep_percolation_mm": 0.1,
            "kc": 1.0,
            "taw_mm": 90.0,
            "raw_mm": 45.0,
            "growing": True,
            "driest_irrigation_mm": 0.9 * irrigation,
            "driest_depletion_mm": wave + 8.0,
            "driest_ks": driest_ks,
            "driest_etc_mm": 5.0,
            "driest_eta_mm": 4.7,
            "driest_deep_percolation_mm": 0.0,
            "net_demand_mm": 3.5,
            "exact_depletion_mm": wave,
        },
        index=index,
    )


def made_up_season(
    *, days=31, controllers=("upper",), beds=("tomatoes", "lettuce"), title="A small garden", findings=None
):
    """Each pan opens once a day from 10:30 to 11:00; hot days are the eleventh to the twentieth."""
    index = pd.date_range("2025-05-01", periods=days, freq="D", name="date")
    tmax = np.full(days, 30.0)
    tmax[10:20] = 41.0
    rain = np.zeros(days)
    rain[days // 2] = 12.0
    day_table = pd.DataFrame(
        {"eto_mm": 5.0, "rain_mm": rain, "tmin_c": tmax - 15.0, "tmax_c": tmax}, index=index
    )
    controller_days = pd.DataFrame(
        {
            "openings": 1, "open_hours": 0.5, "litres": 50.0, "refilled_kg": 1.0, "evaporated_kg": 1.0,
            "rain_caught_kg": 0.0, "spilled_kg": 0.0, "pan_level_kg": 0.4, "stuck_hours": 0.0, "dry_hours": 0.0,
            "pan_mm": 7.0,
        },
        index=index,
    )  # fmt: skip
    hour = np.arange(1, 25)
    level = np.where(hour <= 10, 0.5 * (10.5 - hour) / 10.5, SWING - 0.4 * (hour - 11) / 13)
    starts = np.arange(days) * 24.0 + 10.5
    openings = pd.concat(
        [
            pd.DataFrame(
                {
                    "controller": name, "start": "2025-05-01 10:30:00", "end": "2025-05-01 11:00:00",
                    "minutes": 30.0, "refilled_kg": 1.0, "litres": 50.0, "cause": "trip",
                    "start_h": starts, "end_h": starts + 0.5,
                }
            )
            for name in controllers
        ],
        ignore_index=True,
    )  # fmt: skip
    keys = [f"{c}/{b}" for c in controllers for b in beds]
    described = SimpleNamespace(
        valve=SimpleNamespace(swing_kg=SWING),
        pan=SimpleNamespace(area=AREA, freeboard=FREEBOARD, evaporation="from-eto", exposure=1.0),
        supply="spring",
    )
    if findings is None:
        findings = (
            Finding(
                "danger",
                "short-of-water",
                keys[-1],
                "Short of water on 2 days. Add emitters.",
                "2025-05-06",
                2,
            ),
            Finding(
                "caution", "weak-refill", controllers[0], "The refill emitter is weak. Use a larger one."
            ),
            Finding("note", "filled", "weather", "wind: 3 of 31 days estimated."),
        )
    columns = ["tmin", "tmax", "vapour_pressure", "rh_mean", "rh_min", "wind", "rain", "radiation"]
    flags = pd.DataFrame(MEASURED, index=index, columns=columns, dtype=object)
    flags.iloc[3:6, columns.index("wind")] = "monthly mean wind"
    daily = pd.DataFrame(dict.fromkeys(columns, 1.0), index=index).assign(
        tmin=tmax - 15.0, tmax=tmax, rain=rain
    )
    weather = SimpleNamespace(
        daily=daily,
        flags=flags,
        notes=("invented weather: made up for a test",),
        provenance={
            "file": "weather.csv", "sha256": "3ea7" * 16, "reader": "table", "recognised": "a plain table",
            "units": {"tmin": "degC"}, "rows": days, "first": "2025-05-01", "last": "2025-05-31", "assumptions": [],
        },
    )  # fmt: skip
    filled = {"wind": {"monthly mean wind": 3}}
    totals = {
        "schema": 1,
        "title": title,
        "season": {"start": str(index[0].date()), "end": str(index[-1].date()), "days": days},
        "controllers": {
            name: {
                "openings": days, "open_hours": 0.5 * days, "evaporated_kg": 1.0 * days, "rain_caught_kg": 2.4,
                "spilled_kg": 0.3, "refilled_kg": 1.0 * days, "pan_start_kg": 32.0, "pan_end_kg": 31.5,
                "closure_kg": 1e-15, "longest_gap_days": 0.98, "litres": 50.0 * days, "bed_litres": 49.0 * days,
                "stuck_open_hours": 0.0, "dry_pan_hours": 0.0,
            }
            for name in controllers
        },
        "beds": {
            key: {"area_m2": 12.0, "litres": 1488.0, **_lane(124.0, 108.5, 0, 0), "driest_quarter": _lane(111.6, 108.5, 2, 2)}
            for key in keys
        },
        "supplies": {
            "spring": {
                "litres": 50.0 * days, "by_month": {"2025-05": 50.0 * days},
                "peak_day": {"date": "2025-05-01", "litres": 50.0}, "peak_rate_l_per_h": 100.0,
            }
        },
        "weather": {"eto_mm": 5.0 * days, "pan_evaporation_mm": dict.fromkeys(controllers, 7.0 * days), "rain_mm": 12.0, "filled": filled},
    }  # fmt: skip
    pan = SimpleNamespace(
        evaporation={"from-eto": np.full(days, 7.0), "energy-balance": np.full(days, 8.4)}, refill_flow=2.0,
        bed_flows=dict.fromkeys(beds, 50.0),
    )  # fmt: skip
    return SimpleNamespace(
        scenario=SimpleNamespace(
            title=title,
            path="garden.toml",
            controller=dict.fromkeys(controllers, described),
            season=SimpleNamespace(start=dt.date(2025, 5, 1), end=index[-1].date()),
            weather=SimpleNamespace(file="weather.csv"),
            site=SimpleNamespace(latitude=38.6, elevation=240.0, longitude=None, timezone=None),
            supply={"spring": None},
            variant={},
        ),
        weather=weather,
        days=day_table,
        controllers=dict.fromkeys(controllers, controller_days),
        beds={key: bed_days(index) for key in keys},
        openings=openings,
        hourly_level={name: np.tile(level, days) for name in controllers},
        findings=tuple(findings),
        totals=totals,
        assumptions=("wind: monthly mean wind on 3 of 31 days",),
        forcing=SimpleNamespace(pan_of=dict.fromkeys(controllers, pan)),
        times_are="solar",
    )
