"""One track's time tables laid out on the player's timeline, with what is irregular in them.

A track is *even* when nearly all of its durations are the same (to a tick where the clock is
coarse); only then does an odd duration mean anything. Variable frame rate and trembling sound
clocks are ordinary: such a track has no odd durations, only squeezed ones.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from fairhearing.core.recording.facts import ContainerFacts, Edit, TrackFacts

_MOST_SAMPLES = 2_000_000
_FEWEST_SAMPLES = 8
_COARSE_HZ = 10_000
_EVEN_SHARE = 0.97
_EXACT_SHARE = 0.98  # then even a coarse clock does not round
_MOST_IRREGULAR_SHARE = 0.01
_SQUEEZED_SHARE = 0.05  # of the usual duration
_SQUEEZED_S = 0.002
_RHYTHM_SHARE = 0.6
_RHYTHM_SLACK = 0.05
_UNSETTLED = 3  # samples at the beginning, and
_TAIL = 2  # at the end, whose durations are odd in genuine files


@dataclass(frozen=True, slots=True)
class Irregularity:
    """A stretch of odd durations: from the sample before it to the one after it (seconds).

    ``manner``: "squeezed" into almost no time; a "gap" of whole missing samples; another "step".
    """

    start_s: float
    end_s: float
    manner: Literal["squeezed", "gap", "step"]


@dataclass(frozen=True, slots=True)
class KeyFrame:
    """A place where the picture can be entered, and whether it is out of the usual rhythm.

    ``time_s`` is its own time stamp, ``shown_s`` when it is seen: where time stamps overlap, what
    was stored before is shown before.
    """

    time_s: float
    shown_s: float
    out_of_rhythm: bool


@dataclass(frozen=True, slots=True)
class Timeline:
    """A track on the player's timeline; all in seconds.

    Attributes
    ----------
    kind : str
        "video" or "audio".
    step_s : float
        The usual duration of a sample.
    start_s, end_s : float
        First and last moment that is shown.
    hidden_lead_s : float
        Length that the file holds before its first shown moment.
    irregular : tuple of Irregularity
        Inside the timeline only.
    key_frames_s : tuple of KeyFrame or None
        None when every sample is one.
    new_descriptions_s, edit_jumps_s : tuple of float
        Where the coder's description changes, and where the edit list jumps.
    """

    kind: Literal["video", "audio"]
    step_s: float
    start_s: float
    end_s: float
    hidden_lead_s: float
    irregular: tuple[Irregularity, ...]
    key_frames_s: tuple[KeyFrame, ...] | None
    new_descriptions_s: tuple[float, ...]
    edit_jumps_s: tuple[float, ...]


def timelines(facts: ContainerFacts) -> list[Timeline]:
    """Lay out the first picture and the first sound track; none for tables that are too long."""
    lines: list[Timeline] = []
    origin_s = _origin_s(facts)
    for kind in ("video", "audio"):
        track = next((track for track in facts.tracks if track.kind == kind), None)
        if track is None:
            continue
        samples = sum(count for count, _ in track.durations)
        if _FEWEST_SAMPLES <= samples <= _MOST_SAMPLES:
            lines.append(_laid_out(track, facts.container == "matroska", origin_s))
    return lines


def _origin_s(facts: ContainerFacts) -> float:
    """Matroska's players count from the earliest time stamp."""
    if facts.container != "matroska":
        return 0.0
    starts = [t.starts_at / t.timescale for t in facts.tracks if t.durations]
    return max(0.0, min(starts, default=0.0))


def _laid_out(track: TrackFacts, is_matroska: bool, origin_s: float) -> Timeline:
    ticks = _expanded(track.durations)
    decoded = track.starts_at + np.concatenate([[0], np.cumsum(ticks)[:-1]])
    if is_matroska:
        decoded = np.sort(decoded)  # stored times are those of showing
        ticks = np.concatenate([np.diff(decoded), ticks[-1:]])
    shown = decoded.copy()
    offsets = _expanded(track.offsets)[: len(shown)]
    shown[: len(offsets)] += offsets
    edit = next((edit for edit in track.edits if edit.media_time >= 0), None)
    pause_s = _pause_before(track.edits)
    first_tick = int(edit.media_time) if edit is not None else 0
    to_s = 1.0 / track.timescale
    times_s = (shown - first_tick) * to_s + pause_s - origin_s
    step = _usual(ticks[:-1] if len(ticks) > 1 else ticks)
    end_s = float(times_s.max()) + step * to_s
    lasts_s = float(sum(e.lasts_s for e in track.edits if e.media_time >= 0))
    return Timeline(
        kind="video" if track.kind == "video" else "audio",
        step_s=step * to_s,
        start_s=max(pause_s, float(times_s.min())),
        end_s=max(0.0, min(end_s, pause_s + lasts_s) if lasts_s > 0 else end_s),
        hidden_lead_s=max(0.0, (first_tick - int(shown.min())) * to_s),
        irregular=_irregular(ticks, times_s, step, to_s, coarse=track.timescale < _COARSE_HZ),
        key_frames_s=_key_frames(track, times_s, step * to_s),
        new_descriptions_s=tuple(
            max(0.0, float(times_s[n])) for n in track.new_descriptions if 0 < n < len(times_s)
        ),
        edit_jumps_s=_edit_jumps(track, step),
    )


def _expanded(runs: tuple[tuple[int, int], ...]) -> NDArray[np.int64]:
    if not runs:
        return np.zeros(0, np.int64)
    counts, ticks = np.array(runs, dtype=np.int64).T
    kept = np.minimum(counts, _MOST_SAMPLES)
    before = np.concatenate([[0], np.cumsum(kept)[:-1]])
    kept = np.clip(kept, 0, np.maximum(0, _MOST_SAMPLES - before))
    return np.repeat(ticks, kept)


def _usual(ticks: NDArray[np.int64]) -> int:
    """The most frequent positive duration."""
    positive = ticks[ticks > 0]
    if len(positive) == 0:
        return 1
    values, counts = np.unique(positive, return_counts=True)
    return int(values[np.argmax(counts)])


def _pause_before(edits: tuple[Edit, ...]) -> float:
    """Length of the empty stretches before the first shown one."""
    pause = 0.0
    for edit in edits:
        if edit.media_time >= 0:
            break
        pause += float(edit.lasts_s)
    return pause


def _irregular(
    ticks: NDArray[np.int64], times_s: NDArray[np.float64], step: int, to_s: float, *, coarse: bool
) -> tuple[Irregularity, ...]:
    inner = ticks[:-_TAIL]
    squeezed = (inner <= max(1, round(_SQUEEZED_SHARE * step))) & (inner * to_s < _SQUEEZED_S)
    if coarse:
        squeezed &= inner < 1
    rest = inner[~squeezed]
    exact = len(rest) > 0 and np.mean(rest == step) >= _EXACT_SHARE
    tolerance = 1 if coarse and not exact else 0
    odd = np.abs(inner - step) > tolerance
    even = len(rest) > 0 and np.mean(np.abs(rest - step) <= tolerance) >= _EVEN_SHARE
    if not even:
        odd = squeezed
    odd[:_UNSETTLED] = False
    starts, ends = _stretches(odd)
    if len(starts) > max(3, _MOST_IRREGULAR_SHARE * len(inner)):
        # Odd durations all along are a habit of the recorder; squeezed ones still are not.
        odd = squeezed & odd
        starts, ends = _stretches(odd)
        if len(starts) > max(3, _MOST_IRREGULAR_SHARE * len(inner)):
            return ()
    found = []
    for start, end in zip(starts, ends, strict=True):
        stretch = inner[start:end]
        # The stretch may end with a duration that makes up for a squeezed one.
        found.append(
            Irregularity(
                float(times_s[start]),
                float(times_s[min(end, len(times_s) - 1)]),
                _manner(stretch, squeezed[start:end], step, tolerance),
            )
        )
    return tuple(found)


def _manner(
    stretch: NDArray[np.int64], squeezed: NDArray[np.bool_], step: int, tolerance: int
) -> Literal["squeezed", "gap", "step"]:
    if squeezed.any():
        return "squeezed"
    whole = np.round(stretch / step)
    missing = (whole >= 2) & (np.abs(stretch - whole * step) <= tolerance + 0.02 * step)
    return "gap" if missing.all() else "step"


def _stretches(odd: NDArray[np.bool_]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Beginnings and ends (exclusive) of the stretches of True."""
    edges = np.diff(np.concatenate([[False], odd, [False]]).astype(np.int8))
    return np.flatnonzero(edges == 1), np.flatnonzero(edges == -1)


def _key_frames(
    track: TrackFacts, times_s: NDArray[np.float64], step_s: float
) -> tuple[KeyFrame, ...] | None:
    if track.key_frames is None:
        return None
    before = np.concatenate([[-np.inf], np.maximum.accumulate(times_s)[:-1]])
    shown_s = np.where(times_s > before, times_s, before + step_s)
    keys = np.array(sorted({n for n in track.key_frames if n < len(times_s)}), dtype=np.int64)
    apart = np.diff(keys)
    out = np.zeros(len(keys), dtype=np.bool_)
    if len(apart) >= 2:
        values, counts = np.unique(apart, return_counts=True)
        if counts.max() >= _RHYTHM_SHARE * len(apart):
            # Some cameras count pictures, some go by the clock; out of both is out of rhythm.
            apart_s = np.diff(times_s[keys])
            usual_s = float(np.median(apart_s))
            out[1:] = (apart != values[np.argmax(counts)]) & (
                np.abs(apart_s - usual_s) > _RHYTHM_SLACK * usual_s
            )
    return tuple(
        KeyFrame(float(times_s[n]), float(shown_s[n]), bool(odd))
        for n, odd in zip(keys, out, strict=True)
    )


def _edit_jumps(track: TrackFacts, step: int) -> tuple[float, ...]:
    """Where one shown stretch of the edit list does not go on where the last one ended."""
    jumps = []
    time, due = 0.0, None
    for edit in track.edits:
        lasts = float(edit.lasts_s)
        if edit.media_time >= 0:
            if due is not None and abs(edit.media_time - due) > 1.5 * step:
                jumps.append(time)
            due = edit.media_time + lasts * track.timescale
        time += lasts
    return tuple(jumps)
