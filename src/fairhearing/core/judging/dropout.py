"""When a judge steps back midway, or a take deserves one more listening: who takes over."""

from __future__ import annotations

from collections.abc import Collection, Sequence

import numpy as np

from fairhearing.core.errors import JudgingError
from fairhearing.core.judging.marks import Indices
from fairhearing.core.judging.panel_links import linked_panels
from fairhearing.core.judging.panel_plan import PanelPlan, listed
from fairhearing.core.judging.panels import permitted_listenings, random_from, shuffle_key


def after_dropout(
    plan: PanelPlan,
    gone: str,
    finished: Collection[tuple[str, str, str]],
    *,
    accept_fewer: bool = False,
) -> PanelPlan:
    """Hand a judge's unfinished takes to others; everything else stays as it is.

    Parameters
    ----------
    gone : str
        The judge who steps back.
    finished : collection of (str, str, str)
        Listenings already marked, as (judge, student, instrument); they are kept.
    accept_fewer : bool, default False
        Where nobody else may hear a take or has room, leave it with fewer judges and say so in
        the notes, instead of refusing.

    Returns
    -------
    PanelPlan
        The same judges; `gone` keeps the finished takes only. What the others have finished keeps
        its place in their order, the new takes are shuffled into what is still ahead of them.

    Raises
    ------
    JudgingError
        If there is no such judge, or some takes can no longer get enough judges.
    """
    names = [judge.name for judge in plan.judges]
    if gone not in names:
        raise JudgingError(f'there is no judge "{gone}" in this plan; check the spelling')
    at = names.index(gone)
    done = {(names.index(judge), unit) for judge, unit in _finished_units(plan, names, finished)}
    left = [t for t in np.flatnonzero(plan.hears[:, at]) if (at, int(t)) not in done]
    hears = plan.hears.copy()
    hears[left, at] = False
    permitted = permitted_listenings(plan.takes, plan.judges)
    permitted[:, at] = hears[:, at]
    room = np.array(
        [len(plan.takes) if j.most is None else j.most for j in plan.judges], dtype=np.int64
    )
    loads = hears.sum(axis=0)
    rng = random_from(plan.seed, f"without {gone}")
    tie = rng.random(len(names))
    short: list[int] = []
    # Calibration takes have been heard by everyone else; nobody needs to hear them instead.
    for take in sorted(
        (t for t in left if t not in plan.calibration),
        key=lambda t: int((permitted[t] & ~hears[t]).sum()),
    ):
        free = np.flatnonzero(permitted[take] & ~hears[take] & (loads < room))
        if not len(free):
            short.append(int(take))
            continue
        chosen = free[np.lexsort((tie[free], loads[free]))[0]]
        hears[take, chosen] = True
        loads[chosen] += 1
    names_short = listed([plan.takes[take].student for take in short]) if short else ""
    if short and not (accept_fewer and hears[short].any(axis=1).all()):
        raise JudgingError(
            f"without {gone} no other judge may hear {names_short} or has room; name a further "
            "judge or raise a judge's limit"
        )
    hears, notes = linked_panels(plan.takes, plan.judges, permitted, hears)
    if short:
        notes = (*notes, f"With fewer judges than the others: {names_short}.")
    order = tuple(
        _order_after(plan, j, np.flatnonzero(hears[:, j]), {t for k, t in done if k == j}, gone)
        for j in range(len(names))
    )
    return PanelPlan(plan.takes, plan.judges, hears, plan.calibration, order, plan.seed, notes)


def extra_listeners(
    plan: PanelPlan, units: Sequence[int], *, seed: str = "again"
) -> list[tuple[int, int]]:
    """Choose one further judge for each of some takes, the loads kept level.

    Returns
    -------
    list of (int, int)
        Pairs of take and judge.

    Raises
    ------
    JudgingError
        If a take has been heard by everyone who may hear it.
    """
    permitted = permitted_listenings(plan.takes, plan.judges)
    loads = plan.loads
    tie = random_from(plan.seed, seed).random(len(plan.judges))
    found = []
    for take in units:
        free = np.flatnonzero(permitted[take] & ~plan.hears[take])
        if not len(free):
            raise JudgingError(
                f"every judge who may hear {plan.takes[take].student} has done so; "
                "ask a further judge for a second listening"
            )
        chosen = int(free[np.lexsort((tie[free], loads[free]))[0]])
        loads[chosen] += 1
        found.append((take, chosen))
    return found


def _order_after(
    plan: PanelPlan, judge: int, units: Indices, done: set[int], gone: str
) -> tuple[int, ...]:
    kept = [t for t in plan.order[judge] if t in done]
    ahead = [int(t) for t in units if int(t) not in done]
    unheard = set(ahead)
    old = [t for t in plan.order[judge] if t in unheard]
    known = set(old)
    new = sorted(
        (t for t in ahead if t not in known),
        key=lambda t: shuffle_key(plan.seed, f"{plan.judges[judge].name}|{gone}", plan.takes[t]),
    )
    rng = random_from(plan.seed, f"{plan.judges[judge].name} after {gone}")
    merged = list(old)
    for take in new:
        start = sum(1 for t in merged if t in plan.calibration)
        merged.insert(int(rng.integers(start, len(merged) + 1)), take)
    return (*kept, *merged)


def _finished_units(
    plan: PanelPlan,
    names: Sequence[str],
    finished: Collection[tuple[str, str, str]],
    *,
    accept_fewer: bool = False,
) -> list[tuple[str, int]]:
    at = {(take.student, take.instrument): number for number, take in enumerate(plan.takes)}
    known = set(names)
    return [
        (judge, at[student, instrument])
        for judge, student, instrument in finished
        if judge in known and (student, instrument) in at
    ]
