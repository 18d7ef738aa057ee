"""
Fitting, the posterior: exposure, refill flow and swing together, as a log and what was known before have them.

Units: logarithms of factors; mm by ruler. The whole range of exposures is looked through first, with errors taken large,
since levels alone repeat themselves with every opening. From the likeliest one, all three are sampled by importance, the
proposal following what it finds (population Monte Carlo; Cappé et al. 2004, from memory). Counts tell exposure over swing,
levels the swing, a meter litres an opening; what none of them tells stays as uncertain as it was.
"""

import copy
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from panbudget.numeric import Floats
from panbudget.studies.fit.likelihood import Account, Sight, Tally, account, likelihood, sighted, tally
from panbudget.studies.fit.pan import NAMES, PanModel
from panbudget.studies.fit.readings import Readings, believed_counts, gather, raw_residuals, standard_errors
from panbudget.studies.fit.tub import Tub, quantiles, tub_values
from panbudget.studies.ranges import stratified

#: a place whose log likelihood is less by no more than this is not ruled out
CONTENDS = 5.0
#: exposures looked through, as factors on the one described
LOWEST, HIGHEST = 0.25, 3.2
#: standard errors from which a meter's reading stands apart, and the share of them that may
OUTLYING, _FEW_APART = 3.5, 0.2
_STEP = 0.025
_COARSE_MM, _COARSE_WALK, _FALLS = 2.0, 0.4, 14.0
_MOST_PLACES, _ALIKE = 8, 0.04  # so near in the logarithm, two exposures are one
_LEVEL_MM = np.array([0.4, 0.7, 1.1, 1.7, 2.6, 4.0])  # standard errors of a ruler
_WALKS = np.array([0.06, 0.1, 0.2, 0.4, 0.8])  # of a cycle
_LIKELY_WALK = 0.03  # how soon greater ones grow unlikely (common practice, no source)
# share of what one opening differs from the next that adds up: most of it goes with the hour, which levels tell better
_LEAST_WALK, _ADDS_UP, _ADDS_UP_UNSEEN = 0.02, 0.3, 0.8
_WEIGHS = 4.0  # errors whose log likelihood is less by more than this are left out
# what was described is wrong, not uncertain, in so many gardens, and then by so much (common practice, no source)
_WRONG, _WRONG_BY = 0.05, 0.2
_TAILS = 4.0  # degrees of freedom of a meter's errors and of the proposal
_DRAWS, _DRAWS_PRESSED, _DRAWS_BY_TUB, _ROUNDS = 200, 80, 4000, 3
_LEAST_REACH = 0.02  # of the exposure's logarithm, to begin with
_FINE = 4.0  # looks an hour, for the moments of openings
#: name -> centre and half width of what is known beforehand, as logarithms of factors
Known = Mapping[str, tuple[float, float]]


@dataclass(frozen=True)
class Place:
    """
    A pan that a log is consistent with.

    Parameters
    ----------
    factors : dict
    value : float
        Log likelihood.
    level_mm, walk : float
        Errors that suit it best: of a level, and of a cycle. [mm; -]
    """

    factors: dict[str, float]
    value: float
    level_mm: float
    walk: float


def _weigh(
    pan: PanModel, seen: Tally, pans: Sequence[dict[str, float]], level_mm: Floats | float, walk: Floats | float
) -> Floats:
    """Log likelihood of each of some pans under each pair of errors, for all alike or a row a pan. (pans, errors)"""
    *errors, _ = np.broadcast_arrays(np.atleast_2d(level_mm), np.atleast_2d(walk), np.empty((len(pans), 1)))
    sight = Sight(*(np.repeat(part, errors[0].shape[1], axis=0) for part in sighted(pan, seen, pans)))
    return likelihood(seen, sight, errors[0].ravel(), errors[1].ravel()).reshape(len(pans), -1)


def _exposed(factors: dict[str, float], logs: Floats) -> list[dict[str, float]]:
    return [{**factors, "exposure": float(np.exp(log))} for log in logs]


def _with_errors(pan: PanModel, seen: Tally, pans: Sequence[dict[str, float]]) -> tuple[Floats, Floats, Floats]:
    """
    Log likelihoods of some pans by pairs of errors: of a level, and of a cycle. (pans, errors), (errors,), (errors,)

    A cycle's is no less than what each opening's moment makes of it; greater ones are the less likely beforehand.
    """
    ruled = bool(np.isfinite(seen.levels).any())
    least = max(_LEAST_WALK, (_ADDS_UP if ruled else _ADDS_UP_UNSEEN) * pan.wander)
    tried = np.concatenate([[least], _WALKS[1.4 * least < _WALKS]])
    levels, walks = (part.ravel() for part in np.meshgrid(_LEVEL_MM if ruled else _LEVEL_MM[:1], tried, indexing="ij"))
    return _weigh(pan, seen, pans, levels, walks) - (walks - least) / _LIKELY_WALK, levels, walks


def placed(pan: PanModel, seen: Tally, factors: dict[str, float]) -> Place:
    """Return a pan with the errors that suit it best."""
    return _all_placed(pan, seen, [factors])[0]


def _all_placed(pan: PanModel, seen: Tally, pans: Sequence[dict[str, float]]) -> list[Place]:
    values, levels, walks = _with_errors(pan, seen, pans)
    best = values.argmax(axis=1)
    each = zip(pans, values.max(axis=1).tolist(), levels[best].tolist(), walks[best].tolist(), strict=True)
    return [Place(*parts) for parts in each]


def places(pan: PanModel, seen: Tally, factors: dict[str, float]) -> list[Place]:
    """
    Look through all exposures.

    Parameters
    ----------
    pan : PanModel
    seen : Tally
    factors : dict
        Of what is held.

    Returns
    -------
    list of Place
        The likeliest first.
    """
    from scipy.ndimage import maximum_filter1d

    grid = np.arange(np.log(LOWEST), np.log(HIGHEST), _STEP)
    coarse = _weigh(pan, seen, _exposed(factors, grid), _COARSE_MM, _COARSE_WALK)[:, 0]
    peaks = np.flatnonzero((coarse == maximum_filter1d(coarse, 5)) & (coarse > coarse.max() - _FALLS))
    peaks = peaks[np.argsort(-coarse[peaks], kind="stable")][:_MOST_PLACES]
    near = [Place(peak, -np.inf, _COARSE_MM, _COARSE_WALK) for peak in _exposed(factors, grid[peaks])]
    return sorted(_narrowed(pan, seen, near, (0.02, 0.007, 0.0025)), key=lambda place: -place.value)


def _narrowed(pan: PanModel, seen: Tally, near: list[Place], widths: Sequence[float]) -> list[Place]:
    """Look closely around exposures, all of them at once, each with its errors to start with."""
    at = np.log([place.factors["exposure"] for place in near])
    for wide in widths:
        logs = at[:, None] + np.linspace(-wide, wide, 11)
        pans = [each for place, row in zip(near, logs, strict=True) for each in _exposed(place.factors, row)]
        errors = np.repeat([(place.level_mm, place.walk) for place in near], logs.shape[1], axis=0)
        values = _weigh(pan, seen, pans, errors[:, :1], errors[:, 1:]).reshape(logs.shape)
        best = np.arange(len(near)), values.argmax(axis=1)
        at = logs[best]
        near = _all_placed(pan, seen, [pans[index] for index in np.ravel_multi_index(best, logs.shape)])
    return near


def contenders(ranked: list[Place]) -> list[float]:
    """Return factors of all exposures that a log is about as consistent with as with the first, in order of size."""
    taken: list[float] = []
    for place in ranked:
        exposure = place.factors["exposure"]
        apart = all(abs(np.log(exposure / other)) > _ALIKE for other in taken)
        if place.value > ranked[0].value - CONTENDS and apart:
            taken.append(exposure)
    return sorted(taken)


@dataclass
class Posterior:
    """
    Pans that a log and what was known beforehand are consistent with.

    Parameters
    ----------
    pan : PanModel
    known : Known
        Of refill flow and swing.
    seen : Tally
    place : Place
        The likeliest pan.
    logs : ndarray (draws, 3)
        Logarithms of the factors of exposure, refill flow and swing.
    weights : ndarray (draws,)
        They add up to 1.
    meter : Readings or None
        Where a meter was read twice or more.
    scale : float
        By how much the meter departs from the counts beyond its own error. [-]
    tub : Tub or None
        Read with no valve in it.
    """

    pan: PanModel
    known: Known
    seen: Tally
    place: Place
    logs: Floats = field(default_factory=lambda: np.zeros((1, 3)))
    weights: Floats = field(default_factory=lambda: np.ones(1))
    meter: Readings | None = None
    scale: float = 1.0
    tub: Tub | None = None

    @property
    def mean(self) -> Floats:
        """Means of the three logarithms. (3,)"""
        return np.asarray(self.weights @ self.logs)

    @property
    def covariance(self) -> Floats:
        """Their covariance. (3, 3)"""
        off = self.logs - self.mean
        return np.asarray((off * self.weights[:, None]).T @ off)

    def quantiles(self, values: Floats, shares: Sequence[float]) -> Floats:
        """Return quantiles of a value a draw. (shares,)"""
        return quantiles(values, self.weights, shares)

    def account(self) -> Account:
        """Return the likeliest account of the log under the likeliest pan."""
        sight = sighted(self.pan, self.seen, [self.place.factors])
        return account(self.seen, sight, self.place.level_mm, self.place.walk)

    def meter_values(self, pans: Sequence[dict[str, float]]) -> Floats:
        """Log likelihood of the meter's readings under each of some pans; any of them may be far off."""
        if self.meter is None or not self.meter.meters.any():
            return np.zeros(len(pans))
        # openings as they were counted: what each lets through is all that differs from pan to pan
        pan, of_meter, held = self.pan, self.meter.meters, self.meter.held
        visit, since = (self.meter.listed.loc[of_meter, name].to_numpy() for name in ("visit", "since"))
        passed = pan.meters[visit] - pan.meters[since]
        through = raw_residuals(pan, self.meter, held)[of_meter] + passed
        times = np.array([pan.of_opening(factors) for factors in pans]) / pan.of_opening(held)
        off = (times[:, None] * through - passed) / (self.scale * standard_errors(pan, self.meter)[of_meter])
        return np.asarray(-0.5 * (_TAILS + 1.0) * np.log1p(off**2 / _TAILS).sum(axis=1))

    def beforehand(self, logs: Floats) -> Floats:
        """Log density of refill flow and swing before the log is seen: evenly in their range, or simply wrong."""
        total = np.zeros(len(logs))
        for at, name in enumerate(NAMES):
            centre, half = self.known.get(name, (0.0, 0.0))
            if half > 0.0:
                off = logs[:, at] - centre
                wrong = np.exp(-0.5 * (off / _WRONG_BY) ** 2) / (2.5066 * _WRONG_BY)
                total += np.log((1.0 - _WRONG) * (np.abs(off) <= half) / (2.0 * half) + _WRONG * wrong)
        return total

    def values(self, logs: Floats) -> Floats:
        """Log density of some pans, over all errors that the log is consistent with. (draws, 3) -> (draws,)"""
        pans = [dict(zip(NAMES, row, strict=True)) for row in np.exp(logs).tolist()]
        of_errors, levels, walks = _with_errors(self.pan, self.seen, [self.place.factors])
        of_errors = of_errors[0]
        good = np.argsort(-of_errors, kind="stable")[:4]
        good = good[of_errors[good] > of_errors.max() - _WEIGHS]
        by_pan = _weigh(self.pan, self.seen, pans, levels[good], walks[good]) - walks[good] / _LIKELY_WALK
        values = np.logaddexp.reduce(by_pan, axis=1) + self.meter_values(pans) + self.beforehand(logs)
        return np.asarray(values + (0.0 if self.tub is None else tub_values(self.pan, self.tub, np.exp(logs[:, 0]))))

    def begin(self) -> None:
        """Choose swing and refill flow to start from, over wide ranges; the exposure moves along with the swing."""
        if self.known["swing"][1] > 0.0 and np.isfinite(self.seen.levels).any():
            self._move(np.arange(-0.6, 0.61, 0.02), ("exposure", "swing"))
        if self.known["refill"][1] > 0.0 and self.meter is not None:
            self._move(np.arange(-1.5, 1.51, 0.005), ("refill",))

    def _move(self, offs: Floats, names: Sequence[str]) -> None:
        start = np.log([self.place.factors.get(name, 1.0) for name in NAMES])
        logs = start + offs[:, None] * np.isin(NAMES, names)
        pans = [dict(zip(NAMES, row, strict=True)) for row in np.exp(logs).tolist()]
        if "swing" in names:
            values = _weigh(self.pan, self.seen, pans, _LEVEL_MM, self.place.walk).max(axis=1)
        else:
            values = self.meter_values(pans)
        best = int((values + self.beforehand(logs)).argmax())
        self.place = placed(self.pan, self.seen, pans[best])

    def scale_meter(self) -> None:
        """Readings that stand apart are few; where they are not, none is wrong and all are less sure."""
        if self.meter is not None and self.meter.meters.any():
            of_meter = self.meter.meters
            off = raw_residuals(self.pan, self.meter, self.place.factors) / standard_errors(self.pan, self.meter)
            apart = np.abs(off[of_meter]) > OUTLYING
            few = apart.sum() <= max(1.0, _FEW_APART * len(apart))
            self.scale = 1.0 if few else float(np.sqrt(np.mean(off[of_meter] ** 2)))

    def follow_meter(self) -> None:
        """Take the meter's readings against the counts as they are believed under the likeliest pan."""
        if np.isfinite(self.pan.meters).sum() > 1 and not self.seen.filled.any():
            counts, breaks = believed_counts(self.pan, self.account())
            self.meter = gather(self.pan, self.place.factors, counts, breaks)

    def sample(self, rounds: int = _ROUNDS) -> None:
        """Sample exposure, refill flow and swing; begins at the likeliest pan, or where it stands."""
        free = np.array([True, self.known["refill"][1] > 0.0, self.known["swing"][1] > 0.0])
        # along what is nearly independent: openings (exposure over swing), or by a meter alone litres (exposure over
        # refill flow); refill flow; swing
        by_meter = bool(self.seen.filled.any())
        turn = np.array([[1.0, 0.0, 0.0], [float(by_meter), 1.0, 0.0], [float(not by_meter), 0.0, 1.0]])[free]
        if len(self.logs) > 1:
            centre, spread = self.mean, self.covariance
        else:
            centre = np.log([self.place.factors.get(name, 1.0) for name in NAMES])
            gone = self.pan.modelled(self.place.factors).counted_at(self.pan.hours[[0, -1]])
            # a count off by one moves the exposure by so much
            reach = float(np.clip(1.0 / max(gone[1] - gone[0], 1.0), _LEAST_REACH, _WRONG_BY))
            sides = np.array([reach, self.known["refill"][1], max(self.known["swing"][1], 0.03)])[free]
            spread = turn.T @ np.diag((0.7 * sides) ** 2) @ turn
        from scipy.special import chdtri, ndtri

        count = _DRAWS_PRESSED if self.pan.pressed else _DRAWS
        random = np.random.default_rng(1)
        back = np.linalg.pinv(turn)
        drawn: list[tuple[Floats, Floats]] = []
        for _ in range(rounds):
            root = np.linalg.cholesky(1.3 * back.T @ spread @ back + 1e-9 * np.eye(free.sum()))
            shares = stratified(random, free.sum() + 1, count)
            normal = ndtri(shares[:-1]).T * (_TAILS / chdtri(_TAILS, shares[-1]))[:, None] ** 0.5
            logs = centre + normal @ root.T @ turn
            logs[:, 0] = np.clip(logs[:, 0], np.log(LOWEST) - 1.0, np.log(HIGHEST) + 1.0)
            proposed = -0.5 * (_TAILS + free.sum()) * np.log1p((normal**2).sum(axis=1) / _TAILS)
            drawn.append((logs, self.values(logs) - proposed + np.log(np.diag(root)).sum()))
            # the last two rounds together, once the proposal has settled
            logs, above = (np.concatenate(part) for part in zip(*drawn[1:][-2:] or drawn, strict=True))
            weights = np.exp(above - above.max())
            if weights.sum() ** 2 / (weights**2).sum() < 0.05 * count:  # far off yet: go there by smaller steps
                weights **= 0.4
            self.logs, self.weights = logs, weights / weights.sum()
            centre, spread = self.mean, self.covariance
        self.place = placed(self.pan, self.seen, dict(zip(NAMES, np.exp(centre).tolist(), strict=True)))

    def time_openings(self, rounds: int = 1) -> None:
        """Take openings at the moments that the log is consistent with, in place of the mean over all moments."""
        pan, hours = self.pan, self.pan.hours[self.seen.kept]
        every = np.arange(np.floor(hours[0] * _FINE) / _FINE, hours[-1], 1.0 / _FINE)
        for _ in range(0 if pan.pressed else rounds):
            factors, spoilt = self.place.factors, self.account()
            shifts = np.array([spoilt.shifts.get(int(k), 0.0) for k in self.seen.kept])
            steps = np.diff(spoilt.ahead, prepend=spoilt.ahead[0])
            # a shift is none of the pan's doing; of one by nobody knows how much, what is left of a whole opening is
            steps = np.where(np.isfinite(shifts), steps - np.where(np.isfinite(shifts), shifts, 0.0), 0.0)
            steps -= np.round(steps)
            ahead = spoilt.ahead[0] + np.cumsum(steps) + self.seen.beyond
            cycles = pan.modelled(factors).counted_at(every) + np.interp(every, hours, ahead)
            opened = every[1:][np.diff(np.floor(np.maximum.accumulate(cycles))) > 0.0]
            self.seen = self.seen._replace(beyond=pan.beyond(factors, opened, hours))
            (self.place,) = _narrowed(pan, self.seen, [self.place], (0.015, 0.003))


def by_tub(pan: PanModel, known: Known, tub: Tub) -> Posterior:
    """Return what a tub alone tells: the exposure; refill flow and swing stay as they were known."""
    sides = [(0.5 * np.log(LOWEST * HIGHEST), 0.5 * np.log(HIGHEST / LOWEST)), known["refill"], known["swing"]]
    centres, halves = np.array(sides).T
    logs = centres + halves * (2.0 * stratified(np.random.default_rng(1), len(NAMES), _DRAWS_BY_TUB).T - 1.0)
    values = tub_values(pan, tub, np.exp(logs[:, 0]))
    weights = np.exp(values - values.max())
    weights /= weights.sum()
    place = Place(dict(zip(NAMES, np.exp(weights @ logs).tolist(), strict=True)), 0.0, _COARSE_MM, _LEAST_WALK)
    return Posterior(pan, known, tally(pan, pan.counts), place, logs, weights, tub=tub)


def without(pan: PanModel, kind: str) -> PanModel:
    """Return the pan as if one kind of reading had not been taken: "counts", "levels" or "meters"."""
    other = copy.copy(pan)
    setattr(other, kind, np.full(len(pan.visits), np.nan))
    return other


def by_counts(pan: PanModel, factors: dict[str, float]) -> Place:
    """Return the exposure that counts alone tell."""
    alone = without(pan, "levels")
    return places(alone, tally(alone, alone.counts), factors)[0]
