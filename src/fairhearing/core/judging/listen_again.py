"""Which takes deserve one more listening, and what it is expected to settle.

Another pair of ears pays where a score lies near a line, not where the judges disagreed: an
uncertain score far from every line changes no seat. For each take the chance that it stands on the
wrong side of its nearest line is computed from its score's error, now and after one more
listening by a typical judge; the difference is what the listening is worth.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy import special

from fairhearing.core.errors import JudgingError
from fairhearing.core.judging.fair import FairScores
from fairhearing.core.judging.marks import Floats
from fairhearing.core.judging.too_close import true_spread

_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(61)
_WEIGHTS = _WEIGHTS / _WEIGHTS.sum()


@dataclass(frozen=True, slots=True)
class Relisten:
    """One take on the list.

    Attributes
    ----------
    unit : int
        Index of the scored unit.
    line : float
        Score at its nearest line, points.
    p_wrong_now, p_wrong_after : float
        Probability that it stands on the wrong side of that line, now and (expected) after one
        more listening.
    """

    unit: int
    line: float
    p_wrong_now: float
    p_wrong_after: float


@dataclass(frozen=True, slots=True)
class ListenAgain:
    """The takes worth another listening.

    Attributes
    ----------
    takes : tuple of Relisten
        The most rewarding first.
    wrong_now : float
        Expected number of takes on the wrong side of a line now, over all takes.
    wrong_after : float
        The same once every take on the list has been heard once more.
    """

    takes: tuple[Relisten, ...]
    wrong_now: float
    wrong_after: float

    @property
    def says(self) -> str:
        """The list's worth in one plain sentence."""
        if not self.takes:
            return "No take needs another listening: none stands near a line."
        settled = self.wrong_now - self.wrong_after
        return (
            f"About {self.wrong_now:.1f} of the students may stand on the wrong side of a line; "
            f"one more listening to {len(self.takes)} takes is expected to put {settled:.1f} of "
            "them right."
        )


def listen_again(
    scores: FairScores,
    order: Mapping[str, Sequence[int]],
    lines: Mapping[str, Sequence[int]],
    *,
    share: float = 0.2,
    listenings: int = 1,
) -> ListenAgain:
    """List the takes worth another listening.

    Parameters
    ----------
    order : mapping of str to sequence of int
        Units of each instrument, the first-ranked first.
    lines : mapping of str to sequence of int
        For each instrument the numbers of students above a line.
    share : float, default .2
        Largest part of all takes on the list.
    listenings : int, default 1
        How many more judges hear each take on the list.

    Raises
    ------
    JudgingError
        If `share` is not between 0 and 1, or no uncertainty could be measured.
    """
    if not 0 < share <= 1:
        raise JudgingError(f"the part of takes to hear again is {share:g}; choose 0 to 1")
    if np.isnan(scores.noise.pooled):
        raise JudgingError(
            "the judges' exactness could not be measured, so no list can be made; let at least "
            "two judges hear some of the same takes"
        )
    spread = true_spread(scores)
    unit, line = _nearest_lines(scores, order, lines)
    if not len(unit):
        return ListenAgain((), 0.0, 0.0)
    distance = np.abs(scores.fair[unit] - line)
    variance = scores.se[unit] ** 2
    typical = float(np.median(scores.noise.variance)) / listenings
    now, after = _wrong(distance, variance, typical, spread)
    gain = np.maximum(now - after, 0)
    ranked = np.lexsort((unit, -gain))
    room = max(1, math.floor(share * len(scores.fair)))
    chosen = [int(i) for i in ranked[:room] if gain[i] > 1e-4]
    settled = float(gain[chosen].sum())
    return ListenAgain(
        takes=tuple(
            Relisten(int(unit[i]), float(line[i]), float(now[i]), float(after[i])) for i in chosen
        ),
        wrong_now=float(now.sum()),
        wrong_after=float(now.sum()) - settled,
    )


def _nearest_lines(
    scores: FairScores, order: Mapping[str, Sequence[int]], lines: Mapping[str, Sequence[int]]
) -> tuple[np.ndarray, Floats]:
    units: list[int] = []
    nearest: list[float] = []
    for instrument, places in lines.items():
        ranked = list(order.get(instrument, ()))
        at = np.array(
            [
                (scores.fair[ranked[seats - 1]] + scores.fair[ranked[seats]]) / 2
                for seats in sorted(set(places))
                if 1 <= seats < len(ranked)
            ]
        )
        if not len(at):
            continue
        fair = scores.fair[ranked]
        units += ranked
        nearest += list(at[np.abs(fair[:, None] - at[None, :]).argmin(axis=1)])
    return np.array(units, dtype=np.int64), np.array(nearest, dtype=np.float64)


def _wrong(
    distance: Floats, variance: Floats, listening: float, spread: float
) -> tuple[Floats, Floats]:
    """Return the chance of the wrong side now, and expected after one more listening.

    Normal throughout: ability about the score with variance k v; the score after a listening of
    variance `listening` moves by the variance it removes.
    """
    if spread <= 0:
        half = np.full(len(distance), 0.5)
        return half, half
    kept = spread / (spread + variance)
    middle, before = kept * distance, kept * variance
    # The line itself is drawn where two students' scores meet, so it is as uncertain as theirs;
    # a take's own error is what another listening can shrink.
    later = 1 / (1 / np.maximum(before, 1e-12) + 1 / listening)
    now = special.ndtr(-middle / np.sqrt(np.maximum(before, 1e-12)))
    moved = middle[:, None] + np.sqrt(np.maximum(before - later, 0))[:, None] * _NODES
    after = special.ndtr(-np.abs(moved) / np.sqrt(later)[:, None]) @ _WEIGHTS
    return np.asarray(now, dtype=np.float64), np.asarray(after, dtype=np.float64)
