"""No sound at all: stretches without even the noise of a room and a microphone.

A recording never falls below its own noise. Samples that are zero were put there: by a call
that took the microphone, by a gap in the file, by noise suppression between notes, or by
something done to the sound later. One or two such stretches are places to listen to; many are
noise suppression and are said to be processed sound (see :mod:`processed_sound`).
"""

from __future__ import annotations

import numpy as np

from fairhearing.core.continuity.finding import Channel, Finding, clock
from fairhearing.core.continuity.sound_joint import BIN_S, SoundTrace

SILENT_POWER = 1e-11  # −110 dBFS, under the rounding noise of 16 bits
LEAST_S = 0.1
MANY = 4
_EDGE_S = 0.5

SAYS = (
    "From {start} to {end} there is no sound at all, not even the room's. A call or message "
    "that took the microphone, and noise suppression, do this too. Listen to both ends."
)


def silent_spans(trace: SoundTrace, least_s: float = LEAST_S) -> list[tuple[float, float]]:
    """Return (start, end) in seconds of stretches without sound, in order of time.

    The take's own beginning and end do not count: recorders fade in.
    """
    silent = trace.level < SILENT_POWER
    if not len(silent) or silent.all():
        return []
    edges = np.flatnonzero(np.diff(np.r_[False, silent, False].astype(np.int8)))
    spans = []
    for first, beyond in zip(edges[::2], edges[1::2], strict=True):
        start_s = float(trace.start_s[first])
        end_s = float(trace.start_s[beyond - 1]) + BIN_S
        at_an_end = start_s <= trace.start_s[0] + _EDGE_S or end_s >= trace.start_s[-1] - _EDGE_S
        if end_s - start_s >= least_s and not at_an_end:
            spans.append((start_s, end_s))
    return spans


def silence_findings(trace: SoundTrace) -> tuple[Finding, ...]:
    """Return findings for up to three stretches; none when there are many (suppression)."""
    spans = silent_spans(trace)
    if len(spans) >= MANY:
        return ()
    return tuple(
        Finding(
            Channel.DIGITAL_SILENCE,
            start,
            end,
            0.6,
            SAYS.format(start=clock(start), end=clock(end)),
        )
        for start, end in spans
    )
