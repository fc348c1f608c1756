"""From the notes of a take to its sections, chromatic scale, scales and tuning.

Everything here works on notes and takes milliseconds, so that it can be done anew after a person
has moved a boundary.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from fairhearing.core.playing.chromatic import ChromaticRun, describe_chromatic, find_chromatic
from fairhearing.core.playing.scales import Found, describe_scales, lay_scales
from fairhearing.core.playing.sections import find_sections, scale_region
from fairhearing.core.playing.tuning import measure_tuning
from fairhearing.core.playing.types import (
    Chromatic,
    Drumming,
    Note,
    Plan,
    Player,
    Playing,
    Scales,
    Section,
    Tuning,
)

Speech = Sequence[tuple[float, float]]

NO_PITCH = "drums without pitch were played"
_STROKE_S = 0.05
_MOST_BETWEEN = 14


@dataclass(frozen=True, slots=True)
class Reading:
    """What the notes of a take say; the fields are those of ``Playing``."""

    sections: tuple[Section, ...]
    tuning: Tuning
    chromatic: Chromatic | None
    chromatic_reason: str | None
    scales: Scales


def read_notes(notes: Sequence[Note], speech: Speech, *, player: Player, plan: Plan) -> Reading:
    """Find sections, chromatic scale, scales and tuning in the notes of a take."""
    run = find_chromatic(notes, speech)
    found = _together(_scales_beside(notes, run, speech, plan))
    region = None
    if found:
        after = run.last + 1 if run is not None and _first(found) > run.last else 0
        own = [one.own_notes(notes) for one in found]
        region = scale_region(notes, speech, own, after)
        # A scale within the etude is no scale of the audition.
        found = [one for one in found if region and one.steps[0][0] <= region[1]]
    sections = find_sections(
        notes,
        speech,
        chromatic=(run.first, run.last) if run else None,
        scales=region,
        plan=plan,
    )
    start_s = notes[region[0]].onset_s if region else None
    return Reading(
        sections=sections,
        tuning=measure_tuning(notes),
        chromatic=describe_chromatic(notes, run) if run else None,
        chromatic_reason=None if run else "no chromatic scale was heard",
        scales=_describe(notes, found, player, plan, start_s),
    )


def read_strokes(drumming: Drumming, speech: Speech, *, plan: Plan) -> Reading:
    """Find the sections of a take on drums: strokes parted by speech and pauses, in order."""
    beats = [(s.onset_s, s.onset_s + _STROKE_S) for s in drumming.strokes]
    beats += [(roll.start_s, roll.end_s) for roll in drumming.rolls]
    notes = [Note(start, end, 0, None, None, 1.0) for start, end in sorted(beats)]
    sections = find_sections(notes, speech, chromatic=None, scales=None, plan=plan)
    return Reading(
        sections=sections,
        tuning=Tuning(None, None, None, (), NO_PITCH),
        chromatic=None,
        chromatic_reason=NO_PITCH,
        scales=Scales(None, None, (), NO_PITCH),
    )


def with_sections(
    playing: Playing, sections: Sequence[Section], *, player: Player, plan: Plan
) -> Playing:
    """Read a take anew after a person has set the boundaries; takes well under a second.

    Parameters
    ----------
    playing : Playing
        As heard before.
    sections : sequence of Section
        The sections as they shall be. The chromatic scale is looked for only in the section of
        that kind, and so are the scales; the time for the scales starts with the first note of
        their section.
    player : Player
    plan : Plan
    """
    notes = playing.notes
    ordered = tuple(sorted(sections, key=lambda section: section.start_s))
    if player.kind == "drum":
        return replace(playing, sections=ordered)
    own = [notes[i] for i in _positions(notes, ordered, "chromatic")]
    run = find_chromatic(own)
    inside = _positions(notes, ordered, "scales")
    found = _scales_in(notes, inside, playing.speech, plan)
    start_s = notes[inside[0]].onset_s if inside else None
    return replace(
        playing,
        sections=ordered,
        chromatic=describe_chromatic(own, run) if run else None,
        chromatic_reason=None if run else "no chromatic scale was heard in its section",
        scales=_describe(notes, found, player, plan, start_s),
    )


def _first(found: Sequence[Found]) -> int:
    return found[0].steps[0][0]


def _positions(notes: Sequence[Note], sections: Sequence[Section], kind: str) -> list[int]:
    spans = [(s.start_s - 0.05, s.end_s) for s in sections if s.kind == kind]
    return [i for i, n in enumerate(notes) if any(a <= n.onset_s < b for a, b in spans)]


def _scales_beside(
    notes: Sequence[Note], run: ChromaticRun | None, speech: Speech, plan: Plan
) -> list[Found]:
    """Return the scales on one side of the chromatic scale: the side that the plan says."""
    if run is None:
        return _scales_in(notes, range(len(notes)), speech, plan)
    before = _scales_in(notes, range(run.first), speech, plan)
    after = _scales_in(notes, range(run.last + 1, len(notes)), speech, plan)
    order = plan.order
    if "chromatic" in order and "scales" in order:
        first, second = (
            (after, before) if order.index("scales") > order.index("chromatic") else (before, after)
        )
        return first or second
    return max(before, after, key=len)


def _together(found: Sequence[Found]) -> list[Found]:
    """Return the scales that stand together; one in the middle of an etude is no scale."""
    clusters: list[list[Found]] = []
    for one in found:
        if clusters:
            between = _first([one]) - clusters[-1][-1].steps[-1][0] - 1
            if between <= _MOST_BETWEEN:
                clusters[-1].append(one)
                continue
        clusters.append([one])
    return max(clusters, key=lambda cluster: sum(len(one.steps) for one in cluster), default=[])


def _scales_in(
    notes: Sequence[Note], inside: Sequence[int], speech: Speech, plan: Plan
) -> list[Found]:
    """Lay scales over some of the notes, never across speech; positions count in the whole list."""
    parts: dict[int, list[int]] = {}
    for i in inside:
        parts.setdefault(sum(end < notes[i].offset_s for _, end in speech), []).append(i)
    return [
        Found(one.pattern, tuple((part[i], degree, code) for i, degree, code in one.steps))
        for part in parts.values()
        for one in lay_scales(np.array([notes[i].midi for i in part]), plan.modes)
    ]


def _describe(
    notes: Sequence[Note],
    found: Sequence[Found],
    player: Player,
    plan: Plan,
    start_s: float | None,
) -> Scales:
    return describe_scales(
        notes,
        found,
        plan=plan,
        sounding_minus_written=player.sounding_minus_written,
        window_start_s=start_s,
    )
