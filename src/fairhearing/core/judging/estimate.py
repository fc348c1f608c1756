"""A number with its uncertainty."""

from __future__ import annotations

import math
from dataclasses import dataclass

from scipy import special


@dataclass(frozen=True, slots=True)
class Estimate:
    """A number with its 95 % interval; `p` is two-sided against "no effect"."""

    value: float
    low: float
    high: float
    p: float


def estimate(value: float, se: float, freedom: float = math.inf, *, null: float = 0.0) -> Estimate:
    """Return an estimate from a standard error, by Student's law (normal without `freedom`).

    Parameters
    ----------
    value, se : float
        The number and its standard error (≥ 0).
    freedom : float
        Degrees of freedom behind the standard error.
    null : float, default 0
        The value that means "no effect".
    """
    if se <= 0:
        return Estimate(value, value, value, 1.0 if value == null else 0.0)
    distance = abs(value - null) / se
    if math.isinf(freedom):
        reach, tail = float(special.ndtri(0.975)), float(special.ndtr(-distance))
    else:
        reach = float(special.stdtrit(freedom, 0.975))
        tail = float(special.stdtr(freedom, -distance))
    return Estimate(value, value - reach * se, value + reach * se, 2 * tail)
