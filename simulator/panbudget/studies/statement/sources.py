"""
Sources: what a statement accounts for: a supply under its right, or the part of it that a further right covers.

A valve whose beds have different rights is split by a fixed share: its beds' emitter flow as described, or their
area, whichever the scenario's `statement.split` says. The refill emitter's water is split with it. [share: -]
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from panbudget.numeric import Floats
from panbudget.scenario.garden import Scenario
from panbudget.scenario.rights import FurtherRight, Right
from panbudget.season.result import Season

__all__ = ["Source", "drawn_by_day", "sources_of"]


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


def sources_of(season: Season) -> list[Source]:
    """
    List the sources of a season, in the scenario's order.

    Parameters
    ----------
    season : Season

    Returns
    -------
    list of Source
        Their shares of each controller add up to 1.
    """
    scenario = season.scenario
    found = []
    for name, supply in scenario.supply.items():
        served = [
            f"{c}/{bed}"
            for c, controller in scenario.controller.items()
            if controller.supply == name
            for bed in controller.bed
        ]
        right = supply.right or Right.model_validate({})
        elsewhere = {bed for further in right.further.values() for bed in further.beds}
        own = tuple(bed for bed in served if bed not in elsewhere)
        parts: list[tuple[str, Right | FurtherRight, tuple[str, ...]]] = []
        if own or not right.further:
            parts.append((name, right, own))
        parts += [
            (f"{name} / {further}", papers, tuple(bed for bed in served if bed in papers.beds))
            for further, papers in right.further.items()
        ]
        for label, papers, beds in parts:
            shares = _shares(scenario, season, name, beds)
            found.append(Source(label, name, right, papers, supply.right is not None, beds, shares))
    return found


def _shares(scenario: Scenario, season: Season, supply: str, beds: tuple[str, ...]) -> dict[str, float]:
    shares = {}
    for name, controller in scenario.controller.items():
        if controller.supply != supply:
            continue
        mine = {bed for bed in controller.bed if f"{name}/{bed}" in beds}
        if mine == set(controller.bed):
            shares[name] = 1.0
            continue
        if scenario.statement.split == "area":
            weight = {bed: described.area for bed, described in controller.bed.items()}
        else:
            weight = season.forcing.pan_of[name].bed_flows
        shares[name] = sum(weight[bed] for bed in controller.bed if bed in mine) / sum(weight.values())
    return shares


def drawn_by_day(season: Season, source: Source) -> Floats:
    """
    Return what a source gives day by day, by the model.

    Parameters
    ----------
    season : Season
    source : Source

    Returns
    -------
    ndarray (days,)
        All controllers on it together. [L/day]
    """
    drawn = np.zeros(len(season.days))
    for controller, share in source.shares.items():
        drawn = drawn + share * season.controllers[controller]["litres"].to_numpy(float)
    return drawn
