"""Invented seasons of marks with a known truth.

Every student has an ability (standard deviation 1) and a profile over six criteria; a judge has a
severity (SD .6), a tendency on each criterion, a halo that moves all marks of one listening
together, and noise. One judge in five uses half the range, one in five is twice as noisy. Marks are
whole, 1 to 10.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fairhearing.core.judging.marks import Marks

CRITERIA = ("tone", "intonation", "rhythm", "notes", "articulation", "musicianship")
LEVELS = 10


@dataclass(frozen=True, slots=True)
class Judges:
    severity: NDArray[np.float64]
    tendency: NDArray[np.float64]
    range_use: NDArray[np.float64]
    noise: NDArray[np.float64]


def judges(rng: np.random.Generator, count: int) -> Judges:
    kind = rng.permutation(count) % 5
    return Judges(
        severity=rng.normal(0, 0.6, count),
        tendency=rng.normal(0, 0.2, (count, len(CRITERIA))),
        range_use=np.where(kind == 0, 0.5, 1.0),
        noise=np.where(kind == 1, 2.0, 1.0),
    )


def panels(
    rng: np.random.Generator, mode: str, ability: NDArray[np.float64], n_judges: int, per_take: int
) -> NDArray[np.int64]:
    """Return who hears whom, shape (students, per_take).

    "random": any judges. "ability": students are heard in order of ability and the panel rotates
    slowly, as when schools or levels are heard on different days. "unlinked": closed panels.
    """
    n = len(ability)
    if mode == "random":
        return np.argsort(rng.random((n, n_judges)), axis=1)[:, :per_take]
    rank = np.argsort(np.argsort(ability + rng.normal(0, 0.3, n)))
    if mode == "ability":
        start = rank * n_judges // n
        return (start[:, None] + np.arange(per_take)) % n_judges
    if mode == "unlinked":
        group = rng.integers(0, n_judges // per_take, n)
        return group[:, None] * per_take + np.arange(per_take)
    raise ValueError(mode)


def season(
    rng: np.random.Generator,
    n_students: int,
    n_judges: int,
    per_take: int,
    *,
    mode: str = "random",
    ability: NDArray[np.float64] | None = None,
    who: Judges | None = None,
    heard: NDArray[np.int64] | None = None,
    profile: NDArray[np.float64] | None = None,
) -> tuple[Marks, NDArray[np.float64]]:
    """Return marks and the true score of every student (the mean over the criteria)."""
    if ability is None:
        ability = rng.normal(0, 1, n_students)
    if who is None:
        who = judges(rng, n_judges)
    if profile is None:
        profile = rng.normal(0, 0.4, (n_students, len(CRITERIA)))
    if heard is None:
        heard = panels(rng, mode, ability, n_judges, per_take)
    true = ability[:, None] + profile
    student = np.repeat(np.arange(n_students), heard.shape[1])
    judge = heard.ravel()
    halo = rng.normal(0, 0.35, len(judge)) * who.noise[judge]
    mark = marks_of(rng, true[student], who, judge, halo)
    return columns(student, judge, mark, n_students, n_judges), true.mean(axis=1)


def marks_of(
    rng: np.random.Generator,
    true: NDArray[np.float64],
    who: Judges,
    judge: NDArray[np.int64],
    halo: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Return whole marks, one row a listening, shape (listenings, criteria)."""
    hardness = np.array([0.0, 0.3, 0.1, -0.1, 0.0, 0.2])
    single = rng.normal(0, 0.5, true.shape) * who.noise[judge][:, None]
    latent = (
        who.range_use[judge][:, None] * true
        - who.severity[judge][:, None]
        - who.tendency[judge]
        - hardness
        + halo[:, None]
        + single
    )
    return np.clip(np.round(6.0 + 1.7 * latent), 1, LEVELS)


def columns(
    student: NDArray[np.int64],
    judge: NDArray[np.int64],
    mark: NDArray[np.float64],
    n_students: int,
    n_judges: int,
) -> Marks:
    n_criteria = len(CRITERIA)
    size = mark.size
    return Marks(
        students=tuple(str(s + 1) for s in range(n_students)),
        instruments=("",) * n_students,
        judges=tuple(f"J{j + 1}" for j in range(n_judges)),
        criteria=tuple(("", name) for name in CRITERIA),
        student=np.repeat(student, n_criteria),
        judge=np.repeat(judge, n_criteria),
        criterion=np.tile(np.arange(n_criteria), len(student)),
        mark=mark.ravel().astype(float),
        weight=np.ones(size),
        order=np.full(size, np.nan),
    )
