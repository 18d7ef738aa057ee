"""
Numeric: the kinds of arrays that pass between rooms, for type hints; and runs of days.
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
