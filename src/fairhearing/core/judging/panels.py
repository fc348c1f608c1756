"""Who hears whom: panels with equal loads, no conflicts, and links between all judges.

Most constrained takes first, each to the permitted judges with the lowest load who have sat
together least; then loads are levelled along chains of judges until no chain helps, which is the
best possible (Harvey, Ladner, Lovász & Tamir 2006, J. of Algorithms 59:53–78). Before that a
maximum flow proves that it can be done (:mod:`.feasibility`), and afterwards the links between
the panels are proven (:mod:`.linking`), so that scores will be comparable *before* the first take
is heard.

A few *calibration takes* are heard by every judge first, in the same order; the rest comes in
each judge's own shuffled order, so that fatigue and a rising standard fall on different students
at different judges. Everything follows from `seed` and the names: the same input in any order
gives the same panels.
"""

from __future__ import annotations

import hashlib
import itertools
import random
from collections.abc import Sequence

import numpy as np

from fairhearing.core.errors import JudgingError
from fairhearing.core.judging.feasibility import Shortage, shortage
from fairhearing.core.judging.levelling import level_loads
from fairhearing.core.judging.marks import Indices, natural_key
from fairhearing.core.judging.panel_links import linked_panels
from fairhearing.core.judging.panel_plan import Judge, PanelPlan, Permitted, Take, listed

_CHOICE = 6
"""How many more judges than needed are looked at, to spread who sits with whom."""


def assign(
    takes: Sequence[Take],
    judges: Sequence[Judge],
    *,
    per_take: int = 3,
    calibration: int = 3,
    seed: str = "",
) -> PanelPlan:
    """Assign judges to takes.

    Parameters
    ----------
    takes, judges : sequence of Take, of Judge
        In any order.
    per_take : int, default 3
        Judges that hear each take.
    calibration : int, default 3
        Takes that everyone hears first; 0 for none.
    seed : str
        Any text; decides the shuffles.

    Raises
    ------
    JudgingError
        If a name stands twice, a take cannot get its judges (names the students), or the panels
        of an instrument cannot be linked.
    """
    takes = tuple(sorted(takes, key=lambda t: (natural_key(t.instrument), natural_key(t.student))))
    judges = tuple(sorted(judges, key=lambda j: natural_key(j.name)))
    _check(takes, judges, per_take, calibration)
    permitted = permitted_listenings(takes, judges)
    room = np.array([len(takes) if j.most is None else j.most for j in judges], dtype=np.int64)
    short = shortage(permitted, per_take, room)
    if short is not None:
        raise JudgingError(_shortage_says(short, takes, judges, per_take))
    common = _calibration(takes, permitted, room, min(calibration, len(takes)), seed)
    hears = np.zeros(permitted.shape, dtype=bool)
    hears[list(common)] = permitted[list(common)]
    _fill(hears, permitted, room, per_take, seed)
    level_loads(hears, permitted, room, fixed=common)
    hears, notes = linked_panels(takes, judges, permitted, hears)
    order = tuple(
        _listening_order(np.flatnonzero(hears[:, j]), common, seed, judge.name, takes)
        for j, judge in enumerate(judges)
    )
    return PanelPlan(takes, judges, hears, common, order, seed, notes)


def _check(takes: Sequence[Take], judges: Sequence[Judge], per_take: int, calibration: int) -> None:
    if not takes or not judges:
        raise JudgingError("a panel needs at least one take and one judge")
    if per_take < 1 or calibration < 0:
        raise JudgingError("each take needs at least one judge, and calibration takes 0 or more")
    if per_take > len(judges):
        raise JudgingError(
            f"each take should be heard by {per_take} judges, but there are only {len(judges)}; "
            "name more judges or ask for fewer each"
        )
    for what, names in (
        ("judge", [judge.name for judge in judges]),
        ("take of student", [f"{t.student} {t.instrument}".strip() for t in takes]),
    ):
        if len(set(names)) < len(names):
            twice = next(a for a, b in itertools.pairwise(names) if a == b)
            raise JudgingError(f"the {what} {twice} stands twice; keep one")


def permitted_listenings(takes: Sequence[Take], judges: Sequence[Judge]) -> Permitted:
    """Return whether each judge may hear each take, shape (T, J)."""
    kinds = {(t.instrument, t.school) for t in takes}
    where = {
        kind: np.array([j.may_hear(Take("", *kind)) for j in judges], dtype=bool) for kind in kinds
    }
    permitted = np.array([where[t.instrument, t.school] for t in takes], dtype=bool)
    rows: dict[str, list[int]] = {}
    for row, take in enumerate(takes):
        rows.setdefault(take.student, []).append(row)
    for column, judge in enumerate(judges):
        for student in judge.conflicts:
            permitted[rows.get(student, []), column] = False
    return permitted


def _shortage_says(
    short: Shortage, takes: Sequence[Take], judges: Sequence[Judge], per_take: int
) -> str:
    students = listed([takes[t].student for t in short.takes])
    names = listed([judges[j].name for j in short.judges]) if len(short.judges) else "nobody"
    if short.available < short.needed and all(
        len(short.takes) == 1 or judges[j].most is None for j in short.judges
    ):
        return (
            f"not enough judges may hear {students}: {per_take} are needed each, permitted are "
            f"{names}; name more judges, or ask for fewer"
        )
    return (
        f"{students} need {short.needed} listenings, but the judges who may hear them ({names}) "
        f"have room for {short.available}; raise a limit, name more judges, or ask for fewer"
    )


def random_from(seed: str, what: str) -> np.random.Generator:
    """Return random numbers that depend on the texts alone."""
    digest = hashlib.sha256(f"{seed}|{what}".encode()).digest()
    return np.random.default_rng(int.from_bytes(digest[:8], "big"))


def _calibration(
    takes: Sequence[Take], permitted: Permitted, room: Indices, wanted: int, seed: str
) -> tuple[int, ...]:
    """Choose takes that as many judges as possible may hear, of different instruments."""
    if wanted == 0:
        return ()
    draw = random_from(seed, "calibration").random(len(takes))
    open_judges = permitted & (room > wanted)[None, :]
    weights = open_judges.astype(np.float64)
    chosen: list[int] = []
    reached = np.zeros(permitted.shape[1], dtype=int)
    used: dict[str, int] = {}
    for _ in range(wanted):
        # Judges reached least count most, then instruments not used yet.
        worth = weights @ (1.0 / (1 + reached) ** 2)
        worth -= np.array([0.01 * used.get(t.instrument, 0) for t in takes])
        worth[chosen] = -np.inf
        best = int(np.lexsort((draw, -np.round(worth, 9)))[0])
        chosen.append(best)
        reached += open_judges[best]
        used[takes[best].instrument] = used.get(takes[best].instrument, 0) + 1
    return tuple(chosen)


def _fill(hears: Permitted, permitted: Permitted, room: Indices, per_take: int, seed: str) -> None:
    """Give every take its judges, the most constrained take first.

    Judges wait in queues by load; of the first few permitted ones, those who have sat together
    least are taken.
    """
    n_judges = hears.shape[1]
    draw = random.Random(int.from_bytes(hashlib.sha256(f"{seed}|panels".encode()).digest(), "big"))
    loads = [int(load) for load in hears.sum(axis=0)]
    limit = room.tolist()
    together = [[0] * n_judges for _ in range(n_judges)]
    queues: dict[int, list[int]] = {}
    for judge in draw.sample(range(n_judges), n_judges):
        queues.setdefault(loads[judge], []).append(judge)
    mixed = np.array([draw.random() for _ in range(len(hears))])
    for take in np.lexsort((mixed, permitted.sum(axis=1))):
        panel = [int(j) for j in np.flatnonzero(hears[take])]
        if len(panel) >= per_take:
            continue
        may = permitted[take].tolist()
        for judge in panel:
            may[judge] = False
        waiting = _waiting(queues, may, limit, per_take - len(panel) + _CHOICE)
        if len(waiting) < per_take - len(panel):
            # Everyone permitted is full: go over a limit here, levelling makes room again.
            waiting = _waiting(queues, may, [len(hears)] * n_judges, n_judges)
        while len(panel) < per_take:
            judge = min(
                waiting, key=lambda j: (loads[j], sum(together[j][other] for other in panel))
            )
            waiting.remove(judge)
            for other in panel:
                together[judge][other] += 1
                together[other][judge] += 1
            panel.append(judge)
            hears[take, judge] = True
            queues[loads[judge]].remove(judge)
            loads[judge] += 1
            queue = queues.setdefault(loads[judge], [])
            queue.insert(draw.randint(0, len(queue)), judge)


def _waiting(
    queues: dict[int, list[int]], may: list[bool], limit: list[int], wanted: int
) -> list[int]:
    """Return the first permitted judges with room, the lowest load first."""
    found: list[int] = []
    for load in sorted(queues):
        for judge in queues[load]:
            if may[judge] and load < limit[judge]:
                found.append(judge)
                if len(found) == wanted:
                    return found
    return found


def _listening_order(
    units: Indices, common: Sequence[int], seed: str, judge: str, takes: Sequence[Take]
) -> tuple[int, ...]:
    own, shared = set(units.tolist()), set(common)
    first = [t for t in common if t in own]
    rest = sorted(own - shared)
    keys = {t: shuffle_key(seed, judge, takes[t]) for t in rest}
    return (*first, *sorted(rest, key=keys.__getitem__))


def shuffle_key(seed: str, judge: str, take: Take) -> str:
    """A random place that depends on names alone, so that a late entrant moves nobody else."""
    text = f"{seed}|{judge}|{take.instrument}|{take.student}"
    return hashlib.sha256(text.encode()).hexdigest()
