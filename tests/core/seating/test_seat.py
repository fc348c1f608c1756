"""The solver against definitions, against trying everything, and against itself in other order."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import replace
from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fairhearing.core.errors import SeatingError
from fairhearing.core.seating import (
    Candidate,
    Chairs,
    Costs,
    Pin,
    Problem,
    Wish,
    faults,
    justified_envy,
    lot,
    seat,
)

Band = Callable[..., Problem]


def cost_by_hand(problem: Problem, seated: dict[str, str | None]) -> float:
    """Return the charge of a seating straight from the definition, pins not supported."""
    total = 0.0
    for chairs in problem.chairs:
        fill = sum(where == chairs.id for where in seated.values())
        off = problem.costs.off * (1 + max(0, 10 - chairs.level) / 1000)
        total += problem.costs.short * max(0, chairs.least - fill) + off * abs(chairs.ideal - fill)
    for one in problem.candidates:
        if seated[one.student] is None and any(wish.possible for wish in one.wishes):
            total += problem.costs.unseated
    return total


@st.composite
def small_problems(draw: st.DrawFn) -> Problem:
    chairs = []
    for index in range(draw(st.integers(1, 3))):
        least, more, most = (draw(st.integers(0, 2)) for _ in range(3))
        chairs.append(
            Chairs(
                f"c{index}", "e", f"i{index}", index + 1, least, least + more, least + more + most
            )
        )
    candidates = []
    for index in range(draw(st.integers(0, 5))):
        wished = draw(st.permutations([one.id for one in chairs]))
        wished = wished[: draw(st.integers(0, len(wished)))]
        candidates.append(
            Candidate(
                f"s{index}",
                tuple(
                    Wish(
                        name,
                        float(draw(st.integers(0, 4))),
                        draw(st.integers(0, 1)),
                        barred="no" if draw(st.integers(0, 5)) == 0 else "",
                        minimum=draw(st.sampled_from([None, None, 2.0])),
                    )
                    for name in wished
                ),
            )
        )
    unseated = draw(st.sampled_from([0, 1, 10, 1000]))
    return Problem(tuple(chairs), tuple(candidates), costs=Costs(unseated=unseated), lot="l")


@settings(max_examples=80, deadline=None)
@given(small_problems())
def test_no_fair_plan_is_better_than_the_proven_one(problem: Problem) -> None:
    """Every assignment is tried; fair by the independent check; the least charge compared."""
    plan = seat(problem)
    assert plan.proven
    assert not justified_envy(problem, plan.seated)
    assert not faults(problem, plan.seated, plan.sizes)
    assert plan.cost == pytest.approx(cost_by_hand(problem, plan.seated))
    best = float("inf")
    options = [
        [None, *(wish.chairs for wish in one.wishes if wish.possible)] for one in problem.candidates
    ]
    names = [one.student for one in problem.candidates]
    for choice in product(*options):
        seated = dict(zip(names, choice, strict=True))
        full = any(choice.count(one.id) > one.most for one in problem.chairs)
        if not full and not justified_envy(problem, seated):
            best = min(best, cost_by_hand(problem, seated))
    assert plan.cost == pytest.approx(best)


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("students", [60, 150])
def test_a_band_is_seated_fairly_and_provably_best(
    band: Band, shuffled: Callable[[Problem, int], Problem], students: int, seed: int
) -> None:
    problem = band(seed, students, whole=seed % 2 == 0)
    plan = seat(problem)
    assert plan.proven
    assert plan.cost == pytest.approx(cost_by_hand(problem, plan.seated))
    assert not justified_envy(problem, plan.seated)
    assert not faults(problem, plan.seated, plan.sizes)
    again = seat(shuffled(problem, seed))
    assert (again.seats, again.sizes) == (plan.seats, plan.sizes)
    assert {row.chairs.id: row for row in again.rows} == {row.chairs.id: row for row in plan.rows}
    assert seat(problem, sizes=plan.sizes).seats == plan.seats
    quick = seat(problem, exact=False)
    assert quick.cost >= plan.cost
    assert not justified_envy(problem, quick.seated)


def test_renaming_students_moves_only_names(band: Band) -> None:
    problem = band(3, 60)  # real-valued scores: no ties for the lot to decide
    renamed = replace(
        problem,
        candidates=tuple(
            replace(one, student=f"x{one.student[::-1]}") for one in problem.candidates
        ),
    )
    plan, other = seat(problem), seat(renamed)
    assert {f"x{name[::-1]}": where for name, where in plan.seated.items()} == other.seated


def test_a_constant_added_to_every_score_changes_nothing(band: Band) -> None:
    problem = band(4, 60)
    raised = replace(
        problem,
        candidates=tuple(
            replace(
                one,
                wishes=tuple(
                    replace(
                        wish,
                        score=(wish.score or 0) + 5,
                        minimum=None if wish.minimum is None else wish.minimum + 5,
                    )
                    for wish in one.wishes
                ),
            )
            for one in problem.candidates
        ),
    )
    assert seat(raised).seats == seat(problem).seats


def _one_section(*scores: float, least: int = 1, ideal: int = 2, most: int = 3) -> Problem:
    chairs = (
        Chairs("top", "Top", "flute", 1, least, ideal, most),
        Chairs("low", "Low", "flute", 2, least, ideal, most),
    )
    return Problem(
        chairs,
        tuple(
            Candidate(f"s{at}", (Wish("top", score), Wish("low", score)))
            for at, score in enumerate(scores)
        ),
        lot="l",
    )


def test_the_upper_ensemble_is_filled_first() -> None:
    plan = seat(_one_section(9, 8, 7))
    assert plan.seated == {"s0": "top", "s1": "top", "s2": "low"}


def test_a_least_below_is_worth_a_chair_above() -> None:
    plan = seat(_one_section(9, 8, 7, least=2, ideal=2))
    assert [len(row.players) for row in plan.rows] == [2, 1]
    assert [row.shortfall for row in plan.rows] == [0, 1]
    lower = replace(
        _one_section(9, 8, 7),
        chairs=(
            Chairs("top", "Top", "flute", 1, 0, 2, 3),
            Chairs("low", "Low", "flute", 2, 2, 2, 3),
        ),
    )
    assert seat(lower).seated == {"s0": "top", "s1": "low", "s2": "low"}


def test_surplus_players_are_seated_up_to_the_most() -> None:
    plan = seat(_one_section(*range(8)))
    assert sorted(len(row.players) for row in plan.rows) == [3, 3]
    assert {one for one, where in plan.seated.items() if where is None} == {"s0", "s1"}
    honour = replace(_one_section(*range(8)), costs=Costs(unseated=0))
    assert [len(row.players) for row in seat(honour).rows] == [2, 2]


def test_equal_scores_are_decided_by_the_tie_columns_then_by_the_lot() -> None:
    tied = _one_section(5, 5, 5, 5, 5, ideal=2, most=2)
    order = sorted((one.student for one in tied.candidates), key=lambda one: lot("l", one))
    assert list(seat(tied).row("top").players) == order[:2]
    preferred = replace(
        tied,
        candidates=tuple(
            replace(one, wishes=tuple(replace(wish, tie=(float(at == 4),)) for wish in one.wishes))
            for at, one in enumerate(tied.candidates)
        ),
    )
    assert seat(preferred).row("top").players[0] == "s4"


def test_a_score_exactly_on_the_minimum_counts() -> None:
    problem = replace(
        _one_section(),
        candidates=(
            Candidate("on", (Wish("top", 70.0, minimum=70.0),)),
            Candidate("noise", (Wish("top", 70.0 - 1e-13, minimum=70.0),)),
            Candidate("below", (Wish("top", 69.99, minimum=70.0),)),
        ),
    )
    assert seat(problem).seated == {"on": "top", "noise": "top", "below": None}


def test_no_score_is_no_zero() -> None:
    problem = replace(_one_section(), candidates=(Candidate("s", (Wish("top", None),)),))
    plan = seat(problem)
    assert plan.seated == {"s": None}
    assert plan.proven  # a student who cannot be seated costs nothing


def test_empty_things() -> None:
    assert seat(Problem((), ())).seats == {}
    plan = seat(_one_section())
    assert [(row.players, row.size, row.open) for row in plan.rows] == [((), 2, 2)] * 2
    one = seat(_one_section(5))
    assert one.seated == {"s0": "top"}


def test_a_pin_takes_a_chair_and_its_envy_is_found() -> None:
    problem = replace(_one_section(9, 8, 7, 1), pins=(Pin("s3", "top", "section leader"),))
    plan = seat(problem)
    assert plan.seated == {"s0": "top", "s1": "low", "s2": "low", "s3": "top"}
    assert plan.seats["s3"].pinned
    assert {(one.student, one.instead) for one in justified_envy(problem, plan.seated)} == {
        ("s1", "s3"),
        ("s2", "s3"),
    }
    out = seat(replace(problem, pins=(Pin("s0", None, "moves away"),)))
    assert out.seated["s0"] is None
    assert not justified_envy(replace(problem, candidates=problem.candidates[1:]), out.seated)


@pytest.mark.parametrize(
    ("pins", "says"),
    [
        ([Pin("nobody", "top")], "student nobody is pinned but not among the students"),
        ([Pin("s0", "none")], 'student s0 is pinned to "none", which has no chairs'),
        ([Pin("s0", "top"), Pin("s0", "low")], "the pin of student s0 stands twice"),
        ([Pin(f"s{at}", "top") for at in range(4)], "4 students are pinned to flute in Top, which"),
    ],
)
def test_impossible_pins_are_one_sentence(pins: list[Pin], says: str) -> None:
    with pytest.raises(SeatingError) as raised:
        seat(replace(_one_section(1, 2, 3, 4), pins=tuple(pins)))
    assert says in str(raised.value)


def test_impossible_problems_are_one_sentence() -> None:
    problem = _one_section(1, 2)
    chairs = problem.chairs
    for broken, says in [
        (replace(problem, candidates=problem.candidates * 2), "student s0 stands twice"),
        (replace(problem, chairs=chairs[:1]), 's0 wishes for "low", which has no chairs'),
        (replace(problem, chairs=(replace(chairs[0], least=9), chairs[1])), "must not fall"),
        (
            replace(problem, candidates=(Candidate("s", (Wish("top", float("nan")),)),)),
            "the score of student s is not a number",
        ),
    ]:
        with pytest.raises(SeatingError, match=says):
            seat(broken)
    with pytest.raises(SeatingError, match="9 chairs for flute in Top do not fit"):
        seat(problem, sizes={"top": 9, "low": 1})


def test_of_equal_plans_the_one_that_students_like_better() -> None:
    """One player, two sections that want one each: the player's own first wish decides."""
    chairs = (Chairs("a", "E", "tuba", 1, 0, 1, 1), Chairs("b", "E", "euphonium", 1, 0, 1, 1))
    for first, second in (("a", "b"), ("b", "a")):
        wishes = (Wish(first, 5.0), Wish(second, 5.0))
        assert seat(Problem(chairs, (Candidate("s", wishes),))).where("s") == first


def test_when_the_proof_is_given_up_the_plan_is_fair_and_tells_the_gap(band: Band) -> None:
    hard = next(
        problem
        for problem in (band(seed, 150) for seed in range(20))
        if not seat(problem, exact=False).proven
    )
    plan = seat(hard, seconds=0.0)
    assert plan.cost > plan.bound
    assert not plan.proven
    assert not justified_envy(hard, plan.seated)
    assert not faults(hard, plan.seated, plan.sizes)
    assert plan.bound <= seat(hard).cost <= plan.cost


def test_all_scores_equal(shuffled: Callable[[Problem, int], Problem]) -> None:
    problem = _one_section(*[7.0] * 6)
    plan = seat(problem)
    assert seat(shuffled(problem, 1)).seats == plan.seats
    assert not justified_envy(problem, plan.seated)
    order = sorted((one.student for one in problem.candidates), key=lambda one: lot("l", one))
    assert [*plan.row("top").players, *plan.row("low").players] == order
    assert seat(replace(problem, lot="another word")).seats != plan.seats


@pytest.mark.parametrize("seed", range(6))
def test_what_a_place_counts_orders_in_place_of_the_score(band: Band, seed: int) -> None:
    """A problem with the places of other scores is seated like the one that has those scores."""
    other = band(seed)
    drawn = random.Random(seed)
    places = list(range(1, 1 + len(other.candidates)))
    drawn.shuffle(places)
    no_minimum = replace(
        other,
        candidates=tuple(
            replace(one, wishes=tuple(replace(wish, minimum=None) for wish in one.wishes))
            for one in other.candidates
        ),
    )
    placed = replace(
        no_minimum,
        candidates=tuple(
            replace(
                one,
                wishes=tuple(
                    replace(wish, score=drawn.gauss(75, 8), counts=wish.score, place=place)
                    for wish in one.wishes
                ),
            )
            for one, place in zip(no_minimum.candidates, places, strict=True)
        ),
    )
    plan = seat(placed)
    assert plan.seated == seat(no_minimum).seated
    assert justified_envy(placed, plan.seated) == []
    own = replace(
        placed,
        candidates=tuple(
            replace(one, wishes=tuple(replace(w, counts=None, place=None) for w in one.wishes))
            for one in placed.candidates
        ),
    )
    assert justified_envy(own, plan.seated)  # by their own scores some would be passed over
