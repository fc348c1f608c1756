"""From spans of frames to notes with honest cents, and what the cents are allowed to say.

The pitch of a note is stated in cents only when it lasts 250 ms or more and 80 % of its frames
are voiced at that pitch; its attack and release are left out.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from fairhearing.core.playing.notes import Frames, Span
from fairhearing.core.playing.pitch import HOP_S
from fairhearing.core.playing.types import Note

HONEST_FROM_S = 0.25
HONEST_VOICED_SHARE = 0.8

_ATTACK_S = 0.06
_RELEASE_S = 0.03
_VOICED = 0.5
_NEAR_SEMITONES = 0.8


def measure_notes(
    spans: Sequence[Span], frames: Frames, *, tuning_semitones: float
) -> tuple[Note, ...]:
    """Measure each span.

    Parameters
    ----------
    spans : sequence of Span
    frames : Frames
        Whose ``midi`` is relative to the take's tuning.
    tuning_semitones : float
        The take's tuning relative to A4 = 440 Hz; added again, so that cents are absolute.
    """
    return tuple(_measure(span, frames, tuning_semitones) for span in spans)


def _measure(span: Span, frames: Frames, tuning_semitones: float) -> Note:
    body = slice(
        min(span.first + round(_ATTACK_S / HOP_S), span.end - 1),
        max(span.end - round(_RELEASE_S / HOP_S), span.first + 1),
    )
    away = frames.midi[body] - span.midi
    voiced = (frames.confidence[body] >= _VOICED) & (np.abs(away) < _NEAR_SEMITONES)
    share = float(voiced.mean()) if len(voiced) else 0.0
    cents = spread = None
    lasts_s = (span.end - span.first) * HOP_S
    if lasts_s >= HONEST_FROM_S and share >= HONEST_VOICED_SHARE:
        deviations = 100 * (away[voiced] + tuning_semitones)
        cents = float(np.median(deviations))
        low, high = np.percentile(deviations, [16, 84])
        spread = float(high - low) / 2
    sure = float(np.mean(frames.confidence[body] * voiced)) if len(voiced) else 0.0
    return Note(span.first * HOP_S, span.end * HOP_S, span.midi, cents, spread, round(sure, 3))
