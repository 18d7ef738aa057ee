"""
The scenario's uncertainty: over what every range is drawn, for all verbs alike; factors on the values described.

Defaults. Exposure: a Class A pan of 42 months at a real station lost 1.0 times the ETo where the models say 1.45 and
1.6, the low end; smaller pans lose more per area than a Class A pan (published comparisons agree on the order only), the
high end. Flows as printed on a packet, by jug, and swings: common practice, no source.
"""

from collections.abc import Iterator
from typing import Annotated

from pydantic import BeforeValidator, Field

from panbudget.errors import Problem
from panbudget.scenario import problem
from panbudget.scenario.problems import Senseless
from panbudget.scenario.quantities import Described, Number, Whole


def _low_high(value: object) -> object:
    """A range of factors: two plain numbers, the lower first, around 1."""
    if not (isinstance(value, list | tuple) and len(value) == 2 and all(type(v) in (int, float) for v in value)):
        raise Senseless(problem("no-range"))
    low, high = map(float, value)
    if not 0.0 < low <= 1.0 <= high <= 10.0:
        raise Senseless(problem("no-range.around"))
    return low, high


#: seasons over which a range may be drawn: fewer say nothing of its ends, and more are never run (common practice, no source)
SAMPLES = 20, 20_000
Factors = Annotated[tuple[float, float], BeforeValidator(_low_high)]


class ValveUncertainty(Described):
    """What is known better, or worse, of one valve: `fit` writes it into `fitted.toml`."""

    exposure: Factors | None = None
    openings: Factors | None = None
    refill_flow: Factors | None = None
    litres: Factors | None = None
    swing: Factors | None = None

    def wrong(self) -> Iterator[Problem]:
        for key, other, why in (
            ("openings", "exposure", "exposure is openings times swing"),
            ("litres", "refill_flow", "the refill flow is exposure over litres"),
        ):
            if getattr(self, key) is not None and getattr(self, other) is not None:
                yield problem("one-of.range", key, other=other, why=why)


class Uncertainty(Described):
    """Over what every range is drawn: factors on the values described, evenly between the two."""

    exposure: Factors = (0.6, 1.3)
    refill_flow: Factors = (0.9, 1.1)
    emitter_flow: Factors = (0.9, 1.1)
    measured_flow: Factors = (0.97, 1.03)
    swing: Factors = (0.95, 1.05)
    weighed_swing: Factors = (0.99, 1.01)
    pressure: Factors = (0.8, 1.2)
    samples: Annotated[Whole, Field(ge=SAMPLES[0], le=SAMPLES[1])] = 500
    interval: Annotated[Number, Field(ge=0.5, le=0.99)] = 0.9
    seed: Annotated[Whole, Field(ge=0, le=2**31)] = 1
    controller: dict[str, ValveUncertainty] = Field(default_factory=dict)
