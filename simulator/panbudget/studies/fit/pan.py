"""
Fitting, the pan: how many openings a pan has behind it at any moment, without steps, for any exposure, refill and swing.

Units: kg of water, L, mm, solar hours. `PanModel` runs hour by hour in the mean over all phases of the cycle; where the
valve is pressed by hand too, the engine steps through instead.
"""

import bisect
import dataclasses
import functools
from dataclasses import dataclass

import numpy as np

from panbudget.numeric import Floats
from panbudget.scenario.garden import Scenario
from panbudget.season.layout import Forcing
from panbudget.season.run import first_morning, run_forcing
from panbudget.season.totals import hourly_evaporation, rain_caught
from panbudget.studies.fit.log import Visit

#: what can be fitted, in the order in which it is kept where the log can't tell two apart
NAMES = ("exposure", "refill", "swing")
_WINDOW = 72.0  # h


def summed(values: Floats) -> Floats:
    """Return running sums that begin with nothing. (n,) -> (n + 1,)"""
    return np.concatenate([[0.0], np.cumsum(values)])


def by_hour(forcing: Forcing, row: int) -> tuple[Floats, Floats]:
    """Return what evaporates from a pan and what rain it catches, hour by hour. [kg] (hours,)"""
    evaporation = hourly_evaporation(forcing, row, forcing.pans.evaporation[row]).ravel()
    return evaporation, np.repeat(rain_caught(forcing)[row] / 24.0, 24)


@dataclass(frozen=True)
class Modelled:
    """What the pan does by the model, at the end of each hour: cycles, and litres through the valve."""

    cycles: Floats
    litres: Floats
    share: Floats  # of the time that the valve is open, by hour
    spilt: Floats  # hours so far in which the pan ran over

    @functools.cached_property
    def _followed(self) -> Floats:
        return np.maximum.accumulate(self.cycles)

    def open_shares(self, hours: Floats) -> Floats:
        """Share of what the pan loses that it loses while the valve is open, around some times; weighted by the loss."""
        last = len(self.share)
        first, end = np.clip(hours - 24.0, 0, last - 1).astype(int), np.clip(hours + 12.0, 1, last).astype(int)
        once, twice = (summed(self.share**power) for power in (1, 2))
        total = once[end] - once[first]  # the loss goes with it
        return np.asarray(np.where(total > 1e-12, (twice[end] - twice[first]) / np.maximum(total, 1e-12), 0.0))

    def at(self, hours: Floats) -> Floats:
        """Openings so far, and the share of the swing gone since the last reset."""
        return np.asarray(np.interp(hours, np.arange(len(self.cycles), dtype=float), self.cycles))

    def counted_at(self, hours: Floats) -> Floats:
        """The same as far as a count of openings can follow: rain that lifts the pan takes no opening back."""
        return np.asarray(np.interp(hours, np.arange(len(self.cycles), dtype=float), self._followed))

    def per_opening(self, hour: float) -> float:
        """Litres of an opening at about that time; of all, if there was none then."""
        last = len(self.cycles) - 1
        low, high = int(np.clip(hour - _WINDOW, 0, last)), int(np.clip(hour + _WINDOW, 0, last))
        for first, end in ((low, high), (0, last)):
            openings = float(self._followed[end] - self._followed[first])
            if openings > 0.5:
                return float(self.litres[end] - self.litres[first]) / openings
        return 0.0


class PanModel:
    """One controller's pan and its readings, nan where there is none: residuals for any set of factors."""

    def __init__(self, scenario: Scenario, forcing: Forcing, row: int, visits: tuple[Visit, ...]) -> None:
        self.visits = visits
        self.hours, self.counts, self.levels, self.meters = (
            np.array([getattr(visit, name) for visit in visits], float)
            for name in ("hour", "openings", "level", "meter")
        )
        self.opened = np.array([visit.opened for visit in visits], bool)
        name = list(scenario.controller)[row]
        described, part = scenario.controller[name].pan, forcing.pan_of[name]
        beds = {key: values[:0] for key, values in forcing.beds._asdict().items() if key.startswith("lane_")}
        pans, self.row = forcing.pans, row
        if on_mains := pans.tank[row] < 0:  # the other pans need not be run
            alone = {name: values[row : row + 1] for name, values in pans._asdict().items()}
            alone |= {"block": np.array([0, 1], np.int64), "member": np.zeros(1, np.int64)}
            pans, self.row = pans._replace(**alone), 0
        leak, added = pans.leak.copy(), np.array([visit.added for visit in visits], float)
        days_of_visits = np.clip(self.hours // 24.0, 0, leak.shape[1] - 1).astype(int)
        np.subtract.at(leak[self.row], days_of_visits, added / 24.0)  # poured in: spread over its day
        pans = pans._replace(leak=leak)
        self.forcing = dataclasses.replace(forcing, pans=pans, beds=forcing.beds._replace(**beds))
        self.area, self.swing = float(pans.area[self.row]), float(pans.swing[self.row, 0])
        self.freeboard = float(pans.rim[self.row, 0] - pans.swing[self.row, 0])
        self.exposure, self.reset_mm = described.exposure, described.depth - described.freeboard
        self.pressed = bool(np.isfinite(pans.presses[self.row]).any())
        self.hourly_evaporation, rain = by_hour(self.forcing, self.row)
        self.hourly_gain = rain - np.repeat(leak[self.row], 24)
        # a fault may change them in the season: means over the days; a tank's head does, opening by opening
        means = max(float(pans.refill_flow[self.row].mean()), 1e-6), float(pans.valve_flow[self.row].mean())
        self.refill, self.through = means if on_mains else (part.refill_flow, part.valve_flow)
        self._modelled: dict[tuple[float, ...], Modelled] = {}
        self.wander = 0.0
        self._stepped(1.0, 1.0, 1.0)

    def of_opening(self, factors: dict[str, float]) -> float:
        """Litres that an opening lets through, but for what evaporates meanwhile."""
        refill = self.refill * factors.get("refill", 1.0)
        return self.swing * factors.get("swing", 1.0) * (self.through - self.refill + refill) / refill

    def lifted_mm(self, factors: dict[str, float]) -> Floats:
        """Return by how much rain has lifted the pan at each visit."""
        modelled, swing = self.modelled(factors), self.swing * factors.get("swing", 1.0)
        return np.asarray((modelled.counted_at(self.hours) - modelled.at(self.hours)) * swing / self.area)

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
        meant = np.interp(hours, marks, summed(net * share))
        lost = summed(np.maximum(net, 0.0))
        lasts = np.zeros(len(opened))
        for _ in range(3):  # an opening lasts the longer for what it loses
            during = np.interp(opened + lasts, marks, lost) - np.interp(opened, marks, lost)
            lasts = (size + np.minimum(during, 2.0 * size)) / flow
        came = summed(during)[np.searchsorted(opened, hours, side="right")]
        return np.asarray((meant - came) / size)

    def modelled(self, factors: dict[str, float]) -> Modelled:
        """Return what the pan does with some factors on what is described."""
        key = tuple(factors.get(name, 1.0) for name in NAMES)
        if key not in self._modelled:
            self._modelled[key] = (self._stepped if self.pressed else self._smooth)(*key)
        return self._modelled[key]

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
        return Modelled(cycles, summed(applied * through), applied, np.cumsum(spilt))

    def _stepped(self, exposure: float, refill: float, swing: float) -> Modelled:
        """By the engine, opening by opening: where the valve is pressed by hand too."""
        pans, row = self.forcing.pans, self.row
        mine = np.arange(len(pans.area))[:, None] == row
        times, larger, wider = (np.where(mine, factor, 1.0) for factor in (exposure, refill, swing))
        grown = pans.swing * (wider - 1.0)
        pans = pans._replace(
            evaporation=pans.evaporation * times,
            valve_flow=pans.valve_flow + pans.refill_flow * (larger - 1.0),
            refill_flow=pans.refill_flow * larger,
            **{name: getattr(pans, name) + grown for name in ("swing", "rim", "dry")},
        )
        forcing = dataclasses.replace(self.forcing, pans=pans)
        out, count = run_forcing(forcing, first_morning(forcing)._replace(level=pans.swing[:, 0].copy()))
        opened_here = np.flatnonzero(out.opening_controller[:count] == row)
        ends = np.nan_to_num(out.opening_end[opened_here], nan=np.inf, posinf=np.inf)
        hours = 24 * len(forcing.dates)
        marks = np.arange(1, hours + 1, dtype=float)
        opened = np.searchsorted(out.opening_start[opened_here], marks, side="right")
        shut = np.searchsorted(ends, marks, side="right")
        by_hour = np.repeat(pans.swing[row], 24)
        gone = np.where(opened > shut, 0.0, (by_hour - out.hourly_level[row]) / by_hour)
        if not self.wander:
            whole = opened_here[np.isfinite(ends)]
            refilled = out.opening_refilled[whole]
            self.wander = float(np.std(refilled) / self.swing) if len(refilled) > 3 else 0.05
            lasted = float((out.opening_end[whole] - out.opening_start[whole]).sum())
            if pans.tank[row] >= 0 and lasted > 0.0:  # at the heads that the tank gave
                self.refill = float(refilled.sum()) / lasted
                self.through = float(out.opening_litres[whole].sum()) / lasted
        cycles, litres = opened + gone, summed(out.opening_litres[opened_here])[shut]
        return Modelled(np.append(0.0, cycles), np.append(0.0, litres), np.zeros(hours), np.zeros(hours + 1))
