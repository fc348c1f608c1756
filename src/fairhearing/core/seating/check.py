"""An independent look at a plan: whose better score was passed over, and which chair stays open.

This module shares no code with the solver: it reads the problem as it was given, sorts by itself,
and knows only the definitions. *Justified envy* (Gale & Shapley 1962; Abdulkadiroğlu & Sönmez 2003,
Amer. Econ. Rev. 93:729–747): a student would rather sit in chairs where somebody sits who comes
after them in the order of those chairs.
"""

from __future__ import annotations

import hashlib
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass

from fairhearing.core.seating.problem import Problem


@dataclass(frozen=True, slots=True)
class Envy:
    """A student who would rather sit in `chairs`, where `instead` sits and comes after them."""

    student: str
    chairs: str
    instead: str


def justified_envy(problem: Problem, seated: Mapping[str, str | None]) -> list[Envy]:
    """Return every student with a justified envy, once per chairs (against the last seated there).

    Parameters
    ----------
    problem : Problem
    seated : mapping of str to (str or None)
        Student to id of the chairs.
    """
    last: dict[str, tuple[tuple[object, ...], str]] = {}
    standing: dict[tuple[str, str], tuple[object, ...]] = {}
    for candidate in problem.candidates:
        drawn = hashlib.sha256(f"{problem.lot}\n{candidate.student}".encode()).hexdigest()
        for wish in candidate.wishes:
            if wish.barred or wish.score is None:
                continue
            score = round(wish.score, 9)
            if wish.minimum is not None and score < wish.minimum:
                continue
            counted = score if wish.counts is None else round(wish.counts, 9)
            ties = [-one for one in wish.tie]
            better_first = (wish.group, -counted, wish.place or 0, ties, drawn)
            standing[candidate.student, wish.chairs] = better_first
    for student, chairs in seated.items():
        if chairs is None:
            continue
        own = standing.get((student, chairs), (float("inf"),))  # seated by hand without the right
        if chairs not in last or own > last[chairs][0]:
            last[chairs] = own, student
    found = []
    for candidate in problem.candidates:
        mine = seated.get(candidate.student)
        for wish in candidate.wishes:
            if wish.chairs == mine:
                break
            own_place = standing.get((candidate.student, wish.chairs))
            if own_place is not None and wish.chairs in last and own_place < last[wish.chairs][0]:
                found.append(Envy(candidate.student, wish.chairs, last[wish.chairs][1]))
    return found


def faults(
    problem: Problem, seated: Mapping[str, str | None], sizes: Mapping[str, int]
) -> list[str]:
    """Return what no plan may have: an overfull section, a seat nobody wished for, a wasted chair.

    A chair is wasted when it is one of `sizes`, stays open, and a student who may sit there would
    rather sit there. Pinned students are not held against their own wishes.
    """
    held: dict[str, int] = defaultdict(int)
    for chairs in seated.values():
        if chairs is not None:
            held[chairs] += 1
    pinned = {pin.student: pin.chairs for pin in problem.pins}
    said = []
    for one in problem.chairs:
        if held[one.id] > one.most:
            said.append(f"{one.id} seats {held[one.id]} on {one.most} chairs")
    for candidate in problem.candidates:
        mine = seated.get(candidate.student)
        if candidate.student in pinned:
            if mine != pinned[candidate.student]:
                said.append(f"{candidate.student} is not where the pin says")
            continue
        may = [
            wish.chairs
            for wish in candidate.wishes
            if not wish.barred
            and wish.score is not None
            and (wish.minimum is None or round(wish.score, 9) >= wish.minimum)
        ]
        if mine is not None and mine not in may:
            said.append(f"{candidate.student} sits in {mine} without wishing or being allowed to")
        for chairs in may:
            if chairs == mine:
                break
            if held[chairs] < sizes.get(chairs, 0):
                said.append(f"{candidate.student} would rather have the open chair in {chairs}")
    return said
