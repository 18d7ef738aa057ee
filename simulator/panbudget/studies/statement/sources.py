"""
Sources: what a statement accounts for: a supply under its right, or the part of it that a further right covers.

A valve whose beds have different rights is split by a fixed share: its beds' emitter flow as described, or their
area, whichever the scenario's `statement.split` says. The refill emitter's water is split with it. [share: -]
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from panbudget.numeric import Floats
from panbudget.scenario.rights import FurtherRight, Right
from panbudget.season.result import Season


@dataclass(frozen=True)
class Source:
    """
    One source of a statement.

    Parameters
    ----------
    name : str
        The supply, or "SUPPLY / FURTHER RIGHT".
    supply : str
    right : Right
        Units and water year; of the supply.
    papers : Right or FurtherRight
        Holder, reference, limits.
    described : bool
        Whether the scenario describes a right at all.
    beds : tuple of str
        "CONTROLLER/BED".
    shares : dict
        Controller -> share of what passes its valve. [-]
    """

    name: str
    supply: str
    right: Right
    papers: Right | FurtherRight
    described: bool
    beds: tuple[str, ...]
    shares: dict[str, float]

    @property
    def is_whole_supply(self) -> bool:
        """Whether all of the supply's water is this source's."""
        return all(share == 1.0 for share in self.shares.values())

    def drawn(self, litres: Mapping[str, Floats]) -> Floats:
        """
        Return this source's part of what passes the valves.

        Parameters
        ----------
        litres : mapping of ndarray, all of one shape
            By controller. [L]

        Returns
        -------
        ndarray, that shape
            All controllers on it together. [L]
        """
        drawn = np.zeros_like(next(iter(litres.values())))
        for controller, share in self.shares.items():
            drawn = drawn + share * litres[controller]
        return drawn


def litres_by_day(season: Season) -> dict[str, Floats]:
    """Return what passes each valve day by day, by the model. [L/day]"""
    return {name: table["litres"].to_numpy(float) for name, table in season.controllers.items()}


def sources_of(season: Season) -> Iterator[Source]:
    """
    List the sources of a season, in the scenario's order.

    Parameters
    ----------
    season : Season

    Yields
    ------
    Source
        Their shares of each controller add up to 1.
    """
    controllers = season.scenario.controller
    for name, supply in season.scenario.supply.items():
        served = [f"{key}/{bed}" for key, part in controllers.items() if part.supply == name for bed in part.bed]
        right = supply.right or Right.model_validate({})
        further = [bed for papers in right.further.values() for bed in papers.beds]
        parts: list[tuple[str, Right | FurtherRight, list[str]]] = [
            (name, right, [bed for bed in served if bed not in further]),
            *((f"{name} / {key}", papers, papers.beds) for key, papers in right.further.items()),
        ]
        for label, papers, covered in parts:
            if covered or not right.further:
                beds = tuple(bed for bed in served if bed in covered)
                yield Source(label, name, right, papers, supply.right is not None, beds, _shares(season, name, beds))


def _shares(season: Season, supply: str, beds: tuple[str, ...]) -> dict[str, float]:
    shares = {}
    for name, controller in season.scenario.controller.items():
        if controller.supply == supply:
            weight = season.forcing.pan_of[name].bed_flows
            if season.scenario.statement.split == "area":
                weight = {bed: described.area for bed, described in controller.bed.items()}
            covered = [bed for bed in controller.bed if f"{name}/{bed}" in beds]
            whole = len(covered) == len(controller.bed)
            shares[name] = 1.0 if whole else sum(weight[bed] for bed in covered) / sum(weight.values())
    return shares
