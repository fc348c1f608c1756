"""Links between panels, proven before listening starts; a missing one is made or explained."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from fairhearing.core.errors import JudgingError
from fairhearing.core.judging import linking
from fairhearing.core.judging.panel_plan import Judge, Permitted, Take, listed


def linked_panels(
    takes: Sequence[Take], judges: Sequence[Judge], permitted: Permitted, hears: Permitted
) -> tuple[Permitted, tuple[str, ...]]:
    """Return the plan with every instrument's takes linked, and notes on unlinked instruments.

    Where an instrument falls into parts, the listening that links two of them at the smallest
    load is added.

    Raises
    ------
    JudgingError
        If nobody may hear takes of both sides; names the judges.
    """
    hears = hears.copy()
    while True:
        take, judge = np.nonzero(hears)
        linked = linking.parts(
            take.astype(np.int64), judge.astype(np.int64), len(takes), len(judges)
        )
        inside: dict[str, set[int]] = {}
        for at, part in zip(takes, linked.of_student, strict=True):
            inside.setdefault(at.instrument, set()).add(int(part))
        split = [instrument for instrument, found in inside.items() if len(found) > 1]
        if not split:
            return hears, _notes({name: next(iter(found)) for name, found in inside.items()})
        hears[_bridge(takes, judges, permitted & ~hears, linked, split[0])] = True


def _notes(part: dict[str, int]) -> tuple[str, ...]:
    groups: dict[int, list[str]] = {}
    for instrument, number in part.items():
        groups.setdefault(number, []).append(instrument)
    if len(groups) == 1:
        return ()
    names = "; ".join(listed(group) for _, group in sorted(groups.items()))
    return (
        f"No judge links these instruments, so scores compare inside each group only: {names}.",
    )


def _bridge(
    takes: Sequence[Take],
    judges: Sequence[Judge],
    possible: Permitted,
    linked: linking.Parts,
    instrument: str,
) -> tuple[int, int]:
    """Return the take and judge that link two parts of an instrument at the smallest load."""
    inside = np.flatnonzero([take.instrument == instrument for take in takes])
    home = int(np.min(linked.of_student[inside]))
    room = np.array([np.inf if judge.most is None else judge.most for judge in judges])
    options = possible[inside] & (linked.load < room)[None, :]
    options &= (linked.of_student[inside] == home)[:, None] != (linked.of_judge == home)[None, :]
    found = np.argwhere(options)
    if not len(found):
        of = f" of {instrument}" if instrument else ""
        apart = "; ".join(
            listed([j.name for j, at in zip(judges, linked.of_judge, strict=True) if at == part])
            for part in sorted(set(linked.of_student[inside].tolist()))
        )
        raise JudgingError(
            f"the panels{of} cannot be linked: nobody may hear students of both sides ({apart}); "
            "let one judge without ties to either side hear both"
        )
    best = min(found.tolist(), key=lambda pair: (int(linked.load[pair[1]]), *pair))
    return int(inside[best[0]]), int(best[1])
