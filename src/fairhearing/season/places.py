"""The announced places of a scores table, and what they count beside other instruments.

``fairhearing score --rules`` may rank by other things than the fair score. Within an instrument
the seating follows these places. Several instruments may want the same chairs (percussion, players
who switch); their places do not compare, their scores do. Each place therefore stands for the
score at that point of its instrument's list: the first place for the highest score, and so on. So
scores decide how many of each instrument come before whom, and places decide who they are; taking
each student's own score instead could run in a circle.

An instrument whose places give the same order as its scores is left to the scores.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from fairhearing.core.seating import Problem, Wish, lot
from fairhearing.season.scores import Score, Scores

_DECIMALS = 9
_TIE = 0.01  # scores are shown in hundredths: a place that moves no score further broke a tie


@dataclass(frozen=True, slots=True)
class Counted:
    """What one audition counts by its place.

    Attributes
    ----------
    place : int
        As announced.
    score : float
        What the place stands for beside other instruments.
    ties_only : bool
        Whether the places of this instrument move no score by more than a hundredth; the standard
        errors then still speak of this order.
    """

    place: int
    score: float
    ties_only: bool


Places = Mapping[tuple[str, str], Counted]


def counted_places(scores: Scores, ties: Iterable[str], word: str) -> Places:
    """Return what places count, by (audition number, instrument id).

    Only instruments are in it whose places order the students otherwise than scores would.

    Parameters
    ----------
    scores : Scores
    ties : iterable of str
        The columns that break ties, as in :meth:`Scores.column`.
    word : str
        From which the last lot is drawn.
    """
    columns = tuple(ties)
    by_instrument: dict[str, list[tuple[str, Score, float, int]]] = defaultdict(list)
    for (student, instrument), one in scores.of.items():
        if one.score is not None and one.place is not None:
            entry = student, one, round(one.score, _DECIMALS), one.place
            by_instrument[instrument].append(entry)

    def broken(student: str, score: Score) -> tuple[tuple[float, ...], str]:
        parts = (score.parts.get(column) for column in columns)
        return tuple(float("inf") if part is None else -part for part in parts), lot(word, student)

    found: dict[tuple[str, str], Counted] = {}
    for instrument, listed in by_instrument.items():
        by_score = sorted(listed, key=lambda one: (-one[2], broken(one[0], one[1])))
        by_place = sorted(listed, key=lambda one: (one[3], broken(one[0], one[1])))
        if by_place != by_score:
            found.update(_instrument(instrument, [(s, own, at) for s, _, own, at in by_place]))
    return found


def _instrument(
    instrument: str, listed: list[tuple[str, float, int]]
) -> dict[tuple[str, str], Counted]:
    """Hand the scores out again by place; who shares a place shares their mean."""
    line = sorted((own for _, own, _ in listed), reverse=True)
    shared: dict[int, list[float]] = defaultdict(list)
    for (_, _, place), score in zip(listed, line, strict=True):
        shared[place].append(score)
    stands_for = {
        place: min(max(sum(some) / len(some), some[-1]), some[0]) for place, some in shared.items()
    }
    ties_only = all(abs(stands_for[place] - own) <= _TIE for _, own, place in listed)
    return {
        (student, instrument): Counted(place, stands_for[place], ties_only)
        for student, _, place in listed
    }


def place_notes(problem: Problem, places: Places, names: Mapping[str, str]) -> list[str]:
    """Return what a person should know where places and scores differ.

    Parameters
    ----------
    problem : Problem
    places : mapping
        From :func:`counted_places`.
    names : mapping of str to str
        Instruments as people read them, by id.
    """
    if not places:
        return []
    placed = dict.fromkeys(instrument for _, instrument in places)
    notes = [
        "Places from the scores table, not scores, order the students of: "
        + _listed(sorted(names[one] for one in placed))
        + "."
    ]
    bare = {instrument for (_, instrument), one in places.items() if not one.ties_only}
    if bare:
        notes.append(
            "How sure these places are is not told, because the standard errors are those of the "
            f"scores: {_listed(sorted(names[one] for one in bare))}."
        )
    return notes + _shared(problem, names)


def _shared(problem: Problem, names: Mapping[str, str]) -> list[str]:
    """Return a note for all chairs where a place stands beside other instruments."""
    meeting: dict[tuple[str, int], list[tuple[str, Wish]]] = defaultdict(list)
    for candidate in problem.candidates:
        for wish in candidate.wishes:
            if wish.possible:
                meeting[wish.chairs, wish.group].append((candidate.student, wish))
    where: dict[str, None] = {}
    other: dict[str, None] = {}
    shown = {one.id: f"{one.instrument} in {one.ensemble}" for one in problem.chairs}
    for (chairs, _), wishes in meeting.items():
        if len({wish.audition for _, wish in wishes}) < 2:
            continue
        for student, wish in wishes:
            if wish.counts is not None and wish.score is not None:
                where[shown[chairs]] = None
                if abs(wish.counts - wish.score) > _TIE:
                    own = f"{names[wish.audition]}, {wish.score:.2f} counts {wish.counts:.2f}"
                    other[f"{student} ({own})"] = None
    if not where:
        return []
    note = (
        f"Several instruments want {_listed(sorted(where))}: there each place counts with the "
        "score at that point of its instrument's list, so that scores decide how many of each "
        "instrument sit and places decide who"
    )
    return [
        f"{note}. Not counted with their own score: {_listed(sorted(other))}."
        if other
        else f"{note}."
    ]


def _listed(words: list[str], most: int = 20) -> str:
    more = f" and {len(words) - most} more" if len(words) > most else ""
    return ", ".join(words[:most]) + more
