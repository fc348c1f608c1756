"""Too close to call: how sure is the order of two students at a line?

A *line* is a place in the ranking where the outcome changes: the last seat of an ensemble, the
first chair. Only there does the program speak of pairs; away from a line an uncertain order
changes nothing.

The difference of two fair scores has a closed-form error (see :mod:`.fair`). What it says about
the two players also depends on how far players differ at all: with spread ``t`` between the
players of an instrument, a difference ``d`` with variance ``v`` leaves the true difference normal
about ``k d`` with variance ``k v``, ``k = 2 t² / (2 t² + v)`` (Gelman et al. 2013, *Bayesian Data
Analysis*, sec. 2.5). Both players are drawn towards the same middle, so this never turns an order
round; it only keeps the words honest.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy import special

from fairhearing.core.errors import JudgingError
from fairhearing.core.judging.fair import FairScores
from fairhearing.core.judging.marks import Floats, Indices

Call = Literal["too close to call", "probably", "clear", "not known"]
PROBABLY = 0.80
CLEAR = 0.95


@dataclass(frozen=True, slots=True)
class Pair:
    """Two students and how sure their order is.

    Attributes
    ----------
    higher, lower : int
        Indices of the units; `higher` has the higher fair score (or stands first at a tie).
    difference : float
        Difference of the fair scores, points; 0 or more.
    se : float
        Its standard error, points; NaN where it cannot be measured.
    p_better : float
        Probability that `higher` is the better player; .5 at a tie, NaN where not known.
    p_reversed : float
        Probability that another equally qualified panel would put `lower` first.
    call : str
        "too close to call" below .80, "probably" below .95, else "clear"; "not known" without
        a standard error.
    """

    higher: int
    lower: int
    difference: float
    se: float
    p_better: float
    p_reversed: float
    call: Call

    @property
    def one_in(self) -> int | None:
        """Another panel would reverse the order about one time in this many."""
        if math.isnan(self.p_reversed) or self.p_reversed <= 0:
            return None
        return max(2, round(1 / self.p_reversed))

    def says(self, scores: FairScores) -> str:
        """Return the pair as one plain sentence."""
        first, second = scores.marks.name(self.higher), scores.marks.name(self.lower)
        if self.call == "not known":
            return f"{first} before {second}: how sure this is cannot be measured."
        if self.call == "too close to call":
            return (
                f"{first} before {second} is too close to call: another equally qualified panel "
                f"would reverse this about 1 time in {self.one_in}."
            )
        sure = f"{math.floor(100 * self.p_better)} %"
        if self.call == "probably":
            return f"{first} is probably the better player than {second} ({sure})."
        return f"{first} before {second} is clear."


@dataclass(frozen=True, slots=True)
class LineCall:
    """What happens at one line.

    Attributes
    ----------
    instrument : str
    seats : int
        Number of students above the line.
    pair : Pair
        The last above and the first below.
    above, below : tuple of int
        Units that are too close to call against the first below (the last above): the band
        inside which another panel might have drawn the line elsewhere.
    """

    instrument: str
    seats: int
    pair: Pair
    above: tuple[int, ...]
    below: tuple[int, ...]


def true_spread(scores: FairScores) -> float:
    """Return the variance of ability between players of one instrument, points squared.

    The variance of the fair scores inside instruments, freed of their errors' variance; 0 if the
    errors explain all of it, NaN where errors cannot be measured.
    """
    total = error = 0.0
    freedom = 0
    cell = _cells(scores)
    for number in range(int(cell.max()) + 1):
        units = np.flatnonzero(cell == number)
        if len(units) < 2:
            continue
        total += float(np.var(scores.fair[units])) * len(units)
        error += float(np.mean(scores.se[units] ** 2)) * (len(units) - 1)
        freedom += len(units) - 1
    if freedom == 0:
        return math.nan
    return max((total - error) / freedom, 0.0) if not math.isnan(error) else math.nan


def _cells(scores: FairScores) -> Indices:
    names = {name: number for number, name in enumerate(dict.fromkeys(scores.marks.instruments))}
    instrument = np.array([names[name] for name in scores.marks.instruments])
    _, cell = np.unique(np.column_stack([instrument, scores.group]), axis=0, return_inverse=True)
    return np.asarray(cell.ravel(), dtype=np.int64)


def probabilities(difference: Floats, variance: Floats, spread: float) -> tuple[Floats, Floats]:
    """Return the probabilities that the higher player is better, and that a new panel reverses.

    Parameters
    ----------
    difference, variance : ndarray, shape (k,)
        Differences of fair scores (≥ 0) and their error variances.
    spread : float
        Variance of ability between players, points squared.

    Returns
    -------
    p_better, p_reversed : ndarray, shape (k,)
        The second is the chance that an independent panel with the same errors has the other
        order, given this one.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        kept = np.where(spread > 0, 2 * spread / (2 * spread + variance), 0.0)
        better = special.ndtr(difference * np.sqrt(kept / variance))
        again = special.ndtr(-kept * difference / np.sqrt(variance * (1 + kept)))
    tie = difference == 0
    exact = (variance <= 0) & ~tie
    better = np.where(tie, 0.5, np.where(exact, 1.0, better))
    again = np.where(tie, 0.5, np.where(exact, 0.0, again))
    unknown = np.isnan(variance) | np.isnan(spread)
    return np.where(unknown, np.nan, better), np.where(unknown, np.nan, again)


def compare(scores: FairScores, first: int, second: int, *, spread: float | None = None) -> Pair:
    """Compare two students.

    Parameters
    ----------
    first, second : int
        Indices of units; at a tie `first` counts as the higher.
    spread : float, optional
        :func:`true_spread` of the scores, when it is already at hand.

    Raises
    ------
    JudgingError
        If no judge or criterion links the two.
    """
    return _compare_all(scores, [(first, second)], spread)[0]


def _compare_all(
    scores: FairScores, pairs: Sequence[tuple[int, int]], spread: float | None
) -> list[Pair]:
    marks = scores.marks
    for a, b in pairs:
        if scores.group[a] != scores.group[b]:
            raise JudgingError(
                f"{marks.name(a)} and {marks.name(b)} were heard by unlinked panels and cannot be "
                "compared; let one judge hear both"
            )
    spread = true_spread(scores) if spread is None else spread
    units = sorted({unit for pair in pairs for unit in pair})
    at = {unit: number for number, unit in enumerate(units)}
    covariance = scores.covariance(units)
    found = []
    for a, b in pairs:
        difference = float(np.round(scores.fair[a] - scores.fair[b], 9))
        higher, lower = (a, b) if difference >= 0 else (b, a)
        i, j = at[a], at[b]
        variance = float(covariance[i, i] + covariance[j, j] - 2 * covariance[i, j])
        variance = max(variance, 0.0) if not math.isnan(variance) else math.nan
        better, again = probabilities(np.array([abs(difference)]), np.array([variance]), spread)
        found.append(
            Pair(
                higher=higher,
                lower=lower,
                difference=abs(difference),
                se=math.sqrt(variance) if not math.isnan(variance) else math.nan,
                p_better=float(better[0]),
                p_reversed=float(again[0]),
                call=call_of(float(better[0])),
            )
        )
    return found


def call_of(p_better: float) -> Call:
    """Return the words for a probability."""
    if math.isnan(p_better):
        return "not known"
    if p_better < PROBABLY:
        return "too close to call"
    return "probably" if p_better < CLEAR else "clear"


def at_lines(
    scores: FairScores,
    order: Mapping[str, Sequence[int]],
    lines: Mapping[str, Sequence[int]],
) -> list[LineCall]:
    """Look at every line.

    Parameters
    ----------
    order : mapping of str to sequence of int
        Units of each instrument, the first-ranked first (:class:`.ranking.Ranking`).
    lines : mapping of str to sequence of int
        For each instrument the numbers of students above a line; 1 is the line between first and
        second chair. Lines with nobody below are left out.
    """
    spread = true_spread(scores)
    found = []
    for instrument, places in lines.items():
        units = list(order.get(instrument, ()))
        for seats in sorted(set(places)):
            if not 1 <= seats < len(units):
                continue
            last, first = units[seats - 1], units[seats]
            pair = _compare_all(scores, [(last, first)], spread)[0]
            above = _band(scores, units[:seats][::-1], first, spread)
            below = _band(scores, units[seats:], last, spread)
            found.append(LineCall(instrument, seats, pair, above[::-1], below))
    return found


def _band(scores: FairScores, units: Sequence[int], against: int, spread: float) -> tuple[int, ...]:
    """Return the units, from the line outwards, that are too close to call against one other."""
    kept: list[int] = []
    for start in range(0, len(units), 16):
        chunk = units[start : start + 16]
        for unit, pair in zip(
            chunk, _compare_all(scores, [(u, against) for u in chunk], spread), strict=True
        ):
            if pair.call != "too close to call":
                return tuple(kept)
            kept.append(unit)
    return tuple(kept)
