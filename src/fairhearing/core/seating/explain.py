"""Why a student sits here, and what would have had to be different: true when run again.

Every change named here has been followed through (:mod:`fairhearing.core.seating.whatif`) with the
same number of chairs; applied to the problem and seated again with the plan's ``sizes`` it gives
the student those chairs or better ones. A still higher score never leads to worse ones (deferred
acceptance respects improvements: Balinski & Sönmez 1999, J. Econ. Theory 84:73–94). Where announced
places order an instrument, no score is named that would win: the rules that place are not known.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal

from fairhearing.core.seating.plan import Row, Seat, SeatPlan
from fairhearing.core.seating.problem import Chairs, Wish, name_of
from fairhearing.core.seating.whatif import WhatIf

Kind = Literal["score", "eligibility", "eligibility and score", "audition", "chairs"]
STEP = 0.01  # scores are shown and named in steps of this


@dataclass(frozen=True, slots=True)
class Change:
    """One thing that would have given the student better chairs.

    Attributes
    ----------
    chairs : str
        The chairs it would have led to (or better ones).
    kind : str
        "score": a higher score on `audition`. "eligibility": the bar lifted. "audition": an own
        audition on the instrument, with that score, instead of the wish to switch.
        "chairs": so many more chairs.
    score : float or None
        The score to reach.
    audition : str
        The audition whose score is meant.
    more : int or None
        How many more chairs.
    says : str
        One sentence.
    """

    chairs: str
    kind: Kind
    says: str
    score: float | None = None
    audition: str = ""
    more: int | None = None

    def apply(self, wish: Wish) -> Wish:
        """Return the wish as it would be after this change (chairs added are not in a wish)."""
        if self.kind == "chairs":
            return wish
        if self.kind.startswith("eligibility") and wish.chairs == self.chairs:
            wish = replace(wish, barred="")
        if self.kind == "audition" and wish.chairs == self.chairs:
            wish = replace(wish, group=0, score=self.score, audition=f"{wish.chairs} (own)")
        elif self.score is not None and wish.audition == self.audition and self.kind != "audition":
            wish = replace(wish, score=self.score)
        return wish


@dataclass(frozen=True, slots=True)
class Explanation:
    """One student's place in words.

    Attributes
    ----------
    student : str
    seat : Seat or None
    why : str
        Why here.
    changes : tuple of Change
        What would have led to better chairs, the smallest step first; empty for a student who
        has their first wish.
    family : str
        The same for the student's own family: no other student's number or score in it. The
        score that would have been enough tells where a line was; whether lines are told is the
        director's choice.
    """

    student: str
    seat: Seat | None
    why: str
    changes: tuple[Change, ...]
    family: str = ""

    @property
    def says(self) -> str:
        """The reason and the nearest change in one text."""
        return " ".join([self.why, *(change.says for change in self.changes[:1])])


def explain(plan: SeatPlan, student: str, whatif: WhatIf | None = None) -> Explanation:
    """Return why one student sits where they sit.

    Raises
    ------
    KeyError
        If there is no such student.
    """
    return _Words(plan, whatif or WhatIf(plan)).explain(student)


def explain_all(plan: SeatPlan) -> dict[str, Explanation]:
    """Return every student's explanation, by audition number."""
    words = _Words(plan, WhatIf(plan))
    return {one.student: words.explain(one.student) for one in plan.problem.candidates}


def above(score: float) -> float:
    """Return the next score in whole steps that is really above."""
    step = math.floor(round(score / STEP, 6)) + 1
    return round(step * STEP, 2)


def number(value: float) -> str:
    """Return a score as it is shown: two decimals."""
    return f"{value:.2f}"


class _Words:
    def __init__(self, plan: SeatPlan, whatif: WhatIf) -> None:
        self.plan, self.whatif = plan, whatif
        self.chairs: dict[str, Chairs] = {one.id: one for one in plan.problem.chairs}
        self.rows: dict[str, Row] = {row.chairs.id: row for row in plan.rows}
        self.queue = {
            (row.chairs.id, student): place
            for row in plan.rows
            for place, student in enumerate(row.alternates, start=1)
        }
        self.pins = {pin.student: pin for pin in plan.problem.pins}
        self.wishes = {one.student: one.wishes for one in plan.problem.candidates}

    def explain(self, student: str) -> Explanation:
        wishes = self.wishes[student]
        seat = self.plan.seats.get(student)
        if student in self.pins:
            reason = self.pins[student].reason or "no reason was written down"
            why = "Seated" if seat else "Kept out"
            return Explanation(
                student, seat, f"{why} by the director: {reason}.", (), f"{why} by the director."
            )
        better: list[Wish] = []
        for wish in wishes:
            if seat is not None and wish.chairs == seat.chairs:
                break
            better.append(wish)
        changes = [change for wish in better for change in self._changes(student, wish)]
        nearest = _nearest_first(changes)
        family = self._why(student, seat, better, family=True)
        if nearest and nearest[0].kind != "chairs":
            family = f"{family} {nearest[0].says}"
        why = self._why(student, seat, better)
        return Explanation(student, seat, why, nearest, family)

    # -- why here

    def _why(
        self, student: str, seat: Seat | None, better: list[Wish], *, family: bool = False
    ) -> str:
        if seat is None:
            if not better:
                return "No seat: no chairs are set out for this audition."
            return f"No seat: {self._refusals(better, family)}."
        chairs = self.chairs[seat.chairs]
        row = self.rows[seat.chairs]
        wish = self.plan.wish(student, seat.chairs)
        score = "" if wish is None or wish.score is None else f" with {number(wish.score)}"
        switched = " as a player who would switch" if wish is not None and wish.group else ""
        here = f"Place {seat.rank} of {len(row.players)} on {name_of(chairs)}{score}{switched}"
        if not better:
            return f"{here}; the first wish."
        return f"{here}. Liked better: {self._refusals(better, family)}."

    def _refusals(self, better: list[Wish], family: bool) -> str:
        return "; ".join(
            f"{name_of(self.chairs[wish.chairs])} ({self._reason(wish, family)})" for wish in better
        )

    def _reason(self, wish: Wish, family: bool) -> str:
        if wish.barred:
            return wish.barred
        if wish.score is None:
            return "not scored"
        if not wish.possible:
            return f"{number(wish.score)} is below the minimum of {wish.minimum:g}"
        last = self.whatif.last(wish.chairs)
        other = self.plan.wish(last, wish.chairs) if last else None
        if other is None or other.score is None:
            return "no chair was left"
        if family:
            return _lost_to(wish, other, "the last chair went to another student", "a higher score")
        higher = number(other.score)
        if other.counts is not None and other.audition != wish.audition:
            higher = f"a place that counts {number(other.counts)}"
        return _lost_to(wish, other, f"the last chair went to {last}", higher)

    # -- what would have had to be different

    def _changes(self, student: str, wish: Wish) -> list[Change]:
        """Return what leads to these chairs: the smallest score or right, then more chairs."""
        name = name_of(self.chairs[wish.chairs])
        found = [self._own_change(student, wish, name), self._more_chairs(student, wish, name)]
        return [change for change in found if change is not None]

    def _own_change(self, student: str, wish: Wish, name: str) -> Change | None:
        if not self.whatif.held[wish.chairs] and self.whatif.free[wish.chairs] <= 0:
            return None  # no chairs set out, or all of them given by hand
        if wish.barred:
            text = f"Without the bar ({wish.barred}): {name}."
            lifted = Change(wish.chairs, "eligibility", text)
            if wish.score is not None and self._reaches(student, wish, lifted.apply):
                return lifted
        return self._score(student, wish, name)

    def _reaches(self, student: str, wish: Wish, change: Callable[[Wish], Wish]) -> bool:
        sits = self.whatif.would_sit(student, change)
        for each in self.wishes[student]:
            if each.chairs == sits:
                return True
            if each.chairs == wish.chairs:
                return False
        return False

    def _score(self, student: str, wish: Wish, name: str) -> Change | None:
        """Return the least score that leads there, trying those who sit there from the last up."""
        floor = -math.inf if wish.minimum is None else wish.minimum
        held = [(key[0], -key[1]) for key, _ in self.whatif.held[wish.chairs]]
        kind: Kind = "eligibility and score" if wish.barred else "score"
        if any(group < wish.group for group, _ in held):
            kind = "audition"
        targets = sorted({max(above(score), floor) for _, score in held})
        if self.whatif.free[wish.chairs] > 0:
            targets.insert(0, max(floor, 0.0))
        if self._by_place(wish, kind):
            if kind == "audition" or wish.score is None or wish.score >= floor:
                return None
            targets = [floor]  # the place stays as it is; only the minimum is reached
        for score in targets:
            if kind == "score" and wish.score is not None and score < wish.score:
                continue
            change = self._score_change(wish, name, kind, score)
            if self._reaches(student, wish, change.apply):
                return change
        return None

    def _by_place(self, wish: Wish, kind: Kind) -> bool:
        """Return whether places, not scores, say who of those sitting there comes before."""
        if wish.place is not None:
            return True
        held = (self.plan.wish(one, wish.chairs) for _, one in self.whatif.held[wish.chairs])
        return any(
            one is not None
            and one.place is not None
            and (kind == "audition" or one.audition == wish.audition)
            for one in held
        )

    def _score_change(self, wish: Wish, name: str, kind: Kind, score: float) -> Change:
        more = ""
        if wish.score is not None and kind == "score":
            more = f" ({number(score - wish.score)} more than now)"
        text = {
            "score": f"With the same chairs, {number(score)} or more{more} leads to {name}.",
            "eligibility and score": (
                f"Without the bar ({wish.barred}) and with {number(score)} or more: {name}."
            ),
            "audition": (
                f"With an own audition on that instrument and {number(score)} or more: {name}."
            ),
        }[kind]
        return Change(wish.chairs, kind, text, score, wish.audition)

    def _more_chairs(self, student: str, wish: Wish, name: str) -> Change | None:
        place = self.queue.get((wish.chairs, student))
        if place is None:
            return None
        chairs = "One more chair" if place == 1 else f"{place} more chairs"
        text = f"{chairs} in {name} would do it too (alternate {place})."
        return Change(wish.chairs, "chairs", text, more=place)


def _nearest_first(changes: list[Change]) -> tuple[Change, ...]:
    """Return the changes, the smallest step first, without scores that are more than is needed.

    `changes` come with the dearest chairs first; a score that would already lead to dearer chairs
    is no way to these.
    """
    kept: list[Change] = []
    for change in changes:
        dominated = any(
            one.kind == change.kind == "score"
            and one.audition == change.audition
            and (one.score or 0.0) <= (change.score or 0.0)
            for one in kept
        )
        if not dominated:
            kept.append(change)
    order = ("score", "eligibility", "eligibility and score", "audition", "chairs")
    return tuple(
        sorted(kept, key=lambda one: (order.index(one.kind), one.score or 0.0, one.more or 0))
    )


def _lost_to(wish: Wish, other: Wish, last: str, higher: str) -> str:
    if other.group < wish.group:
        return f"{last}, who auditioned on it"
    if other.place is not None and wish.place is not None and other.audition == wish.audition:
        if other.place == wish.place:
            return f"{last} with the same place, by the rule for ties"
        return f"{last} with a better place"
    if other.counts is not None or wish.counts is not None:
        same = (
            wish.counts is None or wish.score is None or number(wish.counts) == number(wish.score)
        )
        mine = "" if same or wish.counts is None else f"; this place counts {number(wish.counts)}"
        return f"{last} with {higher}{mine}"
    if other.score == wish.score:
        return f"{last} with the same score, by the rule for ties"
    return f"{last} with {higher}"
