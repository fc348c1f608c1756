"""Notes into sound, with the small SoundFont that ships with the program.

Conventions: time in seconds from the first sample; pitch is *sounding* pitch as a MIDI number
(C4 = 60, A4 = 440 Hz by ISO 16:1975), with decimals for cents; sound is mono ``float32``.
The font's notes take up to some tens of milliseconds to speak, are up to some cents off and
unequally loud; with ``corrected=True`` each is started earlier, bent and weighed by what
``tools/measure_font.py`` measured, so that it is *heard* at its onset (the moment its level
passes a fifth of its early peak), in tune.
Rendering runs at 48 kHz in steps of 64 samples: an onset is exact to about a millisecond.
"""

from __future__ import annotations

import io
import json
import struct
import wave
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache
from math import gcd
from pathlib import Path

import midirenderer
import numpy as np
from numpy.typing import NDArray
from scipy.signal import resample_poly

FONT = Path(__file__).with_name("band.sf2")
MEASURED = Path(__file__).with_name("band.json")

#: General MIDI programs (from 0) that the font holds; some borrow a relative's samples.
PROGRAMS = (0, 9, 12, 13, 56, 57, 58, 60, 65, 66, 67, 68, 70, 71, 72, 73)
#: Ask for strokes without pitch: keys 38 (snare), 76 and 77 (wood block, high and low).
DRUMS = -1

_RATE = 48_000
_TICKS_PER_S = 10_000
_DRUM_CHANNEL = 9
_CHANNELS = tuple(range(9))
_LEAD_S = 0.25
_TAIL_S = 1.5
# Half the span (dB) by which a weak note can be raised: full expression is kept for the weakest.
_ROOM_DB = 6.0


@dataclass(frozen=True, slots=True)
class NoteEvent:
    """One note to sound.

    Attributes
    ----------
    onset_s, duration_s : float
        Start and length in seconds; a ringing instrument ignores the length.
    midi : float
        Sounding pitch; 60.25 is C4 and 25 cents.
    velocity : int
        MIDI velocity, 1 to 127.
    """

    onset_s: float
    duration_s: float
    midi: float
    velocity: int = 80


def render(
    events: Iterable[NoteEvent],
    program: int,
    rate: int = _RATE,
    *,
    duration_s: float | None = None,
    corrected: bool = True,
) -> NDArray[np.float32]:
    """Return the sound of `events`.

    Parameters
    ----------
    events : iterable of NoteEvent
        In any order.
    program : int
        One of :data:`PROGRAMS`, or :data:`DRUMS`.
    rate : int
        Sample rate of the answer in Hz.
    duration_s : float, optional
        Length of the answer; by default the last note's end and its tail of 1.5 s.
    corrected : bool
        Start each note earlier by its attack, so that it is heard at its onset, and put its
        pitch and level right.

    Returns
    -------
    ndarray of float32, shape (n,)
        Mono, −1…1, dry; a forte note peaks near −12 dBFS.

    Raises
    ------
    ValueError
        If the font has no such program, or a pitch or velocity is out of MIDI's range.
    """
    if program != DRUMS and program not in PROGRAMS:
        raise ValueError(f"the font has no program {program}; it has {PROGRAMS}")
    notes = sorted(events, key=lambda note: (note.onset_s, note.midi))
    for note in notes:
        if not (0 <= note.midi <= 127 and 1 <= note.velocity <= 127):
            raise ValueError(f"{note} is outside MIDI's range")
    end_s = max((note.onset_s + note.duration_s for note in notes), default=0.0) + _TAIL_S
    length_s = end_s if duration_s is None else duration_s
    if not notes:
        return np.zeros(round(length_s * rate), np.float32)
    midi = _midi_file(notes, program, corrected=corrected, end_s=max(end_s, length_s))
    with wave.open(io.BytesIO(bytes(midirenderer.render_wave_from(_font(), midi)))) as rendered:
        pcm = np.frombuffer(rendered.readframes(rendered.getnframes()), "<i2")
        sound = pcm.reshape(-1, rendered.getnchannels()).mean(axis=1, dtype=np.float32) / 32768
    sound = sound[round(_LEAD_S * _RATE) :]
    if rate != _RATE:
        common = gcd(rate, _RATE)
        sound = resample_poly(sound, rate // common, _RATE // common).astype(np.float32)
    answer = np.zeros(round(length_s * rate), np.float32)
    count = min(len(answer), len(sound))
    answer[:count] = sound[:count]
    return answer


@cache
def _font() -> bytes:
    return FONT.read_bytes()


@cache
def _measured() -> dict[tuple[int, int], tuple[float, float, float]]:
    """Attack in s, deviation in semitones and level in dB, by program and key."""
    table = json.loads(MEASURED.read_text(encoding="utf-8"))["programs"]
    return {
        (int(program), int(key)): (attack_ms / 1000, cents / 100, level_db)
        for program, keys in table.items()
        for key, (attack_ms, cents, level_db) in keys.items()
    }


def _correction(program: int, key: int) -> tuple[float, float, int]:
    """Return seconds to start earlier, semitones to bend and the MIDI expression."""
    attack, off, level_db = _measured().get((program, key), (0.0, 0.0, 0.0))
    # General MIDI Level 1: expression attenuates by 40·log10(value/127) decibels.
    weight_db = min(max(-_ROOM_DB - level_db, -4 * _ROOM_DB), 0.0)
    return attack, -off, round(127 * 10 ** (weight_db / 40))


def _midi_file(notes: Sequence[NoteEvent], program: int, *, corrected: bool, end_s: float) -> bytes:
    """Return a Standard MIDI File, format 0, 10,000 ticks a second (SMF 1.0)."""
    channels = (_DRUM_CHANNEL,) if program == DRUMS else _CHANNELS
    timed: list[tuple[int, int, bytes]] = []
    for channel in channels:
        if program != DRUMS:
            timed.append((0, 0, bytes([0xC0 | channel, program])))
        for controller, value in ((7, 127), (11, 127), (91, 0), (93, 0)):
            timed.append((0, 0, bytes([0xB0 | channel, controller, value])))
    for index, note in enumerate(notes):
        # Notes take turns on the channels: a bend never reaches the note before it.
        channel = channels[index % len(channels)]
        key = round(note.midi)
        early, tuned, expression = _correction(program, key) if corrected else (0.0, 0.0, 127)
        bend = min(max(8192 + round((note.midi - key + tuned) / 2 * 8192), 0), 16383)
        start = max(round((note.onset_s - early + _LEAD_S) * _TICKS_PER_S), 1)
        stop = max(round((note.onset_s + note.duration_s + _LEAD_S) * _TICKS_PER_S), start + 10)
        timed.append((start - 1, 1, bytes([0xE0 | channel, bend & 127, bend >> 7])))
        timed.append((start - 1, 1, bytes([0xB0 | channel, 11, expression])))
        timed.append((start, 2, bytes([0x90 | channel, key, note.velocity])))
        timed.append((stop, 0, bytes([0x80 | channel, key, 0])))
    timed.append((round((end_s + _LEAD_S) * _TICKS_PER_S), 9, b"\xff\x2f\x00"))
    track = bytearray()
    before = 0
    for tick, _, message in sorted(timed):
        track += _variable_length(tick - before) + message
        before = tick
    # Without a tempo event a quarter note lasts half a second: 5,000 ticks.
    header = b"MThd" + struct.pack(">IHHH", 6, 0, 1, _TICKS_PER_S // 2)
    return header + b"MTrk" + struct.pack(">I", len(track)) + bytes(track)


def _variable_length(number: int) -> bytes:
    parts = [number & 127]
    while number := number >> 7:
        parts.append(number & 127 | 128)
    return bytes(reversed(parts))
