"""
Numeric: the kinds of arrays that pass between rooms, for type hints; runs of days; and steps of figures.
"""

from collections.abc import Iterator

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]


def runs(mask: Mask) -> Iterator[tuple[int, int]]:
    """Yield where each run of true values begins, and the place after its last."""
    edges = np.flatnonzero(np.diff(mask.astype(np.int8), prepend=0, append=0)).tolist()
    return zip(edges[::2], edges[1::2], strict=True)


def longest(mask: Mask) -> tuple[int, int]:
    """Return where the longest run of true values begins, and its length."""
    first, after = max(runs(mask), key=lambda run: run[1] - run[0], default=(0, 0))
    return first, after - first


def on_steps(values: Floats, step: float, off: float | Floats = 1e-6) -> Mask:
    """Tell which values are a number of whole steps, but for so much."""
    near: Mask = np.abs(values - np.round(values / step) * step) <= off
    return near


def half_digit(values: Floats, digits: int) -> float:
    """Return half of the last digit behind the point that values are written with; 0 with more digits than so many."""
    return next((0.5 * 10.0**-d for d in range(digits + 1) if on_steps(values, 10.0**-d).all()), 0.0)
