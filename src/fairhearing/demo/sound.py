"""The sound of a take: playing, words, the room and the phone's microphone.

Mono ``float32`` at 48 kHz, −1…1; sample 0 is the start of the take. The direct sound keeps its
time exactly: what reverberation and background add comes after it or beside it.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.signal import butter, lfilter, oaconvolve, sosfilt

from fairhearing.core.packet import instruments
from fairhearing.core.packet.sound import DRUMS, NoteEvent, render
from fairhearing.demo import voices
from fairhearing.demo.performance import drum_key
from fairhearing.demo.rooms import HOMES, LATER, Home
from fairhearing.demo.truth import Performance

RATE_HZ = 48_000
Sound = NDArray[np.float32]


def take_sound(performance: Performance) -> Sound:
    """Return the sound of a whole take, shape (n,); a joined take changes room at its joint."""
    home = HOMES[performance.player.home]
    dry = dry_sound(performance, home)
    if performance.joint_s is None:
        return in_room(dry, performance, home, "room")
    cut = round(performance.joint_s * RATE_HZ)
    before, after = dry.copy(), dry.copy()
    before[cut:] = 0
    after[:cut] = 0
    first = in_room(before, performance, home, "room")
    second = in_room(after, performance, LATER, "later")
    return np.concatenate([first[:cut], second[cut:]])


def dry_sound(performance: Performance, home: Home) -> Sound:
    """Return playing and words without a room; the playing has an RMS of 1 while it sounds."""
    player = performance.player
    instrument = instruments.load()[player.instrument]
    drum = instrument.kind == "drum"
    events = [
        NoteEvent(
            note.onset_s,
            note.duration_s,
            drum_key() if note.midi is None else note.midi + note.cents / 100,
            note.velocity,
        )
        for note in performance.notes
    ]
    program = DRUMS if drum else instrument.midi_program
    sound = render(events, program, RATE_HZ, duration_s=performance.duration_s)
    level = _level(sound)
    if instrument.kind == "melodic":
        sound += _breath(sound, performance) * np.float32(1 - player.ability("tone"))
    sound /= np.float32(level)
    for spoken in performance.spoken:
        words = voices.sound(spoken.phrase)
        at = round(spoken.start_s * RATE_HZ)
        count = min(len(words), len(sound) - at)
        sound[at : at + count] += words[:count] * np.float32(6.0)
    return sound


def _level(sound: Sound) -> float:
    """RMS over the parts that sound (20 ms blocks above a tenth of the loudest)."""
    block = RATE_HZ // 50
    blocks = sound[: len(sound) // block * block].reshape(-1, block)
    energy = np.mean(blocks.astype(np.float64) ** 2, axis=1)
    return float(np.sqrt(np.mean(energy[energy > 0.01 * energy.max()])))


def _breath(sound: Sound, performance: Performance) -> Sound:
    """Air noise that follows the tone: the sound of a weak embouchure."""
    dice = performance.player.dice("breath")
    envelope = lfilter([0.004], [1, -0.996], np.abs(sound)).astype(np.float32)
    air = dice.standard_normal(len(sound), np.float32)
    shaped = sosfilt(butter(2, (700, 6000), "bandpass", fs=RATE_HZ, output="sos"), air)
    return (shaped * envelope * 0.4).astype(np.float32)


def in_room(dry: Sound, performance: Performance, home: Home, purpose: str) -> Sound:
    """Put dry sound (playing at RMS 1) into a room, before a microphone, through its input."""
    dice = performance.player.dice(purpose)
    wet = oaconvolve(dry, _impulse(dice, home))[: len(dry)].astype(np.float32)
    sound = (dry + wet) * np.float32(10 ** (home.playing_dbfs / 20) / np.sqrt(1 + home.wet))
    sound += _background(dice, len(dry), home)
    # A phone's microphone hears little below 50 Hz.
    sound = sosfilt(butter(1, 50, "highpass", fs=RATE_HZ, output="sos"), sound)
    if not home.overdriven:
        peak = float(np.max(np.abs(sound)))
        # Phones turn their input down before it clips; this one did so from the beginning.
        sound = sound * min(1.0, 0.89 / peak)
    return np.clip(sound, -0.999, 0.999).astype(np.float32)


def _impulse(dice: np.random.Generator, home: Home) -> Sound:
    """Exponentially decaying noise after 6 ms, darker than the source, of energy ``wet``."""
    count = int(home.reverb_s * RATE_HZ)
    time = np.arange(count) / RATE_HZ
    tail = dice.standard_normal(count) * 10 ** (-3 * time / home.reverb_s)
    tail = sosfilt(butter(1, 4500, fs=RATE_HZ, output="sos"), tail)
    tail[: int(0.006 * RATE_HZ)] = 0
    tail *= np.sqrt(home.wet / np.sum(tail**2))
    return tail.astype(np.float32)


def _background(dice: np.random.Generator, count: int, home: Home) -> Sound:
    """Room and microphone noise, a fan, mains hum with its harmonics."""
    time = np.arange(count, dtype=np.float32) / np.float32(RATE_HZ)
    noise = dice.standard_normal(count, np.float32)
    # Rooms rumble: noise falls off above some hundred hertz, the microphone's own hiss stays.
    corner = 900 if home.fan else 350
    low = lfilter(*butter(1, corner, fs=RATE_HZ), noise).astype(np.float32)
    low /= np.float32(np.std(low[:RATE_HZ]))
    noise = low + np.float32(0.12) * noise
    if home.fan:
        turn = 2 * np.pi * 11.3 * time
        noise = noise * (1 + np.float32(0.25) * np.sin(turn)) + np.float32(0.5) * np.sin(
            2 * np.pi * 113 * time
        )
    noise = noise * np.float32(10 ** (home.background_dbfs / 20))
    if home.hum_hz:
        parts = ((1, 1.0), (2, 0.8), (3, 0.5), (5, 0.25), (7, 0.12))
        hum = sum(a * np.sin(2 * np.pi * home.hum_hz * k * time + k) for k, a in parts)
        noise = noise + hum * np.float32(10 ** (home.hum_dbfs / 20))
    return np.asarray(noise, np.float32)
