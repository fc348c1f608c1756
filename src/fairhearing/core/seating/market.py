"""The problem as whole numbers: who wants which chairs, in which order the chairs want them.

Students and chairs are numbered after sorting, so that shuffled input gives the same market.
Pinned students are not in it; their chairs are taken off the plan.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

from fairhearing.core.seating.problem import SCORE_DECIMALS, Chairs, Problem, Wish, lot

OrderKey = tuple[int, float, int, tuple[float, ...], str]


@dataclass(frozen=True, slots=True)
class Market:
    """Students and chairs by number.

    Attributes
    ----------
    students : list of str
        Audition numbers, sorted; the index is the student's number here.
    chairs : list of Chairs
        Sorted by level, ensemble, instrument; the index is the number of the chairs here.
    wants : list of list of int
        Per student the chairs wished for that are possible, the dearest first.
    ranks : list of list of int
        Parallel to `wants`: the student's place in the order of those chairs, 0 the first.
    order : list of list of int
        Per chairs all students who want them, the first the best.
    least, ideal, most : list of int
        The plan without the chairs of pinned students.
    """

    students: list[str]
    chairs: list[Chairs]
    wants: list[list[int]]
    ranks: list[list[int]]
    order: list[list[int]]
    least: list[int]
    ideal: list[int]
    most: list[int]


def order_key(wish: Wish, drawn: str) -> OrderKey:
    """Return what decides between two students at the same chairs; the smaller comes first."""
    counted = wish.order_score
    score = round(counted if counted is not None else float("-inf"), SCORE_DECIMALS)
    return wish.group, -score, wish.place or 0, tuple(-value for value in wish.tie), drawn


def build(problem: Problem) -> Market:
    """Return the market of a problem."""
    chairs = sorted(
        problem.chairs, key=lambda one: (one.level, one.ensemble, one.instrument, one.id)
    )
    number = {one.id: at for at, one in enumerate(chairs)}
    pinned = {pin.student for pin in problem.pins}
    candidates = sorted(
        (one for one in problem.candidates if one.student not in pinned),
        key=lambda one: one.student,
    )
    wants: list[list[int]] = []
    keyed: list[list[tuple[OrderKey, int]]] = [[] for _ in chairs]
    for student, candidate in enumerate(candidates):
        possible = [wish for wish in candidate.wishes if wish.possible]
        wants.append([number[wish.chairs] for wish in possible])
        drawn = lot(problem.lot, candidate.student)
        for wish in possible:
            keyed[number[wish.chairs]].append((order_key(wish, drawn), student))
    order = []
    place: list[dict[int, int]] = [{} for _ in candidates]
    for at, applicants in enumerate(keyed):
        applicants.sort()
        order.append([student for _, student in applicants])
        for rank, (_, student) in enumerate(applicants):
            place[student][at] = rank
    taken = Counter(number[pin.chairs] for pin in problem.pins if pin.chairs is not None)

    def left(plan: int, at: int) -> int:
        return max(0, plan - taken[at])

    return Market(
        students=[one.student for one in candidates],
        chairs=chairs,
        wants=wants,
        ranks=[[place[j][at] for at in wanted] for j, wanted in enumerate(wants)],
        order=order,
        least=[left(one.least, at) for at, one in enumerate(chairs)],
        ideal=[left(one.ideal, at) for at, one in enumerate(chairs)],
        most=[left(one.most, at) for at, one in enumerate(chairs)],
    )


def components(market: Market) -> list[tuple[list[int], list[int]]]:
    """Return (chairs, students) that nothing connects with the rest; they are solved apart.

    Two chairs belong together when a student wants both. Students who want nothing are left out.
    """
    parent = list(range(len(market.chairs)))

    def root(at: int) -> int:
        while parent[at] != at:
            parent[at] = parent[parent[at]]
            at = parent[at]
        return at

    for wanted in market.wants:
        for at in wanted[1:]:
            parent[root(at)] = root(wanted[0])
    groups: dict[int, tuple[list[int], list[int]]] = {}
    for at in range(len(market.chairs)):
        groups.setdefault(root(at), ([], []))[0].append(at)
    for student, wanted in enumerate(market.wants):
        if wanted:
            groups[root(wanted[0])][1].append(student)
    return list(groups.values())
