"""Practice tracks: count-in, the line or its accompaniment, clicks, at one loudness.

Conventions: mono float32 at 48 kHz; loudness by ITU-R BS.1770 on the mono sum, −16 LUFS; peak at
most −1.5 dBFS. The honors excerpt is never made into a track (common practice: preparing it alone
is part of the test): :func:`practice_track` refuses it, and nothing here reads it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pyloudnorm
from numpy.typing import NDArray
from scipy.ndimage import minimum_filter1d, uniform_filter1d

from fairhearing.core.packet.audio_files import Kind, decoded_mono, encoded
from fairhearing.core.packet.instruments import Instrument
from fairhearing.core.packet.score import Score
from fairhearing.core.packet.sound import DRUMS, PROGRAMS, NoteEvent, render
from fairhearing.core.packet.timing import LEAD_S, Click, Timeline, timeline

RATE = 48_000
LOUDNESS_LUFS = -16.0
PEAK_LIMIT_DBFS = -1.5
PEAK_DBFS = -1.8  # before a codec, which may overshoot
CLICK_BELOW_MUSIC_DB = 8.0
TAIL_S = 1.2
PIANO = 0
SNARE_KEY = 38
# What a codec takes away of the loudness, as measured; only a first guess (see `finished`).
CODEC_LOSS_DB: dict[Kind, float] = {"m4a": 0.06, "mp3": 0.44}

Sound = NDArray[np.float32]


@dataclass(frozen=True, slots=True, eq=False)
class Track:
    """A practice track.

    Attributes
    ----------
    sound : ndarray of float32, shape (n,)
    rate : int
        Hz.
    timeline : Timeline
        Where notes, bars and clicks stand.
    """

    sound: Sound
    rate: int
    timeline: Timeline


@dataclass(frozen=True, slots=True, eq=False)
class Music:
    """Rendered music without count-in and clicks, and the score it came from."""

    sound: Sound
    score: Score


def practice_track(
    music: Music, bpm: float, *, section: str, clicks: bool = True, count_in_bars: int = 1
) -> Track:
    """Return a practice track: count-in, music, clicks, at −16 LUFS.

    Parameters
    ----------
    music : Music
        From :func:`rendered_music`, at the same tempo.
    bpm : float
        Beats a minute (see :mod:`fairhearing.core.packet.timing`).
    section : str
        The kind of section the music belongs to.
    clicks : bool
        Clicks through the piece; the count-in always clicks.
    count_in_bars : int
        0: the music at once.

    Raises
    ------
    ValueError
        For the honors excerpt.
    """
    _refuse_honors(section)
    when = timeline(music.score, bpm, count_in_bars=count_in_bars)
    ahead = round((when.music_from_s - LEAD_S) * RATE)
    sound = np.concatenate([np.zeros(ahead, np.float32), music.sound])
    wanted = [click for click in when.clicks if clicks or click.count_in]
    if count_in_bars == 0 and not clicks:
        wanted = []
    return Track(mixed(sound, wanted), RATE, when)


def rendered_music(
    score: Score,
    instrument: Instrument,
    bpm: float,
    *,
    section: str,
    own_sound: bool = False,
    accompaniment: Score | None = None,
    with_line: bool = True,
) -> Music:
    """Render the music alone, half a second of silence before it.

    Parameters
    ----------
    score : Score
        The player's part.
    instrument : Instrument
    bpm : float
    section : str
    own_sound : bool
        The line in the instrument's own sound instead of the piano's.
    accompaniment : Score, optional
        A piano part with the same bars, played on the piano.
    with_line : bool
        Whether the line itself is heard.

    Raises
    ------
    ValueError
        For the honors excerpt.
    ScoreFileError
        If the repeats are doubtful.
    """
    _refuse_honors(section)
    when = timeline(score, bpm, count_in_bars=0)
    length = round((when.end_s + TAIL_S) * RATE)
    sound = np.zeros(length, np.float32)
    if with_line or accompaniment is None:
        sound += _rendered(_events(when), _program(instrument, own_sound), length)
    if accompaniment is not None:
        for part in range(len(accompaniment.parts)):
            behind = timeline(accompaniment, bpm, part=part, count_in_bars=0)
            if behind.notes:
                sound += _rendered(_events(behind), PIANO, length)
    return Music(sound, score)


def _refuse_honors(section: str) -> None:
    if section == "honors":
        raise ValueError("the honors excerpt is never made into a practice track")


def mixed(music: Sound, clicks: Sequence[Click]) -> Sound:
    """Add clicks 8 dB under the music's peak and bring the whole to −16 LUFS."""
    peak = float(np.max(np.abs(music), initial=0.0)) or 0.25
    level = peak * 10 ** (-CLICK_BELOW_MUSIC_DB / 20)
    return levelled(music + click_sound(clicks, len(music)) * level)


def click_sound(clicks: Sequence[Click], length: int) -> Sound:
    """Return the clicks alone, peak 1, each starting on its exact sample.

    A click is a decaying tone of 25 ms, higher on the first beat of a bar; its first sample is
    already loud, so that it is heard where it stands.
    """
    sound = np.zeros(length, np.float32)
    for click in clicks:
        at = round(click.at_s * RATE)
        tick = _tick(1760.0 if click.first else 1175.0)
        room = max(0, min(len(tick), length - at))
        sound[at : at + room] += tick[:room]
    return sound


def tuning_note(hz: float, seconds: float = 20.0) -> Sound:
    """Return an exact computed tone with a few soft overtones, faded in and out.

    The fundamental is exact to the sample clock; a SoundFont's note may be five cents off.
    """
    time = np.arange(round(seconds * RATE)) / RATE
    tone = np.zeros_like(time)
    for harmonic, weight in ((1, 1.0), (2, 0.45), (3, 0.25), (4, 0.12), (5, 0.06)):
        if hz * harmonic < RATE / 2.2:
            tone += weight * np.sin(2 * np.pi * hz * harmonic * time)
    fade = np.clip(np.minimum(time, time[::-1]) / 0.08, 0.0, 1.0)
    return levelled((tone * fade).astype(np.float32))


def loudness_lufs(sound: Sound, rate: int = RATE) -> float:
    """Return the integrated loudness of mono sound (ITU-R BS.1770, gated)."""
    return float(pyloudnorm.Meter(rate).integrated_loudness(sound.astype(np.float64)))


def levelled(sound: Sound, lufs: float = LOUDNESS_LUFS) -> Sound:
    """Return the sound at a loudness, its peaks held under the limit."""
    limit = 10 ** (PEAK_DBFS / 20)
    for _ in range(4):
        off = lufs - loudness_lufs(sound)
        if not np.isfinite(off):
            return sound  # silence has no loudness
        sound = _held_under((sound * np.float32(10 ** (off / 20))).astype(np.float32), limit)
        if abs(off) < 0.05:
            break
    return sound


def _held_under(sound: Sound, limit: float) -> Sound:
    """Turn down around peaks, 5 ms ahead and after: a slow limiter without distortion."""
    peak: Sound = np.abs(sound)
    if float(peak.max(initial=0.0)) <= limit:
        return sound
    gain = np.minimum(1.0, limit / np.maximum(peak, 1e-9))
    window = 2 * round(0.005 * RATE) + 1
    smooth = uniform_filter1d(minimum_filter1d(gain, 2 * window - 1), window)
    return np.asarray(sound * np.minimum(smooth, gain), np.float32)


def _tick(hz: float) -> Sound:
    time = np.arange(round(0.025 * RATE)) / RATE
    tick = np.cos(2 * np.pi * hz * time) * np.exp(-time / 0.005)
    peak = float(np.max(np.abs(tick)))
    return np.asarray(tick / peak, np.float32)


def _program(instrument: Instrument, own_sound: bool) -> int:
    if instrument.kind == "drum":
        return DRUMS
    own = instrument.midi_program
    return own if own_sound and own in PROGRAMS else PIANO


def _events(when: Timeline) -> list[NoteEvent]:
    starts = {round(bar.start_s, 4) for bar in when.bars}
    events = []
    for timed in when.notes:
        pitch = timed.note.sounding
        if pitch is None:
            pitch = SNARE_KEY  # the font's one drum
        velocity = 92 if round(timed.at_s, 4) in starts else 82
        length = max(0.05, timed.duration_s - min(0.04, 0.12 * timed.duration_s))
        events.append(NoteEvent(timed.at_s, length, float(pitch), velocity))
    return events


def _rendered(events: list[NoteEvent], program: int, length: int) -> Sound:
    return render(events, program, RATE, duration_s=length / RATE)[:length]


def finished(sound: Sound, kind: Kind, tags: Mapping[str, str]) -> bytes:
    """Return the sound as a file that is −16 LUFS, at most −1.5 dBFS, *after decoding*.

    A codec changes level and peaks a little, so the decoded file is measured and the gain put
    right, at most three times.
    """
    gain_db, limit_dbfs = CODEC_LOSS_DB[kind], PEAK_DBFS
    for _ in range(3):
        louder = (sound * np.float32(10 ** (gain_db / 20))).astype(np.float32)
        data = encoded(_held_under(louder, 10 ** (limit_dbfs / 20)), RATE, kind, tags)
        heard, rate = decoded_mono(data)
        loudness = loudness_lufs(heard, rate)
        peak = 20 * np.log10(max(float(np.max(np.abs(heard), initial=0.0)), 1e-9))
        if not np.isfinite(loudness) or (
            abs(loudness - LOUDNESS_LUFS) <= 0.1 and peak <= PEAK_LIMIT_DBFS
        ):
            break
        gain_db += LOUDNESS_LUFS - loudness
        limit_dbfs -= max(0.0, peak - PEAK_LIMIT_DBFS + 0.1)
    return data
