"""Changes before and after release, and two plans side by side."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from fairhearing.core.errors import SeatingError
from fairhearing.core.seating import (
    Candidate,
    Problem,
    SeatPlan,
    Wish,
    compare,
    entered,
    faults,
    justified_envy,
    revise,
    seat,
    with_score,
    with_wishes,
    withdrawn,
)

Band = Callable[..., Problem]


def liking(problem: Problem, student: str, chairs: str | None) -> int:
    """Return how far down the student's list some chairs stand."""
    wished = next(
        [wish.chairs for wish in one.wishes] for one in problem.candidates if one.student == student
    )
    return len(wished) if chairs is None else wished.index(chairs)


def nobody_loses(before: SeatPlan, after: SeatPlan) -> bool:
    return all(
        liking(after.problem, student, after.where(student))
        <= liking(after.problem, student, chairs)
        for student, chairs in before.seated.items()
        if student in after.seated
    )


@pytest.mark.parametrize("seed", range(2))
def test_a_withdrawal_moves_few_and_only_up(band: Band, seed: int) -> None:
    plan = seat(band(seed, 100))
    moved = []
    for student in sorted(plan.seats)[::3]:
        problem = withdrawn(plan.problem, student)
        after = revise(plan, problem, released=False)
        assert not justified_envy(problem, after.plan.seated)
        assert not faults(problem, after.plan.seated, plan.sizes)
        assert nobody_loses(plan, after.plan)
        others = [move for move in after.moves if move.student != student]
        assert {move.way for move in others} <= {"up"}
        assert [move.way for move in after.moves if move.student == student] == ["leaves"]
        moved.append(len(others))
        told = revise(plan, problem, released=True)
        assert told.plan.seated == after.plan.seated  # nobody holds a seat against anybody
        assert not told.envy
    assert sum(moved) / len(moved) <= 2


@pytest.mark.parametrize("released", [False, True])
@pytest.mark.parametrize("seed", range(4))
def test_a_late_entrant(band: Band, seed: int, released: bool) -> None:
    plan = seat(band(seed, 80))
    best = plan.problem.candidates[0].wishes
    late = Candidate("late", tuple(replace(wish, score=99.0, barred="") for wish in best))
    problem = entered(plan.problem, late)
    after = revise(plan, problem, released=released)
    assert any(move.student == "late" and move.way == "joins" for move in after.moves)
    assert list(after.envy) == justified_envy(problem, after.plan.seated)
    if released:
        assert nobody_loses(plan, after.plan)
        where = after.plan.where("late")
        if where != late.wishes[0].chairs:  # the section is full to the most: envy remains, named
            assert {one.student for one in after.envy} == {"late"}
    else:
        assert after.plan.where("late") == late.wishes[0].chairs
        assert not after.envy
        assert not after.added


def test_a_corrected_mark_up_and_down(band: Band) -> None:
    plan = seat(band(1, 80, second=0.0))
    row = next(row for row in plan.rows if row.chairs.level == 1 and row.alternates)
    last, first_out = row.players[-1], row.alternates[0]
    instrument = row.chairs.instrument
    raised = with_score(plan.problem, first_out, instrument, 98.0)
    early = revise(plan, raised, released=False)
    assert early.plan.where(first_out) == row.chairs.id
    assert early.plan.where(last) != row.chairs.id
    assert not early.envy
    late = revise(plan, raised, released=True, add_chairs=False)
    assert late.plan.where(last) == row.chairs.id
    assert (first_out, row.chairs.id) in [(one.student, one.chairs) for one in late.envy]
    assert {one.student for one in late.envy} == {first_out}
    with_room = replace(
        raised,
        chairs=tuple(
            replace(one, most=one.most + 1) if one.id == row.chairs.id else one
            for one in raised.chairs
        ),
    )
    added = revise(plan, with_room, released=True)
    assert added.plan.where(first_out) == row.chairs.id
    assert added.plan.where(last) == row.chairs.id
    assert added.added[row.chairs.id] == 1
    assert not added.envy
    lowered = with_score(plan.problem, row.players[0], instrument, 1.0)
    assert revise(plan, lowered, released=True).plan.where(row.players[0]) == row.chairs.id
    assert revise(plan, lowered, released=False).plan.where(row.players[0]) != row.chairs.id


def test_a_seat_announced_outlives_a_bar(band: Band) -> None:
    plan = seat(band(1, 80, second=0.0))
    student = next(one for one, seat_ in plan.seats.items() if seat_.chairs.startswith("e1"))
    barred = with_wishes(plan.problem, student, lambda wish: replace(wish, barred="too young"))
    assert revise(plan, barred, released=True).plan.where(student) == plan.where(student)
    assert revise(plan, barred, released=False).plan.where(student) is None


def test_a_judge_removed_changes_every_score(band: Band) -> None:
    problem = band(3, 100)
    plan = seat(problem)
    shift = {one.student: (index % 7 - 3) * 0.8 for index, one in enumerate(problem.candidates)}
    rescored = replace(
        problem,
        candidates=tuple(
            replace(
                one,
                wishes=tuple(
                    replace(wish, score=(wish.score or 0) + shift[one.student])
                    for wish in one.wishes
                ),
            )
            for one in problem.candidates
        ),
    )
    early = revise(plan, rescored, released=False)
    late = revise(plan, rescored, released=True)
    assert not early.envy
    assert nobody_loses(plan, late.plan)
    assert not [move for move in late.moves if move.way == "down"]
    assert len(late.moves) <= len(early.moves)
    for row in late.plan.rows:
        assert len(row.players) <= row.chairs.most


def test_nothing_changed_nothing_moves(band: Band) -> None:
    plan = seat(band(2, 80))
    for released in (False, True):
        after = revise(plan, plan.problem, released=released)
        assert (after.moves, after.envy, after.added) == ((), (), {})
        assert after.plan.seats == plan.seats
    assert compare(plan, plan).says == "Everybody sits where they sat."


def test_two_plans_side_by_side(band: Band) -> None:
    problem = band(2, 80)
    plan, quick = seat(problem), seat(withdrawn(problem, "0003"))
    found = compare(plan, quick)
    assert found.count("leaves") == 1
    assert found.cost == (plan.cost, quick.cost)
    assert {move.student for move in found.moves} == {
        student
        for student, chairs in plan.seated.items()
        if student not in quick.seated or quick.where(student) != chairs
    }
    assert sum(new - old for old, new in found.fills.values()) == len(quick.seats) - len(plan.seats)
    assert f"{len(found.moves)} sit elsewhere" in found.says
    with pytest.raises(SeatingError, match="student x cannot withdraw"):
        withdrawn(problem, "x")


def test_wishes_without_a_score_do_not_break_a_release(band: Band) -> None:
    plan = seat(band(2, 40))
    student = next(iter(plan.seats))
    unscored = with_wishes(plan.problem, student, lambda wish: replace(wish, score=None))
    assert revise(plan, unscored, released=True).plan.where(student) == plan.where(student)
    assert isinstance(plan.wish(student, plan.where(student) or ""), Wish)
