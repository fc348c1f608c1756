"""How long and how much memory; the same computation by a general library beside it.

Times are processor seconds of one thread, so that a busy machine does not change them.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import time

import numpy as np
import pandas as pd
import statsmodels.formula.api as smf

from benchmarks.judging.references import raw_mean
from benchmarks.judging.simulator import season
from fairhearing.core.judging.agreement import agreement
from fairhearing.core.judging.dropout import after_dropout
from fairhearing.core.judging.evaluate import evaluate
from fairhearing.core.judging.fair import fair_scores
from fairhearing.core.judging.marks import Marks
from fairhearing.core.judging.panel_plan import Judge, Take
from fairhearing.core.judging.panels import assign

INSTRUMENTS = ("flute", "oboe", "clarinet", "alto-saxophone", "trumpet", "horn", "trombone")


def timed(function, *arguments, repeats: int = 3, **named) -> float:
    best = float("inf")
    for _ in range(repeats):
        start = time.process_time()
        function(*arguments, **named)
        best = min(best, time.process_time() - start)
    return best


def scoring(students: int, n_judges: int) -> dict[str, float]:
    marks, _ = season(np.random.default_rng(1), students, n_judges, 3)
    found = {
        "raw means": timed(raw_mean, marks),
        "fair scores": timed(fair_scores, marks),
        "agreement": timed(agreement, marks, repeats=1),
        "everything": timed(evaluate, marks, lines={"": (students // 2,)}, repeats=1),
    }
    if students <= 400:
        found["statsmodels OLS"] = timed(_statsmodels, marks, repeats=1)
    return found


def _statsmodels(marks: Marks) -> None:
    frame = pd.DataFrame(
        {"m": marks.mark, "s": marks.student, "j": marks.judge, "c": marks.criterion}
    )
    smf.ols("m ~ 0 + C(s) + C(j, Sum) + C(c, Sum)", frame).fit()


def peak_memory_mb(students: int, n_judges: int) -> float:
    """Return the peak memory of a process of its own that scores a season, in MB."""
    words = [sys.executable, "-m", "benchmarks.judging.speed", str(students), str(n_judges)]
    return float(subprocess.run(words, check=True, capture_output=True, text=True).stdout)


def county(students: int, n_judges: int) -> tuple[list[Take], list[Judge]]:
    """A large event: many schools, every judge with a school of their own and two conflicts."""
    rng = np.random.default_rng(1)
    schools = max(4, n_judges // 3)
    takes = [
        Take(str(s), INSTRUMENTS[int(rng.integers(7))], f"S{rng.integers(schools)}")
        for s in range(students)
    ]
    found = [
        Judge(
            f"J{j}",
            frozenset(INSTRUMENTS) if j % 5 else frozenset(INSTRUMENTS[:6]),
            frozenset({f"S{j % schools}"}),
            frozenset(str(s) for s in rng.integers(0, students, 2)),
        )
        for j in range(n_judges)
    ]
    return takes, found


def panels(students: int, n_judges: int) -> dict[str, float]:
    takes, found = county(students, n_judges)
    start = time.process_time()
    plan = assign(takes, found, seed="benchmark")
    seconds = time.process_time() - start
    start = time.process_time()
    after = after_dropout(plan, "J3", set())
    dropout = time.process_time() - start
    conflicts = sum(
        not judge.may_hear(plan.takes[take])
        for judge, order in zip(plan.judges, plan.order, strict=True)
        for take in order
    )
    rng = np.random.default_rng(1)
    blind = np.bincount(
        np.argsort(rng.random((students, n_judges), dtype=np.float32), axis=1)[:, :3].ravel(),
        minlength=n_judges,
    )
    others = np.delete(after.loads, [judge.name for judge in after.judges].index("J3"))
    return {
        "seconds": seconds,
        "dropout seconds": dropout,
        "load difference": float(np.ptp(plan.loads)),
        "load difference after dropout": float(np.ptp(others)),
        "conflicts": float(conflicts),
        "random panels' load difference": float(np.ptp(blind)),
    }


if __name__ == "__main__":
    size = [int(word) for word in sys.argv[1:3]]
    big, _ = season(np.random.default_rng(1), size[0], size[1], 3)
    fair_scores(big)
    print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)
