"""Invented etudes and invented takes of them, with exact truth.

An etude is a random tonal line in a school band's manner; a take follows it with a drifting
tempo, uneven onsets, wrong, missed and extra notes, restarts and skipped bars. Everything comes
from one seed; tuning and test seeds are kept apart (:data:`TUNING_SEEDS`, :data:`TEST_SEEDS`).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction
from itertools import pairwise

import numpy as np

from fairhearing.core.playing.alignment import Bar, Score, ScoreNote, repeat_turns

TUNING_SEEDS = range(0, 40)
TEST_SEEDS = range(7000, 7060)

Q = Fraction(1)
E = Fraction(1, 2)
S = Fraction(1, 4)
CELLS: dict[int, list[tuple[Fraction, ...]]] = {
    1: [(Q,), (E, E), (S, S, S, S), (E, S, S), (S, S, E), (E + S, S)],
    2: [(2 * Q,), (Q + E, E), (Q, Q), (E, Q, E)],
    3: [(3 * Q,), (2 * Q, Q)],
    4: [(4 * Q,), (3 * Q, Q)],
}
TRILLED = -1
MOVES = {"chord": ([-2, 2], [0.5, 0.5]), "step": ([-1, 1, 0], [0.42, 0.43, 0.15])}


@dataclass(frozen=True, slots=True)
class TakeNote:
    """A played note: what a perfect hearing would give."""

    onset_s: float
    offset_s: float
    midi: int
    cents: float | None = 0.0
    confidence: float = 0.95


@dataclass(slots=True)
class Take:
    """Notes with the written note that each stands for (None: extra), and what happened.

    The notes of a trill after its first stand for ``TRILLED``: neither written nor extra.
    """

    notes: list[TakeNote] = field(default_factory=list)
    of: list[int | None] = field(default_factory=list)
    outcome: dict[int, str] = field(default_factory=dict)
    restarts: list[tuple[float, int, int]] = field(default_factory=list)
    skipped: list[tuple[int, int]] = field(default_factory=list)
    bpm: float = 0.0


@dataclass(frozen=True, slots=True)
class Slips:
    """How often things go wrong in a take (per note), and how uneven it is."""

    wrong: float = 0.03
    missed: float = 0.02
    extra: float = 0.015
    restarts: int = 1
    skips: int = 1
    jitter_s: float = 0.018
    rhythm: float = 0.06
    drift: float = 0.02
    bpm: tuple[float, float] = (56.0, 132.0)


def make_etude(
    seed: int,
    *,
    bars: int = 24,
    lowest: int = 55,
    highest: int = 79,
    beats: int = 4,
    pickup: bool = False,
    repeat: bool = False,
    ornaments: bool = False,
    drum: bool = False,
    busy: float = 1.0,
) -> Score:
    """Invent an etude: scale steps, broken chords, repeated notes, rests, ties.

    ``busy`` weighs the figures with sixteenths: at 1 two beats in three have some, at .25 one.
    """
    rng = np.random.default_rng([seed, 11])
    tonic = int(rng.integers(lowest, min(lowest + 12, highest - 11)))
    steps = [0, 2, 4, 5, 7, 9, 11]
    ladder = [tonic + 12 * o + s for o in range(-3, 4) for s in steps]
    ladder = [p for p in ladder if lowest <= p <= highest]
    place = int(len(ladder) // 2)
    notes: list[ScoreNote] = []
    sheet: list[Bar] = []
    at = Fraction(0)
    for bar in range(bars):
        length = Fraction(1) if pickup and bar == 0 else Fraction(beats)
        sheet.append(Bar(str(bar if pickup else bar + 1), at, length))
        left, onset = length, at
        while left > 0:
            sizes = [k for k in CELLS if k <= left]
            weights = np.array([{1: 6.0, 2: 2.0, 3: 0.3, 4: 0.4}[k] for k in sizes])
            size = int(rng.choice(sizes, p=weights / weights.sum()))
            if bar == bars - 1 and left == beats:
                cell: tuple[Fraction, ...] = (Fraction(beats),)
                size = beats
            else:
                options = CELLS[size]
                odds = np.array([busy if min(c) <= S else 1.0 for c in options])
                cell = options[int(rng.choice(len(options), p=odds / odds.sum()))]
            chord = rng.random() < 0.25
            for part in cell:
                if rng.random() < 0.05 and notes and bar < bars - 1:
                    onset += part
                    continue
                move = (
                    int(rng.choice([-2, 2]))
                    if chord
                    else int(rng.choice([-1, 1, 0], p=[0.42, 0.43, 0.15]))
                )
                place = int(np.clip(place + move, 0, len(ladder) - 1))
                pitch = None if drum else ladder[place]
                tied = (
                    not drum
                    and bool(notes)
                    and onset == at
                    and rng.random() < 0.04
                    and notes[-1].onset + notes[-1].duration == onset
                )
                if tied:
                    pitch = notes[-1].midi
                if ornaments and not tied and rng.random() < 0.05 and part >= E:
                    grace_pitch = None if pitch is None else pitch + int(rng.choice([-1, 2]))
                    notes.append(ScoreNote(onset, Fraction(0), grace_pitch, bar, grace=True))
                trill = ornaments and not tied and part >= Q and rng.random() < 0.15
                notes.append(ScoreNote(onset, part, pitch, bar, tied=tied, trill=trill))
                onset += part
            left -= size
        at += length
    turns = repeat_turns(0, bars // 2 - 1) if repeat else ()
    return Score(tuple(notes), tuple(sheet), turns)


def play(score: Score, seed: int, slips: Slips | None = None, *, take_repeats: bool = True) -> Take:
    """Invent a take of a score."""
    return _Player(score, seed, slips or Slips(), take_repeats=take_repeats).play()


class _Player:
    """Goes through the written notes in playing order, stumbles as planned, keeps the time."""

    def __init__(self, score: Score, seed: int, slips: Slips, *, take_repeats: bool) -> None:
        self.score, self.slips = score, slips
        self.rng = np.random.default_rng([seed, 22])
        self.order = _order(score, take_repeats)
        self.starts = _bar_starts(score)
        self.cuts = _plan(self.rng, len(self.order), slips)
        self.base_s = 60.0 / float(self.rng.uniform(*slips.bpm))
        self.beat_s = self.base_s
        self.centre = float(self.rng.normal(0, 8))
        self.take = Take(bpm=60.0 / self.base_s)
        self.now = 1.0

    def play(self) -> Take:
        k = 0
        while k < len(self.order):
            if k in self.cuts:
                kind = self.cuts.pop(k)
                there = self._restart(k) if kind == "restart" else self._skip(k, kind)
                if there is not None:
                    k = there
                    continue
            self._note(k)
            k += 1
        return self.take

    def _restart(self, k: int) -> int | None:
        """Break off and go back to the start of this or one of the two bars before."""
        index = self.order[k]
        bar = self.score.notes[index].bar
        back = max(0, bar - int(self.rng.integers(0, 3)))
        target = self.starts.get(back)
        if target is None or target >= index or target not in self.order[:k]:
            return None
        self.now += float(self.rng.uniform(0.4, 1.8))
        self.take.restarts.append((self.now, bar, back))
        return max(at for at in range(k) if self.order[at] == target)

    def _skip(self, k: int, kind: str) -> int | None:
        """Leave out the next whole bar; where none begins here, try again at the next note."""
        index = self.order[k]
        bar = self.score.notes[index].bar
        ahead = self.starts.get(bar + 1)
        if bar + 2 >= len(self.score.bars):
            return None
        if self.starts.get(bar) != index or ahead is None or ahead not in self.order[k:]:
            self.cuts[k + 1] = kind
            return None
        self.take.outcome.update(dict.fromkeys(range(index, ahead), "missed"))
        self.take.skipped.append((bar, bar))
        self.now += float(self.rng.uniform(0.0, 0.6))
        return self.order.index(ahead, k)

    def _note(self, k: int) -> None:
        """Play one written note and go on to the time of the next."""
        rng, slips, index = self.rng, self.slips, self.order[k]
        note = self.score.notes[index]
        gap = float(_gap(self.score, self.order, k))
        if note.grace:
            if rng.random() < 0.7 and note.midi is not None:
                grace = TakeNote(self.now - 0.09, self.now - 0.01, note.midi, None, 0.8)
                self.take.notes.append(grace)
                self.take.of.append(index)
            return
        self.beat_s *= float(np.exp(rng.normal(0, slips.drift) * np.sqrt(max(gap, 0.05))))
        self.beat_s *= (self.base_s / self.beat_s) ** 0.05
        onset = self.now + float(rng.normal(0, slips.jitter_s))
        if self.take.notes:
            onset = max(onset, self.take.notes[-1].onset_s + 0.05)
        self._sound(note, index, onset)
        self.now += gap * self.beat_s * float(np.exp(rng.normal(0, slips.rhythm)))

    def _sound(self, note: ScoreNote, index: int, onset: float) -> None:
        """One written note: right, wrong, missed, trilled; an extra one may follow."""
        rng, slips, take = self.rng, self.slips, self.take
        dice = rng.random()
        midi = note.midi if note.midi is not None else 60
        length_s = float(_length(self.score, index)) * self.beat_s
        held = max(0.05, length_s * float(rng.uniform(0.7, 0.97)))
        cents = self.centre + float(rng.normal(0, 8))
        if dice < slips.missed:
            take.outcome[index] = "missed"
            return
        take.outcome[index] = "right"
        if dice < slips.missed + slips.wrong and note.midi is not None:
            midi += int(rng.choice([-2, -1, 1, 2]))
            take.outcome[index] = "wrong"
        if note.trill:
            for wave, at in enumerate(np.arange(onset, onset + held - 0.06, 0.09)):
                trilled = TakeNote(float(at), float(at) + 0.08, midi + 2 * (wave % 2), None, 0.9)
                take.notes.append(trilled)
                take.of.append(TRILLED if wave else index)
            return
        take.notes.append(TakeNote(onset, onset + held, midi, cents))
        take.of.append(index)
        if rng.random() < slips.extra and held > 0.3:
            cut = onset + 0.6 * held
            take.notes[-1] = TakeNote(onset, cut - 0.01, midi, cents)
            stray = midi + int(rng.choice([-2, -1, 1, 2]))
            take.notes.append(TakeNote(cut, onset + held, stray, cents))
            take.of.append(None)


def _order(score: Score, take_repeats: bool) -> list[int]:
    """The written notes in the order in which they are struck."""
    order: list[int] = []
    bar, done = 0, set()
    while bar < len(score.bars):
        order += [i for i, n in enumerate(score.notes) if n.bar == bar and not n.tied]
        turn = next((t for t in score.turns if t.after == bar and t not in done), None)
        if take_repeats and turn is not None:
            done.add(turn)
            bar = turn.to
        else:
            bar += 1
    return order


def _bar_starts(score: Score) -> dict[int, int]:
    """The first struck note of each bar."""
    starts: dict[int, int] = {}
    for index, note in enumerate(score.notes):
        if not note.tied:
            starts.setdefault(note.bar, index)
    return starts


def _plan(rng: np.random.Generator, n: int, slips: Slips) -> dict[int, str]:
    """Where restarts and skips are to happen, apart from one another."""
    kinds = ["restart"] * slips.restarts + ["skip"] * slips.skips
    if not kinds or n < 30:
        return {}
    edges = np.linspace(0.1 * n, 0.9 * n, len(kinds) + 1)
    places = [int(rng.uniform(a, a + 0.7 * (b - a))) for a, b in pairwise(edges)]
    rng.shuffle(kinds)
    return dict(zip(places, kinds, strict=True))


def _length(score: Score, index: int) -> Fraction:
    """Sounding length with its ties."""
    total = score.notes[index].duration
    for note in score.notes[index + 1 :]:
        if not note.tied:
            break
        total += note.duration
    return total


def _gap(score: Score, order: list[int], k: int) -> Fraction:
    """Beats from one struck note to the next in playing order."""
    here = score.notes[order[k]]
    if k + 1 >= len(order):
        return here.duration
    there = score.notes[order[k + 1]]
    if there.onset >= here.onset and order[k + 1] > order[k]:
        return there.onset - here.onset
    bar_end = score.bars[here.bar].start + score.bars[here.bar].length
    return bar_end - here.onset + there.onset - score.bars[there.bar].start
