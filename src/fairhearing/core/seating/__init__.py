"""Who sits where, and why: fair seat plans under an instrumentation.

Start at :func:`seat`. Conventions stand in :mod:`fairhearing.core.seating.problem`.
"""

from fairhearing.core.seating.check import Envy, faults, justified_envy
from fairhearing.core.seating.close import Close, close_pairs, verdict_of
from fairhearing.core.seating.explain import Change, Explanation, explain, explain_all
from fairhearing.core.seating.plan import Row, Seat, SeatPlan
from fairhearing.core.seating.problem import (
    Candidate,
    Chairs,
    Costs,
    Part,
    Pin,
    Problem,
    Wish,
    lot,
    name_of,
    with_score,
    with_wishes,
)
from fairhearing.core.seating.proposals import deferred_acceptance, propose
from fairhearing.core.seating.robust import Standing, redraw
from fairhearing.core.seating.solve import seat

__all__ = [
    "Candidate",
    "Chairs",
    "Change",
    "Close",
    "Costs",
    "Envy",
    "Explanation",
    "Part",
    "Pin",
    "Problem",
    "Row",
    "Seat",
    "SeatPlan",
    "Standing",
    "Wish",
    "close_pairs",
    "deferred_acceptance",
    "explain",
    "explain_all",
    "faults",
    "justified_envy",
    "lot",
    "name_of",
    "propose",
    "redraw",
    "seat",
    "verdict_of",
    "with_score",
    "with_wishes",
]
