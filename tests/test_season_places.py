"""Announced places order the seating; checked from the tables alone, apart from the solver."""

from __future__ import annotations

import random
from itertools import pairwise
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fairhearing.core.errors import TableError
from fairhearing.core.seating import (
    SeatPlan,
    close_pairs,
    explain_all,
    faults,
    justified_envy,
    redraw,
    seat,
    with_wishes,
)
from fairhearing.season import SeatingTask, read_roster, read_scores, read_season, seating_task

SEASON = """
name = "Invented"
[[section]]
kind = "etude"
[seating]
tie_break = ["etude"]
switchers = "by score"
[[ensemble]]
name = "Top"
[ensemble.seats]
clarinet = { ideal = 2, most = 3 }
bass-clarinet = 1
percussion = 3
[[ensemble]]
name = "Second"
[ensemble.seats]
clarinet = { ideal = 2, most = 2 }
bass-clarinet = 1
percussion = 2
"""
HEAD = "student,instrument,second_instrument,would_switch,name\n"
Line = tuple[str, str, str, float, int, int]  # student, instrument, switch, score, place, etude


def _task(
    folder: Path, lines: list[Line], *, places: bool = True, season: str = SEASON
) -> SeatingTask:
    (folder / "season.toml").write_text(season)
    rows = [f"{one[0]},{one[1]},,{one[2]},N {one[0]}" for one in lines]
    (folder / "roster.csv").write_text(HEAD + "\n".join(rows))
    heading = "student,fair_score,se,etude,instrument" + (",place" if places else "")
    rows = [
        f"{student},{score},1.5,{etude},{instrument}" + (f",{place}" if places else "")
        for student, instrument, _, score, place, etude in lines
    ]
    (folder / "scores.csv").write_text(heading + "\n" + "\n".join(rows))
    read = read_season(folder)
    roster = read_roster(folder, read)
    scores = read_scores(folder / "scores.csv", roster, read.seating.tie_break)
    return seating_task(read, roster, scores)


def _passed_over(plan: SeatPlan, lines: list[Line]) -> list[str]:
    """Return where a place does not hold, by the table: within chairs, and who envies whom."""
    place = {one[0]: one[4] for one in lines}
    played = {one[0]: one[1] for one in lines}
    wrong = []
    for row in plan.rows:
        for instrument in set(played.values()):
            line = [one for one in row.players if played[one] == instrument]
            wrong += [f"{a} {b}" for a, b in pairwise(line) if place[a] > place[b]]
    for one in plan.problem.candidates:
        mine = plan.where(one.student)
        for wish in one.wishes:
            if wish.chairs == mine:
                break
            wrong += [
                f"{one.student} {other}"
                for other in plan.row(wish.chairs).players
                if played[other] == played[one.student] and place[other] > place[one.student]
            ]
    return wrong


@st.composite
def tables(draw: st.DrawFn) -> list[Line]:
    lines: list[Line] = []
    for instrument, most in (("clarinet", 7), ("bass clarinet", 3), ("snare", 4), ("marimba", 4)):
        count = draw(st.integers(0, most))
        places = sorted(draw(st.lists(st.integers(1, 6), min_size=count, max_size=count)))
        for place in draw(st.permutations(places)):
            switch = "bass clarinet" if instrument == "clarinet" and draw(st.booleans()) else ""
            score = draw(st.integers(60, 68))
            etude = draw(st.integers(1, 3))
            lines.append((str(100 + len(lines)), instrument, switch, score, place, etude))
    return lines


def ids(plan: SeatPlan, student: str) -> int:
    """Return where a student stands in the problem."""
    return [one.student for one in plan.problem.candidates].index(student)


@settings(max_examples=150, deadline=None)
@given(tables().filter(bool), st.integers(0, 99))
def test_seated_in_the_order_of_places(lines: list[Line], shuffle: int) -> None:
    """Also on percussion chairs and among players who switch by score."""
    with TemporaryDirectory() as folder:
        task = _task(Path(folder), lines)
        mixed = list(lines)
        random.Random(shuffle).shuffle(mixed)
        again = _task(Path(folder), mixed)
    plan = seat(task.problem)
    assert _passed_over(plan, lines) == []
    assert justified_envy(task.problem, plan.seated) == []
    assert faults(task.problem, plan.seated, plan.sizes) == []
    assert seat(again.problem).seated == plan.seated
    for student, reason in explain_all(plan).items():
        liked = [wish.chairs for wish in plan.problem.candidates[ids(plan, student)].wishes]
        for change in reason.changes:
            if change.kind == "chairs":
                continue
            changed = seat(with_wishes(task.problem, student, change.apply), sizes=plan.sizes)
            where = changed.where(student)  # what was promised, or dearer
            assert where is not None
            assert liked.index(where) <= liked.index(change.chairs)


@settings(max_examples=60, deadline=None)
@given(tables().filter(bool))
def test_places_that_follow_the_scores_change_nothing(lines: list[Line]) -> None:
    ranked = [
        (*one[:4], 1 + sum(o[1] == one[1] and o[3] > one[3] for o in lines), one[5])
        for one in lines
    ]
    with TemporaryDirectory() as folder:
        assert _task(Path(folder), ranked) == _task(Path(folder), lines, places=False)


def test_a_ranking_against_the_scores(tmp_path: Path) -> None:
    """Four clarinets, announced in the reverse of their fair scores; worked by hand."""
    lines: list[Line] = [
        ("1", "clarinet", "", 90, 4, 1),
        ("2", "clarinet", "", 80, 3, 1),
        ("3", "clarinet", "", 70, 2, 1),
        ("4", "clarinet", "", 60, 1, 1),
    ]
    task = _task(tmp_path, lines)
    plan = seat(task.problem)
    assert plan.row("top/clarinet").players == ("4", "3")
    assert plan.row("second/clarinet").players == ("2", "1")
    assert _passed_over(seat(_task(tmp_path, lines, places=False).problem), lines)  # can fail
    reasons = explain_all(seat(task.problem))
    assert "the last chair went to 3 with a better place" in reasons["2"].why
    assert "another student with a better place" in reasons["2"].family
    assert [change.kind for change in reasons["1"].changes] == ["chairs"]
    assert "Places from the scores table, not scores, order the students of: B-flat clarinet." in (
        task.notes
    )
    assert close_pairs(plan) == ()  # nothing is known about how sure such a place is
    assert {one.share for one in redraw(plan, 5).values()} == {None}


def test_equal_places_fall_to_the_ties_of_the_season(tmp_path: Path) -> None:
    lines: list[Line] = [
        ("1", "clarinet", "", 90, 1, 1),
        ("2", "clarinet", "", 80, 1, 3),
        ("3", "clarinet", "", 70, 1, 2),
    ]
    plan = seat(_task(tmp_path, lines).problem)
    order = (*plan.row("top/clarinet").players, *plan.row("second/clarinet").players)
    assert order == ("2", "3", "1")
    assert "with the same place, by the rule for ties" in explain_all(plan)["1"].why


def test_places_that_only_break_ties_keep_their_probabilities(tmp_path: Path) -> None:
    lines: list[Line] = [
        ("1", "clarinet", "", 80, 2, 3),
        ("2", "clarinet", "", 80, 1, 1),
        ("3", "clarinet", "", 70, 3, 1),
    ]
    task = _task(tmp_path, lines)
    plan = seat(task.problem)
    assert plan.row("top/clarinet").players == ("2", "1")
    first = next(pair for pair in close_pairs(plan) if pair.where == "first chair")
    assert (first.upper, first.lower, first.probability) == ("2", "1", 0.5)
    assert not any("How sure" in note for note in task.notes)


def test_scores_decide_between_instruments_and_places_within(tmp_path: Path) -> None:
    """Snare 90 and 60 are placed the other way round; marimba 70 stays between them."""
    lines: list[Line] = [
        ("1", "snare", "", 90, 2, 1),
        ("2", "snare", "", 60, 1, 1),
        ("3", "marimba", "", 70, 1, 1),
    ]
    task = _task(tmp_path, lines)
    assert seat(task.problem).row("top/percussion").players == ("2", "3", "1")
    note = next(note for note in task.notes if note.startswith("Several instruments want"))
    assert "percussion in Second, percussion in Top" in note
    assert "1 (snare drum, 90.00 counts 60.00), 2 (snare drum, 60.00 counts 90.00)" in note


@settings(max_examples=60, deadline=None)
@given(tables().filter(bool))
def test_as_many_of_each_instrument_come_first_as_by_scores(lines: list[Line]) -> None:
    """On open percussion chairs, when no score stands twice, only who of them changes."""
    lines = [(*one[:3], one[3] + at / 100, *one[4:]) for at, one in enumerate(lines)]
    played = {one[0]: one[1] for one in lines}

    def instruments(places: bool) -> list[str]:
        ranks = [  # no shared places: a mean of scores may lie on either side of another's
            (
                *one[:4],
                1 + sum((o[1] == one[1]) and (o[4], o[0]) < (one[4], one[0]) for o in lines),
                one[5],
            )
            for one in lines
        ]
        season = SEASON.replace("percussion = 3", "percussion = { ideal = 9, most = 9 }")
        with TemporaryDirectory() as folder:
            task = _task(Path(folder), ranks, places=places, season=season)
        return [played[one] for one in seat(task.problem).row("top/percussion").players]

    assert instruments(places=True) == instruments(places=False)


@pytest.mark.parametrize(
    ("place", "says"),
    [
        ("", "scores.csv, line 2: number 1 has a score but no place; fill it in, or delete"),
        ("1.5", 'line 2: "1.5" under "place" must be a whole number'),
        ("0", 'line 2: 0 under "place" must'),
        ("first", 'line 2: "first" under "place" is not a number'),
    ],
)
def test_a_wrong_place_is_one_sentence(tmp_path: Path, place: str, says: str) -> None:
    (tmp_path / "season.toml").write_text(SEASON)
    (tmp_path / "roster.csv").write_text(HEAD + "1,clarinet,,,A\n2,clarinet,,,B\n")
    table = tmp_path / "scores.csv"
    table.write_text(f"student,fair_score,place\n1,80,{place}\n2,,\n")
    with pytest.raises(TableError) as raised:
        read_scores(table, read_roster(tmp_path, read_season(tmp_path)))
    assert says in str(raised.value)
