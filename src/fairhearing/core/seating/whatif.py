"""What would happen if one student stood elsewhere in the order: followed move by move.

From a stable plan, one student is taken out and proposes again with a better standing; whoever is
refused proposes on, until nobody is. Nobody later gains by making the student worse off, so where
the student then sits is where a complete re-run with the same chairs seats them, or worse: a
promise made from here is kept (deferred acceptance gives every student their best stable seat).
"""

from __future__ import annotations

from bisect import bisect_left, insort
from collections.abc import Callable

from fairhearing.core.seating.market import OrderKey, order_key
from fairhearing.core.seating.plan import SeatPlan
from fairhearing.core.seating.problem import Candidate, Wish, lot

Entry = tuple[OrderKey, str]


class WhatIf:
    """A plan to ask questions of; the plan itself never changes.

    Parameters
    ----------
    plan : SeatPlan
    """

    def __init__(self, plan: SeatPlan) -> None:
        self.plan = plan
        pinned = {pin.student for pin in plan.problem.pins}
        self.candidates = {
            one.student: one for one in plan.problem.candidates if one.student not in pinned
        }
        self._lots = {student: lot(plan.problem.lot, student) for student in self.candidates}
        self.held: dict[str, list[Entry]] = {}
        self.free: dict[str, int] = {}
        for row in plan.rows:
            own = [one for one in row.players if one in self.candidates]
            self.held[row.chairs.id] = sorted(
                self._entry(one, plan.wish(one, row.chairs.id)) for one in own
            )
            self.free[row.chairs.id] = row.size - len(row.players)

    def _entry(self, student: str, wish: Wish | None) -> Entry:
        if wish is None:
            raise ValueError(f"{student} sits where no wish led")
        return order_key(wish, self._lots[student]), student

    def last(self, chairs: str) -> str | None:
        """Return who came in last at some chairs; None where nobody sits (but by hand)."""
        held = self.held[chairs]
        return held[-1][1] if held else None

    def would_sit(self, student: str, change: Callable[[Wish], Wish]) -> str | None:
        """Return chairs that the student would have at least, with each wish changed so."""
        candidate = self.candidates[student]
        changed = Candidate(student, tuple(change(wish) for wish in candidate.wishes))
        held = _Overlay(self.held)
        free = _Free(self.free)
        mine = self.plan.where(student)
        if mine is not None:
            old = next(entry for entry in self.held[mine] if entry[1] == student)
            held.edit(mine).remove(old)
            free[mine] = free[mine] + 1
        wishes = {student: changed}
        following: dict[str, int] = {student: 0}
        sits: str | None = None
        proposing: str | None = student
        while proposing is not None:
            own = wishes.get(proposing) or self.candidates[proposing]
            refused: str | None = None
            for at in range(following[proposing], len(own.wishes)):
                wish = own.wishes[at]
                if not wish.possible:
                    continue
                following[proposing] = at + 1
                line = held.look(wish.chairs)
                entry = self._entry(proposing, wish)
                if free[wish.chairs] > 0:
                    free[wish.chairs] -= 1
                elif line and entry < line[-1]:
                    refused = held.edit(wish.chairs).pop()[1]
                else:
                    continue
                insort(held.edit(wish.chairs), entry)
                if proposing == student:
                    sits = wish.chairs
                break
            if refused == student:
                sits = None
            elif refused is not None and refused not in following:
                following[refused] = self._after(refused)
            proposing = refused
        return sits

    def _after(self, student: str) -> int:
        """Return the wish that follows the chairs where the student sits in the plan."""
        mine = self.plan.where(student)
        wishes = self.candidates[student].wishes
        return next(at for at, wish in enumerate(wishes, start=1) if wish.chairs == mine)

    def standing(self, student: str, chairs: str) -> int:
        """Return how many of those who sit there come before the student, pinned ones aside."""
        wish = self.plan.wish(student, chairs)
        if wish is None:
            return len(self.held[chairs])
        return bisect_left(self.held[chairs], self._entry(student, wish))


class _Overlay:
    """Lists that are copied when they are first changed."""

    def __init__(self, base: dict[str, list[Entry]]) -> None:
        self._base = base
        self._own: dict[str, list[Entry]] = {}

    def look(self, key: str) -> list[Entry]:
        return self._own.get(key, self._base[key])

    def edit(self, key: str) -> list[Entry]:
        if key not in self._own:
            self._own[key] = list(self._base[key])
        return self._own[key]


class _Free(dict[str, int]):
    """Numbers that fall back on a base; only what is changed is stored."""

    def __init__(self, base: dict[str, int]) -> None:
        super().__init__()
        self._base = base

    def __missing__(self, key: str) -> int:
        return self._base[key]
