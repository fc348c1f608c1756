"""Can every take get its judges at all? Answered before listening starts, by a maximum flow.

Takes with the same set of permitted judges are one node, so 30,000 takes make a few hundred
nodes. A flow of ``per_take`` listenings from every take through its permitted judges to the
judges' limits exists exactly if an assignment exists (Ford & Fulkerson 1956, Canadian J. of
Mathematics 8:399–404; distinct judges within a node follow from Gale 1957, Pacific J. of
Mathematics 7:1073–1082). If it does not, the minimum cut names who is short of whom.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.sparse import csgraph

from fairhearing.core.judging.marks import Indices


@dataclass(frozen=True, slots=True)
class Shortage:
    """Takes that cannot all be heard often enough.

    Attributes
    ----------
    takes : ndarray of int
        The takes concerned.
    judges : ndarray of int
        All judges who may hear any of them.
    needed, available : int
        Listenings that these takes need from these judges, and that the judges can give.
    """

    takes: Indices
    judges: Indices
    needed: int
    available: int


def shortage(permitted: NDArray[np.bool_], per_take: int, room: Indices) -> Shortage | None:
    """Return a set of takes that cannot be served, or None if all can.

    Parameters
    ----------
    permitted : ndarray of bool, shape (T, J)
        Whether a judge may hear a take.
    per_take : int
        Judges that every take needs.
    room : ndarray of int, shape (J,)
        Most takes that each judge hears.
    """
    few = np.flatnonzero(permitted.sum(axis=1) < per_take)
    if len(few):
        judges = np.flatnonzero(permitted[few].any(axis=0))
        available = int(permitted[few].sum())
        return Shortage(few, judges, per_take * len(few), available)
    packed = np.packbits(permitted, axis=1)
    _, first, kind = np.unique(packed, axis=0, return_index=True, return_inverse=True)
    kind = kind.ravel()
    size = np.bincount(kind)
    n_kinds, n_judges = len(size), permitted.shape[1]
    source, sink = n_kinds + n_judges, n_kinds + n_judges + 1
    k, j = np.nonzero(permitted[first])
    tail = np.concatenate([np.full(n_kinds, source), k, n_kinds + np.arange(n_judges)])
    head = np.concatenate([np.arange(n_kinds), n_kinds + j, np.full(n_judges, sink)])
    capacity = np.concatenate([size * per_take, size[k], room])
    graph = sparse.coo_array(
        (capacity.astype(np.int32), (tail, head)), (sink + 1, sink + 1)
    ).tocsr()
    flow = csgraph.maximum_flow(graph, source, sink)
    needed = int(size.sum()) * per_take
    if flow.flow_value >= needed:
        return None
    rest = graph - flow.flow
    rest.data[rest.data < 0] = 0
    rest.eliminate_zeros()
    reached = csgraph.breadth_first_order(rest, source, return_predecessors=False)
    kinds = reached[reached < n_kinds]
    takes = np.flatnonzero(np.isin(kind, kinds))
    judges = np.sort(reached[(reached >= n_kinds) & (reached < source)]) - n_kinds
    # Judges outside the cut give all they can to these takes (one listening each).
    outside = np.setdiff1d(np.flatnonzero(permitted[takes].any(axis=0)), judges)
    given = int(room[judges].sum()) + int(permitted[np.ix_(takes, outside)].sum())
    return Shortage(takes, np.sort(np.union1d(judges, outside)), per_take * len(takes), given)
