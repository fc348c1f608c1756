"""The notes that this player plays sharp or flat, as far as that can be said honestly.

Only notes that are right on the page count (a wrong note has no intended pitch), and only where
the hearing states cents. One long note proves nothing: a pitch is called sharp or flat when its
median is clearly away from the take's own tuning and the scatter of its notes does not reach back.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.stats import t as student_t

from fairhearing.core.playing.alignment.result import NoteResult, Outcome
from fairhearing.core.playing.alignment.score import Score

LEAST_NOTES = 3
LEAST_CENTS = 15.0
"""Smaller tendencies are within what a room and a phone do to the measurement."""


@dataclass(frozen=True, slots=True)
class Tendency:
    """One written pitch of the take.

    Attributes
    ----------
    midi : int
        Sounding pitch on the page.
    cents : float
        Median deviation from the take's own tuning; positive is sharp.
    interval_cents : float
        Half the 95 % confidence interval of the mean (Student's t).
    notes : int
        How many notes it rests on.
    sure : bool
        True when it may be said: at least 15 cents, and the interval does not reach 0.
    """

    midi: int
    cents: float
    interval_cents: float
    notes: int
    sure: bool


def pitch_tendency(score: Score, results: Sequence[NoteResult]) -> tuple[Tendency, ...]:
    """Collect the tendency of every pitch that was played right at least three times.

    Parameters
    ----------
    score : Score
        What was aligned.
    results : sequence of NoteResult
        ``Alignment.results``.

    Returns
    -------
    tuple of Tendency
        Rising by pitch.
    """
    by_pitch: dict[int, list[float]] = {}
    for result in results:
        midi = score.notes[result.score_index].midi
        if result.outcome is Outcome.RIGHT and midi is not None and result.cents_off is not None:
            by_pitch.setdefault(midi, []).append(result.cents_off)
    return tuple(
        _tendency(midi, np.array(cents))
        for midi, cents in sorted(by_pitch.items())
        if len(cents) >= LEAST_NOTES
    )


def _tendency(midi: int, cents: np.ndarray[tuple[int], np.dtype[np.float64]]) -> Tendency:
    """Median, interval, and whether they may be stated."""
    n = len(cents)
    half = float(student_t.ppf(0.975, n - 1)) * float(np.std(cents, ddof=1)) / n**0.5
    middle = float(np.median(cents))
    sure = abs(middle) >= LEAST_CENTS and abs(float(np.mean(cents))) > half
    return Tendency(midi, middle, half, n, sure)
