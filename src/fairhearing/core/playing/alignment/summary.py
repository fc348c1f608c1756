"""Bar for bar, in plain sentences, and as the ``etude`` part of the hearing report."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from fairhearing.core.playing.alignment.result import (
    Alignment,
    BarSummary,
    ExtraNote,
    HeardNote,
    NoteResult,
    Outcome,
)
from fairhearing.core.playing.alignment.score import Score
from fairhearing.core.playing.alignment.states import States
from fairhearing.core.playing.alignment.story import Story

Floats = NDArray[np.float64]
BarLap = tuple[int, int]


def bar_tempi(story: Story, states: States, beat_s: Floats) -> dict[BarLap, float]:
    """Median tempo in quarter notes a minute, keyed by (bar, lap); the last attempt counts."""
    collected: dict[BarLap, dict[int, float]] = {}
    for struck in story.struck():
        if np.isfinite(beat_s[struck.note]):
            key = (int(states.bar[struck.state]), struck.lap)
            collected.setdefault(key, {})[struck.state] = 60.0 / float(beat_s[struck.note])
    return {key: float(np.median(list(tempi.values()))) for key, tempi in collected.items()}


def bar_summaries(
    score: Score,
    results: Sequence[NoteResult],
    extras: Sequence[ExtraNote],
    heard: Sequence[HeardNote],
    tempi: dict[BarLap, float],
) -> tuple[BarSummary, ...]:
    """Sum up every bar that has a result, round after round."""
    groups: dict[tuple[int, int], list[NoteResult]] = {}
    for result in results:
        groups.setdefault((result.round, result.bar), []).append(result)
    last_round: dict[int, int] = {}
    for lap, bar in groups:
        last_round[bar] = max(lap, last_round.get(bar, 0))
    summaries = []
    for (lap, bar), members in sorted(groups.items()):
        struck = [one for one in members if one.note_index is not None]
        indices = [one.note_index for one in struck if one.note_index is not None]
        counts = {kind: sum(one.outcome is kind for one in members) for kind in Outcome}
        # An extra note has no round; it is counted where its bar was played last.
        extra = sum(e.sure and e.bar == bar for e in extras) if last_round[bar] == lap else 0
        summaries.append(
            BarSummary(
                bar=bar,
                number=score.bars[bar].number,
                round=lap,
                start_s=min((heard[k].onset_s for k in indices), default=None),
                end_s=max((heard[k].offset_s for k in indices), default=None),
                right=counts[Outcome.RIGHT],
                wrong=counts[Outcome.WRONG],
                missed=counts[Outcome.MISSED],
                not_sure=counts[Outcome.NOT_SURE],
                extra=extra,
                tempo_bpm=tempi.get((bar, lap)),
                rhythm_ms=_median(
                    [None if one.deviation_ms is None else abs(one.deviation_ms) for one in struck]
                ),
                length_ratio=_median([one.length_ratio for one in struck]),
                level_db=_median([one.level_db for one in struck]),
            )
        )
    return tuple(summaries)


def _median(values: Sequence[float | None]) -> float | None:
    """Median of the known values; None when there are none."""
    known = [value for value in values if value is not None]
    return float(np.median(known)) if known else None


def _size(value: float | None) -> float | None:
    """Absolute value of what is known."""
    return None if value is None else abs(value)


def sentences(
    score: Score, story: Story, states: States, shift: int, results: Sequence[NoteResult]
) -> list[str]:
    """What a person should read first."""
    says = []
    if shift:
        says.append(_shift_sentence(shift))
    reached = np.array([one.state for one in story.struck()])
    first, last = int(reached.min()), int(reached.max())
    if first > 0 and states.bar[first] > states.bar[0]:
        number = score.bars[int(states.bar[first])].number
        says.append(f"The take starts in bar {number}, not at the beginning.")
    if last < len(states) - 1 and states.bar[last] < states.bar[-1]:
        number = score.bars[int(states.bar[last])].number
        says.append(f"The take ends in bar {number}, before the end of the music.")
    taken = {turn for turn, _ in story.taken}
    for index, turn in enumerate(score.turns):
        passed = bool((states.bar[reached] > turn.after).any())
        if turn.kind == "repeat" and index not in taken and passed:
            says.append(f"The repeat after bar {score.bars[turn.after].number} was not played.")
    unsure = sum(one.outcome is Outcome.NOT_SURE for one in results)
    if unsure:
        says.append(f"Of {unsure} note{'s' if unsure > 1 else ''} the program is not sure.")
    return says


def _shift_sentence(shift: int) -> str:
    """Say by how much the take sounds above or below the page."""
    way = "higher" if shift > 0 else "lower"
    octaves, rest = divmod(abs(shift), 12)
    if rest == 0:
        much = "an octave" if octaves == 1 else f"{octaves} octaves"
        return f"The whole take sounds {much} {way} than written; the notes are compared there."
    much = f"{abs(shift)} semitone{'s' if abs(shift) > 1 else ''}"
    return (
        f"The whole take sounds {much} {way} than written, as when a part for another "
        "instrument is read; the notes are compared there."
    )


def etude_report(score: Score, alignment: Alignment) -> dict[str, object]:
    """Give the ``etude`` part of the hearing report, ready for JSON.

    Parameters
    ----------
    score : Score
        The score that was aligned.
    alignment : Alignment
        The result of :func:`align`.

    Returns
    -------
    dict
        ``tempo_bpm``, ``tempo_steadiness``, ``notes_right``, ``notes_wrong``, ``notes_missed``,
        ``notes_not_sure``, ``notes_extra``, ``restarts`` (how many), ``restarts_at``,
        ``skipped``, ``repeats``, ``shift_semitones``, ``says``, ``bars``. Counts are None when
        the take was not recognised; ``says`` has the reason.
    """
    known = alignment.recognised

    def number(bar: int) -> str:
        return score.bars[bar].number

    return {
        "recognised": known,
        "says": list(alignment.says),
        "tempo_bpm": _rounded(alignment.tempo_bpm, 1),
        "tempo_steadiness": _rounded(alignment.tempo_steadiness, 3),
        "notes_right": alignment.count(Outcome.RIGHT) if known else None,
        "notes_wrong": alignment.count(Outcome.WRONG) if known else None,
        "notes_missed": alignment.count(Outcome.MISSED) if known else None,
        "notes_not_sure": alignment.count(Outcome.NOT_SURE) if known else None,
        "notes_extra": sum(extra.sure for extra in alignment.extras) if known else None,
        "restarts": len(alignment.restarts) if known else None,
        "restarts_at": [
            {
                "at_s": round(one.at_s, 3),
                "from_bar": number(one.from_bar),
                "to_bar": number(one.to_bar),
            }
            for one in alignment.restarts
        ],
        "skipped": [
            {
                "at_s": round(one.at_s, 3),
                "first_bar": number(one.first_bar),
                "last_bar": number(one.last_bar),
            }
            for one in alignment.skips
        ],
        "repeats": [
            {
                "at_s": round(one.at_s, 3),
                "after_bar": number(one.after_bar),
                "to_bar": number(one.to_bar),
                "kind": one.kind,
            }
            for one in alignment.turns
        ],
        "shift_semitones": alignment.shift,
        "bars": [_bar_report(bar) for bar in alignment.bars],
    }


def _bar_report(bar: BarSummary) -> dict[str, object]:
    """One bar, ready for JSON."""
    return {
        "bar": bar.number,
        "round": bar.round,
        "start_s": _rounded(bar.start_s, 3),
        "end_s": _rounded(bar.end_s, 3),
        "right": bar.right,
        "wrong": bar.wrong,
        "missed": bar.missed,
        "not_sure": bar.not_sure,
        "extra": bar.extra,
        "tempo_bpm": _rounded(bar.tempo_bpm, 1),
        "rhythm_ms": _rounded(bar.rhythm_ms, 1),
        "length_ratio": _rounded(bar.length_ratio, 3),
        "level_db": _rounded(bar.level_db, 1),
    }


def _rounded(value: float | None, digits: int) -> float | None:
    """Round what is known."""
    return None if value is None else round(value, digits)
