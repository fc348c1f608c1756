"""From the path of the search to its story: stretches, restarts, skips, turns, missed notes.

A *stretch* is played without a break; a restart or a skip starts a new one. A *lap* counts how
often a state was passed through because a repeat was taken (a restart stays in its lap).
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from fairhearing.core.playing.alignment.path import Move, Step
from fairhearing.core.playing.alignment.score import Score
from fairhearing.core.playing.alignment.states import States

_RECENT = 9
"""Struck notes over which the tempo before a jump is taken."""
_AS_WRITTEN = 0.2
"""A jump ahead that takes the written time within this share is no jump."""


@dataclass(frozen=True, slots=True)
class Struck:
    """A written note that was struck: state, lap, heard note, beat counted through turns."""

    state: int
    lap: int
    note: int
    through_beat: float


@dataclass(frozen=True, slots=True)
class Gone:
    """A written note without a heard one.

    ``after`` and ``before`` are the struck notes around it in the same stretch, when there are;
    ``due`` is its place between them, 0 … 1; ``why`` is "between" two struck notes, "skipped",
    "start" (before the first note heard) or "end" (after the last).
    """

    state: int
    lap: int
    after: Struck | None
    before: Struck | None
    due: float | None
    why: str


@dataclass(frozen=True, slots=True)
class Break:
    """A jump: the struck notes on both sides of it."""

    last: Struck
    first: Struck

    @property
    def back(self) -> bool:
        """True for a restart, False for bars left out."""
        return self.first.state <= self.last.state


@dataclass(slots=True)
class Story:
    """The path told in order; ``taken`` pairs a turn's place with the note after it."""

    stretches: list[list[Struck]] = field(default_factory=list)
    gone: list[Gone] = field(default_factory=list)
    breaks: list[Break] = field(default_factory=list)
    taken: list[tuple[int, Struck]] = field(default_factory=list)

    def struck(self) -> list[Struck]:
        """Every struck note, in the order of the take."""
        return [one for stretch in self.stretches for one in stretch]


def tell(
    states: States, score: Score, steps: tuple[Step, ...], onset_s: NDArray[np.float64]
) -> Story:
    """Tell the story of a path (at least one step); ``onset_s`` of the heard notes."""
    return _Teller(states, score, onset_s).tell(steps)


class _Teller:
    """Walks along the steps and keeps count of laps and of the beats gained by turns."""

    def __init__(self, states: States, score: Score, onset_s: NDArray[np.float64]) -> None:
        self.states = states
        self.onset_s = onset_s
        self.score = score
        self.story = Story()
        self.lap: NDArray[np.int64] = np.ones(len(states), dtype=np.int64)
        self.passed_over: NDArray[np.bool_] = np.zeros(len(states), dtype=np.bool_)
        self.gained_beats = 0.0

    def tell(self, steps: tuple[Step, ...]) -> Story:
        last: Struck | None = None
        for step in steps:
            if step.turn is not None and last is not None:
                self._turn(step, last)
            struck = Struck(
                step.state,
                int(self.lap[step.state]),
                step.note,
                float(self.states.beat[step.state]) + self.gained_beats,
            )
            if step.turn is not None:
                self.story.taken.append((step.turn, struck))
            if last is None or (step.move is Move.JUMP and not self._time_passed(last, struck)):
                self.story.stretches.append([])
                if last is not None:
                    self.story.breaks.append(Break(last, struck))
                    self._gone(range(last.state + 1, step.state), "skipped")
            elif step.turn is None:
                self._between(last, struck)
            self.story.stretches[-1].append(struck)
            last = struck
        self._drop_echo()
        self._outside()
        return self.story

    def _drop_echo(self) -> None:
        """A single note after the last break is a stray one, not a restart."""
        story = self.story
        if len(story.stretches) > 1 and len(story.stretches[-1]) == 1 and story.breaks[-1].back:
            story.stretches.pop()
            story.breaks.pop()

    def _time_passed(self, last: Struck, struck: Struck) -> bool:
        """Whether a jump ahead took the time that is written: nothing was skipped, only lost."""
        recent = self.story.stretches[-1][-_RECENT:]
        beats = recent[-1].through_beat - recent[0].through_beat
        ahead = struck.through_beat - last.through_beat
        if struck.state <= last.state or beats <= 0 or ahead <= 0:
            return False
        beat_s = (self.onset_s[recent[-1].note] - self.onset_s[recent[0].note]) / beats
        took = self.onset_s[struck.note] - self.onset_s[last.note]
        return bool(abs(took / (ahead * beat_s) - 1) < _AS_WRITTEN)

    def _gone(self, which: range, why: str, after: Struck | None = None) -> None:
        self.story.gone += [Gone(s, int(self.lap[s]), after, None, None, why) for s in which]

    def _turn(self, step: Step, last: Struck) -> None:
        """Count the lap of a turn, the notes missed on its two sides and the beats gained."""
        assert step.turn is not None
        states, turn = self.states, self.score.turns[step.turn]
        leave = int(np.searchsorted(states.bar, turn.after, side="right"))
        enter = int(np.searchsorted(states.bar, turn.to, side="left"))
        self._gone(range(last.state + 1, leave), "between", last)
        if turn.to <= turn.after:
            self.lap[enter:leave] += 1
        else:
            self.passed_over[leave:enter] = True
        self._gone(range(enter, step.state), "between", last)
        end = self.score.bars[turn.after].start + self.score.bars[turn.after].length
        self.gained_beats += float(end - self.score.bars[turn.to].start)

    def _between(self, last: Struck, struck: Struck) -> None:
        """Notes missed between two struck ones, and where they were due."""
        span = struck.through_beat - last.through_beat
        for state in range(last.state + 1, struck.state):
            beat = float(self.states.beat[state]) + self.gained_beats
            due = (beat - last.through_beat) / span if span > 0 else None
            gone = Gone(state, int(self.lap[state]), last, struck, due, "between")
            self.story.gone.append(gone)

    def _outside(self) -> None:
        """Notes before the first and after the last that was ever reached."""
        reached = {one.state for one in self.story.struck()}
        reached |= {gone.state for gone in self.story.gone}
        first, last = min(reached), max(reached)
        for state in range(len(self.states)):
            if state not in reached and not self.passed_over[state]:
                why = "start" if state < first else "end" if state > last else "skipped"
                self._gone(range(state, state + 1), why)
