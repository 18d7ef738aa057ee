"""
Judging: what settings come to over the years of a record and over draws of what is uncertain, beside the user's wishes.

A cell is a year with a draw. Units: kg, litres, L/h, hours, days.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from panbudget.numeric import Floats
from panbudget.scenario.garden import Scenario
from panbudget.studies.ranges import SCAN, ValveFactors, around
from panbudget.studies.size.settings import Done, Outcome, Setting, YearForcing, outcomes

_FEW_DAYLIGHT = 0.05
PRINTED = 0.1  # days in the mean
#: hundredths beyond an end of `ranges.SCAN` at which a margin is looked for
_FINE = 0.01 * np.arange(1, 5)
_MEANS = ("litres", "wasted", "openings_a_day", "open_hours", "starved_hours", "daylight_openings")
WISHES = ("stress_days", "litres", "openings_a_day", "when")
Bools = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Judged:
    """
    Settings over cells, the described one first; arrays (settings,).

    Parameters
    ----------
    settings : tuple of Setting
    share : ndarray
        Of the cells in which every wish is kept. [-]
    missed : ndarray (settings, wishes)
        Share of the cells in which a wish is missed. [-]
    stress_days, wet_litres : ndarray
        Neediest bed's driest quarter, and a season's litres, not exceeded in the share of cells that is asked for.
    mean_stress : ndarray
        The same days, mean of the cells.
    near_stress : ndarray
        The same as described and near it: mean of the years with the draws of `near_draws`.
    near_by_year : ndarray (settings, years)
        The same, year by year.
    bed_stress : ndarray (settings, beds)
        Each bed's driest quarter, mean of the cells.
    adequacy : ndarray
        ETa ÷ ETc of the neediest bed, mean of the cells. [-]
    litres, wasted : ndarray
        A season, mean. [L]
    openings_a_day : ndarray
        Hottest week, mean.
    open_hours, starved_hours, stuck_hours, dry_hours : ndarray
        A season, mean; mean, without water since the tank is empty; most; most. [h]
    daylight_openings : ndarray
        Share of openings in daylight. [-]
    """

    settings: tuple[Setting, ...]
    share: Floats
    missed: Floats
    stress_days: Floats
    wet_litres: Floats
    mean_stress: Floats
    near_stress: Floats
    near_by_year: Floats
    bed_stress: Floats
    adequacy: Floats
    litres: Floats
    wasted: Floats
    openings_a_day: Floats
    open_hours: Floats
    starved_hours: Floats
    stuck_hours: Floats
    dry_hours: Floats
    daylight_openings: Floats

    @property
    def worse(self) -> Bools:
        """Whether plants are short of water for longer than as described, in the mean of the cells or near what is so."""
        most = self.mean_stress[0] + 1e-9, self.near_stress[0] + 1e-9
        return np.asarray((self.mean_stress > most[0]) | (self.near_stress > most[1]))

    @property
    def worse_in_a_year(self) -> Bools:
        """Whether they are so, by as much as prints, near what is described in any one of the years, too."""
        return np.asarray(self.worse | (self.near_by_year >= self.near_by_year[0] + PRINTED).any(axis=1))


def near_draws(beds: int) -> ValveFactors:
    """Return the garden as described, and with a tenth more or less evaporation beside a twentieth of the refill."""
    exposure, refill = np.array([1.0, 0.9, 0.9, 1.1, 1.1]), np.array([1.0, 0.95, 1.05, 0.95, 1.05])
    return ValveFactors(exposure, refill, np.ones(5), np.ones((5, beds)))


def by_cell(judged: Sequence[Outcome], draws: slice = slice(None)) -> Outcome:
    """Return the outcomes of all years, with some of the draws, as one: (settings, years, draws) or with beds behind."""
    names = vars(judged[0])
    return Outcome(**{name: np.stack([getattr(each, name)[:, draws] for each in judged], axis=1) for name in names})


def judged(
    scenario: Scenario,
    settings: Sequence[Setting],
    cells: Outcome,
    *,
    among: Bools | None = None,
    near: Outcome | None = None,
) -> Judged:
    """
    Judge settings.

    Parameters
    ----------
    scenario : Scenario
        With its wishes.
    settings : sequence of Setting
    cells : Outcome
        As `by_cell` gives it.
    among : ndarray (years, draws), optional
        The cells to be looked at; all if left out.
    near : Outcome, optional
        Over `near_draws`; the cells themselves if left out.
    """
    wishes, (least, most) = scenario.wishes, scenario.wishes.openings_a_day
    among = np.ones(cells.litres.shape[1:], bool) if among is None else among
    part = {name: values[:, among] for name, values in vars(cells).items()}
    stress, often = part["stress_days"].max(axis=2), part["openings_a_day"]
    none = np.zeros(stress.shape, bool)
    missed = {
        "stress_days": stress > wishes.stress_days,
        "litres": none if wishes.litres is None else part["litres"] > wishes.litres,
        "openings_a_day": (often < least) | (often > most),
        "when": part["daylight_openings"] > _FEW_DAYLIGHT if wishes.when == "night" else none,
    }
    by_wish = np.stack([missed[wish] for wish in WISHES], axis=2)
    mean_stress, by_year = stress.mean(axis=1), (near or cells).stress_days.max(axis=3).mean(axis=2)
    return Judged(
        settings=tuple(settings),
        share=1.0 - by_wish.any(axis=2).mean(axis=1),
        missed=by_wish.mean(axis=1),
        stress_days=_mostly(stress, scenario.uncertainty.interval),
        wet_litres=_mostly(part["litres"], scenario.uncertainty.interval),
        mean_stress=mean_stress,
        near_stress=mean_stress if near is None else by_year.mean(axis=1),
        near_by_year=by_year,
        bed_stress=part["stress_days"].mean(axis=1),
        adequacy=part["adequacy"].min(axis=2).mean(axis=1),
        **{name: part[name].mean(axis=1) for name in _MEANS},
        **{name: part[name].max(axis=1) for name in ("stuck_hours", "dry_hours")},
    )


def _mostly(cells: Floats, share: float) -> Floats:
    """The value not exceeded in this share of the cells; of few cells, the highest. (settings, cells) -> (settings,)"""
    return np.asarray(np.quantile(cells, share, axis=1, method="inverted_cdf"))


@dataclass(frozen=True)
class Margin:
    """
    Between which factors no bed falls below its wish, the rest as described; None where one does already.

    Parameters
    ----------
    exposure, refill_flow : (float, float), optional
        On the pan's evaporation and on the refill flow. [-]
    """

    exposure: tuple[float, float] | None
    refill_flow: tuple[float, float] | None


def margin_of(scenario: Scenario, years: Sequence[YearForcing], setting: Setting, done: Done) -> Margin:
    """
    Find how far the pan's evaporation and the refill flow may be off, one at a time, the rest as described.

    Parameters
    ----------
    scenario : Scenario
        With its wishes.
    years : sequence of YearForcing
    setting : Setting
    done : callable
        As for `outcomes`.

    Returns
    -------
    Margin
        To a hundredth. Days short need not fall with either, so `SCAN` is gone through whole, and about 1 what holds
        without a break is taken; between its end and the next of `SCAN` hundredths are tried.
    """
    none = np.zeros(0)

    def holding(exposure: Floats, refill: Floats) -> tuple[Bools, Bools]:
        """Whether it holds at factors on the pan's evaporation, and at some on the refill."""
        factors, count = np.concatenate([exposure, refill]), len(exposure)
        if not len(factors):
            return none.astype(bool), none.astype(bool)
        on_pan = np.arange(len(factors)) < count
        ones = np.ones((len(factors), len(years[0].net_demand)))
        draws = ValveFactors(np.where(on_pan, factors, 1.0), np.where(on_pan, 1.0, factors), ones[:, 0], ones)
        judged = outcomes(years, [setting], draws=draws, whole=False, done=done)
        by_year = np.stack([outcome.stress_days[0].max(axis=1) for outcome in judged], axis=1)
        days = _mostly(by_year, scenario.uncertainty.interval)
        holds: Bools = days <= scenario.wishes.stress_days
        return holds[:count], holds[count:]

    at = SCAN.tolist()
    coarse = [around(dict(zip(at, holds.tolist(), strict=True)).__getitem__, SCAN) for holds in holding(SCAN, SCAN)]
    if coarse[0] is None or coarse[1] is None:
        return Margin(None, None)
    finer = [
        np.concatenate([low - _FINE if low > SCAN[0] else none, high + _FINE if high < SCAN[-1] else none])
        for low, high in (coarse[0], coarse[1])
    ]
    ends = [
        (widened(low, tried, holds), widened(high, tried, holds))
        for (low, high), tried, holds in zip((coarse[0], coarse[1]), finer, holding(*finer), strict=True)
    ]
    return Margin(ends[0], ends[1])


def widened(end: float, tried: Floats, holds: Bools) -> float:
    """Move an end of a margin outward over the hundredths next to it that hold without a break."""
    side = np.abs(tried - end) < 0.05 - 1e-6
    steps = tried[side][: int(np.argmin(np.append(holds[side], False)))]
    return round(float(steps[-1]), 2) if len(steps) else end
