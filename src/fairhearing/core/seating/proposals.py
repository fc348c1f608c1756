"""Deferred acceptance: students propose, chairs hold the best so far.

Gale & Shapley 1962, Amer. Math. Monthly 69:9–15. The outcome is the stable matching that every
student likes best, whatever the order of proposing; with it no student can do better by hiding
what they would like (Roth 1982, Math. Oper. Res. 7:617–628).
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping, Sequence
from heapq import heappush, heappushpop
from typing import TypeVar

P = TypeVar("P", bound=Hashable)
R = TypeVar("R", bound=Hashable)
NOWHERE = -1


def deferred_acceptance(
    wants: Sequence[Sequence[int]],
    ranks: Sequence[Sequence[int]],
    sizes: Sequence[int],
    students: Iterable[int] | None = None,
) -> list[int]:
    """Return where each student sits.

    Parameters
    ----------
    wants : sequence of sequence of int
        Per student the chairs wished for, the dearest first.
    ranks : sequence of sequence of int
        Parallel: the student's place in the order of those chairs; no two students share one.
    sizes : sequence of int
        How many chairs there are.
    students : iterable of int, optional
        Who takes part; everyone if not given.

    Returns
    -------
    list of int
        Per student the number of the chairs, or :data:`NOWHERE`.
    """
    seated = [NOWHERE] * len(wants)
    following = [0] * len(wants)  # the next wish to propose to
    held: list[list[tuple[int, int]]] = [[] for _ in sizes]  # heaps, the worst held on top
    for student in range(len(wants)) if students is None else students:
        proposing = student
        while proposing != NOWHERE:
            wish = following[proposing]
            if wish == len(wants[proposing]):
                seated[proposing] = NOWHERE
                break
            following[proposing] = wish + 1
            at = wants[proposing][wish]
            entry = (-ranks[proposing][wish], proposing)
            if len(held[at]) < sizes[at]:
                heappush(held[at], entry)
                seated[proposing] = at
                break
            if not sizes[at]:
                continue
            refused = heappushpop(held[at], entry)[1]
            if refused != proposing:
                seated[proposing] = at
                seated[refused] = NOWHERE
            proposing = refused
    return seated


def propose(
    proposers: Mapping[P, Sequence[R]],
    receivers: Mapping[R, Sequence[P]],
    sizes: Mapping[R, int] | None = None,
) -> dict[P, R | None]:
    """Return the stable matching that is best for the proposers, under any names.

    Parameters
    ----------
    proposers, receivers : mapping
        Each side's list of the other side, the dearest first; who is not listed is unacceptable.
    sizes : mapping, optional
        How many a receiver takes; 1 if not given.
    """
    names = list(proposers)
    places = list(receivers)
    at = {place: index for index, place in enumerate(places)}
    rank = {place: {name: index for index, name in enumerate(receivers[place])} for place in places}
    wants = [[at[place] for place in proposers[name] if name in rank[place]] for name in names]
    ranks = [
        [rank[places[index]][name] for index in wanted]
        for name, wanted in zip(names, wants, strict=True)
    ]
    seated = deferred_acceptance(wants, ranks, [sizes[p] if sizes else 1 for p in places])
    return {
        name: None if where == NOWHERE else places[where]
        for name, where in zip(names, seated, strict=True)
    }
