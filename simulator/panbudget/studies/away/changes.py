"""
Changes: what is tried to make a garden safe to leave, in families of one kind, each in its sizes, the smallest first.
"""

import functools
import itertools
from collections.abc import Iterator
from typing import Any

from panbudget import words
from panbudget.scenario.garden import Controller, Scenario
from panbudget.scenario.pans import MOST_PRESSES
from panbudget.scenario.supplies import Tank
from panbudget.studies import common

_FLOAT_SHARE = 0.2  # of a tank, below which its float valve opens; common practice, no source
FULL_SOIL, FULL_TANK, PRESS = "full soil", "full tank", "press"
_DATA = words.packaged("studies/away/changes.toml")

#: one size of a change: what it is, its overlay, and what is done by hand
Try = tuple[str, dict[str, Any], str]


def families_of(scenario: Scenario, failing: list[str], beds: list[str], empty: list[str]) -> Iterator[list[Try]]:
    """
    Changes to try, each in its sizes. Where several valves fail, each is changed alike.

    Of what fails on a tank that runs dry (``empty``), only the tank is changed: more pan or more emitters only empty it sooner.
    """
    for name, kind in itertools.product(empty, _DATA["tanks"]):
        tries: list[Try] = list(_tank_tries(scenario, name, **kind))
        if tries:
            yield tries
    failing = [name for name in failing if scenario.controller[name].supply not in empty]
    beds = [key for key in beds if key.split("/")[0] in failing]
    yield [("water every bed by hand on the day before you leave, until the soil holds no more", {}, FULL_SOIL)]
    yield [("press the valves by hand on the morning when you leave", {}, PRESS)]
    if beds:
        yield [_more_emitters(scenario, beds, times) for times in _DATA["emitters"]["times"]]
    for change in _DATA["changes"] if failing else ():
        tries = []
        for size in change["sizes"]:
            what = words.say(change["what"], size=size, at=" and ".join(failing))
            sized = functools.partial(_sized, kind=change["kind"], size=size)
            tries.append((what, common.each_controller(scenario, sized, failing), ""))
        yield tries


def _tank_tries(scenario: Scenario, name: str, kind: str, what: str, sizes: list[float]) -> Iterator[Try]:
    """A full tank at departure, a float valve, a wider tank, in their sizes."""
    tank = scenario.supply[name]
    assert isinstance(tank, Tank)
    for size in sizes:
        changes: dict[str, Any] = {}
        if kind == "wider":
            changes = {"volume": f"{tank.volume * size!r} L"}
            changes |= {"footprint": f"{tank.footprint * size!r} m^2"} if tank.footprint is not None else {}
            shape = [{"level": f"{at.level!r} m", "volume": f"{at.volume * size!r} L"} for at in tank.shape]
            changes |= {"shape": shape} if shape else {}
        elif kind == "float":
            if tank.top_up is not None:
                return
            changes = {"top_up": {"below": f"{_FLOAT_SHARE * tank.volume!r} L", "rate": f"{size!r} L/h"}}
        litres, more = (words.litres(tank.volume * by) for by in (size, (size - 1.0) * tank.full_at_start))
        text = words.say(what, name=name, litres=litres, more=more, size=size, share=_FLOAT_SHARE)
        yield text, {"supply": {name: changes}}, FULL_TANK if kind == "full" else ""


def _more_emitters(scenario: Scenario, beds: list[str], times: float) -> Try:
    overlay: dict[str, Any] = {}
    texts = []
    for key in beds:
        controller, bed = key.split("/")
        now = scenario.controller[controller].bed[bed].emitters.count
        then = max(round(now * times), now + 1)
        texts.append(f"{then} emitters in place of {now} on {key}")
        overlay.setdefault(controller, {"bed": {}})["bed"][bed] = {"emitters": {"count": then}}
    return ", ".join(texts), {"controller": overlay}, ""


def also_pressed(part: Controller) -> dict[str, Any]:
    """A valve that is pressed at sunrise too, where it is not and may be."""
    times = part.valve.press_times
    if "sunrise" in times or len(times) >= MOST_PRESSES:
        return {}
    return {"valve": {"press_times": [*times, "sunrise"]}}


def _sized(part: Controller, kind: str, size: float) -> dict[str, Any]:
    """The overlay of a valve and its pan for one size of a change."""
    pan, valve = part.pan, part.valve
    overlays: dict[str, dict[str, Any]] = {
        "freeboard": {"pan": {"freeboard": f"{pan.freeboard + size!r} mm"}},
        "swing": {"valve": {"swing": f"{valve.swing_kg * size!r} kg"}},
        "depth": {"pan": {"depth": f"{pan.depth * size!r} mm"}},
        "refill": {"valve": {"refill": {"flow": f"{valve.refill.flow * size!r} L/h"}}},
        "surface": {"pan": {"vessels": [{"area": f"{pan.area * size!r} m^2"}]}},
    }
    return overlays[kind]
