"""Where each section of the audition lies: by what was played and the order asked for.

The chromatic scale and the scales are recognised by their notes. What is left before, between and
after them is named by the plan's order. Speech is only used as a boundary: what is said is not
understood. A person can move every boundary, see ``with_sections``.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fairhearing.core.playing.types import Note, Plan, Section, SectionKind

_PAUSE_S = 3.0
_JOIN_S = 2.5
_LEAST_NOTES = 5
_AT_ONCE_S = 0.4
_ANNOUNCED_WITHIN_S = 12.0
# A stretch belongs to the scales when this share of its notes lies in recognised scales.
_MOSTLY = 0.7
_FALSE_START_NOTES = 8
_STRANGE_NOTES = 14
_RISING_STEPS = 3


@dataclass(frozen=True, slots=True)
class Run:
    """Notes that belong together: positions, both included, and what parted them from before."""

    first: int
    last: int
    after_speech: bool
    pause_s: float


def speech_between(speech: Sequence[tuple[float, float]], start_s: float, end_s: float) -> float:
    """Return how many seconds of speech lie between two moments."""
    return sum(max(0.0, min(end, end_s) - max(start, start_s)) for start, end in speech)


def scale_region(
    notes: Sequence[Note],
    speech: Sequence[tuple[float, float]],
    scales: Sequence[Sequence[int]],
    first_allowed: int,
) -> tuple[int, int] | None:
    """Return the first and last position of the scales section.

    Parameters
    ----------
    notes : sequence of Note
    speech : sequence of (float, float)
    scales : sequence of sequence of int
        Positions of each recognised scale's own notes, in order; strays left out.
    first_allowed : int
        Position before which the scales cannot begin (after the chromatic scale).

    Notes
    -----
    A first scale that went so wrong that it was not recognised still starts the time. So the
    region is extended back to the last boundary when notes stand
    there that climb by step, or more of them than a spoken word has syllables.

    An etude may hold scales too. So the region ends before the first stretch between two
    boundaries (speech, or a long pause) that is not made of scales for the most part, and before
    a long row of notes of no scale where nothing parts them.
    """
    if not scales:
        return None
    first, last = scales[0][0], _last_of_scales(notes, speech, scales)
    back = first
    while back > first_allowed and not _boundary(notes, speech, back, _JOIN_S):
        back -= 1
    if _rises(notes[back:first]) or first - back >= _FALSE_START_NOTES:
        first = back
    # A first note that cracked stands right before the scale that was recognised.
    while first > back and notes[first].onset_s - notes[first - 1].offset_s < _AT_ONCE_S:
        first -= 1
    return first, last


def _rises(notes: Sequence[Note]) -> bool:
    """Say whether notes climb by step as a scale begins; a voice taken for notes falls or leaps."""
    steps = [after.midi - before.midi for before, after in itertools.pairwise(notes)]
    return sum(step in (1, 2) for step in steps) >= _RISING_STEPS


def _last_of_scales(
    notes: Sequence[Note],
    speech: Sequence[tuple[float, float]],
    scales: Sequence[Sequence[int]],
) -> int:
    """Return the last note of the scales, following them stretch by stretch."""
    degree = np.zeros(len(notes), dtype=bool)
    for scale in scales:
        degree[list(scale)] = True
    first, last = scales[0][0], scales[0][-1]
    for run in _runs(notes, speech, first, len(notes) - 1):
        inside = [scale for scale in scales if run.first <= scale[0] <= run.last]
        made_of_scales = degree[run.first : run.last + 1].mean() >= _MOSTLY
        if not inside and run.last - run.first < _FALSE_START_NOTES:
            continue  # a false start: the next stretch decides
        if not made_of_scales and run.first > first:
            break
        for scale in inside:
            if scale[0] - last > _STRANGE_NOTES and scale[0] > run.first:
                return last
            last = max(last, scale[-1])
    return last


def _boundary(
    notes: Sequence[Note], speech: Sequence[tuple[float, float]], position: int, pause_s: float
) -> bool:
    """Say whether a boundary lies just before a note."""
    before, here = notes[position - 1], notes[position]
    return (
        here.onset_s - before.offset_s > pause_s
        or speech_between(speech, before.offset_s - 0.1, here.onset_s + 0.1) > 0.3
    )


def find_sections(
    notes: Sequence[Note],
    speech: Sequence[tuple[float, float]],
    *,
    chromatic: tuple[int, int] | None,
    scales: tuple[int, int] | None,
    plan: Plan,
) -> tuple[Section, ...]:
    """Return the sections in order of time.

    Parameters
    ----------
    notes : sequence of Note
        In order of time, none of them speech.
    speech : sequence of (float, float)
        Stretches of speech in seconds.
    chromatic, scales : (int, int) or None
        First and last note of what was recognised.
    plan : Plan
    """
    anchors: list[tuple[int, int, SectionKind]] = []
    if chromatic is not None:
        anchors.append((*chromatic, "chromatic"))
    if scales is not None:
        anchors.append((*scales, "scales"))
    anchors.sort()
    named: list[tuple[int, int, SectionKind, float]] = []
    position = 0
    passed: list[SectionKind] = []
    for first, last, kind in [*anchors, (len(notes), len(notes), "other")]:
        following = kind if first < len(notes) else None
        wanted = _wanted(plan.order, passed, following)
        runs = _runs(notes, speech, position, first - 1)
        named += _name(runs, wanted, nothing_known=not anchors)
        if first < len(notes):
            named.append((first, last, kind, 0.9))
            passed.append(kind)
        position = last + 1
    # A stray stroke or a syllable taken for a note is not where the music begins.
    first_note_s = notes[named[0][0]].onset_s if named else float("inf")
    sections = _introduction(first_note_s, speech, plan)
    previous_end_s = 0.0
    for first, last, kind, confidence in named:
        start_s, end_s = notes[first].onset_s, notes[last].offset_s
        near = max(previous_end_s, start_s - _ANNOUNCED_WITHIN_S)
        announced = speech_between(speech, near, start_s) > 0.3
        sections.append(Section(kind, start_s, end_s, announced, confidence))
        previous_end_s = end_s
    return tuple(sections)


def _wanted(
    order: Sequence[SectionKind], passed: Sequence[SectionKind], following: SectionKind | None
) -> list[SectionKind]:
    """Return the kinds that the plan places between two recognised sections."""
    begin = max((order.index(kind) + 1 for kind in passed if kind in order), default=0)
    end = order.index(following) if following in order and following is not None else len(order)
    return [kind for kind in order[begin:end] if kind in ("etude", "honors")]


def _runs(
    notes: Sequence[Note], speech: Sequence[tuple[float, float]], first: int, last: int
) -> list[Run]:
    runs: list[Run] = []
    for position in range(first, last + 1):
        if position == first or _boundary(notes, speech, position, _PAUSE_S):
            before_s = notes[position - 1].offset_s if position else 0.0
            pause_s = notes[position].onset_s - before_s
            spoken = speech_between(speech, before_s - 0.1, notes[position].onset_s + 0.1) > 0.3
            runs.append(Run(position, position, spoken, pause_s))
        else:
            start = runs[-1]
            runs[-1] = Run(start.first, position, start.after_speech, start.pause_s)
    return runs


def _name(
    runs: list[Run], wanted: Sequence[SectionKind], *, nothing_known: bool
) -> list[tuple[int, int, SectionKind, float]]:
    """Give the runs between two recognised sections the names that the plan has for them."""
    if not runs:
        return []
    if not wanted:
        return [(run.first, run.last, "other", 0.5) for run in runs if _long(run)]
    leading: list[tuple[int, int, SectionKind, float]] = []
    if nothing_known:
        # More parts than names: what comes first is something else (rudiments, a scale in vain).
        parts: list[list[Run]] = []
        for run in runs:
            if run.after_speech or not parts:
                parts.append([])
            parts[-1].append(run)
        parts = [part for part in parts if any(_long(run) for run in part)]
        if len(parts) > len(wanted):
            before, parts = parts[: -len(wanted)], parts[-len(wanted) :]
            leading = [(r.first, r.last, "other", 0.5) for part in before for r in part if _long(r)]
            runs = [run for part in parts for run in part]
    groups = [runs]
    while len(groups) < len(wanted):
        cut = _best_cut(groups[-1])
        if cut is None:
            break
        groups[-1:] = [groups[-1][:cut], groups[-1][cut:]]
    named = leading
    for kind, group in zip(wanted, groups, strict=False):
        kept = [run for run in group if _long(run)]
        if kept:
            sure = 0.8 if group[0].after_speech else 0.6 if group is groups[0] else 0.4
            named.append((kept[0].first, kept[-1].last, kind, sure))
    return named


def _long(run: Run) -> bool:
    return run.last - run.first + 1 >= _LEAST_NOTES


def _best_cut(runs: Sequence[Run]) -> int | None:
    """Return where to part a row of runs: at the first speech, else at the longest pause."""
    possible = [
        i
        for i in range(1, len(runs))
        if any(_long(run) for run in runs[:i]) and any(_long(run) for run in runs[i:])
    ]
    spoken = [i for i in possible if runs[i].after_speech]
    if spoken:
        return spoken[0]
    return max(possible, key=lambda i: runs[i].pause_s, default=None)


def _introduction(
    first_note_s: float, speech: Sequence[tuple[float, float]], plan: Plan
) -> list[Section]:
    """Return the introduction: the speech before the music, less the announcement at its end."""
    before = [one for one in speech if one[0] < first_note_s]
    if not before or "introduction" not in plan.order:
        return []
    told = before[:-1] if len(before) > 1 else before
    return [Section("introduction", told[0][0], min(told[-1][1], first_note_s), False, 0.7)]
