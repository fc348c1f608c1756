"""From beats to seconds: tempo, count-in, clicks, and where every note stands in the track.

Conventions: a *beat* is what the foot taps: a quarter note, in 6/8, 9/8 and 12/8 a dotted quarter,
in 2/2 a half note. A track's tempo is in these beats a minute; tempo changes inside the piece keep
their proportion. Seconds count from the first sample of the track, count-in included.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction

from fairhearing.core.packet.score import Bar, Score
from fairhearing.core.packet.unfolding import PlayedNote, bar_order, played

LEAD_S = 0.5  # silence before the first click, so that no player cuts it off
DEFAULT_BPM = 90.0
SHARES = (0.6, 0.75, 0.9, 1.0)
GRACE_S = 0.09


@dataclass(frozen=True, slots=True)
class Click:
    """A tick of the count-in or the beat; ``first`` on the first beat of a bar."""

    at_s: float
    first: bool
    count_in: bool


@dataclass(frozen=True, slots=True)
class TimedNote:
    """A played note in seconds; ``ids`` are the printed note heads."""

    at_s: float
    duration_s: float
    note: PlayedNote


@dataclass(frozen=True, slots=True)
class TimedBar:
    """A bar as played: index into ``Score.bars``, start and end in seconds."""

    bar: int
    start_s: float
    end_s: float


@dataclass(frozen=True, slots=True)
class Timeline:
    """Everything of one track in time."""

    bpm: float
    notes: tuple[TimedNote, ...]
    bars: tuple[TimedBar, ...]
    clicks: tuple[Click, ...]
    music_from_s: float
    end_s: float


def beat_length(bar: Bar) -> Fraction:
    """Return the beat of a bar in quarter notes."""
    beats, unit = bar.time.beats, bar.time.beat_type
    if beats == 0:
        return Fraction(1)
    if unit >= 8 and beats % 3 == 0 and beats > 3:
        return Fraction(12, unit)
    return Fraction(4, unit) if unit <= 4 else Fraction(1)


def marked_bpm(score: Score) -> float | None:
    """Return the first printed tempo in beats a minute, None if there is none."""
    if not score.tempo_marks:
        return None
    return score.tempo_marks[0].quarter_bpm / float(beat_length(score.bars[0]))


def default_tempi(bpm: float) -> tuple[int, ...]:
    """Return tempi to practise at: three slower ones, rounded to even numbers, and the goal."""
    slower = {2 * round(bpm * share / 2) for share in SHARES[:-1]}
    return tuple(sorted({*slower, round(bpm)}))


def timeline(score: Score, bpm: float, *, part: int = 0, count_in_bars: int = 1) -> Timeline:
    """Lay a part out in time at a tempo.

    Parameters
    ----------
    score : Score
    bpm : float
        Beats a minute at the start.
    part : int
    count_in_bars : int
        Full bars of clicks before the music; an upbeat is counted up to.

    Raises
    ------
    ScoreFileError
        If the repeats are doubtful.
    """
    order = bar_order(score)
    stretch = (marked_bpm(score) or bpm) / bpm
    clicks, music_from = _count_in(score.bars[order[0]], bpm, count_in_bars)
    now = music_from
    bars: list[TimedBar] = []
    for index in order:
        bar = score.bars[index]
        end = now + _seconds(score, bar.start, bar.start + bar.length, bpm, stretch)
        bars.append(TimedBar(index, now, end))
        clicks.extend(_bar_clicks(score, bar, now, bpm, stretch))
        now = end
    notes = _timed_notes(score, part, bars, bpm, stretch)
    return Timeline(bpm, tuple(notes), tuple(bars), tuple(clicks), music_from, now)


def _seconds(score: Score, start: Fraction, end: Fraction, bpm: float, stretch: float) -> float:
    """Return how long a stretch of the written music takes."""
    total = 0.0
    beat = float(beat_length(score.bars[0]))
    tempi = [(Fraction(0), bpm * beat)]
    tempi += [(mark.onset, mark.quarter_bpm / stretch) for mark in score.tempo_marks]
    for index, (onset, quarters) in enumerate(tempi):
        until = tempi[index + 1][0] if index + 1 < len(tempi) else end
        first, last = max(start, onset), min(end, until)
        if index + 1 == len(tempi):
            last = end
        if last > first:
            total += float(last - first) * 60.0 / quarters
    return total


def _count_in(bar: Bar, bpm: float, bars: int) -> tuple[list[Click], float]:
    beat = beat_length(bar)
    full = bar.time.bar_length or bar.length
    upbeat = full - bar.length if bar.length < full else Fraction(0)
    per_bar = max(1, int(full / beat))
    if bars == 1 and per_bar < 3:
        bars = 2  # "one, two, one, two": a count-in of two clicks is too short to breathe
    beat_s = 60.0 / bpm
    count = bars * per_bar + int(upbeat / beat)
    clicks = [
        Click(LEAD_S + place * beat_s, place % per_bar == 0, True)
        for place in range(count if bars else 0)
    ]
    length = float((bars * full + upbeat) / beat) if bars else 0.0
    return clicks, LEAD_S + length * beat_s


def _bar_clicks(
    score: Score, bar: Bar, start_s: float, bpm: float, stretch: float
) -> Iterable[Click]:
    beat = beat_length(bar)
    full = bar.time.bar_length
    is_upbeat = bar is score.bars[0] and Fraction(0) < bar.length < full
    offset = full - bar.length if is_upbeat else Fraction(0)
    place = -(-offset // beat) * beat - offset  # first beat inside the bar
    while place < bar.length:
        at = start_s + _seconds(score, bar.start, bar.start + place, bpm, stretch)
        yield Click(at, place == 0 and not is_upbeat, False)
        place += beat


def _timed_notes(
    score: Score, part: int, bars: list[TimedBar], bpm: float, stretch: float
) -> list[TimedNote]:
    """Place notes in seconds; a held note ends where its last written beat does."""
    starts: list[Fraction] = []
    beats = Fraction(0)
    for timed in bars:
        starts.append(beats)
        beats += score.bars[timed.bar].length

    def second(at: Fraction) -> float:
        index = bisect_right(starts, at) - 1
        bar = score.bars[bars[index].bar]
        inside = at - starts[index]
        return bars[index].start_s + _seconds(score, bar.start, bar.start + inside, bpm, stretch)

    notes = []
    for note in played(score, part):
        at = second(note.onset)
        if note.grace:
            notes.append(TimedNote(max(at - GRACE_S, 0.0), GRACE_S, note))
            continue
        end = second(note.onset + note.duration)
        notes.append(TimedNote(at, end - at, note))
    return notes
