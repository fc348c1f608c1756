"""Something changes after the plan was made: a withdrawal, a late entrant, another score.

*Before release* nobody has been told anything. The chairs stay as they are and everybody is seated
anew: the plan stays free of justified envy, and only those move who must.

*After release* a seat that was announced is kept: its holder comes first there, whatever the scores
say now, and may only move to something they like better. Where a student now stands above somebody
who holds a seat, a chair is added up to the section's most; the envy that is left is listed, for a
person to answer. (Vacancy chains: Blum, Roth, Rothblum 1997, J. Econ. Theory 76:362–411.)
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

from fairhearing.core.errors import SeatingError
from fairhearing.core.seating.check import Envy, justified_envy
from fairhearing.core.seating.compare import Move, moves
from fairhearing.core.seating.plan import SeatPlan, make_plan
from fairhearing.core.seating.problem import Candidate, Problem, Wish
from fairhearing.core.seating.solve import seat

_HOLDS = -1  # the group of who holds a seat: before all others


@dataclass(frozen=True, slots=True)
class Revision:
    """A plan after a change.

    Attributes
    ----------
    plan : SeatPlan
    moves : tuple of Move
        Everybody who sits elsewhere, who is new or has left.
    envy : tuple of Envy
        Justified envy that is left; before release only what pins do.
    added : dict of str to int
        Chairs added to a section, by id.
    """

    plan: SeatPlan
    moves: tuple[Move, ...]
    envy: tuple[Envy, ...]
    added: dict[str, int]


def withdrawn(problem: Problem, *students: str) -> Problem:
    """Return the problem without some students.

    Raises
    ------
    SeatingError
        If one of them is not there.
    """
    known = {one.student for one in problem.candidates}
    for student in students:
        if student not in known:
            raise SeatingError(f"student {student} cannot withdraw: not among the students")
    return replace(
        problem,
        candidates=tuple(one for one in problem.candidates if one.student not in students),
        pins=tuple(pin for pin in problem.pins if pin.student not in students),
    )


def entered(problem: Problem, *late: Candidate) -> Problem:
    """Return the problem with late entrants."""
    return replace(problem, candidates=(*problem.candidates, *late))


def revise(
    before: SeatPlan,
    problem: Problem,
    *,
    released: bool,
    add_chairs: bool = True,
) -> Revision:
    """Return the plan after a change, with as little disturbance as the rules allow.

    Parameters
    ----------
    before : SeatPlan
        The plan so far.
    problem : Problem
        Everything as it is now: :func:`withdrawn`, :func:`entered`,
        :func:`~fairhearing.core.seating.problem.with_score`, or made anew from new scores.
    released : bool
        Whether seats have been announced.
    add_chairs : bool
        After release, whether chairs may be added up to a section's most.
    """
    return revise_seats(
        before.seated, before.sizes, problem, released=released, add_chairs=add_chairs
    )


def revise_seats(
    before: Mapping[str, str | None],
    sizes: Mapping[str, int],
    problem: Problem,
    *,
    released: bool,
    add_chairs: bool = True,
) -> Revision:
    """Return the same as :func:`revise` from seats and sizes, as a file keeps them.

    Raises
    ------
    SeatingError
        If the chairs are not those of the problem.
    """
    for one in problem.chairs:
        if one.id not in sizes:
            raise SeatingError(
                f"the earlier plan has no chairs for {one.instrument} in {one.ensemble}"
            )
    now = {one.id: min(sizes[one.id], one.most) for one in problem.chairs}
    plan = seat(problem, sizes=now) if not released else _kept(before, now, problem, add_chairs)
    return Revision(
        plan,
        moves(before, plan),
        tuple(justified_envy(problem, plan.seated)),
        {at: plan.sizes[at] - now[at] for at in now if plan.sizes[at] > now[at]},
    )


def _kept(
    before: Mapping[str, str | None],
    sizes: dict[str, int],
    problem: Problem,
    add_chairs: bool,
) -> SeatPlan:
    """Seat everybody with the holders of seats first, adding chairs where envy is justified."""
    held = replace(
        problem,
        candidates=tuple(
            replace(one, wishes=tuple(map(_holding(before.get(one.student)), one.wishes)))
            for one in problem.candidates
        ),
    )
    most = {one.id: one.most for one in problem.chairs}
    level = {one.id: (one.level, one.id) for one in problem.chairs}
    sizes = dict(sizes)
    while True:
        plan = seat(held, sizes=sizes)
        fills = {row.chairs.id: len(row.players) for row in plan.rows}
        envied = sorted(
            {
                one.chairs
                for one in justified_envy(problem, plan.seated)
                if max(sizes[one.chairs], fills[one.chairs]) < most[one.chairs]
            },
            key=lambda chairs: level[chairs],
        )
        if not (add_chairs and envied):
            return make_plan(problem, plan.seated, sizes, plan.cost, float("-inf"))
        sizes[envied[0]] = max(sizes[envied[0]], fills[envied[0]]) + 1


def _holding(chairs: str | None) -> Callable[[Wish], Wish]:
    def held(wish: Wish) -> Wish:
        if wish.chairs != chairs:
            return wish
        score = 0.0 if wish.score is None else wish.score
        return replace(wish, group=_HOLDS, barred="", minimum=None, score=score)

    return held
