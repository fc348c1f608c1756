"""One take, heard: pitch, notes, speech, sections, scales, tuning, in that order.

Everything that takes time is done here, once; ``reading.with_sections`` re-reads the result from
its notes after a person has moved the boundaries.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fairhearing.core.playing import doubts
from fairhearing.core.playing.attacks import Attacks, measure_attacks
from fairhearing.core.playing.beginnings import find_beginnings
from fairhearing.core.playing.limits import guess_limits, listening_limits
from fairhearing.core.playing.measure import measure_notes
from fairhearing.core.playing.notes import Frames, NoteCosts, find_spans, settle_onsets
from fairhearing.core.playing.octaves import settle_octaves
from fairhearing.core.playing.pitch import HOP, HOP_S, PitchTrack, hz_of_midi, track_pitch
from fairhearing.core.playing.reading import Reading, read_notes, read_strokes
from fairhearing.core.playing.speech import CHUNK, speech_probability, stretches
from fairhearing.core.playing.strokes import hear_drumming
from fairhearing.core.playing.tuning import centre_of_frames
from fairhearing.core.playing.types import (
    RATE_HZ,
    Drumming,
    Kind,
    Note,
    PitchLine,
    Plan,
    Player,
    Playing,
    Remark,
)

LONGEST_S = 45 * 60.0
"""What lies beyond is not listened to; a remark says so."""

_STEADY_SEMITONES = 0.15
_STEADY_FRAMES = 8
_SPOKEN_SHARE = 0.3

Speech = tuple[tuple[float, float], ...]


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
        The same input gives the same result. Whatever is odd about a take stands in its
        ``remarks``.

    Raises
    ------
    ValueError
        If `samples` is not one-dimensional.
    """
    player = player or Player()
    plan = plan or Plan()
    if samples.ndim != 1:
        raise ValueError("samples must be mono, of shape (n,)")
    duration_s = len(samples) / RATE_HZ
    remarks: list[Remark] = []
    samples = _usable(samples, remarks)
    heard = _listen(samples, player, remarks)
    silence = doubts.remark_on_silence(heard.attacks.level_db)
    if silence is not None:
        heard = _Heard((), (), None, heard.attacks, heard.track)
        remarks.append(silence)
    else:
        struck = heard.drumming.strokes if heard.drumming is not None else ()
        remarks += _present(
            doubts.remark_on_no_playing([*heard.notes, *struck], heard.speech),
            doubts.remark_on_several_sounds(samples, heard.notes)
            if player.kind == "melodic"
            else None,
        )
    reading = _read(heard, player, plan)
    return Playing(
        notes=heard.notes,
        speech=heard.speech,
        sections=reading.sections,
        tuning=reading.tuning,
        chromatic=reading.chromatic,
        chromatic_reason=reading.chromatic_reason,
        scales=reading.scales,
        drumming=heard.drumming,
        remarks=tuple(remarks),
        duration_s=duration_s,
        pitch_line=PitchLine(
            HOP_S,
            np.where(heard.track.confidence >= 0.5, heard.track.midi, np.nan).astype(np.float32),
            heard.attacks.level_db.astype(np.float32),
        ),
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Heard:
    notes: tuple[Note, ...]
    speech: Speech
    drumming: Drumming | None
    attacks: Attacks
    track: PitchTrack


def _usable(samples: NDArray[np.float32], remarks: list[Remark]) -> NDArray[np.float32]:
    """Return at most 45 minutes of finite samples."""
    if len(samples) > LONGEST_S * RATE_HZ:
        samples = samples[: round(LONGEST_S * RATE_HZ)]
        remarks.append(
            Remark(
                "length",
                f"The take goes on after {LONGEST_S / 60:.0f} minutes; what comes later was not "
                "listened to.",
                LONGEST_S,
                None,
            )
        )
    return np.nan_to_num(np.asarray(samples, dtype=np.float32), posinf=0.0, neginf=0.0)


def _listen(samples: NDArray[np.float32], player: Player, remarks: list[Remark]) -> _Heard:
    lowest, highest = _limits(samples, player, remarks)
    track = track_pitch(samples, lowest_midi=lowest, highest_midi=highest)
    track = settle_octaves(
        samples, track, kind=player.kind, lowest_midi=lowest, highest_midi=highest
    )
    attacks = measure_attacks(samples, track, lowest_hz=hz_of_midi(lowest))
    speech = find_speech(samples, track)
    drumming = hear_drumming(samples, speech) if player.kind in ("drum", "timpani") else None
    notes: tuple[Note, ...] = ()
    if player.kind != "drum":
        notes = _notes(samples, track, attacks, speech, limits=(lowest, highest), kind=player.kind)
    return _Heard(notes, speech, drumming, attacks, track)


def _limits(samples: NDArray[np.float32], player: Player, remarks: list[Remark]) -> tuple[int, int]:
    if player.kind == "drum":
        return 48, 84
    lowest, highest = listening_limits(samples, player)
    if player.lowest_midi is None or player.highest_midi is None or player.kind != "melodic":
        return lowest, highest
    remark = doubts.remark_on_range(doubts.share_outside(samples, lowest, highest))
    if remark is None:
        return lowest, highest
    remarks.append(remark)
    return guess_limits(samples, player)


def find_speech(samples: NDArray[np.float32], track: PitchTrack) -> Speech:
    """Return where somebody speaks, in seconds, given the pitch along the take."""
    probability = speech_probability(samples)
    step = CHUNK // HOP
    steady = track.steady(within_semitones=_STEADY_SEMITONES, frames=_STEADY_FRAMES)
    steady = steady[: len(probability) * step]
    steady = np.pad(steady, (0, len(probability) * step - len(steady)))
    chunks = samples[: len(probability) * CHUNK].reshape(-1, CHUNK)
    level_db = 10 * np.log10(np.mean(np.square(chunks), axis=1) + 1e-10)
    return stretches(probability, steady.reshape(-1, step).mean(axis=1), level_db)


def _notes(
    samples: NDArray[np.float32],
    track: PitchTrack,
    attacks: Attacks,
    speech: Speech,
    *,
    limits: tuple[int, int],
    kind: Kind,
) -> tuple[Note, ...]:
    spoken = _frames_within(speech, len(track.midi))
    steady = track.steady(within_semitones=_STEADY_SEMITONES, frames=_STEADY_FRAMES) & ~spoken
    tuning = centre_of_frames(track.midi[steady], track.confidence[steady])
    odds = find_beginnings(attacks, track)
    frames = Frames(track.midi - tuning, track.confidence, odds.begins, odds.sounds)
    spans = find_spans(frames, lowest_midi=limits[0], highest_midi=limits[1], costs=NoteCosts())
    played = [s for s in spans if spoken[s.first : s.end].mean() <= _SPOKEN_SHARE]
    played = settle_onsets(played, attacks.level_db)
    return measure_notes(samples, played, frames, tuning_semitones=tuning, kind=kind)


def _frames_within(stretches_s: Sequence[tuple[float, float]], frames: int) -> NDArray[np.bool_]:
    inside = np.zeros(frames, dtype=np.bool_)
    for start_s, end_s in stretches_s:
        inside[round(start_s / HOP_S) : round(end_s / HOP_S)] = True
    return inside


def _read(heard: _Heard, player: Player, plan: Plan) -> Reading:
    if player.kind == "drum" and heard.drumming is not None:
        return read_strokes(heard.drumming, heard.speech, plan=plan)
    return read_notes(heard.notes, heard.speech, player=player, plan=plan)


def _present(*remarks: Remark | None) -> list[Remark]:
    return [remark for remark in remarks if remark is not None]
