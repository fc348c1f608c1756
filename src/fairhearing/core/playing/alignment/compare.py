"""Align a take with a score: guess, search, decide, and measure tempo, lengths and levels."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from fairhearing.core.playing.alignment.costs import Costs, build_tables
from fairhearing.core.playing.alignment.guesses import likely_shifts, start_tempi
from fairhearing.core.playing.alignment.outcomes import Doubts, Judgement, as_results, sounding
from fairhearing.core.playing.alignment.path import Path, search
from fairhearing.core.playing.alignment.result import (
    Alignment,
    HeardNote,
    NoteResult,
    Outcome,
    Restart,
    Skip,
    TempoPoint,
    TurnTaken,
)
from fairhearing.core.playing.alignment.score import Score, validate
from fairhearing.core.playing.alignment.states import States, build_states
from fairhearing.core.playing.alignment.story import Story, tell
from fairhearing.core.playing.alignment.summary import (
    bar_summaries,
    bar_tempi,
    sentences,
)
from fairhearing.core.playing.alignment.tempo import fit_pulse, steadiness

Floats = NDArray[np.float64]

FIRST_LOOK_NOTES = 60
"""The start tempi compete over this many heard notes; the best go on over the whole take."""
GO_ON_WITH = 2
LEAST_RIGHT = 8
LEAST_SHARE = 0.4
LEAST_AGREEMENT = 0.45
LEAST_AGREEMENT_THIN = 0.25
LEAST_FIT_THIN = 0.7
"""When a take is a take of this score: so many right notes (or all of a shorter score), this
share right of either the take or the page, and this share right of all that was struck, missed
or extra from first to last. When the hearing lost many notes a smaller share will do, if those
that it has fit the page as it stands."""
LEAST_AGREEMENT_STROKES = 0.7
DEAREST_STROKES = 1.15
MOST_OFF_BEAT = 0.28
"""The same for strokes without pitch: agreement, the cost of the path for each note, and the
share of strokes that are more than an eighth of a beat off the player's own pulse. Time alone
tells less than pitch does: of 48 invented takes of another rhythm three pass."""


STROKES = Costs(timing_cap=4.5, timing_share=0.08)
"""Without pitch only time tells, and strokes are more exact than notes that must speak."""


@dataclass(frozen=True, slots=True)
class _Found:
    """A finished search: by how much the take is shifted, the path, and how many are right."""

    shift: int
    path: Path
    right: int


@dataclass(frozen=True, slots=True)
class _Pulse:
    """Local tempo (s for a quarter) and onset deviation (s) of each heard note; NaN: none."""

    beat_s: Floats
    deviation_s: Floats


def align(
    score: Score,
    notes: Sequence[HeardNote],
    *,
    levels_db: Sequence[float | None] | None = None,
    costs: Costs | None = None,
    doubts: Doubts | None = None,
) -> Alignment:
    """Say of every written note whether it was played, and how.

    Parameters
    ----------
    score : Score
        One line of music in sounding pitch, or strokes without pitch.
    notes : sequence of HeardNote
        The heard notes (or strokes) of the etude.
    levels_db : sequence of float or None, optional
        Level of each heard note in dB; None: not measured.
    costs, doubts
        Settings; the defaults are those that were measured.

    Returns
    -------
    Alignment
        With ``recognised`` False, and nothing matched, when the take does not follow the score.

    Raises
    ------
    ScoreFileError
        The score contradicts itself.
    """
    validate(score)
    if not score.notes:
        return _nothing("The score has no notes, so there is nothing to compare with.")
    if not notes:
        return _nothing("No notes were heard, so nothing can be compared with the score.")
    states = build_states(score)
    costs = costs or (STROKES if states.unpitched else Costs())
    order = sorted(range(len(notes)), key=lambda k: (notes[k].onset_s, k))
    heard = [notes[k] for k in order]
    best = _best_search(states, heard, score.tempo_bpm, costs)
    if not _follows(best, states, len(heard)):
        return _nothing(_ANOTHER)
    onset = np.array([note.onset_s for note in heard])
    story = tell(states, score, best.path.steps, onset)
    judgement = Judgement(story, states, heard, shift=best.shift, doubts=doubts or Doubts())
    levels = None if levels_db is None else [levels_db[k] for k in order]
    described = _describe(score, judgement, levels)
    if states.unpitched and _off_beat(described) > MOST_OFF_BEAT:
        return _nothing(_ANOTHER)
    return _as_given(described, order)


_ANOTHER = (
    "What was played does not follow this score: it may be another piece, another part or too "
    "unclear to follow."
)


def _nothing(why: str) -> Alignment:
    """Say plainly that nothing was matched."""
    return Alignment(False, (why,), 0, (), (), (), (), (), (), (), None, None, ())


def _best_search(
    states: States, heard: Sequence[HeardNote], hint_bpm: float | None, costs: Costs
) -> _Found:
    """Search with every likely shift and keep the cheapest; the page as it stands has a lead."""
    onset = np.array([note.onset_s for note in heard])
    tempi = start_tempi(states, heard, hint_bpm)
    found: list[_Found] = []
    for shift in likely_shifts(states, heard):
        candidates = tempi
        first = FIRST_LOOK_NOTES
        if len(heard) > first:
            tables = build_tables(states, heard[:first], shift, costs)
            looks = search(states, tables, onset[:first], tempi, costs)
            looks.sort(key=lambda path: path.cost)
            candidates = [look.beat_s for look in looks[:GO_ON_WITH]]
        tables = build_tables(states, heard, shift, costs)
        paths = search(states, tables, onset, candidates, costs)
        path = min(paths, key=lambda one: one.cost)
        found.append(_Found(shift, path, _right(states, heard, shift, path)))
    lead = 0.1 * costs.missed * min(len(states), len(heard))
    return min(found, key=lambda one: one.path.cost + (lead if one.shift else 0.0))


def _right(states: States, heard: Sequence[HeardNote], shift: int, path: Path) -> int:
    """How many struck notes have the written pitch."""
    return sum(
        states.unpitched or sounding(heard[step.note]) - shift in states.pitch[step.state]
        for step in path.steps
    )


def _follows(best: _Found, states: States, heard: int) -> bool:
    """Whether the take is a take of this score at all."""
    steps = best.path.steps
    if not steps or best.right < min(LEAST_RIGHT, len(states)):
        return False
    passed = steps[-1].note - steps[0].note + 1
    missed = sum(max(0, b.state - a.state - 1) for a, b in pairwise(steps))
    agreement = best.right / (passed + missed)
    share = best.right / min(heard, len(states))
    if states.unpitched:
        # Every stroke fits some note, so the fit in time has to decide.
        dear = best.path.cost / min(heard, len(states))
        return agreement >= LEAST_AGREEMENT_STROKES and dear <= DEAREST_STROKES
    thin = best.shift == 0 and best.right / passed >= LEAST_FIT_THIN
    least = LEAST_AGREEMENT_THIN if thin else LEAST_AGREEMENT
    return agreement >= least and share >= LEAST_SHARE


def _off_beat(alignment: Alignment) -> float:
    """Share of strokes more than an eighth of a beat away from the player's pulse."""
    if alignment.tempo_bpm is None:
        return 0.0
    eighth_ms = 60_000 / alignment.tempo_bpm / 8
    late = [abs(r.deviation_ms) for r in alignment.results if r.deviation_ms is not None]
    return sum(one > eighth_ms for one in late) / max(1, len(late))


def _describe(
    score: Score, judgement: Judgement, levels: Sequence[float | None] | None
) -> Alignment:
    """Put together what the judgement and the pulse say."""
    story, states, heard = judgement.story, judgement.states, judgement.notes
    pulse = _pulse(story, states, heard)
    results = as_results(judgement.decide(), states)
    results = [_measured(one, judgement, pulse) for one in results]
    if levels is not None:
        results = _with_levels(results, levels)
    extras = judgement.extras()
    tempi = bar_tempi(story, states, pulse.beat_s)
    in_bars = np.array(list(tempi.values()))
    restarts, skips = _breaks(story, states, heard)
    return Alignment(
        recognised=True,
        says=tuple(sentences(score, story, states, judgement.shift, results)),
        shift=judgement.shift,
        results=tuple(results),
        pairs=tuple((one.note, states.members[one.state][0]) for one in story.struck()),
        extras=extras,
        restarts=restarts,
        skips=skips,
        turns=_turns(score, story, heard),
        tempo=tuple(
            TempoPoint(
                heard[one.note].onset_s,
                float(states.beat[one.state]),
                60.0 / float(pulse.beat_s[one.note]),
            )
            for one in story.struck()
            if np.isfinite(pulse.beat_s[one.note])
        ),
        tempo_bpm=float(np.median(in_bars)) if len(in_bars) else None,
        tempo_steadiness=steadiness(in_bars),
        bars=bar_summaries(score, results, extras, heard, tempi),
    )


def _as_given(alignment: Alignment, order: Sequence[int]) -> Alignment:
    """Count the heard notes as the caller gave them."""
    return replace(
        alignment,
        results=tuple(
            one if one.note_index is None else replace(one, note_index=order[one.note_index])
            for one in alignment.results
        ),
        pairs=tuple((order[note], written) for note, written in alignment.pairs),
        extras=tuple(replace(one, note_index=order[one.note_index]) for one in alignment.extras),
    )


def _pulse(story: Story, states: States, heard: Sequence[HeardNote]) -> _Pulse:
    """Fit the pulse of every stretch."""
    beat_s, deviation_s = np.full(len(heard), np.nan), np.full(len(heard), np.nan)
    for stretch in story.stretches:
        timed = [struck for struck in stretch if not states.grace[struck.state]]
        if timed:
            at = np.array([struck.note for struck in timed])
            beats = np.array([struck.through_beat for struck in timed])
            fitted = fit_pulse(beats, np.array([heard[k].onset_s for k in at]))
            beat_s[at], deviation_s[at] = fitted.beat_s, fitted.deviation_s
    return _Pulse(beat_s, deviation_s)


def _measured(result: NoteResult, judgement: Judgement, pulse: _Pulse) -> NoteResult:
    """Add onset, deviation, length and cents to the result of a struck note."""
    if result.note_index is None:
        return result
    k, states, heard = result.note_index, judgement.states, judgement.notes
    note, beat_s, deviation_s = heard[k], pulse.beat_s[k], pulse.deviation_s[k]
    length = float(states.length[states.of_note(result.score_index)])
    ratio = None
    if np.isfinite(beat_s) and length > 0:
        ratio = float((note.offset_s - note.onset_s) / (length * beat_s))
    return replace(
        result,
        onset_s=note.onset_s,
        deviation_ms=1000 * float(deviation_s) if np.isfinite(deviation_s) else None,
        length_ratio=ratio,
        cents_off=None
        if note.cents is None or result.outcome is not Outcome.RIGHT
        else float(note.cents - judgement.centre_cents),
    )


def _with_levels(results: Sequence[NoteResult], levels: Sequence[float | None]) -> list[NoteResult]:
    """Add the level of each struck note against the median of the etude."""
    struck = [one.note_index for one in results if one.note_index is not None]
    known = [level for k in struck if (level := levels[k]) is not None]
    middle = float(np.median(known)) if known else 0.0
    return [
        one
        if one.note_index is None or (level := levels[one.note_index]) is None
        else replace(one, level_db=float(level) - middle)
        for one in results
    ]


def _turns(score: Score, story: Story, heard: Sequence[HeardNote]) -> tuple[TurnTaken, ...]:
    """Repeats and endings that were played."""
    return tuple(
        TurnTaken(
            heard[struck.note].onset_s,
            score.turns[turn].after,
            score.turns[turn].to,
            score.turns[turn].kind,
        )
        for turn, struck in story.taken
    )


def _breaks(
    story: Story, states: States, heard: Sequence[HeardNote]
) -> tuple[tuple[Restart, ...], tuple[Skip, ...]]:
    """Restarts, and the whole bars that were left out."""
    restarts, skips = [], []
    for jump in story.breaks:
        at_s = heard[jump.first.note].onset_s
        first, last = jump.first.state, jump.last.state
        from_bar, to_bar = int(states.bar[last]), int(states.bar[first])
        if jump.back:
            written = states.members[last][0], states.members[first][0]
            restarts.append(Restart(at_s, from_bar, to_bar, *written))
            continue
        left_out = states.bar[last + 1 : first]
        whole = [
            bar
            for bar in range(from_bar, to_bar + 1)
            if (left_out == bar).sum() == (states.bar == bar).sum() > 0
        ]
        if whole:
            skips.append(Skip(at_s, whole[0], whole[-1]))
    return tuple(restarts), tuple(skips)
