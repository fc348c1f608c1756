"""A stable plan whose sizes change one chair at a time: only those who must move do.

Taking a chair away starts a chain of refusals, adding one a chain of vacancies (Blum, Roth,
Rothblum 1997, J. Econ. Theory 76:362–411). The plan stays stable, but it need not be the one that
students like best; the filling of the chairs is the same in every stable plan (Roth 1986,
Econometrica 54:425–427), so the charge is exact, and that is all this is used for.
"""

from __future__ import annotations

from bisect import bisect_left, insort
from collections.abc import Sequence

from fairhearing.core.seating.proposals import NOWHERE, deferred_acceptance

_RUN = 12


class Stable:
    """Students on chairs under sizes that may change; every change can be taken back.

    Parameters
    ----------
    wants, ranks : sequence of sequence of int
        As in :func:`~fairhearing.core.seating.proposals.deferred_acceptance`.
    order : sequence of sequence of int
        Per chairs the students by rank.
    charge : sequence of sequence of int
        Per chairs the charge for 0, 1, 2… players.
    unseated : int
        The charge for a student without a seat.
    sizes : sequence of int
    """

    def __init__(
        self,
        wants: Sequence[Sequence[int]],
        ranks: Sequence[Sequence[int]],
        order: Sequence[Sequence[int]],
        *,
        charge: Sequence[Sequence[int]],
        unseated: int,
        sizes: Sequence[int],
    ) -> None:
        self.wants, self.ranks, self.order = wants, ranks, order
        self.charge, self.unseated = charge, unseated
        self.sizes = list(sizes)
        self.place = [{at: i for i, at in enumerate(wanted)} for wanted in wants]
        self.held: list[list[int]] = [[] for _ in sizes]  # ranks, sorted
        self.at = [len(wanted) for wanted in wants]  # index of the wish; len(wants) is no seat
        for student, where in enumerate(deferred_acceptance(wants, ranks, sizes)):
            if where != NOWHERE:
                self.at[student] = self.place[student][where]
                self.held[where].append(ranks[student][self.at[student]])
        for line in self.held:
            line.sort()
        self.cost = sum(charge[at][len(line)] for at, line in enumerate(self.held))
        self.cost += unseated * sum(i == len(w) for i, w in zip(self.at, wants, strict=True))
        self._moves: list[tuple[int, int]] = []  # student, where before
        self._resized: list[tuple[int, int]] = []  # chairs, size before

    @property
    def fills(self) -> list[int]:
        """How many sit on each chairs."""
        return [len(line) for line in self.held]

    @property
    def moved(self) -> bool:
        """Whether anybody moved since the last :meth:`keep`."""
        return bool(self._moves)

    def keep(self) -> None:
        """Keep what was changed."""
        self._moves.clear()
        self._resized.clear()

    def take_back(self) -> None:
        """Undo everything since the last :meth:`keep`."""
        for student, before in reversed(self._moves):
            self._put(student, before)
        for at, size in reversed(self._resized):
            self.sizes[at] = size
        self.keep()

    def shrink(self, at: int) -> None:
        """Take away the last player's chair, and every chair that stands open."""
        self._resized.append((at, self.sizes[at]))
        self.sizes[at] = len(self.held[at]) - 1
        student = self.order[at][self.held[at][-1]]
        self._move(student, len(self.wants[student]))
        self._propose(student, self.place[student][at] + 1)

    def grow(self, at: int) -> None:
        """Add a chair; the first who would rather sit there comes, and so on."""
        self._resized.append((at, self.sizes[at]))
        self.sizes[at] += 1
        vacant: int | None = at
        while vacant is not None:
            claimant = self._claimant(vacant)
            if claimant is None:
                return
            before = self.at[claimant]
            self._move(claimant, self.place[claimant][vacant])
            wanted = self.wants[claimant]
            vacant = wanted[before] if before < len(wanted) else None

    def _claimant(self, at: int) -> int | None:
        line, order = self.held[at], self.order[at]
        for rank in range(line[-1] + 1 if line else 0, len(order)):
            student = order[rank]
            if self.at[student] > self.place[student][at]:
                return student
        return None

    def _propose(self, student: int, start: int) -> None:
        while True:
            wanted, ranks = self.wants[student], self.ranks[student]
            for wish in range(start, len(wanted)):
                at = wanted[wish]
                line = self.held[at]
                if len(line) < self.sizes[at]:
                    self._move(student, wish)
                    return
                if line and ranks[wish] < line[-1]:
                    refused = self.order[at][line[-1]]
                    self._move(refused, len(self.wants[refused]))
                    self._move(student, wish)
                    start = self.place[refused][at] + 1
                    student = refused
                    break
            else:
                return

    def _move(self, student: int, wish: int) -> None:
        self._moves.append((student, self.at[student]))
        self._put(student, wish)

    def _put(self, student: int, wish: int) -> None:
        wanted, ranks = self.wants[student], self.ranks[student]
        before = self.at[student]
        if before < len(wanted):
            at = wanted[before]
            line = self.held[at]
            self.cost -= self.charge[at][len(line)]
            del line[bisect_left(line, ranks[before])]
            self.cost += self.charge[at][len(line)]
        else:
            self.cost -= self.unseated
        self.at[student] = wish
        if wish < len(wanted):
            at = wanted[wish]
            line = self.held[at]
            self.cost -= self.charge[at][len(line)]
            insort(line, ranks[wish])
            self.cost += self.charge[at][len(line)]
        else:
            self.cost += self.unseated


def bettered(plan: Stable, most: Sequence[int], at_least: int, changes: int = 60_000) -> None:
    """Change sizes as long as it pays: one section up or down, then one against another.

    A change goes on chair by chair up to `_RUN` chairs before it is given up, because often only
    the third player who is moved on is the one that another section misses.

    Parameters
    ----------
    plan : Stable
        Changed in place.
    most : sequence of int
        Chairs at most.
    at_least : int
        The charge at which nothing more can be gained.
    changes : int
        How many chairs are moved in all; the end of the search, the same on every computer.
    """
    chairs = range(len(most))
    neighbours: dict[int, set[int]] = {at: set() for at in chairs}
    for wanted in plan.wants:
        for at in wanted:
            neighbours[at].update(wanted)
    singles = [*((None, at) for at in chairs), *((at, None) for at in chairs)]
    pairs = [(a, b) for a in chairs for b in sorted(neighbours[a]) if a != b]
    left = [changes]
    while plan.cost > at_least and left[0] > 0:
        before = plan.cost
        for take, give in singles:
            while _try(plan, most, take, give, left):
                pass
        if plan.cost == before:
            for take, give in pairs:
                while _try(plan, most, take, give, left):
                    pass
        if plan.cost == before:
            return


def gladdened(plan: Stable, most: Sequence[int]) -> None:
    """Add chairs as long as somebody sits better by it and the charge does not rise.

    An added chair never makes a student worse off, so of plans with the same charge this one is
    liked at least as much by everybody.
    """
    going = True
    while going:
        going = False
        for at in range(len(most)):
            while len(plan.held[at]) == plan.sizes[at] < most[at]:
                before = plan.cost
                plan.grow(at)
                if not plan.moved or plan.cost > before:
                    plan.take_back()
                    break
                plan.keep()
                going = True


def _try(
    plan: Stable, most: Sequence[int], take: int | None, give: int | None, left: list[int]
) -> bool:
    """Take chairs here, give chairs there, up to `_RUN` times; keep it as soon as it pays."""
    before = plan.cost
    for _ in range(_RUN):
        if left[0] <= 0:
            break
        left[0] -= 1
        if take is not None:
            if not plan.held[take]:
                break
            plan.shrink(take)
        if give is not None:
            if plan.sizes[give] >= most[give] or len(plan.held[give]) < plan.sizes[give]:
                break
            plan.grow(give)
        if plan.cost < before:
            plan.keep()
            return True
    plan.take_back()
    return False
