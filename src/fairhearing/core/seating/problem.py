"""What there is to seat: chairs, students, and what each student would like best.

Conventions: a score is larger for the better audition; chairs are known by an id
("wind-ensemble/clarinet"), students by audition number; level 1 is the highest ensemble. The
order in which anything is listed never changes the result.
"""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from typing import Literal

from fairhearing.core.errors import SeatingError

SCORE_DECIMALS = 9  # scores closer than this are one score: rounding noise decides nothing


@dataclass(frozen=True, slots=True)
class Part:
    """A part within a section; ``chairs`` None shares the players out evenly."""

    name: str
    chairs: int | None = None


@dataclass(frozen=True, slots=True)
class Chairs:
    """The chairs of one instrument in one ensemble.

    Attributes
    ----------
    id : str
    ensemble, instrument : str
        As they are shown to people.
    level : int
        1 is the highest ensemble.
    least, ideal, most : int
        The plan. `least` is wanted, not enforced: a hard minimum can make a fair plan impossible
        (Ehlers, Hafalir, Yenmez, Yildirim, J. Econ. Theory 153 (2014) 648–683).
    parts : tuple of Part
    fill : {"top", "leaders"}
        The best on the first part, or first a leader on every part.
    doubles : tuple of str
        Instruments that one player of these chairs plays besides.
    """

    id: str
    ensemble: str
    instrument: str
    level: int
    least: int
    ideal: int
    most: int
    parts: tuple[Part, ...] = ()
    fill: Literal["top", "leaders"] = "top"
    doubles: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Wish:
    """One pair of chairs and score in a student's list.

    Attributes
    ----------
    chairs : str
        Id of the chairs.
    score : float or None
        The fair score that counts there; None is "not scored", and then the wish cannot come true.
    group : int
        0 auditioned on the instrument; 1 would switch to it. A lower group comes first.
    tie : tuple of float
        What decides between equal scores, larger first, in the order announced.
    se : float or None
        Standard error of the score, in its unit.
    barred : str
        Why the student may not sit there, as a person would say it; empty if they may.
    minimum : float or None
        The score below which nobody sits there.
    audition : str
        The instrument that was auditioned on; wishes with the same one share their score.
    place : int or None
        The announced place on that instrument, where places and not scores order its students.
    counts : float or None
        The score that this place stands for, which orders in place of `score`; `place` decides
        where two are equal.
    """

    chairs: str
    score: float | None
    group: int = 0
    tie: tuple[float, ...] = ()
    se: float | None = None
    barred: str = ""
    minimum: float | None = None
    audition: str = ""
    place: int | None = None
    counts: float | None = None

    @property
    def order_score(self) -> float | None:
        """The score that orders: what the place stands for, or the student's own."""
        return self.score if self.counts is None else self.counts

    @property
    def possible(self) -> bool:
        """Whether the student may sit there at all."""
        return (
            not self.barred
            and self.score is not None
            and (self.minimum is None or round(self.score, SCORE_DECIMALS) >= self.minimum)
        )


@dataclass(frozen=True, slots=True)
class Candidate:
    """A student with wishes, the dearest first; ``plays`` are instruments for doubling."""

    student: str
    wishes: tuple[Wish, ...]
    plays: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Pin:
    """A student whom the director seats by hand; ``chairs`` None keeps the student out."""

    student: str
    chairs: str | None
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Costs:
    """What a plan is charged for; the plan with the least sum is best.

    Attributes
    ----------
    short : int
        A chair below `least`.
    off : int
        A chair below or above `ideal`. In a higher ensemble it counts up to one hundredth more,
        so that of two equally good plans the one with the fuller upper ensemble is chosen.
    unseated : int
        A student who may sit somewhere and sits nowhere; 0 where not everyone need be seated.
    """

    short: int = 100
    off: int = 1
    unseated: int = 10


@dataclass(frozen=True, slots=True)
class Problem:
    """Everything that decides a seat plan.

    Attributes
    ----------
    chairs : tuple of Chairs
    candidates : tuple of Candidate
    pins : tuple of Pin
    costs : Costs
    lot : str
        The word from which the last lot is drawn (:func:`lot`); announced before.
    """

    chairs: tuple[Chairs, ...]
    candidates: tuple[Candidate, ...]
    pins: tuple[Pin, ...] = ()
    costs: Costs = Costs()
    lot: str = ""


def lot(word: str, student: str) -> str:
    """Return the lot of a student: SHA-256 of the announced word and the number, in hexadecimal.

    Anybody can draw it again; the smaller one comes first. It favours no number, name or school.
    """
    return hashlib.sha256(f"{word}\n{student}".encode()).hexdigest()


def with_score(problem: Problem, student: str, audition: str, score: float | None) -> Problem:
    """Return the problem with another score for one audition of one student."""

    def changed(wish: Wish) -> Wish:
        return replace(wish, score=score) if wish.audition == audition else wish

    return with_wishes(problem, student, changed)


def with_wishes(problem: Problem, student: str, change: Callable[[Wish], Wish]) -> Problem:
    """Return the problem with every wish of one student changed."""
    return replace(
        problem,
        candidates=tuple(
            replace(one, wishes=tuple(change(wish) for wish in one.wishes))
            if one.student == student
            else one
            for one in problem.candidates
        ),
    )


def validate(problem: Problem) -> None:
    """Check that a problem makes sense.

    Raises
    ------
    SeatingError
        If a number or id stands twice, a wish or pin names nothing, a plan falls from least to
        most, or more students are pinned than there are chairs.
    """
    _once((one.id for one in problem.chairs), "the chairs")
    _once((one.student for one in problem.candidates), "student")
    _once((one.student for one in problem.pins), "the pin of student")
    known = {one.id: one for one in problem.chairs}
    for one in problem.chairs:
        if not 0 <= one.least <= one.ideal <= one.most:
            raise SeatingError(
                f"{name_of(one)}: least {one.least}, ideal {one.ideal}, most {one.most} "
                "must not fall from left to right"
            )
    for candidate in problem.candidates:
        wished = [wish.chairs for wish in candidate.wishes]
        if len(set(wished)) < len(wished):
            raise SeatingError(f"student {candidate.student} wishes for the same chairs twice")
        for wish in candidate.wishes:
            if wish.chairs not in known:
                raise SeatingError(
                    f'student {candidate.student} wishes for "{wish.chairs}", which has no chairs'
                )
            if wish.score is not None and wish.score != wish.score:
                raise SeatingError(f"the score of student {candidate.student} is not a number")
    _check_pins(problem, known)


def name_of(chairs: Chairs) -> str:
    """Return "clarinet in Wind Ensemble"."""
    return f"{chairs.instrument} in {chairs.ensemble}"


def _once(names: Iterable[str], what: str) -> None:
    twice = [name for name, count in Counter(names).items() if count > 1]
    if twice:
        raise SeatingError(f"{what} {min(twice)} stands twice")


def _check_pins(problem: Problem, known: dict[str, Chairs]) -> None:
    students = {one.student for one in problem.candidates}
    for pin in problem.pins:
        if pin.student not in students:
            raise SeatingError(f"student {pin.student} is pinned but not among the students")
        if pin.chairs is not None and pin.chairs not in known:
            raise SeatingError(
                f'student {pin.student} is pinned to "{pin.chairs}", which has no chairs'
            )
    for chairs, count in Counter(pin.chairs for pin in problem.pins).items():
        if chairs is not None and count > known[chairs].most:
            raise SeatingError(
                f"{count} students are pinned to {name_of(known[chairs])}, "
                f"which has {known[chairs].most} chairs at most; take a pin away or add chairs"
            )
