"""Exercises with exact truth: chromatic scale, etude, repeated notes, lists of scales."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from benchmarks.playing.assemble import Event, chromatic, in_a_row, major


@dataclass(frozen=True)
class Exercise:
    """A performance to be made: its events and how long its notes ring on."""

    name: str
    events: list[Event]
    release_s: float


def chromatic_exercise(low: int, high: int, rng: np.random.Generator) -> Exercise:
    """A chromatic scale up and back over up to two octaves, even, tongued or slurred."""
    span = min(high - low, 24)
    start = low + int(rng.integers(0, high - low - span + 1))
    each_s = float(rng.uniform(0.22, 0.42))
    gap_s = float(rng.choice([0.0, 0.02, 0.05]))
    return Exercise(
        "chromatic",
        in_a_row(chromatic(start, start + span), 0.6, each_s, gap_s),
        float(rng.uniform(0.04, 0.12)),
    )


def etude_exercise(low: int, high: int, rng: np.random.Generator, notes: int = 56) -> Exercise:
    """A melody of steps and leaps with changing rhythm, drifting tempo, slurs and rests."""
    beat_s = 60 / float(rng.uniform(76, 116))
    lengths = {0.25: 0.12, 0.5: 0.5, 1.0: 0.25, 1.5: 0.08, 2.0: 0.05}
    scale = [p for p in range(low, high + 1) if (p - low) % 12 in (0, 2, 4, 5, 7, 9, 11)]
    place = len(scale) // 2
    now = 0.6
    drift = float(rng.uniform(-0.08, 0.08))
    slurred = 0
    events: list[Event] = []
    while len(events) < notes:
        length = float(rng.choice(list(lengths), p=list(lengths.values())))
        count = 4 if length == 0.25 else 2 if length == 0.5 and rng.random() < 0.5 else 1
        for _ in range(count):
            step = int(rng.choice([-5, -3, -2, -1, 0, 1, 2, 3, 5], p=_STEPS))
            place = int(np.clip(place + step, 0, len(scale) - 1))
            chromatic_step = int(rng.choice([-1, 0, 1], p=[0.06, 0.88, 0.06]))
            pitch = int(np.clip(scale[place] + chromatic_step, low, high))
            pace = beat_s * (1 + drift * len(events) / notes) * float(rng.normal(1, 0.02))
            lasts_s = length * pace
            if slurred == 0:
                slurred = int(rng.choice([0, 2, 4]))
            same = bool(events) and events[-1].midi == pitch
            gap_s = 0.0 if slurred > 1 else float(rng.uniform(0.02, 0.06))
            if same and events[-1].offset_s > now - 0.04:
                events[-1] = Event(events[-1].onset_s, now - 0.04, pitch)
            slurred = max(0, slurred - 1)
            share = 0.6 if rng.random() < 0.1 else 1.0
            events.append(Event(now, now + max(0.06, lasts_s * share - gap_s), pitch))
            now += lasts_s
        if rng.random() < 0.05:
            now += beat_s
    return Exercise("etude", events[:notes], float(rng.uniform(0.04, 0.1)))


_STEPS = [0.03, 0.06, 0.13, 0.25, 0.08, 0.25, 0.12, 0.05, 0.03]


def repeated_exercise(low: int, high: int, rng: np.random.Generator) -> Exercise:
    """Groups of two to eight notes of one pitch, 40 to 80 ms apart."""
    now = 0.6
    events: list[Event] = []
    for _ in range(9):
        pitch = int(rng.integers(low, high + 1))
        each_s = float(rng.uniform(0.16, 0.4))
        gap_s = float(rng.uniform(0.04, 0.08))
        count = int(rng.integers(2, 9))
        events += in_a_row([pitch] * count, now, each_s, gap_s)
        now = events[-1].onset_s + each_s
        if rng.random() < 0.4:
            now += 0.4
    return Exercise("repeated", events, float(rng.uniform(0.03, 0.05)))


@dataclass(frozen=True)
class ScaleTruth:
    """A scale of the truth: its lowest tonic, octaves, and whether it was played to its end."""

    tonic_midi: int
    octaves: int
    complete: bool
    start_s: float


def scales_exercise(
    low: int, high: int, rng: np.random.Generator, count: int = 6
) -> tuple[Exercise, list[ScaleTruth]]:
    """Major scales around the circle of fifths, with wrong notes and one left unfinished."""
    tonic = int(rng.integers(low, max(low + 1, low + 12)))
    now, each_s = 0.6, float(rng.uniform(0.2, 0.34))
    events: list[Event] = []
    truth: list[ScaleTruth] = []
    for k in range(count):
        octaves = 2 if tonic + 24 <= high and rng.random() < 0.25 else 1
        while tonic + 12 * octaves > high:
            tonic -= 12
        tonic = max(tonic, low)
        if tonic + 12 > high:
            break
        pitches = major(tonic, octaves)
        complete = not (k == count - 1 and rng.random() < 0.5)
        if not complete:
            pitches = pitches[: len(pitches) * 2 // 3]
        elif rng.random() < 0.25:
            wrong = int(rng.integers(1, len(pitches) - 1))
            pitches[wrong] += int(rng.choice([-1, 1]))
        row = in_a_row(pitches, now, each_s * float(rng.normal(1, 0.04)), 0.02)
        truth.append(ScaleTruth(tonic, octaves, complete, now))
        events += row
        now = row[-1].offset_s + float(rng.uniform(0.15, 0.9))
        tonic = low + (tonic + 5 - low) % 12
    return Exercise("scales", events, float(rng.uniform(0.04, 0.1))), truth


def detuned(events: list[Event], cents: float, drift_cents: float) -> list[Event]:
    """Return the events out of tune by ``cents`` at the start, drifting from there."""
    last = max(1e-9, events[-1].onset_s)
    return [
        Event(e.onset_s, e.offset_s, e.midi + (cents + drift_cents * e.onset_s / last) / 100)
        for e in events
    ]
