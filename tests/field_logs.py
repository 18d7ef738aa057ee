"""Field logs as a gardener would keep them, made from a season whose truth is known: invented, seeded."""

from __future__ import annotations

import datetime as dt

import numpy as np

HEADER = "date,openings,level_mm,meter_l,note"


def kept_log(
    season,
    name="upper",
    *,
    seed=1,
    every=2.0,
    level_error=1.5,
    levels=True,
    counts=True,
    meter=False,
    misreads=0,
    miscounts=0,
    hours=(7.0, 20.0),
):
    """Return a log's text: visits about ``every`` days at odd hours, counted since the visit before."""
    random = np.random.default_rng(seed)
    days = len(season.days)
    first = season.days.index[0].to_pydatetime()
    opened = season.openings[season.openings["controller"] == name]
    starts, ends = opened["start_h"].to_numpy(), opened["end_h"].to_numpy()
    level = np.concatenate([[season.forcing.pans.swing[0, 0]], season.hourly_level[name]])
    row = list(season.controllers).index(name)
    pans = season.forcing.pans
    moments, at = [], random.uniform(0.2, 1.0)
    while at < days - 0.2:
        day = int(at)
        moments.append(day * 24.0 + round(random.uniform(*hours) * 60.0) / 60.0)
        at += every * random.uniform(0.7, 1.3)
    moments = sorted(set(moments))
    wrong = set(random.choice(np.arange(1, len(moments)), misreads, replace=False)) if misreads else set()
    miscounted = set(random.choice(np.arange(1, len(moments)), miscounts, replace=False)) if miscounts else set()
    lines, before = [HEADER], 0.0
    for k, hour in enumerate(moments):
        # read with the valve shut: wait for it
        while ((starts <= hour) & ~(ends <= hour)).any():
            hour += 1.0 / 60.0
        count = int(((starts > before) & (starts <= hour)).sum()) if k else 0
        if k in miscounted:
            count = max(count + int(random.choice([-1, 1, 2])), 0)
        w = float(np.interp(hour, np.arange(len(level)), level))
        shut = ends[ends <= hour]
        if len(shut) and hour - shut[-1] < 1.0:  # within the hour of a reset the straight line between hours is wrong
            after = int(np.ceil(hour))
            w = float(np.interp(hour, [shut[-1], after], [pans.swing[row, 0], level[after]])) if after > shut[-1] else w
        elif len(starts[starts > hour]) and starts[starts > hour][0] < np.ceil(hour):
            after = starts[starts > hour][0]
            w = float(np.interp(hour, [np.floor(hour), after], [level[int(hour)], 0.0]))
        mm = (w - pans.dry[row, 0]) / pans.area[row] + random.normal(0.0, level_error)
        litres = 1000.0 + opened["litres"].to_numpy()[ends <= hour].sum()
        if k in wrong:
            mm -= random.uniform(15.0, 40.0)
        cells = [
            f"{first + dt.timedelta(hours=float(hour)):%Y-%m-%d %H:%M}",
            str(count) if counts else "",
            f"{max(mm, 0.0):.0f}" if levels else "",
            f"{litres:.0f}" if meter else "",
            "",
        ]
        lines.append(",".join(cells))
        before = hour
    return "\n".join(lines) + "\n"
