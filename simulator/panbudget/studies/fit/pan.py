"""
Fitting, the pan: how many openings a pan has behind it at any moment, without steps, for any exposure, refill and swing.

Units: kg of water, L, mm, solar hours. `PanModel` runs hour by hour in the mean over all phases of the cycle; where the
valve is pressed by hand too, the engine steps through instead.
"""

from __future__ import annotations

import bisect
import dataclasses
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from panbudget.engine import season as engine
from panbudget.engine.arrays import Pans, empty_results, plain
from panbudget.numeric import Floats
from panbudget.scenario.garden import Scenario
from panbudget.season.layout import Forcing
from panbudget.season.run import first_morning
from panbudget.studies.fit.log import Visit

#: what can be fitted, in the order in which it is kept where the log can't tell two apart
NAMES = ("exposure", "refill", "swing")
_WINDOW = 72.0  # h


@dataclass(frozen=True)
class Modelled:
    """What the pan does by the model, at the end of each hour: cycles, and litres through the valve."""

    cycles: Floats
    litres: Floats
    share: Floats  # of the time that the valve is open, by hour
    spilt: Floats  # hours so far in which the pan ran over

    def open_share(self, hour: float) -> float:
        """Share of what the pan loses that it loses while the valve is open, around a time; weighted by the loss."""
        last = len(self.share)
        share = self.share[int(np.clip(hour - 24.0, 0, last - 1)) : int(np.clip(hour + 12.0, 1, last))]
        total = float(share.sum())  # the loss goes with it
        return float((share**2).sum()) / total if total > 0.0 else 0.0

    def open_shares(self, hours: Floats) -> Floats:
        """`open_share` around several times."""
        last = len(self.share)
        first, end = np.clip(hours - 24.0, 0, last - 1).astype(int), np.clip(hours + 12.0, 1, last).astype(int)
        once, twice = (np.concatenate([[0.0], np.cumsum(self.share**power)]) for power in (1, 2))
        total = once[end] - once[first]
        return np.asarray(np.where(total > 1e-12, (twice[end] - twice[first]) / np.maximum(total, 1e-12), 0.0))

    def at(self, hours: Floats) -> Floats:
        """Openings so far, and the share of the swing gone since the last reset."""
        return np.asarray(np.interp(hours, np.arange(len(self.cycles), dtype=float), self.cycles))

    def counted_at(self, hours: Floats) -> Floats:
        """The same as far as a count of openings can follow: rain that lifts the pan takes no opening back."""
        most = np.maximum.accumulate(self.cycles)
        return np.asarray(np.interp(hours, np.arange(len(most), dtype=float), most))

    def per_opening(self, hour: float) -> float:
        """Litres of an opening at about that time; of all, if there was none then."""
        last = len(self.cycles) - 1
        low, high = int(np.clip(hour - _WINDOW, 0, last)), int(np.clip(hour + _WINDOW, 0, last))
        for first, end in ((low, high), (0, last)):
            openings = float(self.cycles[first : end + 1].max() - self.cycles[first])
            if openings > 0.5:
                return float(self.litres[end] - self.litres[first]) / openings
        return 0.0


class PanModel:
    """One controller's pan and its readings: residuals for any set of factors."""

    def __init__(
        self, scenario: Scenario, forcing: Forcing, row: int, visits: tuple[Visit, ...], run: Callable[..., int]
    ) -> None:
        self.visits, self.run_engine = visits, run
        self.scenario = scenario
        lanes = {field: getattr(forcing.beds, field)[:0] for field in forcing.beds._fields if field.startswith("lane_")}
        forcing = dataclasses.replace(forcing, beds=forcing.beds._replace(**lanes))
        self.row = row
        if forcing.pans.tank[row] < 0:  # alone on the mains: the other pans need not be run
            forcing, self.row = dataclasses.replace(forcing, pans=_alone(forcing.pans, row)), 0
        pans = forcing.pans
        leak = pans.leak.copy()
        for visit in visits:
            day = int(np.clip(visit.hour // 24.0, 0, leak.shape[1] - 1))
            leak[self.row, day] -= visit.added / 24.0  # poured in: spread over its day
        self.forcing = dataclasses.replace(forcing, pans=pans._replace(leak=leak))
        self.area = float(pans.area[self.row])
        self.swing = float(pans.swing[self.row, 0])
        self.hours = np.array([visit.hour for visit in visits])
        self.cache: dict[tuple[float, ...], Modelled] = {}
        self.wander = 0.0
        self.pressed = bool(np.isfinite(pans.presses[self.row]).any())
        days, leaks = forcing.days, self.forcing.pans.leak[self.row]
        night = float(pans.night_share[self.row])
        shares = ((1.0 - night) * days.daylight_share + night * days.dark_share).ravel()
        self.hourly_evaporation = np.repeat(pans.evaporation[self.row] * self.area, 24) * shares
        self.hourly_gain = np.repeat(days.rain * pans.rain_factor[self.row] * self.area / 24.0 - leaks, 24)
        described = list(scenario.controller.values())[row].pan
        self.exposure = described.exposure
        self.reset_mm = described.depth - described.freeboard
        self.freeboard = float(pans.rim[self.row, 0] - pans.swing[self.row, 0])
        part = forcing.pan_of[list(scenario.controller)[row]]
        # a fault or a tank's head may change them in the season: means over the days
        self.refill, self.through = part.refill_flow, part.valve_flow
        if pans.tank[self.row] < 0:
            self.refill = float(max(pans.refill_flow[self.row].mean(), 1e-6))
            self.through = float(pans.valve_flow[self.row].mean())
        self._stepped(1.0, 1.0, 1.0)

    def of_opening(self, factors: dict[str, float]) -> float:
        """Litres that an opening lets through, but for what evaporates meanwhile."""
        refill = self.refill * factors.get("refill", 1.0)
        return self.swing * factors.get("swing", 1.0) * (self.through - self.refill + refill) / refill

    def beyond(self, factors: dict[str, float], opened: Floats, hours: Floats) -> Floats:
        """
        Cycles by some hours that openings at these moments add to the mean over all moments.

        What the pan loses while an opening lasts comes on top of the swing: at noon much, at night nothing. A pan that
        opens once or twice a day opens at the same time day after day, and the mean does not hold.
        """
        size, flow = self.swing * factors.get("swing", 1.0), self.refill * factors.get("refill", 1.0)
        net = self.hourly_evaporation * factors.get("exposure", 1.0) - self.hourly_gain
        share = self.modelled(factors).share
        marks = np.arange(len(net) + 1, dtype=float)
        meant = np.interp(hours, marks, np.concatenate([[0.0], np.cumsum(net * share)]))
        lost = np.concatenate([[0.0], np.cumsum(np.maximum(net, 0.0))])
        lasts = np.zeros(len(opened))
        for _ in range(3):  # an opening lasts the longer for what it loses
            during = np.interp(opened + lasts, marks, lost) - np.interp(opened, marks, lost)
            lasts = (size + np.minimum(during, 2.0 * size)) / flow
        came = np.concatenate([[0.0], np.cumsum(during)])[np.searchsorted(opened, hours, side="right")]
        return np.asarray((meant - came) / size)

    def modelled(self, factors: dict[str, float]) -> Modelled:
        key = tuple(factors.get(name, 1.0) for name in NAMES)
        if key not in self.cache:
            self.cache[key] = self._run(*key)
        return self.cache[key]

    def _smooth(self, exposure: float, refill: float, swing: float) -> Modelled:
        """
        Cycles in the mean over all phases, hour by hour.

        While the pan loses v and the refill gives q, a cycle takes S/v shut and S/(q − v) open: the valve is open for
        v/q of the time, and there are v (1 − v/q) / S openings an hour. The engine itself jumps with the moment of each
        opening (noon's lose more while open than the night's), which no log knows; `wander` says by how much.
        """
        size, flow = self.swing * swing, self.refill * refill
        net = self.hourly_evaporation * exposure - self.hourly_gain
        share = np.clip(net / flow, 0.0, 1.0)
        through = self.through + self.refill * (refill - 1.0)
        # what is lost while the valve is open takes no opening nearer
        slowed = net * (1.0 - share) / size
        if not (net < 0.0).any():
            summed = np.concatenate([[0.0], np.cumsum(slowed)])
            return Modelled(
                summed, np.concatenate([[0.0], np.cumsum(share * through)]), share, np.zeros(len(share) + 1)
            )
        # rain lifts the pan to its rim and no further: from the reset by the freeboard, from elsewhere by more
        most = self.freeboard / size + 0.5
        hours = len(net)
        cycles, applied, spilt = np.zeros(hours + 1), np.zeros(hours), np.zeros(hours + 1)
        losses, rains = (net / size).tolist(), [*np.flatnonzero(net < 0.0).tolist(), hours]
        now = top = 0.0
        hour = 0
        while hour < hours:
            until = rains[bisect.bisect_left(rains, hour)] if now >= top else hour
            if until > hour:  # dry until then
                cycles[hour + 1 : until + 1] = now + np.cumsum(slowed[hour:until])
                applied[hour:until] = share[hour:until]
                now = top = float(cycles[until])
                hour = until
                continue
            loss = losses[hour]  # nothing opens until what the rain gave is gone
            spilt[hour + 1] = now + loss < top - most
            now = max(now + loss, top - most)
            if now > top:
                beyond = (now - top) / loss
                now = top = top + beyond * float(slowed[hour])
                applied[hour] = beyond * share[hour]
            hour += 1
            cycles[hour] = now
        opening = np.concatenate([[0.0], np.cumsum(applied * through)])
        return Modelled(cycles, opening, applied, np.cumsum(spilt))

    def _run(self, exposure: float, refill: float, swing: float) -> Modelled:
        if not self.pressed:
            return self._smooth(exposure, refill, swing)
        return self._stepped(exposure, refill, swing)

    def _stepped(self, exposure: float, refill: float, swing: float) -> Modelled:
        """By the engine, opening by opening: where the valve is pressed by hand too."""
        forcing, row = self.forcing, self.row
        pans = forcing.pans
        evaporation, refilled = pans.evaporation.copy(), pans.refill_flow.copy()
        through, swings, rim, dry = (part.copy() for part in (pans.valve_flow, pans.swing, pans.rim, pans.dry))
        evaporation[row] *= exposure
        through[row] += refilled[row] * (refill - 1.0)
        refilled[row] *= refill
        grown = swings[row] * (swing - 1.0)
        swings[row] += grown
        rim[row] += grown
        dry[row] += grown
        changed = pans._replace(
            evaporation=evaporation, refill_flow=refilled, valve_flow=through, swing=swings, rim=rim, dry=dry
        )
        days = len(forcing.dates)
        room = int(forcing.room * max(exposure / swing, 1.0) + 50)
        out = empty_results(len(pans.area), 0, days, room=room, tanks=forcing.tanks, keep_terms=False)
        state = first_morning(dataclasses.replace(forcing, pans=changed))
        state = state._replace(level=changed.swing[:, 0].copy())
        given = (forcing.days, changed, forcing.tanks, forcing.beds, state, out)
        wrapped = tuple(plain(group) for group in given) if self.run_engine is engine.run_season else given
        count = min(self.run_engine(*wrapped), room)
        own = out.opening_controller[:count] == row
        starts, ends = out.opening_start[:count][own], out.opening_end[:count][own]
        marks = np.arange(1, days * 24 + 1, dtype=float)
        opened = np.searchsorted(starts, marks, side="right")
        ends = np.where(np.isnan(ends), np.inf, ends)
        shut = np.searchsorted(ends, marks, side="right")
        by_hour = np.repeat(changed.swing[row], 24)
        gone = np.where(opened > shut, 0.0, (by_hour - out.hourly_level[row]) / by_hour)
        let = np.concatenate([[0.0], np.cumsum(out.opening_litres[:count][own])])[shut]
        if not self.wander:
            spread = out.opening_refilled[:count][own][np.isfinite(ends)]
            self.wander = float(np.std(spread) / self.swing) if len(spread) > 3 else 0.05
        return Modelled(
            np.concatenate([[0.0], opened + gone]),
            np.concatenate([[0.0], let]),
            np.zeros(days * 24),
            np.zeros(days * 24 + 1),
        )


def _alone(pans: Pans, row: int) -> Pans:
    one = {name: getattr(pans, name)[row : row + 1] for name in Pans._fields if name not in ("block", "member")}
    return Pans(**one, block=np.array([0, 1], np.int64), member=np.zeros(1, np.int64))
