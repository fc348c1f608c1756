"""Who sits where, and why: fair seat plans under an instrumentation.

Start at :func:`seat`. Conventions stand in :mod:`fairhearing.core.seating.problem`.
"""

from fairhearing.core.seating.changes import Revision, entered, revise, revise_seats, withdrawn
from fairhearing.core.seating.check import Envy, faults, justified_envy
from fairhearing.core.seating.close import Close, close_pairs, verdict_of
from fairhearing.core.seating.compare import Comparison, Move, compare, moves
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
    "Comparison",
    "Costs",
    "Envy",
    "Explanation",
    "Move",
    "Part",
    "Pin",
    "Problem",
    "Revision",
    "Row",
    "Seat",
    "SeatPlan",
    "Standing",
    "Wish",
    "close_pairs",
    "compare",
    "deferred_acceptance",
    "entered",
    "explain",
    "explain_all",
    "faults",
    "justified_envy",
    "lot",
    "moves",
    "name_of",
    "propose",
    "redraw",
    "revise",
    "revise_seats",
    "seat",
    "verdict_of",
    "with_score",
    "with_wishes",
    "withdrawn",
]
