"""One take, heard: pitch, notes, speech, sections, scales, tuning, in that order.

Everything that takes time is done once; :func:`with_sections` re-reads the result from its notes
after a person has moved the boundaries.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

from fairhearing.core.playing.attacks import Attacks, measure_attacks
from fairhearing.core.playing.chromatic import describe_chromatic, find_chromatic
from fairhearing.core.playing.measure import measure_notes
from fairhearing.core.playing.notes import Frames, NoteCosts, find_spans
from fairhearing.core.playing.pitch import HOP, HOP_S, PitchTrack, hz_of_midi, track_pitch
from fairhearing.core.playing.scales import Found, describe_scales, lay_scales
from fairhearing.core.playing.sections import find_sections, scale_region
from fairhearing.core.playing.speech import CHUNK, speech_probability, stretches
from fairhearing.core.playing.tuning import centre_of_frames, measure_tuning
from fairhearing.core.playing.types import (
    RATE_HZ,
    Chromatic,
    Note,
    PitchLine,
    Plan,
    Player,
    Playing,
    Remark,
    Scales,
    Section,
)

_WIDEST_RANGE = (28, 96)
"""Range that is listened to when the instrument is not known: E1 to C7."""

_STAYS_SEMITONES = 0.15
_STAYS_FRAMES = 8


def hear_playing(
    samples: NDArray[np.float32], *, player: Player | None = None, plan: Plan | None = None
) -> Playing:
    """Hear what was played in a take.

    Parameters
    ----------
    samples : ndarray of float32, shape (n,)
        The whole take, mono, −1…1, at :data:`~fairhearing.core.playing.types.RATE_HZ`; sample k
        at k / rate seconds.
    player : Player, optional
        The instrument's limits and transposition; guessed (and concert pitch) without.
    plan : Plan, optional
        What the audition asks for.

    Returns
    -------
    Playing
        The same input gives the same result.

    Raises
    ------
    ValueError
        If `samples` is not one-dimensional.
    """
    player = player or Player()
    plan = plan or Plan()
    if samples.ndim != 1:
        raise ValueError("samples must be mono, of shape (n,)")
    samples = np.nan_to_num(np.asarray(samples, dtype=np.float32))
    duration_s = len(samples) / RATE_HZ
    lowest, highest = _limits(player)
    track = track_pitch(samples, lowest_midi=lowest, highest_midi=highest)
    attacks = measure_attacks(samples, lowest_hz=hz_of_midi(lowest))
    speech = _speech(samples, track)
    spoken = _frames_within(speech, len(track.midi))
    tuning = _take_tuning(track, spoken)
    frames = Frames(
        track.midi - tuning, track.confidence, _onset_evidence(attacks), attacks.level_db
    )
    spans = [
        span
        for span in find_spans(frames, lowest_midi=lowest, highest_midi=highest, costs=NoteCosts())
        if not spoken[span.first : span.end].mean() > 0.3
    ]
    notes = measure_notes(spans, frames, tuning_semitones=tuning)
    line = PitchLine(
        HOP_S,
        np.where(track.confidence >= 0.5, track.midi, np.nan).astype(np.float32),
        attacks.level_db.astype(np.float32),
    )
    return _read(notes, speech, duration_s=duration_s, player=player, plan=plan, line=line)


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
    chromatic, reason = _chromatic(notes, _positions(notes, ordered, "chromatic"))
    inside = _positions(notes, ordered, "scales")
    found = _scales_in(notes, inside, playing.speech, plan)
    start_s = notes[inside[0]].onset_s if inside else None
    scales = _describe(notes, found, player, plan, start_s)
    return replace(
        playing, sections=ordered, chromatic=chromatic, chromatic_reason=reason, scales=scales
    )


def _limits(player: Player) -> tuple[int, int]:
    lowest = _WIDEST_RANGE[0] if player.lowest_midi is None else player.lowest_midi
    highest = _WIDEST_RANGE[1] if player.highest_midi is None else player.highest_midi
    return lowest, highest


def _speech(samples: NDArray[np.float32], track: PitchTrack) -> tuple[tuple[float, float], ...]:
    probability = speech_probability(samples)
    step = CHUNK // HOP
    stays = _pitch_stays(track)[: len(probability) * step]
    stays = np.pad(stays, (0, len(probability) * step - len(stays)))
    return stretches(probability, stays.reshape(-1, step).mean(axis=1))


def _pitch_stays(track: PitchTrack) -> NDArray[np.bool_]:
    """Say for each frame whether the pitch around it holds still, as that of a note does."""
    mean = uniform_filter1d(track.midi, _STAYS_FRAMES)
    square = uniform_filter1d(track.midi**2, _STAYS_FRAMES)
    spread = np.sqrt(np.maximum(square - mean**2, 0))
    sure = uniform_filter1d(track.confidence, _STAYS_FRAMES)
    return np.asarray((spread < _STAYS_SEMITONES) & (sure > 0.8))


def _frames_within(stretches_s: Sequence[tuple[float, float]], frames: int) -> NDArray[np.bool_]:
    inside = np.zeros(frames, dtype=np.bool_)
    for start_s, end_s in stretches_s:
        inside[round(start_s / HOP_S) : round(end_s / HOP_S)] = True
    return inside


def _take_tuning(track: PitchTrack, spoken: NDArray[np.bool_]) -> float:
    steady = _pitch_stays(track) & ~spoken
    return centre_of_frames(track.midi[steady], track.confidence[steady])


def _onset_evidence(attacks: Attacks) -> NDArray[np.float64]:
    evidence = np.clip((attacks.flux - 1.5) * 1.5, -1, 5) + np.clip(
        (attacks.rise_db - 3) * 0.3, -1, 3
    )
    # The spectrum grows fastest some 32 ms after the note has begun to sound.
    return np.concatenate([evidence[4:], np.full(min(4, len(evidence)), -2.0)])


def _read(
    notes: tuple[Note, ...],
    speech: tuple[tuple[float, float], ...],
    *,
    duration_s: float,
    player: Player,
    plan: Plan,
    line: PitchLine,
) -> Playing:
    """Find sections, chromatic scale and scales in the notes of a take."""
    run = find_chromatic(notes, speech)
    outside = [i for i in range(len(notes)) if run is None or not run.first <= i <= run.last]
    found = _scales_in(notes, outside, speech, plan)
    after = run.last + 1 if run is not None and found and _first(found) > run.last else 0
    region = scale_region(notes, speech, [(_first([f]), f.steps[-1][0]) for f in found], after)
    if region:  # a scale within the etude is no scale of the audition
        found = [one for one in found if one.steps[0][0] <= region[1]]
    sections = find_sections(
        notes,
        speech,
        chromatic=(run.first, run.last) if run else None,
        scales=region,
        plan=plan,
    )
    start_s = notes[region[0]].onset_s if region else None
    return Playing(
        notes=notes,
        speech=speech,
        sections=sections,
        tuning=measure_tuning(notes),
        chromatic=describe_chromatic(notes, run) if run else None,
        chromatic_reason=None if run else "no chromatic scale was heard",
        scales=_describe(notes, found, player, plan, start_s),
        drumming=None,
        remarks=_remarks(notes, speech),
        duration_s=duration_s,
        pitch_line=line,
    )


def _first(found: Sequence[Found]) -> int:
    return found[0].steps[0][0]


def _positions(notes: Sequence[Note], sections: Sequence[Section], kind: str) -> list[int]:
    spans = [(s.start_s - 0.05, s.end_s) for s in sections if s.kind == kind]
    return [i for i, n in enumerate(notes) if any(a <= n.onset_s < b for a, b in spans)]


def _chromatic(notes: Sequence[Note], inside: Sequence[int]) -> tuple[Chromatic | None, str | None]:
    own = [notes[i] for i in inside]
    run = find_chromatic(own)
    if run is None:
        return None, "no chromatic scale was heard in its section"
    return describe_chromatic(own, run), None


def _scales_in(
    notes: Sequence[Note],
    inside: Sequence[int],
    speech: Sequence[tuple[float, float]],
    plan: Plan,
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


def _remarks(notes: Sequence[Note], speech: Sequence[tuple[float, float]]) -> tuple[Remark, ...]:
    if notes:
        return ()
    if speech:
        return (Remark("no playing", "Somebody speaks, but no playing was heard."),)
    return (Remark("no playing", "No playing was heard."),)
