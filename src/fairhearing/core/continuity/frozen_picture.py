"""The picture stands still: frames that repeat the last one while the sound goes on.

Conventions: spans in seconds of presentation time; a frame repeats the last when they differ by
less than coding noise (see :mod:`picture_jump`). Short stutters are a busy phone's daily life
and are not mentioned.
"""

from __future__ import annotations

import numpy as np

from fairhearing.core.continuity.finding import Channel, Finding, clock
from fairhearing.core.continuity.picture_jump import PictureTrace

LEAST_S = 2.0
_MOST = 3
_WHOLE_SHARE = 0.9

SAYS = (
    "From {start} to {end} the picture stands still. A phone that was busy, a player who does "
    "not move in a dark room, and a covered lens look like this too. Watch whether it goes on "
    "where it stopped."
)
WHOLE_SAYS = (
    "The picture stands still nearly all the time. A photo in place of a film, a covered lens "
    "and a frozen camera look like this."
)


def frozen_spans(trace: PictureTrace, least_s: float = LEAST_S) -> list[tuple[float, float]]:
    """Return (start, end) in seconds of runs of repeated frames, longest first."""
    repeated = np.isnan(trace.change)
    edges = np.flatnonzero(np.diff(np.r_[False, repeated, False].astype(np.int8)))
    spans = []
    for first, beyond in zip(edges[::2], edges[1::2], strict=True):
        start_s = float(trace.times_s[first - 1]) if first else float(trace.times_s[0])
        end_s = float(trace.times_s[beyond - 1])
        if end_s - start_s >= least_s:
            spans.append((start_s, end_s))
    return sorted(spans, key=lambda span: span[0] - span[1])


def frozen_findings(trace: PictureTrace) -> tuple[Finding, ...]:
    """Return findings for long still stretches, or one for a take that is still throughout."""
    if len(trace.times_s) < 2:
        return ()
    first_s, last_s = float(trace.times_s[0]), float(trace.times_s[-1])
    spans = frozen_spans(trace)
    still_s = sum(end - start for start, end in spans)
    if still_s >= _WHOLE_SHARE * (last_s - first_s) and still_s > 0:
        return (Finding(Channel.FROZEN_PICTURE, first_s, last_s, 0.5, WHOLE_SAYS),)
    return tuple(
        Finding(
            Channel.FROZEN_PICTURE,
            start,
            end,
            min(0.4 + 0.05 * (end - start), 0.8),
            SAYS.format(start=clock(start), end=clock(end)),
        )
        for start, end in spans[:_MOST]
    )
