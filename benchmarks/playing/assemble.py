"""Notes put together into a performance whose every onset, offset and pitch is known."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from benchmarks.playing.banks import RATE_HZ, Instrument


@dataclass(frozen=True)
class Event:
    """One note of the truth; ``midi`` may carry a fraction (its detuning)."""

    onset_s: float
    offset_s: float
    midi: float


def perform(
    events: Sequence[Event],
    instrument: Instrument,
    rng: np.random.Generator,
    *,
    duration_s: float | None = None,
    release_s: float = 0.05,
    dynamics_db: float = 6.0,
) -> np.ndarray:
    """Return the sound of a performance, float32 at 16 kHz, without room or noise.

    Each note is the nearest recorded one of the bank, resampled to its pitch; its physical onset
    falls on ``onset_s``.
    """
    last = max((event.offset_s for event in events), default=0.0)
    length = round((duration_s if duration_s is not None else last + 0.5) * RATE_HZ)
    out = np.zeros(length + RATE_HZ)
    following = [event.onset_s for event in events[1:]] + [length / RATE_HZ]
    for event, next_s in zip(events, following, strict=True):
        gap_s = next_s - event.offset_s
        # Slurred notes overlap; detached ones leave at least 40 ms (or their gap) without sound.
        tail_s = release_s if gap_s < 0.01 else min(release_s, max(0.0, gap_s - 0.04))
        sound, lead = tone(
            instrument, event.midi, event.offset_s - event.onset_s, release_s, tail_s
        )
        sound = sound * 10 ** (rng.uniform(-dynamics_db, 0) / 20)
        begin = round(event.onset_s * RATE_HZ) - lead
        if begin < 0:
            sound, begin = sound[-begin:], 0
        sound = sound[: len(out) - begin]
        out[begin : begin + len(sound)] += sound
    return out[:length].astype(np.float32)


def tone(
    instrument: Instrument, midi: float, length_s: float, release_s: float, tail_s: float
) -> tuple[np.ndarray, int]:
    """Return one note and the number of samples before its onset.

    It fades over ``release_s``, of which ``tail_s`` lies after its end.
    """
    nearest = min(instrument.notes, key=lambda known: (abs(known - midi), known))
    source, ratio = instrument.notes[nearest], 2.0 ** ((midi - nearest) / 12)
    lead = round(instrument.lead[nearest] / ratio)
    whole = lead + round((length_s + tail_s) * RATE_HZ)
    fade = min(round(release_s * RATE_HZ), whole - lead)
    position = np.arange(whole) * ratio
    sound = np.interp(position, np.arange(len(source)), source, right=0.0)
    sound[whole - fade :] *= 0.5 * (1 + np.cos(np.linspace(0, np.pi, fade)))
    ramp = min(40, lead) or 8
    sound[:ramp] *= np.linspace(0, 1, ramp)
    return sound, lead


def in_a_row(
    pitches: Sequence[float], start_s: float, each_s: float, gap_s: float = 0.02
) -> list[Event]:
    """Return even notes, each ``each_s`` after the one before, ``gap_s`` shorter than that."""
    return [
        Event(start_s + k * each_s, start_s + (k + 1) * each_s - gap_s, pitch)
        for k, pitch in enumerate(pitches)
    ]


def major(tonic: int, octaves: int = 1) -> list[int]:
    """Return a major scale up and down (steps 2-2-1-2-2-2-1)."""
    steps = (0, 2, 4, 5, 7, 9, 11)
    up = [tonic + 12 * octave + step for octave in range(octaves) for step in steps]
    up.append(tonic + 12 * octaves)
    return up + up[-2::-1]


def chromatic(low: int, high: int) -> list[int]:
    """Return a chromatic scale up and down."""
    up = list(range(low, high + 1))
    return up + up[-2::-1]
