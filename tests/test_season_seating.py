"""From season, roster and scores to wishes: who may want what, and with which score."""

from __future__ import annotations

from pathlib import Path

import pytest

from fairhearing.core.errors import TableError
from fairhearing.core.seating import Problem, SeatPlan, Wish, seat
from fairhearing.season import (
    SeatingTask,
    read_pins,
    read_roster,
    read_scores,
    read_season,
    seating_task,
)

SEASON = """
name = "Spring"
[[school]]
id = "elm"
[[school]]
id = "oak"
[[section]]
kind = "etude"
[seating]
tie_break = ["etude", "courage"]
[[ensemble]]
name = "Top"
minimum_score = 50
[ensemble.seats]
clarinet = 1
bass-clarinet = 1
euphonium = 1
tuba = { ideal = 1, accepts = ["tuba", "euphonium"] }
percussion = 2
[[ensemble]]
name = "Elm Band"
schools = ["elm"]
[ensemble.seats]
clarinet = { ideal = 1, most = 5 }
bass-clarinet = 1
[[ensemble]]
name = "Oak Band"
schools = ["oak"]
[ensemble.seats]
clarinet = { ideal = 1, most = 5 }
percussion = 3
"""
HEAD = "student,name,school,instrument,second_instrument,would_switch,prefers,declines\n"


def _task(
    folder: Path, roster: str, scores: str, *, season: str = SEASON, pins: str = ""
) -> SeatingTask:
    (folder / "season.toml").write_text(season)
    (folder / "roster.csv").write_text(HEAD + roster)
    (folder / "scores.csv").write_text(scores)
    read = read_season(folder)
    students = read_roster(folder, read)
    table = read_scores(folder / "scores.csv", students, read.seating.tie_break)
    held = ()
    if pins:
        (folder / "pins.csv").write_text(pins)
        held = read_pins(folder / "pins.csv", read, students)
    return seating_task(read, students, table, held)


def _wishes(problem: Problem, student: str) -> dict[str, Wish]:
    return {
        wish.chairs: wish
        for one in problem.candidates
        if one.student == student
        for wish in one.wishes
    }


def test_the_higher_ensemble_comes_first_unless_the_student_says_otherwise(tmp_path: Path) -> None:
    task = _task(
        tmp_path,
        "1,A,elm,clarinet,bass clarinet,,,\n2,B,elm,clarinet,bass clarinet,,instrument,\n"
        "3,C,elm,clarinet,,bass clarinet,,Top\n",
        "student,instrument,fair_score\n1,clarinet,80\n1,bass clarinet,60\n2,clarinet,70\n3,,75\n",
    )
    assert list(_wishes(task.problem, "1")) == [
        "top/clarinet",
        "top/bass-clarinet",
        "elm-band/clarinet",
        "elm-band/bass-clarinet",
    ]
    assert list(_wishes(task.problem, "2")) == [
        "top/clarinet",
        "elm-band/clarinet",
        "top/bass-clarinet",
        "elm-band/bass-clarinet",
    ]
    declines = _wishes(task.problem, "3")
    assert list(declines) == ["elm-band/clarinet", "elm-band/bass-clarinet"]
    assert (declines["elm-band/bass-clarinet"].group, declines["elm-band/bass-clarinet"].score) == (
        1,
        75,
    )
    assert declines["elm-band/bass-clarinet"].audition == "clarinet"
    assert _wishes(task.problem, "2")["top/bass-clarinet"].score is None
    assert any("2 (bass clarinet)" in note for note in task.notes)
    assert any("no column etude, courage" in note for note in task.notes)


def test_a_student_who_wins_both_seats_takes_the_dearer(tmp_path: Path) -> None:
    task = _task(
        tmp_path,
        "1,A,elm,clarinet,bass clarinet,,,\n2,B,elm,bass clarinet,,,,\n",
        "student,instrument,fair_score\n1,clarinet,90\n1,bass clarinet,95\n2,,60\n",
    )
    plan = seat(task.problem)
    assert plan.where("1") == "top/clarinet"
    assert plan.where("2") == "top/bass-clarinet"


def _players(plan: SeatPlan, chairs: str) -> tuple[str, ...]:
    return plan.row(chairs).players


def test_switchers_come_after_or_mixed_as_the_rules_say(tmp_path: Path) -> None:
    roster = (
        "1,A,elm,bass clarinet,,,,\n2,B,elm,clarinet,,bass clarinet,instrument,\n"
        "3,C,elm,clarinet,,,,\n"
    )
    scores = "student,fair_score\n1,60\n2,80\n3,90\n"
    plan = seat(_task(tmp_path, roster, scores).problem)
    assert _players(plan, "top/bass-clarinet") == ("1",)
    mixed = SEASON.replace("[seating]", '[seating]\nswitchers = "by score"')
    roster = roster.replace("bass clarinet,instrument", "bass clarinet,")
    plan = seat(_task(tmp_path, roster, scores, season=mixed).problem)
    assert _players(plan, "top/bass-clarinet") == ("2",)


def test_families_of_one_section_and_both_clefs(tmp_path: Path) -> None:
    task = _task(
        tmp_path,
        "1,A,oak,snare,marimba,,,\n2,B,oak,timpani,,,,\n3,C,elm,euphonium tc,,,,\n"
        "4,D,elm,baritone,,,,\n5,E,elm,baritone,,,,\n",
        "student,instrument,fair_score\n1,snare,60\n1,marimba,70\n2,,65\n3,,80\n4,,85\n5,,70\n",
    )
    both = _wishes(task.problem, "1")
    assert list(both) == ["top/percussion", "oak-band/percussion"]
    assert both["top/percussion"].score == 70  # the better of the two auditions counts
    plan = seat(task.problem)
    assert _players(plan, "top/percussion") == ("1", "2")
    assert _players(plan, "top/euphonium") == ("4",)
    assert _players(plan, "top/tuba") == ("5",)  # the bass clef is accepted there too
    assert plan.where("3") is None  # the treble clef only on the chairs of its own instrument


def test_schools_keep_to_their_own(tmp_path: Path) -> None:
    task = _task(
        tmp_path,
        "1,A,elm,clarinet,,,,\n2,B,oak,clarinet,,,,\n3,C,oak,clarinet,,,,\n4,D,oak,flute,,,,\n",
        "student,fair_score\n1,40\n2,45\n3,90\n4,99\n",
    )
    plan = seat(task.problem)
    assert plan.seated == {
        "1": "elm-band/clarinet",
        "2": "oak-band/clarinet",
        "3": "top/clarinet",
        "4": None,
    }
    assert any("No ensemble has chairs for what they play: 4." in note for note in task.notes)


def test_ties_follow_the_columns(tmp_path: Path) -> None:
    task = _task(
        tmp_path,
        "1,A,elm,clarinet,,,,\n2,B,elm,clarinet,,,,\n3,C,elm,clarinet,,,,\n",
        "student,fair_score,Etude,courage\n1,80,7,1\n2,80,7,3\n3,80,,9\n",
    )
    assert _wishes(task.problem, "3")["top/clarinet"].tie == (float("-inf"), 9.0)
    assert _players(seat(task.problem), "top/clarinet") == ("2",)


@pytest.mark.parametrize(
    ("pins", "says"),
    [
        ("student,ensemble\n9,Top\n", "line 2: number 9 is not on the roster"),
        ("student,ensemble\n1,Top\n1,Top\n", "line 3: number 1 is pinned twice"),
        ("student,ensemble\n1,Tip\n", 'line 2: "Tip" is not an ensemble; there are Top, Elm Band'),
        ("student,ensemble,instrument\n1,Oak Band,tuba\n", "Oak Band has no chairs for tuba"),
        ("student,ensemble,instrument\n1,Top,tubba\n", '"tubba" is not an instrument'),
    ],
)
def test_wrong_pins_are_one_sentence(tmp_path: Path, pins: str, says: str) -> None:
    with pytest.raises(TableError) as raised:
        _task(tmp_path, "1,A,elm,clarinet,,,,\n", "student,fair_score\n1,80\n", pins=pins)
    assert says in str(raised.value)


def test_a_season_without_ensembles(tmp_path: Path) -> None:
    bare = SEASON.split("[seating]", maxsplit=1)[0]
    with pytest.raises(TableError, match=r"no \[\[ensemble\]\] says where there is to sit"):
        _task(tmp_path, "1,A,elm,clarinet,,,,\n", "student,fair_score\n1,80\n", season=bare)
