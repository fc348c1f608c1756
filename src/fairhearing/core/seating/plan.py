"""The seat plan: who sits where, on which part and chair, and who is next in line."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field

from fairhearing.core.seating.market import OrderKey, order_key
from fairhearing.core.seating.parts import assign_parts
from fairhearing.core.seating.problem import Chairs, Problem, Wish, lot


@dataclass(frozen=True, slots=True)
class Seat:
    """Where one student sits.

    Attributes
    ----------
    student : str
    chairs : str
        Id of the chairs.
    part : str or None
    chair : int
        Within the part (or the section, where it has no parts), 1 the first.
    rank : int
        Within the section, 1 the first.
    doubles : tuple of str
        What the student plays besides in this ensemble.
    pinned : bool
        Whether the director seated the student by hand.
    """

    student: str
    chairs: str
    part: str | None
    chair: int
    rank: int
    doubles: tuple[str, ...] = ()
    pinned: bool = False


@dataclass(frozen=True, slots=True)
class Row:
    """The players of one instrument in one ensemble.

    Attributes
    ----------
    chairs : Chairs
    size : int
        Chairs set out; those above the number of players stay open.
    players : tuple of str
        The first the best; students pinned without a score come last.
    alternates : tuple of str
        Who would rather sit here than where they sit, in order.
    """

    chairs: Chairs
    size: int
    players: tuple[str, ...]
    alternates: tuple[str, ...]

    @property
    def shortfall(self) -> int:
        """Players missing to the least."""
        return max(0, self.chairs.least - len(self.players))

    @property
    def open(self) -> int:
        """Chairs set out and empty."""
        return max(0, self.size - len(self.players))


@dataclass(frozen=True, slots=True)
class SeatPlan:
    """A complete plan.

    Attributes
    ----------
    problem : Problem
        What it was made from.
    sizes : dict of str to int
        Chairs set out, by id of the chairs, pinned students included.
    seats : dict of str to Seat
        By student; who is not in it has no seat.
    rows : tuple of Row
        By level, in the order of the problem within an ensemble.
    cost, bound : float
        What the plan is charged and the least any fair plan can be charged, in units of
        :class:`~fairhearing.core.seating.problem.Costs`; equal when the plan is proven best.
    """

    problem: Problem
    sizes: dict[str, int]
    seats: dict[str, Seat]
    rows: tuple[Row, ...]
    cost: float
    bound: float
    _wishes: dict[str, dict[str, Wish]] = field(default_factory=dict, repr=False, compare=False)

    @property
    def proven(self) -> bool:
        """Whether no fair plan is charged less."""
        return self.cost <= self.bound

    def where(self, student: str) -> str | None:
        """Return the id of the chairs of a student, or None."""
        seat = self.seats.get(student)
        return seat.chairs if seat else None

    @property
    def seated(self) -> dict[str, str | None]:
        """Every student with the id of the chairs, or None."""
        return {one.student: self.where(one.student) for one in self.problem.candidates}

    def row(self, chairs: str) -> Row:
        """Return the players on some chairs."""
        return next(row for row in self.rows if row.chairs.id == chairs)

    def wish(self, student: str, chairs: str) -> Wish | None:
        """Return what a student brings to some chairs, or None where they did not ask."""
        return self._wishes.get(student, {}).get(chairs)


def make_plan(
    problem: Problem,
    seated: Mapping[str, str | None],
    sizes: Mapping[str, int],
    cost: float,
    bound: float,
) -> SeatPlan:
    """Return the plan for a seating: parts, chairs and alternates in the order of each section."""
    wishes = {one.student: {wish.chairs: wish for wish in one.wishes} for one in problem.candidates}
    keys = _keys(problem, wishes)
    players: dict[str, list[str]] = defaultdict(list)
    for student, where in seated.items():
        if where is not None:
            players[where].append(student)
    alternates = _alternates(problem, seated)
    pinned = {pin.student for pin in problem.pins}
    plays = {one.student: one.plays for one in problem.candidates}
    rows: list[Row] = []
    seats: dict[str, Seat] = {}
    for chairs in sorted(problem.chairs, key=lambda one: (one.level, one.ensemble)):
        line = sorted(players[chairs.id], key=lambda one: keys[one, chairs.id])
        waiting = sorted(alternates[chairs.id], key=lambda one: keys[one, chairs.id])
        rows.append(Row(chairs, sizes[chairs.id], tuple(line), tuple(waiting)))
        doubles = _doubles(chairs, line, plays)
        placed = assign_parts(chairs.parts, len(line), chairs.fill)
        for rank, (student, (part, chair)) in enumerate(zip(line, placed, strict=True), start=1):
            seats[student] = Seat(
                student, chairs.id, part, chair, rank, doubles.get(student, ()), student in pinned
            )
    return SeatPlan(problem, dict(sizes), seats, tuple(rows), cost, bound, wishes)


def _keys(
    problem: Problem, wishes: Mapping[str, Mapping[str, Wish]]
) -> dict[tuple[str, str], OrderKey]:
    """Return the order of every student at every chairs; pinned without a wish come last."""
    keys: dict[tuple[str, str], OrderKey] = {}
    for student, own in wishes.items():
        drawn = lot(problem.lot, student)
        for chairs, wish in own.items():
            keys[student, chairs] = order_key(wish, drawn)
    last = Wish("", None, group=1 << 30)
    for pin in problem.pins:
        if pin.chairs is not None:
            keys.setdefault(
                (pin.student, pin.chairs), order_key(last, lot(problem.lot, pin.student))
            )
    return keys


def _alternates(problem: Problem, seated: Mapping[str, str | None]) -> dict[str, list[str]]:
    """Return, per chairs, who may sit there and likes it better than where they sit."""
    waiting: dict[str, list[str]] = defaultdict(list)
    pinned = {pin.student for pin in problem.pins}
    for candidate in problem.candidates:
        if candidate.student in pinned:
            continue
        for wish in candidate.wishes:
            if wish.chairs == seated.get(candidate.student):
                break
            if wish.possible:
                waiting[wish.chairs].append(candidate.student)
    return waiting


def _doubles(
    chairs: Chairs, line: list[str], plays: Mapping[str, tuple[str, ...]]
) -> dict[str, tuple[str, ...]]:
    """Return who doubles: the first in the section who plays the instrument, else the first."""
    doubling: dict[str, tuple[str, ...]] = {}
    for instrument in chairs.doubles if line else ():
        player = next((one for one in line if instrument in plays[one]), line[0])
        doubling[player] = (*doubling.get(player, ()), instrument)
    return doubling
