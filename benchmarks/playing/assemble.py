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


@dataclass(frozen=True)
class Manner:
    """How unevenly a person plays: the greatest values, of which each note has a random part.

    ``attack_s``: time until the note has come up; ``scoop_cents``: how far off it starts;
    ``vibrato_cents``: depth of a vibrato of 4 to 6 a second.
    """

    attack_s: float = 0.0
    scoop_cents: float = 0.0
    vibrato_cents: float = 0.0


def perform(
    events: Sequence[Event],
    instrument: Instrument,
    rng: np.random.Generator,
    *,
    duration_s: float | None = None,
    release_s: float = 0.05,
    dynamics_db: float = 6.0,
    manner: Manner | None = None,
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
        whole_s = event.offset_s - event.onset_s + tail_s
        bend = _bend(manner, whole_s, rng)
        sound, lead = tone(instrument, event.midi, whole_s, release_s, bend)
        sound = sound * 10 ** (rng.uniform(-dynamics_db, 0) / 20)
        if manner is not None:
            rise = _rise(manner, rng)
            sound[lead : lead + len(rise)] *= rise[: len(sound) - lead]
            sound[:lead] *= rise[0]
            # 20 dB below its height: that is the onset now.
            lead += int(np.argmax(rise >= 0.1))
        begin = round(event.onset_s * RATE_HZ) - lead
        if begin < 0:
            sound, begin = sound[-begin:], 0
        sound = sound[: len(out) - begin]
        out[begin : begin + len(sound)] += sound
    return out[:length].astype(np.float32)


def _rise(manner: Manner, rng: np.random.Generator) -> np.ndarray:
    """Return how a note comes up: evenly in amplitude, or evenly in decibels from −40."""
    t = np.linspace(0, 1, round(rng.uniform(0, manner.attack_s) * RATE_HZ) + 2)
    return t if rng.random() < 0.5 else 10 ** (2 * (t - 1))


def _bend(manner: Manner | None, length_s: float, rng: np.random.Generator) -> np.ndarray | None:
    """Return the deviation in cents along a note, from a quarter of a second before it."""
    if manner is None:
        return None
    t = np.arange(round((length_s + 0.5) * RATE_HZ)) / RATE_HZ - 0.25
    scoop = rng.uniform(-1, 0.5) * manner.scoop_cents * np.exp(-np.maximum(t, 0) / 0.04)
    depth = rng.uniform(0, manner.vibrato_cents) * np.clip(t / 0.3, 0, 1)
    return scoop + depth * np.sin(2 * np.pi * rng.uniform(4, 6) * t)


def tone(
    instrument: Instrument,
    midi: float,
    length_s: float,
    release_s: float,
    bend_cents: np.ndarray | None = None,
) -> tuple[np.ndarray, int]:
    """Return one note, fading over its last ``release_s``, and the samples before its onset."""
    nearest = min(instrument.notes, key=lambda known: (abs(known - midi), known))
    source = instrument.notes[nearest]
    ratio = 2.0 ** ((midi - instrument.pitch[nearest]) / 12)
    lead = round(instrument.lead[nearest] / ratio)
    whole = lead + round(length_s * RATE_HZ)
    fade = min(round(release_s * RATE_HZ), whole - lead)
    position = np.arange(whole) * ratio
    if bend_cents is not None:
        begin = round(0.25 * RATE_HZ) - lead
        bend = np.pad(bend_cents, (0, whole), mode="edge")[max(0, begin) : max(0, begin) + whole]
        position = np.cumsum(ratio * 2.0 ** (bend / 1200)) - ratio
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
