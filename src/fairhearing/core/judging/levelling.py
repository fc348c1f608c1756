"""Level the judges' loads by moving takes along chains of judges.

If judge a hears two takes more than judge c, and a take can move from a to b and another from b to
c, both moves together take one from a and give one to c. When no such chain is left, the loads are
as equal as competence and conflicts permit: no cost-reducing path means an optimal semi-matching
(Harvey, Ladner, Lovász & Tamir 2006, J. of Algorithms 59:53–78).
"""

from __future__ import annotations

import itertools
from collections import deque
from collections.abc import Collection

import numpy as np
from numpy.typing import NDArray

from fairhearing.core.judging.marks import Indices

Permitted = NDArray[np.bool_]


def level_loads(
    hears: Permitted, permitted: Permitted, room: Indices, *, fixed: Collection[int] = ()
) -> None:
    """Move takes between judges, in place, until the loads cannot be made more equal.

    Parameters
    ----------
    hears, permitted : ndarray of bool, shape (T, J)
    room : ndarray of int, shape (J,)
        Most takes that each judge hears.
    fixed : collection of int
        Takes that must not move (calibration takes).
    """
    movable = np.ones(len(hears), dtype=bool)
    movable[list(fixed)] = False
    own = (hears & movable[:, None]).astype(np.float32)
    can = (permitted & ~hears & movable[:, None]).astype(np.float32)
    moves = np.rint(own.T @ can).astype(np.int64)
    loads = hears.sum(axis=0).astype(np.int64)
    while True:
        chain = _chain(moves, loads, room)
        if chain is None:
            return
        for giver, taker in itertools.pairwise(chain):
            options = np.flatnonzero(
                hears[:, giver] & permitted[:, taker] & ~hears[:, taker] & movable
            )
            take = int(options[0])
            _count(moves, hears[take], permitted[take], -1)
            hears[take, giver], hears[take, taker] = False, True
            _count(moves, hears[take], permitted[take], +1)
        loads[chain[0]] -= 1
        loads[chain[-1]] += 1


def _count(moves: Indices, own: Permitted, may: Permitted, sign: int) -> None:
    """Add or take away one take's possible moves."""
    moves[np.ix_(np.flatnonzero(own), np.flatnonzero(may & ~own))] += sign


def _chain(moves: Indices, loads: Indices, room: Indices) -> list[int] | None:
    """Return judges along whom one take passes from a high load to one at least two lower."""
    beyond = loads > room
    for start in np.lexsort((-loads, ~beyond)):
        over = bool(beyond[start])
        if not over and loads[start] - loads.min() < 2:
            return None
        before = {int(start): -1}
        queue = deque([int(start)])
        best: int | None = None
        while queue:
            judge = queue.popleft()
            for other in np.flatnonzero(moves[judge] > 0):
                if int(other) not in before:
                    before[int(other)] = judge
                    queue.append(int(other))
                    lower = over or loads[other] + 2 <= loads[start]
                    fits = loads[other] < room[other]
                    if lower and fits and (best is None or loads[other] < loads[best]):
                        best = int(other)
        if best is not None:
            chain = [best]
            while before[chain[-1]] >= 0:
                chain.append(before[chain[-1]])
            return chain[::-1]
    return None
