"""Too close to call: how likely another equally qualified panel would order two students so.

Words below .80 "too close to call", below .95 "probably", else "clear". Only where it decides
something: at the line of a section, and between its first and second chair.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from fairhearing.core.seating.plan import Row, SeatPlan

Verdict = Literal["too close to call", "probably", "clear"]
PairError = Callable[[str, str, str], float | None]
TOO_CLOSE = 0.80
CLEAR = 0.95


@dataclass(frozen=True, slots=True)
class Close:
    """Two students on either side of a line, or on the first two chairs.

    Attributes
    ----------
    chairs : str
    upper, lower : str
        Who comes first and who after, by the order of the section.
    where : {"line", "first chair"}
    probability : float
        That `upper` really is the better one.
    verdict : str
    """

    chairs: str
    upper: str
    lower: str
    where: Literal["line", "first chair"]
    probability: float
    verdict: Verdict

    @property
    def says(self) -> str:
        """One sentence."""
        who = f"{self.upper} before {self.lower}"
        if self.verdict == "too close to call":
            odds = round(1 / max(1 - self.probability, 1e-9))
            return (
                f"{who} is too close to call: another equally qualified panel would reverse it "
                f"about 1 time in {odds}."
            )
        return f"{who} is {'probable' if self.verdict == 'probably' else 'clear'}."


def verdict_of(probability: float) -> Verdict:
    """Return the word for a probability of at least one half."""
    if probability < TOO_CLOSE:
        return "too close to call"
    return "probably" if probability < CLEAR else "clear"


def close_pairs(plan: SeatPlan, pair_error: PairError | None = None) -> tuple[Close, ...]:
    """Return every pair that decides a line or a first chair, with its probability.

    Pairs whose scores have no standard error, or where not the score decides (a pin, a student
    who switches), are left out: nothing is known about them.

    Parameters
    ----------
    plan : SeatPlan
    pair_error : callable, optional
        ``(chairs, student, student) -> standard error of the difference`` where the judging knows
        it; otherwise the two errors are taken as independent, which is a little too wide for
        students who share judges.
    """
    found = []
    for row in plan.rows:
        unpinned = [one for one in row.players if not plan.seats[one].pinned]
        if unpinned and row.alternates:
            ends = unpinned[-1], row.alternates[0]
            found.append(_pair(plan, row, ends, "line", pair_error))
        if len(unpinned) > 1 and unpinned[0] == row.players[0]:
            ends = unpinned[0], unpinned[1]
            found.append(_pair(plan, row, ends, "first chair", pair_error))
    return tuple(pair for pair in found if pair is not None)


def _pair(
    plan: SeatPlan,
    row: Row,
    pair: tuple[str, str],
    where: Literal["line", "first chair"],
    pair_error: PairError | None,
) -> Close | None:
    upper, lower = pair
    a, b = plan.wish(upper, row.chairs.id), plan.wish(lower, row.chairs.id)
    if a is None or b is None or a.score is None or b.score is None or a.group != b.group:
        return None
    error = pair_error(row.chairs.id, upper, lower) if pair_error else None
    if error is None:
        if a.se is None or b.se is None:
            return None
        error = math.hypot(a.se, b.se)
    gap = (a.score if a.counts is None else a.counts) - (b.score if b.counts is None else b.counts)
    if error > 0:
        probability = 0.5 * (1 + math.erf(gap / error / math.sqrt(2)))
    else:
        probability = 0.5 if gap == 0 else 1.0
    return Close(row.chairs.id, upper, lower, where, probability, verdict_of(probability))
