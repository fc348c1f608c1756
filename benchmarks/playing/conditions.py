"""What a home does to a performance: a room, noise with hum, the phone's codec.

``clean`` adds nothing but a noise floor 60 dB down. ``home`` is a living room: reverberation time
0.5 s, noise and hum 20 dB below the playing, AAC at 64 kb/s.
"""

from __future__ import annotations

import io

import av
import numpy as np
from benchmarks.playing.banks import RATE_HZ
from scipy.signal import fftconvolve, resample_poly

CONDITIONS = ("clean", "home")
_CODEC_RATE_HZ = 48_000


def apply(condition: str, sound: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Return the sound as a phone would have recorded it, same length, peak 0.5."""
    if condition == "clean":
        return _finish(add_noise(sound, 60.0, rng, hum=False))
    reverberant = add_room(sound, 0.5, rng)
    noisy = add_noise(reverberant, 20.0, rng, hum=True)
    return _finish(through_aac(_finish(noisy), 64_000))


def add_room(
    sound: np.ndarray, reverberation_s: float, rng: np.random.Generator, direct_db: float = 0.0
) -> np.ndarray:
    """Convolve with a room: direct sound, then noise that falls 60 dB in ``reverberation_s``.

    ``direct_db`` is the energy of the direct sound over that of the rest. High frequencies decay
    faster, as they do between furniture.
    """
    length = round(reverberation_s * 1.2 * RATE_HZ)
    t = np.arange(length) / RATE_HZ
    tail = rng.normal(size=length) * 10 ** (-3 * t / reverberation_s)
    smooth = np.convolve(tail, np.ones(4) / 4, mode="same")
    mix = np.clip(t / reverberation_s, 0, 1)
    tail = tail * (1 - mix) + 2 * smooth * mix
    tail[: round(0.004 * RATE_HZ)] = 0
    tail *= 10 ** (-direct_db / 20) / np.sqrt(np.sum(tail**2))
    tail[0] += 1.0
    return fftconvolve(sound, tail)[: len(sound)].astype(np.float32)


def add_noise(
    sound: np.ndarray, snr_db: float, rng: np.random.Generator, *, hum: bool
) -> np.ndarray:
    """Add pink noise (and a hum of 60 Hz with harmonics) ``snr_db`` below the playing's level."""
    spectrum = np.fft.rfft(rng.normal(size=len(sound)))
    spectrum /= np.sqrt(np.maximum(np.fft.rfftfreq(len(sound), 1 / RATE_HZ), 20.0))
    noise = np.fft.irfft(spectrum, len(sound))
    noise /= np.sqrt(np.mean(noise**2)) + 1e-12
    if hum:
        t = np.arange(len(sound)) / RATE_HZ
        tones = sum(np.sin(2 * np.pi * 60 * k * t + rng.uniform(0, 6)) / k for k in (1, 2, 3))
        noise = 0.8 * noise + 0.6 * tones / np.sqrt(np.mean(np.square(tones)))
    frames = sound[: len(sound) // 800 * 800].reshape(-1, 800)
    power = np.mean(np.square(frames), axis=1)
    playing = np.sqrt(np.mean(power[power > power.max() / 1000])) if power.max() > 0 else 1e-3
    return (sound + noise * playing * 10 ** (-snr_db / 20)).astype(np.float32)


def through_aac(sound: np.ndarray, bit_rate: int) -> np.ndarray:
    """Return the sound encoded as AAC in an MP4 and decoded again, lined up with the original."""
    wide = resample_poly(sound, _CODEC_RATE_HZ // RATE_HZ, 1).astype(np.float32)
    buffer = io.BytesIO()
    with av.open(buffer, "w", format="mp4") as out:
        stream = out.add_stream("aac", rate=_CODEC_RATE_HZ, layout="mono")
        stream.bit_rate = bit_rate
        for begin in range(0, len(wide), 1024):
            block = np.pad(wide[begin : begin + 1024], (0, max(0, begin + 1024 - len(wide))))
            frame = av.AudioFrame.from_ndarray(block[None], format="fltp", layout="mono")
            frame.sample_rate = _CODEC_RATE_HZ
            frame.pts = begin
            out.mux(stream.encode(frame))
        out.mux(stream.encode(None))
    buffer.seek(0)
    parts = []
    first = None
    with av.open(buffer) as source:
        for frame in source.decode(audio=0):
            first = frame.pts * frame.time_base if first is None else first
            parts.append(frame.to_ndarray()[0])
    decoded = np.concatenate(parts)
    # The encoder's priming stands before time 0 or is cut by the edit list; use the time stamp.
    shift = round(float(first) * _CODEC_RATE_HZ)
    decoded = decoded[-shift:] if shift < 0 else np.pad(decoded, (shift, 0))
    narrow = resample_poly(decoded, 1, _CODEC_RATE_HZ // RATE_HZ).astype(np.float32)
    return np.pad(narrow, (0, max(0, len(sound) - len(narrow))))[: len(sound)]


def _finish(sound: np.ndarray) -> np.ndarray:
    return (sound * (0.5 / (np.abs(sound).max() + 1e-9))).astype(np.float32)
