"""The reference: seating by hand, as it is often done.

From the top ensemble down, section by section, the best who are still free are taken up to the
ideal number; what is left over goes wherever there is room. No knowledge of this project's solver.
"""

from __future__ import annotations

from fairhearing.core.seating import Problem


def by_hand(problem: Problem) -> dict[str, str | None]:
    """Return student to chairs."""
    seated: dict[str, str | None] = {one.student: None for one in problem.candidates}
    wanting: dict[str, list[tuple[float, str]]] = {one.id: [] for one in problem.chairs}
    for one in problem.candidates:
        for wish in one.wishes:
            if wish.possible and wish.score is not None:
                wanting[wish.chairs].append((-wish.score, one.student))
    fill = dict.fromkeys(wanting, 0)
    for upto in ("ideal", "most"):
        for chairs in sorted(problem.chairs, key=lambda one: (one.level, one.id)):
            for _, student in sorted(wanting[chairs.id]):
                if seated[student] is None and fill[chairs.id] < getattr(chairs, upto):
                    seated[student] = chairs.id
                    fill[chairs.id] += 1
    return seated
