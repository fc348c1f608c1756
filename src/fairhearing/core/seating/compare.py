"""Two plans beside each other: who sits elsewhere, and for whom that is better."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from fairhearing.core.seating.plan import SeatPlan
from fairhearing.core.seating.problem import Problem, name_of

Way = Literal["up", "down", "aside", "joins", "leaves"]


@dataclass(frozen=True, slots=True)
class Move:
    """A student who sits elsewhere.

    Attributes
    ----------
    student : str
    before, after : str or None
        Ids of chairs; None is no seat.
    way : {"up", "down", "aside", "joins", "leaves"}
        By the student's own list; "joins" and "leaves" are students in one plan only; "aside" is
        somebody moved by hand to or from chairs that are not on their list.
    says : str
    """

    student: str
    before: str | None
    after: str | None
    way: Way
    says: str


@dataclass(frozen=True, slots=True)
class Comparison:
    """What differs between two plans.

    Attributes
    ----------
    moves : tuple of Move
    fills : dict of str to (int, int)
        Players before and after, of chairs where these differ.
    cost : (float, float)
        Charges of both.
    """

    moves: tuple[Move, ...]
    fills: dict[str, tuple[int, int]]
    cost: tuple[float, float]

    def count(self, way: Way) -> int:
        """Return how many students move that way."""
        return sum(move.way == way for move in self.moves)

    @property
    def says(self) -> str:
        """One sentence."""
        if not self.moves:
            return "Everybody sits where they sat."
        return (
            f"{len(self.moves)} sit elsewhere: {self.count('up')} better, {self.count('down')} "
            f"worse by their own list, {self.count('joins')} new, {self.count('leaves')} gone."
        )


def compare(before: SeatPlan, after: SeatPlan) -> Comparison:
    """Return what differs between two plans, which may come from different problems."""
    fills = {}
    old = {row.chairs.id: len(row.players) for row in before.rows}
    new = {row.chairs.id: len(row.players) for row in after.rows}
    for chairs in sorted(old.keys() | new.keys()):
        if old.get(chairs, 0) != new.get(chairs, 0):
            fills[chairs] = old.get(chairs, 0), new.get(chairs, 0)
    return Comparison(moves(before.seated, after), fills, (before.cost, after.cost))


def moves(before: Mapping[str, str | None], after: SeatPlan) -> tuple[Move, ...]:
    """Return who sits elsewhere in `after`, by audition number; `before` is student to chairs."""
    now = after.seated
    found = []
    for student in sorted(before.keys() | now.keys()):
        was, is_ = before.get(student), now.get(student)
        if student not in now:
            if was is not None:
                found.append(_move(after.problem, student, was, None, "leaves"))
        elif student not in before:
            found.append(_move(after.problem, student, None, is_, "joins"))
        elif was != is_:
            found.append(_move(after.problem, student, was, is_, _way(after, student, was, is_)))
    return tuple(found)


def _way(plan: SeatPlan, student: str, was: str | None, is_: str | None) -> Way:
    wished = [
        wish.chairs
        for one in plan.problem.candidates
        if one.student == student
        for wish in one.wishes
    ]
    places = [len(wished) if one is None else _place(wished, one) for one in (was, is_)]
    if None in places:
        return "aside"
    return "up" if (places[1] or 0) < (places[0] or 0) else "down"


def _place(wished: list[str], chairs: str) -> int | None:
    return wished.index(chairs) if chairs in wished else None


def _move(problem: Problem, student: str, was: str | None, is_: str | None, way: Way) -> Move:
    names = {one.id: name_of(one) for one in problem.chairs}
    old = "no seat" if was is None else names.get(was, was)
    new = "no seat" if is_ is None else names.get(is_, is_)
    says = {
        "up": f"{student} moves up: {old} to {new}.",
        "down": f"{student} moves down: {old} to {new}.",
        "aside": f"{student} moves: {old} to {new}.",
        "joins": f"{student} is new: {new}.",
        "leaves": f"{student} has left: {old}.",
    }[way]
    return Move(student, was, is_, way, says)
