"""What no plan can better: the cheapest filling of the chairs when the order of scores is ignored.

Students who want the same chairs are one class, so the linear programme is small: a flow from
classes to chairs with convex charges for the filling. Its corner solutions are whole numbers
(total unimodularity; Ahuja, Magnanti, Orlin, *Network Flows*, 1993, ch. 11).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import LinearConstraint, milp
from scipy.sparse import coo_array

from fairhearing.core.errors import SeatingError
from fairhearing.core.seating.costs import ChairCosts
from fairhearing.core.seating.market import Market


@dataclass(frozen=True, slots=True)
class Bound:
    """The least charge (fine units) and the filling of each chairs that reaches it."""

    cost: int
    fills: dict[int, int]


def lower_bound(
    market: Market,
    charges: ChairCosts,
    chairs: Sequence[int],
    wants: Mapping[int, Sequence[int]],
    extra: Mapping[tuple[int, int], int] | None = None,
) -> Bound:
    """Return the cheapest filling, whoever is passed over by it.

    Parameters
    ----------
    market, charges
        The whole market and its charges.
    chairs : sequence of int
        The chairs looked at.
    wants : mapping of int to sequence of int
        Per student the chairs that are possible.
    extra : mapping of (student, chairs) to int, optional
        A charge for seating this student there, in fine units.
    """
    extra = extra or {}
    classes = Counter(
        tuple(sorted((at, extra.get((student, at), 0)) for at in possible))
        for student, possible in wants.items()
        if possible
    )
    kinds = sorted(classes.items())
    pairs = [(c, at, price) for c, (kind, _) in enumerate(kinds) for at, price in kind]
    index = {at: i for i, at in enumerate(chairs)}
    m, n, k = len(pairs), len(chairs), len(kinds)
    # variables: pairs | below ideal | above ideal | below least
    cost = np.concatenate(
        [
            [price - charges.unseated for _, _, price in pairs],
            [charges.off[at] for at in chairs],
            [charges.off[at] for at in chairs],
            [charges.short[at] for at in chairs],
        ]
    ).astype(np.float64)
    rows = [c for c, _, _ in pairs]
    cols = list(range(m))
    vals = [1.0] * m
    upper = [float(size) for _, size in kinds]
    for sign, first, plan in (
        (-1.0, m, [-market.ideal[at] for at in chairs]),
        (1.0, m + n, [market.ideal[at] for at in chairs]),
        (-1.0, m + 2 * n, [-market.least[at] for at in chairs]),
        (1.0, None, [market.most[at] for at in chairs]),
    ):
        base = len(upper)
        upper.extend(float(value) for value in plan)
        rows.extend(base + index[at] for _, at, _ in pairs)
        cols.extend(range(m))
        vals.extend([sign] * m)
        if first is not None:
            rows.extend(range(base, base + n))
            cols.extend(range(first, first + n))
            vals.extend([-1.0] * n)
    matrix = coo_array((vals, (rows, cols)), shape=(k + 4 * n, m + 3 * n))
    done = milp(cost, constraints=LinearConstraint(matrix.tocsr(), -np.inf, np.array(upper)))
    if done.x is None or done.fun is None:  # a flow from nothing is always possible
        raise SeatingError(f"the chairs could not be counted out ({done.message})")
    fills = dict.fromkeys(chairs, 0)
    for (_, at, _), amount in zip(pairs, done.x[:m], strict=True):
        fills[at] += round(amount)
    students = sum(size for _, size in kinds)
    return Bound(round(done.fun) + charges.unseated * students, fills)
