"""
The plain script beside which `panbudget sweep` is measured: what a researcher writes with numpy and pandas in an hour.

`python tests/benchmarks/plain_sweep.py FOLDER` with the folder of `sweep.district`: 62 lines of code at most, the same columns, and
none of the checks: files are taken as they are, pans and beds go day by day, and every site, design and bed is stepped at once.
"""

import sys
from pathlib import Path

import numpy as np
import pandas as pd

# area of a bed, of its emitters what they give, TAW at most, p, and Kc at planting, mid season and the end, with stages [days]
BEDS = {
    "tomato": (10.0, 6.0, 100.0, 0.40, (0.6, 1.15, 0.8), (30, 40, 45, 30)),
    "mint": (10.0, 6.0, 60.0, 0.40, (0.6, 1.15, 1.1), (20, 30, 90, 20)),
    "pea": (10.0, 6.0, 80.0, 0.35, (0.5, 1.15, 1.1), (20, 30, 35, 15)),
    "potato": (10.0, 6.0, 60.0, 0.35, (0.5, 1.15, 0.75), (25, 30, 45, 30)),
}
DESIGNS = {f"{40 + 5 * k} cm": np.pi * (0.40 + 0.05 * k) ** 2 / 4.0 for k in range(10)}
LANES = ("", "driest_", "exact_")
SWING, REFILL, HELD = 0.9, 2.0, 150.0


def e0(t):
    return 0.6108 * np.exp(17.27 * t / (t + 237.3))


def eto_and_pan(day, latitude, elevation):
    """FAO-56 Penman-Monteith, and a pan by Kp over green fetch."""
    t, j, phi = (day.tmin + day.tmax) / 2.0, day.index.dayofyear.to_numpy(), np.radians(latitude)
    ea = (e0(day.tmin) * day.rh_max + e0(day.tmax) * day.rh_min) / 200.0
    slope, gamma = 4098.0 * e0(t) / (t + 237.3) ** 2, 0.000665 * 101.3 * ((293.0 - 0.0065 * elevation) / 293.0) ** 5.26
    dr, dec = 1.0 + 0.033 * np.cos(2 * np.pi * j / 365), 0.409 * np.sin(2 * np.pi * j / 365 - 1.39)
    ws = np.arccos(-np.tan(phi) * np.tan(dec))
    ra = 37.586 * dr * (ws * np.sin(phi) * np.sin(dec) + np.cos(phi) * np.cos(dec) * np.sin(ws))
    cloud = 1.35 * np.clip(day.radiation / ((0.75 + 2e-5 * elevation) * ra), 0.3, 1.0) - 0.35
    warm = 4.903e-9 * ((day.tmin + 273.16) ** 4 + (day.tmax + 273.16) ** 4) / 2.0
    rn = 0.77 * day.radiation - warm * (0.34 - 0.14 * np.sqrt(ea)) * cloud
    dry = (e0(day.tmin) + e0(day.tmax)) / 2.0 - ea
    eto = (0.408 * slope * rn + gamma * 900.0 / (t + 273.0) * day.wind * dry) / (slope + gamma * (1 + 0.34 * day.wind))
    u, rh = day.wind.clip(1, 8), ((day.rh_max + day.rh_min) / 2.0).clip(30, 84)
    kp = 0.108 - 0.0286 * u + 0.0422 * np.log(10.0) + 0.1434 * np.log(rh) - 0.000631 * np.log(10.0) ** 2 * np.log(rh)
    return eto.clip(lower=0.0).to_numpy(), (eto / kp).clip(lower=0.0).to_numpy()


def season(rain, eto, pan):
    """Step (days, sites × years, 1, 1) through all designs and beds, as they are, in their driest quarter and refilled exactly."""
    knots = [np.cumsum((4, *bed[5]))[1:] for bed in BEDS.values()]
    curves = [(knot, (bed[4][0], bed[4][1], *bed[4][1:])) for knot, bed in zip(knots, BEDS.values(), strict=True)]
    kc = np.array([np.interp(np.arange(len(rain)), *curve) for curve in curves]).T
    per_hour, taw, p = (np.array([bed[i] for bed in BEDS.values()]) for i in (1, 2, 3))
    area = np.array(list(DESIGNS.values()))[:, None]
    level, depletion = np.full((rain.shape[1], len(area), 1), SWING), np.zeros((3, rain.shape[1], len(area), len(taw)))
    sums, stressed, share = {}, np.zeros(depletion.shape), np.array([1.0, 0.9, 0.0]).reshape(3, 1, 1, 1) * per_hour
    for day in range(len(rain)):
        lost = np.minimum(pan[day] * area, level + HELD)
        level = level + rain[day] * area - lost
        spilled = np.maximum(level - SWING - 20.0 * area, 0.0)
        level, etc = level - spilled, kc[day] * eto[day]
        opened = np.ceil(np.maximum(-level, 0.0) / SWING)
        hours, level = opened * SWING / REFILL, level + opened * SWING
        raw = np.clip(p + 0.04 * (5.0 - etc), 0.1, 0.8) * taw
        water = hours * share
        water[2] = np.where(depletion[2] > raw, depletion[2], 0.0)
        drained = np.maximum(rain[day] + water - depletion, 0.0)
        start = depletion - rain[day] - water + drained
        ks = np.where(start > raw, np.maximum((taw - start) / (taw - raw), 0.0), 1.0)
        eta = np.minimum(ks * etc, taw - start)
        depletion, stressed = start + eta, np.where(ks < 1.0, stressed + 1, 0)
        today = {
            "irrigation_mm": water,
            "eta_mm": eta,
            "etc_mm": etc,
            "deep_percolation_mm": drained,
            "stress_days": ks < 1.0,
        }
        today |= {
            "openings": opened,
            "open_hours": hours,
            "evaporated_kg": lost,
            "spilled_kg": spilled,
            "rain_mm": rain[day],
        }
        sums = {name: sums.get(name, 0.0) + values for name, values in today.items()}
        sums["longest_stress_days"] = np.maximum(sums.get("longest_stress_days", 0.0), stressed)
    return sums | {"depletion_end_mm": depletion}


def main(folder, years):
    """Read every site's file, step all seasons and write one table."""
    sites, parts = pd.read_csv(folder / "places.csv"), []
    for site in sites.itertuples():
        day = pd.read_csv(folder / site.weather, comment="#", index_col="date", parse_dates=True)
        eto, pan = eto_and_pan(day, site.latitude, site.elevation)
        starts = [day.index.get_loc(f"{year}-05-01") for year in years]
        parts += [np.array([values[at : at + 153] for values in (day.rain.to_numpy(), eto, pan)]) for at in starts]
    rain, eto, pan = np.stack(parts, axis=2)[..., None, None]
    lanes = season(rain, eto, pan) | {"eto_mm": eto.sum(0), "pan_evaporation_mm": pan.sum(0)}
    index = pd.MultiIndex.from_product([sites.name, years, DESIGNS, BEDS], names=["site", "year", "design", "bed"])
    columns = {}
    for name, values in lanes.items():
        full = np.broadcast_to(values, (3, *lanes["eta_mm"].shape[1:]))
        columns |= {
            f"{lane}{name}": full[i].ravel() for i, lane in enumerate(LANES[: 3 if np.ndim(values) == 4 else 1])
        }
    pd.DataFrame(columns, index=index).reset_index().to_parquet(folder / "plain.parquet")


if __name__ == "__main__":
    main(Path(sys.argv[1]), range(2001, 2041))
